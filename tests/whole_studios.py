"""Whole studios at random: everything a person may do, in any order, with the oddest texts; and all that a
store then holds.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from dashboard.services import quote_terms
from ingest import autosave
from ingest.editing import (
    corrections,
    estimate_drafts,
    pinned_rates,
    quote_drafts,
    saved_quotes,
    version_outcomes,
)
from ingest.editing.approvals import approve, take_back_approval
from ingest.errors import BenchHoursError
from ingest.foreign import memory
from ingest.foreign.reading import LeaveOut, Reading, Source
from ingest.foreign.words import a_new_work
from ingest.importing import form_rows, pending_rejects
from ingest.importing.files import import_files
from ingest.schema.csv_columns import ESTIMATES, MILESTONES, OBJECTS, TECHNIQUES, TIME_ENTRIES
from ingest.store import Store
from ingest.studio import people, spellings, vocabulary
from ingest.studio.settings import read_settings, write_settings
from ingest.studio.spellings import Spelling
from ingest.values.spelling import folded
from tests import phones, promises
from tests.conftest import CHANGE, NOW
from tests.frames import record

ODD = [
    "=1+1",
    "-3",
    "+49 170 1",
    "@cmd",
    "'",
    "''",
    "'=x",
    "'-3",
    "\ttab",
    " blank ",
    "\nline",
    "a\nb",
    "a\r\nb",
    'say "so"',
    '"',
    '""',
    "a,b",
    "a;b",
    "x|y",
    "|",
    "é",
    "e\u0301",
    "שלום",
    "مرحبا",
    "\u202eright",
    "😀 👩‍🎨",
    "＝full",
    "NULL",
    "null",
    "none",
    "{}",
    "\\",
    "\\n",
    "%s",
    "*?[",
    "--",
    "/",
    "_",
    "1.450",
    "1e5",
    "0",
    "yes",
    "\ufeffmark",
    "\u2028",
    "\x0b",
    "\x85",
    "x" * 10_000,
    "ß",
    "SS",
    "ı",
    "İ",
]
texts = st.one_of(
    st.sampled_from(ODD),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12),
)
names = st.one_of(st.sampled_from([*"ABC"]), texts)
few = st.integers(0, 3)
some_days = st.dates(date(2023, 12, 28), date(2024, 11, 5))
numbers = st.one_of(
    st.sampled_from(["1", "0.1", "12.345", "1e-05", "0.30000000000000004", "7"]),
    st.floats(0.001, 15.9).map(lambda value: f"{value!r}"),
)
prices = st.sampled_from(["", "1234.5", "1.2340", "950", "0.5"])
_TAXES = {
    "1234.5": {"tax_in_price": "yes", "tax_per_cent": "19"},
    "1.2340": {"tax_in_price": "no"},
    "0.5": {"tax_in_price": "no", "tax_per_cent": "8.1"},
}
clocks = st.sampled_from(["09:00", "02:15", "02:30", "01:30", "23:30", "00:10"])
techniques = st.sampled_from(
    ["facing", "retouching", "gel poultice", "pressing", "packing", "lining removal dry", "accounts"]
)
wholes = st.sampled_from(["cleaning", "retouching", ""])  # phases, and the work

operations = st.one_of(
    st.tuples(
        st.just("setting"),
        st.sampled_from(["studio", "currency", "day_order", "hourly_rate", "prices_include_tax"]),
        texts,
    ),
    st.tuples(st.just("object"), names, texts, texts, texts, numbers, some_days, st.booleans()),
    st.tuples(st.just("technique"), names, texts, texts),
    st.tuples(st.just("rename word"), st.sampled_from(["phase", "technique"]), few, texts),
    st.tuples(st.just("spell"), few, texts, texts),
    st.tuples(st.just("foreign table"), texts, texts, st.booleans()),
    st.tuples(st.just("retire"), few, st.booleans()),
    st.tuples(st.just("entry"), few, techniques, names, some_days, numbers, texts, texts, st.booleans()),
    st.tuples(st.just("entry"), few, techniques, names, some_days, numbers, texts, texts, st.booleans()),
    st.tuples(st.just("clocked"), few, techniques, names, some_days, clocks, st.integers(1, 500), texts),
    st.tuples(st.just("file"), few, techniques, names, some_days, numbers, texts),
    st.tuples(
        st.just("phone"),
        few,
        st.sampled_from(["running", "logged", "struck"]),
        few,
        techniques,
        names,
        some_days,
        texts,
    ),
    st.tuples(st.just("take back"), few),
    st.tuples(st.just("put back"), few),
    st.tuples(st.just("correct"), few, numbers, texts),
    st.tuples(st.just("decide"), st.sampled_from(["new", "correction", "left out"])),
    st.tuples(
        st.just("version"),
        few,
        texts,
        prices,
        st.lists(
            st.tuples(techniques, texts, numbers, st.sampled_from(["", "A", "B"])), min_size=1, max_size=4
        ),
    ),
    st.tuples(st.just("promise"), few, texts, techniques, numbers, st.booleans()),
    st.tuples(st.just("end"), few, st.integers(1, 2), st.sampled_from(version_outcomes.OUTCOMES), texts),
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
    st.tuples(st.just("pin whole"), wholes, st.floats(0.001, 900), texts, some_days),
    st.tuples(st.just("withdraw whole"), wholes, some_days),
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


def _row(
    store: Store, number: int, technique: str, person: str, day: date, hours: str, note: str
) -> dict[str, str]:
    """An entry as it is typed."""
    return {
        "object": _object(store, number),
        "phase": "",
        "technique": technique,
        "person": person,
        "date": str(day),
        "hours": hours,
        "note": note,
    }


def _written(store: Store, do: Callable[..., object], *values: object) -> None:
    with store.writing() as con:
        do(con, *values)


def _file(store: Store, folder: Path, rows: dict[str, str]) -> None:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([list(rows), [value.replace("\r", "") for value in rows.values()]])
    (folder / "given.csv").write_text(out.getvalue(), encoding="utf-8", newline="")
    import_files(store, [folder / "given.csv"], now=NOW, write_rejects=False)


def _foreign_table(store: Store, head: str, text: str, to_its_end: bool) -> None:
    """Say what a table means, to its end or by half."""
    heads = json.dumps(sorted({head, "date"}), ensure_ascii=False)
    if not to_its_end:
        memory.keep_draft(store, heads, {"columns": {"object": text}}, file=f"{head}.csv", by=None)
        return
    reading = Reading(
        rows="time entries",
        columns={"object": Source(origin="column", text=head), "note": Source(origin="fixed", text=text)},
        left_out=(LeaveOut(test="is", text=text),),
    )
    meanings = {("object", text): a_new_work("24-009", text)} if folded(text) else {}
    memory.remember(store, heads, reading, meanings, file=f"{head}.csv", by="Ilse")
    with store.writing() as con:
        spellings.keep(
            con,
            [
                Spelling(kind="technique", name="retouching", written=text),
                Spelling(kind="person", name="Ilse", written=text),
            ],
            f"{head}.csv",
            CHANGE,
        )


def _rejects(store: Store, folder: Path, text: str) -> None:
    (folder / "wrong.csv").write_text(
        (
            "object,phase,technique,person,date,hours,note\n"
            f'99-999,,facing,A,2024-01-01,x,"{text.replace(chr(34), "")}"\n'
        ).replace("\r", ""),
        encoding="utf-8",
        newline="",
    )
    report = import_files(store, [folder / "wrong.csv"], now=NOW, write_rejects=False)[0]
    if report.rejected:
        pending_rejects.keep(store, report.rejected, "a visit")


def _quote(store: Store, number: int, technique: str, text: str) -> None:
    """A quote being written, be it of a work that is held or of one that is described, however odd what is
    typed.
    """
    codes = store.cursor().execute("SELECT object FROM objects ORDER BY object").fetchall()
    work = quote_drafts.QuotedWork(
        object=codes[number % len(codes)][0] if codes and number else "",
        described={"title": text, "kind": technique},
        left_out={technique: text},
    )
    work.lines, work.costs = (
        [{"technique": technique, "hours": text}, {}],
        [{"what": text, "amount": technique}],
    )
    kept = quote_drafts.keep(
        store, quote_drafts.Quote(works=[work], terms={"ceiling": text}, letter={"opening": text}), "a visit"
    )
    assert kept.number is not None
    again = quote_drafts.read(store.cursor(), kept.number)
    assert again is not None and again.to_json() == kept.to_json()
    read = quote_drafts.read_over(store, work, NOW.date(), {})
    assert len(read.lines) <= 1
    quote_terms.read_terms(kept.terms, read_settings(store.cursor()), {})


def _version(
    store: Store,
    folder: Path,
    change: Any,
    number: int,
    reason: str,
    price: str,
    lines: list[tuple[str, ...]],
) -> None:
    known = _object(store, number)
    version = str(
        1
        + store.cursor()
        .execute("SELECT coalesce(max(version), 0) FROM estimate_versions WHERE object = ?", [known])
        .fetchall()[0][0]
    )
    head = {
        "object": known,
        "version": version,
        "made_on": "2024-01-02",
        "reason": reason,
        "price": price,
        "phase": "",
        **_TAXES.get(price, {}),
    }
    form_rows.store_rows(
        store,
        ESTIMATES,
        [
            {**head, "technique": technique, "note": note, "hours": hours, "option": option}
            for technique, note, hours, option in lines
        ],
        change,
    )


def _promise(
    store: Store, number: int, text: str, technique: str, hours: str, change: Any, *, several: bool
) -> None:
    """A version saved from a quote, however odd its words."""
    figure = float(hours)
    phase = (
        store.cursor()
        .execute("SELECT phase FROM techniques WHERE technique = ?", [technique])
        .fetchall()[0][0]
    )

    def option(name: str) -> saved_quotes.PromisedOption:
        line = promises.line(
            phase,
            technique,
            figure,
            part=text.strip(),
            note=text,
            rate_low=figure,
            rate_high=figure,
            unit="dm2",
            works=[text],
        )
        return promises.option(figure, [line], option=name, stood_on={"said": text})

    promised = promises.promised(
        _object(store, number),
        NOW.date(),
        [option("A"), option("B")] if several else [option("")],
        program="1",
        works=1,
        lines=1,
        first_stage=several,
        written={"works": [], "terms": {"ceiling": text}, "letter": {}},
        letter={"studio": text},
    )
    saved_quotes.save(store, [promised], None, text, change)


def _clocked(
    store: Store,
    folder: Path,
    change: Any,
    number: int,
    technique: str,
    person: str,
    day: date,
    clock: str,
    minutes: int,
    note: str,
) -> None:
    start = f"{day} {clock}"
    end = (day.toordinal() * 1440 + int(clock[:2]) * 60 + int(clock[3:]) + minutes) if day else 0
    finish = f"{date.fromordinal(end // 1440)} {end % 1440 // 60:02d}:{end % 60:02d}"
    row = {
        "object": _object(store, number),
        "phase": "",
        "technique": technique,
        "person": person,
        "started_at": start,
        "ended_at": finish,
        "note": note,
    }
    form_rows.store_rows(store, TIME_ENTRIES, [row], change)


def _phone(
    store: Store,
    folder: Path,
    change: Any,
    entry: int,
    state: str,
    number: int,
    technique: str,
    person: str,
    day: date,
    hours: str,
) -> None:
    row = {
        "object": _object(store, number),
        "technique": technique,
        "person": person,
        "date": str(day),
        "hours": hours[:4000].replace("\0", ""),
    }
    taps = {"started_at": phones.ms(datetime(day.year, day.month, day.day, 9))} if state == "running" else {}
    one = phones.action(
        f"{entry}", state, at=change.at, person=person[:200].strip() or "A", number=entry, row=row, taps=taps
    )
    phones.send(store, one, now=change.at)


def _correct(store: Store, folder: Path, change: Any, number: int, hours: str, note: str) -> None:
    held = record(store.cursor().execute("SELECT * FROM time_entries ORDER BY entry").df(), number)
    corrections.correct(store, held["entry"], {**corrections.as_row(held), "note": note}, change)


def _decide(store: Store, folder: Path, change: Any, decision: Any) -> None:
    rows = [
        (str(content), rank)
        for content, rank in (
            store.cursor().execute("SELECT content, rank FROM held_back WHERE decided IS NULL").fetchall()
        )
    ]
    corrections.decide(store, rows, decision, change)


_PEOPLE = "SELECT person FROM people ORDER BY person"
_ENTRIES = "SELECT entry FROM spells ORDER BY entry"
_DO: dict[str, Callable[..., object]] = {
    "setting": lambda s, f, c, name, text: _written(s, write_settings, {name: text}, c),
    "object": lambda s, f, c, code, title, owner, note, size, day, oval: form_rows.store_rows(
        s,
        OBJECTS,
        [
            {
                "object": code,
                "title": title,
                "owner": owner,
                "owner_address": owner + note,
                "note": note,
                "height_cm": size,
                "shape": "oval" if oval else "",
                "received_on": str(day),
            }
        ],
        c,
    ),
    "technique": lambda s, f, c, name, alias, note: form_rows.store_rows(
        s,
        TECHNIQUES,
        [
            {
                "technique": name,
                "phase": "cleaning",
                "unit": "cm",
                "mode": "hands_on",
                "aliases": alias,
                "note": note,
            }
        ],
        c,
    ),
    "rename word": lambda s, f, c, kind, number, new: _written(
        s,
        vocabulary.rename,
        kind,
        _pick(s, f"SELECT {kind} FROM {kind}s ORDER BY {kind}", number * 9 % 14)[0],
        new,
        c,
    ),
    "spell": lambda s, f, c, number, item, other: _written(
        s,
        vocabulary.set_spellings,
        "technique",
        _pick(s, "SELECT technique FROM techniques ORDER BY technique", number * 7)[0],
        [item, other],
        c,
    ),
    "retire": lambda s, f, c, number, yes: _written(
        s,
        vocabulary.retire,
        "technique",
        _pick(s, "SELECT technique FROM techniques ORDER BY technique", number * 7)[0],
        date(2024, 5, 1) if yes else None,
        c,
    ),
    "entry": lambda s, f, c, number, technique, person, day, hours, note, part, named: form_rows.store_rows(
        s,
        TIME_ENTRIES,
        [
            {
                "entry": f"slip {part}{number}" if named else "",
                **_row(s, number, technique, person, day, hours, note),
                **({"object": ""} if technique == "accounts" else {}),
                "part": part,
            }
        ],
        c,
    ),
    "clocked": _clocked,
    "file": lambda s, f, c, number, technique, person, day, hours, note: _file(
        s, f, _row(s, number, technique, person, day, hours, note)
    ),
    "phone": _phone,
    "take back": lambda s, f, c, number: corrections.take_back(s, _pick(s, _ENTRIES, number)[0], c),
    "put back": lambda s, f, c, number: corrections.put_back(
        s, _pick(s, "SELECT DISTINCT key FROM history WHERE kind = 'time_entries' ORDER BY key", number)[0], c
    ),
    "correct": _correct,
    "decide": _decide,
    "version": _version,
    "approve": lambda s, f, c, number, version, option: _written(
        s, approve, _object(s, number), version, date(2024, 2, 1), option, c
    ),
    "promise": lambda s, f, c, number, text, technique, hours, several: _promise(
        s, number, text, technique, hours, c, several=several
    ),
    "end": lambda s, f, c, number, version, outcome, why: _written(
        s,
        version_outcomes.end,
        _object(s, number),
        version,
        outcome,
        NOW.date(),
        NOW.date(),
        replace(c, reason=why),
    ),
    "take back end": lambda s, f, c, number: _written(
        s, version_outcomes.take_back_end, _object(s, number), 1, c
    ),
    "take back approval": lambda s, f, c, number: _written(s, take_back_approval, _object(s, number), 1, c),
    "milestone": lambda s, f, c, number, technique, day: form_rows.store_rows(
        s,
        MILESTONES,
        [{"object": _object(s, number), "phase": "", "technique": technique, "finished_on": str(day)}],
        c,
    ),
    "take back milestone": lambda s, f, c, number: _written(
        s, corrections.take_back_milestone, *_pick(s, "SELECT * FROM milestones ORDER BY ALL", number), c
    ),
    "draft": lambda s, f, c, number, reason, note: (
        estimate_drafts.keep(
            s,
            _object(s, number),
            estimate_drafts.Draft(version={"reason": reason}, lines=[{"technique": note, "hours": "x"}]),
            "a visit",
        )
        and None
    ),
    "unsaved": lambda s, f, c, text: autosave.keep(s, "new work", {"title": text}, "") and None,
    "quote": lambda s, f, c, number, technique, text: _quote(s, number, technique, text),
    "rejects": lambda s, f, c, text: _rejects(s, f, text),
    "add person": lambda s, f, c, name: _written(s, people.add, name, c.at),
    "rename person": lambda s, f, c, number, new: _written(
        s, people.rename, _pick(s, _PEOPLE, number)[0], new, c
    ),
    "join": lambda s, f, c, item, other: _written(
        s, people.join, _pick(s, _PEOPLE, item)[0], _pick(s, _PEOPLE, other)[0], c
    ),
    "leave": lambda s, f, c, number, day: _written(s, people.leave, _pick(s, _PEOPLE, number)[0], day, c),
    "pin": lambda s, f, c, technique, rate, reason, day: _written(
        s, pinned_rates.pin, technique, rate, day, replace(c, reason=reason)
    ),
    "foreign table": lambda s, f, c, *values: _foreign_table(s, *values),
    "pin whole": lambda s, f, c, phase, rate, reason, day: _written(
        s, partial(pinned_rates.pin, phase=phase), "", rate, day, replace(c, reason=reason)
    ),
    "withdraw whole": lambda s, f, c, phase, day: _written(
        s, partial(pinned_rates.withdraw, phase=phase), "", day
    ),
    "withdraw pin": lambda s, f, c, technique, day: _written(s, pinned_rates.withdraw, technique, day),
}

OF_A_STUDIO = (
    "settings",
    "phases",
    "techniques",
    "spellings",
    "people",
    "person_spellings",
    "objects",
    "estimate_versions",
    "milestones",
    "held_back",
    "drafts",
    "unsaved",
    "phone_actions",
    "phone_outcomes",
    "spells_in_hand",
    "pinned_rates",
    "quotes",
    "quoted_options",
    "quoted_lines",
    "ended_versions",
    "foreign_tables",
    "foreign_words",
    "spelling_origins",
)


def everything(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    """All that a store holds, but for the numbers by which it knows its own lines and what it counts."""
    con = store.cursor()
    held = {table: con.execute(f"SELECT * FROM {table} ORDER BY ALL").fetchall() for table in OF_A_STUDIO}
    held |= {
        view: con.execute(f"SELECT * EXCLUDE (line) FROM {view} ORDER BY ALL").fetchall()
        for view in ("time_entries", "estimate_lines")
    }
    held["history"] = con.execute("SELECT * EXCLUDE (number) FROM history ORDER BY number").fetchall()
    return held


def imported(folder: Path, now: datetime | None = None) -> Store:
    """A new store with all that an export holds."""
    store = Store(":memory:")
    for report in import_files(store, sorted(folder.iterdir()), now=now, write_rejects=False):
        assert report.complete, (report.file, report.problems.to_dict("records"))
        assert not report.unknown_columns
    return store
