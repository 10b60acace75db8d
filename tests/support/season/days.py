"""Instants are milliseconds since 1970; days are whole UTC days since then, or local dates."""

from datetime import date, datetime, timedelta, timezone
from functools import cache
from zoneinfo import ZoneInfo

DAY_MS = 86_400_000


def parse_instant(text: str) -> int:
    """Milliseconds since 1970 of an RFC 3339 time."""
    moment = datetime.fromisoformat(text.replace("Z", "+00:00"))
    since = moment - datetime(1970, 1, 1, tzinfo=timezone.utc)
    return since // timedelta(milliseconds=1)


def is_bare_date(text: str) -> bool:
    return len(text) == len("2026-01-01")


def day_of(instant: int) -> int:
    return instant // DAY_MS


def end_of(day: int) -> int:
    """The first instant after a UTC day."""
    return (day + 1) * DAY_MS


@cache
def zones_of(country: str | None) -> tuple[ZoneInfo, ...]:
    """The time zones of a country, UTC for a code that the table does not know."""
    zones = []
    with open("/usr/share/zoneinfo/zone.tab", encoding="ascii") as table:
        for line in table:
            columns = line.rstrip("\n").split("\t")
            if columns[0] == country:
                zones.append(ZoneInfo(columns[2]))
    return tuple(zones) or (ZoneInfo("UTC"),)


def midnight(day: date, zone: ZoneInfo) -> int:
    """When a local day begins."""
    local = datetime(day.year, day.month, day.day, tzinfo=zone)
    return parse_instant(local.astimezone(timezone.utc).isoformat())


def end_of_date(day: date, zone: ZoneInfo) -> int:
    """The last millisecond of a local day."""
    return midnight(day + timedelta(days=1), zone) - 1


def end_of_date_in(day: date, country: str | None) -> int:
    return max(end_of_date(day, zone) for zone in zones_of(country))


def start_of_date_in(day: date, country: str | None) -> int:
    """Where there are several zones, the one that is last to end its day says when it began."""
    return midnight(day, max(zones_of(country), key=lambda zone: end_of_date(day, zone)))


def end_of_promise_days(paid: int, days: int, country: str | None) -> int:
    ends = []
    for zone in zones_of(country):
        local = datetime.fromtimestamp(paid // 1000, zone).date()
        ends.append(end_of_date(local + timedelta(days=days), zone))
    return max(ends)


def date_text(day: int) -> str:
    return (date(1970, 1, 1) + timedelta(days=day)).isoformat()


def instant_text(instant: int) -> str:
    moment = datetime.fromtimestamp(instant // 1000, timezone.utc)
    return moment.isoformat().replace("+00:00", "Z")
