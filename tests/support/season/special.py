"""The regularised incomplete beta function and its inverse, to about 1e-12."""

import math


def incomplete_beta(x: float, a: float, b: float) -> float:
    """I_x(a, b): the probability that a Beta(a, b) share is at most x."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    # The fraction converges fast on one side of the mean only; the other side is its mirror.
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _lower_part(1.0 - x, b, a)
    return _lower_part(x, a, b)


def _lower_part(x: float, a: float, b: float) -> float:
    log_front = (a * math.log(x) + b * math.log1p(-x) - math.log(a)
                 + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b))
    return math.exp(log_front) * _continued_fraction(x, a, b)


def _continued_fraction(x: float, a: float, b: float) -> float:
    """The textbook fraction for I_x(a, b), evaluated front to back by Lentz's method."""
    tiny = 1e-300
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d or tiny)
    result = d
    for m in range(1, 10_000):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for numerator in (even, odd):
            d = 1.0 / ((1.0 + numerator * d) or tiny)
            c = (1.0 + numerator / c) or tiny
            result *= c * d
        if abs(c * d - 1.0) < 1e-16:
            return result
    raise ArithmeticError(f"no convergence at x={x}, a={a}, b={b}")


def beta_quantile(q: float, a: float, b: float) -> float:
    """The x with I_x(a, b) = q, by halving until no double lies between."""
    low, high = 0.0, 1.0
    while True:
        middle = (low + high) / 2.0
        if middle in (low, high):
            return middle
        if incomplete_beta(middle, a, b) < q:
            low = middle
        else:
            high = middle
