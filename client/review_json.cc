#include "client/review_json.h"

#include <string_view>

#include "client/show.h"

namespace plumblane::client {
namespace {

// Neither can stand within a text: there a quotation mark has a backslash before it, and the end of
// a line is written as one.
constexpr std::string_view kBegin = "\"accounts\": [", kEnd = "\n ]";

}  // namespace

void ReviewJson::Add(const v1::Review& part) {
  const std::string json = JsonText(part);
  const size_t begin = json.find(kBegin) + kBegin.size();
  const size_t end = part.accounts().empty() ? begin : json.find(kEnd, begin);
  if (rest_.empty()) {
    out_ << json.substr(0, begin);
    rest_ = json.substr(json.find(']', end));
  }
  if (part.accounts().empty()) return;
  out_ << (any_ ? "," : "") << json.substr(begin, end - begin);
  any_ = true;
}

void ReviewJson::End() {
  if (!rest_.empty()) out_ << (any_ ? "\n " : "") << rest_;
}

}  // namespace plumblane::client
