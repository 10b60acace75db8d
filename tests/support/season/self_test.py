"""Published values that naive.py's sums must meet: naive.py --self-test"""

from datetime import date

import days
import naive
from naive import AtRisk, curve, log_bucket, quantile_bucket, representative, share_by
from special import beta_quantile, incomplete_beta

failures = 0


def check(what: str, got: float, want: float, tolerance: float) -> None:
    global failures
    if abs(got - want) > tolerance:
        failures += 1
        print(f"FAILED {what}: {got!r}, not {want!r}")


# E. Freireich et al., Blood 21 (1963) 699-716: weeks in remission under 6-MP.
REMISSION_EVENTS = (6, 6, 6, 7, 10, 13, 16, 22, 23)
REMISSION_CENSORED = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)


def remission_curves() -> None:
    rows = [AtRisk(1.0, t, True) for t in REMISSION_EVENTS]
    rows += [AtRisk(1.0, t, False) for t in REMISSION_CENSORED]
    survival = (.8571428571, .8067226891, .7529411765, .6901960784, .6274509804, .5378151261,
                .4481792717)
    for (week, left), want in zip(curve(rows), survival, strict=True):
        check(f"6-MP, week {week} (Freireich 1963)", left, want, 1e-10)
    check("6-MP, median", quantile_bucket(curve(rows), 0.5), 23, 0)

    # The same with weights 2^(-i/10) in that order: R 4.2.2, survival 3.5-3, survfit(weights=).
    weighted = [AtRisk(2.0 ** (-i / 10), row.last_bucket, row.has_event)
                for i, row in enumerate(rows)]
    survival = (.7551358027, .6795063030, .6037512326, .5206639790, .4431408302, .3395266971,
                .2428512927)
    for (week, left), want in zip(curve(weighted), survival, strict=True):
        check(f"6-MP weighted, week {week} (R survfit)", left, want, 1e-10)


def failing_units() -> None:
    """NIST/SEMATECH e-Handbook 8.2.1.5: 20 units, some removed, ten left at 200 hours."""
    rows = [AtRisk(1.0, t, True) for t in (10, 32, 56, 98, 122, 181)]
    rows += [AtRisk(1.0, t, False) for t in (50, 100, 125, 150)]
    rows += [AtRisk(1.0, 200, False)] * 10
    survival = (.95, .90, .8470588235, .7941176471, .7373949580, .6703590527)
    for (hours, left), want in zip(curve(rows), survival, strict=True):
        check(f"units at {hours} h (NIST 8.2.1.5)", left, want, 1e-10)


def lost_parcels_stay_at_risk() -> None:
    """Two of ten parcels lost, 20 days ago: they stay undelivered. R survfit, lost held to 20."""
    rows = [AtRisk(1.0, t, True) for t in (3, 4, 5, 8, 10, 15)]
    rows += [AtRisk(1.0, t, False) for t in (6, 12, 20, 20)]
    check("lost parcels, by day 10", share_by(curve(rows), 10), .5333333333, 1e-10)
    check("lost parcels, by day 15", share_by(curve(rows), 15), .6888888889, 1e-10)


def beta_intervals() -> None:
    """R 4.2.2, qbeta and pbeta; the second line is the Jeffreys interval of 81 in 263."""
    for q, a, b, want in (
            (.025, 5.4, 18.6, .08539617698), (.5, 5.4, 18.6, .21727413836),
            (.975, 5.4, 18.6, .40778986620),
            (.025, 81.5, 182.5, .2545219350), (.975, 81.5, 182.5, .3656474992),
            (.05, 1234.5, 21.25, .9766883113), (.95, 1234.5, 21.25, .9885943432)):
        check(f"qbeta({q}, {a}, {b})", beta_quantile(q, a, b), want, 5.1e-11)
    check("pbeta(.1, 2.4, 14.3)", incomplete_beta(.1, 2.4, 14.3), .3506627493, 5.1e-11)
    # Beta(1, b) has a closed form: 1 - (1 - q)^(1/b).
    for b in (0.05, 3.0, 400.0):
        check(f"qbeta(.975, 1, {b})", beta_quantile(.975, 1.0, b), 1 - .025 ** (1 / b), 1e-12)


def log_buckets() -> None:
    """C. Masson, J. Rim, H. Lee, DDSketch, PVLDB 12(12) (2019): alpha = 1 %; values from R."""
    for seconds, index, middle in ((60, 205, 59.7450498101), (3600, 410, 3605.52623921),
                                   (86400, 569, 86710.3922657), (1209600, 701, 1215197.3208)):
        check(f"bucket of {seconds} s", log_bucket(seconds * 1000), index, 0)
        check(f"what stands for {seconds} s", representative(index), middle, middle * 1e-11)
    rows = [AtRisk(float(i), log_bucket(10_000 * i), True) for i in range(1, 11)]
    for q, want in ((.1, 30.2671713387), (.5, 70.1118393914), (.9, 100.494567709)):
        check(f"weighted quantile {q} of 10..100 s",
              representative(quantile_bucket(curve(rows), q)), want, 1e-9)
    check("under a minute", naive.bucket_seconds(naive.time_bucket(59_999)), 0.0, 0)
    check("nothing ends within 59 s", naive.last_whole_bucket(59_999), -1, 0)
    check("one bucket ends within 60 s", naive.last_whole_bucket(60_000), 0, 0)
    check("two buckets end within 61 s", naive.last_whole_bucket(61_000), 205, 0)


def days_abroad() -> None:
    """Written out by hand from the tz database's rules for 2026."""
    for country, day, want in (("DE", "2026-03-05", "2026-03-05T22:59:59.999Z"),
                               ("DE", "2026-03-29", "2026-03-29T21:59:59.999Z"),
                               ("IE", "2026-07-01", "2026-07-01T22:59:59.999Z"),
                               ("NZ", "2026-01-10", "2026-01-10T10:59:59.999Z"),
                               ("XX", "2026-01-10", "2026-01-10T23:59:59.999Z")):
        check(f"end of {day} in {country}",
              days.end_of_date_in(date.fromisoformat(day), country),
              days.parse_instant(want), 0)
    check("start of a day in NZ", days.start_of_date_in(date(2026, 7, 1), "NZ"),
          days.parse_instant("2026-06-30T12:00:00Z"), 0)
    check("five days from an evening in NZ",
          days.end_of_promise_days(days.parse_instant("2026-01-01T13:00:00Z"), 5, "NZ"),
          days.parse_instant("2026-01-07T10:59:59.999Z"), 0)


def run() -> int:
    for test in (remission_curves, failing_units, lost_parcels_stay_at_risk, beta_intervals,
                 log_buckets, days_abroad):
        test()
    print("self-test: " + (f"{failures} failed" if failures else "all met"))
    return 1 if failures else 0
