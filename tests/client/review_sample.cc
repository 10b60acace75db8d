#include "client/review_sample.h"

#include "client/support.h"

namespace plumblane::client {

v1::Review SampleReview() {
  v1::Review review = FromJson<v1::Review>(R"({
  "period":{"firstDate":"2026-07-01","lastDate":"2026-09-30"},
  "periodBefore":{"firstDate":"2026-04-01","lastDate":"2026-06-30"},
  "yearAgo":{"firstDate":"2025-07-01","lastDate":"2025-09-30"},
  "asOfTime":"2026-10-01T00:00:00Z","newsTime":"2026-09-28T00:00:00Z","provisional":true,
  "finalDate":"2026-12-01","claimWindowDays":60,"comparisonCount":42,"currencyCode":"EUR",
  "accounts":[
   {"period":{"orderCount":"1402","onTime":{"observed":0.92,"low":0.9,"high":0.94,
      "orderCount":"1300","hitCount":"104"},"orderConcentration":5200.4},
    "before":{"orderCount":"0"},
    "weeks":[{"firstDate":"2026-06-29","onTime":{"observed":0.95,"low":0.8,"high":0.99,
      "orderCount":"40","hitCount":"2"}},
     {"firstDate":"2026-07-06","onTime":{"observed":0.61,"low":0.5,"high":0.7,
      "orderCount":"41","hitCount":"16"}}]},
   {"supplierId":"S",
    "period":{"orderCount":"406","onTime":{"observed":0.7147,"low":0.667,"high":0.758,
      "orderCount":"375","hitCount":"107"},"onTimeWithoutExcuses":{"observed":0.7109,"low":0.6632,
      "high":0.7543,"orderCount":"377","hitCount":"109"},"meanDaysLate":3.14,
      "lateArrivedCount":"78","defect":{"observed":0.0315,"low":0.0181,"high":0.0542,
      "orderCount":"381","hitCount":"12"},"defectKinds":[{"kind":"REASON_DAMAGED","count":"7"},
      {"kind":"REASON_LOST","count":"5"}],"immatureCount":"261","unsettledCount":"10",
      "transit":{"enteredCount":"350","finishedCount":"296","median":"864000s",
      "medianReached":true,"p90":"1296000s"},
      "money":[{"currencyCode":"EUR","paid":"960334","claimed":"37910","owed":"23139",
      "owedOrderCount":"21","refundedByShop":"22530","quotedOrderCount":"41","charged":"10230",
      "quoted":"10000","overchargedOrderCount":"3","overcharged":"250","exposure":"155856"},
      {"currencyCode":"USD","paid":"1234"}],"outOfStockCount":"5","orderShare":0.29},
    "before":{"orderCount":"370","onTime":{"observed":0.932,"low":0.9,"high":0.95,
      "orderCount":"352","hitCount":"24"},"meanDaysLate":2.5,"lateArrivedCount":"24",
      "transit":{"enteredCount":"340","finishedCount":"338","median":"691200s",
      "medianReached":true,"p90":"1036800s"},
      "defectKinds":[{"kind":"REASON_DAMAGED","count":"4"}]},
    "changes":[{"measure":"on_time","against":"AGAINST_PERIOD_BEFORE","orderCount":"375",
      "hitCount":"107","orderCountThen":"352","hitCountThen":"24","verdict":"VERDICT_WORSE",
      "difference":0.2172,"low":0.1637,"high":0.2697,"pValue":1e-13,"adjustedPValue":0.0004},
     {"measure":"defect","against":"AGAINST_PERIOD_BEFORE","orderCount":"8","hitCount":"1",
      "orderCountThen":"354","hitCountThen":"10","verdict":"VERDICT_TOO_THIN"}],
    "timesChanges":[{"measure":"transit","against":"AGAINST_PERIOD_BEFORE",
      "orderCount":"350","finishedCount":"296",
      "orderCountThen":"340","finishedCountThen":"338","verdict":"VERDICT_WORSE","pValue":0.001,
      "adjustedPValue":0.012},
     {"measure":"days_late","against":"AGAINST_PERIOD_BEFORE",
      "orderCount":"107","finishedCount":"78","orderCountThen":"24",
      "finishedCountThen":"24","verdict":"VERDICT_NO_MORE_THAN_CHANCE","pValue":0.3,
      "adjustedPValue":0.4},
     {"measure":"handling","against":"AGAINST_PERIOD_BEFORE",
      "orderCount":"5","finishedCount":"5","orderCountThen":"40",
      "finishedCountThen":"40","verdict":"VERDICT_TOO_THIN"}],
    "atStake":{"minorUnits":"56179","currencyCode":"EUR"},
    "points":[{"kind":"KIND_LATE","sentence":"107 of 375 orders due came late.",
      "atStake":{"minorUnits":"40892","currencyCode":"EUR"},"atStakeByCosts":true},
     {"kind":"KIND_OUT_OF_STOCK","sentence":"5 of 406 orders were out of stock.",
      "atStake":{"minorUnits":"15287","currencyCode":"EUR"}},
     {"kind":"KIND_ITEM","sentence":"ITEM came late."},
     {"kind":"KIND_LOST","good":true,"sentence":"None got lost."}],
    "targets":[{"measure":"on_time","target":0.9,"standing":"STANDING_MISSED"}],
    "items":[{"item":"ITEM","measure":"on_time","orderCount":"40","hitCount":"12",
      "otherOrderCount":"300","otherHitCount":"8","difference":0.273,"low":0.15,"high":0.43,
      "adjustedPValue":0.002}],
    "excuses":[{"reason":"REASON","orderCount":"2","settledCount":"2","lateCount":"2",
      "firstDueDate":"2026-08-17","lastDueDate":"2026-08-23"}],
    "alerts":[{"measure":"on_time","changeDate":"2026-08-03","openDate":"2026-08-17",
      "rateBefore":0.041,"rateSince":0.19}],
    "assigned":{"count":"12","trialCount":"3","chosenCount":"2","savings":[
      {"currencyCode":"EUR","expectedSaving":4120.0,"assignmentCount":"10"}]},
    "costParts":{"late":31000,"lost":9892,"unknownCount":"2"},
    "weeks":[{"firstDate":"2026-06-29","onTime":{"observed":0.9,"low":0.7,"high":0.97,
      "orderCount":"20","hitCount":"2"}}],
    "transitCurve":[{"days":8,"share":0.3},{"days":10,"share":0.6},{"days":15,"share":0.95}],
    "transitCurveBefore":[{"days":7,"share":0.5},{"days":11,"share":1}]},
   {"lane":{"origin":"PL","destination":"NZ"},"period":{"orderCount":"1","onTime":{"observed":1,
      "low":0.207,"high":1,"orderCount":"1","tooThin":true}},
    "weeks":[{"firstDate":"2026-08-03","onTime":{"observed":1,"low":0.207,"high":1,
      "orderCount":"1","tooThin":true}}]},
   {"supplierId":"S","lane":{"origin":"VN","destination":"DE","service":"express"},
    "period":{"orderCount":"33","onTime":{"observed":0.5,"low":0.3,"high":0.7,"orderCount":"30",
      "hitCount":"15"}}}]})");
  for (v1::Account& account : *review.mutable_accounts()) {
    if (!account.supplier_id().empty()) account.set_supplier_id(kHostileSupplier);
  }
  v1::Account& supplier = *review.mutable_accounts(1);
  supplier.mutable_points(2)->set_sentence(std::string(kHostileItem) + " came late.");
  supplier.mutable_items(0)->set_item(kHostileItem);
  supplier.mutable_excuses(0)->set_reason("dock <b>strike</b> & more");
  return review;
}

}  // namespace plumblane::client
