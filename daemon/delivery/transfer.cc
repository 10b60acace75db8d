#include "delivery/transfer.h"

#include <cassert>

namespace plumblane {
namespace {

constexpr size_t kMostAnswerBytes = 64 << 10;

// Anything but the size means: no more.
size_t DropAnswer(const char* /*data*/, size_t size, size_t count, void* bytes_so_far) {
  size_t& bytes = *static_cast<size_t*>(bytes_so_far);
  bytes += size * count;
  return bytes <= kMostAnswerBytes ? size * count : 0;
}

CURL* NewHandle() {
  static const CURLcode ready = curl_global_init(CURL_GLOBAL_DEFAULT);
  assert(ready == CURLE_OK);
  (void)ready;
  CURL* handle = curl_easy_init();
  assert(handle != nullptr);
  return handle;
}

}  // namespace

bool IsLoopback(const std::string& url) {
  CURLU* parts = curl_url();
  char* host = nullptr;
  bool is_loopback = false;
  if (curl_url_set(parts, CURLUPART_URL, url.c_str(), CURLU_NON_SUPPORT_SCHEME) == CURLUE_OK &&
      curl_url_get(parts, CURLUPART_HOST, &host, 0) == CURLUE_OK) {
    const std::string name = host;
    is_loopback = name == "127.0.0.1" || name == "localhost" || name == "[::1]";
  }
  curl_free(host);
  curl_url_cleanup(parts);
  return is_loopback;
}

void Append(CurlList& list, const std::string& item) {
  curl_slist* longer = curl_slist_append(list.get(), item.c_str());
  assert(longer != nullptr);
  (void)list.release();
  list.reset(longer);
}

Transfer::Transfer(const std::string& url, const char* protocols, const Limits& limits)
    : easy_(NewHandle()) {
  Set(CURLOPT_URL, url.c_str());
  Set(CURLOPT_PROTOCOLS_STR, protocols);
  Set(CURLOPT_FOLLOWLOCATION, 0L);
  Set(CURLOPT_NOSIGNAL, 1L);
  Set(CURLOPT_CONNECTTIMEOUT_MS, static_cast<long>(limits.connect.count()));
  Set(CURLOPT_TIMEOUT_MS, static_cast<long>(limits.total.count()));
  if (IsLoopback(url)) Set(CURLOPT_PROXY, "");
  Set(CURLOPT_WRITEFUNCTION, DropAnswer);
  Set(CURLOPT_WRITEDATA, &answered_bytes_);
  Set(CURLOPT_ERRORBUFFER, error_);
}

Transfer::~Transfer() { curl_easy_cleanup(easy_); }

Transfer::Result Transfer::Run(const StopEvent& stop) {
  CURLM* multi = curl_multi_init();
  assert(multi != nullptr);
  curl_multi_add_handle(multi, easy_);
  Result result;
  int running = 1;
  while (!result.interrupted) {
    curl_multi_perform(multi, &running);
    if (running == 0) break;
    curl_waitfd stopping{stop.fd(), CURL_WAIT_POLLIN, 0};
    curl_multi_poll(multi, &stopping, 1, /*timeout_ms=*/1000, nullptr);
    result.interrupted = stop.is_set();
  }
  int left = 0;
  if (const CURLMsg* done = curl_multi_info_read(multi, &left)) result.code = done->data.result;
  // The process ends: not even the look-up of a name is waited for.
  if (result.interrupted) Set(CURLOPT_QUICK_EXIT, 1L);
  long status = 0;
  curl_easy_getinfo(easy_, CURLINFO_RESPONSE_CODE, &status);
  curl_easy_getinfo(easy_, CURLINFO_RETRY_AFTER, &result.retry_after);
  result.status = static_cast<int>(status);
  if (result.code != CURLE_OK) result.error = *error_ ? error_ : curl_easy_strerror(result.code);
  curl_multi_remove_handle(multi, easy_);
  curl_multi_cleanup(multi);
  return result;
}

}  // namespace plumblane
