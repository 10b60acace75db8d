"""Published values that naive.py's sums must meet: naive.py --self-test"""

import math
from datetime import date
from fractions import Fraction

import days
import fleet
import naive
from agreements import (Agreements, Terms, converted, day_number, month_of, promised_day,
                        read_promise)
from curves import (AtRisk, Step, area_between, bucket_days, bucket_end_ms, bucket_seconds, curve,
                    last_whole_bucket, log_bucket, quantile_limits, quantile_step,
                    representative, share_by, shares_by_kind, step_by, time_bucket)
from entries import Entry
from fleet import LANE, SUPPLIER, Fleet, Group, Strength, Sums, expit, fit_strength
from outlooks import Outlook, days_of
from rates import Moment, Prior, Ripeness, average, current, pooled
from special import beta_quantile, incomplete_beta

failures = 0


def check(what: str, got: float, want: float, tolerance: float) -> None:
    global failures
    if abs(got - want) > tolerance:
        failures += 1
        print(f"FAILED {what}: {got!r}, not {want!r}")


def check_limits(what: str, got: tuple, want: tuple) -> None:
    check(f"{what}, limits {got} as {want}", got == want, True, 0)


# E. Freireich et al., Blood 21 (1963) 699-716: weeks in remission under 6-MP.
REMISSION_EVENTS = (6, 6, 6, 7, 10, 13, 16, 22, 23)
REMISSION_CENSORED = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)


def remission_curves() -> None:
    rows = [AtRisk(1.0, t, True) for t in REMISSION_EVENTS]
    rows += [AtRisk(1.0, t, False) for t in REMISSION_CENSORED]
    survival = (.8571428571, .8067226891, .7529411765, .6901960784, .6274509804, .5378151261,
                .4481792717)
    steps = curve(rows)
    for step, want in zip(steps, survival, strict=True):
        check(f"6-MP, week {step.bucket} (Freireich 1963)", step.left, want, 1e-10)
    # For equal weights the jackknife is Greenwood's error; limits by conf.type = "log-log".
    errors = (.07636035483, .08693528518, .09634965299, .10681470778, .11405386526,
              .12823375169, .13459145676)
    for step, want in zip(steps, errors, strict=True):
        check(f"6-MP, error in week {step.bucket} (R survfit)", step.left * step.spread, want,
              1e-10)
    for week, low, high in ((6, .6197179553, .9515517476), (10, .5031995108, .8893618352),
                            (23, .1880520060, .6801426285)):
        for got, want in zip(step_by(steps, week).limits(), (low, high)):
            check(f"6-MP, limits in week {week} (R survfit)", got, want, 1e-9)
    check("6-MP, quartile (R survfit)", quantile_step(steps, 0.25).bucket, 13, 0)
    check_limits("6-MP, quartile (R survfit)", quantile_limits(steps, 0.25), (6, 22))
    check("6-MP, median (R survfit)", quantile_step(steps, 0.5).bucket, 23, 0)
    check_limits("6-MP, median (R survfit)", quantile_limits(steps, 0.5), (13, None))
    check("6-MP, mean weeks from 10 to 35 (R survfit)", area_between(steps, 10, 35, float),
          14.01008403, 1e-8)

    # The same with weights 2^(-i/10) in that order: R 4.2.2, survival 3.5-3, survfit(weights=).
    weighted = [AtRisk(2.0 ** (-i / 10), row.last_bucket, row.has_event)
                for i, row in enumerate(rows)]
    survival = (.7551358027, .6795063030, .6037512326, .5206639790, .4431408302, .3395266971,
                .2428512927)
    errors = (.1164989293, .1231110872, .1261365284, .1277987780, .1238902922, .1214634296,
              .1046296318)
    steps = curve(weighted)
    for step, want, error in zip(steps, survival, errors, strict=True):
        check(f"6-MP weighted, week {step.bucket} (R survfit)", step.left, want, 1e-10)
        check(f"6-MP weighted, error in week {step.bucket} (R survfit, robust)",
              step.left * step.spread, error, 1e-10)
    for got, want in zip(step_by(steps, 10).share(), (5.958159582, 9.078252067)):
        check("6-MP weighted, week 10 as a Beta (R)", got, want, 1e-8)


