// One exchange by libcurl, bounded in time and size, that a stop ends at once. Private to
// delivery/.
#pragma once

#include <curl/curl.h>

#include <chrono>
#include <memory>
#include <string>

#include "base/stop_event.h"

namespace plumblane {

// Whether a URL's host is this machine: 127.0.0.1, localhost or [::1].
bool IsLoopback(const std::string& url);

struct FreeList {
  void operator()(curl_slist* list) const { curl_slist_free_all(list); }
};
using CurlList = std::unique_ptr<curl_slist, FreeList>;
void Append(CurlList& list, const std::string& item);

class Transfer {
 public:
  struct Limits {
    std::chrono::milliseconds connect{10'000}, total{30'000};
  };
  // To `url`, by no other protocols than these ("https", "smtp,smtps"). Follows no redirects and
  // drops what is answered, at most 64 KiB of it.
  Transfer(const std::string& url, const char* protocols, const Limits& limits);
  ~Transfer();
  Transfer(const Transfer&) = delete;
  Transfer& operator=(const Transfer&) = delete;

  // Options take what curl_easy_setopt does; pointers must live until Run has returned.
  template <typename Value>
  void Set(CURLoption option, Value value) {
    curl_easy_setopt(easy_, option, value);
  }

  struct Result {
    CURLcode code = CURLE_OK;
    bool interrupted = false;
    int status = 0;              // the last one answered; 0 = none
    curl_off_t retry_after = 0;  // in seconds, as asked by the answer; 0 = not
    std::string error;           // in words, when code is not CURLE_OK
  };
  Result Run(const StopEvent& stop);

 private:
  CURL* const easy_;
  char error_[CURL_ERROR_SIZE] = {};
  size_t answered_bytes_ = 0;
};

}  // namespace plumblane
