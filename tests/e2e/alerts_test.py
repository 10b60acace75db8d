"""Alerts through the real client and daemon: corrections are told, what users say holds, and in the
end it does not matter in which order events came, when, or how often the daemon was restarted."""
import random

from harness import main
from told import (Told, Trade, at, bell, corrected, day_text, event, is_of, paid, retracted)

DONE, FAILED, USAGE, ACTIVE, UNREACHABLE = 0, 1, 2, 4, 6

# ---- a chart by hand ---------------------------------------------------------------------------

# One order a day on one lane, one in fourteen late for 180 days: that makes the chart one of a = 1,
# D = 6, H = 19, whose path for these days is reckoned by hand below.
NORMAL_DAYS = 180
LATE = {3, 8, 10, 12, 15, 16, 18, 21}      # of thirty orders
PATH = [0, 0, 5, 4, 3, 2, 1, 6, 5, 10, 9, 14, 13, 12, 17, 22]
PATH_WITH_FIVE_LATE = [0, 0, 5, 4, 9, 8, 7, 12, 11, 16, 15, 20]
SETTINGS = "[alerts]\nfalse_alarms_per_year = 0.7\n"
LANE = {"measure": "on_time", "lane": "VN-DE"}
LAST_DAY = NORMAL_DAYS + 42                # all thirty have settled


def promised(number):
    """The promised day of the chart's order, 1 to 30."""
    return day_text(NORMAL_DAYS + number - 1 + 10)


def chart_orders(late=frozenset(LATE)):
    events = []
    for day in range(NORMAL_DAYS + 30):
        number = day - NORMAL_DAYS + 1
        is_late = number in late if number > 0 else day % 14 == 3
        events += [paid(f"o{day}", day, "lotus", "VN-DE"),
                   event(f"o{day}", "delivered", at(day + 12 if is_late else day + 9, 8.0))]
    return events


def moved(number, is_late):
    """The delivery of one order of the chart, corrected."""
    day = NORMAL_DAYS + number - 1
    was = event(f"o{day}", "delivered", at(day + 9 if is_late else day + 12, 8.0))
    return corrected(was, at(day + 12 if is_late else day + 9, 8.0))


def levels(late, count):
    path, level = [], 0
    for number in range(1, count + 1):
        level = max(0, level + (5 if number in late else -1))
        path.append(level)
    return path


def facts_of(alert):
    return (alert["changeDate"], alert["openDate"], alert["orderCount"], alert["hitCount"])


def a_correction_that_moves_an_alert_is_told_as_revised():
    assert levels(LATE, 16) == PATH and levels(LATE | {5}, 12) == PATH_WITH_FIVE_LATE
    with Told(SETTINGS) as told:
        told.ring(0)
        told.tell(chart_orders(), LAST_DAY)
        (alert,) = told.alerts(**LANE)
        assert (alert["changeDate"], alert["openDate"]) == (promised(3), promised(16)), alert
        assert alert["state"] == "STATE_ACTIVE" and not alert["revision"], alert
        seen = told.notices(1)
        (raised,) = [one for one in seen if is_of(one["alert"], **LANE)]
        assert raised["kind"] == "KIND_RAISED", raised
        assert facts_of(raised["alert"]) == (promised(3), promised(16), "14", "6"), raised

        told.tell(moved(5, True), LAST_DAY)
        (revised,) = [one for one in told.notices(seen[-1]["cursor"]) if is_of(one["alert"], **LANE)]
        assert revised["kind"] == "KIND_REVISED", revised
        assert facts_of(revised["alert"]) == (promised(3), promised(12), "10", "5"), revised
        for part in (f"raised for {promised(12)} instead of {promised(16)}",
                     "5 of 10 orders instead of 6 of 14"):
            assert part in revised["alert"]["revision"], revised["alert"]["revision"]
        (again,) = told.alerts(**LANE)
        assert again["alertId"] == alert["alertId"] == revised["alert"]["alertId"]
        assert again["openDate"] == promised(12) and again["state"] == "STATE_ACTIVE", again

        # Control: a correction of an order that has nothing to do with it tells nothing.
        cursor = told.notices(1)[-1]["cursor"]
        told.tell([paid("other", LAST_DAY, "lotus", "VN-SE")], LAST_DAY)
        assert not [one for one in told.notices(cursor) if is_of(one["alert"], **LANE)]


