#include "client/show_order.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>

#include <algorithm>

#include "base/ids.h"
#include "base/lane.h"
#include "client/show.h"
#include "client/table.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

std::string Or(const std::string& text, const char* otherwise) {
  return text.empty() ? otherwise : text;
}

// "" for what is not known.
std::string Fact(const std::string& label, const std::string& value) {
  return value.empty() ? "" : DetailLine(label, value, /*label_width=*/11, /*width=*/80);
}

std::string TimeLine(const std::string& label, bool is_known,
                     const google::protobuf::Timestamp& time, const std::string& remark = "") {
  return is_known ? Fact(label, MinuteText(time) + remark) : "";
}

// "copper-ferry, TR-DE", with what is not known said so.
std::string WhoText(const v1::OrderPart& part) {
  std::string lane = Or(part.origin(), "?") + "-" + Or(part.destination(), "?");
  if (!part.service().empty()) lane += "/" + part.service();
  return Or(part.supplier(), "supplier not known") + ", " + lane;
}

std::string MoneyList(const google::protobuf::RepeatedPtrField<v1::Money>& amounts) {
  std::vector<std::string> texts;
  for (const v1::Money& money : amounts) texts.push_back(MoneyText(money));
  return Listed(texts);
}

std::string GoodsText(const v1::OrderPart& part) {
  std::vector<std::string> texts;
  if (!part.item().empty()) {
    const std::string& theirs = part.supplier_item();
    texts.push_back(part.item() + (theirs.empty() ? "" : " (sent as " + theirs + ")"));
  }
  if (part.unit_count() > 0) texts.push_back(Counted(part.unit_count(), "unit"));
  if (part.has_cost()) texts.push_back("cost " + MoneyText(part.cost()));
  if (part.has_sale()) texts.push_back("sale " + MoneyText(part.sale()));
  std::string joined;
  for (const std::string& text : texts) joined += (joined.empty() ? "" : ", ") + text;
  return joined;
}

std::string FactsText(const v1::OrderPart& part) {
  const std::string promise_remark =
      part.promise_ignored() ? " (given too late: shown, not counted)" : "";
  std::string text = absl::StrCat(
      TimeLine("promised", part.has_promise_time(), part.promise_time(), promise_remark),
      TimeLine("paid", part.has_pay_time(), part.pay_time()),
      TimeLine("shipped", part.has_ship_time(), part.ship_time()),
      TimeLine("delivered", part.has_deliver_time(), part.deliver_time()),
      TimeLine("disputed", part.has_dispute_time(), part.dispute_time()),
      TimeLine("answered", part.has_answer_time(), part.answer_time()),
      TimeLine("cancelled", part.has_cancel_time(), part.cancel_time()));
  absl::StrAppend(&text, Fact("goods", GoodsText(part)),
                  Fact("claim", part.has_claim() ? MoneyText(part.claim()) : ""),
                  Fact("refunded", MoneyList(part.refunds_by_supplier())));
  const std::string by_shop = MoneyList(part.refunds_by_shop());
  absl::StrAppend(&text, Fact("", by_shop.empty() ? "" : by_shop + " by the shop"),
                  Fact("tracking", part.tracking()));
  if (part.replaces() > 0) {
    absl::StrAppend(&text, Fact("replaces", absl::StrCat("part ", part.replaces())));
  }
  return text;
}

// What an event says besides its type.
std::string EventDetail(const v1::Event& event) {
  std::vector<std::string> texts;
  if (event.reason() != v1::REASON_UNSPECIFIED) texts.push_back(NameOf(event.reason()));
  if (event.has_claim()) texts.push_back("claim " + MoneyText(event.claim()));
  if (event.has_refund()) {
    const bool by_shop = event.refund_side() == v1::REFUND_SIDE_SHOP;
    texts.push_back(MoneyText(event.refund()) + (by_shop ? " by the shop" : ""));
  }
  if (!event.retracts().empty()) texts.push_back("takes back " + event.retracts());
  if (!event.tracking().empty()) texts.push_back(event.tracking());
  std::string joined;
  for (const std::string& text : texts) joined += (joined.empty() ? "" : ", ") + text;
  return joined;
}

