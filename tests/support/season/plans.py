"""Who ships what in the invented season: suppliers, lanes, volumes, manners.

Everything here is made up. A `Spread` is a table of quantiles (lowest, 25 %, 50 %, 75 %,
90 %, highest); a draw between two of them is a straight line. Tables are easier to tune than
a distribution's parameters, and need no mathematics library, so every machine draws the same.
"""

from dataclasses import dataclass

Spread = tuple[float, float, float, float, float, float]

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS


@dataclass(frozen=True)
class Supplier:
    """How one supplier behaves, on whatever lane."""
    id: str
    tracking_prefix: str
    currency: str
    cost_percent: int           # of the item's list price
    handling_hours: Spread      # paid to shipped
    answer_hours: Spread        # disputed to answered
    answer_share: float         # disputes that get any answer
    refund_share: float         # answered disputes that end in money from the supplier
    defect_share: float         # delivered orders that turn out bad
    defect_reasons: tuple[str, ...]
    lost_share: float = 0.006
    out_of_stock_share: float = 0.004
    machine_answer_share: float = 0.0       # answers that come at once, by a machine
    slips_from: str | None = None           # orders paid from this day on wait longer
    slip_days: Spread = (0, 0, 0, 0, 0, 0)


@dataclass(frozen=True)
class Plan:
    """One supplier's orders on one lane with one service."""
    supplier: str
    origin: str
    destination: str
    service: str | None
    order_count: int
    promise_days: int
    transit_days: Spread
    first_day: str = "2026-01-01"
    last_day: str = "2026-09-30"

    @property
    def lane(self) -> str:
        return f"{self.origin}-{self.destination}"


SUPPLIERS = {supplier.id: supplier for supplier in (
    Supplier(
        # Good until the middle of August; from then on orders lie around before they leave.
        id="lotus-works", tracking_prefix="LW", currency="EUR", cost_percent=56,
        handling_hours=(6, 20, 29, 42, 58, 96),
        answer_hours=(5, 20, 34, 60, 96, 200), answer_share=0.85, refund_share=0.5,
        defect_share=0.022, defect_reasons=("damaged", "quality", "missing_part"),
        lost_share=0.009, slips_from="2026-08-14", slip_days=(0.5, 3, 4.6, 6.5, 8.5, 13)),
    Supplier(
        # The steady one in the middle of the price list.
        id="copper-ferry", tracking_prefix="CF", currency="EUR", cost_percent=63,
        handling_hours=(4, 15, 24, 36, 50, 90),
        answer_hours=(3, 14, 24, 40, 66, 150), answer_share=0.9, refund_share=0.55,
        defect_share=0.018, defect_reasons=("damaged", "wrong_item", "quality")),
    Supplier(
        # Quick and near; its tracking news comes on Mondays only.
        id="amber-gate", tracking_prefix="AG", currency="EUR", cost_percent=70,
        handling_hours=(3, 10, 18, 28, 40, 75),
        answer_hours=(4, 18, 30, 52, 80, 160), answer_share=0.85, refund_share=0.5,
        defect_share=0.015, defect_reasons=("damaged", "missing_part", "wrong_item")),
    Supplier(
        # The cheapest, with bad goods, and slow to answer for them.
        id="saffron-depot", tracking_prefix="SD", currency="USD", cost_percent=44,
        handling_hours=(8, 24, 38, 56, 80, 140),
        answer_hours=(20, 70, 120, 190, 280, 500), answer_share=0.65, refund_share=0.4,
        defect_share=0.10,
        defect_reasons=("quality", "quality", "damaged", "wrong_item", "missing_part"),
        lost_share=0.012),
    Supplier(
        # Far and slow, says so, keeps to it, and answers the same day, now and then by a machine.
        id="agave-trail", tracking_prefix="AT", currency="EUR", cost_percent=52,
        handling_hours=(20, 44, 60, 80, 104, 150),
        answer_hours=(0.3, 1.2, 2.4, 4, 7, 12), answer_share=0.97, refund_share=0.7,
        defect_share=0.045, defect_reasons=("damaged", "quality"), machine_answer_share=0.12),
    Supplier(
        # The home warehouse: dear, next to the customer, sometimes sold out.
        id="linden-store", tracking_prefix="LS", currency="EUR", cost_percent=82,
        handling_hours=(1, 5, 12, 20, 28, 60),
        answer_hours=(1, 5, 11, 22, 36, 80), answer_share=0.95, refund_share=0.7,
        defect_share=0.008, defect_reasons=("damaged", "wrong_item"),
        lost_share=0.003, out_of_stock_share=0.035),
    Supplier(
        # New in September: good so far, on too few orders to be sure.
        id="pomelo-yard", tracking_prefix="PY", currency="EUR", cost_percent=58,
        handling_hours=(6, 14, 22, 32, 44, 70),
        answer_hours=(4, 12, 20, 30, 48, 90), answer_share=0.9, refund_share=0.6,
        defect_share=0.02, defect_reasons=("damaged",), lost_share=0.0,
        out_of_stock_share=0.0),
)}

PLANS = (
    Plan("lotus-works", "VN", "DE", "standard", 560, 16, (6.5, 8.6, 9.8, 11.2, 12.6, 19)),
    Plan("lotus-works", "VN", "DE", "express", 260, 10, (3.6, 4.8, 5.6, 6.5, 7.6, 12)),
    Plan("lotus-works", "VN", "SE", None, 310, 17, (7, 9.4, 10.6, 12, 13.6, 20)),
    Plan("copper-ferry", "TR", "DE", None, 600, 9, (2.8, 3.8, 4.7, 5.6, 6.6, 11)),
    Plan("amber-gate", "PL", "SE", None, 420, 6, (1.2, 1.9, 2.5, 3.1, 3.8, 8)),
    Plan("amber-gate", "PL", "IE", None, 290, 7, (1.6, 2.4, 3.1, 3.9, 4.7, 9)),
    Plan("saffron-depot", "IN", "DE", None, 380, 18, (8, 10.2, 11.8, 13.6, 15.8, 24)),
    Plan("saffron-depot", "IN", "DE", "express", 110, 12, (4.5, 5.8, 6.8, 8.2, 9.8, 16)),
    Plan("saffron-depot", "IN", "NZ", None, 180, 20, (8.5, 11, 12.6, 14.2, 16.2, 26)),
    Plan("agave-trail", "MX", "IE", None, 150, 24, (11, 13.6, 15.6, 17.4, 18.8, 23)),
    Plan("agave-trail", "MX", "DE", None, 150, 23, (10, 12.8, 14.6, 16.4, 17.8, 22)),
    Plan("linden-store", "DE", "DE", None, 550, 5, (0.5, 0.9, 1.3, 1.8, 2.4, 4.5)),
    Plan("pomelo-yard", "TR", "DE", None, 20, 8, (2.8, 3.8, 4.6, 5.4, 6.2, 9),
         first_day="2026-09-01", last_day="2026-09-18"),
)

# What is sold: list price in cents.
ITEMS = (
    ("tea-towel-wren", 1290), ("mug-speckled", 1490), ("lamp-paper-moon", 3990),
    ("basket-willow-small", 2450), ("cushion-fern", 2790), ("clock-kitchen", 3450),
    ("kite-swallow", 1990), ("pencil-roll", 1650), ("stool-folding", 5900),
    ("apron-striped", 2190),
)

# Lane, first and last promised day, and the reason of the week that is forgiven.
STRIKE = ("PL-IE", "2026-08-17", "2026-08-23", "dock strike")
