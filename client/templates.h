// The files of templates/, put into the program when it is built.
#pragma once

#include <span>
#include <string_view>

namespace plumblane::client {

struct TemplateFile {
  std::string_view name;  // without ".mustache": "review.html"
  std::string_view text;
};

std::span<const TemplateFile> Templates();

// REQUIRES: one of that name.
std::string_view Template(std::string_view name);

}  // namespace plumblane::client
