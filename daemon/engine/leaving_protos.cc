#include "engine/leaving_protos.h"

namespace plumblane {

namespace pb = ::plumblane::store::v1;

void ToProto(const OrderKey& order, pb::OrderName& out) {
  out.set_shop(order.shop);
  out.set_order_id(order.order_id);
}

OrderKey FromProto(const pb::OrderName& in) { return {in.shop(), in.order_id()}; }

void ToProto(const Purge& purge, pb::PurgeRecord& out) {
  out.set_before_millis(purge.before.millis);
  out.set_claim_window_days(purge.claim_window_days);
  for (const OrderKey& order : purge.orders) ToProto(order, *out.add_orders());
}

Purge FromProto(const pb::PurgeRecord& in) {
  Purge purge{{in.before_millis()}, in.claim_window_days(), {}};
  for (const pb::OrderName& order : in.orders()) purge.orders.push_back(FromProto(order));
  return purge;
}

void ToProto(const ErasedSupplier& erased, pb::ErasedSupplierRecord& out) {
  out.set_supplier(erased.supplier);
  for (const OrderKey& order : erased.assigned) ToProto(order, *out.add_assigned());
  out.set_rest(erased.rest);
}

ErasedSupplier FromProto(const pb::ErasedSupplierRecord& in) {
  ErasedSupplier erased{in.supplier(), {}, in.rest()};
  for (const pb::OrderName& order : in.assigned()) erased.assigned.push_back(FromProto(order));
  return erased;
}

}  // namespace plumblane
