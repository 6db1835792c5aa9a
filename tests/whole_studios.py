"""Whole studios at random: everything a person may do, in any order, with the oddest texts; and all that a store then holds."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from dashboard import quoting
from ingest import corrections, drafts, people, pins, promises, quotes, rejects, typed, unsaved, vocabulary
from ingest.errors import BenchHoursError
from ingest.estimates import approve, take_back_approval
from ingest.imports import import_files
from ingest.records import ESTIMATES, MILESTONES, OBJECTS, TECHNIQUES, TIME_ENTRIES
from ingest.settings import read_settings, write_settings
from ingest.store import Store
from tests import phones
from tests.conftest import CHANGE, NOW

ODD = [
    "=1+1", "-3", "+49 170 1", "@cmd", "'", "''", "'=x", "'-3", "\ttab", " blank ", "\nline", "a\nb", "a\r\nb", 'say "so"', '"', '""', "a,b", "a;b", "x|y", "|", "é", "e\u0301", "שלום", "مرحبا", "\u202eright",
    "😀 👩‍🎨", "＝full", "NULL", "null", "none", "{}", "\\", "\\n", "%s", "*?[", "--", "/", "_", "1.450", "1e5", "0", "yes", "\ufeffmark", "\u2028", "\x0b", "\x85", "x" * 10_000, "ß", "SS", "ı", "İ",
]  # fmt: skip
texts = st.one_of(st.sampled_from(ODD), st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12))
names = st.one_of(st.sampled_from([*"ABC"]), texts)
few = st.integers(0, 3)
some_days = st.dates(date(2023, 12, 28), date(2024, 11, 5))
numbers = st.one_of(st.sampled_from(["1", "0.1", "12.345", "1e-05", "0.30000000000000004", "7"]), st.floats(0.001, 15.9).map(lambda value: f"{value!r}"))
prices = st.sampled_from(["", "1234.5", "1.2340", "950", "0.5"])
_TAXES = {"1234.5": {"tax_in_price": "yes", "tax_per_cent": "19"}, "1.2340": {"tax_in_price": "no"}, "0.5": {"tax_in_price": "no", "tax_per_cent": "8.1"}}
clocks = st.sampled_from(["09:00", "02:15", "02:30", "01:30", "23:30", "00:10"])
techniques = st.sampled_from(["facing", "retouching", "gel poultice", "pressing", "packing", "lining removal dry", "accounts"])

operations = st.one_of(
    st.tuples(st.just("setting"), st.sampled_from(["studio", "currency", "day_order", "hourly_rate", "prices_include_tax"]), texts),
    st.tuples(st.just("object"), names, texts, texts, texts, numbers, some_days, st.booleans()),
    st.tuples(st.just("technique"), names, texts, texts),
    st.tuples(st.just("rename word"), st.sampled_from(["phase", "technique"]), few, texts),
    st.tuples(st.just("spell"), few, texts, texts),
    st.tuples(st.just("retire"), few, st.booleans()),
    st.tuples(st.just("entry"), few, techniques, names, some_days, numbers, texts, texts, st.booleans()),
    st.tuples(st.just("entry"), few, techniques, names, some_days, numbers, texts, texts, st.booleans()),
    st.tuples(st.just("clocked"), few, techniques, names, some_days, clocks, st.integers(1, 500), texts),
    st.tuples(st.just("file"), few, techniques, names, some_days, numbers, texts),
    st.tuples(st.just("phone"), few, st.sampled_from(["running", "logged", "struck"]), few, techniques, names, some_days, texts),
    st.tuples(st.just("take back"), few),
    st.tuples(st.just("put back"), few),
    st.tuples(st.just("correct"), few, numbers, texts),
    st.tuples(st.just("decide"), st.sampled_from(["new", "correction", "left out"])),
    st.tuples(st.just("version"), few, texts, prices, st.lists(st.tuples(techniques, texts, numbers, st.sampled_from(["", "A", "B"])), min_size=1, max_size=4)),
    st.tuples(st.just("promise"), few, texts, techniques, numbers, st.booleans()),
    st.tuples(st.just("end"), few, st.integers(1, 2), st.sampled_from(promises.OUTCOMES), texts),
    st.tuples(st.just("take back end"), few),
    st.tuples(st.just("approve"), few, st.integers(1, 2), st.sampled_from([None, "A", "B"])),
    st.tuples(st.just("take back approval"), few),
    st.tuples(st.just("milestone"), few, techniques, some_days),
    st.tuples(st.just("take back milestone"), few),
    st.tuples(st.just("draft"), few, texts, texts),
    st.tuples(st.just("unsaved"), texts),
    st.tuples(st.just("quote"), few, texts, texts),
    st.tuples(st.just("rejects"), texts),
    st.tuples(st.just("add person"), names),
    st.tuples(st.just("rename person"), few, texts),
    st.tuples(st.just("join"), few, few),
    st.tuples(st.just("leave"), few, some_days),
    st.tuples(st.just("pin"), techniques, st.floats(0.001, 900), texts, some_days),
    st.tuples(st.just("withdraw pin"), techniques, some_days),
)
studios = st.lists(operations, min_size=4, max_size=30)


def build(store: Store, folder: Path, todo: list[tuple[Any, ...]]) -> int:
    """Do everything that is not refused; how much was done."""
    done = 0
    with store.writing() as con:
        write_settings(con, {"zone": "Europe/Berlin"})
    for turn, (what, *said) in enumerate(todo):
        change = replace(CHANGE, at=NOW + timedelta(seconds=turn), reason=f"for {said[0] if said else what}")
        try:
            _DO[what](store, folder, change, *said)
            done += 1
        except (BenchHoursError, IndexError):
            pass
    return done


def _pick(store: Store, query: str, number: int) -> Any:
    return store.cursor().execute(query).fetchall()[number]


def _object(store: Store, number: int) -> str:
    return str(_pick(store, "SELECT object FROM objects ORDER BY object", number)[0])


def _written(store: Store, do: Callable[..., object], *values: object) -> None:
    with store.writing() as con:
        do(con, *values)


def _file(store: Store, folder: Path, rows: dict[str, str]) -> None:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([list(rows), [value.replace("\r", "") for value in rows.values()]])
    (folder / "given.csv").write_text(out.getvalue(), encoding="utf-8", newline="")
    import_files(store, [folder / "given.csv"], now=NOW, write_rejects=False)


def _rejects(store: Store, folder: Path, text: str) -> None:
    (folder / "wrong.csv").write_text(
        f'object,phase,technique,person,date,hours,note\n99-999,,facing,A,2024-01-01,x,"{text.replace(chr(34), "")}"\n'.replace("\r", ""),
        encoding="utf-8",
        newline="",
    )
    report = import_files(store, [folder / "wrong.csv"], now=NOW, write_rejects=False)[0]
    if report.rejected:
        rejects.keep(store, report.rejected, "a visit")


def _quote(store: Store, number: int, technique: str, text: str) -> None:
    """A quote being written, be it of a work that is held or of one that is described, however odd what is typed."""
    codes = store.cursor().execute("SELECT object FROM objects ORDER BY object").fetchall()
    work = quotes.QuotedWork(
        object=codes[number % len(codes)][0] if codes and number else "", described={"title": text, "kind": technique}, left_out={technique: text}
    )
    work.lines, work.costs = [{"technique": technique, "hours": text}, {}], [{"what": text, "amount": technique}]
    kept = quotes.keep(store, quotes.Quote(works=[work], terms={"ceiling": text}, letter={"opening": text}), "a visit")
    assert kept.number is not None
    again = quotes.read(store.cursor(), kept.number)
    assert again is not None and again.said() == kept.said()
    read = quotes.read_over(store, work, NOW.date(), {})
    assert len(read.lines) <= 1
    quoting.commercial(kept.terms, read_settings(store.cursor()), {})


def _version(store: Store, folder: Path, change: Any, number: int, reason: str, price: str, lines: list[tuple[str, ...]]) -> None:
    known = _object(store, number)
    version = str(1 + store.cursor().execute("SELECT coalesce(max(version), 0) FROM estimate_versions WHERE object = ?", [known]).fetchall()[0][0])
    head = {"object": known, "version": version, "made_on": "2024-01-02", "reason": reason, "price": price, "phase": "", **_TAXES.get(price, {})}
    typed.store_rows(
        store, ESTIMATES, [{**head, "technique": technique, "note": note, "hours": hours, "option": option} for technique, note, hours, option in lines], change
    )


def _promise(store: Store, number: int, text: str, technique: str, hours: str, change: Any, *, several: bool) -> None:
    """A version saved from a quote, however odd its words."""
    told = float(hours)

    def option(name: str) -> promises.PromisedOption:
        line = promises.PromisedLine(
            phase="", technique=technique, part=text.strip(), person="", quantity=None, hours=told, unattended_hours=None, note=text, p10=told, p50=told, p80=told, p90=told, promised_hours=told, own_hours=None,
            worked_hours=0.0, rate=None, rate_low=told, rate_high=told, unit="dm2", pinned=False, works=[text],
        )  # fmt: skip
        phase = store.cursor().execute("SELECT phase FROM techniques WHERE technique = ?", [technique]).fetchall()[0][0]
        return promises.PromisedOption(
            option=name,
            confidence=80,
            promised_hours=told,
            p10=told,
            p50=told,
            p80=told,
            p90=told,
            price=None,
            currency="EUR",
            stood_on={"said": text},
            lines=[replace(line, phase=phase)],
        )

    one = promises.Promised(
        object=_object(store, number), as_of=NOW.date(), program="1", works=1, lines=1, first_stage=several, written={"works": [], "terms": {"ceiling": text}, "letter": {}}, letter={"studio": text},
        options=[option("A"), option("B")] if several else [option("")],
    )  # fmt: skip
    promises.save(store, [one], None, text, change)


def _clocked(store: Store, folder: Path, change: Any, number: int, technique: str, person: str, day: date, clock: str, minutes: int, note: str) -> None:
    start = f"{day} {clock}"
    end = (day.toordinal() * 1440 + int(clock[:2]) * 60 + int(clock[3:]) + minutes) if day else 0
    finish = f"{date.fromordinal(end // 1440)} {end % 1440 // 60:02d}:{end % 60:02d}"
    row = {"object": _object(store, number), "phase": "", "technique": technique, "person": person, "started_at": start, "ended_at": finish, "note": note}
    typed.store_rows(store, TIME_ENTRIES, [row], change)


def _phone(store: Store, folder: Path, change: Any, entry: int, state: str, number: int, technique: str, person: str, day: date, hours: str) -> None:
    row = {"object": _object(store, number), "technique": technique, "person": person, "date": str(day), "hours": hours[:4000].replace("\0", "")}
    taps = {"started_at": phones.ms(datetime(day.year, day.month, day.day, 9))} if state == "running" else {}
    one = phones.action(f"{entry}", state, at=change.at, person=person[:200].strip() or "A", number=entry, row=row, taps=taps)
    phones.send(store, one, now=change.at)


def _correct(store: Store, folder: Path, change: Any, number: int, hours: str, note: str) -> None:
    held = store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").df().to_dict("records")[number]
    corrections.correct(store, held["entry"], {**corrections.as_row(held), "note": note}, change)


def _decide(store: Store, folder: Path, change: Any, decision: Any) -> None:
    rows = [(str(content), rank) for content, rank in store.cursor().execute("SELECT content, rank FROM held_back WHERE decided IS NULL").fetchall()]
    corrections.decide(store, rows, decision, change)


_PEOPLE = "SELECT person FROM people ORDER BY person"
_ENTRIES = "SELECT entry FROM spells ORDER BY entry"
_DO: dict[str, Callable[..., None]] = {
    "setting": lambda s, f, c, name, text: _written(s, write_settings, {name: text}, c),
    "object": lambda s, f, c, code, title, owner, note, size, day, oval: typed.store_rows(
        s, OBJECTS, [{"object": code, "title": title, "owner": owner, "owner_address": owner + note, "note": note, "height_cm": size, "shape": "oval" if oval else "", "received_on": str(day)}], c
    ),
    "technique": lambda s, f, c, name, alias, note: typed.store_rows(s, TECHNIQUES, [{"technique": name, "phase": "cleaning", "unit": "cm", "mode": "hands_on", "aliases": alias, "note": note}], c),
    "rename word": lambda s, f, c, kind, number, new: _written(s, vocabulary.rename, kind, _pick(s, f"SELECT {kind} FROM {kind}s ORDER BY {kind}", number * 9 % 14)[0], new, c),
    "spell": lambda s, f, c, number, one, other: _written(s, vocabulary.say_spellings, "technique", _pick(s, "SELECT technique FROM techniques ORDER BY technique", number * 7)[0], [one, other], c),
    "retire": lambda s, f, c, number, yes: _written(s, vocabulary.retire, "technique", _pick(s, "SELECT technique FROM techniques ORDER BY technique", number * 7)[0], date(2024, 5, 1) if yes else None, c),
    "entry": lambda s, f, c, number, technique, person, day, hours, note, part, named: typed.store_rows(
        s, TIME_ENTRIES,
        [{"entry": f"slip {part}{number}" if named else "", "object": "" if technique == "accounts" else _object(s, number), "phase": "", "technique": technique, "person": person,
          "date": str(day), "hours": hours, "note": note, "part": part}], c,
    ),
    "clocked": _clocked,
    "file": lambda s, f, c, number, technique, person, day, hours, note: _file(
        s, f, {"object": _object(s, number), "phase": "", "technique": technique, "person": person, "date": str(day), "hours": hours, "note": note}
    ),
    "phone": _phone,
    "take back": lambda s, f, c, number: corrections.take_back(s, _pick(s, _ENTRIES, number)[0], c),
    "put back": lambda s, f, c, number: corrections.put_back(s, _pick(s, "SELECT DISTINCT key FROM history WHERE kind = 'time_entries' ORDER BY key", number)[0], c),
    "correct": _correct,
    "decide": _decide,
    "version": _version,
    "approve": lambda s, f, c, number, version, option: _written(s, approve, _object(s, number), version, date(2024, 2, 1), option, c),
    "promise": lambda s, f, c, number, text, technique, hours, several: _promise(s, number, text, technique, hours, c, several=several),
    "end": lambda s, f, c, number, version, outcome, why: _written(s, promises.end, _object(s, number), version, outcome, NOW.date(), NOW.date(), replace(c, reason=why)),
    "take back end": lambda s, f, c, number: _written(s, promises.take_back_end, _object(s, number), 1, c),
    "take back approval": lambda s, f, c, number: _written(s, take_back_approval, _object(s, number), 1, c),
    "milestone": lambda s, f, c, number, technique, day: typed.store_rows(s, MILESTONES, [{"object": _object(s, number), "phase": "", "technique": technique, "finished_on": str(day)}], c),
    "take back milestone": lambda s, f, c, number: _written(s, corrections.take_back_milestone, *_pick(s, "SELECT * FROM milestones ORDER BY ALL", number), c),
    "draft": lambda s, f, c, number, reason, note: drafts.keep(s, _object(s, number), drafts.Draft(version={"reason": reason}, lines=[{"technique": note, "hours": "x"}]), "a visit") and None,
    "unsaved": lambda s, f, c, text: unsaved.keep(s, "new work", {"title": text}, "") and None,
    "quote": lambda s, f, c, number, technique, text: _quote(s, number, technique, text),
    "rejects": lambda s, f, c, text: _rejects(s, f, text),
    "add person": lambda s, f, c, name: _written(s, people.add, name, c.at),
    "rename person": lambda s, f, c, number, new: _written(s, people.rename, _pick(s, _PEOPLE, number)[0], new, c),
    "join": lambda s, f, c, one, other: _written(s, people.join, _pick(s, _PEOPLE, one)[0], _pick(s, _PEOPLE, other)[0], c),
    "leave": lambda s, f, c, number, day: _written(s, people.leave, _pick(s, _PEOPLE, number)[0], day, c),
    "pin": lambda s, f, c, technique, rate, reason, day: _written(s, pins.pin, technique, rate, day, replace(c, reason=reason)),
    "withdraw pin": lambda s, f, c, technique, day: _written(s, pins.withdraw, technique, day),
}  # fmt: skip

_OF_A_STUDIO = (
    "settings", "phases", "techniques", "spellings", "people", "person_spellings", "objects", "estimate_versions", "milestones", "held_back", "drafts", "unsaved",
    "phone_actions", "phone_outcomes", "spells_in_hand", "pinned_rates", "quotes", "quoted_options", "quoted_lines", "ended_versions",
)  # fmt: skip


def everything(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    """All that a store holds, but for the numbers by which it knows its own lines and what it counts."""
    con = store.cursor()
    held = {table: con.execute(f"SELECT * FROM {table} ORDER BY ALL").fetchall() for table in _OF_A_STUDIO}
    held |= {view: con.execute(f"SELECT * EXCLUDE (line) FROM {view} ORDER BY ALL").fetchall() for view in ("time_entries", "estimate_lines")}
    held["history"] = con.execute("SELECT * EXCLUDE (number) FROM history ORDER BY number").fetchall()
    return held
