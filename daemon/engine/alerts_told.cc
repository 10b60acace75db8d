#include "engine/alerts_told.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <array>
#include <utility>

#include "alerting/revision.h"
#include "base/hash.h"

namespace plumblane {
namespace {

using Kind = AlertNotice::Kind;

// What differs, in words; whether orders were corrected or settings changed is not known here.
std::string Differences(const AlertFacts& told, const AlertFacts& now, const Revision& revision) {
  std::vector<std::string> words;
  if (revision.opening) {
    words.push_back(
        absl::StrCat("raised for ", FormatDay(now.opened), " instead of ", FormatDay(told.opened)));
  }
  if (revision.change) {
    words.push_back(absl::StrCat("changed on ", FormatDay(now.changed), " instead of ",
                                 FormatDay(told.changed)));
  }
  if (revision.counts) {
    words.push_back(absl::StrCat(now.hits, " of ", now.orders, " orders instead of ", told.hits,
                                 " of ", told.orders));
  }
  if (revision.closing) {
    const auto closing = [](const AlertFacts& facts) {
      return facts.closed ? "closed on " + FormatDay(*facts.closed) : std::string("still open");
    };
    words.push_back(absl::StrCat(closing(now), " instead of ", closing(told)));
  }
  return absl::StrCat("as counted now: ", absl::StrJoin(words, "; "));
}

ChartFacts ChartOf(const Plan& plan) {
  if (plan.chart.orders_to_false_alarm == 0) return {};  // there is no chart
  return {plan.day, plan.normal, plan.FalseAlarmsAYear(),
          plan.yearly_orders > 0 ? plan.DaysToHear() : 0};
}

}  // namespace

std::string_view NameOf(AlertMeasure measure) {
  constexpr std::array<std::string_view, 7> kNames = {
      "on_time", "defect", "handling", "delivery", "unsafe", "counterfeit", "silence"};
  return kNames[static_cast<size_t>(measure) - 1];
}

std::string AlertIdOf(const WatchKey& key, Day opened) {
  StableHash hash;
  for (const std::string* text : {&key.supplier, &key.origin, &key.destination}) {
    hash.Text(*text);
    hash.Byte(0);
  }
  hash.Byte(static_cast<unsigned char>(key.measure));
  hash.Number(static_cast<uint64_t>(opened.number));
  return absl::StrCat(absl::Hex(hash.value(), absl::kZeroPad16));
}

bool ToldAlert::Covers(const Pair& pair) const {
  if (!key.supplier.empty()) return pair.supplier == key.supplier;
  if (key.IsPool()) {
    return std::binary_search(pooled.begin(), pooled.end(),
                              Lane{pair.lane.origin, pair.lane.destination, ""});
  }
  return key.origin == pair.lane.origin && key.destination == pair.lane.destination;
}

bool AlertsTold::Take(const AlertNotice& notice) {
  const auto known = by_id.find(notice.alert_id);
  if (notice.kind == Kind::kRaised) {
    ToldAlert& alert = by_id[notice.alert_id];
    if (known == by_id.end()) {
      alert.key = notice.key;
      alert.raise_time = notice.time;
      by_key[notice.key].insert(notice.alert_id);
    }
    alert.facts = notice.facts;
    alert.chart = notice.chart;
    alert.pooled = notice.pooled;
    alert.told_through = notice.told_through;
    alert.unfounded = alert.acknowledged = false;
    alert.shelved_until.reset();
    alert.revision = notice.revision;
    alert.update_time = notice.time;
    alert.quiet = notice.quiet;
    ++last_cursor;
    return true;
  }
  if (known == by_id.end()) return false;
  ToldAlert& alert = known->second;
  switch (notice.kind) {
    case Kind::kRaised:
    case Kind::kRevised:
    case Kind::kReturned:
      alert.facts = notice.facts;
      alert.chart = notice.chart;
      alert.pooled = notice.pooled;
      alert.told_through = notice.told_through;
      alert.unfounded = notice.unfounded;
      if (notice.kind == Kind::kRevised) alert.revision = notice.revision;
      break;
    case Kind::kAcknowledged:
      if (!alert.is_open()) return false;
      alert.acknowledged = true;
      alert.note = notice.note;
      break;
    case Kind::kShelved:
      if (!alert.is_open()) return false;
      alert.shelved_until = notice.day;
      alert.note = notice.note;
      break;
    case Kind::kAccepted:
      if (!alert.is_open()) return false;
      alert.accepted = notice.day;
      alert.told_through = std::max(alert.told_through, *notice.day);
      alert.facts.ending = Ending::kAccepted;
      alert.facts.closed = notice.day;
      alert.note = notice.note;
      break;
    case Kind::kActiveAgain:
      alert.acknowledged = false;
      alert.shelved_until.reset();
      break;
  }
  alert.update_time = notice.time;
  alert.quiet = notice.quiet;
  ++last_cursor;
  return true;
}

std::vector<Day> AlertsTold::AcceptedDays(const WatchKey& key) const {
  std::set<Day> days;
  const auto ids = by_key.find(key);
  if (ids == by_key.end()) return {};
  for (const std::string& id : ids->second) {
    if (const auto& accepted = by_id.at(id).accepted) days.insert(*accepted);
  }
  return {days.begin(), days.end()};
}

std::vector<AlertNotice> NewsOf(const WatchKey& key, const AlertsTold& told,
                                std::span<const Alert> alerts, Day through, Instant now) {
  std::vector<std::pair<AlertFacts, std::string>> standing;  // and their ids
  std::optional<Day> told_through;
  if (const auto ids = told.by_key.find(key); ids != told.by_key.end()) {
    for (const std::string& id : ids->second) {
      const ToldAlert& one = told.by_id.at(id);
      if (!told_through || *told_through < one.told_through) told_through = one.told_through;
      if (!one.unfounded) standing.emplace_back(one.facts, id);
    }
  }
  if (told_through && through < *told_through) return {};
  std::sort(standing.begin(), standing.end(),
            [](const auto& x, const auto& y) { return x.first.opened < y.first.opened; });
  std::vector<AlertFacts> facts;
  for (const auto& [one, id] : standing) facts.push_back(one);

  std::vector<AlertNotice> news;
  const auto tell = [&](Kind kind, const std::string& id, const Alert* alert) -> AlertNotice& {
    AlertNotice& notice = news.emplace_back();
    notice.kind = kind;
    notice.alert_id = id;
    notice.time = now;
    notice.key = key;
    notice.told_through = through;
    if (alert != nullptr) {
      notice.facts = alert->facts;
      notice.chart = ChartOf(alert->plan);
    }
    return notice;
  };
  for (const Revision& revision : Compare(facts, told_through.value_or(Day{INT32_MIN}), alerts)) {
    const Alert* alert = revision.replayed ? &alerts[*revision.replayed] : nullptr;
    if (revision.kind == Revision::Kind::kNew) {
      std::string id = AlertIdOf(key, alert->facts.opened);
      // Taken by an alert that a correction has moved.
      for (auto at = told.by_id.find(id); at != told.by_id.end() && !at->second.unfounded;
           at = told.by_id.find(id)) {
        id += '+';
      }
      AlertNotice& notice = tell(Kind::kRaised, id, alert);
      if (revision.is_late)
        notice.revision = "told late: its days did not show it as they were counted before";
      continue;
    }
    const auto& [before, id] = standing[*revision.told];
    if (revision.kind == Revision::Kind::kUnfounded) {
      AlertNotice& notice = tell(Kind::kRevised, id, nullptr);
      notice.facts = before;
      notice.chart = told.by_id.at(id).chart;
      notice.pooled = told.by_id.at(id).pooled;
      notice.unfounded = true;
      notice.revision = "as counted now it would not have been raised";
      continue;
    }
    if (revision.kind == Revision::Kind::kRevised) {
      tell(Kind::kRevised, id, alert).revision = Differences(before, alert->facts, revision);
    }
    if (before.ending == Ending::kOpen && alert->facts.ending == Ending::kReturned) {
      tell(Kind::kReturned, id, alert);
    }
  }
  return news;
}

bool IsQuiet(const AlertNotice& notice, const AlertsTold& told, std::optional<Instant> history) {
  const auto known = told.by_id.find(notice.alert_id);
  if (known != told.by_id.end() && !known->second.quiet) return false;
  switch (notice.kind) {
    case Kind::kRaised:
    case Kind::kRevised:
    case Kind::kReturned:
      return history && notice.facts.opened < DayOf(*history) &&
             notice.told_through <= DayOf(*history);
    case Kind::kAcknowledged:
    case Kind::kShelved:
    case Kind::kAccepted:
      return known != told.by_id.end();
    case Kind::kActiveAgain:
      break;
  }
  return false;
}

std::vector<AlertNotice> ShelvesEnded(const AlertsTold& told, Instant now) {
  std::vector<AlertNotice> news;
  for (const auto& [id, alert] : told.by_id) {
    if (!alert.is_open() || !alert.shelved_until || alert.is_shelved(DayOf(now))) continue;
    AlertNotice& notice = news.emplace_back();
    notice.kind = Kind::kActiveAgain;
    notice.alert_id = id;
    notice.time = now;
    notice.key = alert.key;
  }
  return news;
}

}  // namespace plumblane
