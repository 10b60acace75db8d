#include "client/show_sends.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <cstdlib>
#include <utility>
#include <vector>

#include "client/show.h"
#include "client/table.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr int kOfDays = 6;  // where the days of the events and the entries of the log stand

// Without its directories: lists are narrow.
std::string FilesText(const v1::Send& send) {
  if (send.files().empty()) return "-";
  const std::string& path = send.files(0);
  const std::string first = path.substr(path.rfind('/') + 1);
  if (send.files_size() == 1) return first;
  return absl::StrCat(first, " and ", send.files_size() - 1, " more");
}

std::string StateText(const v1::Send& send) {
  switch (send.state()) {
    case v1::Send::STATE_OPEN:
      return "open";
    case v1::Send::STATE_FINISHED:
      return "sent";
    case v1::Send::STATE_UNDOING:
      return "being taken back";
    case v1::Send::STATE_UNDONE:
      return "taken back";
    default:
      return "unknown";
  }
}

std::string DayText(bool is_set, const google::protobuf::Timestamp& time) {
  return is_set ? TimeText(time).substr(0, 10) : "-";
}

std::string LogText(const v1::Send& send) {
  if (send.first_log_sequence() == 0) return "-";
  if (send.first_log_sequence() == send.last_log_sequence()) {
    return absl::StrCat(send.first_log_sequence());
  }
  return absl::StrCat(send.first_log_sequence(), "-", send.last_log_sequence());
}

std::string NameOf(const v1::Send& send) {
  return absl::StrCat("send ", send.send_number(), ", ", FilesText(send));
}

// "31 deliveries (4 late) fewer"; "" when nothing changes.
void Add(int64_t delta, const std::string& one, const std::string& many,
         std::vector<std::string>& words) {
  if (delta == 0) return;
  words.push_back(
      absl::StrCat(Counted(std::abs(delta), one, many), delta < 0 ? " fewer" : " more"));
}

std::string ChangeText(const v1::SupplierChange& change) {
  std::vector<std::string> words;
  Add(change.order_delta(), "order", "orders", words);
  Add(change.delivered_delta(), "delivery", "deliveries", words);
  Add(change.late_delta(), "late one", "late ones", words);
  Add(change.defect_delta(), "defect", "defects", words);
  return absl::StrCat(change.supplier(), ": ", absl::StrJoin(words, ", "));
}

// Every column, or as many as 80 columns of a terminal hold: `--json` and `--plain` have the rest.
std::string SendsTable(const v1::ListSendsResponse& answer, bool all, int width) {
  using enum Table::Align;
  std::vector<Table::Column> columns = {{"files", kLeft}, {"send", kRight},  {"begun", kLeft},
                                        {"new", kRight},  {"known", kRight}, {"not\ntaken", kRight},
                                        {"state", kLeft}};
  if (all) {
    columns.insert(columns.begin() + kOfDays, {{"from", kLeft}, {"to", kLeft}, {"log", kLeft}});
  }
  Table table(std::move(columns));
  for (const v1::Send& send : answer.sends()) {
    std::vector<std::string> cells = {FilesText(send),
                                      absl::StrCat(send.send_number()),
                                      TimeText(send.begin_time()),
                                      Thousands(send.accepted_count()),
                                      Thousands(send.duplicate_count()),
                                      Thousands(send.conflict_count() + send.rejected_count()),
                                      StateText(send)};
    if (all) {
      cells.insert(cells.begin() + kOfDays,
                   {DayText(send.has_first_event_time(), send.first_event_time()),
                    DayText(send.has_last_event_time(), send.last_event_time()), LogText(send)});
    }
    table.Add(std::move(cells));
  }
  return table.Render(width);
}

}  // namespace

std::string ShowSends(const v1::ListSendsResponse& answer, int width) {
  if (answer.sends().empty()) return "nothing was sent yet\n";
  std::string text = SendsTable(answer, /*all=*/true, width);
  if (WidestLine(text) > width) text = SendsTable(answer, /*all=*/false, width);
  if (!answer.next_page_token().empty()) text += "older ones: plumblane sends --all\n";
  return text;
}

std::string ShowUndoEffect(const v1::UndoSendResponse& answer, int width) {
  const v1::Send& send = answer.send();
  const v1::UndoEffect& effect = answer.effect();
  std::string text = Wrapped(
      absl::StrCat(NameOf(send), ", of ", TimeText(send.begin_time()), " told something of ",
                   Counted(effect.order_count(), "order"), ". To take it back takes out ",
                   Counted(effect.gone_event_count(), "event")),
      width);
  if (effect.kept_event_count() > 0) {
    text += Wrapped(absl::StrCat(Counted(effect.kept_event_count(), "event"),
                                 effect.kept_event_count() == 1 ? " stays" : " stay",
                                 ": other sends told the same"),
                    width, 2);
  }
  if (effect.gone_part_count() > 0) {
    text += Wrapped(
        absl::StrCat(Counted(effect.gone_part_count(), "order"),
                     effect.gone_part_count() == 1 ? " goes" : " go", ": nothing else is known of ",
                     effect.gone_part_count() == 1 ? "it" : "them"),
        width, 2);
  }
  for (const v1::SupplierChange& change : effect.suppliers()) {
    text += Wrapped(ChangeText(change), width, 2);
  }
  if (effect.suppliers().empty()) text += "no supplier's counts change\n";
  return text;
}

std::string ShowUndone(const v1::UndoSendResponse& answer, int width) {
  const v1::Send& send = answer.send();
  return Wrapped(absl::StrCat("taken back: ", Counted(send.gone_event_count(), "event"), " of ",
                              NameOf(send), ". To have it back, send the same again"),
                 width);
}

}  // namespace plumblane::client
