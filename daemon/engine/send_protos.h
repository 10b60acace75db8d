// What sends say of themselves and of their sources, as stored protos. Private to engine/.
//
// Pure and thread-safe.
#pragma once

#include <plumblane/store/v1/records.pb.h>

#include "engine/sends.h"

namespace plumblane {

void ToProto(const SourceWord& word, plumblane::store::v1::SourceWord& out);
SourceWord FromProto(const plumblane::store::v1::SourceWord& in);

void ToProto(const SendBegun& begun, plumblane::store::v1::SendBegun& out);
SendBegun FromProto(const plumblane::store::v1::SendBegun& in);

}  // namespace plumblane
