// Sends, and what taking one back changes, as text.
#pragma once

#include <string>

#include "plumblane/v1/intake.pb.h"

namespace plumblane::client {

std::string ShowSends(const v1::ListSendsResponse& answer, int width);
// Before it is done.
std::string ShowUndoEffect(const v1::UndoSendResponse& answer, int width);
// After.
std::string ShowUndone(const v1::UndoSendResponse& answer, int width);

}  // namespace plumblane::client
