#include "client/dry_run.h"

#include <absl/strings/str_cat.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>
#include <utility>

#include "base/ids.h"
#include "client/show.h"
#include "client/table.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

constexpr int kShownOrders = 5;

struct Doubt {
  int64_t count = 0, first_line = 0;
  std::string first;
};

// One file gone through.
class Trial {
 public:
  Trial(DraftSource& source, const Zones& zones, int width)
      : source_(source), zones_(zones), width_(width) {}

  void Run() {
    std::vector<Draft> row;
    while (std::optional<DraftOrRejection> next = source_.Next()) {
      Draft* draft = std::get_if<Draft>(&*next);
      if (!row.empty() && (draft == nullptr || draft->line != row[0].line)) TakeRow(row);
      if (draft == nullptr) {
        Refuse(std::get<Rejection>(*next));
      } else {
        row.push_back(std::move(*draft));
      }
    }
    if (!row.empty()) TakeRow(row);
  }

  std::string Text() const {
    std::string text =
        absl::StrCat(source_.name(), ": the first ", std::min<int64_t>(orders_, kShownOrders),
                     " of ", Counted(orders_, "row"), " with an order");
    if (source_.revision()) {
      absl::StrAppend(&text, ", as told on ", TimeText(ToTimestamp(*source_.revision())));
    }
    absl::StrAppend(&text, "\n", shown_);
    std::string counts;
    for (const auto& [type, count] : types_) {
      absl::StrAppend(&counts, counts.empty() ? ": " : ", ", Thousands(count), " ",
                      NameOf(static_cast<v1::EventType>(type)));
    }
    text += Wrapped(absl::StrCat("In all ", Counted(events_, "event"), counts), width_, 2);
    const std::vector<std::string> doubts = Doubts();
    absl::StrAppend(&text, doubts.empty() ? "No doubts.\n" : "Doubts:\n");
    for (const std::string& doubt : doubts) text += "  " + Wrapped(doubt, width_ - 2, 4);
    return text;
  }

  nlohmann::ordered_json Json() const {
    nlohmann::ordered_json json;
    json["file"] = source_.name();
    json["orderCount"] = orders_;
    json["eventCount"] = events_;
    json["rejectedCount"] = refused_;
    json["orders"] = json_;
    json["doubts"] = Doubts();
    return json;
  }

  bool has_refused() const { return refused_ > 0; }

 private:
  void Note(const std::string& what, int64_t line, const std::string& first) {
    Doubt& doubt = doubts_[what];
    if (++doubt.count > 1) return;
    doubt.first_line = line;
    doubt.first = first;
  }

  void Refuse(const Rejection& rejection) {
    ++refused_;
    const Complaint& why = rejection.complaint;
    Note(absl::StrCat("refused: ", why.field.empty() ? why.code : why.field), rejection.line,
         why.message);
  }

  Instant TimeOf(const Draft& draft, const std::string& destination) const {
    return draft.date ? zones_.StartOfDay(*draft.date, destination)
                      : ToInstant(draft.event.event_time());
  }

  std::string When(const Draft& draft) const {
    return draft.date ? FormatDay(*draft.date) : TimeText(draft.event.event_time());
  }

  // "by the end of 2026-03-15 in DE"; "" = none is told.
  std::string Promise(const Draft& draft, const std::string& destination) const {
    const v1::Event& event = draft.event;
    const std::string place = destination.empty() ? "" : " in " + destination;
    if (draft.promise_date) {
      return absl::StrCat("by the end of ", FormatDay(*draft.promise_date), place);
    }
    if (event.has_promise_time()) return "by " + TimeText(event.promise_time());
    if (!event.has_promise_days()) return "";
    const Instant end =
        zones_.PromiseAfter(TimeOf(draft, destination), event.promise_days(), destination);
    return absl::StrCat("by the end of ", FormatDay(zones_.DayAt(end, destination)), place, ", ",
                        Counted(event.promise_days(), "day"));
  }

  static std::string Facts(const v1::Event& event) {
    std::vector<std::string> facts;
    if (!event.item().empty()) {
      facts.push_back(absl::StrCat(
          event.has_unit_count() ? absl::StrCat(event.unit_count(), " x ") : "", event.item()));
    }
    if (event.has_cost()) facts.push_back("cost " + MoneyText(event.cost()));
    if (event.has_sale()) facts.push_back("sale " + MoneyText(event.sale()));
    if (event.has_claim()) facts.push_back("claim " + MoneyText(event.claim()));
    if (event.has_refund()) {
      const bool by_shop = event.refund_side() == v1::REFUND_SIDE_SHOP;
      facts.push_back(
          absl::StrCat(MoneyText(event.refund()), by_shop ? " by the shop" : " by the supplier"));
    }
    if (event.reason() != v1::REASON_UNSPECIFIED) facts.push_back(NameOf(event.reason()));
    if (!event.tracking().empty()) facts.push_back(event.tracking());
    std::string text;
    for (const std::string& fact : facts) absl::StrAppend(&text, text.empty() ? "" : ", ", fact);
    return text;
  }

