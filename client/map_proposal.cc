#include "client/map_proposal.h"

#include <absl/strings/ascii.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>

#include <algorithm>
#include <filesystem>
#include <sstream>

#include "client/chosen_columns.h"
#include "client/map_file.h"
#include "client/proposed_words.h"
#include "client/show.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

constexpr int kWidth = 88;

class Proposer {
 public:
  Proposer(const LookedAt& table, Countries& countries) : table_(table), countries_(countries) {
    for (const std::string& column : table.columns) guesses_.push_back(GuessColumn(column));
  }

  MapProposal Propose() {
    chosen_ = ChooseColumns(guesses_, table_.facts, FindPersonal());
    proposal_.names_order =
        chosen_.fact("order_id") != kNoColumn || chosen_.fact("tracking") != kNoColumn;
    WriteTop();
    WriteFile();
    WriteOrder();
    for (const std::string_view type : kEventTypes) WriteEvent(type);
    WriteStatus();
    if (text_.find("[[event]]") == std::string::npos) WriteNoEvent();
    for (const std::string& words : words_) text_ += words;
    WriteLeftOut();
    Finish();
    return std::move(proposal_);
  }

 private:
  const ColumnFacts& facts(size_t column) const { return table_.facts[column]; }
  std::string Name(size_t column) const { return TomlText(table_.columns[column]); }

  void Comment(const std::string& text) {
    std::istringstream lines(Wrapped(text, kWidth));
    for (std::string line; std::getline(lines, line);) absl::StrAppend(&text_, "# ", line, "\n");
  }
  void Put(const std::string& line) { absl::StrAppend(&text_, line, "\n"); }
  std::string Ask() {
    ++proposal_.questions;
    return "\"?\"";
  }

  // Which columns are personal.
  std::vector<bool> FindPersonal() {
    std::vector<bool> is_personal(table_.columns.size());
    for (size_t i = 0; i < table_.columns.size(); ++i) {
      std::string kind = PersonalKind(table_.columns[i]);
      if (kind.empty() && facts(i).is_mail()) kind = "an e-mail address";
      if (kind.empty()) continue;
      is_personal[i] = true;
      proposal_.personal.push_back(absl::StrCat(Quoted(table_.columns[i]), " (", kind, ")"));
    }
    return is_personal;
  }

  void WriteTop() {
    Comment(
        "whose export this is: a later export of the same source replaces what an earlier one "
        "said of the same order, so each kind of export has a source of its own");
    Put(absl::StrCat("source = ", TomlText(SourceNameOf(table_.file))));
    Put("# shop = \"harbour\"   # whose orders these are, unless those of the shop \"default\"");
  }

  void WriteFile() {
    const TableForm& form = table_.table.form;
    Put("\n[file]");
    if (form.is_json) {
      Put("json = true");
    } else {
      if (!table_.table.is_delimiter_sure) Comment("one column only: is that all?");
      Put(absl::StrCat("delimiter = \"", std::string(DelimiterName(form.delimiter)), "\""));
    }
    if (!table_.table.is_encoding_sure) {
      Comment(
          "it is no UTF-8; should letters with marks look wrong, try windows-1250 (Polish, "
          "Czech), windows-1254 (Turkish), windows-1258 (Vietnamese)");
    }
    Put(absl::StrCat("encoding = \"", form.encoding, "\""));
    if (form.cr_ends_line) Put("line_end = \"cr\"");
    if (form.skip_lines > 0) Put(absl::StrCat("skip_lines = ", form.skip_lines));
    if (!form.has_header) {
      Comment("the first row looks like data: columns are called by their numbers");
      Put("header = false");
    }
    WriteDecimal();
    WriteZone();
    const size_t order = chosen_.fact("order_id");
    if (order == kNoColumn || facts(order).repeated() == 0) return;
    Comment(absl::StrCat("In ", Counted(facts(order).repeated(), "row"),
                         " the order is that of the row "
                         "above. Is a further row another item of the same parcel (first: only the "
                         "first row counts), something that ships by itself (parts), or a further "
                         "event (each; then name the columns by which rows of one order differ, "
                         "key = [\"Line\"])?"));
    Put(absl::StrCat("repeated_order = ", Ask()));
  }

