// What was agreed and assigned, to and from stored protos; the rest of the border is records.cc.
// Private to engine/.
#pragma once

#include <plumblane/store/v1/records.pb.h>

#include "agreements/agreements.h"
#include "engine/assignments.h"

namespace plumblane {

void ToProto(const AgreementLoad& load, store::v1::AgreementLoad& out);
void ToProto(const Assignment& assignment, store::v1::AssignmentRecord& out);

// False: nothing that a daemon writes.
[[nodiscard]] bool FromProto(const store::v1::AgreementLoad& in, AgreementLoad& load);
[[nodiscard]] bool FromProto(const store::v1::AssignmentRecord& in, Assignment& assignment);

}  // namespace plumblane