def an_alert_that_a_correction_takes_away_is_told_as_unfounded_and_comes_back_as_new():
    with Told(SETTINGS) as told:
        told.ring(0)
        told.tell(chart_orders(), LAST_DAY)
        (alert,) = told.alerts(**LANE)
        told.daemon.run("alerts", "acknowledge", alert["alertId"], "--note", "asked", check=DONE)
        cursor = told.notices(1)[-1]["cursor"]
        on_time = (3, 8, 10, 12)
        assert max(levels(LATE - set(on_time), 30)) < 19          # so no alert
        told.tell([one for number in on_time for one in moved(number, False)], LAST_DAY)
        now = [one for one in told.notices(cursor) if is_of(one["alert"], **LANE)]
        (taken_back,) = [one for one in now if one["kind"] != "KIND_ACKNOWLEDGED"]
        assert taken_back["kind"] == "KIND_REVISED", taken_back
        assert taken_back["alert"]["state"] == "STATE_REVISED_AWAY", taken_back
        assert "would not have been raised" in taken_back["alert"]["revision"], taken_back
        (gone,) = told.alerts(**LANE)
        assert gone["state"] == "STATE_REVISED_AWAY" and gone["note"] == "asked", gone
        assert facts_of(taken_back["alert"]) == (promised(3), promised(16), "14", "6"), taken_back
        code, _, err = told.daemon.run("alerts", "acknowledge", alert["alertId"])
        assert code == FAILED and "no longer active" in err, (code, err)

        # The dates were right after all.
        back = []
        for number in on_time:
            day = NORMAL_DAYS + number - 1
            back.append({**event(f"o{day}", "retracted", at(day + 9)), "event_id": f"{number}-back",
                         "retracts": f"o{day}-delivered-corrected"})
            back.append({**event(f"o{day}", "delivered", at(day + 12, 8.0)),
                         "event_id": f"o{day}-delivered-third"})
        told.tell(back, LAST_DAY)
        (again,) = [one for one in told.notices(now[-1]["cursor"]) if is_of(one["alert"], **LANE)]
        assert again["kind"] == "KIND_RAISED" and "told late" in again["alert"]["revision"], again
        (standing,) = told.alerts(**LANE)
        assert standing["alertId"] == alert["alertId"]
        assert standing["state"] == "STATE_ACTIVE", "who acknowledged it saw it taken back"


# ---- what users say ----------------------------------------------------------------------------

def listed(told):
    """The exit code of the list, without the bells, which are active until they are shelved."""
    for one in told.listed():
        if one["watched"].get("supplierId", "").startswith("zz-bell-") and \
                one["state"] == "STATE_ACTIVE":
            told.daemon.run("alerts", "acknowledge", one["alertId"], check=DONE)
    return told.daemon.run("alerts")[0]


