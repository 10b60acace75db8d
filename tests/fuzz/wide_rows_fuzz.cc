// wide_file.h and wide_rows.h, by maps of several habits: a row gives events or is refused, a
// second reading says the same, and every event passes on to flat_event.h.

#include "client/wide_rows.h"

#include "client/flat_event.h"
#include "client/wide_file.h"
#include "fuzz/fuzz.h"

namespace {

using namespace plumblane::client;

// The columns have numbers for names, so that every table has some of them.
constexpr const char* kMaps[] = {
    R"(source = "s"
[file]
header = false
time_zone = "Europe/Berlin"
decimal = ","
delimiter = "semicolon"
repeated_order = "parts"
[order]
order_id = "1"
destination = { column = "2", form = "country" }
supplier = { value = "lotus-works" }
promise = { column = "4", form = "D-M-Y" }
cost = "5"
currency = { value = "EUR" }
[[event]]
type = "paid"
time = { column = "3", form = "D-M-Y" }
[[event]]
type = "refunded"
time = { column = "3", form = "D-M-Y" }
refund = "5"
by = { value = "supplier" }
)",
    R"(source = "s"
shop = "harbour"
[file]
header = false
repeated_order = "each"
key = ["2"]
[order]
order_id = "1"
tracking = "4"
[[event]]
type = { column = "2", words = "types" }
time = { column = "3", form = "seconds" }
[words.types]
"Arrived" = "delivered"
"On its way" = "shipped"
"*" = ""
[[skip]]
column = "4"
is = ["Test"]
)",
    R"(source = "s"
[file]
header = false
encoding = "utf-16le"
delimiter = "tab"
[order]
order_id = "1"
service = { column = "2", words = "methods" }
units = "4"
[[event]]
type = "paid"
time = { column = "3", form = "M-D-Y" }
[[event]]
type = "disputed"
time = { column = "5", form = "Y-M-D" }
reason = "6"
[words.methods]
"Air Mail" = "air"
)",
};

struct Taken {
  std::vector<std::string> said;  // events, complaints
  int64_t rows = 0;
};

Taken TakeAll(const std::string& table, const MapFile& map) {
  static Countries countries;
  Taken taken;
  const plumblane::fuzz::MemoryFile file(table);
  WideFile::Opened opened = WideFile::Open("-", file.fd(), map.form);
  if (std::holds_alternative<Refusal>(opened)) return taken;
  WideFile& wide = *std::get<std::unique_ptr<WideFile>>(opened);
  auto rows = WideRows::Make(&map, Columns{wide.columns()}, &countries, {1'700'000'000'000});
  if (!rows.ok()) return taken;
  while (auto next = wide.Next()) {
    ++taken.rows;
    if (const auto* bad = std::get_if<Rejection>(&*next)) {
      taken.said.push_back(bad->complaint.message);
      continue;
    }
    const WideRow& row = std::get<WideRow>(*next);
    FUZZ_CHECK(row.cells.size() == wide.columns().size());
    std::vector<Row> events;
    if (const auto bad = rows->Take(row, events)) {
      FUZZ_CHECK(events.empty());
      taken.said.push_back(bad->message);
    }
    for (const Row& event : events) {
      FUZZ_CHECK(event.line == row.line);
      for (const Cell& cell : event.cells) {
        FUZZ_CHECK(!cell.value.empty());
        taken.said.push_back(cell.field + "=" + cell.value);
      }
      Draft draft;
      if (const auto bad = ReadEvent(event, {}, draft)) taken.said.push_back(bad->message);
    }
  }
  FUZZ_CHECK(wide.columns().empty() || taken.rows > 0 || map.form.has_header);
  return taken;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  static const std::vector<MapFile> maps = [] {
    std::vector<MapFile> read;
    for (const char* const text : kMaps) read.push_back(std::get<MapFile>(ReadMap(text)));
    return read;
  }();
  plumblane::fuzz::Input input(data, size);
  const MapFile& map = maps[input.Choose(maps.size())];
  const std::string table = input.Rest();
  FUZZ_CHECK(TakeAll(table, map).said == TakeAll(table, map).said);
  return 0;
}
