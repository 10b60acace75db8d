#include "engine/arriving_state.h"

namespace plumblane {
namespace {

constexpr char kMark[] = "arriving";
constexpr size_t kBytesAtOnce = 4 << 20;
constexpr size_t kDeletedAtOnce = 10'000;

// The mark goes last.
absl::Status Clear(Store& store) {
  const auto snapshot = store.TakeSnapshot();
  Batch batch;
  for (int space = 0; space < kSpaceCount; ++space) {
    absl::Status written;
    const absl::Status read =
        snapshot->Scan(static_cast<Space>(space), "", "", [&](auto key, auto /*value*/) {
          if (static_cast<Space>(space) == Space::kMeta && key == kMark) return true;
          batch.Delete(static_cast<Space>(space), std::string(key));
          if (batch.changes.size() < kDeletedAtOnce) return true;
          written = store.Write(batch, /*sync=*/false);
          batch = {};
          return written.ok();
        });
    if (!read.ok()) return read;
    if (!written.ok()) return written;
  }
  batch.Delete(Space::kMeta, kMark);
  return store.Write(batch, /*sync=*/true);
}

absl::Status Mark(Store& store) {
  Batch batch;
  batch.Put(Space::kMeta, kMark, "");
  return store.Write(batch, /*sync=*/true);
}

}  // namespace

absl::Status ArrivingState::ClearIfCutShort(Store& store) {
  const auto mark = store.TakeSnapshot()->Get(Space::kMeta, kMark);
  if (!mark.ok() || !*mark) return mark.status();
  return Clear(store);
}

absl::Status ArrivingState::Put(Space space, std::string key, std::string value) {
  if (!has_begun_) {
    absl::Status status = Mark(store_);
    if (status.ok()) status = Clear(store_);
    if (status.ok()) status = Mark(store_);
    if (!status.ok()) return status;
    has_begun_ = true;
  }
  bytes_ += key.size() + value.size();
  batch_.Put(space, std::move(key), std::move(value));
  return bytes_ < kBytesAtOnce ? absl::OkStatus() : Write();
}

absl::Status ArrivingState::Write() {
  if (!is_wanted_()) return absl::CancelledError("no more is wanted");
  absl::Status status = store_.Write(batch_, /*sync=*/false);
  batch_ = {};
  bytes_ = 0;
  return status;
}

absl::Status ArrivingState::Restart() {
  if (!has_begun_) return absl::OkStatus();
  batch_ = {};
  bytes_ = 0;
  if (absl::Status status = Clear(store_); !status.ok()) return status;
  return Mark(store_);
}

absl::Status ArrivingState::End() {
  if (!has_begun_) return absl::FailedPreconditionError("no state has come");
  batch_.Delete(Space::kMeta, kMark);
  return store_.Write(batch_, /*sync=*/true);
}

}  // namespace plumblane