def exit_code_and_state_follow_what_users_say():
    with Told(SETTINGS) as told:
        assert told.daemon.run("alerts")[0] == DONE
        told.ring(0)
        assert told.daemon.run("alerts")[0] == ACTIVE
        assert listed(told) == DONE                       # the bell is acknowledged
        told.tell(chart_orders(), LAST_DAY)
        assert listed(told) == ACTIVE
        alerts = told.alerts("on_time")                   # of the lane, and of its one supplier
        assert len(alerts) == 2 and is_of(alerts[0], **LANE) != is_of(alerts[1], **LANE), alerts
        lane, supplier = sorted(alerts, key=lambda one: not is_of(one, **LANE))
        for other in told.alerts("delivery"):              # of the same orders
            told.daemon.run("alerts", "shelve", other["alertId"], "--until", "2027-01-01",
                            check=DONE)

        acknowledge = ("alerts", "acknowledge", supplier["alertId"], "--note", "they know")
        _, out, _ = told.daemon.run(*acknowledge, check=DONE)
        assert "acknowledged" in out, out
        assert told.daemon.run("alerts")[0] == ACTIVE      # the other one
        told.ring(LAST_DAY)
        cursor = told.notices(1)[-1]["cursor"]
        told.daemon.run(*acknowledge, check=DONE)          # twice: the same answer, no notice
        told.daemon.run(*acknowledge[:-1], "they know better", check=DONE)
        told.daemon.run("alerts", "shelve", lane["alertId"], "--until", day_text(LAST_DAY + 5),
                        "--note", "strike", check=DONE)
        assert listed(told) == DONE
        (shelved,) = told.alerts(**LANE)
        assert shelved["state"] == "STATE_SHELVED", shelved
        assert shelved["shelvedUntilDate"] == day_text(LAST_DAY + 5), shelved
        told.ring(LAST_DAY + 4)
        assert listed(told) == DONE
        told.ring(LAST_DAY + 5)
        assert listed(told) == ACTIVE
        told.ring(LAST_DAY + 5)                            # shelves are told of after all else
        assert [one["kind"].removeprefix("KIND_") for one in told.notices(cursor)
                if is_of(one["alert"], "on_time")] == ["ACKNOWLEDGED", "SHELVED", "ACTIVE_AGAIN"]

        told.daemon.run("alerts", "accept", lane["alertId"], "--note", "by ship now", check=DONE)
        assert listed(told) == DONE
        (accepted,) = told.alerts(**LANE)
        assert accepted["state"] == "STATE_ACCEPTED" and accepted["note"] == "by ship now", accepted
        code, _, err = told.daemon.run("alerts", "accept", lane["alertId"])
        assert code == FAILED and "no longer active" in err, (code, err)
        told.daemon.stop()
        told.daemon.start()
        assert told.alerts(**LANE) == [accepted]


def what_is_accepted_is_what_is_normal_from_then_on():
    """Half of the orders late, before and after it is accepted."""
    def orders(first, last):
        events = []
        for day in range(first, last):
            arrived = day + 12 if day % 2 else day + 9
            events += [paid(f"o{day}", day, "lotus", "VN-DE"),
                       event(f"o{day}", "delivered", at(arrived, 8.0))]
        return events

    def normal(told):
        (one,) = [one for one in told.daemon.ask("alerts", "watches")["watches"]
                  if is_of(one, **LANE)]
        return one["normalRate"]

    with Told(SETTINGS) as accepting, Told(SETTINGS) as control:
        for told in (accepting, control):
            told.tell(chart_orders() + orders(NORMAL_DAYS + 30, NORMAL_DAYS + 60),
                      NORMAL_DAYS + 72)
            assert normal(told) < 0.1
        (alert,) = accepting.alerts(**LANE)
        accepting.daemon.run("alerts", "accept", alert["alertId"], check=DONE)
        for told in (accepting, control):
            told.tell(orders(NORMAL_DAYS + 60, NORMAL_DAYS + 120), NORMAL_DAYS + 132)
        assert normal(accepting) > 0.25, normal(accepting)
        assert normal(control) < 0.1, normal(control)
        states = [one["state"] for one in accepting.alerts(**LANE)]
        assert states == ["STATE_ACCEPTED"], states
        assert [one["state"] for one in control.alerts(**LANE)] == ["STATE_ACTIVE"]


def what_makes_no_sense_is_refused_in_clear_words():
    with Told() as told:
        told.ring(0)
        (bell_alert,) = told.listed()
        one = bell_alert["alertId"]
        today = day_text(0)
        for words, code, said in (
                (("alerts", "acknowledge", "0123456789abcdef"), FAILED, "no alert"),
                (("alerts", "shelve", "nonsense", "--until", day_text(9)), FAILED, "no alert"),
                (("alerts", "accept", "0123456789abcdef"), FAILED, "no alert"),
                (("alerts", "accept", one), FAILED, "no rate that could be normal"),
                (("alerts", "shelve", one, "--until", today), USAGE, "after today"),
                (("alerts", "shelve", one, "--until", "2026-13-01"), USAGE, "2026-13-01"),
                (("alerts", "watch", "--after", "99"), FAILED, "99 is no notice"),
                (("alerts", "watch", "--after", "-1"), USAGE, "-1")):
            found, out, err = told.daemon.run(*words)
            assert found == code and said in err, (words, found, out, err)
        assert told.listed() == [bell_alert]               # nothing has changed