std::string EventsText(const v1::OrderPart& part, int width) {
  if (part.events().empty()) return "";
  Table table({{"time (UTC)"}, {"event"}, {"from"}, {"says"}});
  std::string text = "\n  Events\n";
  for (const v1::OrderEvent& told : part.events()) {
    const v1::Event& event = told.event();
    std::string says = EventDetail(event);
    if (!told.ignored().empty()) {
      absl::StrAppend(&says, says.empty() ? "" : "; ", "no effect: ", told.ignored());
    }
    table.Add({MinuteText(event.event_time()), Or(NameOf(event.type()), "unknown"),
               absl::StrCat(event.source(), " ", event.event_id()), says});
  }
  // Nothing is cut here: ids are what one searches for.
  return text + table.Render(std::max(width, 400), 2);
}

std::string PlainMeasure(const std::string& measure) {
  std::string text = measure;
  std::replace(text.begin(), text.end(), '_', ' ');
  return text;
}

std::string CountsText(const v1::OrderPart& part, int width) {
  std::string text = "\n  How it counts\n";
  if (part.counts().empty()) text += "  not at all yet\n";
  Table table({{"measure"}, {"on day"}, {"outcome"}});
  for (const v1::Count& count : part.counts()) {
    table.Add({PlainMeasure(count.measure()), count.day(),
               count.outcome() + (count.excused() ? " (forgiven)" : "")});
  }
  if (!part.counts().empty()) text += table.Render(width, 2);
  const auto say = [&](const std::string& label, const std::string& what) {
    if (!what.empty()) text += "  " + Wrapped(label + ": " + what, width - 2, 4);
  };
  say("Forgiven, out of the supplier's score", part.excuse());
  say("In no on-time count", part.withdrawal());
  for (const std::string& missing : part.missing()) say("Missing", missing);
  for (const std::string& fault : part.faults()) say("Contradiction", fault);
  return text;
}

}  // namespace

std::string ShowOrder(const v1::Order& order, int width) {
  std::string text =
      absl::StrCat("Order ", FormatOrder({order.shop(), order.order_id()}), "  (times are UTC)\n");
  for (const v1::OrderPart& part : order.parts()) {
    absl::StrAppend(&text, "\nPart ", std::max(1, part.part()), ": ", WhoText(part), "\n",
                    FactsText(part), EventsText(part, width), CountsText(part, width));
  }
  if (order.parts().empty()) text += "nothing is known of it\n";
  return text;
}

std::string CoverageText(const v1::Excuse& excuse) {
  if (excuse.has_order()) {
    const v1::OrderName& order = excuse.order();
    return "order " + FormatOrder({Or(order.shop(), kDefaultShop), order.order_id()},
                                  std::max(1, order.part()));
  }
  if (!excuse.has_lane_days()) return "unknown";
  const v1::LaneDays& days = excuse.lane_days();
  const std::string lane = LaneText(days.lane()) + ", due " + days.first_due_date();
  return days.first_due_date() == days.last_due_date() ? lane
                                                       : lane + " to " + days.last_due_date();
}

std::string ShowExcuses(const std::vector<v1::Excuse>& excuses, int width) {
  if (excuses.empty()) return "nothing is forgiven\n";
  Table table({{"excuse"}, {"covers"}, {"reason"}});
  for (const v1::Excuse& excuse : excuses) {
    table.Add({excuse.excuse_id(), CoverageText(excuse),
               excuse.reason() + (excuse.withdrawn() ? " (withdrawn)" : "")});
  }
  // An id that is cut could not be withdrawn.
  return table.Render(std::max(width, 400));
}

}  // namespace plumblane::client
