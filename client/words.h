// The words of event files, and finding the one that was meant.
//
// Pure and thread-safe.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "plumblane/v1/event.pb.h"

namespace plumblane::client {

// The fields an event may have, in the order in which they are best written.
std::span<const std::string_view> EventFields();

// The words of `type` and `reason`: "paid", "wrong_item". Unknown words give none, unspecified
// values "".
std::optional<v1::EventType> TypeNamed(std::string_view word);
std::optional<v1::Reason> ReasonNamed(std::string_view word);
std::string NameOf(v1::EventType type);
std::string NameOf(v1::Reason reason);
// A kind of defect in plain words: "wrong item", "poor quality".
std::string DefectText(v1::Reason kind);
std::vector<std::string> TypeNames();
std::vector<std::string> ReasonNames();

// The field of an event file that a field of the API comes from: "time" for "event_time", "cost"
// for "cost.minor_units". Unknown names stay as they are.
std::string FileField(const std::string& api_field);

// The same words as strings.
std::vector<std::string> Strings(std::span<const std::string_view> words);

// The known word that `word` most likely stands for, "" when none is near. Case, blanks, hyphens
// and underscores make no difference.
std::string Nearest(std::string_view word, const std::vector<std::string>& known);

// ", did you mean X?", or "" when none is near.
std::string DidYouMean(std::string_view word, const std::vector<std::string>& known);

}  // namespace plumblane::client
