// How long a Markov chain runs until it is absorbed.
//
// With Q the probabilities of moving between the states that do not absorb, the expected numbers
// of steps m solve (I - Q) m = 1. I - Q is diagonally dominant by rows, so that elimination without
// pivoting is stable and its pivots are positive. Moves reach a bounded way down and up, and the
// factors stay within that band: O(states * down * up).
//
// Source: D. Brook, D. Evans, "An approach to the probability distribution of cusum run length",
// Biometrika 59 (1972) 539-549.
//
// Not thread-safe; a plain value.
#pragma once

#include <vector>

namespace plumblane {

class Chain {
 public:
  // States 0 .. states - 1; no move goes further down or up than this. REQUIRES: states > 0,
  // down, up >= 0.
  Chain(int states, int down, int up);

  // Adds a move. One that is not added absorbs. REQUIRES: the states exist and lie within reach of
  // each other; the probabilities out of each state sum up to at most 1 once all are added.
  void Add(int from, int to, double probability);

  // Expected steps until absorption, from each state. REQUIRES: every state can reach absorption.
  std::vector<double> ExpectedSteps() const;

 private:
  double& At(std::vector<double>& band, int row, int column) const;

  int states_, down_, up_;
  std::vector<double> band_;  // I - Q, rows of down + 1 + up
};

}  // namespace plumblane
