#include "storage/prefixed_store.h"

namespace plumblane {
namespace {

std::string Join(std::string_view prefix, std::string_view key) {
  std::string joined;
  joined.reserve(prefix.size() + key.size());
  joined += prefix;
  joined += key;
  return joined;
}

}  // namespace

absl::StatusOr<std::optional<std::string>> PrefixedSnapshot::Get(Space space,
                                                                 std::string_view key) const {
  return under_->Get(space, Join(prefix_, key));
}

absl::StatusOr<std::vector<std::optional<std::string>>> PrefixedSnapshot::GetAll(
    Space space, const std::vector<std::string>& keys) const {
  std::vector<std::string> joined;
  joined.reserve(keys.size());
  for (const std::string& key : keys) joined.push_back(Join(prefix_, key));
  return under_->GetAll(space, joined);
}

absl::Status PrefixedSnapshot::Scan(Space space, std::string_view prefix, std::string_view from,
                                    const Each& each) const {
  const auto under = [&](std::string_view joined, std::string_view first, const Each& visit) {
    return under_->Scan(space, joined, first, visit);
  };
  return Scan(under, prefix, from, each);
}

Snapshot::Scanner PrefixedSnapshot::ScannerOf(Space space) const {
  return [this, under = under_->ScannerOf(space)](std::string_view prefix, std::string_view from,
                                                  const Each& each) {
    return Scan(under, prefix, from, each);
  };
}

absl::Status PrefixedSnapshot::Scan(const Scanner& under, std::string_view prefix,
                                    std::string_view from, const Each& each) const {
  return under(Join(prefix_, prefix), from.empty() ? "" : Join(prefix_, from),
               [&](std::string_view key, std::string_view value) {
                 return each(key.substr(prefix_.size()), value);
               });
}

absl::Status PrefixedStore::Write(const Batch& batch, bool sync) {
  Batch joined;
  joined.changes.reserve(batch.changes.size());
  for (const Batch::Change& change : batch.changes) {
    joined.changes.push_back({change.space, Join(prefix_, change.key), change.value});
  }
  return under_.Write(joined, sync);
}

}  // namespace plumblane
