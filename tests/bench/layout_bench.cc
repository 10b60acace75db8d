// How many days of cells should one record hold? Cost of reading a pair, of changing recent cells
// and of the disk, by days a record, which are no more than its bytes can tell apart. Usage:
// layout_bench
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <random>

#include "storage/bytes.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {
namespace {

constexpr int kPairs = 300, kDays = 400, kOrdersADay = 3, kFirstDay = 20'000;
constexpr int kRounds = 20, kChangesARound = 2000;

double Microseconds(std::chrono::steady_clock::duration d) {
  return std::chrono::duration<double, std::micro>(d).count();
}

Cell MakeCell(std::mt19937_64& random, Measure measure) {
  Cell cell;
  cell.counted.entered = kOrdersADay;
  const bool in_days = measure == Measure::kOnTime || measure == Measure::kDefect ||
                       measure == Measure::kUnderway || measure == Measure::kOverdue;
  for (int i = 0; i < kOrdersADay; ++i) {
    const auto bucket = static_cast<uint32_t>(in_days ? random() % 12 : 500 + random() % 150);
    cell.counted.Add(Code::kDelivered, bucket, 1);
  }
  return cell;
}

std::string KeyOf(int pair, Measure measure, int page) {
  char supplier[16];
  std::snprintf(supplier, sizeof(supplier), "supplier%04d", pair);
  ByteWriter writer;
  writer.Raw(CellPrefix({supplier, {"VN", "DE", ""}}, measure));
  writer.Big(static_cast<uint64_t>(page), 4);
  return writer.Take();
}

void Check(const absl::Status& status) {
  if (status.ok()) return;
  std::fprintf(stderr, "%s\n", status.ToString().c_str());
  std::exit(1);
}

uintmax_t BytesIn(const std::string& folder) {
  uintmax_t bytes = 0;
  for (const auto& file : std::filesystem::directory_iterator(folder)) bytes += file.file_size();
  return bytes;
}

void MeasureLayout(int days_a_page, const std::string& folder) {
  std::filesystem::remove_all(folder);
  std::mt19937_64 random(7);
  double read_us = 0, change_us = 0, bytes_a_change = 0;
  {
    auto store = OpenRocksDbStore({.path = folder, .write_buffer_bytes = 8 << 20});
    Check(store.status());
    for (int pair = 0; pair < kPairs; ++pair) {
      Batch batch;
      for (int m = 1; m <= kMeasureCount; ++m) {
        const auto measure = static_cast<Measure>(m);
        for (int page = kFirstDay / days_a_page; page <= (kFirstDay + kDays) / days_a_page;
             ++page) {
          Series series;
          for (int day = page * days_a_page; day < (page + 1) * days_a_page; ++day) {
            if (day < kFirstDay || day >= kFirstDay + kDays) continue;
            series.push_back({{day}, MakeCell(random, measure)});
          }
          if (series.empty()) continue;
          batch.Put(Space::kCells, KeyOf(pair, measure, page),
                    EncodePage({page * days_a_page}, series));
        }
      }
      Check((*store)->Write(batch, false));
    }
    // Changes of cells of the last three weeks, as one entry makes them.
    for (int round = 0; round < kRounds; ++round) {
      const auto start = std::chrono::steady_clock::now();
      std::map<std::string, std::pair<Day, Series>> changes;
      for (int i = 0; i < kChangesARound; ++i) {
        const int day = kFirstDay + kDays - 1 - static_cast<int>(random() % 21);
        const auto measure = static_cast<Measure>(1 + random() % kMeasureCount);
        const int page = day / days_a_page;
        auto& [first, series] = changes[KeyOf(static_cast<int>(random() % kPairs), measure, page)];
        first = {page * days_a_page};
        AddSeries(series, {{{day}, MakeCell(random, measure)}});
      }
      std::vector<std::string> keys;
      for (const auto& [key, change] : changes) keys.push_back(key);
      const auto values = (*store)->TakeSnapshot()->GetAll(Space::kCells, keys);
      Check(values.status());
      Batch batch;
      auto value = values->begin();
      for (auto& [key, change] : changes) {
        Series sum = *DecodePage(change.first, **value++);
        AddSeries(sum, change.second);
        std::string bytes = EncodePage(change.first, sum);
        bytes_a_change += static_cast<double>(key.size() + bytes.size());
        batch.Put(Space::kCells, key, std::move(bytes));
      }
      Check((*store)->Write(batch, false));
      change_us += Microseconds(std::chrono::steady_clock::now() - start);
    }
  }
  auto store = OpenRocksDbStore({.path = folder});
  Check(store.status());
  const auto snapshot = (*store)->TakeSnapshot();
  for (int warm = 0; warm < 2; ++warm) {  // the second time from the block cache
    const auto start = std::chrono::steady_clock::now();
    size_t cohorts = 0;
    for (int pair = 0; pair < kPairs; ++pair) {
      char supplier[16];
      std::snprintf(supplier, sizeof(supplier), "supplier%04d", pair);
      Check(snapshot->Scan(Space::kCells, CellPrefix({supplier, {"VN", "DE", ""}}), "",
                           [&](auto, auto bytes) {
                             cohorts += DecodePage({0}, bytes)->size();
                             return true;
                           }));
    }
    read_us = Microseconds(std::chrono::steady_clock::now() - start) / kPairs;
    if (cohorts != static_cast<size_t>(kPairs) * kDays * kMeasureCount) std::abort();
  }
  constexpr double kChanges = static_cast<double>(kRounds) * kChangesARound;
  std::printf("%4d %18.0f %18.2f %18.0f %14.1f\n", days_a_page, read_us, change_us / kChanges,
              bytes_a_change / kChanges, static_cast<double>(BytesIn(folder)) / 1e6);
}

}  // namespace
}  // namespace plumblane

int main() {
  char folder[] = "/tmp/plumblane-layout-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  std::printf("%d pairs, %d days, %d measures, %d orders a day\n", plumblane::kPairs,
              plumblane::kDays, plumblane::kMeasureCount, plumblane::kOrdersADay);
  std::printf("days  read a pair [us]  change a cell [us]  bytes a change  disk [MB]\n");
  for (const int days : {1, 4, 8, plumblane::kDaysPerPage}) {
    plumblane::MeasureLayout(days, std::string(folder) + "/store");
  }
  std::filesystem::remove_all(folder);
  return 0;
}
