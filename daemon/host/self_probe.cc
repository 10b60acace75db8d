#include "host/self_probe.h"

#include <grpcpp/create_channel.h>
#include <grpcpp/generic/generic_stub.h>
#include <grpcpp/security/credentials.h>
#include <grpcpp/support/byte_buffer.h>
#include <grpcpp/support/channel_arguments.h>

#include <future>

namespace plumblane {

bool HealthAnswers(const std::string& address, std::chrono::milliseconds time) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_ENABLE_HTTP_PROXY, 0);
  arguments.SetInt(GRPC_ARG_USE_LOCAL_SUBCHANNEL_POOL, 1);
  grpc::GenericStub stub(
      grpc::CreateCustomChannel(address, grpc::InsecureChannelCredentials(), arguments));
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