  void WriteDecimal() {
    int64_t points = 0, commas = 0, groups = 0;
    std::string example;
    for (const size_t column :
         {chosen_.fact("cost"), chosen_.fact("sale"), chosen_.refund, chosen_.claim}) {
      if (column == kNoColumn) continue;
      points += facts(column).points();
      commas += facts(column).commas();
      groups += facts(column).groups();
      for (const auto& [word, count] : facts(column).words()) {
        if (word.find_first_of(".,") != std::string::npos) example = word;
      }
    }
    if (points + commas + groups == 0) return;
    if ((points > 0) != (commas > 0)) {
      Put(absl::StrCat("decimal = \"", points > 0 ? "." : ",", "\""));
      return;
    }
    Comment(absl::StrCat("amounts such as ", example, ": is \".\" or \",\" before the cents?"));
    Put(absl::StrCat("decimal = ", Ask()));
  }

  void WriteZone() {
    std::vector<std::string> names;
    std::vector<size_t> columns = chosen_.events;
    columns.insert(columns.end(), {chosen_.fact("promise"), chosen_.status_time});
    for (const size_t column : columns) {
      if (column != kNoColumn && facts(column).needs_zone())
        names.push_back(Quoted(table_.columns[column]));
    }
    if (names.empty()) return;
    Comment(absl::StrCat("by which clock are the times of ", Listed(names),
                         "? A name such as Europe/Berlin, or UTC"));
    Put(absl::StrCat("time_zone = ", Ask()));
  }

  // "; others here are D-M-Y": what other columns of dates are sure to be.
  std::string SureForms() const {
    unsigned bits = 0;
    for (const ColumnFacts& one : table_.facts) {
      const std::vector<DateForm> forms = one.date_forms();
      const bool is_order = forms.size() == 1 && forms[0] != DateForm::kSeconds &&
                            forms[0] != DateForm::kMilliseconds;
      if (is_order) bits |= BitOf(forms[0]);
    }
    std::vector<std::string> names;
    for (const DateForm form : FormsIn(bits)) names.emplace_back(NameOf(form));
    return names.empty() ? "" : absl::StrCat("; others here are ", Listed(names));
  }

  // { column = "Shipped", form = "D-M-Y" }
  std::string TimeRule(size_t column) {
    const std::vector<DateForm> forms = facts(column).date_forms();
    std::string form = absl::StrCat("\"", std::string(NameOf(forms[0])), "\"");
    if (forms.size() > 1) {
      std::vector<std::string> names;
      for (const DateForm one : forms) names.emplace_back(NameOf(one));
      const std::string& example = facts(column).unsure_date();
      Comment(absl::StrCat(example.empty() ? facts(column).words().begin()->first : example, ": ",
                           absl::StrJoin(names, " or "), "? Nothing in the column tells",
                           SureForms()));
      form = Ask();
    }
    return absl::StrCat("{ column = ", Name(column), ", form = ", form, " }");
  }

  // The rule of a column whose words are to be ours; the table of words goes to the end.
  std::string WordsRule(size_t column, std::string_view field) {
    const ProposedWords words = ProposeWords(facts(column), field, countries_);
    proposal_.questions += words.questions;
    std::string rule = absl::StrCat("{ column = ", Name(column));
    if (words.is_country) absl::StrAppend(&rule, ", form = \"country\"");
    if (!words.table.empty()) {
      const std::string name = WordTableName(table_.columns[column]);
      absl::StrAppend(&rule, ", words = ", TomlText(name));
      words_.push_back(absl::StrCat("\n[words.", name, "]\n", words.table));
    } else if (!words.is_country) {
      return Name(column);
    }
    return rule + " }";
  }

