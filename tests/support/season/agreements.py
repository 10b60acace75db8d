"""What was agreed: quotes, terms, exchange rates, item codes, costs, and which of it holds.

All amounts are whole minor units; sums that do not come out even are rounded once, half to even.
"""

import tomllib
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from pathlib import Path

from reading import read_lines

MINOR_DIGITS = {"EUR": 2, "USD": 2, "GBP": 2, "JPY": 0, "KWD": 3}
DEFECT_COSTS = ("damaged", "quality", "wrong_item", "missing_part", "counterfeit", "unsafe", "lost")


class NotKnown(Exception):
    """In one word: "quote" or "rate"."""


# ---- reading ---------------------------------------------------------------------------------

def minor_units(text: str, currency: str) -> int:
    """No amount of the season is finer than its currency."""
    amount = Fraction(text) * 10 ** MINOR_DIGITS[currency]
    assert amount.denominator == 1, f"{text} {currency}"
    return int(amount)


def day_number(text: str) -> int:
    return (date.fromisoformat(text) - date(1970, 1, 1)).days


@dataclass(frozen=True)
class Promise:
    """Days before the parcel leaves, and on its way; of ranges the upper end."""
    processing: int
    shipping: int
    working: bool                   # Monday to Friday only


def read_promise(text: str) -> Promise:
    working = text.endswith("working")
    parts = [int(part.split("-")[-1]) for part in text.removesuffix("working").split("+")]
    return Promise(parts[0] if len(parts) == 2 else 0, parts[-1], working)


@dataclass(frozen=True)
class Quote:
    supplier: str
    item: str                       # "" = any without one of its own
    origin: str
    destination: str
    service: str                    # "" = any without one of its own
    minimum: int
    price: int
    freight: int
    duty: int
    currency: str
    promise: Promise | None
    first: int
    last: int | None

    def landed(self, units: int) -> int:
        return (self.price + self.duty) * units + self.freight


@dataclass(frozen=True)
class Terms:
    supplier: str
    limit: int | None
    month_start: int
    promise: Promise | None
    closures: tuple[tuple[int, int], ...]       # first and last day

    def is_closed(self, day: int) -> bool:
        return any(first <= day <= last for first, last in self.closures)


@dataclass
class Agreements:
    quotes: list[Quote] = field(default_factory=list)
    terms: dict[str, Terms] = field(default_factory=dict)
    rates: list[tuple[int, str, str, Fraction]] = field(default_factory=list)
    classes: dict[str, str] = field(default_factory=dict)               # of items
    codes: dict[tuple[str, str], str] = field(default_factory=dict)     # (supplier, theirs): ours
    pauses: dict[str, int | None] = field(default_factory=dict)         # until; None: for good
    costs: dict = field(default_factory=dict)                           # as in the file

    def code_at(self, supplier: str, item: str) -> str:
        return next((theirs for (who, theirs), ours in self.codes.items()
                     if (who, ours) == (supplier, item)), "")


def read_agreements(folder: Path) -> Agreements:
    agreed = Agreements()
    for line in read_lines(folder / "items.csv"):
        if "class" in line:
            agreed.classes[line["item"]] = line["class"]
        if "supplier" in line:
            agreed.codes[line["supplier"], line["supplier_item"]] = line["item"]
    agreed.quotes = [read_quote(line, agreed.codes) for line in read_lines(folder / "quotes.csv")]
    for line in read_lines(folder / "terms.csv"):
        agreed.terms[line["supplier"]] = read_terms(line)
    for line in read_lines(folder / "rates.csv"):
        agreed.rates.append((day_number(line["date"]), line["from"], line["to"],
                             Fraction(line["rate"])))
    agreed.costs = tomllib.loads((folder / "costs.toml").read_text())
    return agreed