def notices_can_be_resumed_after_any_of_them():
    with Told(SETTINGS) as told:
        told.ring(0)
        told.tell(chart_orders(), LAST_DAY)
        everything = told.notices(1)
        assert [int(one["cursor"]) for one in everything] == list(range(2, len(everything) + 2))
        told.daemon.kill()
        told.daemon.start()
        for after, one in enumerate(everything[:-1]):
            assert told.notices(one["cursor"]) == everything[after + 1:]


# ---- it does not matter how it came ------------------------------------------------------------

BELL_DAYS = (60, 130, 145, 170, 190, 219)
DAYS = 220
TRADE = Trade(5, DAYS)


def standing(told, corrected=False):
    """What a user sees of alerts: all but when they were told, and those taken back. After
    corrections an alert keeps the id and, unless its own facts moved, the figures of the chart by
    which it was told."""
    left_out = {"raiseTime", "updateTime"}
    if corrected:
        left_out |= {"alertId", "revision", "sharedCause", "sentence", "rateBefore",
                     "falseAlarmsAYear", "daysToHear"}
    facts = [{name: value for name, value in one.items() if name not in left_out}
             for one in told.listed() if one["state"] != "STATE_REVISED_AWAY"]
    return sorted(facts, key=str)


def undisturbed():
    """All events and all bells in one go, by their days: a look in between, on a slow machine, sees
    nothing that is to come for earlier days."""
    bells = {day: bell(number, day) for number, day in enumerate(BELL_DAYS[:-1], 1)}
    with Told() as told:
        told.send([one for day in range(DAYS) for one in TRADE.events[day] + bells.get(day, [])])
        told.bells = len(BELL_DAYS) - 1
        told.ring(BELL_DAYS[-1])
        return standing(told), standing(told, corrected=True)


def the_expected_alerts_are_there(alerts):
    seen = {(one["watched"].get("supplierId", ""), one["watched"]["measure"], one["state"])
            for one in alerts}
    for wanted in (("lotus", "on_time", "STATE_RETURNED_TO_NORMAL"),
                   ("copper", "handling", "STATE_ACTIVE")):
        assert wanted in seen, seen


def day_by_day(told, at_each_bell, rng):
    """Some days at a time, the events of each day in any order."""
    day = 0
    for bell_day in BELL_DAYS:
        while day <= bell_day:
            some = min(rng.randint(1, 9), bell_day + 1 - day)
            told.send([one for each in range(day, day + some)
                       for one in rng.sample(TRADE.events[each], len(TRADE.events[each]))])
            day += some
        told.ring(bell_day)
        at_each_bell(told)


def days_may_come_in_any_order_and_restarts_leave_no_trace():
    expected, _ = undisturbed()
    the_expected_alerts_are_there(expected)
    rng = random.Random(11)
    with Told() as told:
        day_by_day(told, lambda _: None, rng)
        assert standing(told) == expected

    ends = ["kill", "stop", "kill"]
    with Told() as told:
        def restart(told):
            getattr(told.daemon, ends[told.bells % len(ends)])()
            told.daemon.start()
        day_by_day(told, restart, rng)
        assert standing(told) == expected
        # Control: one order that arrived later than told makes a difference that is seen.
        in_time = next(one for one in TRADE.between(0, DAYS) if one["type"] == "delivered"
                       and one["order_id"].startswith("lotus-125-") and one["time"] < at(135))
        told.tell(corrected(in_time, at(DAYS - 1, 11.0)), DAYS - 1)
        without_last_bell = [one for one in standing(told)
                             if one["watched"].get("supplierId") != f"zz-bell-{told.bells}"]
        assert without_last_bell != expected