  std::string FactRule(size_t column, std::string_view field) {
    if (field == "promise") return TimeRule(column);
    const bool is_word = field == "origin" || field == "destination" || field == "service";
    if (is_word) return WordsRule(column, field);
    return Name(column);
  }

  void WriteOrder() {
    Put("\n[order]");
    for (size_t i = 0; i < std::size(kOrderFacts); ++i) {
      const std::string fact(kOrderFacts[i]);
      if (chosen_.facts[i] != kNoColumn) {
        const std::string rule = FactRule(chosen_.facts[i], fact);
        Put(absl::StrCat(fact, " = ", rule, Example(chosen_.facts[i])));
      } else {
        WriteMissing(fact);
      }
    }
  }

  std::string Example(size_t column) const {
    if (facts(column).words().empty()) return "";
    const std::string& word = facts(column).words().begin()->first;
    return absl::StrCat("   # such as ", Quoted(word));
  }

  void WriteMissing(const std::string& fact) {
    const bool has_paid = chosen_.event("paid") != kNoColumn;
    const bool has_cost = chosen_.fact("cost") != kNoColumn || chosen_.fact("sale") != kNoColumn;
    if (fact == "order_id" && chosen_.fact("tracking") == kNoColumn) {
      Comment("which column names the order?");
      Put(absl::StrCat("order_id = ", Ask()));
    } else if (fact == "supplier" && has_paid) {
      Comment(
          "no column names the supplier: whose orders are these? Take the line out if another "
          "source says it");
      Put(absl::StrCat("supplier = { value = ", Ask(), " }"));
    } else if (fact == "origin" && has_paid) {
      Put("# origin = { value = \"VN\" }   # from where; else as the supplier's terms say");
    } else if (fact == "destination" && has_paid) {
      Comment("to which country? No column says it");
      Put(absl::StrCat("destination = { value = ", Ask(), " }"));
    } else if (fact == "promise" && has_paid && chosen_.fact("promise_days") == kNoColumn) {
      Comment(
          "no column says by when it was to arrive: without a quote or terms that do, there is no "
          "on-time rate; or");
      Put("# promise_days = { value = \"14\" }");
    } else if (fact == "currency" &&
               (has_cost || chosen_.refund != kNoColumn || chosen_.claim != kNoColumn)) {
      Comment("no column names the currency of the amounts: which is it?");
      Put(absl::StrCat("currency = { value = ", Ask(), " }"));
    }
  }

  void WriteEvent(std::string_view type) {
    const size_t column = chosen_.event(type);
    const bool is_refund = type == "refunded" && chosen_.refund != kNoColumn;
    if (column == kNoColumn && !is_refund) return;
    Put("\n[[event]]");
    if (column == kNoColumn) {
      Comment("when was the refund made? No column of dates is called so");
      Put(absl::StrCat("type = \"refunded\"\ntime = ", Ask()));
    } else {
      const std::string_view question = guesses_[column].question;
      if (question.empty()) {
        Put(absl::StrCat("type = \"", std::string(type), "\""));
      } else {
        Comment(absl::StrCat(Quoted(table_.columns[column]), ": ", std::string(question)));
        Put(absl::StrCat("type = ", Ask()));
      }
      const std::string rule = TimeRule(column);
      Put(absl::StrCat("time = ", rule, Example(column)));
    }
    if (is_refund) Put(absl::StrCat("refund = ", Name(chosen_.refund)));
    if (type == "refunded") WriteSide();
    if (type == "disputed" && chosen_.claim != kNoColumn)
      Put(absl::StrCat("claim = ", Name(chosen_.claim)));
    if (const size_t reason = chosen_.reason(type); reason != kNoColumn) {
      Put(absl::StrCat("reason = ", WordsRule(reason, "reason")));
    }
  }

  void WriteSide() {
    if (chosen_.by != kNoColumn) {
      Put(absl::StrCat("by = ", WordsRule(chosen_.by, "by")));
      return;
    }
    Comment("from the supplier to you, or from the shop to the customer?");
    Put(absl::StrCat("by = { value = ", Ask(), " }   # supplier or shop"));
  }

