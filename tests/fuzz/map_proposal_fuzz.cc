// `plumblane map`, from the bytes of a table to the map: a proposal is a map but for what it asks,
// and asks as many questions as it says.

#include <algorithm>
#include <sstream>

#include "client/map_command.h"
#include "client/map_file.h"
#include "fuzz/fuzz.h"

#include <nlohmann/json.hpp>

using namespace plumblane::client;

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  const plumblane::fuzz::MemoryFile file(plumblane::fuzz::Input(data, size).Rest());
  std::ostringstream out, err;
  ProposeOptions options;
  options.file = file.path();
  const ExitCode code = RunMap(options, /*json=*/true, {.out = out, .err = err});
  FUZZ_CHECK(!err.str().empty());
  if (code != kDone) {
    FUZZ_CHECK(out.str().empty());
    return 0;
  }
  const auto answer = nlohmann::json::parse(out.str());
  const auto read = ReadMap(answer["map"].get<std::string>());
  int64_t open = 0;
  if (const auto* wrong = std::get_if<1>(&read)) {
    for (const Rejection& one : *wrong) {
      FUZZ_CHECK(one.complaint.message.starts_with("is not settled"));
      ++open;
    }
  }
  FUZZ_CHECK(open == answer["questionCount"].get<int64_t>());
  return 0;
}
