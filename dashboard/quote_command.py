"""`quote` as a command."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from dashboard import options, planning, promising, quoting, reading
from dashboard.analysis.basis import NAMES
from dashboard.giving import as_csv, give_json, laid_out, progress, records, written
from dashboard.letter import change, content, document, page, paper
from dashboard.letter.blocks import Letter
from dashboard.letter.content import Ready
from dashboard.quote_sentences import allowance, break_even, came_from, earns, may_turn_up, missing, price_words, promised, stays, surprising
from dashboard.quoting import Known, Option, Quoted, WorkQuoted
from dashboard.remembered import Memory
from dashboard.voice import caller, complain, tell
from dashboard.words import CONFIDENCES, amount, counted, day, hours
from ingest import promises, quotes
from ingest.errors import BenchHoursError
from ingest.history import Change
from ingest.promises import Promised
from ingest.quotes import Quote, QuotedWork
from ingest.settings import read_settings
from ingest.store import Store
from ingest.vocabulary import read_vocabulary

# Keys of the lines of a quote that others depend on, in their order; more stand behind.
LINE_KEYS = ("phase", "technique", "part", "quantity", "unit", "p50", "p80", "p90", "works")
_SHOWN = 6
_SEEN = 0.02
DESCRIBING = {"title": "title", "kind": "kind", "support": "support", "height": "height_cm", "width": "width_cm", "structure": "structure_condition", "paint": "paint_condition", "surface": "surface_condition"}  # fmt: skip


def add_commands(commands: options.Commands) -> None:
    parser = commands.add_reader("quote", quote)
    parser.add_argument("--object", metavar="OBJECT", help="a work: the quote being written of it, else the lines of its latest estimate")
    parser.add_argument(
        "--lines",
        type=options.file,
        metavar="FILE",
        help="lines as CSV (the estimates form without object, version and made_on), of --object or of a work described here",
    )
    parser.add_argument("--confidence", type=int, choices=sorted(CONFIDENCES), help="50, 80 or 90: the chance to end within the hours of the price (80)")
    parser.add_argument(
        "--form",
        choices=(*content.FORMS, change.FORM),
        help="of the letter: one price, by phase, a full statement of hours × rate, or what changed since the last version",
    )
    parser.add_argument(
        "--whole-anew", action="store_true", help="in a letter of change, price the whole work anew; else what was approved stays and what was found is added"
    )
    parser.add_argument("--save", action="store_true", help="save it as the next version of the estimate, with what it stood on")
    parser.add_argument("--reason", metavar="TEXT", help="why there is another version: what was found")
    parser.add_argument("--pdf", type=options.file, metavar="FILE", help="write the letter as PDF")
    parser.add_argument("--html", type=options.file, metavar="FILE", help="write the letter as HTML")
    parser.add_argument("--docx", type=options.file, metavar="FILE", help="write the letter as a document for a word processor (Office Open XML)")
    parser.add_argument(
        "--once-begun", action="store_true", help="the letter says what it takes once it is begun, not when it would be ready behind the works on the bench"
    )
    for name in DESCRIBING:
        parser.add_argument(
            f"--{name}",
            default="",
            metavar=name.upper(),
            help=f"{name} of a work that is described here{', grade 0 to 3' if name in ('structure', 'paint', 'surface') else ''}",
        )


def quote(args: argparse.Namespace, store: Store) -> int:
    """What a work will take and cost, from the studio's own finished works, and its letter."""
    con = store.cursor()
    as_of = args.as_of or reading.today(con)
    written_quote, complaints = _written(store, args)
    reads = [quotes.read_over(store, work, as_of, {}) for work in written_quote.works]
    now = quoting.known(con, as_of, without_open=quoting.on_the_bench(reading.overruns(con, as_of), written_quote))
    found = quoting.quoted(now, written_quote, reads, read_settings(con))
    work = found.works[0]
    faults = [*complaints, *found.commercial.faults, *work.read.about, *work.read.problems, *work.faults]
    if work.read.left_aside and work.options:
        faults.append(f"{counted(work.read.left_aside, 'line')} cannot be read: not in these hours, not in the price, and not in the letter.")
    for sentence in faults:
        complain(sentence)
    if not work.options:
        raise BenchHoursError("there is no line to quote", "Give lines with a technique each, and as far as known its quantity and hours.")
    for sentence in (*work.doubts, *work.read.notes, *work.notes, *missing(work)):
        complain(sentence)
    if args.save and faults:
        raise BenchHoursError("nothing is saved, as something of it cannot be read, as is said above", "Mend it, and save it then.")
    files: dict[Path, bytes] = {args.csv: as_csv(as_frame(work.options))} if args.csv else {}
    if args.pdf or args.html or args.docx or args.save:
        letter = promising.letter_of(con, found, written_quote, read_settings(con), read_vocabulary(con), _ready(con, found, written_quote))
        files |= _letters(args, letter)
    as_data = as_json(found, work)
    with written(files):
        if args.save:
            _save(store, promising.promised(now, found, written_quote, letter), written_quote, args.reason or "")
    for file in filter(None, (args.pdf, args.html, args.docx)):
        complain(f"{file}: the letter")
    if args.json:
        give_json(as_data)
    elif not args.csv:
        _tell(now, found, work)
    return 1 if faults else 0


