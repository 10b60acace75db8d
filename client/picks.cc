#include "client/picks.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>

#include "client/text.h"

namespace plumblane::client {
namespace {

constexpr const char* kColumns[] = {
    "order_id", "shop",     "destination",   "item",   "units",   "sale",   "currency",
    "part",     "supplier", "supplier_item", "origin", "service", "landed", "landed_currency",
    "trial",    "reason",   "problem"};

std::string Problem(const v1::AssignOrderResult& result) {
  return result.field().empty() ? result.problem()
                                : absl::StrCat(result.field(), ": ", result.problem());
}

void AddPick(const v1::Assignment& pick, std::vector<std::string>& cells) {
  const v1::AssignmentCandidate* quoted = PickedCandidate(pick);
  const bool has_landed = quoted != nullptr && quoted->has_landed();
  cells.insert(
      cells.end(),
      {absl::StrCat(pick.part()), pick.supplier(), pick.supplier_item(), pick.lane().origin(),
       pick.lane().service(),
       has_landed ? AmountText(static_cast<double>(quoted->landed()), pick.currency_code()) : "",
       has_landed ? pick.currency_code() : "", pick.trial() ? "yes" : "no", pick.reason()});
}

std::string Line(const Pick& pick) {
  const v1::OrderToAssign& order = pick.order;
  std::vector<std::string> cells = {
      order.order_id(),
      order.shop(),
      order.destination(),
      order.item(),
      absl::StrCat(std::max<int64_t>(1, order.unit_count())),
      order.has_sale() ? AmountText(static_cast<double>(order.sale().minor_units()),
                                    order.sale().currency_code())
                       : "",
      order.sale().currency_code()};
  if (pick.result.has_assignment()) {
    AddPick(pick.result.assignment(), cells);
  } else {
    cells.resize(std::size(kColumns) - 1);
  }
  cells.push_back(Problem(pick.result));
  for (std::string& cell : cells) cell = CsvCell(cell);
  return absl::StrJoin(cells, ",") + "\n";
}

std::string WhatFailed(const std::string& path) {
  return absl::StrCat(path, ": ", strerror(errno));
}

// All of it, on the disk.
bool WriteAll(int fd, const std::string& text) {
  for (size_t written = 0; written < text.size();) {
    const ssize_t count = write(fd, text.data() + written, text.size() - written);
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) return false;
    written += static_cast<size_t>(count);
  }
  return fsync(fd) == 0;
}

}  // namespace

const v1::AssignmentCandidate* PickedCandidate(const v1::Assignment& assignment) {
  for (const v1::AssignmentCandidate& candidate : assignment.candidates()) {
    if (candidate.supplier() == assignment.supplier() &&
        LaneText(candidate.lane()) == LaneText(assignment.lane())) {
      return &candidate;
    }
  }
  return nullptr;
}

std::string PicksText(const std::vector<Pick>& picks) {
  std::string text = absl::StrJoin(kColumns, ",") + "\n";
  for (const Pick& pick : picks) text += Line(pick);
  return text;
}

std::string WriteWhole(const std::string& path, const std::string& text) {
  std::string beside = path + ".XXXXXX";
  const int fd = mkstemp(beside.data());
  if (fd < 0) return WhatFailed(path);
  const mode_t mask = umask(0);
  umask(mask);
  const bool written = WriteAll(fd, text) && fchmod(fd, 0666 & ~mask) == 0;
  std::string mistake = written ? "" : WhatFailed(path);
  close(fd);
  if (written && rename(beside.c_str(), path.c_str()) == 0) return "";
  if (written) mistake = WhatFailed(path);
  unlink(beside.c_str());
  return mistake;
}

}  // namespace plumblane::client
