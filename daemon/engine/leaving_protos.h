// Orders that leave, as stored protocol buffers. Private to engine/.
#pragma once

#include <plumblane/store/v1/records.pb.h>

#include "engine/submission.h"

namespace plumblane {

void ToProto(const OrderKey& order, store::v1::OrderName& out);
OrderKey FromProto(const store::v1::OrderName& in);
void ToProto(const Purge& purge, store::v1::PurgeRecord& out);
Purge FromProto(const store::v1::PurgeRecord& in);
void ToProto(const ErasedSupplier& erased, store::v1::ErasedSupplierRecord& out);
ErasedSupplier FromProto(const store::v1::ErasedSupplierRecord& in);

}  // namespace plumblane