def corrections_may_come_at_any_time():
    """Each tenth delivery is first said wrongly and put right later, at another bell each run."""
    _, expected = undisturbed()
    revised = 0
    for seed in (1, 2):
        rng = random.Random(seed)
        with Told() as told:
            later, events = {day: [] for day in BELL_DAYS}, []
            for day in range(DAYS):
                for one in TRADE.events[day]:
                    if one["type"] == "delivered" and rng.random() < 0.1:
                        wrong = {**one, "event_id": one["event_id"] + "-first",
                                 "time": at(rng.randint(max(0, day - 6), day), 11.5)}
                        events += [wrong]
                        put_right = rng.choice([d for d in BELL_DAYS if d >= day])
                        later[put_right] += [
                            {**event(one["order_id"], "retracted", at(day)),
                             "event_id": wrong["event_id"] + "-taken-back",
                             "retracts": wrong["event_id"]}, one]
                    else:
                        events.append(one)
                if day in later:
                    told.send(events + later[day])
                    told.ring(day)
                    events = []
            assert standing(told, corrected=True) == expected, "seed " + str(seed)
            revised += sum(bool(one["revision"]) for one in told.listed())
    assert revised > 0, "no correction revised anything: the test shows nothing"


# ---- what is told at once, and soon ------------------------------------------------------------

def one_unsafe_item_is_told_at_once_even_before_its_promised_day():
    with Told() as told:
        told.send(TRADE.between(0, 60))
        order = event("amber-59-0", "disputed", at(59, 11.9), reason="unsafe")
        damaged = event("amber-40-0", "disputed", at(59, 11.9), reason="damaged")
        told.tell([damaged], 59)
        assert not told.alerts("unsafe"), "only unsafe items are told at once"
        told.tell([order], 59)
        (alert,) = told.alerts("unsafe", supplier="amber")
        assert alert["state"] == "STATE_ACTIVE" and alert["hitCount"] == "1", alert
        told.tell([retracted(order, order["time"])], 59)
        (alert,) = told.alerts("unsafe", supplier="amber")
        assert alert["state"] == "STATE_REVISED_AWAY", alert



def heard_after(trade, measure, supplier, since, within):
    """Days from `since` until the alert is told, watching each day; none: not within so many."""
    with Told() as told:
        told.tell(trade.between(0, since), since - 1)
        before = {one["alertId"] for one in told.alerts(measure, supplier=supplier)}
        for day in range(since, since + within + 1):
            told.tell(trade.events[day], day)
            if {one["alertId"] for one in told.alerts(measure, supplier=supplier)} - before:
                return day - since
    return None


def who_stops_shipping_is_heard_of_within_days():
    """Orders go on being paid, nothing leaves: news before any promised day has passed. And who
    stops altogether is silent."""
    usual = Trade(7, 140, stops=("", 0), worse=("", 0, 0))
    stopped = Trade(7, 140, stops=("copper", 100), worse=("", 0, 0))
    gone = Trade(7, 140, stops=("", 0), worse=("", 0, 0), gone=("copper", 100))
    days = heard_after(stopped, "handling", "copper", 100, 12)
    assert days is not None and days < 10, days            # promised are ten days
    assert heard_after(usual, "handling", "copper", 100, 12) is None
    silent = heard_after(gone, "silence", "copper", 100, 12)
    assert silent is not None and silent < 10, silent
    assert heard_after(stopped, "silence", "copper", 100, 12) is None, "orders still are paid"
    print(f"stopped shipping: heard after {days} days; silent: after {silent}")


if __name__ == "__main__":
    main([a_correction_that_moves_an_alert_is_told_as_revised,
          an_alert_that_a_correction_takes_away_is_told_as_unfounded_and_comes_back_as_new,
          exit_code_and_state_follow_what_users_say,
          what_is_accepted_is_what_is_normal_from_then_on,
          what_makes_no_sense_is_refused_in_clear_words,
          notices_can_be_resumed_after_any_of_them,
          days_may_come_in_any_order_and_restarts_leave_no_trace,
          corrections_may_come_at_any_time,
          one_unsafe_item_is_told_at_once_even_before_its_promised_day,
          who_stops_shipping_is_heard_of_within_days])