def failing_units() -> None:
    """NIST/SEMATECH e-Handbook 8.2.1.5: 20 units, some removed, ten left at 200 hours."""
    rows = [AtRisk(1.0, t, True) for t in (10, 32, 56, 98, 122, 181)]
    rows += [AtRisk(1.0, t, False) for t in (50, 100, 125, 150)]
    rows += [AtRisk(1.0, 200, False)] * 10
    survival = (.95, .90, .8470588235, .7941176471, .7373949580, .6703590527)
    for step, want in zip(curve(rows), survival, strict=True):
        check(f"units at {step.bucket} h (NIST 8.2.1.5)", step.left, want, 1e-10)


def lost_parcels_stay_at_risk() -> None:
    """Two of ten parcels lost, 20 days ago: they stay undelivered. R survfit, lost held to 20."""
    rows = [AtRisk(1.0, t, True) for t in (3, 4, 5, 8, 10, 15)]
    rows += [AtRisk(1.0, t, False) for t in (6, 12, 20, 20)]
    check("lost parcels, by day 10", share_by(curve(rows), 10), .5333333333, 1e-10)
    check("lost parcels, by day 15", share_by(curve(rows), 15), .6888888889, 1e-10)


def kinds_of_events() -> None:
    """The same parcels where being lost is an event of its own: R survfit with a factor."""
    rows = [AtRisk(1.0, t, True, "delivered") for t in (3, 4, 5, 8, 10, 15)]
    rows += [AtRisk(1.0, t, True, "lost") for t in (5, 9)]
    rows += [AtRisk(1.0, t, False) for t in (6, 12)]
    check("delivered, others lost", shares_by_kind(rows, 15)["delivered"], .78, 1e-10)
    # By hand: 1 of 10 damaged on day 0; three are gone by day 3; 1 of 6 left is lost on day 5.
    rows = [AtRisk(2.0, 0, True, "damaged"), AtRisk(2.0, 5, True, "lost")]
    rows += [AtRisk(2.0, 3, False)] * 3 + [AtRisk(2.0, 60, False)] * 5
    shares = shares_by_kind(rows, 60)
    check("damaged", shares["damaged"], .1, 1e-15)
    check("lost", shares["lost"], .9 / 6, 1e-15)
    check("both", share_by(curve(rows), 60), .25, 1e-15)
    check("kinds by day 4", len(shares_by_kind(rows, 4)), 1, 0)


def too_few_to_tell() -> None:
    for orders in (4, 5, 6):
        # The first of them to finish, all being at risk; a third of an order's weight each.
        rows = [AtRisk(.3, i, True) for i in range(orders)]
        answer = naive.quantile(curve(rows), "p", .1 / orders)
        check(f"too few of {orders}", answer["p_too_few"], orders < 5, 0)
        check(f"left out of {orders}", answer["p"] is None, orders < 5, 0)
    # Ten orders in a row: five at risk when the sixth finishes, four when the seventh does.
    rows = [AtRisk(1.0, 300 + i, True) for i in range(10)]
    check("the sixth of ten", naive.quantile(curve(rows), "p", .6)["p_too_few"], False, 0)
    check("the seventh of ten", naive.quantile(curve(rows), "p", .7)["p_too_few"], True, 0)


