// Answers of the engine into answers of the API.
#pragma once

#include <google/protobuf/duration.pb.h>
#include <google/protobuf/timestamp.pb.h>
#include <plumblane/v1/intake.pb.h>
#include <plumblane/v1/orders.pb.h>
#include <plumblane/v1/scores.pb.h>
#include <plumblane/v1/sourcing.pb.h>

#include <optional>

#include "engine/submission.h"
#include "engine/view.h"

namespace plumblane {

void WriteTime(Instant t, google::protobuf::Timestamp* out);
void WriteDuration(double seconds, google::protobuf::Duration* out);
void WriteMoney(const Money& money, v1::Money* out);

// The fleets of the basis go to the score itself, not to its pairs.
void WriteScore(const Basis& basis, const ScoreAnswer& answer, v1::Score* out);
void WriteFleet(const FleetEvidence& fleet, v1::Fleet* out);
void WriteRanking(const WithBasis<View::Ranking>& ranking, v1::RankSuppliersResponse* out);
void WriteBacktest(const BacktestAsked& asked, const BacktestAnswer& answer,
                   v1::BacktestResponse* out);
void WriteOrder(const OrderAnswer& answer, v1::Order* out);
void WriteExcuse(const Excuse& excuse, v1::Excuse* out);

// `index` is the event's place in its batch. None when there is nothing to say about it.
std::optional<v1::EventResult> WriteFate(int index, const EventFate& fate);

}  // namespace plumblane
