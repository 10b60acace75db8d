// Answers of the engine into answers of the API.
#pragma once

#include <google/protobuf/duration.pb.h>
#include <google/protobuf/timestamp.pb.h>
#include <plumblane/v1/intake.pb.h>
#include <plumblane/v1/orders.pb.h>
#include <plumblane/v1/reviews.pb.h>
#include <plumblane/v1/scores.pb.h>
#include <plumblane/v1/sourcing.pb.h>

#include <optional>
#include <string_view>

#include "engine/submission.h"
#include "engine/view.h"

namespace plumblane {

void WriteTime(Instant t, google::protobuf::Timestamp* out);
void WriteDuration(double seconds, google::protobuf::Duration* out);
void WriteMoney(const Money& money, v1::Money* out);
void WriteLane(const Lane& lane, v1::Lane* out);
void WriteTimes(const TimesEstimate& times, v1::Times* out);
void WriteTarget(const TargetReading& reading, v1::TargetReading* out);
v1::Reason ReasonOf(Code kind);  // REQUIRES: IsDefect(kind)

// The fleets of the basis go to the score itself, not to its pairs.
void WriteScore(const Basis& basis, const ScoreAnswer& answer, v1::Score* out);
void WriteFleet(const FleetEvidence& fleet, v1::Fleet* out);
void WritePairScore(const Basis& basis, const Pair& pair, const ScoreEstimate& score,
                    v1::Score* out);
// "on_time".
std::string_view MeasureName(Measure measure);

// The first `told` candidates.
void WriteSourcing(const WithBasis<SourcingAnswer>& asked, size_t told,
                   v1::RankSuppliersResponse* out);
void WriteExcluded(const ExcludedPair& excluded, v1::ExcludedCandidate* out);
void WriteRisk(const View& view, const RiskAnswer& answer, const std::string& supplier, int days,
               v1::Risk* out);
void WriteAssignment(const StoredAssignment& stored, bool with_candidates, v1::Assignment* out);
void WriteBacktest(const BacktestAsked& asked, const BacktestAnswer& answer,
                   v1::BacktestResponse* out);
// Without a promise that was implied.
void WriteEvent(const OrderKey& key, const Event& event, v1::Event* out);
void WriteOrder(const OrderAnswer& answer, v1::Order* out);
void WriteUnderway(const UnderwayAnswer& answer, v1::ListUnderwayResponse* out);
void WriteClaims(const ClaimsAnswer& answer, v1::ListClaimsResponse* out);
// Everything but accounts.
void WriteReview(const ReviewAsked& asked, const ReviewAnswer& answer, int claim_window_days,
                 v1::Review* out);
void WriteAccount(const Account& account, const ReviewedAccount& rest, bool to_share,
                  v1::Account* out);
void WriteEvidence(const EvidenceOrder& evidence, v1::EvidenceOrder* out);
void WriteExcuse(const Excuse& excuse, v1::Excuse* out);

// `index` is the event's place in its batch. None when there is nothing to say about it.
std::optional<v1::EventResult> WriteFate(int index, const EventFate& fate);
v1::EventResult WriteItemRemark(int index, std::string remark);

}  // namespace plumblane
