// Log entries and small records as bytes: the border between the engine's values and the store's
// protocol buffers.
#pragma once

#include <absl/status/statusor.h>

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "engine/assignments.h"
#include "engine/catalog.h"
#include "engine/sends.h"
#include "engine/submission.h"
#include "orders/fold.h"

namespace plumblane {

// One entry of the log.
struct LogEntry {
  Instant receive_time;
  Submission content;
};

// All of a submission but history_through, so that it can be encoded before its turn.
std::string EncodeContent(const Submission& content);
// The contents of several submissions, one after the other, are one entry; `history_through` is the
// latest of theirs.
std::string EncodeLogEntry(Instant receive_time, std::optional<Instant> history_through,
                           std::span<const std::string_view> contents);
std::string EncodeLogEntry(Instant receive_time, const Submission& content);
absl::StatusOr<LogEntry> DecodeLogEntry(std::string_view bytes);

std::string EncodeSource(const Source& source);
absl::StatusOr<Source> DecodeSource(std::string_view bytes);

std::string EncodeSend(const Send& send);
absl::StatusOr<Send> DecodeSend(std::string_view bytes);

std::string EncodeExcuse(const Excuse& excuse);
absl::StatusOr<Excuse> DecodeExcuse(std::string_view bytes);

// A load and when it was received.
struct ReceivedLoad {
  Instant receive_time;
  AgreementLoad load;
};
std::string EncodeAgreement(Instant receive_time, const AgreementLoad& load);
absl::StatusOr<ReceivedLoad> DecodeAgreement(std::string_view bytes);

std::string EncodeAssignment(const StoredAssignment& stored);
absl::StatusOr<StoredAssignment> DecodeAssignment(std::string_view bytes);

std::string EncodeAlertNotice(const AlertNotice& notice);
absl::StatusOr<AlertNotice> DecodeAlertNotice(std::string_view bytes);
// Those after the cursor, ascending, until `each` returns false; those that were erased are passed
// over. Returns the cursor of the last one looked at, erased or not; `after` = there is none.
absl::StatusOr<int64_t> EachAlertNotice(
    const Snapshot& snapshot, int64_t after,
    const std::function<bool(int64_t, const AlertNotice&)>& each);

std::string EncodeProgress(const Catalog& catalog);
absl::Status DecodeProgress(std::string_view bytes, Catalog& catalog);

// What the data directory was made with, and a change of rules that is under way.
inline constexpr int kFormatVersion = 4;  // see UpgradeFormat
struct Format {
  int version = kFormatVersion;
  FoldRules rules;
  // Orders up to and including this key already follow `next_rules`.
  std::optional<FoldRules> next_rules;
  std::string refolded_through;
};
std::string EncodeFormat(const Format& format);
absl::StatusOr<Format> DecodeFormat(std::string_view bytes);

std::string EncodeInstant(Instant t);
absl::StatusOr<Instant> DecodeInstant(std::string_view bytes);
std::string EncodeCount(int64_t count);
absl::StatusOr<int64_t> DecodeCount(std::string_view bytes);

}  // namespace plumblane