def read_quote(line: dict, codes: dict) -> Quote:
    item = line.get("item", "")
    if "supplier_item" in line:
        item = codes[line["supplier"], line["supplier_item"]]
    lane, _, service = line["lane"].partition("/")
    origin, destination = lane.split("-")
    amounts = [minor_units(line.get(name, "0"), line["currency"])
               for name in ("price", "freight", "duty")]
    return Quote(line["supplier"], "" if item == "*" else item, origin, destination, service,
                 int(line.get("minimum_units", 1)), *amounts, line["currency"],
                 read_promise(line["promised_days"]) if "promised_days" in line else None,
                 day_number(line["valid_from"]),
                 day_number(line["valid_until"]) if "valid_until" in line else None)


def read_terms(line: dict) -> Terms:
    closures = []
    for span in line.get("closures", "").split():
        first, _, last = span.partition("..")
        closures.append((day_number(first), day_number(last or first)))
    limit = line.get("monthly_order_limit")
    return Terms(line["supplier"], None if limit is None else int(limit),
                 int(line.get("month_start_day", 1)),
                 read_promise(line["promised_days"]) if "promised_days" in line else None,
                 tuple(closures))


# ---- what holds ------------------------------------------------------------------------------

def quote_for(agreed: Agreements, supplier: str, item: str, lane: str, service: str, units: int,
              day: int) -> Quote:
    """Item and service before item before service before neither; then the most units."""
    origin, destination = lane.split("-")
    fits = [quote for quote in agreed.quotes
            if quote.supplier == supplier and quote.item in (item, "")
            and (quote.origin, quote.destination) == (origin, destination)
            and quote.service in (service, "") and quote.minimum <= units
            and quote.first <= day and (quote.last is None or day <= quote.last)]
    if not fits:
        raise NotKnown("quote")
    return max(fits, key=lambda quote: (quote.item == item, quote.service == service,
                                        quote.minimum))


def converted(agreed: Agreements, amount: int, given: str, wanted: str, day: int) -> int:
    """At the latest rate of the day or before, given either way round."""
    if given == wanted:
        return amount
    known = []
    for since, one, other, rate in agreed.rates:
        if since <= day and (one, other) == (given, wanted):
            known.append((since, 1, rate))
        if since <= day and (one, other) == (wanted, given):
            known.append((since, 0, 1 / rate))
    if not known:
        raise NotKnown("rate")
    rate = max(known)[2]
    digits = MINOR_DIGITS[wanted] - MINOR_DIGITS[given]
    return round(amount * rate * Fraction(10) ** digits)        # a Fraction rounds half to even


def cost_class(agreed: Agreements, shop: str, item: str) -> dict:
    item_class = agreed.classes.get(item, "")
    for wanted in ((shop, item_class), (shop, ""), ("", item_class), ("", "")):
        for one in agreed.costs["class"]:
            if (one.get("shop", ""), one.get("item_class", "")) == wanted:
                return one
    raise NotKnown("costs")


def is_paused(agreed: Agreements, supplier: str, day: int) -> bool:
    if supplier not in agreed.pauses:
        return False
    until = agreed.pauses[supplier]
    return until is None or day < until


def first_open_day(terms: Terms | None, day: int) -> int:
    while terms is not None and terms.is_closed(day):
        day += 1
    return day


def is_weekend(day: int) -> bool:
    return (day + 3) % 7 >= 5           # 1970-01-01 was a Thursday


def promised_day(promise: Promise, day: int, terms: Terms | None) -> int:
    """Of an order paid on that day."""
    day = first_open_day(terms, day)
    for left, stops_when_closed in ((promise.processing, True), (promise.shipping, False)):
        while left > 0:
            day += 1
            closed = stops_when_closed and terms is not None and terms.is_closed(day)
            if not closed and not (promise.working and is_weekend(day)):
                left -= 1
    return day


def month_of(day: int, start: int) -> tuple[int, int]:
    """First day of the month that contains it, and of the next."""
    first = day
    while (date.fromordinal(date(1970, 1, 1).toordinal() + first)).day != start:
        first -= 1
    following = day + 1
    while (date.fromordinal(date(1970, 1, 1).toordinal() + following)).day != start:
        following += 1
    return first, following
