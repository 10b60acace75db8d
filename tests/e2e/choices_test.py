"""What people decide beside the ranking: another supplier for what one could not deliver, a choice
of their own, and costs to start from, proposed from the season's own orders."""
import json
import os
import sys
import tomllib
from pathlib import Path

from harness import SAMPLE, Folder, Daemon, ROOT, main, send_season
from sourcing_test import AGREED, Sourced, season

sys.path.insert(0, os.path.join(ROOT, "tests", "support", "season"))
import sourcing                                          # noqa: E402  (by the path above)
from agreements import minor_units                       # noqa: E402
from days import end_of                                  # noqa: E402
from entries import DEFECT_KINDS, promise_of             # noqa: E402
from rates import Moment                                 # noqa: E402

DONE, USAGE, SOME_REJECTED, NO_SUPPLIER = 0, 2, 3, 5
ITEM = ("--to", "DE", "--item", "kite-swallow", "--shop", "harbour")
FEWEST_CASES = 5


def assign(daemon, order, *flags):
    """Exit code, the one result, and what was said."""
    code, out, err = daemon.run("assign", order, *ITEM, *flags, "--json")
    return code, json.loads(out)["results"][0] if out else None, err


def facts(assignment):
    return {name: assignment[name] for name in ("orderId", "part", "supplier", "mode", "state",
                                                "reason", "insteadOf")}


# ---- again, and by oneself ---------------------------------------------------------------------

def who_could_not_deliver_is_replaced_by_another_in_a_new_part():
    with Sourced() as daemon:
        _, first, _ = assign(daemon, "9100")
        parts = [first["assignment"]]
        code, result, err = assign(daemon, "9100", "--supplier", "agave-trail", "--reason", "x")
        assert code == SOME_REJECTED and "instead of whom" in err, (code, err)
        code, result, err = assign(daemon, "9100", "--instead-of", "linden-store")
        assert code == SOME_REJECTED and parts[0]["supplier"] in err, (code, err)
        code, planned, _ = assign(daemon, "9100", "--instead-of", parts[0]["supplier"], "--dry-run")
        assert code == DONE and daemon.ask("assignments")["totalCount"] == "1"
        for number in (2, 3):
            before = parts[-1]["supplier"]
            code, result, err = assign(daemon, "9100", "--instead-of", before)
            assert code == DONE and not result["existed"], (code, err)
            parts.append(result["assignment"])
            assert parts[-1]["part"] == number and parts[-1]["insteadOf"] == before, parts[-1]
            assert parts[-1]["supplier"] != before
            able = {one["supplier"] for one in parts[-1]["candidates"] if not one["excluded"]}
            assert not able & {one["supplier"] for one in parts[:-1]}, "who could not is no candidate"
        assert planned["assignment"]["supplier"] == parts[1]["supplier"]
        listed = {one["part"]: one for one in daemon.ask("assignments")["assignments"]}
        assert {number: facts(one) for number, one in listed.items()} == \
            {one["part"]: facts(one) for one in parts}
        daemon.kill()
        daemon.start()
        again = {one["part"]: one for one in daemon.ask("assignments")["assignments"]}
        assert again == listed
        # Asked once more, in the same words: the part that was made for it stands.
        code, result, _ = assign(daemon, "9100", "--instead-of", parts[1]["supplier"])
        assert code == DONE and result["existed"] and result["assignment"]["part"] == 3, result
        code, _, err = assign(daemon, "9100", "--instead-of", parts[0]["supplier"])
        assert code == SOME_REJECTED and "part 3 went to" in err, (code, err)
        assert daemon.ask("assignments")["totalCount"] == "3"


