"""The sample season through the real client and daemon gives what the naive model of
tests/support/season says, figure by figure, however the files arrive."""
import json
import os
import random

from harness import Daemon, Folder, SAMPLE, main, send_season

RELATIVE = 1e-9
ROUNDED = 1e-6   # durations: the API rounds to milliseconds
SEARCHED = 1e-3  # of a flat top the highest point is found to within so much, and rounding decides
AS_OF = "2026-10-01T00:00:00Z"


def seconds(duration):
    return None if duration is None else float(duration.rstrip("s"))


def close(ours, theirs, tolerance):
    if ours is None or theirs is None:
        return ours is None and theirs is None
    return abs(ours - theirs) <= tolerance * max(1.0, abs(theirs))


def differences(score, average, expected, fleets):
    """Every figure of one score, and of the same in average mode, that is not the expected one."""
    found = []
    is_pair = expected["name"].count("/") == 4

    def check(what, ours, theirs, tolerance=RELATIVE):
        if not close(ours, theirs, tolerance):
            found.append(f"{expected['name']} {what}: {ours}, expected {theirs}")

    def check_rate(what, ours, theirs):
        for field in ("observed", "estimate", "low", "high"):
            check(f"{what}.{field}", ours.get(field), theirs[field])
        check(f"{what}.weight", ours["weight"], theirs["weight"])
        check(f"{what}.order_count", int(ours["orderCount"]), theirs["order_count"], 0)
        check(f"{what}.hit_count", int(ours["hitCount"]), theirs["hit_count"], 0)

    for rate, field in (("on_time", "onTime"), ("defect", "defect")):
        check_rate(rate, score[field], expected[rate])
        check_rate(f"{rate} on average", average[field], expected[f"{rate}_average"])
    for rate in ("late", "defect"):
        prior = score[f"{rate}Prior"]
        check(f"{rate}_prior.mean", prior["mean"], expected[f"{rate}_prior"]["mean"])
        check(f"{rate}_prior.strength", prior["strength"], expected[f"{rate}_prior"]["strength"])
        fleet = score.get(f"{rate}Fleet")
        if is_pair:
            check(f"{rate}_fleet", fleet is None, True, 0)
        else:
            check_fleet(f"{rate}_fleet", fleet, fleets[rate], check)
    for times in ("handling", "transit", "delivery", "response"):
        check_times(times, score[times], expected[times], check)
    kinds = {one["kind"].removeprefix("REASON_").lower(): one["share"]
             for one in score["defectKinds"]}
    for kind in kinds.keys() | expected["defect_kinds"].keys():
        check(f"share of {kind}", kinds.get(kind, 0.0), expected["defect_kinds"].get(kind, 0.0))
    check("arrivals", len(score["arrivals"]), len(expected["arrivals"]), 0)
    for ours, theirs in zip(score["arrivals"], expected["arrivals"]):
        for figure, field in (("days", "days"), ("share", "share"), ("low", "low"),
                              ("high", "high"), ("late_days", "lateDays")):
            check(f"arrival by {theirs['days']}: {figure}", ours.get(field), theirs[figure])
    check("underway_count", int(score["underwayCount"]), expected["underway_count"], 0)
    check("overdue_count", int(score["overdueCount"]), expected["overdue_count"], 0)
    return found


def check_fleet(what, ours, theirs, check):
    if ours is None:
        check(what, None, theirs["mean"])
        return
    check(f"{what}.mean", ours["mean"], theirs["mean"])
    for count, field in (("supplier_count", "supplierCount"), ("lane_count", "laneCount"),
                         ("pair_count", "pairCount")):
        check(f"{what}.{count}", ours[field], theirs[count], 0)
    for side in ("suppliers", "lanes", "pairs"):
        check(f"{what}.{side}.strength", ours[side]["strength"], theirs[side]["expected"])
        check(f"{what}.{side}.likeliest", ours[side]["likeliestStrength"],
              theirs[side]["likeliest"], SEARCHED)
        check(f"{what}.{side}.undetectable", ours[side]["undetectable"],
              theirs[side]["no_difference"], 0)


def check_times(what, ours, theirs, check):
    for name in ("median", "p90"):
        for figure, field in ((name, name), (f"{name}_low", f"{name}Low"),
                              (f"{name}_high", f"{name}High")):
            check(f"{what}.{figure}", seconds(ours.get(field)), theirs[figure], ROUNDED)
        check(f"{what}.{name}_too_few", ours[f"{name}TooFew"], theirs[f"{name}_too_few"], 0)
    check(f"{what}.longest_watch", seconds(ours.get("longestWatch")), theirs["longest_watch"], 0)
    check(f"{what}.entered_count", int(ours["enteredCount"]), theirs["entered_count"], 0)
    check(f"{what}.finished_count", int(ours["finishedCount"]), theirs["finished_count"], 0)
    check(f"{what}.median_reached", ours["medianReached"], theirs["median_reached"], 0)


