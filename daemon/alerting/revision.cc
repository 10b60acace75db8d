#include "alerting/revision.h"

namespace plumblane {
namespace {

bool Overlap(const AlertFacts& x, const AlertFacts& y) {
  const auto ends_before = [](const AlertFacts& one, Day day) {
    return one.closed && *one.closed < day;
  };
  return !ends_before(x, y.changed) && !ends_before(y, x.changed);
}

Revision Between(const AlertFacts& told, const AlertFacts& now, Day told_through) {
  Revision revision;
  revision.opening = told.opened != now.opened;
  revision.change = told.changed != now.changed;
  revision.counts = told.orders != now.orders || told.hits != now.hits;
  // One that was open when told and has closed since is no correction.
  const bool was_open = !now.closed || *now.closed > told_through;
  revision.closing =
      told.closed ? told.closed != now.closed || told.ending != now.ending : !was_open;
  const bool differs = revision.opening || revision.change || revision.counts || revision.closing;
  revision.kind = differs ? Revision::Kind::kRevised : Revision::Kind::kSame;
  return revision;
}

}  // namespace

std::vector<Revision> Compare(std::span<const AlertFacts> told, Day told_through,
                              std::span<const Alert> replayed) {
  std::vector<std::optional<size_t>> found(told.size());
  std::vector<bool> taken(replayed.size());
  const auto match = [&](auto same) {
    for (size_t i = 0; i < told.size(); ++i) {
      for (size_t j = 0; j < replayed.size() && !found[i]; ++j) {
        if (taken[j] || !same(told[i], replayed[j].facts)) continue;
        found[i] = j;
        taken[j] = true;
      }
    }
  };
  match([](const AlertFacts& x, const AlertFacts& y) { return x.opened == y.opened; });
  match(Overlap);
  std::vector<Revision> revisions;
  for (size_t i = 0; i < told.size(); ++i) {
    Revision revision;
    revision.kind = Revision::Kind::kUnfounded;
    if (found[i]) revision = Between(told[i], replayed[*found[i]].facts, told_through);
    revision.told = i;
    revision.replayed = found[i];
    revisions.push_back(revision);
  }
  for (size_t j = 0; j < replayed.size(); ++j) {
    if (taken[j]) continue;
    Revision revision;
    revision.kind = Revision::Kind::kNew;
    revision.replayed = j;
    revision.is_late = replayed[j].facts.opened <= told_through;
    revisions.push_back(revision);
  }
  return revisions;
}

}  // namespace plumblane
