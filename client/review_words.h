// The figures of a review as a person reads them; what stands in a page, a table or on a screen is
// written here once.
//
// Pure and thread-safe.
#pragma once

#include <string>
#include <vector>

#include "plumblane/v1/reviews.pb.h"

namespace plumblane::client {

// Whose account it is.
enum class AccountKind { kAll, kSupplier, kLane, kPair };
AccountKind KindOf(const v1::Account& account);

// "all together", "lotus-works", "VN-DE", "lotus-works on VN-DE/express".
std::string AccountName(const v1::Account& account);

// "2026-07-01 to 2026-09-30".
std::string PeriodText(const v1::ReviewPeriod& period);
// "orders over before 2025-03-01 are no longer kept: ...", "" when all are.
std::string KeptText(const v1::Review& review);

// "92 % (88-95) of 412", "67 % (21-94) of 3, too thin", "no orders due".
std::string ShareText(const v1::CountedShare& share);

// "+3.3 points (-2.8 to +9.4)"; "" when it was too thin to compare.
std::string DifferenceText(const v1::Change& change);
std::string PointsText(double difference);

// "0.032", "<0.001".
std::string ProbabilityText(double p);

// "the period before", "a year ago".
std::string AgainstText(v1::Change::Against against);
// "worse", "better", "no more than chance", "too thin to compare".
std::string VerdictText(v1::Change::Verdict verdict);
// "8.6 % (12 of 140)".
std::string HitsText(int64_t hits, int64_t orders);

// "late: 8.6 % (12 of 140), the period before 5.3 % (8 of 150); +3.3 points (-2.8 to +9.4), no more
// than chance, adjusted p 0.41".
std::string ChangeText(const v1::Change& change);

// "2.8 / 5.2 d of 412"; "" without orders.
std::string TimesText(const v1::Times& times);
// "3.1 of 78"; "" when none has arrived.
std::string DaysLateText(const v1::Figures& figures);

// A change of times is called so: "longer to ship", "shorter to travel", "more days late".
std::string TimesChangeName(const v1::TimesChange& change);
// Those of the period that it compares with.
const v1::Figures& FiguresThen(const v1::TimesChange& change, const v1::Account& account);
// What is compared, of either period: "2.8 / 5.2 d of 412", "3.1 of 78"; "-" when there is none.
std::string TimesOfChange(const v1::TimesChange& change, const v1::Figures& figures);
// "half +0.7 d, 90 % +1.2 d", "+1.1 days"; "" where not both are known.
std::string TimesDifferenceText(const v1::TimesChange& change, const v1::Account& account);
// "ships within 2.8 / 5.2 d of 412, the period before 2.1 / 4.0 d of 380; longer to ship, adjusted
// p 0.003".
std::string TimesChangeText(const v1::TimesChange& change, const v1::Account& account);

// "late since about 2026-08-03, raised 2026-08-17, closed 2026-09-20; 4.1 % before, 19 % from then
// until it was raised"; of a pool "one of 12 slow lanes to DE, together late since about ...".
std::string AlertMarkText(const v1::AlertMark& alert);

// "kite-swallow, late: 30 % (12 of 40), other items 2.7 % (8 of 300); +27 points (+15 to +43),
// adjusted p 0.002".
std::string ItemText(const v1::SpoilingItem& item);

// "12 orders, 3 as trials, 2 by a person's own choice; expected when decided to save 41.20 EUR
// against always the cheapest quote (10 orders)".
std::string AssignedText(const v1::Assigned& assigned);

// "dock strike: 14 orders promised for 2026-08-17 to 2026-08-23; 12 settled, 9 of them late".
std::string ExcusedText(const v1::ExcusedOrders& excused);

// What a point is worth: "120.00 EUR at stake", "120.00 EUR paid for these orders"; "" = not known.
std::string StakeText(const v1::Point& point);

}  // namespace plumblane::client
