// dump_state DIR --set-version N: makes the store look like one of another format version.
// dump_state DIR: checks that the cells of a store are the fold of its orders, then prints every
// order, cell and index entry in hex, one a line. Exit 1 and the first difference when they are
// not.
#include <absl/strings/escaping.h>

#include <cstdlib>
#include <iostream>

#include "engine/applier.h"
#include "storage/keys.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace {

int Fail(const absl::Status& status) {
  std::cerr << status.ToString() << "\n";
  return 1;
}

std::string Hex(std::string_view bytes) {
  return absl::BytesToHexString(absl::string_view(bytes.data(), bytes.size()));
}

int SetVersion(plumblane::Store& store, int version) {
  plumblane::Format format;
  format.version = version;
  plumblane::Batch batch;
  batch.Put(plumblane::Space::kMeta, std::string(plumblane::kFormatKey), EncodeFormat(format));
  const absl::Status written = store.Write(batch, /*sync=*/true);
  return written.ok() ? 0 : Fail(written);
}

}  // namespace

int main(int argc, char** argv) {
  using namespace plumblane;  // NOLINT: a program of one function
  const bool sets_version = argc == 4 && std::string_view(argv[2]) == "--set-version";
  if ((argc != 2 && !sets_version) || argv[1][0] == '-') return 2;
  auto store = OpenRocksDbStore({.path = argv[1]});
  if (!store.ok()) return Fail(store.status());
  if (sets_version) return SetVersion(**store, std::atoi(argv[3]));
  const auto snapshot = (*store)->TakeSnapshot();
  const auto catalog = LoadCatalog(*snapshot);
  if (!catalog.ok()) return Fail(catalog.status());
  const auto record = snapshot->Get(Space::kMeta, kFormatKey);
  if (!record.ok() || !*record) return Fail(absl::DataLossError("no format record"));
  const auto format = DecodeFormat(**record);
  if (!format.ok()) return Fail(format.status());
  const auto difference = FindDifference(*snapshot, *catalog, format->rules);
  if (!difference.ok()) return Fail(difference.status());
  if (!difference->empty()) return Fail(absl::DataLossError(*difference));
  for (const Space space : {Space::kOrders, Space::kCells, Space::kIndex}) {
    const absl::Status scanned = snapshot->Scan(space, "", "", [&](auto key, auto value) {
      std::cout << kSpaceNames[static_cast<int>(space)] << " " << Hex(key) << " " << Hex(value)
                << "\n";
      return true;
    });
    if (!scanned.ok()) return Fail(scanned);
  }
  return 0;
}
