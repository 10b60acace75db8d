// map_file.h: a map is read or told what is wrong with it and where; a text in quotes comes back.

#include "client/map_file.h"

#include <algorithm>

#include "client/text.h"
#include "client/wide_rows.h"
#include "fuzz/fuzz.h"

using namespace plumblane::client;

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const std::string text = plumblane::fuzz::Input(data, size).Rest();
  const auto read = ReadMap(text);
  if (const auto* wrong = std::get_if<1>(&read)) {
    FUZZ_CHECK(!wrong->empty());
    const auto lines = 1 + std::count(text.begin(), text.end(), '\n');
    for (const Rejection& one : *wrong) {
      FUZZ_CHECK(one.line >= 1 && one.line <= lines);
      FUZZ_CHECK(!one.complaint.message.empty());
    }
  } else {
    const MapFile& map = std::get<MapFile>(read);
    FUZZ_CHECK(!map.source.empty() && !map.events.empty());
    static Countries countries;
    (void)WideRows::Make(&map, Columns{{"Order", "Paid", "Country"}}, &countries, {0});
  }
  if (!IsUtf8(text) || text.empty() || text.size() > 64) return 0;
  const auto quoted = ReadMap(
      "source = \"s\"\n[[event]]\ntype = \"paid\"\ntime = { value = " + TomlText(text) + " }\n");
  if (text == "?") return 0;  // not settled
  FUZZ_CHECK(std::get<MapFile>(quoted).events[0].time.value == text);
  return 0;
}