  void WriteStatus() {
    if (chosen_.status == kNoColumn || chosen_.status_time == kNoColumn) return;
    Put("\n[[event]]");
    Comment(absl::StrCat("what ", Quoted(table_.columns[chosen_.status]), " says, at the time of ",
                         Quoted(table_.columns[chosen_.status_time]),
                         "; take it out where a column of its own tells the same"));
    Put(absl::StrCat("type = ", WordsRule(chosen_.status, "type")));
    const std::string rule = TimeRule(chosen_.status_time);
    Put(absl::StrCat("time = ", rule));
  }

  void WriteNoEvent() {
    Put("\n[[event]]");
    Comment("no column of dates is called after what happened: what did, and which has its time?");
    Put(absl::StrCat("type = ", Ask()));
    Put(absl::StrCat("time = { column = ", Ask(), ", form = ", Ask(), " }"));
  }

  // "Packed" (dates, D-M-Y), with no value of it: it may be personal all the same.
  std::string Described(size_t column) const {
    std::vector<std::string> kinds;
    for (const DateForm form : facts(column).date_forms()) kinds.emplace_back(NameOf(form));
    const std::string name = Quoted(table_.columns[column]);
    if (!kinds.empty()) return absl::StrCat(name, " (dates, ", absl::StrJoin(kinds, " or "), ")");
    if (facts(column).filled() == 0) return name + " (empty)";
    return name + (facts(column).is_number() ? " (numbers)" : "");
  }

  void WriteLeftOut() {
    std::vector<std::string> other;
    for (size_t i = 0; i < table_.columns.size(); ++i) {
      if (!chosen_.is_used[i]) other.push_back(Described(i));
    }
    if (proposal_.personal.empty() && other.empty()) return;
    Put("");
    if (!proposal_.personal.empty()) {
      Comment("Left out, since they look personal; such columns are never sent:");
      for (const std::string& column : proposal_.personal) Put("#   " + column);
    }
    if (!other.empty()) Comment("Not used: " + Listed(other) + ".");
    Comment("Rows to leave out, for instance:");
    Put("# [[skip]]\n# column = \"Status\"\n# is = [\"Test\", \"Draft\"]");
  }

  void Finish() {
    std::string body = std::move(text_);
    text_.clear();
    Comment(absl::StrCat("How to read ", std::filesystem::path(table_.file).filename().string(),
                         ": proposed by \"plumblane map\" from its ", Counted(table_.rows, "row"),
                         "."));
    Comment(proposal_.questions == 0
                ? "Nothing was unsure. Look it over, then try it:"
                : absl::StrCat("Settle what is \"?\" (", Counted(proposal_.questions, "question"),
                               "), look over the rest, then try it:"));
    Put(absl::StrCat("#   plumblane send --map MAP.toml --dry-run ", table_.file));
    proposal_.text = absl::StrCat(text_, "\n", body);
  }

  const LookedAt& table_;
  Countries& countries_;
  std::vector<ColumnGuess> guesses_;
  ChosenColumns chosen_;
  std::vector<std::string> words_;  // tables
  std::string text_;
  MapProposal proposal_;
};

}  // namespace

std::string SourceNameOf(const std::string& file) {
  const std::string stem = std::filesystem::path(file).stem().string();
  std::string name;
  for (const char c : stem) {
    const auto byte = static_cast<unsigned char>(c);
    if (absl::ascii_isalpha(byte)) {
      name += absl::ascii_tolower(byte);
    } else if (!name.empty() && name.back() != '-') {
      name += '-';
    }
  }
  while (name.ends_with('-')) name.pop_back();
  return name.empty() ? "table" : name.substr(0, 64);
}

MapProposal ProposeMap(const LookedAt& table, Countries& countries) {
  return Proposer(table, countries).Propose();
}

}  // namespace plumblane::client