def arrivals_by_hand() -> None:
    """Half arrive within an hour, half not within 30 days: n equal orders tell as n do."""
    moment = Moment(40 * days.DAY_MS, 40 * days.DAY_MS, 45.0)
    for n, has_limits in ((4, False), (6, True)):
        entries = [Entry(8, "outcome", 3_600_000)] * (n // 2) + [Entry(8, None)] * (n // 2)
        answer = naive.arrival(entries, moment, 10)
        check(f"half of {n}", answer["share"], .5, 1e-15)
        check(f"limits of {n}", answer["low"] is not None, has_limits, 0)
        check(f"late days of {n}: half of 110", answer["late_days"], 55.0, 1e-12)
        check(f"{n} were followed for 30 days", naive.arrival(entries, moment, 30)["share"], .5,
              1e-15)
        check(f"{n}, but no longer", naive.arrival(entries, moment, 31)["share"] is None, True, 0)
        # An hour lies in the bucket that ends after (101/99)^410 s.
        check(f"an hour of {n}", naive.followed_ms(entries[0], moment), 3_641_945, 0)
    # All there: nobody need be followed, and there is no doubt that a Beta could tell.
    answer = naive.arrival([Entry(8, "outcome", 3_600_000)] * 9, moment, 90)
    check("all there", answer["share"], 1.0, 0)
    check("no limits", answer["low"] is None, True, 0)


def posteriors_by_hand() -> None:
    check("the pool: (2 + 1/2) in (9 + 1)", pooled(Sums(9.0, 9.0, 2.0)).mean, .25, 1e-15)
    # Four orders that count a quarter each, one of them late: W1 = 1, and 4 to measure by.
    sums, prior = Sums(1.0, .25, .25), Prior(.5, 4.0)
    check("what is it now: 2.25 in 5", current(prior, sums)["estimate"], .45, 1e-15)
    check("what was it: 3 in 8", average(prior, sums)["estimate"], .375, 1e-15)
    check("orders behind what was", average(prior, sums)["weight"], 4.0, 1e-15)
    # Beta(1, 3) with no hit in 2: Beta(1, 5), of which 1 - (1 - q)^(1/5).
    check("limit", current(Prior(.25, 4.0), Sums(2.0, 2.0, 0.0))["high"], 1 - .025 ** .2, 1e-12)
    half = Ripeness([.05] * 30 + [.1] * 31)
    check("ripe by half", half(10), .5, 0)
    check("ripe", half(100), 1.0, 0)
    check("no defect yet: days over", Ripeness([0.0] * 61)(30), 31 / 61, 1e-15)


# R. Tarone, Biometrics 38 (1982) 215-220: tumours in 71 groups of rats.
RATS_Y = [0] * 14 + [1] * 8 + [2] * 9 + [
    1, 5, 2, 5, 3, 2, 7, 7, 3, 3, 2, 9, 10, 4, 4, 4, 4, 4, 4, 4, 10, 4, 4, 4, 5, 11, 12, 5, 5, 6,
    5, 6, 6, 6, 6, 16, 15, 15, 9, 4]
RATS_N = [
    20, 20, 20, 20, 20, 20, 20, 19, 19, 19, 19, 18, 18, 17, 20, 20, 20, 20, 19, 19, 18, 18, 25, 24,
    23, 20, 20, 20, 20, 20, 20, 10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50, 20, 20, 20, 20,
    20, 20, 20, 48, 19, 19, 19, 22, 46, 49, 20, 20, 23, 19, 22, 20, 20, 20, 52, 47, 46, 24, 14]


def how_much_groups_differ() -> None:
    """Of the rats: mean and strength by Newton's method in R 4.2.2."""
    mean, strength = .142291858622, 16.4564187018
    rats = [Group(n, y, mean) for y, n in zip(RATS_Y, RATS_N, strict=True)]
    fit = fit_strength(rats)
    check("rats, likeliest strength (R)", fit.likeliest, strength, strength * 1e-3)
    check("rats differ", fit.no_difference, False, 0)
    # The expectation once more, by 4,000 even steps: the 15 and the search are near enough.
    xs = [math.log(1000) * i / 4000 for i in range(4001)]
    fine = fleet.expected_strength({x: fleet.likelihood(rats, math.exp(x)) for x in xs[::10]})
    check("rats, expected strength", fit.expected, fine, fine * .02)
    # Under a third as many orders they no longer differ (R: the likelihood rises for ever).
    few = [Group(n * .37, y * .37, .1535) for y, n in zip(RATS_Y, RATS_N)]
    check("a third of the rats", fit_strength(few).likeliest, 1000.0, 0)
    check("no difference", fit_strength(few).no_difference, True, 0)

    # By hand: B(1 + 1, 1 + 1)/B(1, 1) = 1/6; and strengths 2 and 2 in a row make 1.
    check("one in two", math.exp(fleet.log_evidence(Group(2, 1, .5), 2.0)), 1 / 6, 1e-14)
    check("an unsure mean", fleet.log_evidence(Group(3, 1, .5, .5), 2.0),
          fleet.log_evidence(Group(3, 1, .5), 1.0), 1e-14)
    check("more hits than orders", math.exp(fleet.log_evidence(Group(1, 2, .5), 2.0)), 1 / 3,
          1e-14)
    # Weights halve the height of a likelihood, two halves make a whole.
    halves = [Group(n, y, mean, weight=.5) for y, n in zip(RATS_Y, RATS_N) for _ in range(2)]
    check("two halves", fit_strength(halves).expected, fit.expected, 1e-9)
    # Nothing known: 1/E[1/(M + 1)] - 1 = 8.98 over 1 .. 1000, by the integral.
    by_hand = math.log(1000) / math.log(2 * 1000 / 1001) - 1
    check("nothing known", fit_strength([]).expected, by_hand, by_hand * .01)


def what_the_fleet_leads_to_expect() -> None:
    """Worked out on paper: a on x (2 of 10 hit) and on y (4 of 10), b on x (0 of 10)."""
    sums = {("a", "x"): Sums(10.0, 10.0, 2.0), ("a", "y"): Sums(10.0, 10.0, 4.0),
            ("b", "x"): Sums(10.0, 10.0, 0.0)}
    known = Fleet(sums)
    check("rate of the fleet: (6 + 1/2) in (30 + 1)", known.mean, 6.5 / 31, 1e-15)
    known.strengths = [Strength(10.0, 10.0, False), Strength(30.0, 30.0, False)]
    known.pair_strength = Strength(10.0, 10.0, False)
    known.logits = [{}, {}]
    known.weigh()
    check("ten orders count as 10/(1 + 10/10)", known.counted[("a", "x")], 5.0, 1e-15)

    # Without itself: of a, 2 in 5 are left and 10 expected orders; of x, none in 5 and 30.
    m = known.mean
    of_a, of_x = (2 + 10 * m) / 15, 30 * m / 35
    odds = of_a / (1 - of_a) * of_x / (1 - of_x) / (m / (1 - m))
    mean, strength = known.prior_of_sum([("a", "x")])
    check("mean of a on x", mean, odds / (1 + odds), 1e-15)
    check("strength of a on x", strength, 1 / (1 / 10 + 1 / 15 + 1 / 35), 1e-12)
    # All of a: nothing is left of a or of y; b vouches for x.
    mean, strength = known.prior_of_sum([("a", "x"), ("a", "y")])
    check("mean of a", mean, (of_x + m) / 2, 1e-15)
    check("strength of a", strength, 1 / (1 / 10 + .25 / 35 + .25 / 30 + .5 / 10), 1e-12)
    mean, strength = known.prior_of_sum([("c", "z")])
    check("mean of the unknown", mean, m, 1e-15)
    check("strength of the unknown", strength, 1 / (1 / 10 + 1 / 10 + 1 / 30), 1e-12)
    # One supplier has no say in what its lane's effect is for another pair of its own.
    known.logits[LANE] = {"x": 1.0, "y": -1.0}
    check("what lanes lead a to expect", known.margin([("a", "x"), ("a", "y")], SUPPLIER)[2],
          (expit(fleet.logit(m) + 1) + expit(fleet.logit(m) - 1)) / 2, 1e-15)

    # Orders long gone: eight that weigh 1/16 each are eight, but speak for an eighth of one.
    old = Fleet({("a", "x"): Sums(.5, .5 / 16, .125)})
    check("old orders", old.orders(("a", "x")), 8.0, 1e-15)
    check("old hits", old.hits(("a", "x")), 2.0, 1e-15)
    check("their voice", old.voice(("a", "x")), .125, 1e-15)
    check("rate of one pair: 2 1/2 in 9", old.mean, 2.5 / 9, 1e-15)
    check("its prior is the fleet's", old.prior_of_sum([("a", "x")])[0], 2.5 / 9, 1e-15)
    none = Fleet({("a", "x"): Sums(9.0, 9.0, 0.0), ("b", "y"): Sums(0.0, 0.0, 0.0)})
    check("no hit: 1/2 in 10", none.mean, .05, 1e-15)
    check("pairs that weigh anything", none.evidence()["pair_count"], 1, 0)


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
              representative(quantile_step(curve(rows), q).bucket), want, 1e-9)
    check("a bucket's end holds", log_bucket(bucket_end_ms(569)), 569, 0)
    check("a bucket's end is the last", log_bucket(bucket_end_ms(569) + 1), 570, 0)
    check("under a minute", bucket_seconds(time_bucket(59_999)), 0.0, 0)
    check("nothing ends within 59 s", last_whole_bucket(59_999), -1, 0)
    check("one bucket ends within 60 s", last_whole_bucket(60_000), 0, 0)
    check("two buckets end within 61 s", last_whole_bucket(61_000), 205, 0)


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


