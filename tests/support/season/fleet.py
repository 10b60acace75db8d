"""What a rate is before its own orders: what the fleet, its suppliers and its lanes lead to expect.

Reading order: the sums of a pair's orders, how much groups differ, the fleet, its priors.
"""

import math
from dataclasses import dataclass

LEAST_STRENGTH, MOST_STRENGTH = 1.0, 1000.0
DEGREE = 16                         # of the curve
GRID_SIZE = 129
SEARCH_WIDTH = 1e-3                 # in log strength
FLAT = 1e-9                         # heights that differ by less are the same
ROUNDS = 2


# ---- the sums of a pair's orders ---------------------------------------------------------------

@dataclass(frozen=True)
class Sums:
    """Over orders of weight w, of which those that are a hit have x = 1."""
    w1: float                       # of w
    w2: float                       # of w^2
    s: float                        # of w x

    @property
    def effective(self) -> float:
        """As many equal orders would tell as much of a steady rate."""
        return self.w1 ** 2 / self.w2 if self.w2 > 0.0 else 0.0

    @property
    def effective_hits(self) -> float:
        return self.effective * self.s / self.w1 if self.w2 > 0.0 else 0.0


# ---- how much groups differ --------------------------------------------------------------------

@dataclass(frozen=True)
class Group:
    orders: float
    hits: float
    mean: float                     # what its rate is expected to be
    spread: float = 0.0             # how uncertain that is
    weight: float = 1.0             # how much it speaks


@dataclass(frozen=True)
class Strength:
    """In orders: a group with as many of its own is believed half."""
    expected: float
    likeliest: float
    no_difference: bool


def log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def log_evidence(group: Group, strength: float) -> float:
    """How likely the group's hits are when rates vary around its mean with this strength."""
    strength = 1.0 / (1.0 / strength + group.spread)
    a, b = group.mean * strength, (1.0 - group.mean) * strength
    misses = max(0.0, group.orders - group.hits)
    return log_beta(a + group.hits, b + misses) - log_beta(a, b)


def likelihood(groups: list[Group], strength: float) -> float:
    return math.fsum(group.weight * log_evidence(group, strength) for group in groups)


class Curve:
    """The log likelihood over log strength: the polynomial through the Chebyshev points."""

    def __init__(self, groups: list[Group]):
        self.first, self.last = math.log(LEAST_STRENGTH), math.log(MOST_STRENGTH)
        self.points = [math.cos(math.pi * k / DEGREE) for k in range(DEGREE + 1)]
        self.heights = [likelihood(groups, math.exp(self.from_unit(x))) for x in self.points]

    def from_unit(self, x: float) -> float:
        return self.first + (self.last - self.first) * (1.0 + x) / 2.0

    def at(self, log_strength: float) -> float:
        """By barycentric interpolation."""
        x = 2.0 * (log_strength - self.first) / (self.last - self.first) - 1.0
        if x in self.points:
            return self.heights[self.points.index(x)]
        parts = [(-1.0) ** k * self.half(k) / (x - point) for k, point in enumerate(self.points)]
        return (math.fsum(part * height for part, height in zip(parts, self.heights))
                / math.fsum(parts))

    def half(self, k: int) -> float:
        return 0.5 if k in (0, DEGREE) else 1.0

    def term(self, j: int) -> float:
        """How much of Chebyshev's polynomial of that degree is in it."""
        return self.half(j) * 2.0 / DEGREE * math.fsum(
            self.half(k) * height * math.cos(math.pi * j * k / DEGREE)
            for k, height in enumerate(self.heights))


def fit_strength(groups: list[Group]) -> Strength:
    curve = Curve(groups)
    known: dict[float, float] = {}          # log strength -> log likelihood

    def at(x: float) -> float:
        if x not in known:
            known[x] = curve.at(x)
        return known[x]

    first, last = math.log(LEAST_STRENGTH), math.log(MOST_STRENGTH)
    grid = [first + (last - first) * i / (GRID_SIZE - 1) for i in range(GRID_SIZE)]
    best = max(range(GRID_SIZE), key=lambda i: at(grid[i]))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, GRID_SIZE - 1)]
    top = at(grid[best])
    last_terms = abs(curve.term(DEGREE - 1)) + abs(curve.term(DEGREE))
    same = max(FLAT * max(1.0, abs(top)), last_terms)
    if top - min(at(x) for x in grid) <= same:
        low = high                          # all are as likely: nothing to search
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    left, right = high - golden * (high - low), low + golden * (high - low)
    while high - low > SEARCH_WIDTH:
        if at(left) < at(right):
            low, left = left, right
            right = low + golden * (high - low)
        else:
            high, right = right, left
            left = high - golden * (high - low)
    likeliest = max(known, key=lambda x: known[x])
    no_difference = at(last) >= at(likeliest) - same
    return Strength(expected_strength(known),
                    MOST_STRENGTH if no_difference else math.exp(likeliest), no_difference)


def expected_strength(known: dict[float, float]) -> float:
    """1/E[1/(M + 1)] - 1 by the trapezoidal rule, log M being spread evenly."""
    points = sorted(known)
    top = max(known.values())
    density = [math.exp(known[x] - top) for x in points]
    variances = [d / (math.exp(x) + 1.0) for x, d in zip(points, density)]
    return trapezoid(points, density) / trapezoid(points, variances) - 1.0


def trapezoid(xs: list[float], ys: list[float]) -> float:
    return math.fsum((xs[i] - xs[i - 1]) * (ys[i] + ys[i - 1]) / 2.0 for i in range(1, len(xs)))


# ---- the fleet ---------------------------------------------------------------------------------

def logit(p: float) -> float:
    return math.log(p / (1.0 - p))


