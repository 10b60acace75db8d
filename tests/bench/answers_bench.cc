// What an answer costs: scoring alone from decoded cells, and whole questions to a view, with the
// cells in memory (hot) and from the store (cold). Usage: answers_bench [google-benchmark flags]
#include <benchmark/benchmark.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <memory>

#include "base/philox.h"
#include "engine/view.h"
#include "ranking/order_cost.h"
#include "storage/cell_codec.h"
#include "storage/keys.h"
#include "storage/order_codec.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {
namespace {

constexpr int kDays = 400, kFirstDay = 20'000, kOrdersADay = 3, kLanes = 40;
constexpr int kPairs = 1'000;  // unless the benchmark says another number
const Instant kNow = StartOf(Day{kFirstDay + kDays + 1});
const Moment kMoment{kNow, kNow - kMillisPerDay, DayOf(kNow)};
const ScoreRules kRules{.half_life_days = 45, .fewest_at_risk = kFewestAtRisk};

void Check(const absl::Status& status) {
  if (status.ok()) return;
  std::fprintf(stderr, "%s\n", status.ToString().c_str());
  std::exit(1);
}

Pair PairNumber(int number) {
  return {"supplier" + std::to_string(number / kLanes),
          {"V" + std::to_string(number % kLanes), "DE", ""}};
}

// `days` active days of a pair in one measure, some orders late or bad.
Series MakeSeries(Measure measure, int number, int days) {
  Series series;
  for (int day = 0; day < days; ++day) {
    Cohort cohort{Day{kFirstDay + kDays - days + day}, {}};
    cohort.cell.counted.entered = kOrdersADay;
    for (int i = 0; i < kOrdersADay; ++i) {
      const double u = Uniform(static_cast<uint64_t>(measure), static_cast<uint64_t>(number),
                               static_cast<uint64_t>(day * kOrdersADay + i));
      switch (measure) {
        case Measure::kOnTime:
          if (u < .9) cohort.cell.counted.Add(Code::kDelivered, 0, 1);
          break;
        case Measure::kDefect:
          if (u < .03) cohort.cell.counted.Add(Code::kDamaged, static_cast<uint32_t>(u * 500), 1);
          break;
        case Measure::kHandling:
          cohort.cell.counted.Add(Code::kShipped, static_cast<uint32_t>(500 + u * 100), 1);
          break;
        case Measure::kTransit:
        case Measure::kDelivery:
          cohort.cell.counted.Add(Code::kDelivered, static_cast<uint32_t>(620 + u * 70), 1);
          break;
        default:
          cohort.cell.counted.Add(Code::kLeft, static_cast<uint32_t>(u * 12), 1);
      }
    }
    series.push_back(std::move(cohort));
  }
  return series;
}

constexpr Measure kStored[] = {Measure::kOnTime,  Measure::kDefect,   Measure::kHandling,
                               Measure::kTransit, Measure::kDelivery, Measure::kUnderway};

MeasureSet MakePair(int number, int days) {
  MeasureSet measures;
  for (const Measure measure : kStored) measures[measure] = MakeSeries(measure, number, days);
  return measures;
}

void BM_RatesOfAPair(benchmark::State& state) {
  const MeasureSet measures = MakePair(1, static_cast<int>(state.range(0)));
  for (auto _ : state) {
    benchmark::DoNotOptimize(RatesOf(measures[Measure::kOnTime], measures[Measure::kDefect],
                                     Scope::kCounted, kMoment, kRules));
  }
}
BENCHMARK(BM_RatesOfAPair)->Arg(50)->Arg(400)->Unit(benchmark::kMicrosecond);

void BM_ScoreOfAPair(benchmark::State& state) {
  const MeasureSet measures = MakePair(1, static_cast<int>(state.range(0)));
  const Priors priors{Prior{.1, 20}, Prior{.03, 20}, {}};
  for (auto _ : state) {
    benchmark::DoNotOptimize(ScoreOf(measures, Scope::kCounted, priors, kMoment, kRules));
  }
}
BENCHMARK(BM_ScoreOfAPair)->Arg(50)->Arg(400)->Unit(benchmark::kMicrosecond);

void BM_OutlookOfAPair(benchmark::State& state) {
  const MeasureSet measures = MakePair(1, static_cast<int>(state.range(0)));
  for (auto _ : state) {
    benchmark::DoNotOptimize(OutlookOf(measures, Scope::kCounted, kMoment, kRules));
  }
}
BENCHMARK(BM_OutlookOfAPair)->Arg(50)->Arg(400)->Unit(benchmark::kMicrosecond);

void BM_CostOfAnOrder(benchmark::State& state) {
  const Outlook pair = OutlookOf(MakePair(1, 400), Scope::kCounted, kMoment, kRules);
  CostClass costs;
  costs.late_order = costs.day_late = costs.day_waiting = costs.unanswered_day = 10;
  for (DefectCost& defect : costs.defects) defect = {0.5, true};
  const OrderBelief belief{{5, 50}, {1, 50}, &pair, &pair, &pair, &pair};
  for (auto _ : state) benchmark::DoNotOptimize(CostOf({1000, 3000.0, 10, 0}, belief, costs));
}
BENCHMARK(BM_CostOfAnOrder)->Unit(benchmark::kNanosecond);

// Two rates of so many pairs, from their counts.
void BM_FitOfAFleet(benchmark::State& state) {
  std::vector<PairOfFleet> pairs;
  for (int i = 0; i < state.range(0); ++i) {
    const double u = Uniform(1, static_cast<uint64_t>(i), 0), n = 1 + 40 * u;
    PairRates rates;
    rates.on_time = {.order_count = 60, .weight = n, .late_weight = n * u * .2, .squares = n * .6};
    rates.defect = {.reached = {{60, n, n * .6}},
                    .hit_weight = n * .05 * (1 - u),
                    .order_count = 60,
                    .window_days = 60};
    pairs.push_back(
        {{"supplier" + std::to_string(1000 + i / 250), {"V" + std::to_string(i % 250), "DE", ""}},
         rates});
  }
  const Priors pooled{Prior{.1, 4}, Prior{.03, 4}, {}};
  for (auto _ : state) benchmark::DoNotOptimize(FleetPriors(pairs, pooled));
}
BENCHMARK(BM_FitOfAFleet)
    ->Arg(100)
    ->Arg(1'000)
    ->Arg(10'000)
    ->Arg(100'000)
    ->Unit(benchmark::kMillisecond);

// A store of so many pairs, and views of it.
class Stored {
 public:
  // To be emptied before the program ends, while RocksDB can still close its files.
  static std::map<int, std::unique_ptr<Stored>>& All() {
    static std::map<int, std::unique_ptr<Stored>> all;
    return all;
  }
  static Stored& Get(int pairs = kPairs) {
    std::unique_ptr<Stored>& one = All()[pairs];
    if (!one) one.reset(new Stored(pairs));
    return *one;
  }
  ~Stored() {
    store_.reset();
    std::filesystem::remove_all(folder_);
  }
  View Look(const std::shared_ptr<Memory>& memory) const {
    return View(store_->TakeSnapshot(), catalog_, memory, {}, kNow);
  }
  // So many orders under way with the first ten pairs: paid over 20 days, promised within 15, two
  // of three shipped, one of ten disputed.
  void PutOrders(int count) {
    Batch batch;
    for (int i = 0; i < count; ++i) {
      const OrderKey order{"default", std::to_string(i)};
      const Pair pair = PairNumber(i % 10);
      Event paid;
      paid.source = "shop";
      paid.event_id = "p" + std::to_string(i);
      paid.time = kNow - (i % 20) * kMillisPerDay - 3'600'000;
      paid.supplier = pair.supplier;
      paid.origin = pair.lane.origin;
      paid.destination = pair.lane.destination;
      paid.item = "mug";
      paid.cost = Money{1375, "EUR"};
      paid.promise = paid.time + 15 * kMillisPerDay;
      std::vector<Event> events = {paid};
      const auto add = [&](EventType type, const char* id, int64_t after) {
        Event event;
        event.source = "shop";
        event.event_id = id;
        event.type = type;
        event.time = paid.time + after;
        events.push_back(event);
      };
      if (i % 3 != 0) add(EventType::kShipped, "s", 1'000);
      if (i % 10 == 0) add(EventType::kDisputed, "d", 2'000);
      batch.Put(Space::kOrders, OrderRecordKey(order), EncodeOrder(events));
      const OrderState state = Fold(order, events, {}, ExcuseBook());
      for (std::string& key : IndexKeys(order, state.parts[0])) {
        batch.Put(Space::kIndex, std::move(key), "");
      }
    }
    Check(store_->Write(batch, false));
  }
  static std::shared_ptr<Memory> Empty() { return std::make_shared<Memory>(size_t{4} << 30); }

 private:
  explicit Stored(int pairs) {
    char folder[] = "/tmp/plumblane-answers-XXXXXX";
    if (mkdtemp(folder) == nullptr) std::exit(1);
    folder_ = folder;
    auto store = OpenRocksDbStore({.path = folder_ + "/store"});
    Check(store.status());
    store_ = *std::move(store);
    auto directory = std::make_shared<PairDirectory>();
    MeasureSet total;
    for (int number = 0; number < pairs; ++number) {
      directory->Insert(PairNumber(number));
      const MeasureSet measures = MakePair(number, kDays);
      Put(PairNumber(number), measures);
      AddSeries(total[Measure::kOnTime], measures[Measure::kOnTime]);
      AddSeries(total[Measure::kDefect], measures[Measure::kDefect]);
    }
    Put(Pair{}, total);
    auto catalog = std::make_shared<Catalog>();
    catalog->pairs = std::move(directory);
    catalog_ = std::move(catalog);
  }

  void Put(const Pair& pair, const MeasureSet& measures) {
    Batch batch;
    for (const Measure measure : kStored) {
      const Series& series = measures[measure];
      for (size_t at = 0; at < series.size();) {
        const int32_t page = PageOf(series[at].day);
        Series days;
        for (; at < series.size() && PageOf(series[at].day) == page; ++at) {
          days.push_back(series[at]);
        }
        batch.Put(Space::kCells, CellPageKey({pair, measure, days.front().day}),
                  EncodePage(FirstDayOf(page), days));
      }
    }
    Check(store_->Write(batch, false));
  }

  std::string folder_;
  std::unique_ptr<Store> store_;
  std::shared_ptr<const Catalog> catalog_;
};

Subject SubjectNumber(int number) {
  const Pair pair = PairNumber(number);
  return {pair.supplier, LaneQuery{pair.lane.origin, pair.lane.destination, ""}};
}

void BM_ScoreQuestionHot(benchmark::State& state) {
  const View view = Stored::Get().Look(Stored::Empty());
  Check(view.Score(SubjectNumber(7), {}).status());  // the first question of a day is another thing
  for (auto _ : state) Check(view.Score(SubjectNumber(7), {}).status());
}
BENCHMARK(BM_ScoreQuestionHot)->Unit(benchmark::kMicrosecond);

// Each time another pair; the fleet is known.
void BM_ScoreQuestionCold(benchmark::State& state) {
  auto memory = Stored::Empty();
  View view = Stored::Get().Look(memory);
  Check(view.Score(SubjectNumber(0), {}).status());
  int number = 0;
  for (auto _ : state) {
    if (++number == kPairs) {
      state.PauseTiming();
      number = 1;
      memory = Stored::Empty();
      view = Stored::Get().Look(memory);
      Check(view.Score(SubjectNumber(0), {}).status());
      state.ResumeTiming();
    }
    Check(view.Score(SubjectNumber(number), {}).status());
  }
}
BENCHMARK(BM_ScoreQuestionCold)->Unit(benchmark::kMicrosecond);

void BM_FirstQuestionOfADay(benchmark::State& state) {
  for (auto _ : state)
    Check(Stored::Get().Look(Stored::Empty()).Score(SubjectNumber(7), {}).status());
}
BENCHMARK(BM_FirstQuestionOfADay)->Unit(benchmark::kMillisecond);

// So many pairs ship there; the first so many are told in full.
void BM_RankHot(benchmark::State& state) {
  const View view = Stored::Get(static_cast<int>(state.range(0))).Look(Stored::Empty());
  const auto limit = static_cast<size_t>(state.range(1));
  OrderToSource order;
  order.destination = "DE";
  Check(view.Source(order, {}, limit).status());
  for (auto _ : state) Check(view.Source(order, {}, limit).status());
}
BENCHMARK(BM_RankHot)
    ->ArgNames({"pairs", "told"})
    ->ArgsProduct({{100, 1'000, 5'000}, {1, 20, 100}})
    ->Unit(benchmark::kMicrosecond);

constexpr int kUnderway = 20'000;

// The first 200 of all that are under way, the curves of their pairs anew each time.
void BM_Underway(benchmark::State& state) {
  Stored& stored = Stored::Get(100);
  stored.PutOrders(kUnderway);
  const View view = stored.Look(Stored::Empty());
  for (auto _ : state) Check(view.Underway({}, {}, 200).status());
  state.SetItemsProcessed(state.iterations() * kUnderway);
}
BENCHMARK(BM_Underway)->Unit(benchmark::kMillisecond);

void BM_Claims(benchmark::State& state) {
  Stored& stored = Stored::Get(100);
  stored.PutOrders(kUnderway);
  const View view = stored.Look(Stored::Empty());
  int64_t claims = 0;
  for (auto _ : state) {
    const auto answer = view.Claims({}, {}, kUnderway);
    Check(answer.status());
    claims += static_cast<int64_t>(answer->claims.size());
  }
  state.SetItemsProcessed(claims);
}
BENCHMARK(BM_Claims)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace plumblane

int main(int argc, char** argv) {
  benchmark::Initialize(&argc, argv);
  if (benchmark::ReportUnrecognizedArguments(argc, argv)) return 1;
  benchmark::RunSpecifiedBenchmarks();
  plumblane::Stored::All().clear();
}
