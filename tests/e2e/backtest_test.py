"""What `plumblane backtest` says of the sample season, worked out from its files: the ways of
forecasting that need no fitted prior, every order by itself."""
import math
import os
import sys
from pathlib import Path

from harness import Daemon, Folder, ROOT, SAMPLE, main, send_season
from simple_forecasts import simple_forecasts

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
import naive
from days import day_of, parse_instant

AS_OF = "2026-10-01T00:00:00Z"
DAYS_AHEAD = 10  # what the command takes when it is not told


def settled_orders():
    """(pair, promised day, late or not) of every counted order that has settled."""
    folder = Path(SAMPLE)
    reading = naive.read_orders(folder)
    naive.apply_excuses(reading.orders, naive.read_lines(folder / "excuses.csv"))
    orders = [naive.work_out(order) for order in reading.orders if order.is_known]
    news = naive.news_through(folder, reading.delivering_sources)
    moment = naive.Moment(parse_instant(AS_OF), news, 45)
    return [((order.supplier, order.lane, order.service), order.on_time.day, order.on_time.is_late)
            for order in orders if not order.is_excused and moment.counts(order.on_time)]


def simple_ways_are_what_the_files_say():
    judged, expected = simple_forecasts(settled_orders(), DAYS_AHEAD)
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            send_season(daemon)
            answer = daemon.ask("backtest", "--as-of", AS_OF)
        finally:
            daemon.stop()
    assert int(answer["orderCount"]) == len(judged)
    assert int(answer["lateCount"]) == sum(late for _, _, late in judged)
    for name, day in (("firstDueDate", min(order[1] for order in judged)),
                      ("lastDueDate", max(order[1] for order in judged))):
        assert day_of(parse_instant(answer[name] + "T00:00:00Z")) == day, name
    assert len(expected) == 3
    for kind, (log_loss, brier) in expected.items():
        [ours] = [way for way in answer["forecasters"] if way["kind"] == kind]
        assert math.isclose(ours["logLoss"], log_loss, rel_tol=1e-9), (ours, log_loss)
        assert math.isclose(ours["brier"], brier, rel_tol=1e-9), (ours, brier)
    best = [way["logLoss"] for way in answer["forecasters"]]
    assert best == sorted(best) and len(best) == 7 + 5


def too_little_history_is_said_and_no_answer():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            code, out, err = daemon.run("backtest")
        finally:
            daemon.stop()
    assert (code, out) == (1, "") and err.startswith("too little history: "), (code, out, err)


if __name__ == "__main__":
    main([simple_ways_are_what_the_files_say, too_little_history_is_said_and_no_answer])
