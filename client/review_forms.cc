#include "client/review_forms.h"

#include <absl/strings/ascii.h>
#include <absl/strings/match.h>
#include <absl/strings/str_replace.h>

#include <string_view>
#include <utility>

#include "client/render.h"
#include "client/review_model.h"
#include "client/show.h"

namespace plumblane::client {

std::optional<ReviewForm> FormOf(const std::string& path) {
  const std::pair<const char*, ReviewForm> ends[] = {{".html", ReviewForm::kHtml},
                                                     {".md", ReviewForm::kMarkdown},
                                                     {".csv", ReviewForm::kCsv},
                                                     {".json", ReviewForm::kJson}};
  for (const auto& [end, form] : ends) {
    if (absl::EndsWithIgnoreCase(path, end)) return form;
  }
  return std::nullopt;
}

namespace {

bool IsDate(std::string_view text) {
  constexpr std::string_view kShape = "0000-00-00";
  if (text.size() < kShape.size()) return false;
  for (size_t i = 0; i < kShape.size(); ++i) {
    if (kShape[i] == '-' ? text[i] != '-' : !absl::ascii_isdigit(text[i])) return false;
  }
  return text.size() == kShape.size() || !absl::ascii_isalnum(text[kShape.size()]);
}

// The page with each date in its text as <time>, which keeps it on one line. Left alone are tags,
// and what stands in elements that hold nothing but text.
std::string WithDatesMarked(const std::string& page) {
  std::string out;
  bool in_tag = false;
  std::string_view closing;
  for (size_t at = 0; at < page.size();) {
    const std::string_view rest = std::string_view(page).substr(at);
    for (const auto& [tag, end] : {std::pair("<title", "</title>"), std::pair("<style", "</style>"),
                                   std::pair("<svg", "</svg>")}) {
      if (closing.empty() && rest.starts_with(tag)) closing = end;
    }
    if (!closing.empty() && rest.starts_with(closing)) closing = {};
    if (page[at] == '<') in_tag = true;
    if (page[at] == '>') in_tag = false;
    const bool begins = at == 0 || !absl::ascii_isalnum(page[at - 1]);
    if (in_tag || !closing.empty() || !begins || !IsDate(rest)) {
      out += page[at++];
      continue;
    }
    out.append("<time>").append(rest.substr(0, 10)).append("</time>");
    at += 10;
  }
  return out;
}

}  // namespace

std::string ReviewText(const v1::Review& review, ReviewForm form, const CsvStyle& csv) {
  switch (form) {
    case ReviewForm::kHtml:
      return WithDatesMarked(Render("review.html", ReviewModel(review), Markup::kHtml));
    case ReviewForm::kMarkdown: {
      // Sections that were left out leave their lines behind.
      std::string text = Render("review.md", ReviewModel(review), Markup::kMarkdown);
      while (absl::StrReplaceAll({{"\n\n\n", "\n\n"}}, &text) > 0) {
      }
      return text;
    }
    case ReviewForm::kCsv:
      return ReviewCsv(review, csv);
    case ReviewForm::kJson:
      return JsonText(review);
  }
  return "";
}

}  // namespace plumblane::client