def a_choice_of_ones_own_is_kept_apart_from_what_was_saved():
    with Sourced() as daemon:
        _, shared, _ = assign(daemon, "9200")
        before = daemon.ask("assignments")
        code, chosen, err = assign(daemon, "9201", "--supplier", "agave-trail", "--reason",
                                   "the customer asked for it")
        assert code == DONE, err
        one = chosen["assignment"]
        assert (one["supplier"], one["mode"], one["reason"]) == \
            ("agave-trail", "MODE_CHOSEN", "the customer asked for it"), one
        assert not one["trial"] and "expectedSaving" not in one, one
        costs = [(each["expectedCost"], each["supplier"]) for each in one["candidates"]
                 if not each["excluded"]]
        own = min(cost for cost, supplier in costs if supplier == "agave-trail")
        assert abs(one["dearer"] - (own - min(costs)[0])) < 1e-6, one
        after = daemon.ask("assignments")
        assert after["savings"] == before["savings"], "nothing saved by what was not asked"
        assert (after["totalCount"], after["chosenCount"]) == ("2", "1"), after
        # Control: one that is left to the daemon is counted.
        assign(daemon, "9202")
        counted = daemon.ask("assignments")["savings"]
        assert [one["assignmentCount"] for one in counted] == ["2"], counted

        for flags, code, said in (
                (("--supplier", "agave-trail"), USAGE, "--reason"),
                (("--supplier", "agave-trail", "--reason", "x" * 201), USAGE, "1 to 200"),
                (("--supplier", "nobody", "--reason", "x"), NO_SUPPLIER, "no supplier")):
            found, _, err = assign(daemon, "9203", *flags)
            assert found == code and said in err, (flags, found, err)
        # Paused is not forbidden: whoever chooses takes it on himself.
        daemon.run("pause", "agave-trail", "--reason", "strike", check=DONE)
        code, result, err = assign(daemon, "9204", "--supplier", "agave-trail", "--reason", "mine")
        assert code == DONE and result["assignment"]["supplier"] == "agave-trail", (code, err)


def an_order_paid_under_the_suppliers_code_is_one_of_the_item():
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            for words in ("items", "quotes"):
                daemon.run(words, "load", os.path.join(AGREED, f"{words}.csv"), check=DONE)
            parts = []
            for order, item in (("9300", "kite-swallow"), ("9301", "LW-KITE")):
                daemon.run("record", order, "paid", "--supplier", "lotus-works", "--item", item,
                           "--units", "2", "--lane", "VN-DE/standard", "--time",
                           "2026-09-30T12:00:00Z", check=DONE)
                parts.append(daemon.ask("order", order)["parts"][0])
                assert parts[-1]["events"][0]["event"]["item"] == item, "as it was sent"
            assert [one["item"] for one in parts] == ["kite-swallow"] * 2, parts
            assert [one["quoted"]["minorUnits"] for one in parts] == ["2228"] * 2, parts
            text = daemon.run("order", "9301", check=DONE)[1]
            assert "kite-swallow (sent as LW-KITE)" in text, text
        finally:
            daemon.stop()


# ---- proposed costs ----------------------------------------------------------------------------

