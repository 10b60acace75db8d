#include "client/cost_file.h"

#include <absl/strings/str_cat.h>
#include <toml++/toml.h>

#include <algorithm>
#include <charconv>
#include <set>
#include <sstream>

#include "base/ids.h"
#include "base/lane.h"
#include "client/option_values.h"
#include "client/show.h"
#include "client/text.h"
#include "client/toml_keys.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

// The amounts of a class, in the order in which they are written.
struct Amount {
  std::string_view name;
  v1::Money* (v1::CostClass::*set)();
  const v1::Money& (v1::CostClass::*get)() const;
  bool (v1::CostClass::*has)() const;
};
constexpr Amount kAmounts[] = {
    {"sale", &v1::CostClass::mutable_sale, &v1::CostClass::sale, &v1::CostClass::has_sale},
    {"late_order", &v1::CostClass::mutable_late_order, &v1::CostClass::late_order,
     &v1::CostClass::has_late_order},
    {"day_late", &v1::CostClass::mutable_day_late, &v1::CostClass::day_late,
     &v1::CostClass::has_day_late},
    {"day_waiting", &v1::CostClass::mutable_day_waiting, &v1::CostClass::day_waiting,
     &v1::CostClass::has_day_waiting},
    {"unanswered_day", &v1::CostClass::mutable_unanswered_day, &v1::CostClass::unanswered_day,
     &v1::CostClass::has_unanswered_day}};
constexpr std::string_view kKinds[] = {"damaged",     "quality", "wrong_item", "missing_part",
                                       "counterfeit", "unsafe",  "lost"};
constexpr std::string_view kTopKeys[] = {"currency", "trials", "class"};
constexpr std::string_view kTrialKeys[] = {"on", "most_share", "most_cost"};
constexpr std::string_view kDefectKeys[] = {"refund", "reship"};

const std::vector<std::string_view>& ClassKeys() {
  static const auto* const keys = [] {
    auto* all = new std::vector<std::string_view>{"shop", "item_class"};
    for (const Amount& amount : kAmounts) all->push_back(amount.name);
    all->insert(all->end(), std::begin(kKinds), std::end(kKinds));
    return all;
  }();
  return *keys;
}

// The shortest digits that read back equal.
std::string NumberText(double number) {
  char digits[32];
  return {digits, std::to_chars(std::begin(digits), std::end(digits), number).ptr};
}

// ", not 3.5"; "" for a table or a list.
std::string Instead(const toml::node& node) {
  if (const auto text = node.value_exact<std::string>()) return ", not " + Quoted(*text);
  if (const auto number = node.value_exact<double>()) return ", not " + NumberText(*number);
  if (!node.is_value()) return "";
  std::ostringstream value;
  node.visit([&](const auto& any) { value << any; });
  return ", not " + value.str();
}

class Reader {
 public:
  std::variant<CostFile, std::vector<Rejection>> Read(const toml::table& top) {
    CheckKeys(top, kTopKeys);
    ReadCurrency(top);
    if (const toml::node* trials = top.get("trials")) ReadTrials(*trials);
    const toml::node* classes = top.get("class");
    const toml::array* list = classes == nullptr ? nullptr : classes->as_array();
    if (list == nullptr || list->empty()) {
      Refuse(classes == nullptr ? 1 : LineOf(*classes), "class",
             "expected at least one [[class]] with what late and bad orders cost");
    } else {
      for (const toml::node& node : *list) ReadClass(node);
    }
    if (wrong_.empty()) return std::move(file_);
    std::stable_sort(wrong_.begin(), wrong_.end(),
                     [](const Rejection& a, const Rejection& b) { return a.line < b.line; });
    return std::move(wrong_);
  }

 private:
  void Refuse(int64_t line, std::string_view field, std::string message) {
    wrong_.push_back({line, {"BAD_VALUE", std::string(field), std::move(message)}, ""});
  }

  void RefuseValue(const toml::node& node, std::string_view field, absl::string_view expected) {
    Refuse(LineOf(node), field, absl::StrCat(expected, Instead(node)));
  }

  void CheckKeys(const toml::table& table, std::span<const std::string_view> known) {
    client::CheckKeys(table, known, [this](int64_t line, std::string_view key, std::string why) {
      Refuse(line, key, std::move(why));
    });
  }

  void ReadCurrency(const toml::table& top) {
    const toml::node* node = top.get("currency");
    const auto code = ParseCurrency(node == nullptr ? "" : node->value_or<std::string>(""));
    if (code.ok()) {
      file_.settings.set_currency_code(*code);
    } else if (node == nullptr) {
      Refuse(1, "currency", std::string(code.status().message()));
    } else {
      RefuseValue(*node, "currency", code.status().message());
    }
  }

  // Without a currency there is no telling what an amount is; that alone is said then.
  std::optional<v1::Money> ReadAmount(const toml::table& table, std::string_view name) {
    const toml::node* node = table.get(name);
    if (node == nullptr || file_.settings.currency_code().empty()) return std::nullopt;
    const auto text = node->value_exact<std::string>();
    if (!text) {
      RefuseValue(*node, name, "expected an amount in quotes, such as \"3.50\"");
      return std::nullopt;
    }
    const auto money = ParseAmount(*text, file_.settings.currency_code());
    if (money.ok()) return *money;
    RefuseValue(*node, name, money.status().message());
    return std::nullopt;
  }

  void ReadShare(const toml::table& table, std::string_view name, double& to) {
    const toml::node* node = table.get(name);
    if (node == nullptr) return;
    const auto share = node->is_number() ? node->value<double>() : std::nullopt;
    if (share && *share >= 0 && *share <= 1) {
      to = *share;
    } else {
      RefuseValue(*node, name, "expected a share from 0 to 1, such as 0.5");
    }
  }

