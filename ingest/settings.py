"""The studio's own settings, kept in the database."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from zoneinfo import available_timezones

import duckdb

from ingest.errors import BenchHoursError, NotationError
from ingest.history import Change, keep_earlier
from ingest.notation import DAY_ORDERS, DayOrder, currency, decimal, price, suggestion, yes_or_no


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the studio has said of itself.

    Attributes
    ----------
    studio : name as it stands on letters; empty until said.
    zone : IANA time zone of the studio's clock.
    day_order : order of day, month and year in dates written in numbers; `unset` refuses them.
    currency : ISO 4217 code.
    bench_hours_per_week : hours at the bench in an ordinary week of one person.
    hourly_rate : amount per hour in the currency; None until said.
    demo : the database holds the invented studio and may be made anew.
    """

    studio: str = ""
    zone: str = "UTC"
    day_order: DayOrder = "unset"
    currency: str = "EUR"
    bench_hours_per_week: float = 25.0
    hourly_rate: float | None = None
    demo: bool = False

    @classmethod
    def from_texts(cls, said: Mapping[str, str]) -> Settings:
        """Settings from text by name; raises on an unknown name and on values that cannot be, all of them in one."""
        known = {field.name for field in fields(cls)}
        values: dict[str, object] = {}
        faults: list[BenchHoursError] = []
        for name, text in said.items():
            if name not in known:
                raise BenchHoursError(f'"{name}" is not a setting', suggestion(name, known, f"Known are {', '.join(sorted(known))}."))
            try:
                values[name] = _value(name, text)
            except BenchHoursError as error:
                faults.append(error)
        if faults:
            raise faults[0] if len(faults) == 1 else BenchHoursError(" ".join(map(str, faults)).removesuffix("."))
        return cls(**values)  # type: ignore[arg-type]


_NUMBERS: dict[str, tuple[str, Callable[[str], float], int]] = {
    "bench_hours_per_week": ("hours at the bench a week", decimal, 168),
    "hourly_rate": ("rate per hour", price, 100_000),
}


def _value(name: str, text: str) -> object:
    if name == "zone":
        if text not in available_timezones():
            raise BenchHoursError(f'"{text}" is not a time zone', suggestion(text, available_timezones(), "Write it like Europe/Berlin."))
        return text
    if name == "day_order":
        if text not in DAY_ORDERS:
            raise BenchHoursError(f'"{text}" is not an order of day, month and year', "Say dmy, mdy or ymd.")
        return text
    if name == "currency":
        try:
            return currency(text)
        except NotationError as error:
            raise BenchHoursError(f'"{text}" {error.what}', error.mend) from error
    if name in ("bench_hours_per_week", "hourly_rate"):
        what, read, most = _NUMBERS[name]
        try:
            value = read(text)
        except NotationError as error:
            raise BenchHoursError(f'{what} "{text}" {error.what}', error.mend) from error
        if not 0 < value <= most:
            raise BenchHoursError(f"{what} cannot be {text}", f"Write a number above 0, at most {most:,}.")
        return value
    if name == "demo":
        return yes_or_no(text)
    return text


def zone_of_this_machine() -> str:
    """The IANA name of the machine's own zone, or UTC where it cannot be told."""
    candidates = [os.environ.get("TZ", "").removeprefix(":")]
    clock = Path("/etc/localtime")
    if clock.is_symlink():
        candidates.append(str(clock.resolve()).partition("zoneinfo/")[2])
    named = Path("/etc/timezone")
    if named.is_file():
        candidates.append(named.read_text(encoding="utf-8").strip())
    return next((name for name in candidates if name and name in available_timezones()), "UTC")


def read_settings(con: duckdb.DuckDBPyConnection) -> Settings:
    """The settings as stored, defaults where nothing was said."""
    return Settings.from_texts(dict(con.execute("SELECT setting, value FROM settings").fetchall()))


def write_settings(con: duckdb.DuckDBPyConnection, said: Mapping[str, str], change: Change | None = None) -> Settings:
    """Store some settings inside the caller's transaction and return them all; an empty text takes a setting back to what it is unsaid.

    `change` keeps what was said before in the history.
    """
    known = {name: str(value) for name, value in asdict(read_settings(con)).items() if value is not None}
    settings = Settings.from_texts({name: text for name, text in {**known, **said}.items() if text.strip()})
    if settings.zone != known["zone"]:
        clocked = con.execute("SELECT count(*) FROM spells WHERE started_at IS NOT NULL").fetchall()[0][0]
        if clocked:
            raise BenchHoursError(
                f"the studio's clock cannot move from {known['zone']} to {settings.zone}: entries with clock times rest on it ({clocked:,})",
                "Leave it; or begin a new database in the right zone and bring the files in there.",
            )
    if change:
        changed = [name for name, text in said.items() if text != known.get(name, "")]
        query = "SELECT setting AS key, to_json(s) AS earlier, NULL AS content FROM settings AS s WHERE list_contains(?::VARCHAR[], setting)"
        keep_earlier(con, "settings", change, query, [changed])
    for name, text in said.items():
        if text.strip():
            con.execute("INSERT OR REPLACE INTO settings VALUES (?, ?)", [name, text.strip().upper() if name == "currency" else text.strip()])
        else:
            con.execute("DELETE FROM settings WHERE setting = ?", [name])
    return settings
