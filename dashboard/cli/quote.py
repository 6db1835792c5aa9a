"""`quote` as a command."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from dashboard import queries
from dashboard.analysis.simulation.narrowing import Narrowing
from dashboard.cli import options
from dashboard.cli.caller import caller, write_err, write_out
from dashboard.cli.output import progress, write_json, write_table, writing
from dashboard.cli.quote_json import as_json
from dashboard.documents import assemble, change_letter, letter_docx, letter_html, letter_pdf, quote_letter
from dashboard.documents.blocks import Letter
from dashboard.documents.csv_export import as_csv
from dashboard.formatting import CONFIDENCES, amount, counted, day, hours
from dashboard.services import plan as plan_service
from dashboard.services import quote as quote_service
from dashboard.services import (
    quote_build,
    quote_context,
    quote_continued,
    quote_narrowing,
    quote_ready,
    quote_terms,
    saved_quote,
)
from dashboard.services.quote import Quoted, WorkQuoted, as_frame
from dashboard.services.quote_context import QuoteContext
from dashboard.services.quote_ready import Ready
from dashboard.services.result_cache import ResultCache
from dashboard.text import quote_narrowing as narrowing_text
from dashboard.text.quote import (
    allowance,
    approved_part,
    break_even,
    earns,
    line_sources,
    may_turn_up,
    missing,
    price_words,
    rests_on,
    surprises,
    total_sentence,
)
from dashboard.text.remembered import works_behind
from ingest.editing import quote_drafts, saved_quotes
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.editing.saved_quotes import Promised
from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.store import Store
from ingest.studio.settings import read_settings
from ingest.studio.vocabulary import read_vocabulary
from ingest.tables.audit_log import Change
from ingest.values.line_names import line_name

_SHOWN = 6
_SEEN = 0.02
DESCRIBING = {
    "title": "title",
    "kind": "kind",
    "support": "support",
    "height": "height_cm",
    "width": "width_cm",
    "structure": "structure_condition",
    "paint": "paint_condition",
    "surface": "surface_condition",
}


def add_commands(commands: options.Commands) -> None:
    parser = commands.add_reader("quote", quote)
    parser.add_argument(
        "--object", help="a work: the quote being written of it, else the lines of its latest estimate"
    )
    options.add_files(
        parser,
        lines="lines as CSV (the estimates form without object, version and made_on), of --object or of a"
        " work described here",
    )
    parser.add_argument(
        "--confidence",
        type=int,
        choices=sorted(CONFIDENCES),
        help="50, 80 or 90: the chance to end within the hours of the price (80)",
    )
    _add_letter_options(parser)
    for name in DESCRIBING:
        parser.add_argument(
            f"--{name}",
            default="",
            help=(
                f"{name} of a work that is described"
                f" here{', grade 0 to 3' if name in ('structure', 'paint', 'surface') else ''}"
            ),
        )


def _add_letter_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--form",
        choices=(*quote_letter.FORMS, change_letter.FORM),
        help=(
            "of the letter: one price, by phase, a full statement of hours × rate, or what changed since the"
            " last version"
        ),
    )
    options.add_flags(
        parser,
        whole_anew="in a letter of change, price the whole work anew; else what was approved stays and what"
        " was found is added",
        save="save it as the next version of the estimate, with what it stood on",
    )
    parser.add_argument("--reason", metavar="TEXT", help="why there is another version: what was found")
    options.add_files(
        parser,
        pdf="write the letter as PDF",
        html="write the letter as HTML",
        docx="write the letter as a document for a word processor (Office Open XML)",
    )
    options.add_flags(
        parser,
        once_begun="the letter says what it takes once it is begun, not when it would be ready behind the"
        " works on the bench",
    )


def quote(args: argparse.Namespace, store: Store) -> int:
    """What a work will take and cost, from the studio's own finished works, and its letter."""
    con, as_of = options.read_as_of(args, store)
    written_quote, complaints = _quote_of(store, args)
    reads = [quote_drafts.read_over(store, work, as_of, {}) for work in written_quote.works]
    context = quote_context.load_context(
        con, as_of, without_open=quote_build.on_the_bench(queries.overruns(con, as_of), written_quote)
    )
    quoted = quote_build.quoted(context, written_quote, reads, read_settings(con))
    work = quoted.works[0]
    faults = [*complaints, *quoted.terms.faults, *work.read.about, *work.read.problems, *work.faults]
    if work.read.left_aside and work.options:
        faults.append(
            f"{counted(work.read.left_aside, 'line')} cannot be read: not in these hours, not in the price,"
            " and not in the letter."
        )
    for sentence in faults:
        write_err(sentence)
    if not work.options:
        raise BenchHoursError(
            "there is no line to quote",
            "Give lines with a technique or a phase each, and as far as known quantity and hours.",
        )
    for sentence in (*work.doubts, *work.read.notes, *work.notes, *missing(work)):
        write_err(sentence)
    if args.save and faults:
        raise BenchHoursError(
            "nothing is saved, as something of it cannot be read, as is said above",
            "Mend it, and save it then.",
        )
    files: dict[Path, bytes] = {args.csv: as_csv(as_frame(work.options))} if args.csv else {}
    if args.pdf or args.html or args.docx or args.save:
        letter = assemble.letter_of(
            con,
            quoted,
            written_quote,
            read_settings(con),
            read_vocabulary(con),
            _ready(con, quoted, written_quote),
        )
        files |= _letters(args, letter)
    narrowed = quote_narrowing.narrowed(context, work)
    as_data = as_json(quoted, work, context, narrowed)
    with writing(files):
        if args.save:
            _save(
                store,
                saved_quote.promised(context, quoted, written_quote, letter.as_dict()),
                written_quote,
                args.reason or "",
            )
    for file in filter(None, (args.pdf, args.html, args.docx)):
        write_err(f"{file}: the letter")
    if args.json:
        write_json(as_data)
    elif not args.csv:
        _print(context, quoted, work, narrowed)
    return 1 if faults else 0


