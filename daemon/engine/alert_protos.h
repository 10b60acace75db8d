// Notices of alerts, to and from stored protos; the rest of the border is records.cc. Private to
// engine/.
#pragma once

#include <plumblane/store/v1/records.pb.h>

#include "engine/alerts_told.h"

namespace plumblane {

void ToProto(const AlertNotice& notice, store::v1::AlertNoticeRecord& out);

// False: nothing that a daemon writes.
[[nodiscard]] bool FromProto(const store::v1::AlertNoticeRecord& in, AlertNotice& notice);

}  // namespace plumblane
