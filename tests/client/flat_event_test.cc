// Every check of flat_event.h: a row in, an event or the exact complaint out.

#include "client/flat_event.h"

#include <gmock/gmock.h>

#include "client/json_reader.h"
#include "client/support.h"
#include "client/text.h"

namespace plumblane::client {
namespace {

using Fields = std::vector<std::string>;

// A good event of each type's least, with `more` added or, for a known name, put in its place.
Row EventRow(const std::string& type, const Fields& more = {}) {
  Row row = RowOf(
      {"event_id", "e1", "order_id", "1042", "type", type, "time", "2026-03-05T14:00:00+01:00"});
  for (size_t i = 0; i + 1 < more.size(); i += 2) {
    std::erase_if(row.cells, [&](const Cell& cell) { return cell.field == more[i]; });
    if (!more[i + 1].empty()) row.cells.push_back({more[i], more[i + 1], Cell::Kind::kText});
  }
  return row;
}

Draft Read(const Row& row, const EventDefaults& defaults = {}) {
  Draft draft;
  const std::optional<Complaint> complaint = ReadEvent(row, defaults, draft);
  EXPECT_FALSE(complaint) << complaint->field << ": " << complaint->message;
  return draft;
}

std::string ComplaintOf(const Row& row) {
  Draft draft;
  const std::optional<Complaint> complaint = ReadEvent(row, {}, draft);
  return complaint ? complaint->code + " " + complaint->field + ": " + complaint->message : "taken";
}

std::string JsonComplaint(const std::string& text) {
  return ComplaintOf(std::get<Row>(ReadJsonRow(LineOf(text))));
}

TEST(FlatEventTest, EveryFieldFindsItsPlace) {
  const Draft draft = Read(EventRow("paid", {"source",      "export",
                                             "shop",        "harbour",
                                             "part",        "2",
                                             "supplier",    "lotus-works",
                                             "origin",      "vn",
                                             "destination", "de",
                                             "service",     "express",
                                             "promise",     "2026-03-20T00:00:00Z",
                                             "item",        "mug",
                                             "units",       "3",
                                             "cost",        "13.75",
                                             "sale",        "29.90",
                                             "currency",    "eur",
                                             "replaces",    "1",
                                             "revision",    "2026-03-06T00:00:00Z"}));
  const v1::Event& event = draft.event;
  EXPECT_EQ(event.ShortDebugString(),
            "event_id: \"e1\" source: \"export\" shop: \"harbour\" order_id: \"1042\" part: 2 "
            "type: EVENT_TYPE_PAID event_time { seconds: 1772715600 } supplier: \"lotus-works\" "
            "origin: \"VN\" destination: \"DE\" service: \"express\" promise_time { seconds: "
            "1773964800 } item: \"mug\" unit_count: 3 cost { minor_units: 1375 currency_code: "
            "\"EUR\" } sale { minor_units: 2990 currency_code: \"EUR\" } replaces: 1 "
            "revision_time { seconds: 1772755200 }");
}

TEST(FlatEventTest, ClaimsAndRefunds) {
  const Draft claim =
      Read(EventRow("disputed", {"reason", "wrong_item", "claim", "1375", "currency", "JPY"}));
  EXPECT_EQ(claim.event.reason(), v1::REASON_WRONG_ITEM);
  EXPECT_EQ(claim.event.claim().minor_units(), 1375);
  const Draft refund = Read(EventRow("refunded", {"refund", "5", "currency", "KWD", "by", "shop"}));
  EXPECT_EQ(refund.event.refund().minor_units(), 5000);
  EXPECT_EQ(refund.event.refund_side(), v1::REFUND_SIDE_SHOP);
}

TEST(FlatEventTest, DefaultsFillWhatIsNotSaid) {
  const EventDefaults defaults{"feed", "meadow", 12};
  const Draft paid = Read(EventRow("paid"), defaults);
  EXPECT_EQ(paid.event.source(), "feed");
  EXPECT_EQ(paid.event.shop(), "meadow");
  EXPECT_EQ(paid.event.promise_days(), 12);
  EXPECT_FALSE(Read(EventRow("shipped"), defaults).event.has_promise_days());
  EXPECT_FALSE(
      Read(EventRow("paid", {"promise", "2026-03-20"}), defaults).event.has_promise_days());
  EXPECT_EQ(Read(EventRow("paid", {"promise_days", "0"}), defaults).event.promise_days(), 0);
}

TEST(FlatEventTest, BareDatesStayOpen) {
  const Draft draft = Read(EventRow("paid", {"time", "2026-03-05", "promise", "2026-03-20"}));
  EXPECT_FALSE(draft.event.has_event_time());
  EXPECT_EQ(FormatDay(*draft.date), "2026-03-05");
  EXPECT_EQ(FormatDay(*draft.promise_date), "2026-03-20");
}

TEST(FlatEventTest, DeliveredMayNameTrackingInsteadOfTheOrder) {
  const Draft draft = Read(EventRow("delivered", {"order_id", "", "tracking", "AG1"}));
  EXPECT_EQ(draft.find_by, "AG1");
  EXPECT_EQ(draft.event.tracking(), "");
  const Draft both = Read(EventRow("delivered", {"tracking", "AG1"}));
  EXPECT_EQ(both.find_by, "");
  EXPECT_EQ(both.event.order_id(), "1042");
  EXPECT_EQ(Read(EventRow("shipped", {"tracking", "AG1"})).event.tracking(), "AG1");
}

struct BadCase {
  std::string type;
  Fields fields;
  std::string complaint;
};

constexpr char kIdRule[] =
    "expected 1 to 64 printable characters, no '/', no blank at either end, not ";
constexpr char kTimeRule[] =
    "expected a date alone, or date, \"T\", time and the offset from UTC, such as "
    "2026-03-05T14:00:00+01:00, not ";

const BadCase kBadCases[] = {
    {"paid",
     {"event_id", ""},
     "MISSING_FIELD event_id: expected an id that is this event's own within its source, so that "
     "sending it twice changes nothing"},
    {"paid", {"type", ""}, "MISSING_FIELD type: expected what happened, such as paid or delivered"},
    {"paid",
     {"time", ""},
     "MISSING_FIELD time: expected when it happened, such as 2026-03-05T14:00:00+01:00"},
    {"paid", {"order_id", ""}, "MISSING_FIELD order_id: expected the order it happened to"},
    {"delivered",
     {"order_id", ""},
     "MISSING_FIELD order_id: expected the order that was delivered, or its `tracking`"},
    {"retracted", {}, "MISSING_FIELD retracts: expected the event_id that is taken back"},
    {"payed",
     {},
     "BAD_VALUE type: expected one of paid, shipped, delivered, disputed, answered, refunded, "
     "cancelled, retracted, not \"payed\""},
    {"disputed",
     {"reason", "broken"},
     "BAD_VALUE reason: expected one of late, not_received, damaged, quality, wrong_item, "
     "missing_part, counterfeit, unsafe, lost, wrong_address, refused, customs, changed_mind, "
     "out_of_stock, other, not \"broken\""},
    {"paid", {"order_id", "a/b"}, std::string("BAD_VALUE order_id: ") + kIdRule + "\"a/b\""},
    {"paid", {"supplier", " x"}, std::string("BAD_VALUE supplier: ") + kIdRule + "\" x\""},
    {"paid",
     {"item", "a\nb"},
     "BAD_VALUE item: expected 1 to 128 printable characters, not \"a?b\""},
    {"paid", {"time", "yesterday"}, std::string("BAD_VALUE time: ") + kTimeRule + "\"yesterday\""},
    {"paid",
     {"time", "2026-03-05T14:00:00"},
     "BAD_VALUE time: expected a date alone, or date, \"T\", time and the offset from UTC, such "
     "as "
     "2026-03-05T14:00:00+01:00, not \"2026-03-05T14:00:00\""},
    {"paid",
     {"promise", "2026-02-30"},
     "BAD_VALUE promise: expected a date, such as 2026-03-05, not \"2026-02-30\""},
    {"paid",
     {"origin", "Viet Nam"},
     "BAD_VALUE origin: expected 2 to 16 letters or digits, such as VN, not \"Viet Nam\""},
    {"paid",
     {"service", "Express"},
     "BAD_VALUE service: expected 1 to 32 of a-z, 0-9 and hyphen, such as express, not "
     "\"Express\""},
    {"paid",
     {"units", "0"},
     "BAD_VALUE units: expected a whole number from 1 to 1000000, not \"0\""},
    {"paid", {"part", "x"}, "BAD_VALUE part: expected a whole number from 1 to 999, not \"x\""},
    {"paid",
     {"promise_days", "366"},
     "BAD_VALUE promise_days: expected a whole number from 0 to 365, not \"366\""},
    {"paid",
     {"cost", "13.755", "currency", "EUR"},
     "BAD_VALUE cost: expected a plain amount in EUR with at most 2 decimals, such as 13.75, not "
     "\"13.755\""},
    {"paid",
     {"cost", "1,5", "currency", "EUR"},
     "BAD_VALUE cost: expected a plain amount in EUR with at most 2 decimals, such as 13.75, not "
     "\"1,5\""},
    {"paid",
     {"cost", "1.50"},
     "MISSING_FIELD currency: expected the currency of `cost`, such as EUR"},
    {"paid",
     {"currency", "Euro"},
     "BAD_VALUE currency: expected an ISO 4217 currency such as EUR, not \"Euro\""},
    {"refunded", {"by", "bank"}, "BAD_VALUE by: expected supplier or shop, not \"bank\""},
    {"paid",
     {"replaces", "1"},
     "FIELD_CONFLICT replaces: a part replaces an earlier one: expected less than part 1, not 1"},
    {"paid",
     {"promise", "2026-03-20", "promise_days", "3"},
     "FIELD_CONFLICT promise_days: give `promise` or `promise_days`, not both"},
    {"paid",
     {"reason", "late"},
     "FIELD_CONFLICT reason: goes with disputed, refunded and cancelled only; leave it empty "
     "here"},
    {"refunded",
     {"claim", "1", "currency", "EUR"},
     "FIELD_CONFLICT claim: goes with disputed only; leave it empty here"},
    {"disputed",
     {"refund", "1", "currency", "EUR"},
     "FIELD_CONFLICT refund: goes with refunded only; leave it empty here"},
    {"paid", {"by", "shop"}, "FIELD_CONFLICT by: goes with refunded only; leave it empty here"},
    {"paid",
     {"retracts", "e0"},
     "FIELD_CONFLICT retracts: goes with retracted only; leave it empty here"},
    {"paid",
     {"tracking", "AG1"},
     "FIELD_CONFLICT tracking: goes with shipped and delivered only; leave it empty here"},
    {"paid",
     {"suplier", "x"},
     "UNKNOWN_FIELD suplier: unknown field \"suplier\", did you mean \"supplier\"?"},
    {"paid",
     {"Order-ID", "x"},
     "UNKNOWN_FIELD Order-ID: unknown field \"Order-ID\", did you mean \"order_id\"?"},
    {"paid",
     {"customer_email", "x"},
     "UNKNOWN_FIELD customer_email: unknown field \"customer_email\"; leave it out: only what is "
     "named in \"plumblane send --help\" is kept, and no customer's data"},
};

TEST(FlatEventTest, BadValuesSayWhatWasExpected) {
  for (const BadCase& bad : kBadCases) {
    EXPECT_EQ(ComplaintOf(EventRow(bad.type, bad.fields)), bad.complaint);
  }
}

TEST(FlatEventTest, JsonNumbersAreTakenByTheirDigits) {
  const std::string head = R"({"event_id":"e1","type":"paid","time":"2026-03-05",)";
  const auto read = [&](const std::string& rest) {
    return Read(std::get<Row>(ReadJsonRow(LineOf(head + rest + "}")))).event;
  };
  EXPECT_EQ(read(R"("order_id":1042)").order_id(), "1042");
  EXPECT_EQ(read(R"("order_id":"1","cost":13.75,"currency":"EUR")").cost().minor_units(), 1375);
  EXPECT_EQ(read(R"("order_id":"1","cost":13,"currency":"EUR")").cost().minor_units(), 1300);
  EXPECT_EQ(read(R"("order_id":"1","units":3)").unit_count(), 3);
}

TEST(FlatEventTest, JsonNumbersThatAreNotExactAreRefused) {
  const std::string head = R"({"event_id":"e1","type":"paid","time":"2026-03-05","order_id":)";
  EXPECT_EQ(JsonComplaint(head + "10.42}"),
            "BAD_VALUE order_id: expected a text; write it in quotes, not \"10.42\"");
  EXPECT_EQ(
      JsonComplaint(head + R"("1","cost":0.30000000000000004,"currency":"EUR"})"),
      "BAD_VALUE cost: expected a plain amount in EUR with at most 2 decimals, such as 13.75, "
      "not \"0.30000000000000004\"");
  EXPECT_EQ(JsonComplaint(head + R"("1","units":2.0})"),
            "BAD_VALUE units: expected a whole number from 1 to 1000000, not \"2.0\"");
  EXPECT_EQ(JsonComplaint(head + R"(true})"),
            "BAD_VALUE order_id: expected a text or a number, not true");
  EXPECT_EQ(JsonComplaint(head + R"(["1"]})"),
            "BAD_VALUE order_id: expected a text or a number, not a list");
}

}  // namespace
}  // namespace plumblane::client
