"""Ways of forecasting late orders that need no fitted prior, counted anew for every day."""
import math
from collections import Counter

SETTLE_DAYS = 2         # at 00:00 the cohort of the day before yesterday is the last one settled
FIRST_DAYS = 30         # learnt from, not forecast
LAST_DAYS = 30


def counts_between(orders_of_day, first, last):
    """(orders, late ones) of each pair that were due on these days."""
    total, late = Counter(), Counter()
    for day, orders in orders_of_day.items():
        if first <= day <= last:
            total.update(pair for pair, _, _ in orders)
            late.update(pair for pair, _, is_late in orders if is_late)
    return total, late


def simple_forecasts(orders, days_ahead):
    """Of orders (pair, due day, late or not): those that are forecast, and by kind of forecaster
    their mean (log loss, squared error)."""
    orders_of_day = {}
    for order in orders:
        orders_of_day.setdefault(order[1], []).append(order)
    first = min(orders_of_day)
    losses = {"KIND_LIFETIME_ALONE": [], "KIND_LAST_30_DAYS_ALONE": [], "KIND_ALL_PAIRS": []}
    forecast = []
    for day in sorted(day for day in orders_of_day if day >= first + FIRST_DAYS):
        known = day - days_ahead - SETTLE_DAYS
        total, late = counts_between(orders_of_day, first, known)
        recent, recent_late = counts_between(orders_of_day, known - LAST_DAYS + 1, known)
        mean = (late.total() + 0.5) / (total.total() + 1)
        for pair, _, is_late in orders_of_day[day]:
            forecast.append((pair, day, is_late))
            for kind, rate in (("KIND_LIFETIME_ALONE", (late[pair] + mean) / (total[pair] + 1)),
                               ("KIND_LAST_30_DAYS_ALONE",
                                (recent_late[pair] + mean) / (recent[pair] + 1)),
                               ("KIND_ALL_PAIRS", mean)):
                held = min(max(rate, 1e-4), 1 - 1e-4)
                losses[kind].append((-math.log(held if is_late else 1 - held),
                                     (rate - is_late) ** 2))
    return forecast, {kind: tuple(math.fsum(column) / len(forecast) for column in zip(*pairs))
                      for kind, pairs in losses.items()}
