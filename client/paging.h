// Lists that come in pages, as one.
#pragma once

#include <google/protobuf/repeated_field.h>
#include <grpcpp/support/status.h>

#include <utility>

#include "client/connection.h"

namespace plumblane::client {

inline constexpr int kPageSize = 1000;

// Asks for page after page: `call` is a method of `stub`, `items` the list in a page. `all` becomes
// the first page with the items of the others behind its own, and without token: what else a page
// says holds for the whole list.
template <typename Stub, typename Request, typename Page, typename Item>
grpc::Status ListAll(Stub* stub,
                     grpc::Status (Stub::*call)(grpc::ClientContext*, const Request&, Page*),
                     google::protobuf::RepeatedPtrField<Item>* (Page::*items)(), Request request,
                     Page& all) {
  request.set_page_size(kPageSize);
  while (true) {
    CallContext context;
    Page page;
    const grpc::Status status = (stub->*call)(&context, request, &page);
    if (!status.ok()) return status;
    const bool is_first = request.page_token().empty();
    request.set_page_token(page.next_page_token());
    if (is_first) {
      all = std::move(page);
      all.clear_next_page_token();
    } else {
      for (Item& item : *(page.*items)()) *(all.*items)()->Add() = std::move(item);
    }
    if (request.page_token().empty()) return status;
  }
}

}  // namespace plumblane::client
