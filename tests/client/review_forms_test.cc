// A review as HTML, Markdown, CSV and JSON: review_forms.h, render.h.

#include "client/review_forms.h"

#include <absl/strings/str_split.h>
#include <gmock/gmock.h>

#include "client/render.h"
#include "client/review_figures.h"
#include "client/review_sample.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

using testing::HasSubstr;
using testing::Not;

constexpr ReviewForm kForms[] = {ReviewForm::kHtml, ReviewForm::kMarkdown, ReviewForm::kCsv,
                                 ReviewForm::kJson};

std::vector<std::string> LinesOf(const std::string& text) { return absl::StrSplit(text, "\r\n"); }

// The cells of a line without quoted commas.
std::vector<std::string> CellsOf(const std::string& line) { return absl::StrSplit(line, ','); }

std::string CellIn(const std::string& csv, size_t line, const std::string& column) {
  const std::vector<std::string> lines = LinesOf(csv), names = CellsOf(lines[0]),
                                 cells = CellsOf(lines[line]);
  for (size_t i = 0; i < names.size(); ++i) {
    if (names[i] == column) return cells.at(i);
  }
  return "no such column";
}

TEST(ReviewFormsTest, TheEndOfTheNameTellsTheForm) {
  EXPECT_EQ(FormOf("q3.html"), ReviewForm::kHtml);
  EXPECT_EQ(FormOf("a/Q3.MD"), ReviewForm::kMarkdown);
  EXPECT_EQ(FormOf("q3.csv"), ReviewForm::kCsv);
  EXPECT_EQ(FormOf("q3.json"), ReviewForm::kJson);
  EXPECT_EQ(FormOf("q3.pdf"), std::nullopt);
  EXPECT_EQ(FormOf("html"), std::nullopt);
}

TEST(EscapedTest, HtmlStandsAsItIs) {
  EXPECT_EQ(Escaped("<b>\"&'\x01", Markup::kHtml), "&lt;b&gt;&quot;&amp;&apos; ");
  EXPECT_EQ(Escaped("92 % of 4", Markup::kHtml), "92&nbsp;% of 4");
}

TEST(EscapedTest, MarkdownStandsAsItIs) {
  EXPECT_EQ(Escaped("a|*b*_c_\n[d](e)`<f>#&\\", Markup::kMarkdown),
            "a\\|\\*b\\*\\_c\\_ \\[d\\](e)\\`&lt;f&gt;\\#&amp;\\\\");
  EXPECT_EQ(Escaped("2026-07-01, 92 % (88-95)", Markup::kMarkdown), "2026-07-01, 92 % (88-95)");
}