def middle(amounts):
    return sorted(amounts)[len(amounts) // 2]


def kind_of(order, counted, horizon):
    """The defect, by what was said of it; lost only once that day is over."""
    said = any(event.get("reason") in DEFECT_KINDS
               for event in order.of_type("disputed", "refunded"))
    entry = counted.defect
    if entry is None or entry.ending != "outcome":
        return None
    if entry.kind == "lost" and not said and end_of(entry.day + entry.delay) > horizon:
        return None
    return entry.kind


def proposed(known):
    """By item class: sale, late_order and the kinds, from the orders one by one."""
    horizon = Moment(known.latest(), known.news, known.half_life).horizon
    replaced = {(order.shop, order.order_id, int(order.fact("replaces"))) for order in known.raw
                if order.fact("replaces")}
    seen = {}
    for order, counted in zip(known.raw, known.orders):
        sales = [minor_units(event["sale"], "EUR") for event in order.events
                 if "sale" in event and event["currency"] == "EUR"]
        if counted.paid_day is None or not sales:
            continue
        item_class = known.agreed.classes.get(order.fact("item") or "", "")
        one = seen.setdefault(item_class, {"sales": [], "late": [], "kinds": {}})
        one["sales"].append(sales[0])
        refunded = sum(minor_units(event["refund"], "EUR") for event in order.of_type("refunded")
                       if event.get("by") == "shop" and "refund" in event
                       and event["currency"] == "EUR")
        kind = kind_of(order, counted, horizon)
        delivered, promise = order.first_time("delivered"), promise_of(order)
        if kind is not None:
            again = (order.shop, order.order_id, order.part) in replaced
            one["kinds"].setdefault(kind, []).append((min(1.0, refunded / sales[0]), again))
        elif delivered is not None and promise is not None and delivered > promise:
            one["late"].append(refunded)
    return seen


def compare(text, known):
    told, found = tomllib.loads(text), []
    assert told["currency"] == "EUR" and told["trials"]["on"] is False, told
    classes = {one.get("item_class", ""): one for one in told["class"]}
    theirs = proposed(known)

    def check(what, said, counted):
        if said != counted:
            found.append(f"{what}: {said}, expected {counted}")

    check("classes", sorted(classes), sorted(theirs))
    for name, one in theirs.items():
        ours, late = classes[name], one["late"]
        check(f"{name} sale", minor_units(ours["sale"], "EUR"), middle(one["sales"]))
        if len(late) >= FEWEST_CASES:
            check(f"{name} late_order", minor_units(ours["late_order"], "EUR"),
                  int(sum(late) / len(late) + 0.5))
        for kind in DEFECT_KINDS:
            cases = one["kinds"].get(kind, [])
            refund, reship = 1.0, False
            if len(cases) >= FEWEST_CASES:
                refund = round(sum(share for share, _ in cases) / len(cases), 2)
                reship = 2 * sum(again for _, again in cases) > len(cases)
            check(f"{name} {kind} reship", ours.get(kind, {}).get("reship", False), reship)
            share = ours.get(kind, {}).get("refund", 0.0)
            if abs(share - refund) > 0.0100001:      # halves may round either way
                found.append(f"{name} {kind}: {share}, expected {refund}")
    return found


def proposed_costs_are_those_of_the_orders_and_load():
    known = season()
    with Folder() as folder:
        daemon = Daemon(folder).start()
        try:
            daemon.run("items", "load", os.path.join(AGREED, "items.csv"), check=DONE)
            send_season(daemon)
            _, text, _ = daemon.run("costs", "propose", check=DONE)
            found = compare(text, known)
            assert not found, "\n".join(found)
            path = os.path.join(folder, "proposed.toml")
            with open(path, "w") as file:
                file.write(text)
            daemon.run("costs", "load", path, check=DONE)
            _, shown, _ = daemon.run("costs", "show", check=DONE)
            assert tomllib.loads(shown) == tomllib.loads(text)
            for name in ("rates", "quotes", "terms"):
                daemon.run(name, "load", os.path.join(AGREED, f"{name}.csv"), check=DONE)
            ranked = daemon.ask("rank", *ITEM)
            assert all("cost" in one for one in ranked["candidates"]), ranked["orderReason"]
            assert ranked["order"] == "ORDER_EXPECTED_COST", ranked["order"]

            # Control: one late order refunded more, and the comparison notices.
            late = next(order for order, counted in zip(known.raw, known.orders)
                        if (delivered := order.first_time("delivered")) is not None
                        and (promise := promise_of(order)) is not None and delivered > promise
                        and counted.defect.ending is None
                        and known.agreed.classes.get(order.fact("item")) == "toys"
                        and sourcing.cost_of(order)[1] == "EUR")
            daemon.run("record", f"{late.shop}/{late.order_id}", "refunded", "--by", "shop",
                       "--refund", "9.00", "--currency", "EUR", "--time", "2026-09-29T00:00:00Z",
                       check=DONE)
            found = compare(daemon.run("costs", "propose", check=DONE)[1], known)
            assert any("toys late_order" in one for one in found), found
        finally:
            daemon.stop()


if __name__ == "__main__":
    main([who_could_not_deliver_is_replaced_by_another_in_a_new_part,
          a_choice_of_ones_own_is_kept_apart_from_what_was_saved,
          an_order_paid_under_the_suppliers_code_is_one_of_the_item,
          proposed_costs_are_those_of_the_orders_and_load])
