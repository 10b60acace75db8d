#include "client/render.h"

#include <absl/strings/str_cat.h>

#include <cstdio>
#include <cstdlib>
#include <kainjow/mustache.hpp>

#include "client/templates.h"

namespace plumblane::client {
namespace {

namespace mustache = kainjow::mustache;

constexpr std::string_view kMarkdownSigns = "\\`*_[]|#~$";

mustache::data DataOf(const View& view) {
  mustache::data data;
  for (const auto& [name, text] : view.texts) {
    data.set(name, text.empty() ? mustache::data(mustache::data::type::bool_false)
                                : mustache::data(text));
  }
  for (const auto& [name, views] : view.lists) {
    mustache::data list(mustache::data::type::list);
    for (const View& one : views) list.push_back(DataOf(one));
    data.set(name, list);
    data.set("has_" + name,
             views.empty() ? mustache::data::type::bool_false : mustache::data::type::bool_true);
  }
  return data;
}

}  // namespace

std::string Escaped(std::string_view text, Markup markup) {
  std::string plain;
  for (const char c : text) plain += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? ' ' : c;
  if (markup == Markup::kMarkdown) {
    std::string out;
    for (const char c : plain) {
      if (kMarkdownSigns.find(c) != std::string_view::npos) out += '\\';
      // As entities: what makes HTML of it may not know of backslashes here.
      if (c == '<') {
        out += "&lt;";
      } else if (c == '>') {
        out += "&gt;";
      } else if (c == '&') {
        out += "&amp;";
      } else {
        out += c;
      }
    }
    return out;
  }
  std::string out = mustache::html_escape(plain);
  for (size_t at = 0; (at = out.find(" %", at)) != std::string::npos;) out.replace(at, 1, "&nbsp;");
  return out;
}

std::string Render(std::string_view name, const View& view, Markup markup) {
  mustache::mustache page{std::string(Template(name))};
  page.set_custom_escape([markup](const std::string& text) { return Escaped(text, markup); });
  mustache::data data = DataOf(view);
  for (const TemplateFile& file : Templates()) {
    data.set(std::string(file.name), mustache::partial([&file] { return std::string(file.text); }));
  }
  std::string text = page.render(data);
  if (page.is_valid()) return text;
  std::fputs(absl::StrCat("template ", std::string(name), ": ", page.error_message(), "\n").c_str(),
             stderr);
  std::abort();
}

}  // namespace plumblane::client