TEST(ReviewFormsTest, NamesWithMarkupAreNoMarkup) {
  const std::string html = ReviewText(SampleReview(), ReviewForm::kHtml);
  EXPECT_THAT(html, Not(HasSubstr("<script")));
  EXPECT_THAT(html, Not(HasSubstr("<b>strike")));
  EXPECT_THAT(html, HasSubstr("&lt;script&gt;alert(1)&lt;/script&gt;&quot;&amp;&apos;"));
  EXPECT_THAT(html, HasSubstr("dock &lt;b&gt;strike&lt;/b&gt; &amp; more"));
  const std::string markdown = ReviewText(SampleReview(), ReviewForm::kMarkdown);
  EXPECT_THAT(markdown, Not(HasSubstr("<script")));
  EXPECT_THAT(markdown, HasSubstr(R"(### &lt;script&gt;alert(1)&lt;/script&gt;"&amp;')"));
  EXPECT_THAT(markdown, HasSubstr(R"(=HYPERLINK("x")\|\*a\*\_b\_\[c\](d)\`e\`)"));
}

TEST(ReviewFormsTest, EveryFigureOfTheModelStandsInPageAndMarkdown) {
  const v1::Review review = SampleReview();
  const std::string html = ReviewText(review, ReviewForm::kHtml);
  const std::string markdown = ReviewText(review, ReviewForm::kMarkdown);
  int seen = 0;
  for (int i = 0; i < 3; ++i) {  // pairs have one line each, see below
    for (const FigureRow& row : FigureRows(review.accounts(i), review.to_share())) {
      EXPECT_THAT(html, HasSubstr("<th scope=\"row\">" + row.label + "</th><td>" +
                                  Escaped(row.now, Markup::kHtml) + "</td><td>" +
                                  Escaped(row.before, Markup::kHtml) + "</td>"));
      EXPECT_THAT(markdown, HasSubstr("| " + row.label + " | " + row.now + " | " + row.before));
      ++seen;
    }
  }
  EXPECT_GT(seen, 20);
  EXPECT_THAT(html, HasSubstr("<td>33</td><td>50&nbsp;% (30-70) of 30</td>"));
  EXPECT_THAT(markdown, HasSubstr("VN-DE/express | 33 | 50 % (30-70) of 30 |"));
}

TEST(ReviewFormsTest, DatesStayOnOneLineWhereTheyAreText) {
  v1::Review review = SampleReview();
  review.mutable_accounts(1)->mutable_items(0)->set_item("x2026-07-01 2026-07-012 2026-07-0a");
  const std::string html = ReviewText(review, ReviewForm::kHtml);
  EXPECT_THAT(html, HasSubstr("raised <time>2026-08-17</time>"));
  EXPECT_THAT(html, HasSubstr("x2026-07-01 2026-07-012 2026-07-0a, late")) << "no dates";
  const size_t svg = html.find("<svg");
  const std::string picture = html.substr(svg, html.find("</svg>") - svg);
  EXPECT_THAT(picture, HasSubstr("2026-07-01"));
  EXPECT_THAT(picture, Not(HasSubstr("<time>")));
  EXPECT_THAT(html, HasSubstr("<title>Supplier review 2026-07-01 to 2026-09-30"));
  EXPECT_THAT(ReviewText(review, ReviewForm::kMarkdown), Not(HasSubstr("<time>")));
}

TEST(ReviewFormsTest, NoTagOfATemplateIsLeftOpen) {
  for (const ReviewForm form : {ReviewForm::kHtml, ReviewForm::kMarkdown}) {
    EXPECT_THAT(ReviewText(SampleReview(), form), Not(HasSubstr("{{")));
  }
}

TEST(ReviewFormsTest, ProvisionalIsSaidInEveryForm) {
  const char* words[] = {"Final from <time>2026-12-01</time>", "Final from 2026-12-01", ",yes,",
                         "\"provisional\": true"};
  for (size_t i = 0; i < std::size(kForms); ++i) {
    EXPECT_THAT(ReviewText(SampleReview(), kForms[i]), HasSubstr(words[i]));
  }
}

TEST(ReviewFormsTest, APeriodWithoutOrdersIsAWholePage) {
  v1::Review review = SampleReview();
  review.clear_accounts();
  EXPECT_THAT(ReviewText(review, ReviewForm::kHtml), HasSubstr("There were no orders"));
  EXPECT_THAT(ReviewText(review, ReviewForm::kMarkdown), HasSubstr("There were no orders"));
  EXPECT_EQ(LinesOf(ReviewCsv(review)).size(), 2);  // the names, and the end of their line
}

TEST(ReviewCsvTest, OneLinePerAccountAndOneMoreForAFurtherCurrency) {
  v1::Review review = SampleReview();
  for (v1::Account& account : *review.mutable_accounts()) account.set_supplier_id("");
  const std::string csv = ReviewCsv(review);
  EXPECT_EQ(LinesOf(csv).size(), 7);
  for (size_t i = 1; i < 6; ++i) {
    EXPECT_EQ(CellsOf(LinesOf(csv)[i]).size(), CellsOf(LinesOf(csv)[0]).size()) << i;
  }
  EXPECT_EQ(CellIn(csv, 2, "on_time"), "0.7147");
  EXPECT_EQ(CellIn(csv, 2, "late"), "107");
  EXPECT_EQ(CellIn(csv, 2, "paid"), "9603.34");
  EXPECT_EQ(CellIn(csv, 2, "transit_half_days"), "10");
  EXPECT_EQ(CellIn(csv, 2, "before_on_time"), "0.932");
  EXPECT_EQ(CellIn(csv, 2, "on_time_against_before"), "worse");
  EXPECT_EQ(CellIn(csv, 2, "transit_against_before"), "worse");
  EXPECT_EQ(CellIn(csv, 2, "transit_against_before_p"), "0.012");
  EXPECT_EQ(CellIn(csv, 2, "response_against_before"), "");
  EXPECT_EQ(CellIn(csv, 3, "transit_against_before"), "");
  EXPECT_EQ(CellIn(csv, 3, "currency"), "USD");
  EXPECT_EQ(CellIn(csv, 3, "paid"), "12.34");
  EXPECT_EQ(CellIn(csv, 3, "orders"), "");
  EXPECT_EQ(CellIn(csv, 4, "defect"), "") << "no orders are no share";
}

TEST(ReviewCsvTest, NothingIsAFormula) {
  v1::Review review = SampleReview();
  review.mutable_accounts(1)->set_supplier_id("=1+2,\"x\"");
  EXPECT_THAT(ReviewCsv(review), HasSubstr("\nsupplier,\"'=1+2,\"\"x\"\"\","));
  for (const char* start : {"+a", "-a", "@a", "\tb", "\rc"}) {
    review.mutable_accounts(1)->set_supplier_id(start);
    EXPECT_THAT(ReviewCsv(review), HasSubstr(std::string("'") + start)) << start;
  }
}

TEST(ReviewJsonTest, IsTheAnswerItself) {
  const v1::Review review = SampleReview();
  const auto read = FromJson<v1::Review>(ReviewText(review, ReviewForm::kJson));
  EXPECT_EQ(read.SerializeAsString(), review.SerializeAsString());
}

}  // namespace
}  // namespace plumblane::client
