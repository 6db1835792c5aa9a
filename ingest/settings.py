"""The studio's own settings, kept in the database."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from zoneinfo import available_timezones

import duckdb

from ingest.errors import BenchHoursError
from ingest.history import Change, keep_earlier
from ingest.notation import DAY_ORDERS, DayOrder, decimal, suggestion, yes_or_no


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the studio has said of itself.

    Attributes
    ----------
    studio : name as it stands on letters.
    zone : IANA time zone of the studio's clock.
    day_order : order of day, month and year in dates written in numbers; `unset` refuses them.
    currency : ISO 4217 code.
    bench_hours_per_week : hours at the bench in an ordinary week of one person.
    hourly_rate : amount per hour in the currency; None until said.
    demo : the database holds the invented studio and may be made anew.
    """

    studio: str = "The studio"
    zone: str = "UTC"
    day_order: DayOrder = "unset"
    currency: str = "EUR"
    bench_hours_per_week: float = 25.0
    hourly_rate: float | None = None
    demo: bool = False

    @classmethod
    def from_texts(cls, said: Mapping[str, str]) -> Settings:
        """Settings from text by name; raises on an unknown name or a value that cannot be."""
        known = {field.name for field in fields(cls)}
        values: dict[str, object] = {}
        for name, text in said.items():
            if name not in known:
                raise BenchHoursError(f'"{name}" is not a setting', suggestion(name, known, f"Known are {', '.join(sorted(known))}."))
            values[name] = _value(name, text)
        return cls(**values)  # type: ignore[arg-type]


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
        if not (len(text) == 3 and text.isascii() and text.isalpha() and text.isupper()):
            raise BenchHoursError(f'"{text}" is not a currency', "Write the three capital letters of ISO 4217, like EUR.")
        return text
    if name in ("bench_hours_per_week", "hourly_rate"):
        value = decimal(text)
        if not 0 < value <= (168 if name == "bench_hours_per_week" else 100_000):
            raise BenchHoursError(f"{name} cannot be {text}", "Write a sensible number above 0.")
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
                f"the studio's clock cannot move from {known['zone']} to {settings.zone}: {clocked:,} entries with clock times are held",
                "Start a new database with the right zone (--db NEW --zone ZONE) and bring the files in again.",
            )
    if change:
        changed = [name for name, text in said.items() if text != known.get(name, "")]
        query = "SELECT setting AS key, to_json(s) AS earlier, NULL AS content FROM settings AS s WHERE list_contains(?::VARCHAR[], setting)"
        keep_earlier(con, "settings", change, query, [changed])
    for name, text in said.items():
        if text.strip():
            con.execute("INSERT OR REPLACE INTO settings VALUES (?, ?)", [name, text.strip()])
        else:
            con.execute("DELETE FROM settings WHERE setting = ?", [name])
    return settings
