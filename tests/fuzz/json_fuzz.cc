// json_splitter.h and json_reader.h: values come in the order of their lines, a list of objects has
// as many as a reader of all JSON finds, and a row holds no empty value.

#include "client/json_reader.h"

#include <algorithm>
#include <nlohmann/json.hpp>

#include "client/json_splitter.h"
#include "client/line_reader.h"
#include "fuzz/fuzz.h"

namespace {

using namespace plumblane::client;
using nlohmann::json;

// How many objects the list has; -1 = it is no list of nothing but objects.
int64_t ObjectsOf(const std::string& text) {
  const json whole = json::parse(text, nullptr, /*allow_exceptions=*/false);
  if (!whole.is_array()) return -1;
  const bool all =
      std::all_of(whole.begin(), whole.end(), [](const json& one) { return one.is_object(); });
  return all ? static_cast<int64_t>(whole.size()) : -1;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const std::string text = plumblane::fuzz::Input(data, size).Rest();
  const plumblane::fuzz::MemoryFile file(text);
  LineReader lines(file.fd(), /*owned=*/false);
  std::optional<Line> first = lines.Next();
  if (!first) return 0;
  JsonSplitter::GoesOn(first->text);
  JsonSplitter values(&lines, *std::move(first));
  int64_t last = 1, count = 0;
  while (std::optional<Line> value = values.Next()) {
    ++count;
    FUZZ_CHECK(value->number >= last);
    FUZZ_CHECK(!value->text.empty());
    last = value->number;
    const RowOrRejection read = ReadJsonRow(*value);
    if (const auto* bad = std::get_if<Rejection>(&read)) {
      FUZZ_CHECK(!bad->complaint.message.empty());
      continue;
    }
    for (const Cell& cell : std::get<Row>(read).cells) FUZZ_CHECK(!cell.value.empty());
  }
  FUZZ_CHECK(count <= static_cast<int64_t>(size));
  if (const int64_t objects = ObjectsOf(text); objects >= 0) FUZZ_CHECK(count == objects);
  return 0;
}
