// Templates into text.
//
// Pure and thread-safe.
#pragma once

#include <string>
#include <string_view>

#include "client/view.h"

namespace plumblane::client {

enum class Markup { kHtml, kMarkdown };

// `text` so that it stands in a page as it is, wherever: markup becomes its characters, a control
// character a blank, and a percent sign stays on the line of its number. A Markdown text must not
// stand at the beginning of a line.
std::string Escaped(std::string_view text, Markup markup);

// The template (mustache) filled with `view`; every text is escaped. "{{> name}}" puts in the
// template of that name. Terminates the program when the template is broken: it is our own.
std::string Render(std::string_view name, const View& view, Markup markup);

}  // namespace plumblane::client