def agreements_by_hand() -> None:
    """Rounding half to even, working days, closures, months."""
    agreed = Agreements(rates=[(0, "USD", "EUR", Fraction("0.5")),
                               (9, "USD", "EUR", Fraction("0.25"))])
    for amount, day, want in ((5, 0, 2), (7, 0, 4), (15, 8, 8), (10, 9, 2), (14, 9, 4)):
        check(f"{amount} cents on day {day}", converted(agreed, amount, "USD", "EUR", day), want, 0)
    check("the other way round", converted(agreed, 3, "EUR", "USD", 0), 6, 0)
    friday = day_number("2026-10-02")
    closed = Terms("", None, 1, None, ((friday, friday + 1), (friday + 4, friday + 4)))
    for text, terms, want in (("3", None, 3), ("1-3 working", None, 5), ("1-2+5-8", None, 10),
                              ("2+3 working", None, 7), ("3", closed, 5), ("2+1", closed, 6),
                              ("2+1", None, 3)):
        check(f"promised {text}", promised_day(read_promise(text), friday, terms) - friday, want, 0)
    for start, first, following in ((1, "2026-10-01", "2026-11-01"),
                                    (15, "2026-09-15", "2026-10-15")):
        check_limits(f"month of the {start}.", month_of(friday, start),
                     (day_number(first), day_number(following)))


