#include "review/compare_times.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace plumblane {
namespace {

// One group, from the first bucket to the last.
class Group {
 public:
  explicit Group(std::span<const Leavers> leavers) : left_(leavers) {
    for (const Leavers& one : leavers) at_risk_ += one.finished + one.censored;
  }

  bool over() const { return left_.empty(); }
  uint32_t bucket() const { return left_.front().bucket; }
  auto at_risk() const { return static_cast<double>(at_risk_); }
  double Finished(uint32_t bucket) const {
    return over() || bucket < left_.front().bucket ? 0 : left_.front().finished;
  }
  void Pass(uint32_t bucket) {
    if (over() || bucket < left_.front().bucket) return;
    at_risk_ -= left_.front().finished + left_.front().censored;
    left_ = left_.subspan(1);
  }

 private:
  std::span<const Leavers> left_;
  int64_t at_risk_ = 0;
};

}  // namespace

TimesComparison CompareTimes(std::span<const Leavers> first, std::span<const Leavers> second) {
  Group one(first), two(second);
  double difference = 0, variance = 0, survival = 1;
  while (!one.over() && !two.over()) {  // with one group alone left nothing tells them apart
    const uint32_t bucket = std::min(one.bucket(), two.bucket());
    const double own = one.Finished(bucket), events = own + two.Finished(bucket);
    const double at_risk = one.at_risk() + two.at_risk(), share = one.at_risk() / at_risk;
    if (events > 0) {
      difference += survival * (own - events * share);
      if (at_risk > 1) {
        variance +=
            survival * survival * events * share * (1 - share) * (at_risk - events) / (at_risk - 1);
      }
      survival *= 1 - events / at_risk;
    }
    one.Pass(bucket);
    two.Pass(bucket);
  }
  if (variance <= 0) return {};
  // Fewer of its orders were over than expected.
  return {difference < 0, std::erfc(std::abs(difference) / std::sqrt(2 * variance))};
}

}  // namespace plumblane
