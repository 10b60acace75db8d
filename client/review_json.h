// A review as ProtoJSON, written part by part as it comes, so that one of thousands of accounts is
// never held whole.
#pragma once

#include <ostream>
#include <string>

#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

// Writes what JsonText() (show.h) gives of the parts merged. Not thread-safe.
class ReviewJson {
 public:
  explicit ReviewJson(std::ostream& out) : out_(out) {}

  // The first part has everything but accounts; REQUIRES: the others have nothing else.
  void Add(const v1::Review& part);
  // After the last part; nothing without a part.
  void End();

 private:
  std::ostream& out_;
  std::string rest_;  // what follows the accounts; "" before the first part
  bool any_ = false;  // accounts so far
};

}  // namespace plumblane::client