def _ready(con: duckdb.DuckDBPyConnection, found: Quoted, written_quote: Quote) -> Ready | None:
    """When its works would be ready behind those on the bench, where the letter is to say that and it can be told."""
    if found.as_of > reading.today(con) or not promising.counts_the_bench(found, written_quote):
        return None
    try:
        plan = planning.plan(con, found.as_of, Memory(), progress_of=progress("works and commissions on the bench"))
    except BenchHoursError as error:
        complain(f"When it would be ready cannot be told: {error} The letter says what it takes once it is begun.")
        return None
    return promising.ready_of(found, plan)


def _save(store: Store, promised: list[Promised], written_quote: Quote, reason: str) -> None:
    for one in promised:
        if promising.latest_standing(store.cursor(), one.object, one.as_of) is not None and not reason.strip():
            raise BenchHoursError(f"{one.object} has a version already, and nobody has said what was found since", "Say --reason.")
    saved = promises.save(store, promised, written_quote.number, reason.strip(), Change(by=caller().who, reason="quoted by command"))
    complain(f"Saved as version {saved[0][1]} of {saved[0][0]}. When the owner says yes, note the approval under Estimate.")


def _written(store: Store, args: argparse.Namespace) -> tuple[Quote, list[str]]:
    """The quote that is meant, with the one work of it, and what must be said of it."""
    con = store.cursor()
    code = reading.known(con, args.object) if args.object else ""
    kept = quotes.of_work(con, code) if code and not args.lines else None  # lines of a file are a quote of their own
    if kept and args.as_of and kept.kept_at and kept.kept_at.date() > args.as_of:
        kept = None  # it was not written yet
    found = Quote(terms=dict(kept.terms) if kept else {}, letter=dict(kept.letter) if kept else {})
    complaints: list[str] = []
    if args.lines:
        lines, complaints = quotes.lines_of_file(store, args.lines)
        work = QuotedWork(object=code, lines=lines)
    elif kept:
        work = next(one for one in kept.works if one.object == code)
        if len(kept.works) == 1:
            found.number = kept.number
        else:
            complaints.append(f"Quote {kept.number} has {len(kept.works)} works; this is {code} by itself, without their travel.")
            found.terms = {name: text for name, text in found.terms.items() if not name.startswith("travel")}
    elif code:
        found = _of_latest_version(con, code, args.as_of or reading.today(con))
        work = found.works[0]
        if not work.lines:
            raise BenchHoursError(
                f"nothing of {code} is left to quote: every line of its estimate is finished", "Quote a work like it under Quote a work, or say --lines FILE."
            )
    else:
        raise BenchHoursError("it is not said what to quote", "Say --object OBJECT, or --lines FILE.")
    describing = {column: text for name, column in DESCRIBING.items() if (text := getattr(args, name))}
    if describing and code:
        complaints.append(f"{code} is as it is held; what was said to describe it is left out.")
    elif describing:
        work.described = describing
    found.works = [work]
    _as_asked(found, args)
    return found, complaints


def _as_asked(found: Quote, args: argparse.Namespace) -> None:
    """What the call says of terms and letter, in place of what was kept."""
    if args.confidence:
        found.terms["confidence"] = f"{args.confidence}"
    if args.form:
        found.letter["form"] = args.form
    if args.once_begun:
        found.letter["ready"] = promising.ONCE_BEGUN
    if args.whole_anew:
        found.terms["revision"] = quoting.WHOLE_ANEW
    if args.reason:
        found.letter["reason"] = args.reason
    elif not args.form and found.letter.get("form") == change.FORM and not found.letter.get("reason"):
        del found.letter["form"]  # a revision is told as what changed where somebody has said what that is


def _of_latest_version(con: duckdb.DuckDBPyConnection, code: str, as_of: date) -> Quote:
    if promising.latest(con, code, as_of) is None:
        raise BenchHoursError(
            f"{code} has no lines on {day(as_of)}: no quote of it was being written, and it had no estimate",
            "Write it under Quote a work, or say --lines FILE too.",
        )
    return promising.goes_on(con, code, as_of)


def _letters(args: argparse.Namespace, letter: Letter) -> dict[Path, bytes]:
    """The letter in each of the kinds that are asked for, by the file it goes to."""
    kinds: list[tuple[Path | None, Callable[[Letter], bytes]]] = [
        (args.pdf, paper.as_pdf), (args.html, lambda made: page.as_page(made).encode()), (args.docx, document.as_document),
    ]  # fmt: skip
    return {file: made(letter) for file, made in kinds if file}


# --- as data


def as_json(found: Quoted, work: WorkQuoted) -> dict[str, Any]:
    """A quote of one work; where it has options, its figures are those of the first, and all of them stand under `options`."""
    first = work.options[0]
    told = {"object": work.said.object or None, "as_of": f"{found.as_of}", **_of_option(first)}
    if len(work.options) > 1:
        told["options"] = [_of_option(one) for one in work.options]
    return told