  bool ReadSwitch(const toml::table& table, std::string_view name) {
    const toml::node* node = table.get(name);
    if (node == nullptr) return false;
    if (!node->is_boolean()) RefuseValue(*node, name, "expected true or false");
    return node->value_or(false);
  }

  void ReadTrials(const toml::node& node) {
    const toml::table* table = node.as_table();
    if (table == nullptr) {
      RefuseValue(node, "trials", "expected a table: [trials]");
      return;
    }
    CheckKeys(*table, kTrialKeys);
    v1::Trials& trials = *file_.settings.mutable_trials();
    trials.set_on(ReadSwitch(*table, "on"));
    double share = 0;
    ReadShare(*table, "most_share", share);
    trials.set_most_share(share);
    if (const auto most = ReadAmount(*table, "most_cost")) *trials.mutable_most_cost() = *most;
  }

  void ReadName(const toml::table& table, std::string_view name,
                absl::StatusOr<std::string> (*parse)(const std::string&), std::string* to) {
    const toml::node* node = table.get(name);
    if (node == nullptr) return;
    const auto text = node->value_exact<std::string>();
    if (text && text->empty()) return;
    const auto value =
        text ? parse(*text) : absl::InvalidArgumentError("expected a text in quotes");
    if (value.ok()) {
      *to = *value;
    } else {
      RefuseValue(*node, name, value.status().message());
    }
  }

  void ReadClass(const toml::node& node) {
    const toml::table* table = node.as_table();
    if (table == nullptr) {
      RefuseValue(node, "class", "expected a table: [[class]]");
      return;
    }
    CheckKeys(*table, ClassKeys());
    v1::CostClass& to = *file_.settings.add_classes();
    file_.class_lines.push_back(LineOf(node));
    ReadName(*table, "shop", ParseId, to.mutable_shop());
    ReadName(
        *table, "item_class", [](const std::string& text) { return ParseService(text); },
        to.mutable_item_class());
    for (const Amount& amount : kAmounts) {
      if (const auto money = ReadAmount(*table, amount.name)) *(to.*amount.set)() = *money;
    }
    for (const std::string_view kind : kKinds) ReadDefect(*table, kind, to);
    if (!seen_.insert({to.shop(), to.item_class()}).second) {
      Refuse(LineOf(node), "class", "stands there twice for this shop and item_class");
    }
  }

  void ReadDefect(const toml::table& table, std::string_view kind, v1::CostClass& to) {
    const toml::node* node = table.get(kind);
    if (node == nullptr) return;
    const toml::table* defect = node->as_table();
    if (defect == nullptr) {
      RefuseValue(*node, kind, "expected { refund = 0.5, reship = false }");
      return;
    }
    CheckKeys(*defect, kDefectKeys);
    double refund = 0;
    ReadShare(*defect, "refund", refund);
    v1::DefectCost& cost = *to.add_defects();
    cost.set_kind(std::string(kind));
    cost.set_refund_share(refund);
    cost.set_reship(ReadSwitch(*defect, "reship"));
  }

  CostFile file_;
  std::vector<Rejection> wrong_;
  std::set<std::pair<std::string, std::string>> seen_;
};

// ---- writing ----------------------------------------------------------------------------------

std::string InQuotes(std::string_view text) {
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += c;
  }
  return quoted + "\"";
}

std::string AmountLine(std::string_view name, const v1::Money& money) {
  return absl::StrCat(
      std::string(name), " = ",
      InQuotes(AmountText(static_cast<double>(money.minor_units()), money.currency_code())), "\n");
}

std::string ClassText(const v1::CostClass& of) {
  std::string text = "\n[[class]]\n";
  if (!of.shop().empty()) absl::StrAppend(&text, "shop = ", InQuotes(of.shop()), "\n");
  if (!of.item_class().empty()) {
    absl::StrAppend(&text, "item_class = ", InQuotes(of.item_class()), "\n");
  }
  for (const Amount& amount : kAmounts) {
    if ((of.*amount.has)()) text += AmountLine(amount.name, (of.*amount.get)());
  }
  for (const v1::DefectCost& defect : of.defects()) {
    absl::StrAppend(&text, defect.kind(), " = { refund = ", NumberText(defect.refund_share()),
                    ", reship = ", defect.reship() ? "true" : "false", " }\n");
  }
  return text;
}

}  // namespace

std::variant<CostFile, std::vector<Rejection>> ReadCosts(const std::string& text) {
  try {
    return Reader().Read(toml::parse(text));
  } catch (const toml::parse_error& error) {
    const int64_t line = error.source().begin.line;
    return std::vector<Rejection>{
        {line, {"NOT_TOML", "", "expected TOML: " + std::string(error.description())}, ""}};
  }
}

std::string WriteCosts(const v1::CostSettings& settings, const std::vector<std::string>& remarks,
                       int width) {
  std::string text;
  for (const std::string& remark : remarks) {
    std::istringstream lines(Wrapped(remark, width - 2));
    for (std::string line; std::getline(lines, line);) absl::StrAppend(&text, "# ", line, "\n");
  }
  absl::StrAppend(&text, text.empty() ? "" : "\n",
                  "currency = ", InQuotes(settings.currency_code()), "\n");
  if (settings.has_trials()) {
    const v1::Trials& trials = settings.trials();
    absl::StrAppend(&text, "\n[trials]\non = ", trials.on() ? "true" : "false", "\n");
    if (trials.most_share() > 0) {
      absl::StrAppend(&text, "most_share = ", NumberText(trials.most_share()), "\n");
    }
    if (trials.has_most_cost()) text += AmountLine("most_cost", trials.most_cost());
  }
  for (const v1::CostClass& of : settings.classes()) text += ClassText(of);
  return text;
}

}  // namespace plumblane::client
