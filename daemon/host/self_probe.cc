#include "host/self_probe.h"

#include <grpcpp/generic/generic_stub.h>
#include <grpcpp/support/byte_buffer.h>
#include <netdb.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <future>
#include <string_view>

namespace plumblane {
namespace {

struct Place {
  sockaddr_storage address{};
  socklen_t size = 0;  // 0: it is not known
};

// Whether `text` began with it and lost it.
bool TakePrefix(std::string_view& text, std::string_view prefix) {
  if (!text.starts_with(prefix)) return false;
  text.remove_prefix(prefix.size());
  return true;
}

Place PlaceOf(std::string_view address) {
  Place place;
  if (TakePrefix(address, "unix:")) {
    auto* path = reinterpret_cast<sockaddr_un*>(&place.address);
    path->sun_family = AF_UNIX;
    address.copy(path->sun_path, sizeof(path->sun_path) - 1);
    place.size = sizeof(sockaddr_un);
    return place;
  }
  TakePrefix(address, "tls:");
  const size_t colon = address.rfind(':');
  std::string_view host = address.substr(0, colon);
  if (TakePrefix(host, "[")) host.remove_suffix(1);
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  if (getaddrinfo(std::string(host).c_str(), std::string(address.substr(colon + 1)).c_str(), &hints,
                  &found) == 0) {
    memcpy(&place.address, found->ai_addr, found->ai_addrlen);
    place.size = found->ai_addrlen;
    freeaddrinfo(found);
  }
  return place;
}

bool IsReady(int fd, short events, std::chrono::milliseconds time) {
  pollfd one{fd, events, 0};
  return poll(&one, 1, static_cast<int>(time.count())) == 1;
}

bool IsTakenUp(int fd, const Place& place, std::chrono::milliseconds time) {
  if (connect(fd, reinterpret_cast<const sockaddr*>(&place.address), place.size) != 0 &&
      (errno != EINPROGRESS || !IsReady(fd, POLLOUT, time / 2))) {
    return false;
  }
  // Nothing more comes, so that a handshake is over at once.
  if (shutdown(fd, SHUT_WR) != 0) return false;
  return IsReady(fd, POLLIN, time / 2);
}

}  // namespace

bool Listens(const std::string& address, std::chrono::milliseconds time) {
  const Place place = PlaceOf(address);
  const int fd =
      socket(place.address.ss_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, /*protocol=*/0);
  if (fd < 0) return false;
  const bool is_taken_up = IsTakenUp(fd, place, time);
  close(fd);
  return is_taken_up;
}

bool HealthAnswers(const std::shared_ptr<grpc::Channel>& channel, std::chrono::milliseconds time) {
  grpc::GenericStub stub(channel);
  grpc::ClientContext context;
  context.set_deadline(gpr_time_from_millis(time.count(), GPR_TIMESPAN));
  const grpc::Slice nothing;  // a HealthCheckRequest that names no service: it asks for all
  const grpc::ByteBuffer request(&nothing, 1);
  grpc::ByteBuffer answer;
  std::promise<bool> answered;
  stub.UnaryCall(&context, "/grpc.health.v1.Health/Check", {}, &request, &answer,
                 [&answered](const grpc::Status& status) { answered.set_value(status.ok()); });
  return answered.get_future().get();
}

}  // namespace plumblane