def _of_option(one: Option) -> dict[str, Any]:
    days = np.quantile(one.days, [0.5, 0.8])
    price, agreed = one.price, one.commercial
    level = agreed.confidence / 100
    return {
        "option": one.name or None,
        "lines": records(_line_frame(one)),
        "discovery": _found(one.found[~one.found["another"]]),
        "another_part": _found(one.found[one.found["another"]]),
        "usually_done": [{"technique": usual.technique, "phase": usual.phase, "works": usual.works, "of": usual.of} for usual in one.usual],
        "left_out": [{"technique": row["technique"], "reason": row["reason"]} for row in one.left_out[one.left_out["reason"] != ""].to_dict("records")],
        "total": dict(zip(NAMES, one.at(0.1, 0.5, 0.8, 0.9), strict=True)),
        "price": {
            "confidence": level, "hours": one.promised, "amount": float(price.amount) if price else None, "currency": agreed.currency,
            "tax_included": bool(agreed.terms.tax) if price else None, "tax_per_cent": float(agreed.terms.tax or 0) if price else None,
            "net": float(price.net) if price else None, "tax": float(price.tax) if price else None, "earned_per_hour": {"p50": one.earned_per_hour(0.5), "p80": one.earned_per_hour(0.8)},
            "break_even_rate": float(agreed.yearly.break_even_rate) if agreed.yearly else None, "works_for_nothing_from_hours": one.nothing_from(),
        },
        "unattended_days": {"p50": float(days[0]), "p80": float(days[1])},
        "revision": _revision(one),
    }  # fmt: skip


def _revision(one: Option) -> dict[str, Any] | None:
    """What stays of what was approved, and what is added to it; None where the whole is priced."""
    if one.change is None:
        return None
    agreed, added = one.change.agreed, one.change.added
    return {
        "approved": {"hours": float(agreed.hours), "amount": None if agreed.amount is None else float(agreed.amount)},
        "added": {"hours": float(one.change.hours), "amount": None if added is None else float(added.amount)},
    }


def _found(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        {"technique": row["technique"], "chance": row["chance"], "hours_if_found": row["hours_if_found"], "turned_up": row["times"], "of_works": row["of"]}
        for row in frame.to_dict("records")
    ]


def _line_frame(one: Option) -> pd.DataFrame:
    lines = one.lines.assign(unit=one.lines["unit"].where(one.lines["unit"] != "", None), promised_hours=one.lines["promised"], own_hours=one.lines["hours"])
    return lines[
        [*LINE_KEYS, "p10", "promised_hours", "own_hours", "without_figure", "figure_weight", "by_hand", "pinned", "person", "option", "worked_hours", "done"]
    ]


def as_frame(options: tuple[Option, ...]) -> pd.DataFrame:
    """Every line of every option, and behind them what may turn up (`chance` below 1): its hours are those if it does."""
    parts = []
    for one in options:
        found = one.found.rename(columns={"hours_if_found": "p50", "p80_if_found": "p80"})
        found = found.assign(option=one.name, promised_hours=one.found["promised"], part=np.where(one.found["another"], "another", ""), works=one.found["of"])
        parts += [
            _line_frame(one).assign(option=one.name, chance=1.0),
            found[["phase", "technique", "part", "p50", "p80", "works", "promised_hours", "option", "chance"]],
        ]
    return pd.concat(parts, ignore_index=True)[["option", *LINE_KEYS, "p10", "chance", "promised_hours", "own_hours", "person"]]


# --- in words


def _tell(now: Known, found: Quoted, work: WorkQuoted) -> None:
    for one in work.options:
        tell(
            f"Quote of {work.said.called}{f', option {one.name}' if one.name else ''}: hours from {counted(now.finished_lines, 'finished line')} on {counted(len(now.finished), 'finished work')}"
        )
        heads = ["technique", "part", "quantity", "own h", "even chance h", "4 in 5 h", "9 in 10 h", "works", "said by"]
        rows = [
            [row["technique"], row["part"], amount(row["quantity"], row["unit"] or None), hours(row["hours"]), hours(row["p50"]), hours(row["p80"]), hours(row["p90"]), f"{row['works']}", came_from(row)]
            for row in one.lines.to_dict("records")
        ]  # fmt: skip
        tell(laid_out(heads, rows, right={2, 3, 4, 5, 6, 7}))
        for row in one.found[one.found["chance"] >= _SEEN].head(_SHOWN).to_dict("records"):
            tell(may_turn_up(row))
        for sentence in (allowance(one, now, work.described), promised(one), stays(one), price_words(one), earns(one), break_even(one)):
            if sentence:
                tell(sentence)
    likes = quoting.similar_works(now, work)
    surprises = surprising(now.lines, likes)
    for like in likes:
        tell(f"Like {like.object}: {', '.join(like.why)}{surprises.get(like.object, '')}")
    if not likes:
        tell("No finished work is like it in kind, size, condition and techniques.")
