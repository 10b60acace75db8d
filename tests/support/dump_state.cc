// dump_state DIR --set-version N: makes the store look like one of another format version.
// dump_state DIR --drop-order: takes one event out of the last order, and nothing else.
// dump_state DIR [--without-sends]: checks that the cells of a store are the fold of its orders,
// then prints every order, cell and index entry in hex, one a line, with the flag without what says
// by which sends it was told. Exit 1 and the first difference when they are not.
#include <absl/strings/escaping.h>

#include <cstdlib>
#include <iostream>

#include "engine/applier.h"
#include "engine/joined_snapshot.h"
#include "storage/keys.h"
#include "storage/order_codec.h"
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

int DropOrder(plumblane::Store& store) {
  std::string last, record;
  absl::Status status =
      store.TakeSnapshot()->Scan(plumblane::Space::kOrders, "", "", [&](auto key, auto value) {
        last = key;
        record = value;
        return true;
      });
  auto events = plumblane::DecodeOrder(record);
  if (!status.ok() || !events.ok() || events->empty()) return 1;
  events->pop_back();
  plumblane::Batch batch;
  if (events->empty()) {
    batch.Delete(plumblane::Space::kOrders, last);
  } else {
    batch.Put(plumblane::Space::kOrders, last, plumblane::EncodeOrder(*events));
  }
  status = store.Write(batch, /*sync=*/true);
  return status.ok() ? 0 : Fail(status);
}

bool IsOfSends(plumblane::Space space, std::string_view key) {
  return space == plumblane::Space::kIndex && key[0] == plumblane::SendOrdersPrefix(0)[0];
}

// The record of an order, as if told outside any send.
std::string ToldByNone(std::string_view record) {
  auto events = plumblane::DecodeOrder(record);
  if (!events.ok()) return "";
  for (plumblane::Event& event : *events) event.tellings.clear();
  return plumblane::EncodeOrder(*events);
}

}  // namespace

int main(int argc, char** argv) {
  using namespace plumblane;  // NOLINT: a program of one function
  const bool sets_version = argc == 4 && std::string_view(argv[2]) == "--set-version";
  const bool without_sends = argc == 3 && std::string_view(argv[2]) == "--without-sends";
  const bool drops_order = argc == 3 && std::string_view(argv[2]) == "--drop-order";
  if ((argc != 2 && !sets_version && !without_sends && !drops_order) || argv[1][0] == '-') return 2;
  auto store = OpenRocksDbStore({.path = argv[1]});
  if (!store.ok()) return Fail(store.status());
  if (sets_version) return SetVersion(**store, std::atoi(argv[3]));
  if (drops_order) return DropOrder(**store);
  const auto whole = WholeOf((*store)->TakeSnapshot());
  if (!whole.ok()) return Fail(whole.status());
  const auto& snapshot = *whole;
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
      if (without_sends && IsOfSends(space, key)) return true;
      const bool strips = without_sends && space == Space::kOrders;
      std::cout << kSpaceNames[static_cast<int>(space)] << " " << Hex(key) << " "
                << Hex(strips ? ToldByNone(value) : std::string(value)) << "\n";
      return true;
    });
    if (!scanned.ok()) return Fail(scanned);
  }
  return 0;
}