  void Show(const std::vector<Draft>& row, const Draft& told, const std::string& promise) {
    const v1::Event& event = told.event;
    const std::string name =
        event.order_id().empty()
            ? "parcel " + told.find_by
            : FormatOrder({event.shop(), event.order_id()}, event.part() == 0 ? 1 : event.part());
    std::string lane = event.origin().empty() ? "to " + event.destination()
                                              : event.origin() + "-" + event.destination();
    if (event.destination().empty()) lane = event.origin().empty() ? "" : "from " + event.origin();
    if (!event.service().empty()) lane += "/" + event.service();
    std::string head = name;
    if (!event.supplier().empty()) absl::StrAppend(&head, "  ", event.supplier());
    if (!lane.empty()) absl::StrAppend(&head, ", ", lane);
    if (!promise.empty()) absl::StrAppend(&head, ", ", promise);
    absl::StrAppend(&shown_, "  ", Wrapped(head, width_ - 2, 4));
    Table table({{""}, {""}, {""}});
    nlohmann::ordered_json json;
    json["order"] = name;
    json["line"] = told.line;
    json["supplier"] = event.supplier();
    json["lane"] = lane;
    json["promise"] = promise;
    for (const Draft& draft : row) {
      table.Add({When(draft), NameOf(draft.event.type()), Facts(draft.event)});
      json["events"].push_back({{"type", NameOf(draft.event.type())}, {"time", When(draft)}});
    }
    std::string lines = table.Render(width_, 4);
    if (const size_t header = lines.find('\n'); lines.find_first_not_of(' ') >= header) {
      lines.erase(0, header + 1);
    }
    shown_ += lines;
    json_.push_back(std::move(json));
  }

  void TakeRow(std::vector<Draft>& row) {
    ++orders_;
    const auto paid = std::find_if(row.begin(), row.end(), [](const Draft& draft) {
      return draft.event.type() == v1::EVENT_TYPE_PAID;
    });
    const Draft& told = paid == row.end() ? row[0] : *paid;
    const std::string& destination = told.event.destination();
    const std::string promise = Promise(told, destination);
    if (orders_ <= kShownOrders) Show(row, told, promise);
    const std::string name = absl::StrCat("order ", told.event.order_id());
    if (paid != row.end() && promise.empty()) {
      Note("paid without a promise; without quotes or terms that give one it has no on-time rate",
           told.line, name);
    }
    std::map<int, Instant> first;
    for (const Draft& draft : row) {
      ++events_;
      ++types_[draft.event.type()];
      const Instant time = TimeOf(draft, destination);
      first.emplace(draft.event.type(), time);
      if (source_.revision() && time > *source_.revision() + kMillisPerDay) {
        Note(NameOf(draft.event.type()) + " after the export was made", draft.line, name);
      }
    }
    CheckOrder(first, told, name);
    row.clear();
  }

  void CheckOrder(const std::map<int, Instant>& first, const Draft& told, const std::string& name) {
    const std::pair<v1::EventType, v1::EventType> pairs[] = {
        {v1::EVENT_TYPE_PAID, v1::EVENT_TYPE_SHIPPED},
        {v1::EVENT_TYPE_PAID, v1::EVENT_TYPE_DELIVERED},
        {v1::EVENT_TYPE_SHIPPED, v1::EVENT_TYPE_DELIVERED},
        {v1::EVENT_TYPE_DISPUTED, v1::EVENT_TYPE_ANSWERED}};
    for (const auto& [before, after] : pairs) {
      const auto early = first.find(before), late = first.find(after);
      if (early == first.end() || late == first.end() || early->second <= late->second) continue;
      Note(absl::StrCat(NameOf(after), " before ", NameOf(before)), told.line, name);
    }
  }

  std::vector<std::string> Doubts() const {
    std::vector<std::string> all;
    for (const auto& [what, doubt] : doubts_) {
      all.push_back(absl::StrCat(Counted(doubt.count, "row"), " ", what,
                                 doubt.count == 1 ? ": line " : "; the first: line ",
                                 doubt.first_line, ": ", doubt.first));
    }
    for (const std::string& remark : source_.Remarks()) all.push_back(remark);
    return all;
  }

  DraftSource& source_;
  const Zones& zones_;
  const int width_;
  int64_t orders_ = 0, events_ = 0, refused_ = 0;
  std::map<int, int64_t> types_;
  std::map<std::string, Doubt> doubts_;
  std::string shown_;
  nlohmann::ordered_json json_ = nlohmann::ordered_json::array();
};

}  // namespace

ExitCode RunDryRun(const std::vector<std::unique_ptr<DraftSource>>& sources, const Zones& zones,
                   bool json, const Io& io) {
  ExitCode code = kDone;
  nlohmann::ordered_json all;
  all["files"] = nlohmann::ordered_json::array();
  for (const auto& source : sources) {
    Trial trial(*source, zones, io.width);
    trial.Run();
    if (!source->error().empty()) {
      io.err << source->name() << ": " << source->error() << "\n";
      code = kFailed;
    }
    if (trial.has_refused() && code == kDone) code = kSomeRejected;
    if (json) {
      all["files"].push_back(trial.Json());
    } else {
      io.out << trial.Text();
    }
  }
  if (json) io.out << all.dump(2) << "\n";
  io.err << "nothing was sent\n";
  return code;
}

}  // namespace plumblane::client
