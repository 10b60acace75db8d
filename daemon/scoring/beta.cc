#include "scoring/beta.h"

#include <boost/math/special_functions/beta.hpp>
#include <boost/math/special_functions/digamma.hpp>
#include <boost/math/special_functions/erf.hpp>
#include <boost/math/special_functions/trigamma.hpp>
#include <cassert>
#include <cmath>

namespace plumblane {
namespace {

namespace policies = boost::math::policies;

// Doubles throughout, so that an answer does not depend on how wide a machine's long double is.
// Quantiles too small to write down are 0, not an exception.
using Policy = policies::policy<policies::promote_double<false>,
                                policies::underflow_error<policies::ignore_error>,
                                policies::evaluation_error<policies::ignore_error>>;

// Twice as fast as Boost's, and unlike std::lgamma it writes no global.
double LogGamma(double x) {
  int sign = 0;
  return lgamma_r(x, &sign);
}

// log of Gamma(x + more) / Gamma(x).
double LogRise(double x, double more) { return more > 0 ? LogGamma(x + more) - LogGamma(x) : 0; }

}  // namespace

double Beta::Cdf(double x) const {
  assert(a > 0 && b > 0);
  return boost::math::ibeta(a, b, x, Policy());
}

double Beta::Quantile(double p) const {
  assert(a > 0 && b > 0);
  return boost::math::ibeta_inv(a, b, p, Policy());
}

double Beta::UpperQuantile(double q) const {
  assert(a > 0 && b > 0);
  return boost::math::ibetac_inv(a, b, q, Policy());
}

Interval Beta::Limits(double level) const {
  const double tail = (1 - level) / 2;
  return {Quantile(tail), UpperQuantile(tail)};
}

Beta Beta::OfMoments(double mean, double variance) {
  assert(mean > 0 && mean < 1 && variance > 0);
  const double strength = mean * (1 - mean) / variance - 1;
  return {mean * strength, (1 - mean) * strength};
}

double LogEvidence(const Beta& prior, double hits, double misses) {
  assert(prior.a > 0 && prior.b > 0 && hits >= 0 && misses >= 0);
  return LogRise(prior.a, hits) + LogRise(prior.b, misses) -
         LogRise(prior.a + prior.b, hits + misses);
}

double Digamma(double x) { return boost::math::digamma(x, Policy()); }

double Trigamma(double x) { return boost::math::trigamma(x, Policy()); }

Interval WilsonLimits(double hits, double trials, double level) {
  assert(trials > 0 && hits >= 0 && hits <= trials);
  const double z = std::sqrt(2.0) * boost::math::erf_inv(level, Policy());
  const double share = hits / trials;
  const double z2 = z * z / trials;
  const double centre = (share + z2 / 2) / (1 + z2);
  const double half = z * std::sqrt(share * (1 - share) / trials + z2 / (4 * trials)) / (1 + z2);
  // At either end the limit is the end itself; the formula leaves a rounding residue.
  return {hits == 0 ? 0 : centre - half, hits == trials ? 1 : centre + half};
}

}  // namespace plumblane
