"""The studio's own settings, kept in the database."""

from __future__ import annotations

import ipaddress
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from ingest.errors import BenchHoursError, NotationError
from ingest.sql import Connection
from ingest.tables.audit_log import Change, record_earlier
from ingest.values.absences import read_absences, written_absences
from ingest.values.calendar_days import DAY_ORDERS, DayOrder
from ingest.values.named_amounts import read_named
from ingest.values.numbers import currency, number_called, written
from ingest.values.spelling import suggestion, yes_or_no


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings of the studio.

    Attributes
    ----------
    studio : name as it stands on letters; empty until said.
    zone : IANA time zone of the studio's clock.
    day_order : order of day, month and year in dates written in numbers; `unset` refuses them.
    currency : ISO 4217 code.
    bench_hours_per_week : hours at the bench in an ordinary week of one person.
    ask_after_hours : past so many hours a spell in hand is asked about: was it forgotten?
    address_for_phones : host name or address under which phones reach the studio; empty: as the machine finds
        it.
    hourly_rate : amount per hour in the currency; None until said.
    hourly_rates : of people who have another, `Ilse 70; Bram 55`.
    yearly_cost, chargeable_hours : what a year costs the studio, and how many hours of it can be charged;
        None until said.
    minimum_charge : the least that a quote comes to. All of these are without tax.
    tax_per_cent, tax_name : what stands on top of them; None: nobody has said; 0: none is charged.
    prices_include_tax : whether it is in prices of estimates that do not say so themselves,
    prices_tax_per_cent : at how many per cent (None: the studio's of now); None until said.
    payments : when which per cent is paid, `on approval 30; at handover 40`.
    bench_hours_of_people : hours at the bench in an ordinary week of people of whom it is said, `Ilse 24;
        Bram 16`;
    bench_days : the days of the week on which the bench is worked.
    absences : see `ingest.values.absences`.
    put_first : codes of works that come before all others, in their order.
    pauses : hours worth a pause are told.
    handwork_minutes : of repetitive handwork without a break, beyond which one is worth it;
    pause_minutes : what counts as a break.
    solvent_hours_a_day, solvent_hours_a_week : beyond which they are told; None: they have no limit here.
    blade_until : the time of day from which on blade work is late.
    letter_cautions : letters carry the usual cautions of their techniques, which are for the bench.
    letterhead : lines at the head of letters, below the name. clause_… : the studio's own words in them;
        empty: those it comes with, NO_CLAUSE: none.
    demo : the database holds the invented studio and may be made anew.
    """

    studio: str = ""
    zone: str = "UTC"
    day_order: DayOrder = "unset"
    currency: str = "EUR"
    bench_hours_per_week: float = 25.0
    ask_after_hours: float = 4.0
    address_for_phones: str = ""
    hourly_rate: float | None = None
    hourly_rates: str = ""
    yearly_cost: float | None = None
    chargeable_hours: float | None = None
    minimum_charge: float | None = None
    tax_per_cent: float | None = None
    prices_include_tax: bool | None = None
    prices_tax_per_cent: float | None = None
    tax_name: str = ""
    payments: str = ""
    bench_hours_of_people: str = ""
    bench_days: str = "Mon Tue Wed Thu Fri"
    absences: str = ""
    put_first: str = ""
    pauses: bool = True
    handwork_minutes: float = 60.0
    pause_minutes: float = 10.0
    solvent_hours_a_day: float | None = None
    solvent_hours_a_week: float | None = None
    blade_until: str = "17:00"
    letter_cautions: bool = False
    letterhead: str = ""
    clause_not_included: str = ""
    clause_changes: str = ""
    clause_validity: str = ""
    clause_storage: str = ""
    clause_insurance: str = ""
    demo: bool = False


NUMBERS: dict[str, tuple[str, int]] = {
    "bench_hours_per_week": ("the hours at the bench a week", 168),
    "ask_after_hours": ("the hours after which a spell in hand is asked about", 24),
    "hourly_rate": ("the rate per hour", 100_000),
    "yearly_cost": ("what a year costs", 1_000_000_000),
    "chargeable_hours": ("the hours of a year that can be charged", 100_000),
    "minimum_charge": ("the least charge", 1_000_000_000),
    "tax_per_cent": ("the tax in per cent", 100),
    "prices_tax_per_cent": ("the tax of older prices in per cent", 100),
    "handwork_minutes": ("the minutes of handwork without a break", 1440),
    "pause_minutes": ("the minutes of a break", 1440),
    "solvent_hours_a_day": ("the solvent hours of a day", 24),
    "solvent_hours_a_week": ("the solvent hours of a week", 168),
}
CLAUSES = ("clause_not_included", "clause_changes", "clause_validity", "clause_storage", "clause_insurance")
NO_CLAUSE = "none"
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_YES_OR_NO = ("demo", "pauses", "prices_include_tax", "letter_cautions")
_MAY_BE_NOUGHT = ("tax_per_cent", "prices_tax_per_cent")
_PARAGRAPHS = ("letterhead", "absences", *CLAUSES)  # their line ends are kept
_LONGEST_PARAGRAPH = 4_000


_NAMES = tuple(field.name for field in fields(Settings))


def stored_text(name: str, text: str) -> str:
    """The text of a setting as it is stored, empty where nothing is said; raises on an unknown name and where
    it cannot be.
    """
    text = _paragraphs(text) if name in _PARAGRAPHS else " ".join(text.split())
    if name not in _NAMES:
        raise BenchHoursError(
            f'"{name}" is not a setting', suggestion(name, _NAMES, f"Known are {', '.join(sorted(_NAMES))}.")
        )
    if not text or name in _READ:
        return _READ[name](text) if text else ""
    if name == "zone":
        if text not in available_timezones():
            raise BenchHoursError(
                f'"{text}" is not a time zone',
                suggestion(text, sorted(available_timezones()), "Write it like Europe/Berlin."),
            )
    elif name == "day_order":
        if text not in DAY_ORDERS:
            raise BenchHoursError(f'"{text}" is not an order of day, month and year', "Say dmy, mdy or ymd.")
    elif name == "currency":
        try:
            return currency(text)
        except NotationError as error:
            raise BenchHoursError(f'"{text}" {error.what}', error.mend) from error
    elif name in NUMBERS:
        what, most = NUMBERS[name]
        return written(number_called(what, text, most, or_zero=name in _MAY_BE_NOUGHT))
    return text


def _paragraphs(text: str) -> str:
    if len(text) > _LONGEST_PARAGRAPH:
        raise BenchHoursError(
            f"a text of the letter has {len(text):,} signs", f"Write at most {_LONGEST_PARAGRAPH:,}."
        )
    return "\n".join(" ".join(line.split()) for line in text.strip().splitlines())


def _host(text: str) -> str:
    """A host name or an address as it stands in the address of a page, without scheme and port."""
    host = text.lower().rstrip(".")
    try:
        return str(ipaddress.ip_address(host.strip("[]")))
    except ValueError:
        if len(host) <= 253 and re.fullmatch(
            r"[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?)*", host
        ):
            return host
    raise BenchHoursError(
        f'"{text}" is neither the name of a machine nor an address',
        "Write it like studio.local or 192.168.1.20, without https:// and without a port.",
    )


def _rates(text: str) -> str:
    read_named(text, "rates per hour", "Ilse 70; Bram 55")
    return text


def _payments(text: str) -> str:
    stages = read_named(text, "payments", "on approval 30; at handover 40")
    if sum(share for _, share in stages) > 100:
        raise BenchHoursError(
            "the payments come to more than 100 per cent",
            "Write what each of them is of the whole, in per cent.",
        )
    return text


def _weekdays(text: str) -> str:
    named = {day.casefold(): day for day in WEEKDAYS}
    days = [named.get(word[:3].casefold()) for word in re.split(r"[\s,;]+", text) if word]
    if None in days:
        raise BenchHoursError(
            f'"{text}" names something that is no day of the week',
            f"Write them like {' '.join(WEEKDAYS[:5])}.",
        )
    return " ".join(day for day in WEEKDAYS if day in days)


def _time_of_day(text: str) -> str:
    match = re.fullmatch(r"([01]?\d|2[0-3])[:.]([0-5]\d)", text)
    if match is None:
        raise BenchHoursError(f'"{text}" is no time of day', "Write it like 17:00.")
    return f"{int(match[1]):02}:{match[2]}"


def _hours_of_people(text: str) -> str:
    if any(hours > 168 for _, hours in read_named(text, "hours at the bench a week", "Ilse 24; Bram 16")):
        raise BenchHoursError(
            "a week has no more than 168 hours", "Write the hours at the bench in an ordinary week."
        )
    return text


def _yes_or_no(text: str) -> str:
    return "yes" if yes_or_no(text) else "no"


_READ: dict[str, Callable[[str], str]] = {
    "demo": _yes_or_no,
    "pauses": _yes_or_no,
    "prices_include_tax": _yes_or_no,
    "letter_cautions": _yes_or_no,
    "address_for_phones": _host,
    "hourly_rates": _rates,
    "payments": _payments,
    "bench_hours_of_people": _hours_of_people,
    "bench_days": _weekdays,
    "blade_until": _time_of_day,
    "absences": lambda text: written_absences(read_absences(text)),
    "put_first": lambda text: "; ".join(filter(None, (part.strip() for part in text.split(";")))),
}


def today_in(zone: str) -> date:
    """The present day on the calendar of a time zone."""
    return datetime.now(ZoneInfo(zone)).date()


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


def read_settings(con: Connection) -> Settings:
    """The stored settings, defaults elsewhere. Stored values are not validated again: a studio must open to
    be put right.
    """
    return _settings_of(_read_stored(con))


def settings_with(con: Connection, values: Mapping[str, str]) -> Settings:
    """The settings as they would be with these; nothing is written. Raises as `write_settings` does."""
    return _settings_of(
        {name: text for name, text in (_read_stored(con) | _checked(con, values)).items() if text}
    )


def write_settings(con: Connection, values: Mapping[str, str], change: Change | None = None) -> Settings:
    """Store some settings inside the caller's transaction and return them all; an empty text takes a setting
    back to what it is unsaid.

    Raises on an unknown name and on values that cannot be, all of them in one. `change` keeps what was said
    before in the history.
    """
    texts = _checked(con, values)
    if change:
        stored = _read_stored(con)
        changed = [name for name, text in texts.items() if text != stored.get(name, "")]
        query = """SELECT setting AS key, to_json(s) AS earlier, NULL AS content FROM settings AS s
            WHERE list_contains(?::VARCHAR[], setting)"""
        record_earlier(con, "settings", change, query, [changed])
    for name, text in texts.items():
        if text:
            con.execute("INSERT OR REPLACE INTO settings VALUES (?, ?)", [name, text])
        else:
            con.execute("DELETE FROM settings WHERE setting = ?", [name])
    return read_settings(con)


def _read_stored(con: Connection) -> dict[str, str]:
    return dict(con.execute("SELECT setting, value FROM settings").fetchall())


def _settings_of(texts: Mapping[str, str]) -> Settings:
    values: dict[str, object] = {}
    for name, text in texts.items():
        if name in NUMBERS:
            values[name] = float(text.replace(",", "."))
        elif name in _NAMES:
            values[name] = text == "yes" if name in _YES_OR_NO else text
    return Settings(**values)  # type: ignore[arg-type]


def _checked(con: Connection, values: Mapping[str, str]) -> dict[str, str]:
    """Each setting as it is stored; raises where one cannot be."""
    texts, zone = _stored_texts(values), read_settings(con).zone
    if (texts.get("zone", zone) or "UTC") != zone:
        clocked = con.execute("SELECT count(*) FROM spells WHERE started_at IS NOT NULL").fetchall()[0][0]
        if clocked:
            raise BenchHoursError(
                f"the studio's clock cannot move from {zone} to {texts['zone'] or 'UTC'}: entries with clock"
                f" times rest on it ({clocked:,})",
                "Leave it; or begin a new database in the right zone and bring the files in there.",
            )
    return texts


def _stored_texts(values: Mapping[str, str]) -> dict[str, str]:
    """Each setting as it is stored; empty where nothing is said."""
    texts: dict[str, str] = {}
    faults: list[BenchHoursError] = []
    for name, text in values.items():
        try:
            texts[name] = stored_text(name, text)
        except BenchHoursError as error:
            faults.append(error)
    if faults:
        *before, last = faults
        raise BenchHoursError(" ".join([*map(str, before), last.what]), last.mend)
    return texts