def ask_score(daemon, name, *flags):
    """The score of that name, from the command that shows it."""
    parts = name.split("/")
    if parts[0] == "lanes":
        return daemon.ask("lane", "/".join(parts[1:]), "--as-of", AS_OF, *flags)
    answer = daemon.ask("supplier", parts[1], "--as-of", AS_OF, *flags)
    if len(parts) == 2:
        return answer
    return next(pair for pair in answer["pairs"] if pair["name"] == name)


def expect_season(daemon):
    with open(os.path.join(SAMPLE, "expected.json")) as file:
        expected = json.load(file)
    days = [one["days"] for one in expected["scores"][0]["arrivals"]]
    within = [flag for day in days for flag in ("--within", str(day))]
    found = []
    for score in expected["scores"]:
        name = score["name"]
        found += differences(ask_score(daemon, name, *within),
                             ask_score(daemon, name, "--average"), score,
                             expected["fleets"][name.split("/")[0]])
    assert not found, f"{len(found)} figures differ, the first:\n" + "\n".join(found[:10])
    named = {score["name"] for score in expected["scores"]}
    for collection in ("suppliers", "lanes"):
        for score in daemon.ask(collection, "--as-of", AS_OF)["scores"]:
            assert score["name"] in named, f"{score['name']} is not expected"


def every_figure_of_the_season_is_the_naive_models():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            send_season(daemon)
            expect_season(daemon)
        finally:
            daemon.stop()
        daemon.dump()


def before_the_first_event_there_are_no_orders_yet():
    early = ("--as-of", "2025-01-01")
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            send_season(daemon)
            lists = [daemon.ask(command, *early)["scores"] for command in ("suppliers", "lanes")]
            candidates = daemon.ask("rank", "--to", "DE", *early)["candidates"]
            scores = [daemon.ask("supplier", "lotus-works", "--within", "10", *early),
                      daemon.ask("lane", "VN-DE", *early), *lists[0], *lists[1],
                      *(candidate["score"] for candidate in candidates)]
            assert lists[0] and lists[1] and candidates
            for score in scores:
                for rate in (score["onTime"], score["defect"]):
                    assert rate["orderCount"] == "0", score
                    assert not {"observed", "estimate", "low", "high"} & set(rate), score
                assert "median" not in score["delivery"], score
                assert all("share" not in arrival for arrival in score["arrivals"]), score
            assert all("expectedBad" not in candidate for candidate in candidates)
            for words in (("suppliers",), ("supplier", "lotus-works"), ("lanes",),
                          ("lane", "VN-DE"), ("rank", "--to", "DE")):
                screen = daemon.run(*words, *early, check=0)[1]
                assert "no orders yet" in screen, screen
                assert not any(sign in screen for sign in ("% (", "% of", "0.0")), screen
        finally:
            daemon.stop()


def a_comparison_that_must_fail():
    """Control: one order less is noticed."""
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            send_season(daemon)
            daemon.run("record", "1001", "disputed", "--shop", "harbour", "--reason", "damaged",
                       "--time", "2026-03-01T00:00:00Z", check=0)
            try:
                expect_season(daemon)
            except AssertionError:
                return
            raise RuntimeError("a changed order was not noticed")
        finally:
            daemon.stop()


def shuffled_files_sent_twice_leave_the_same_bytes():
    shuffle = random.Random(20260101)
    with Folder() as straight_folder, Folder() as other_folder:
        straight, other = Daemon(straight_folder).start(), Daemon(other_folder).start()
        try:
            send_season(straight)
            other.run("excuse", "load", os.path.join(SAMPLE, "excuses.csv"), check=0)
            for name in ("carriers.ndjson", "harbour.ndjson"):
                with open(os.path.join(SAMPLE, name)) as file:
                    lines = file.readlines()
                shuffle.shuffle(lines)
                mixed = os.path.join(other_folder, name)
                with open(mixed, "w") as file:
                    file.writelines(lines)
                other.run("send", mixed, check=0)
                other.run("send", mixed, check=0)
            send_season(other)
        finally:
            straight.stop()
            other.stop()
        assert straight.dump("--without-sends") == other.dump("--without-sends")


if __name__ == "__main__":
    main([every_figure_of_the_season_is_the_naive_models, a_comparison_that_must_fail,
          before_the_first_event_there_are_no_orders_yet,
          shuffled_files_sent_twice_leave_the_same_bytes])
