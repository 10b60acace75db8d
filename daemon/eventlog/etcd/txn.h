// Pieces of etcd's transactions, by name, and of its keys.
#pragma once

#include <absl/status/statusor.h>
#include <absl/strings/numbers.h>
#include <absl/strings/str_cat.h>
#include <etcd/etcd.pb.h>

#include <cstdint>
#include <string>
#include <utility>

namespace plumblane {

inline void RequireAbsent(etcdserverpb::TxnRequest& txn, std::string key) {
  auto* compare = txn.add_compare();
  compare->set_target(etcdserverpb::Compare::CREATE);
  compare->set_key(std::move(key));
  compare->set_create_revision(0);
}

inline void RequireRevision(etcdserverpb::TxnRequest& txn, std::string key, int64_t revision) {
  auto* compare = txn.add_compare();
  compare->set_target(etcdserverpb::Compare::MOD);
  compare->set_key(std::move(key));
  compare->set_mod_revision(revision);
}

inline void RequireValue(etcdserverpb::TxnRequest& txn, std::string key, std::string value) {
  auto* compare = txn.add_compare();
  compare->set_target(etcdserverpb::Compare::VALUE);
  compare->set_key(std::move(key));
  compare->set_value(std::move(value));
}

inline void Put(etcdserverpb::TxnRequest& txn, std::string key, std::string value,
                int64_t lease = 0) {
  auto* put = txn.add_success()->mutable_request_put();
  put->set_key(std::move(key));
  put->set_value(std::move(value));
  put->set_lease(lease);
}

// Keys from `key` up to before `end`; "" as `end`: the one key.
inline void DeleteRange(etcdserverpb::TxnRequest& txn, std::string key, std::string end) {
  auto* range = txn.add_success()->mutable_request_delete_range();
  range->set_key(std::move(key));
  range->set_range_end(std::move(end));
}

// Likewise.
inline etcdserverpb::RequestOp Range(std::string key, std::string end = "", int64_t limit = 0) {
  etcdserverpb::RequestOp op;
  op.mutable_request_range()->set_key(std::move(key));
  op.mutable_request_range()->set_range_end(std::move(end));
  op.mutable_request_range()->set_limit(limit);
  return op;
}

inline etcdserverpb::RequestOp FirstKey(std::string key, std::string end) {
  etcdserverpb::RequestOp op = Range(std::move(key), std::move(end), 1);
  op.mutable_request_range()->set_keys_only(true);
  return op;
}

// Of the answer to the operation `index`, a Range of one key: null = there is none.
inline const etcdserverpb::KeyValue* Only(const etcdserverpb::TxnResponse& response, int index) {
  const auto& range = response.responses(index).response_range();
  return range.kvs_size() == 0 ? nullptr : &range.kvs(0);
}

inline std::string Padded(uint64_t sequence) {
  return absl::StrCat(absl::Dec(sequence, absl::kZeroPad16));
}

// What the end of a key says, after the last slash.
inline absl::StatusOr<uint64_t> NumberIn(absl::string_view text, absl::string_view what) {
  uint64_t number = 0;
  if (absl::SimpleAtoi(text.substr(text.rfind('/') + 1), &number)) return number;
  return absl::DataLossError(absl::StrCat("etcd: ", what, " is no number: ", text));
}

}  // namespace plumblane
