#include "client/column_guess.h"

#include <absl/strings/ascii.h>

#include <algorithm>
#include <iterator>
#include <span>

#include "client/countries.h"

namespace plumblane::client {
namespace {

using Kind = ColumnGuess::Kind;

constexpr std::string_view kWhoPaid =
    "by the customer to you, or by you to the supplier? Only the second is an event here: "
    "write type = \"paid\" then, else take this [[event]] out";
constexpr std::string_view kLabelOrScan =
    "when the label was made, or the first scan by the carrier? Only the scan is an event here: "
    "write "
    "type = \"shipped\" then, else take this [[event]] out";
constexpr std::string_view kCameOrDue =
    "the day it came, or the day it was to come? Write type = \"delivered\" if it came; if it was "
    "to come, take this [[event]] out and put its time under [order] as promise";

struct Phrase {
  std::string_view words;  // as WordsOf gives them
  Kind kind;
  std::string_view word;
  std::string_view question = {};
};

constexpr Phrase kPhrases[] = {
    {"order id", Kind::kFact, "order_id"},
    {"order no", Kind::kFact, "order_id"},
    {"order number", Kind::kFact, "order_id"},
    {"order nr", Kind::kFact, "order_id"},
    {"order ref", Kind::kFact, "order_id"},
    {"order reference", Kind::kFact, "order_id"},
    {"order", Kind::kFact, "order_id"},
    {"po number", Kind::kFact, "order_id"},
    {"bestellnummer", Kind::kFact, "order_id"},
    {"bestellnr", Kind::kFact, "order_id"},
    {"auftragsnummer", Kind::kFact, "order_id"},
    {"part", Kind::kFact, "part"},
    {"replaces", Kind::kFact, "replaces"},
    {"shop", Kind::kFact, "shop"},
    {"supplier", Kind::kFact, "supplier"},
    {"supplier id", Kind::kFact, "supplier"},
    {"supplier name", Kind::kFact, "supplier"},
    {"vendor", Kind::kFact, "supplier"},
    {"vendor name", Kind::kFact, "supplier"},
    {"seller", Kind::kFact, "supplier"},
    {"agent", Kind::kFact, "supplier"},
    {"lieferant", Kind::kFact, "supplier"},
    {"destination", Kind::kFact, "destination"},
    {"country", Kind::kFact, "destination"},
    {"country code", Kind::kFact, "destination"},
    {"ship to country", Kind::kFact, "destination"},
    {"shipping country", Kind::kFact, "destination"},
    {"delivery country", Kind::kFact, "destination"},
    {"destination country", Kind::kFact, "destination"},
    {"land", Kind::kFact, "destination"},
    {"lieferland", Kind::kFact, "destination"},
    {"zielland", Kind::kFact, "destination"},
    {"origin", Kind::kFact, "origin"},
    {"origin country", Kind::kFact, "origin"},
    {"country of origin", Kind::kFact, "origin"},
    {"from country", Kind::kFact, "origin"},
    {"ship from", Kind::kFact, "origin"},
    {"ship from country", Kind::kFact, "origin"},
    {"warehouse country", Kind::kFact, "origin"},
    {"versandland", Kind::kFact, "origin"},
    {"service", Kind::kFact, "service"},
    {"shipping method", Kind::kFact, "service"},
    {"delivery method", Kind::kFact, "service"},
    {"versandart", Kind::kFact, "service"},
    {"promise", Kind::kFact, "promise"},
    {"promised", Kind::kFact, "promise"},
    {"deliver by", Kind::kFact, "promise"},
    {"due", Kind::kFact, "promise"},
    {"due date", Kind::kFact, "promise"},
    {"expected delivery", Kind::kFact, "promise"},
    {"estimated delivery", Kind::kFact, "promise"},
    {"eta", Kind::kFact, "promise"},
    {"liefertermin", Kind::kFact, "promise"},
    {"promise days", Kind::kFact, "promise_days"},
    {"promised days", Kind::kFact, "promise_days"},
    {"lead time", Kind::kFact, "promise_days"},
    {"delivery days", Kind::kFact, "promise_days"},
    {"lieferzeit", Kind::kFact, "promise_days"},
    {"item", Kind::kFact, "item"},
    {"item code", Kind::kFact, "item"},
    {"item number", Kind::kFact, "item"},
    {"item name", Kind::kFact, "item"},
    {"sku", Kind::kFact, "item"},
    {"product", Kind::kFact, "item"},
    {"product code", Kind::kFact, "item"},
    {"product name", Kind::kFact, "item"},
    {"article", Kind::kFact, "item"},
    {"artikel", Kind::kFact, "item"},
    {"artikelnummer", Kind::kFact, "item"},
    {"units", Kind::kFact, "units"},
    {"quantity", Kind::kFact, "units"},
    {"qty", Kind::kFact, "units"},
    {"pieces", Kind::kFact, "units"},
    {"menge", Kind::kFact, "units"},
    {"anzahl", Kind::kFact, "units"},
    {"cost", Kind::kFact, "cost"},
    {"landed cost", Kind::kFact, "cost"},
    {"supplier price", Kind::kFact, "cost"},
    {"purchase price", Kind::kFact, "cost"},
    {"einkaufspreis", Kind::kFact, "cost"},
    {"sale", Kind::kFact, "sale"},
    {"sale price", Kind::kFact, "sale"},
    {"selling price", Kind::kFact, "sale"},
    {"order total", Kind::kFact, "sale"},
    {"total", Kind::kFact, "sale"},
    {"verkaufspreis", Kind::kFact, "sale"},
    {"currency", Kind::kFact, "currency"},
    {"w\xC3\xA4hrung", Kind::kFact, "currency"},
    {"waehrung", Kind::kFact, "currency"},
    {"tracking", Kind::kFact, "tracking"},
    {"tracking number", Kind::kFact, "tracking"},
    {"waybill", Kind::kFact, "tracking"},
    {"parcel number", Kind::kFact, "tracking"},
    {"sendungsnummer", Kind::kFact, "tracking"},

    {"paid to supplier", Kind::kEvent, "paid"},
    {"supplier paid", Kind::kEvent, "paid"},
    {"placed with supplier", Kind::kEvent, "paid"},
    {"po date", Kind::kEvent, "paid"},
    {"paid", Kind::kEvent, "paid", kWhoPaid},
    {"payment date", Kind::kEvent, "paid", kWhoPaid},
    {"bezahlt", Kind::kEvent, "paid", kWhoPaid},
    {"order date", Kind::kEvent, "paid", kWhoPaid},
    {"ordered", Kind::kEvent, "paid", kWhoPaid},
    {"order created", Kind::kEvent, "paid", kWhoPaid},
    {"created", Kind::kEvent, "paid", kWhoPaid},
    {"purchase date", Kind::kEvent, "paid", kWhoPaid},
    {"bestellt", Kind::kEvent, "paid", kWhoPaid},
    {"bestelldatum", Kind::kEvent, "paid", kWhoPaid},
    {"first scan", Kind::kEvent, "shipped"},
    {"picked up", Kind::kEvent, "shipped"},
    {"collected", Kind::kEvent, "shipped"},
    {"accepted by carrier", Kind::kEvent, "shipped"},
    {"shipped", Kind::kEvent, "shipped", kLabelOrScan},
    {"ship date", Kind::kEvent, "shipped", kLabelOrScan},
    {"shipping date", Kind::kEvent, "shipped", kLabelOrScan},
    {"dispatched", Kind::kEvent, "shipped", kLabelOrScan},
    {"dispatch date", Kind::kEvent, "shipped", kLabelOrScan},
    {"fulfilled", Kind::kEvent, "shipped", kLabelOrScan},
    {"sent", Kind::kEvent, "shipped", kLabelOrScan},
    {"versendet", Kind::kEvent, "shipped", kLabelOrScan},
    {"versandt", Kind::kEvent, "shipped", kLabelOrScan},
    {"versanddatum", Kind::kEvent, "shipped", kLabelOrScan},
    {"label", Kind::kLabel, ""},
    {"delivered", Kind::kEvent, "delivered"},
    {"actual delivery", Kind::kEvent, "delivered"},
    {"zugestellt", Kind::kEvent, "delivered"},
    {"geliefert", Kind::kEvent, "delivered"},
    {"delivery date", Kind::kEvent, "delivered", kCameOrDue},
    {"delivery", Kind::kEvent, "delivered", kCameOrDue},
    {"lieferdatum", Kind::kEvent, "delivered", kCameOrDue},
    {"disputed", Kind::kEvent, "disputed"},
    {"claim date", Kind::kEvent, "disputed"},
    {"claimed", Kind::kEvent, "disputed"},
    {"complaint date", Kind::kEvent, "disputed"},
    {"reklamiert", Kind::kEvent, "disputed"},
    {"answered", Kind::kEvent, "answered"},
    {"claim answered", Kind::kEvent, "answered"},
    {"supplier replied", Kind::kEvent, "answered"},
    {"refunded", Kind::kEvent, "refunded"},
    {"refund date", Kind::kEvent, "refunded"},
    {"erstattet", Kind::kEvent, "refunded"},
    {"cancelled", Kind::kEvent, "cancelled"},
    {"canceled", Kind::kEvent, "cancelled"},
    {"storniert", Kind::kEvent, "cancelled"},

    {"refund", Kind::kDetail, "refund"},
    {"refund amount", Kind::kDetail, "refund"},
    {"erstattung", Kind::kDetail, "refund"},
    {"refunded by", Kind::kDetail, "by"},
    {"refund by", Kind::kDetail, "by"},
    {"claim", Kind::kDetail, "claim"},
    {"claim amount", Kind::kDetail, "claim"},
    {"reason", Kind::kDetail, "reason"},
    {"claim reason", Kind::kDetail, "disputed"},
    {"dispute reason", Kind::kDetail, "disputed"},
    {"complaint", Kind::kDetail, "disputed"},
    {"refund reason", Kind::kDetail, "refunded"},
    {"cancel reason", Kind::kDetail, "cancelled"},
    {"cancellation reason", Kind::kDetail, "cancelled"},
    {"status", Kind::kStatus, ""},
    {"status date", Kind::kStatusTime, ""},
    {"last update", Kind::kStatusTime, ""},
    {"updated", Kind::kStatusTime, ""},
};

// Words beside a phrase that change nothing.
constexpr std::string_view kFillers[] = {"at",  "on", "date", "time", "am",    "the",
                                         "utc", "no", "id",   "code", "number"};

struct Personal {
  std::string_view words, kind;
};
constexpr Personal kPersonal[] = {
    {"email", "an e-mail address"},
    {"e mail", "an e-mail address"},
    {"phone", "a phone number"},
    {"telephone", "a phone number"},
    {"telefon", "a phone number"},
    {"mobile", "a phone number"},
    {"tel", "a phone number"},
    {"address", "the address"},
    {"address1", "the address"},
    {"address2", "the address"},
    {"adresse", "the address"},
    {"anschrift", "the address"},
    {"street", "the address"},
    {"strasse", "the address"},
    {"stra\xC3\x9F"
     "e",
     "the address"},
    {"zip", "the address"},
    {"postcode", "the address"},
    {"postal code", "the address"},
    {"plz", "the address"},
    {"city", "the address"},
    {"town", "the address"},
    {"ort", "the address"},
    {"first name", "the name"},
    {"last name", "the name"},
    {"firstname", "the name"},
    {"lastname", "the name"},
    {"surname", "the name"},
    {"vorname", "the name"},
    {"nachname", "the name"},
    {"full name", "the name"},
    {"birthday", "a birthday"},
    {"date of birth", "a birthday"},
    {"geburtsdatum", "a birthday"},
};
constexpr std::string_view kPersons[] = {"customer", "buyer", "recipient",       "consignee",
                                         "contact",  "kunde", "empf\xC3\xA4nger"};
// Things that have names, and facts of an order that tell nothing of the customer.
constexpr std::string_view kThings[] = {"item",    "product",  "supplier", "vendor", "shop",
                                        "country", "carrier",  "service",  "land",   "paid",
                                        "date",    "currency", "artikel",  "order"};

// Do these words stand in that name, side by side?
bool Holds(std::string_view name, std::string_view words) {
  for (size_t at = name.find(words); at != std::string_view::npos; at = name.find(words, at + 1)) {
    const bool begins = at == 0 || name[at - 1] == ' ';
    const size_t end = at + words.size();
    if (begins && (end == name.size() || name[end] == ' ')) return true;
  }
  return false;
}

size_t CountWords(std::string_view text) {
  return text.empty() ? 0 : 1 + static_cast<size_t>(std::count(text.begin(), text.end(), ' '));
}

size_t CountFillers(std::string_view name, std::string_view phrase) {
  size_t count = 0;
  for (const std::string_view filler : kFillers)
    count += Holds(name, filler) && !Holds(phrase, filler);
  return count;
}

}  // namespace

std::string WordsOf(std::string_view name) {
  std::string spaced;
  for (size_t i = 0; i < name.size(); ++i) {
    const auto c = static_cast<unsigned char>(name[i]);
    const bool is_letter = absl::ascii_isalnum(c) || c >= 0x80;
    const bool is_camel = i > 0 && absl::ascii_isupper(c) &&
                          absl::ascii_islower(static_cast<unsigned char>(name[i - 1]));
    if ((!is_letter || is_camel) && !spaced.empty() && spaced.back() != ' ') spaced += ' ';
    if (is_letter) spaced += name[i];
  }
  while (spaced.ends_with(' ')) spaced.pop_back();
  return Folded(spaced);
}

ColumnGuess GuessColumn(std::string_view name) {
  const std::string words = WordsOf(name);
  ColumnGuess best;
  for (const Phrase& phrase : kPhrases) {
    if (!Holds(words, phrase.words)) continue;
    const size_t length = CountWords(phrase.words);
    const size_t beside = CountWords(words) - length;
    const size_t fillers = std::min(beside, CountFillers(words, phrase.words));
    // A name that says more than the phrase probably means something else; fillers say nothing.
    const int exactness = static_cast<int>(100 * length) -
                          static_cast<int>(40 * (beside - fillers)) - static_cast<int>(fillers);
    if (exactness <= best.exactness) continue;
    best = {phrase.kind, phrase.word, phrase.question, exactness};
  }
  return best;
}

std::string PersonalKind(std::string_view name) {
  const std::string words = WordsOf(name);
  for (const Personal& personal : kPersonal) {
    if (Holds(words, personal.words)) return std::string(personal.kind);
  }
  const auto holds_any = [&](std::span<const std::string_view> all) {
    return std::any_of(all.begin(), all.end(),
                       [&](std::string_view one) { return Holds(words, one); });
  };
  const bool is_person = holds_any(kPersons), is_thing = holds_any(kThings);
  const bool is_name = Holds(words, "name");
  return (is_person && (is_name || !is_thing)) || (is_name && !is_thing) ? "the name" : "";
}

}  // namespace plumblane::client
