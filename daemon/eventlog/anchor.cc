#include "eventlog/anchor.h"

#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_split.h>
#include <errno.h>
#include <string.h>

#include <chrono>
#include <fstream>
#include <iterator>
#include <random>
#include <utility>

#include "base/hash.h"
#include "base/whole_file.h"
#include "storage/keys.h"

namespace plumblane {
namespace {

constexpr std::chrono::seconds kEvery{1};

// Not a secret: it only must not be that of another store.
std::string NewId() {
  std::random_device random;
  std::string id;
  for (int i = 0; i < 4; ++i) absl::StrAppend(&id, absl::Hex(random(), absl::kZeroPad8));
  return id;
}

std::string Facts(const Anchor& anchor) {
  return absl::StrCat("# Written by plumblaned once a second; do not change or remove it.\n",
                      "store ", anchor.store_id, "\nformat ", anchor.format_version,
                      "\nlog_sequence ", anchor.sequence, "\n");
}

std::string Sum(std::string_view facts) {
  StableHash hash;
  hash.Text(facts);
  return absl::StrCat("sum ", absl::Hex(hash.value(), absl::kZeroPad16), "\n");
}

}  // namespace

std::string EncodeAnchor(const Anchor& anchor) {
  const std::string facts = Facts(anchor);
  return facts + Sum(facts);
}

absl::StatusOr<std::optional<Anchor>> ReadAnchor(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in && errno == ENOENT) return std::nullopt;
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  if (!in.good() && !in.eof()) {
    return absl::UnavailableError(absl::StrCat(path, ": ", strerror(errno)));
  }
  Anchor anchor;
  for (const absl::string_view line : absl::StrSplit(text, '\n')) {
    const std::pair<absl::string_view, absl::string_view> fact =
        absl::StrSplit(line, absl::MaxSplits(' ', 1));
    bool fine = true;
    if (fact.first == "store") anchor.store_id = std::string(fact.second);
    if (fact.first == "format") fine = absl::SimpleAtoi(fact.second, &anchor.format_version);
    if (fact.first == "log_sequence") fine = absl::SimpleAtoi(fact.second, &anchor.sequence);
    if (!fine) break;
  }
  if (text == EncodeAnchor(anchor)) return anchor;
  return absl::DataLossError(absl::StrCat(
      path,
      " is damaged, so it cannot be told whether the end of the log is missing. Put a copy of "
      "it back; without it the daemon starts with what the store holds"));
}

absl::Status WriteAnchor(const std::string& path, const Anchor& anchor) {
  const std::string mistake = WriteWhole(path, EncodeAnchor(anchor));
  return mistake.empty() ? absl::OkStatus() : absl::UnavailableError(mistake);
}

absl::StatusOr<std::string> StoreId(const Snapshot& snapshot) {
  auto id = snapshot.Get(Space::kMeta, kStoreIdKey);
  if (!id.ok()) return id.status();
  return id->value_or("");
}

absl::StatusOr<std::string> EnsureStoreId(Store& store) {
  auto id = StoreId(*store.TakeSnapshot());
  if (!id.ok() || !id->empty()) return id;
  *id = NewId();
  Batch batch;
  batch.Put(Space::kMeta, std::string(kStoreIdKey), *id);
  if (absl::Status status = store.Write(batch, /*sync=*/true); !status.ok()) return status;
  return id;
}

AnchoredLog::AnchoredLog(EventLog& log, std::string path, Anchor anchor)
    : log_(log),
      path_(std::move(path)),
      written_(std::move(anchor)),
      durable_(written_.sequence),
      thread_([this] { Run(); }) {}

AnchoredLog::~AnchoredLog() {
  stop_.Set();
  thread_.join();
}

Appended AnchoredLog::Append(uint32_t partition, uint64_t sequence, std::string bytes) {
  const Appended appended = log_.Append(partition, sequence, std::move(bytes));
  if (appended == Appended::kDurable) durable_ = sequence;
  return appended;
}

std::string AnchoredLog::failure() const {
  const std::lock_guard lock(mutex_);
  return failure_;
}

void AnchoredLog::Run() {
  for (bool last = false; !last;) {
    last = stop_.WaitFor(kEvery);
    WriteNews();
  }
}

void AnchoredLog::WriteNews() {
  Anchor next = written_;
  next.sequence = durable_;
  if (next == written_) return;
  const absl::Status status = WriteAnchor(path_, next);
  if (status.ok()) written_ = next;
  const std::lock_guard lock(mutex_);
  failure_ = std::string(status.message());
}

}  // namespace plumblane
