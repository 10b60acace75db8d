#include "access/guarded_service.h"

#include <absl/strings/str_cat.h>
#include <google/protobuf/descriptor.h>
#include <grpc/grpc.h>
#include <grpcpp/impl/rpc_service_method.h>

#include <cassert>
#include <utility>

namespace plumblane {
namespace {

using grpc::internal::MethodHandler;
using grpc::internal::RpcMethod;
using grpc::internal::RpcServiceMethod;

// The way to a service's handlers that is open to classes derived from it.
struct Handlers : grpc::Service {
  static MethodHandler* Of(grpc::Service& service, int index) {
    return (service.*&Handlers::GetHandler)(index);
  }
};

class GuardedHandler final : public MethodHandler {
 public:
  GuardedHandler(MethodHandler& inner, const std::string& method, Gate& gate,
                 GuardedService::Remarks remarks, GuardedService::WhyNotHere why_not_here)
      : inner_(inner),
        method_(method),
        gate_(gate),
        remarks_(std::move(remarks)),
        why_not_here_(std::move(why_not_here)) {}

  void RunHandler(const HandlerParameter& call) override {
    const bool is_readable = call.status.ok();
    Gate::Verdict verdict =
        gate_.Admit(method_, *call.server_context, is_readable ? call.request : nullptr);
    std::function<void()> ended = call.call_requester;
    if (verdict.call != 0) {
      ended = [this, id = verdict.call, ended = std::move(ended)] {
        gate_.End(id);
        ended();
      };
    }
    if (verdict.status.ok() && !is_readable) {
      verdict.status = {grpc::StatusCode::INVALID_ARGUMENT, "the request cannot be read"};
    }
    if (verdict.status.ok()) {
      const std::string why = why_not_here_(method_);
      if (!why.empty()) verdict.status = {grpc::StatusCode::FAILED_PRECONDITION, why};
    }
    if (!verdict.status.ok()) {
      // The caller is told first; what the handler then says of itself is dropped. With a status
      // that is not OK it does nothing but end.
      grpc_call_cancel_with_status(call.call->call(),
                                   static_cast<grpc_status_code>(verdict.status.error_code()),
                                   verdict.status.error_message().c_str(), nullptr);
      return inner_.RunHandler({call.call, call.server_context, call.request, verdict.status,
                                call.internal_data, std::move(ended)});
    }
    for (const auto& [key, remark] : remarks_()) {
      call.server_context->AddInitialMetadata(key, remark);
    }
    inner_.RunHandler({call.call, call.server_context, call.request, call.status,
                       call.internal_data, std::move(ended)});
  }

  void* Deserialize(grpc_call* call, grpc_byte_buffer* bytes, grpc::Status* status,
                    void** data) override {
    return inner_.Deserialize(call, bytes, status, data);
  }

 private:
  MethodHandler& inner_;
  const std::string& method_;
  Gate& gate_;
  const GuardedService::Remarks remarks_;
  const GuardedService::WhyNotHere why_not_here_;
};

RpcMethod::RpcType TypeOf(const google::protobuf::MethodDescriptor& method) {
  if (method.client_streaming()) {
    return method.server_streaming() ? RpcMethod::BIDI_STREAMING : RpcMethod::CLIENT_STREAMING;
  }
  return method.server_streaming() ? RpcMethod::SERVER_STREAMING : RpcMethod::NORMAL_RPC;
}

}  // namespace

GuardedService::GuardedService(grpc::Service& service, const std::string& name, Gate& gate,
                               const Remarks& remarks, const WhyNotHere& why_not_here) {
  const auto* what = google::protobuf::DescriptorPool::generated_pool()->FindServiceByName(name);
  assert(what != nullptr);
  methods_.reserve(static_cast<size_t>(what->method_count()));
  for (int i = 0; i < what->method_count(); ++i) {
    const auto& method = *what->method(i);
    methods_.push_back(absl::StrCat("/", name, "/", method.name()));
    MethodHandler* inner = Handlers::Of(service, i);
    assert(inner != nullptr);
    AddMethod(new RpcServiceMethod(methods_.back().c_str(), TypeOf(method), nullptr));
    MarkMethodCallback(i, new GuardedHandler(*inner, methods_.back(), gate, remarks, why_not_here));
  }
}

}  // namespace plumblane
