// From the bytes of a table to a map for it, as `plumblane map` does: a proposal is a map but for
// what it asks, and asks as many questions as it says.

#include "client/map_proposal.h"

#include <variant>

#include "client/map_file.h"
#include "client/table_sniff.h"
#include "client/wide_file.h"
#include "fuzz/fuzz.h"

using namespace plumblane::client;

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  static Countries countries;
  const std::string bytes = plumblane::fuzz::Input(data, size).Rest();
  const plumblane::fuzz::MemoryFile file(bytes);
  LookedAt looked;
  looked.file = file.path();
  looked.table = Sniff(bytes, /*is_whole=*/true);
  WideFile::Opened opened = WideFile::Open(looked.file, /*in_fd=*/-1, looked.table.form);
  if (const Refusal* refusal = std::get_if<Refusal>(&opened)) {
    FUZZ_CHECK(refusal->message.size() > looked.file.size() + 2);
    return 0;
  }
  WideFile& table = *std::get<std::unique_ptr<WideFile>>(opened);
  looked.columns = table.columns();
  looked.facts.resize(looked.columns.size());
  while (auto next = table.Next()) {
    ++looked.rows;
    const WideRow* row = std::get_if<WideRow>(&*next);
    for (size_t i = 0; row != nullptr && i < row->cells.size(); ++i) {
      looked.facts[i].Take(row->cells[i]);
    }
  }
  const MapProposal proposal = ProposeMap(looked, countries);
  const auto read = ReadMap(proposal.text);
  int open = 0;
  if (const auto* wrong = std::get_if<1>(&read)) {
    for (const Rejection& one : *wrong) {
      FUZZ_CHECK(one.complaint.message.starts_with("is not settled"));
      ++open;
    }
  }
  FUZZ_CHECK(open == proposal.questions);
  return 0;
}
