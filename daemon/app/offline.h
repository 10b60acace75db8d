// What is done to data that no daemon serves: verify it, restore a backup, recover what a damaged
// store still holds. Each prints what it found and returns the exit code: 0 done, 65 when the data
// differs, is damaged or less than was acknowledged, 75 when it is in use or the disk does not
// allow.
#pragma once

#include <cstdint>
#include <ostream>
#include <string>

#include "app/settings.h"

namespace plumblane {

// Changes nothing.
int VerifyData(const Settings& settings, std::ostream& out);

// How much of what was acknowledged may be missing in the result; in log entries.
struct AcceptedLoss {
  uint64_t entries = 0;
};

// Makes the store of the copy with that number in the directory `backup`, 0 = of the latest.
// There must be no store yet. Afterwards it is verified.
int RestoreData(const Settings& settings, const std::string& backup, int64_t number,
                AcceptedLoss accepted, std::ostream& out);

// Makes the data directory `copy`, which must not exist, of what the store holds up to the damage,
// and verifies it. The store itself is not touched. Where acknowledged entries are missing beyond
// what is accepted, it only says how many, and `copy` is removed again.
int RecoverData(const Settings& settings, const std::string& copy, AcceptedLoss accepted,
                std::ostream& out);

}  // namespace plumblane