def _ready(con: Connection, quoted: Quoted, written_quote: Quote) -> Ready | None:
    """Dates on which its works would be ready behind the bench; None where the letter is not to tell any, or
    none can be told.
    """
    if quoted.as_of > queries.today(con) or not quote_ready.counts_the_bench(quoted, written_quote):
        return None
    try:
        plan = plan_service.plan(
            con, quoted.as_of, ResultCache(), progress_of=progress("works and commissions on the bench")
        )
    except BenchHoursError as error:
        write_err(
            f"When it would be ready cannot be told: {error} The letter says what it takes once it is begun."
        )
        return None
    return quote_ready.ready_of(quoted, plan)


def _save(store: Store, promised: list[Promised], written_quote: Quote, reason: str) -> None:
    for item in promised:
        if (
            queries.latest_standing(store.cursor(), item.object, item.as_of) is not None
            and not reason.strip()
        ):
            raise BenchHoursError(
                f"{item.object} has a version already, and nobody has said what was found since",
                "Say --reason.",
            )
    saved = saved_quotes.save(
        store,
        promised,
        written_quote.number,
        reason.strip(),
        Change(by=caller().user, reason="quoted by command"),
    )
    write_err(
        f"Saved as version {saved[0][1]} of {saved[0][0]}. When the owner says yes, note the approval under"
        " Estimate."
    )


def _quote_of(store: Store, args: argparse.Namespace) -> tuple[Quote, list[str]]:
    """The quote that is meant, with the one work of it, and what must be said of it."""
    con = store.cursor()
    code = queries.known(con, args.object) if args.object else ""
    # lines of a file are a quote of their own
    draft = quote_drafts.of_work(con, code) if code and not args.lines else None
    if draft and args.as_of and draft.kept_at and draft.kept_at.date() > args.as_of:
        draft = None  # it was not written yet
    written_quote = Quote(
        terms=dict(draft.terms) if draft else {}, letter=dict(draft.letter) if draft else {}
    )
    complaints: list[str] = []
    if args.lines:
        lines, complaints = quote_drafts.lines_of_file(store, args.lines)
        work = QuotedWork(object=code, lines=lines)
    elif draft:
        work = next(work for work in draft.works if work.object == code)
        if len(draft.works) == 1:
            written_quote.number = draft.number
        else:
            complaints.append(
                f"Quote {draft.number} has {len(draft.works)} works; this is {code} by itself, without their"
                " travel."
            )
            written_quote.terms = {
                name: text for name, text in written_quote.terms.items() if not name.startswith("travel")
            }
    elif code:
        written_quote = _of_latest_version(con, code, args.as_of or queries.today(con))
        work = written_quote.works[0]
        if not work.lines:
            raise BenchHoursError(
                f"nothing of {code} is left to quote: every line of its estimate is finished",
                "Quote a work like it under Quote a work, or say --lines FILE.",
            )
    else:
        raise BenchHoursError("it is not said what to quote", "Say --object OBJECT, or --lines FILE.")
    describing = {column: text for name, column in DESCRIBING.items() if (text := getattr(args, name))}
    if describing and code:
        complaints.append(f"{code} is as it is held; what was said to describe it is left out.")
    elif describing:
        work.described = describing
    written_quote.works = [work]
    _apply_options(written_quote, args)
    return written_quote, complaints


