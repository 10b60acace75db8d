// CloudEvents around events: what each attribute becomes, and what is refused, by field.
#include "client/cloud_event.h"

#include <gtest/gtest.h>

#include <string>

#include "client/json_reader.h"
#include "client/support.h"

namespace plumblane::client {
namespace {

// "field=value,..." of the row, or "!CODE field: message".
std::string Read(const std::string& text) {
  const RowOrRejection read = ReadJsonRow(LineOf(text));
  if (const auto* bad = std::get_if<Rejection>(&read)) {
    return "!" + bad->complaint.code + " " + bad->complaint.field + ": " + bad->complaint.message;
  }
  std::string fields;
  for (const Cell& cell : std::get<Row>(read).cells) fields += cell.field + "=" + cell.value + ",";
  return fields;
}

// An envelope with these attributes, besides the version.
std::string Envelope(const std::string& attributes) {
  return R"({"specversion":"1.0",)" + attributes + "}";
}

TEST(CloudEvent, TheEnvelopeFillsWhatTheDataLeavesOpen) {
  EXPECT_EQ(Read(Envelope(R"("id":"e1","source":"carrier","type":"org.example.order.delivered.v1",
      "time":"2026-03-05T14:00:00Z","data":{"order_id":"1","cost":13.750},"tracestate":"x")")),
            "order_id=1,cost=13.750,event_id=e1,source=carrier,type=delivered,"
            "time=2026-03-05T14:00:00Z,");
  EXPECT_EQ(Read(Envelope(R"("id":"e1","source":"/x","type":"t","time":"2026-03-05T14:00:00Z",
      "datacontenttype":"application/json; charset=utf-8",
      "data":{"event_id":"e1","source":"own","type":"paid","time":"2026-03-01"})")),
            "event_id=e1,source=own,type=paid,time=2026-03-01,");
}

TEST(CloudEvent, ASourceIsAnAddressWithoutSchemeAndSlashes) {
  const std::pair<const char*, const char*> sources[] = {
      {"carrier", "carrier"},
      {"https://shop.example/exports/orders/", "shop.example:exports:orders"},
      {"/warehouse/7", "warehouse:7"},
      {"urn:shop:1", "urn:shop:1"},
  };
  for (const auto& [uri, source] : sources) {
    EXPECT_EQ(
        Read(Envelope(R"("id":"e","type":"paid","data":{},"source":")" + std::string(uri) + "\"")),
        "event_id=e,source=" + std::string(source) + ",type=paid,");
  }
}

TEST(CloudEvent, WhatIsWrongIsNamed) {
  const std::string good = R"("id":"e","source":"s","type":"paid","data":{})";
  const std::pair<std::string, std::string> cases[] = {
      {R"({"specversion":"0.3",)" + good + "}",
       "!BAD_VALUE specversion: expected the text \"1.0\", not \"0.3\""},
      {R"({"specversion":1.0,)" + good + "}",
       "!BAD_VALUE specversion: expected the text \"1.0\", not \"1.0\""},
      {Envelope(R"("source":"s","type":"paid","data":{})"),
       "!MISSING_FIELD id: every CloudEvent needs it, as a text"},
      {Envelope(R"("id":null,"source":"s","type":"paid","data":{})"),
       "!MISSING_FIELD id: every CloudEvent needs it, as a text"},
      {Envelope(R"("id":5,"source":"s","type":"paid","data":{})"),
       "!BAD_VALUE id: expected a text, not \"5\""},
      {Envelope(R"("id":"e","type":"paid","data":{})"),
       "!MISSING_FIELD source: every CloudEvent needs it, as a text"},
      {Envelope(R"("id":"e","source":"//","type":"paid","data":{})"),
       "!BAD_VALUE source: expected a name in it, not \"//\""},
      {Envelope(R"("id":"e","source":"s","data":{})"),
       "!MISSING_FIELD type: every CloudEvent needs it, as a text"},
      {Envelope(R"("id":"e","source":"s","type":"com.example.posted","data":{})"),
       "!BAD_VALUE type: expected one that ends in paid, shipped, delivered, ..., or a `type` in "
       "the data, not \"com.example.posted\""},
      {Envelope(R"("id":"e","source":"s","type":"paid")"),
       "!MISSING_FIELD data: expected the fields of the event, as one JSON object"},
      {Envelope(R"("id":"e","source":"s","type":"paid","data":[1])"),
       "!MISSING_FIELD data: expected the fields of the event, as one JSON object"},
      {Envelope(R"("id":"e","source":"s","type":"paid","data_base64":"eA==")"),
       "!BAD_VALUE data_base64: expected the event as JSON, in `data`"},
      {Envelope(R"("id":"e","source":"s","type":"paid","datacontenttype":"text/xml","data":{})"),
       "!BAD_VALUE datacontenttype: expected application/json, not \"text/xml\""},
      {Envelope(R"("id":"e","source":"s","type":"paid","data":{"event_id":"f"})"),
       "!FIELD_CONFLICT event_id: the data and the `id` around it name different ids"},
      {Envelope(R"("id":"e","source":"s","type":"paid","data":{"part":1,"part":2})"),
       "!FIELD_CONFLICT part: the field stands twice on this line"},
  };
  for (const auto& [text, said] : cases) EXPECT_EQ(Read(text), said) << text;
}

TEST(CloudEvent, DeeperDataIsNoValue) {
  const RowOrRejection read = ReadJsonRow(LineOf(
      Envelope(R"("id":"e","source":"s","type":"paid","data":{"cost":{"a":1},"item":[2]})")));
  const Row& row = std::get<Row>(read);
  EXPECT_EQ(row.cells[0].field, "cost");
  EXPECT_EQ(row.cells[0].kind, Cell::Kind::kOther);
  EXPECT_EQ(row.cells[1].kind, Cell::Kind::kOther);
  EXPECT_EQ(Read(R"({"data":{"a":1},"type":"paid"})"), "data=an object,type=paid,");
}

}  // namespace
}  // namespace plumblane::client
