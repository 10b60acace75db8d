#include "client/review_forms.h"

#include <absl/strings/match.h>
#include <absl/strings/str_replace.h>

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

std::string ReviewText(const v1::Review& review, ReviewForm form, const CsvStyle& csv) {
  switch (form) {
    case ReviewForm::kHtml:
      return Render("review.html", ReviewModel(review), Markup::kHtml);
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
