// A web server on this machine that answers as it is told, one request a connection.
#pragma once

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <deque>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace plumblane::test {

class HttpServer {
 public:
  HttpServer() : listener_(socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof(address);
    EXPECT_EQ(bind(listener_, reinterpret_cast<sockaddr*>(&address), size), 0);
    EXPECT_EQ(listen(listener_, 8), 0);
    getsockname(listener_, reinterpret_cast<sockaddr*>(&address), &size);
    port_ = ntohs(address.sin_port);
    thread_ = std::thread([this] { Serve(); });
  }
  ~HttpServer() {
    shutdown(listener_, SHUT_RDWR);
    thread_.join();
    close(listener_);
  }

  std::string url() const { return "http://127.0.0.1:" + std::to_string(port_) + "/hook"; }
  // The next answer, from its status line on: "503 Busy\r\nRetry-After: 7". "" = none, ever.
  // When there is no next one: "204 Taken".
  void Answer(const std::string& head, const std::string& body = "") {
    const std::lock_guard lock(mutex_);
    answers_.push_back(head.empty()
                           ? ""
                           : "HTTP/1.1 " + head + "\r\nConnection: close\r\nContent-Length: " +
                                 std::to_string(body.size()) + "\r\n\r\n" + body);
  }
  // Whole requests, in the order they came.
  std::vector<std::string> requests() const {
    const std::lock_guard lock(mutex_);
    return requests_;
  }

 private:
  void Serve() {
    for (int peer; (peer = accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC)) >= 0;) {
      const std::string request = Read(peer);
      std::string answer = "HTTP/1.1 204 Taken\r\nConnection: close\r\n\r\n";
      {
        const std::lock_guard lock(mutex_);
        requests_.push_back(request);
        if (!answers_.empty()) {
          answer = answers_.front();
          answers_.pop_front();
        }
      }
      if (answer.empty()) {  // until the other side gives up
        char byte;
        while (read(peer, &byte, 1) > 0) {
        }
      }
      send(peer, answer.data(), answer.size(), MSG_NOSIGNAL);
      close(peer);
    }
  }

  static std::string Read(int peer) {
    std::string request;
    char bytes[4096];
    for (;;) {
      const size_t end = request.find("\r\n\r\n");
      const size_t length = request.find("Content-Length: ");
      if (end != std::string::npos && length != std::string::npos &&
          request.size() >= end + 4 + std::stoul(request.substr(length + 16))) {
        return request;
      }
      const ssize_t count = read(peer, bytes, sizeof(bytes));
      if (count <= 0) return request;
      request.append(bytes, static_cast<size_t>(count));
    }
  }

  const int listener_;
  int port_ = 0;
  std::thread thread_;
  mutable std::mutex mutex_;
  std::deque<std::string> answers_;    // guarded by mutex_
  std::vector<std::string> requests_;  // guarded by mutex_
};

}  // namespace plumblane::test