def days_by_hand() -> None:
    """Half of the orders come after three days, and a tenth of all is known to be lost."""
    bucket = time_bucket(3 * days.DAY_MS)
    one = Outlook(8.0, [Step(bucket, 0.5, 0.1, 8.0)], 0.0, {}, 0.0, 0.0, 0.0, 0.0)
    came, last = bucket_days(bucket), 2 + 30
    on_the_way = came + 0.5 * (last + 0.5 - came)
    told = days_of(one, [one], 2, 0.1)
    check("days waiting", told.waiting, on_the_way - 0.1 * (last + 0.5), 1e-12)
    check("days late", told.late, on_the_way - 2.5 - 0.1 * 30, 1e-12)
    other = Outlook(2.0, [Step(bucket, 0.0, 0.0, 2.0)], 0.0, {}, 0.0, 0.0, 0.0, 0.0)
    lane = (8.0 * on_the_way + 2.0 * came) / 10.0
    told = days_of(other, [one, other], 2, 1.0)
    check("days waiting, leaning on the lane", told.waiting,
          (2.0 * came + 4.0 * (lane - 0.4 * (last + 0.5))) / 6.0, 1e-12)


def run() -> int:
    for test in (remission_curves, failing_units, lost_parcels_stay_at_risk, kinds_of_events,
                 too_few_to_tell, arrivals_by_hand, posteriors_by_hand, how_much_groups_differ,
                 what_the_fleet_leads_to_expect, beta_intervals, log_buckets, days_abroad,
                 agreements_by_hand, days_by_hand):
        test()
    print("self-test: " + (f"{failures} failed" if failures else "all met"))
    return 1 if failures else 0
