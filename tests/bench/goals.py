"""The goals of DEVELOPERS.md beside the figures that the benchmarks of one run told, as one table:
median, range and number of rounds, each goal and whether it is met. A figure is a line "NAME VALUE";
those of growth are named growth.ORDERS.PAIRS.WHAT."""
import collections
import statistics
import sys

PAIRS = "2000"        # of the runs that growth is told by
MANY_PAIRS = "100000"  # of the run that memory is told by

AT_LEAST, AT_MOST = "at least", "at most"
# What, the figure, which way, the goal; without a goal what others take for the same.
GOALS = (
    ("events a second, 8 streams, durable", "intake.rate", AT_LEAST, 200_000),
    ("  times RocksDB's own synced batches", "intake.of_rocksdb", AT_LEAST, 0.40),
    ("  and with its counters off, as in ours", "intake.of_uncounted", AT_LEAST, 0.40),
    ("    the least of the same libraries", "intake.least_of_rocksdb", None, None),
    ("  times PostgreSQL", "intake.of_postgres", AT_LEAST, 3),
    ("one event, fdatasyncs, median", "event.p50", AT_MOST, 1.5),
    ("  the least of the same library", "event.least.p50", None, None),
    ("one event, fdatasyncs, 99th percentile", "event.p99", AT_MOST, 2),
    ("  the least of the same library", "event.least.p99", None, None),
    ("GetScore idle, asked again, empty calls, median", "score.again.p50", AT_MOST, 1.3),
    ("  99th percentile", "score.again.p99", AT_MOST, 1.5),
    ("  counted anew, median", "score.counted.p50", None, None),
    ("GetScore beside full intake, 99th percentile, ms", "score.beside.p99_ms", AT_MOST, 5),
    ("  an empty call", "empty.beside.p99_ms", None, None),
    ("ranking 200 beside orders of today, 99th, ms", "rank.today.p99_ms.200", AT_MOST, 2),
    ("  beside orders of four days ago", "rank.older.p99_ms.200", AT_MOST, 2),
    ("  PostgreSQL's times ours, a month's orders", "rank.month.of_postgres", AT_LEAST, 10),
    ("  orders of one day", "rank.day.of_postgres", AT_LEAST, 10),
    ("    times an empty call instead, a month's orders", "rank.month.empty_of_postgres", None, None),
    ("    times an empty call instead, orders of one day", "rank.day.empty_of_postgres", None, None),
    ("  at rest", "rank.idle.of_postgres", None, None),
    ("memory with 100,000 pairs, MiB", "memory.many_pairs", AT_MOST, 1536),
    ("serving after kill -9, s, most orders stored", "growth.start_s", AT_MOST, 3),
    ("disk, times the events as protobuf", "growth.of_protobuf", AT_MOST, 2),
    ("  100,000 pairs", "disk.many_pairs", AT_MOST, 2),
    ("growth, % slower: intake, the same load", "growth.same_load", AT_MOST, 25),
    ("  last tenth of the largest beside its first", "growth.within", AT_MOST, 25),
    ("  a score at rest", "growth.score_us.rest", AT_MOST, 10),
    ("  a score right after intake", "growth.score_us.busy", AT_MOST, 10),
    ("  ranking 200 at rest", "growth.rank_us.rest", AT_MOST, 10),
    ("  ranking 200 right after intake", "growth.rank_us.busy", AT_MOST, 10),
)


def read(lines):
    """Figures by name, and the runs of growth by number of orders, smallest first."""
    figures = collections.defaultdict(list)
    growth = collections.defaultdict(lambda: collections.defaultdict(list))
    for line in lines:
        name, value = line.split()
        if not name.startswith("growth."):
            figures[name].append(float(value))
            continue
        _, orders, pairs, what = name.split(".", 3)
        if pairs == PAIRS:
            growth[int(orders)][what].append(float(value))
        elif pairs == MANY_PAIRS and what in ("memory_mib", "of_protobuf"):
            figures[{"memory_mib": "memory.many_pairs"}.get(what, "disk.many_pairs")].append(float(value))
    return figures, dict(sorted(growth.items()))


def compare(growth):
    """The largest run beside each of the smallest: per cent slower, or more time."""
    found = {}
    if not growth:
        return found
    sizes = list(growth)
    small, large = growth[sizes[0]], growth[sizes[-1]]
    found["growth.start_s"], found["growth.of_protobuf"] = large["start_s"], large["of_protobuf"]
    found["growth.within"] = [100 * (1 - ratio) for ratio in large["last_of_first"]]
    if len(sizes) > 1:
        rates = [(a, b) for a in small["same_load"] for b in large["same_load"]]
        found["growth.same_load"] = [100 * (1 - b / a) for a, b in rates]
        for what in ("score_us.rest", "score_us.busy", "rank_us.rest", "rank_us.busy"):
            found["growth." + what] = [100 * (b / a - 1) for a in small[what] for b in large[what]]
    return found


def verdict(values, way, goal):
    if goal is None:
        return ""
    is_met = (lambda value: value >= goal) if way == AT_LEAST else (lambda value: value <= goal)
    if all(map(is_met, values)):
        return "met"
    return "met by the median" if is_met(statistics.median(values)) else "missed"


def number(value):
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.2f}"


def table(lines):
    figures, growth = read(lines)
    figures.update(compare(growth))
    yield f"{'':50} {'median':>9} {'range':>19} {'rounds':>6}  goal"
    for what, name, way, goal in GOALS:
        values = figures.get(name)
        wanted = "" if goal is None else f"{way} {goal:,}"
        if not values:
            yield f"{what:50} {'not measured':>36}  {wanted}".rstrip()
            continue
        spread = f"{number(min(values))} to {number(max(values))}"
        yield (f"{what:50} {number(statistics.median(values)):>9} {spread:>19} {len(values):6}  "
               f"{wanted:18} {verdict(values, way, goal)}").rstrip()
    if growth:
        yield "growth is of " + " and ".join(f"{orders:,}" for orders in growth) + " orders"


if __name__ == "__main__":
    print("\n".join(table(sys.stdin)))