def _apply_options(written_quote: Quote, args: argparse.Namespace) -> None:
    """Set terms and letter of a quote to the options of the call."""
    if args.confidence:
        written_quote.terms["confidence"] = f"{args.confidence}"
    if args.form:
        written_quote.letter["form"] = args.form
    if args.once_begun:
        written_quote.letter["ready"] = quote_ready.ONCE_BEGUN
    if args.whole_anew:
        written_quote.terms["revision"] = quote_terms.WHOLE_ANEW
    if args.reason:
        written_quote.letter["reason"] = args.reason
    elif (
        not args.form
        and written_quote.letter.get("form") == change_letter.FORM
        and not written_quote.letter.get("reason")
    ):
        # a revision is told as what changed where somebody has said what that is
        del written_quote.letter["form"]


def _of_latest_version(con: Connection, code: str, as_of: date) -> Quote:
    if queries.latest_version(con, code, as_of) is None:
        raise BenchHoursError(
            f"{code} has no lines on {day(as_of)}: no quote of it was being written, and it had no estimate",
            "Write it under Quote a work, or say --lines FILE too.",
        )
    return quote_continued.continued_quote(con, code, as_of)


def _letters(args: argparse.Namespace, letter: Letter) -> dict[Path, bytes]:
    """The letter in each of the kinds that are asked for, by the file it goes to."""
    kinds: list[tuple[Path | None, Callable[[Letter], bytes]]] = [
        (args.pdf, letter_pdf.as_pdf),
        (args.html, lambda made: letter_html.as_page(made).encode()),
        (args.docx, letter_docx.as_document),
    ]
    return {file: made(letter) for file, made in kinds if file}


def _print(context: QuoteContext, quoted: Quoted, work: WorkQuoted, narrowed: Sequence[Narrowing]) -> None:
    for option in work.options:
        write_out(
            f"Quote of {work.draft.display_name}{f', option {option.name}' if option.name else ''}: hours"
            f" from {rests_on(context)}"
        )
        columns = {
            "technique": lambda row: line_name(row["phase"], row["technique"]),
            "part": lambda row: row["part"],
            "quantity": lambda row: amount(row["quantity"], row["unit"] or None),
            "own h": lambda row: hours(row["hours"]),
            "even chance h": lambda row: hours(row["p50"]),
            "4 in 5 h": lambda row: hours(row["p80"]),
            "9 in 10 h": lambda row: hours(row["p90"]),
            "works": lambda row: works_behind(row["works"], row["remembered"]),
            "said by": line_sources,
        }
        write_table(option.lines, columns, right={2, 3, 4, 5, 6, 7})
        for row in option.discoveries[option.discoveries["chance"] >= _SEEN].head(_SHOWN).to_dict("records"):
            write_out(may_turn_up(row))
        for sentence in (
            allowance(option, context, work.described),
            total_sentence(option),
            approved_part(option),
            price_words(option),
            earns(option),
            break_even(option),
        ):
            if sentence:
                write_out(sentence)
    if quote_narrowing.is_first(context):
        lines = work.options[0].lines
        write_out(narrowing_text.first_quote(len(lines), quote_narrowing.without_range(lines)))
    if narrowed:
        write_out(narrowing_text.narrowing_lead(*work.options[0].at(0.1, 0.9)))
        for item in narrowed:
            write_out(f"- {narrowing_text.narrowing(item)}")
    likes = quote_service.similar_works(context, work)
    notes = surprises(context.lines, likes)
    for like in likes:
        write_out(f"Like {like.object}: {', '.join(like.why)}{notes.get(like.object, '')}")
    if not likes:
        write_out("No finished work is like it in kind, size, condition and techniques.")