def expit(x: float) -> float:
    return 1.0 / (1.0 + math.exp(-x))


SUPPLIER, LANE = 0, 1               # the two sides of a pair's key
Key = tuple[str, str]               # (supplier, lane with service)


@dataclass(frozen=True)
class Effect:
    logit: float                    # how far off what is expected
    spread: float                   # how uncertain


class Fleet:
    """The fit of one rate over all pairs."""

    def __init__(self, sums: dict[Key, Sums]):
        self.sums = {key: sums[key] for key in sorted(sums) if sums[key].w1 * sums[key].w2 > 0.0}
        self.strengths = [Strength(MOST_STRENGTH, MOST_STRENGTH, True)] * 2
        self.pair_strength = Strength(MOST_STRENGTH, MOST_STRENGTH, True)
        self.logits: list[dict[str, float]] = [{}, {}]      # of effects, nothing left out
        for _ in range(ROUNDS):
            self.weigh()
            for side in (SUPPLIER, LANE):
                self.fit_side(side)
            self.pair_strength = fit_strength([self.pair_group(key) for key in self.sums])

    # n, y and v of one pair.
    def orders(self, key: Key) -> float:
        return self.sums[key].effective

    def hits(self, key: Key) -> float:
        return self.sums[key].effective_hits

    def voice(self, key: Key) -> float:
        return min(1.0, 2.0 * self.sums[key].w2 / self.sums[key].w1)

    def weigh(self) -> None:
        """c, how much a pair counts in a sum, and with it the rate of the fleet."""
        self.counted = {key: self.voice(key) * self.orders(key)
                        / (1.0 + self.orders(key) / self.pair_strength.expected)
                        for key in self.sums}
        heard = {key: self.voice(key) * self.orders(key) for key in self.sums}
        orders = (math.fsum(heard.values()) ** 2
                  / math.fsum(self.voice(key) * heard[key] for key in self.sums))
        rate = (math.fsum(self.counted[key] * self.rate(key) for key in self.sums)
                / math.fsum(self.counted.values()))
        self.mean = (orders * min(1.0, rate) + 0.5) / (orders + 1.0)

    def rate(self, key: Key) -> float:
        return self.hits(key) / self.orders(key)

    def names(self, side: int) -> list[str]:
        return sorted({key[side] for key in self.sums})

    def keys_of(self, side: int, name: str, without=()) -> list[Key]:
        return [key for key in self.sums if key[side] == name and key not in without]

    def expected_rate(self, key: Key, side: int) -> float:
        """What the other side of a pair leads to expect."""
        other = 1 - side
        return expit(logit(self.mean) + self.logits[other].get(key[other], 0.0))

    def fit_side(self, side: int) -> None:
        groups = []
        for name in self.names(side):
            keys = self.keys_of(side, name)
            orders, hits, expected = self.margin(keys, side)
            voice = math.fsum(self.voice(key) * self.counted[key] for key in keys) / orders
            groups.append(Group(orders / voice, hits / voice, expected, weight=voice))
        self.strengths[side] = fit_strength(groups)
        self.logits[side] = {name: self.effect(side, name).logit for name in self.names(side)}

    def margin(self, keys: list[Key], side: int) -> tuple[float, float, float]:
        """Orders, hits and expected rate of these pairs together."""
        orders = math.fsum(self.counted[key] for key in keys)
        hits = math.fsum(self.counted[key] * self.rate(key) for key in keys)
        expected = math.fsum(self.counted[key] * self.expected_rate(key, side) for key in keys)
        return orders, hits, expected / orders

    def effect(self, side: int, name: str, without=()) -> Effect:
        strength = self.strengths[side].expected
        keys = self.keys_of(side, name, without)
        if not keys:
            return Effect(0.0, 1.0 / strength)
        orders, hits, expected = self.margin(keys, side)
        shrunken = (hits + strength * expected) / (max(hits, orders) + strength)
        return Effect(logit(shrunken) - logit(expected), 1.0 / (orders + strength))

    def pair_group(self, key: Key) -> Group:
        supplier = self.effect(SUPPLIER, key[SUPPLIER], (key,))
        lane = self.effect(LANE, key[LANE], (key,))
        return Group(self.orders(key), self.hits(key),
                     expit(logit(self.mean) + supplier.logit + lane.logit),
                     supplier.spread + lane.spread, self.voice(key))

    # ---- its priors ----------------------------------------------------------------------------

    def prior_of_sum(self, keys: list[Key]) -> tuple[float, float]:
        """Mean and strength of the prior of these pairs together, all of them left out."""
        weights = {key: self.sums[key].w1 if key in self.sums else 0.0 for key in keys}
        total = math.fsum(weights.values())
        shares = {key: weights[key] / total if total > 0.0 else 1.0 / len(keys) for key in keys}
        mean = math.fsum(shares[key] * expit(logit(self.mean) + sum(
            self.effect(side, key[side], keys).logit for side in (SUPPLIER, LANE)))
            for key in keys)
        doubts = [share ** 2 / self.pair_strength.expected for share in shares.values()]
        for side in (SUPPLIER, LANE):
            for name in {key[side] for key in keys}:
                share = math.fsum(shares[key] for key in keys if key[side] == name)
                doubts.append(share ** 2 * self.effect(side, name, keys).spread)
        return mean, 1.0 / math.fsum(doubts)

    def evidence(self) -> dict:
        suppliers, lanes = self.strengths
        return {"mean": self.mean, "suppliers": vars(suppliers), "lanes": vars(lanes),
                "pairs": vars(self.pair_strength), "supplier_count": len(self.names(SUPPLIER)),
                "lane_count": len(self.names(LANE)), "pair_count": len(self.sums)}
