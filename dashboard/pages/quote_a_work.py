"""Quote a work: from similar works, line by line, to a total with its chance, a price, and a letter."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from typing import Literal
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st
from markupsafe import Markup

from dashboard import fields, frame, held, promising, quote_sentences, quoting, reading, sheet, tables
from dashboard.analysis.price import with_tax
from dashboard.charts import quotes as charts
from dashboard.giving import as_csv_text
from dashboard.letter import change, content, document, page, paper
from dashboard.letter.blocks import Letter
from dashboard.quote_command import as_frame
from dashboard.quoting import Known, Option, Quoted, WorkQuoted
from dashboard.words import CONFIDENCES, UNITS, amount, counted, day, hours, money, plain
from ingest import notation, promises, quotes
from ingest.cautions import usual_cautions
from ingest.errors import BenchHoursError
from ingest.estimates import next_version
from ingest.quotes import MARKS, Quote, QuotedWork
from ingest.records import OBJECTS, SHAPES
from ingest.settings import CLAUSES, NO_CLAUSE
from ingest.typed import store_rows

SHEET = {
    "technique": ("technique", 210), "quantity": ("quantity", 105), "hours": ("own hours", 115), "part": ("part", 90), "low_hours": ("low, h", 85), "high_hours": ("high, h", 90),
    "person": ("person", 90), "option": ("option", 110), "unattended_hours": ("unattended, h", 145), "phase": ("phase, if not usual", 150), "mark": ("belongs to", 120), "wording": ("in the letter", 200), "note": ("note", 160),
}  # fmt: skip
COSTS = {"what": ("outside cost or material", 260), "amount": ("amount without tax", 150), "first_stage": ("first stage? (yes)", 150)}
CALLED = {
    "hours": "own hours", "low_hours": "low", "high_hours": "high", "unattended_hours": "unattended", "height_cm": "height", "width_cm": "width", "area_dm2": "area",
    "structure_condition": "condition: structure", "paint_condition": "condition: paint", "surface_condition": "condition: surface",
}  # fmt: skip
GRADES = {"": "not said", "0": "0 none", "1": "1 slight", "2": "2 marked", "3": "3 severe"}
ANOTHER, NOT_HERE = "", "A work that is not here yet: describe it"
SEEN, MOST_SEEN = 0.02, 8


def body() -> None:
    number = st.query_params.get("quote", "")
    kept = quotes.read(held.store().cursor(), int(number)) if number.isdecimal() and len(number) < 10 else None
    if kept is None:
        if number:
            _gone(number)
        _all()
    else:
        _one(kept)


def _gone(number: str) -> None:
    """A quote that is not being written: it was saved, be it in another window, or thrown away."""
    found = promises.of_number(held.store().cursor(), int(number)) if number.isdecimal() and len(number) < 10 else []
    if not found:
        st.warning(plain(f"There is no quote {number} being written: it was thrown away, or never was. Those being written are below."))
        return
    st.info(
        plain(
            f"Quote {number} was saved as {' and '.join(f'version {version} of {code}' for code, version in found)}, so it is not written on any more. What it says, and its letter, stand under Estimate."
        )
    )
    for code, _ in found:
        st.page_link("pages/estimate.py", label=f"Estimate of {code}", query_params={"object": code, **held.same_studio()})


def _go(**query: str) -> None:
    st.query_params.from_dict({**query, **held.same_studio()})
    st.rerun()


# --- those being written


def _all() -> None:
    being_written = quotes.read_all(held.store().cursor())
    works = held.works(held.today())
    st.write(
        "What will it take, how sure is that, and what to charge: told from your own finished works. Begin with a work, or describe one that is not here yet."
    )
    codes = [ANOTHER, *works["object"].tolist()] if len(works) else [ANOTHER]
    titles = dict(zip(works["object"], works["title"].fillna(""), strict=True)) if len(works) else {}
    said = st.query_params.get("object", ANOTHER)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        code = st.selectbox(
            "What to quote",
            codes,
            index=codes.index(said) if said in codes else 0,
            format_func=lambda one: f"{one}  {titles[one]}".strip() if one else NOT_HERE,
            key="to quote",
        )
        if st.button("Begin a quote", type="primary"):
            fresh = promising.goes_on(held.store().cursor(), code, held.today()) if code else Quote(works=[QuotedWork()])
            begun = quotes.keep(held.store(), fresh, held.visit())
            _go(quote=f"{begun.number}")
    if works.empty:
        frame.say(
            ["No work is here yet, so what is said of a quote is what is believed of any studio, and far from sure. It gets better with each finished work."]
        )
        frame.invite_to_invented()
    if being_written:
        st.header("Being written")
        rows: list[list[tables.Cell]] = [
            [tables.Link(f"{one.number}", held.address("quote-a-work", quote=f"{one.number}")), ", ".join(work.called for work in one.works), f"{sum(len(work.filled) for work in one.works)}", _when(one.kept_at)]
            for one in being_written
        ]  # fmt: skip
        st.html(tables.ledger("Quotes being written", ["quote", "of", "lines", "kept"], rows, words=(0, 1, 3)))


def _when(utc: datetime | None) -> str:
    if utc is None:
        return ""
    there = utc.replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo(held.settings().zone))
    return f"{day(there.date())}, {there:%H:%M}"


# --- one quote


def _one(quote: Quote) -> None:
    turn = st.session_state.setdefault(f"turn of {_name(quote)}", 0)
    if _changed_elsewhere(quote, turn):
        return
    before = json.dumps(quote.said(), sort_keys=True)
    if st.button("Back to all quotes"):
        _go()
    at = _which_work(quote)
    work = quote.works[at]
    key = f"{_name(quote)} {at}"
    head = st.empty()  # says what the work is called once its fields are read
    _the_work(work, key, turn)
    about = st.container()
    head.header(plain(f"Quote {quote.number}: {work.called}"))
    now = held.quoting_of(quote)
    likes = st.container()  # filled once the lines are read that are on the sheet now
    st.subheader("Its lines")
    frame.say([
        "A technique in each line is enough: what it takes here comes from the record. What is counted by area is filled in where its own lines were measured before. Own hours move a line as far as your figures were worth it before, and the other lines of the work with it, as far as one figure told of the whole work before. "
        "Low and high count where the record knows little. Options stand side by side, lines without one belong to all. What stands under \"in the letter\" is how the owner reads that line. Every cell is kept as soon as you leave it."
    ])  # fmt: skip
    work.lines = sheet.edit(f"{key} lines", work.lines, SHEET, turn, "The lines of the quote")
    added = sheet.line_by_choosing(f"adding {key}", f"{key} add {turn}", hours_or_quantity=False)
    if added:
        work.lines = [*work.filled.values(), added]
        _open(quote)
    with st.expander("Outside costs and materials (framer, X-ray, transport)", expanded=bool(work.costs)):
        work.costs = sheet.edit(f"{key} costs", work.costs, COSTS, turn, "Outside costs and materials")
    comes_to = st.container()
    st.subheader("Price")
    _terms(quote, turn, now)
    of_terms = st.container()
    _keep(quote, before)
    found = held.quoted(quote, CALLED)
    told = found.works[at]
    with about:
        _warn(told.read.about)
    with of_terms:
        _warn([*found.commercial.faults, *found.commercial.doubts])
    with likes:
        _like_it(quote, at, told, now)
    with comes_to:
        one = _what_it_comes_to(quote, told, found, now)
    if one:
        _how_it_reads(told)
        _usually_done(quote, work, told, one)
        _may_turn_up(quote, work, told, one, now)
    _letter(quote, found, turn)
    _save(quote, found, now)
    _end(quote, found)


def _changed_elsewhere(quote: Quote, turn: int) -> bool:
    """Another window has kept it since; that is said, with the way to take it up."""
    fresh = f"{_name(quote)} shown {turn}" not in st.session_state
    st.session_state[f"{_name(quote)} shown {turn}"] = True
    if not fields.changed_elsewhere(_name(quote), quote.kept_at, quote.kept_by, fresh=fresh):
        return False
    st.warning("This quote was changed from another window. What you type here is not kept until you take it up again.")
    if st.button("Show it as it is now, and go on here"):
        _open(quote)
    return True


def _warn(sentences: Sequence[str]) -> None:
    for sentence in sentences:
        st.warning(plain(sentence))


def _name(quote: Quote) -> str:
    return f"quote {quote.number}"


def _keep(quote: Quote, before: str) -> None:
    """Keep what was changed; nothing is shown that is not kept."""
    if json.dumps(quote.said(), sort_keys=True) != before:
        quotes.keep(held.store(), quote, held.visit())
        st.session_state[f"kept {_name(quote)}"] = quote.kept_at
    frame.say([f"Kept on {_when(quote.kept_at)}."])


def _open(quote: Quote) -> None:
    """Keep it, and show every field anew from what is kept."""
    quotes.keep(held.store(), quote, held.visit())
    turn = st.session_state.get(f"turn of {_name(quote)}", 0) + 1
    st.session_state.setdefault(f"shown in {_name(quote)}", st.session_state.get(f"{_name(quote)} which") or 0)
    sheet.forget(_name(quote))
    st.session_state[f"turn of {_name(quote)}"] = turn
    st.session_state[f"kept {_name(quote)}"] = quote.kept_at
    st.rerun()


def _which_work(quote: Quote) -> int:
    if len(quote.works) == 1:
        return 0
    names = [f"{number}. {work.called}" for number, work in enumerate(quote.works, 1)]
    key = f"{_name(quote)} which"
    # in place of a value of its own, and before the field is there: a work that was added is shown, and the one that was shown stays
    st.session_state[key] = min(st.session_state.pop(f"shown in {_name(quote)}", st.session_state.get(key) or 0), len(names) - 1)
    chosen = st.segmented_control("Which work", range(len(names)), format_func=lambda at: plain(names[at]), required=True, key=key)
    return min(chosen or 0, len(names) - 1)


def _the_work(work: QuotedWork, key: str, turn: int) -> None:
    def line(into: dict[str, str], name: str, label: str, placeholder: str = "") -> None:
        _line(into, name, label, f"{key} {name} {turn}", placeholder)

    if work.object:
        frame.say(["What it is, its size and its condition stand under Works; where it will end, if it is under way, On the bench."])
        with st.container(horizontal=True):
            st.page_link("pages/works.py", label="Change what it is", query_params={"object": work.object, **held.same_studio()})
            st.page_link("pages/on_the_bench.py", label="On the bench", query_params={"object": work.object, **held.same_studio()})
    with st.expander("How the letter names it: medium and marks" if work.object else "What it is", expanded=not work.object, key=f"{key} what"):
        left, right = st.columns(2)
        if not work.object:
            with left:
                line(work.described, "title", "Title")
                line(work.described, "maker", "Maker")
                line(work.described, "kind", "Kind", placeholder="easel painting")
                line(work.described, "support", "Support", placeholder="canvas")
                _chosen(work.described, "shape", "Shape", {"": "not said (a rectangle)"} | {one: one for one in SHAPES}, key, turn)
            with right:
                line(work.described, "height_cm", "Height, cm", placeholder="60 or 24 in")
                line(work.described, "width_cm", "Width, cm")
                for name in ("structure", "paint", "surface"):
                    _chosen(work.described, f"{name}_condition", f"Condition: {name}", GRADES, key, turn)
        with left:
            line(work.identified, "medium", "Medium, as the letter says it", placeholder="oil on canvas")
        with right:
            line(work.identified, "marks", "Marks, labels, inscriptions")
        line(work.identified, "condition", "Condition found, as the letter says it (may stay empty)")


def _chosen(into: dict[str, str], name: str, label: str, choices: dict[str, str], key: str, turn: int) -> None:
    options = list(choices)
    now = into.get(name, "")
    said = st.selectbox(label, options, index=options.index(now) if now in options else 0, format_func=choices.__getitem__, key=f"{key} {name} {turn}")
    _put(into, name, said)


def _put(into: dict[str, str], name: str, said: str) -> None:
    """What a field says now; one that says nothing is not there."""
    into.pop(name, None)
    if said:
        into[name] = said


# --- similar works


def _like_it(quote: Quote, at: int, told: WorkQuoted, now: Known) -> None:
    st.subheader("Finished works like it")
    likes = quoting.similar_works(now, told)
    if not likes:
        frame.say([_none_like(told, now)])
        return
    surprises = quote_sentences.surprising(now.lines, likes)
    for like in likes:
        told_of, take = st.columns([5, 1], vertical_alignment="center")
        why = ", ".join(like.why) + surprises.get(like.object, "")
        told_of.html(tables.beside([Markup("{}: {}.").format(held.work_link(like.object), why)]))
        if take.button(
            "Take its lines",
            key=f"{_name(quote)} {at} take {like.object}",
            help="What was quoted and worked there, without hours, areas brought to this size; what turned up there is left to chance.",
        ):
            work, taken = quote.works[at], quoting.lines_like(now, like.object, told.area, held.store().cursor())
            if not taken:
                frame.refuse(f"{like.object} has no line that was quoted and worked, so there is none to take.")
                return
            work.lines = [*work.filled.values(), *taken]
            _open(quote)


def _none_like(told: WorkQuoted, now: Known) -> str:
    if not now.finished:
        return "No work is finished yet, so there is none to compare it with."
    about = told.described
    if not (about.kind or about.support or about.techniques):
        return "Say what it is, and finished works like it stand here, with what they took and what surprised."
    return "No finished work is like it, in kind, support, size, condition and techniques."


def _unknown_marks(work: QuotedWork) -> list[str]:
    return [
        f'Line {number}, belongs to "{mark}": is none of {", ".join(MARKS)}. It stands in the full statement as it is written.'
        for number, line in work.filled.items()
        if (mark := line.get("mark", "")) and mark not in MARKS
    ]


# --- price


def _terms(quote: Quote, turn: int, now: Known) -> None:
    studio, terms, key = held.settings(), quote.terms, f"{_name(quote)} terms"
    net = quoting.commercial(terms, studio, now.people).without_tax

    def field(name: str, label: str, width: int, otherwise: object = None, explained: str | None = None) -> None:
        shown = "" if otherwise is None else notation.written(otherwise) if isinstance(otherwise, float) else f"{otherwise}"
        _line(terms, name, label, f"{key} {name} {turn}", shown, width, explained)

    chances = list(CONFIDENCES)
    confidence = st.segmented_control(
        "The price is for the hours within which it ends", chances, default=quoting.confidence_of(terms), format_func=lambda one: f"{CONFIDENCES[one]}", required=True, key=f"{key} confidence {turn}",
    )  # fmt: skip
    # what is usual is not written: to look at a quote is no change of it
    _put(terms, "confidence", "" if confidence in (None, quoting.USUAL_CONFIDENCE) else f"{confidence}")
    with st.container(horizontal=True, key="choices"):
        field(
            "rate",
            f"Rate per hour{net}",
            190 if net else 130,
            studio.hourly_rate,
            "Empty: the studio's, and of people who have one of their own theirs (Studio, quotes)",
        )
        field("currency", "Currency", 100, studio.currency)
        field("ceiling", f"Ceiling{net}", 170 if net else 120, None, "Of one work, without tax: the price does not go beyond it without a new approval")
        field("begin_on", "Begin on", 140, None, "For the day by which it is ready")
    with st.expander("Minimum charge, tax, payments, travel, a first stage"):
        with st.container(horizontal=True):
            field("minimum", f"Minimum charge{net}", 210 if net else 140, studio.minimum_charge)
            field("tax", "Tax on top, per cent", 150, studio.tax_per_cent)
            field("travel_hours", "Travel, hours" if len(quote.works) == 1 else "Shared travel, hours", 150)
            field("travel_cost", f"{'Travel' if len(quote.works) == 1 else 'Shared travel'}, cost{net}", 240 if net else 150)
        field("payments", "Payments, in per cent (the rest comes last)", 520, studio.payments, "Like: on approval 30; at handover 40")
        first = st.toggle(
            "A first stage only: examine and test, charged; what is found opens the next quote",
            terms.get("first_stage") == "yes",
            key=f"{key} first stage {turn}",
        )
        _put(terms, "first_stage", "yes" if first else "")
        if first:
            frame.say([f"The price is for the lines in {', '.join(now.first_phases) or 'examination and documentation'}."])


# --- what it comes to


def _what_it_comes_to(quote: Quote, told: WorkQuoted, found: Quoted, now: Known) -> Option | None:
    """Figures, chance and price; the option that is looked at."""
    one = None
    _warn([*told.read.problems, *told.doubts, *told.faults, *_unknown_marks(told.said)])
    frame.say([*told.read.notes, *told.notes])
    if told.options:
        one = _total(quote, told)
        frame.say([_rests_on(now)])
    else:
        st.write("No line can be read yet: write a technique on the sheet, choose one, or take the lines of a similar work.")
    if len(found.works) > 1:
        _commission(found)
    return one


def _total(quote: Quote, told: WorkQuoted) -> Option:
    st.subheader("What it comes to")
    one = told.options[0]
    if len(told.options) > 1:
        chosen = st.segmented_control(
            "Option", [option.name for option in told.options], default=told.options[0].name, required=True, key=f"{_name(quote)} option of {told.said.called}"
        )
        one = next((option for option in told.options if option.name == chosen), one)
    p50, p80, p90 = one.charged_at(0.5, 0.8, 0.9)
    price = one.price
    st.html(
        tables.figures([
            (f"{'first stage, ' if one.commercial.first_stage else ''}even chance", f"{hours(p50)} h", False), ("4 in 5", f"{hours(p80)} h", False), ("9 in 10", f"{hours(p90)} h", False),
            (f"price{one.commercial.tax_included}", money(price.amount, one.commercial.currency) if price else "no price yet", False),
        ])
    )  # fmt: skip
    if told.read.left_aside:
        st.warning(
            f"{counted(told.read.left_aside, 'line')} of the sheet cannot be read, as said above: not in these hours, not in the price, and not in the letter."
        )
    if moved := _effect(quote, one, p80):
        st.info(plain(moved))
    if one.charged().max() > 0:
        values = one.dots()
        within = int((values <= one.promised).sum())
        st.altair_chart(
            charts.chance(values, one.promised), width="stretch", theme=None,
            alt=f"{len(values)} equally likely totals from {hours(values[0])} to {hours(values[-1])} hours, {within} of them within the {hours(one.promised)} hours of the promise.",
        )  # fmt: skip
        frame.say(
            [
                f"Each of the {len(values)} dots is equally likely: {within} of them are within the promise{', which is of the first stage alone' if one.commercial.first_stage else ''}."
            ]
        )
    frame.say([
        quote_sentences.promised(one), quote_sentences.stays(one), quote_sentences.price_words(one), quote_sentences.earns(one), quote_sentences.break_even(one), _time(one),
        quote_sentences.outside(float(one.lines["hours"].sum()), one.outside),
    ])  # fmt: skip
    if len(told.options) > 1:
        _side_by_side(told)
    drivers = quote_sentences.drivers(one)
    if len(drivers) and one.first_stage is None:
        with st.expander("Which lines make it unsure", expanded=False):
            frame.say([quote_sentences.drives(one)])
            st.altair_chart(
                charts.drivers(drivers), width="stretch", theme=None,
                alt="Hours between even chance and 4 in 5: " + "; ".join(f"{row['line']} {hours(row['spread'])}" for row in drivers.head(8).to_dict("records")),
            )  # fmt: skip
    return one


def _rests_on(now: Known) -> str:
    if not now.finished_lines:
        return "No line is finished yet: these are figures that are believed of any studio, and far from sure."
    return f"From {counted(now.finished_lines, 'finished line')} on {counted(len(now.finished), 'finished work')}."


def _effect(quote: Quote, one: Option, p80: float) -> str:
    """What the last change did to the total, until the next one; a look at another work or option is none."""
    seen = f"effect in {_name(quote)}"
    stands_for = (quote.kept_at, st.session_state.get(f"{_name(quote)} which"), one.name)
    before = st.session_state.get(seen)
    if before is None or before[0][1:] != stands_for[1:]:
        st.session_state[seen] = (stands_for, p80, "")
    elif before[0] != stands_for:
        st.session_state[seen] = (stands_for, p80, quote_sentences.effect(before[1], p80))
    said: str = st.session_state[seen][2]
    return said


def _time(one: Option) -> str:
    waits = pd.Series(one.days).quantile([0.5, 0.8]).tolist()
    waiting = f", with {waits[0]:,.0f} to {waits[1]:,.0f} days of waiting (soaking, pressing, drying) that are nobody's hours" if waits[1] >= 0.5 else ""
    return f"From {'now' if one.worked else 'beginning'} to end {one.weeks(0.5):,.1f} weeks at even chance, {one.weeks(0.8):,.1f} weeks 4 in 5, at {one.commercial.bench_hours_per_week:g} h at the bench a week{waiting}."


def _side_by_side(told: WorkQuoted) -> None:
    rows = [
        [
            one.name,
            *(hours(value) for value in one.at(0.5, 0.8, 0.9)),
            money(one.price.amount, one.commercial.currency) if one.price else "no price yet",
            f"{one.weeks(0.8):,.1f}",
        ]
        for one in told.options
    ]
    st.html(
        tables.ledger(
            "Options side by side",
            ["option", "even chance, h", "4 in 5, h", "9 in 10, h", f"price{told.options[0].commercial.tax_included}", "weeks, 4 in 5"],
            rows,
        )
    )


def _commission(found: Quoted) -> None:
    agreed = found.commercial
    rows = [
        [work.said.called, *(hours(value) for value in work.options[0].charged_at(0.5, 0.8)), money(one.amount, agreed.currency) if (one := work.options[0].price) else "no price yet"] if work.options else [work.said.called, "no lines yet", "", ""]
        for work in found.works
    ]  # fmt: skip
    if agreed.travel_hours or agreed.travel_cost:
        travel = None if agreed.travel is None else with_tax(agreed.travel, agreed.terms)
        rows.append(["shared travel", "", "", money(travel, agreed.currency) if travel is not None else "no price yet"])
    even, four = (float(value) for value in pd.Series(found.total).quantile([0.5, 0.8]))
    rows.append(["together", hours(even), hours(four), money(found.amount, agreed.currency) if found.amount is not None else "no price yet"])
    st.html(tables.ledger("Works of this quote", ["work", "even chance, h", "4 in 5, h", f"price{agreed.tax_included}"], rows, foot=True))
    frame.say(
        [
            "Works that are quoted together do not all run over at once, so together is less than the sum at 4 in 5; each price is of its work by itself, and prices sum. Of options the first counts."
        ]
    )


def _how_it_reads(told: WorkQuoted) -> None:
    st.subheader("How it reads")
    places = {phase: place for place, phase in enumerate(dict.fromkeys(phase for option in told.options for phase in option.lines["phase"]))}
    every = pd.concat([option.lines for option in told.options]).drop_duplicates("number")
    every = every.assign(place=every["phase"].map(places)).sort_values("place", kind="stable")
    rows: list[list[str] | str] = []
    for phase, inside in every.groupby("phase", sort=False):
        rows.append(str(phase))
        for row in inside.to_dict("records"):
            named = ", ".join(filter(None, (row["technique"], row["part"], f"option {row['option']}" if row["option"] else "")))
            chances = [hours(row[level]) for level in ("p50", "p80", "p90")]
            rows.append([named, *chances, _quantity(row), hours(row["hours"]), f"{row['works']}", quote_sentences.came_from(row)])
    heads = ["line", "even chance, h", "4 in 5, h", "9 in 10, h", "quantity", "own, h", "works", "said by"]
    st.html(tables.ledger("Lines of the quote", heads, rows, words=(0, 7)))
    techniques = list(dict.fromkeys(name for option in told.options for name in option.lines["technique"]))
    with_first = f"Lines that belong to every option stand here as they read with {told.options[0].name}." if len(told.options) > 1 else ""
    frame.say(["The parts do not sum to the total at 4 in 5: not everything goes slowly at once.", with_first, usual_cautions(fields.vocabulary(), techniques)])
    st.download_button("Lines as CSV", partial(_csv, told), "quote.csv", "text/csv", on_click="ignore")


def _csv(told: WorkQuoted) -> str:
    return as_csv_text(as_frame(told.options))


def _quantity(row: tables.Row) -> str:
    if pd.isna(row["quantity"]):
        return "not known" if row["unit"] and not row["done"] else ""
    said = amount(row["quantity"], row["unit"] or None) or f"{row['quantity']:g} {UNITS.get(row['unit'], '')}"
    if pd.isna(row["filled_in"]):
        return said
    return f"{said} (all of it, as measured before)" if row["filled_in"] >= 1 else f"about {said} (usual here: {100 * row['filled_in']:.0f} % of it)"


# --- what may turn up


def _usually_done(quote: Quote, work: QuotedWork, told: WorkQuoted, one: Option) -> None:
    """What is nearly always done here and this sheet lacks; one press adds it."""
    if not one.usual:
        return
    st.subheader("Nearly always done here, and not on this sheet")
    frame.list_out(quote_sentences.usual(one.usual))
    names = [usual.technique for usual in one.usual]
    # of options, only the one that lacks it gets it
    elsewhere = {name for option in told.options for name in option.lines["technique"]}
    lines = {name: {"technique": name} | ({"option": one.name} if name in elsewhere else {}) for name in names}
    with st.container(horizontal=True, key="usual"):
        for name in names:
            if st.button(f"Add {name}", key=f"{_name(quote)} usual {one.name} {name}"):
                work.lines = [*work.filled.values(), lines[name]]
                _open(quote)
        if len(names) > 1 and st.button("Add all of them", key=f"{_name(quote)} usual {one.name}"):
            work.lines = [*work.filled.values(), *lines.values()]
            _open(quote)


def _may_turn_up(quote: Quote, work: QuotedWork, told: WorkQuoted, one: Option, now: Known) -> None:
    st.subheader("What may turn up")
    frame.say(
        [
            quote_sentences.allowance(one, now, told.described),
            "A chance lies between what the works beside it say and what is usual in this studio: the nearer to them the more they are."
            if len(one.found)
            else "",
        ]
    )
    seen = one.found[one.found["chance"] >= SEEN].head(MOST_SEEN)
    if len(seen):
        rows = [
            [row["technique"] + (" on another part" if row["another"] else ""), quote_sentences.in_100(row["chance"]), hours(row["hours_if_found"]), hours(row["promised"]), f"{row['times']} of {row['of']} {quote_sentences.things_in_words(row['things'])}"]
            for row in seen.to_dict("records")
        ]  # fmt: skip
        rest = len(one.found) - len(seen)
        if rest:
            rows.append([counted(rest, "other technique"), "each less", "", hours(float(one.found["promised"].sum() - seen["promised"].sum())), ""])
        st.html(tables.ledger("What may turn up", ["technique", "chance", "if so, h", "in the promise, h", "turned up unquoted on"], rows, words=(0, 4)))
    for technique, reason in list(work.left_out.items()):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.write(plain(f"{technique} is left out: {reason}"))
            if st.button("Count it again", key=f"{_name(quote)} count {technique}"):
                del work.left_out[technique]
                _open(quote)
    choices = [name for name in dict.fromkeys([*one.found["technique"], *(usual.technique for usual in one.usual)]) if name not in now.left_out(work)]
    if choices:
        with st.expander("Leave one of them out"), st.form(f"{_name(quote)} leave out {len(work.left_out)}", border=False):
            technique = st.selectbox("Technique that will not turn up", choices)
            reason = st.text_input("Why", placeholder="the tacking edges were seen, and are whole")
            if st.form_submit_button("Leave it out"):
                if not reason.strip():
                    frame.refuse("Not left out: write why, it is kept with the quote.")
                else:
                    work.left_out[technique] = reason.strip()
                    _open(quote)


# --- the letter


def _letter(quote: Quote, found: Quoted, turn: int) -> None:
    st.subheader("The letter")
    said, key, studio = quote.letter, f"{_name(quote)} letter", held.settings()
    before = json.dumps(quote.said(), sort_keys=True)
    _form(quote, found, key, turn)
    usual = "\n".join(content.usual_addressee(found))
    _text(said, "addressee", "Addressee", key, turn, usual, rows=96)
    with st.expander("Day, opening, clauses"):
        _line(said, "made_on", "Dated", f"{key} day {turn}", f"{held.today():%Y-%m-%d}", 160)
        if said.get("made_on") and not content.dated(said, studio):
            st.warning(
                plain(f'Dated "{said["made_on"]}" cannot be read as a day: write it like {held.today():%Y-%m-%d}. Until then the letter is dated today.')
            )
        _text(said, "opening", "Opening (may stay empty)", key, turn, "", rows=80)
        _text(said, "closing", "Closing (may stay empty)", key, turn, "", rows=80)
        for name in CLAUSES:
            _text(said, name, content.CLAUSE_HEADS[name], key, turn, getattr(studio, name) or content.USUAL_CLAUSES[name], rows=96)
        frame.say([f'What is written here is for this letter; the studio\'s own words are kept under Studio, quotes. "{NO_CLAUSE}" leaves a clause out.'])
    if _before(found):
        if said.get("form") == change.FORM and any(work.under_way for work in found.works):
            _what_is_priced(quote, key, turn)
        _warn(_discount(found))
        _text(said, "reason", "What was found: why there is another version", key, turn, "", rows=80)
    dots = st.toggle("Show the owner the dots", said.get("dots") == "yes", key=f"{key} dots {turn}")
    _put(said, "dots", "yes" if dots else "")
    if said.get("form") != change.FORM and found.commercial.begin_on is None:
        ready = st.toggle(
            "Say when it would be ready, behind the works on the bench; else what it takes once it is begun",
            said.get("ready") != promising.ONCE_BEGUN,
            key=f"{key} ready {turn}",
        )
        _put(said, "ready", "" if ready else promising.ONCE_BEGUN)
    if json.dumps(quote.said(), sort_keys=True) != before:
        quotes.keep(held.store(), quote, held.visit())
        st.session_state[f"kept {_name(quote)}"] = quote.kept_at
    _words_of_lines(quote, found, key, turn)
    _take_along(quote, found, key)


def _words_of_lines(quote: Quote, found: Quoted, key: str, turn: int) -> None:
    """How each line of the sheet reads in the letter, in her own words."""
    with st.expander("How its lines read", key=f"{key} words", on_change="rerun") as opened:
        if not opened.open:
            return
        typed: list[tuple[dict[str, str], str]] = []
        with st.form(f"{key} words {turn}", border=False):
            frame.say(["In your own words; empty: as it stands here in grey."])
            for at, told in enumerate(found.works):
                lines = pd.concat([option.lines for option in told.options]).drop_duplicates("number") if told.options else told.read.lines
                for row in lines[lines["number"] > 0].to_dict("records"):  # what stands on no sheet is said as it is called
                    line = quote.works[at].lines[row["number"] - 1]
                    named = filter(
                        None,
                        (told.said.called if len(found.works) > 1 else "", row["technique"], row["part"], f"option {row['option']}" if row["option"] else ""),
                    )
                    plainly = content.line_in_words(row | {"wording": ""})
                    typed.append(
                        (line, st.text_input(", ".join(named), line.get("wording", ""), placeholder=plainly, key=f"{key} words {at} {row['number']} {turn}"))
                    )
            if not typed:
                frame.say(["No line can be read yet."])
            if st.form_submit_button("Let them read so"):
                for line, words in typed:
                    _put(line, "wording", " ".join(words.split()))
                _open(quote)


def _take_along(quote: Quote, found: Quoted, key: str) -> None:
    """The letter to be taken along or looked at, or why there is none yet."""
    if not any(work.options for work in found.works):
        frame.say(["The letter can be had once there is a line."])
        return
    if len(found.owners) > 1:
        st.warning("The works of this quote are of different owners, and a letter is for one: take one of them out, below, and quote it by itself.")
        return
    aside = sum(work.read.left_aside for work in found.works)
    empty = [work.said.called for work in found.works if not work.options]
    if aside or empty:
        missing = [counted(aside, "line that cannot be read", "lines that cannot be read")] if aside else []
        missing += [f"{name}, which has no lines" for name in empty]
        st.warning(plain(f"The letter is without {' and without '.join(missing)}. Mend that first, or it promises less than you mean."))
    made = _made(quote, found)
    try:
        made(False)
    except BenchHoursError as error:
        st.warning(plain(f"No letter yet: {error}"))
        return
    name = f"quote-{quote.number}"
    with st.container(horizontal=True):
        st.download_button("The letter as PDF", lambda: paper.as_pdf(made(True)), f"{name}.pdf", "application/pdf", type="primary", on_click="ignore")
        st.download_button("The letter as a page (HTML)", lambda: page.as_page(made(True)), f"{name}.html", "text/html", on_click="ignore")
        st.download_button("The letter as a document (.docx)", lambda: document.as_document(made(True)), f"{name}.docx", document.KIND, on_click="ignore")
    with st.expander("See it", key=f"{key} see", on_change="rerun") as opened:
        if opened.open:
            with st.spinner("Looking when it would be ready …"):
                pictures = paper.as_pictures(made(True))
            for number, picture in enumerate(pictures, 1):
                st.image(picture, caption=f"Page {number}", width="stretch")


def _made(quote: Quote, found: Quoted) -> Callable[[bool], Letter]:
    """The letter, made once it is wanted, be it outside the run of the page; with when the works are ready, which takes longest, or without."""
    opened, studio, words, ready = held.store(), held.settings(), fields.vocabulary(), held.ready_later(quote, found)
    return lambda with_ready: promising.letter_of(opened.cursor(), found, quote, studio, words, ready() if with_ready else None)


def _form(quote: Quote, found: Quoted, key: str, turn: int) -> None:
    said = quote.letter
    called = content.FORMS | ({change.FORM: "what changed"} if _before(found) else {})
    forms = list(called)
    form = st.segmented_control(
        "Form",
        forms,
        default=said.get("form", "one") if said.get("form", "one") in forms else "one",
        format_func=called.__getitem__,
        required=True,
        key=f"{key} form {turn}",
    )
    was = said.get("form", "")
    _put(said, "form", "" if form in (None, forms[0]) else f"{form}")
    if change.FORM in (was, said.get("form", "")) and was != said.get("form", ""):
        _open(quote)  # whether the whole is priced, in the figures above, goes with it


def _what_is_priced(quote: Quote, key: str, turn: int) -> None:
    """Whether what was approved stays and what was found is added, or the whole is priced anew."""
    choices = {"": "What was approved stays, and what was found is added", quoting.WHOLE_ANEW: "The whole anew"}
    current = quote.terms.get("revision", "")
    chosen = st.radio(
        "The price of the change",
        list(choices),
        index=list(choices).index(current) if current in choices else 0,
        format_func=choices.__getitem__,
        key=f"{key} revision {turn}",
    )
    if chosen != current:
        _put(quote.terms, "revision", chosen)
        _open(quote)  # the figures above rest on it


def _discount(found: Quoted) -> list[str]:
    """A price that was agreed below or above the one reckoned then: the new one does not carry that over by itself."""
    con, told = held.store().cursor(), []
    for work in found.works:
        if any(option.change for option in work.options):
            continue  # what was approved stays, at the price agreed
        agreed = promising.before(con, work.said.object, found.as_of) if work.said.object and work.options else None
        if agreed is None or agreed.taxed is None or agreed.price is None or agreed.reckoned is None or round(agreed.price - agreed.reckoned, 2) == 0:
            continue
        currency, by = agreed.currency or held.settings().currency, agreed.price - agreed.reckoned
        told.append(
            f"For version {agreed.version} of {work.said.object} {money(agreed.taxed.amount, currency)}{agreed.taxed.words} was agreed, {money(abs(by), currency)} {'less' if by < 0 else 'more'} than was reckoned. The price of this revision does not carry that over: "
            "set a ceiling, or another rate, if it is to."
        )
    return told


def _before(found: Quoted) -> bool:
    """A work of it has a version that stands, so what is saved is a revision."""
    con = held.store().cursor()
    return any(promising.latest_standing(con, work.said.object, found.as_of) is not None for work in found.works if work.said.object)


def _save(quote: Quote, found: Quoted, now: Known) -> None:
    """What is quoted becomes the next version of its estimate."""
    if not any(work.options for work in found.works):
        return
    st.subheader("Save it")
    for at, work in enumerate(quote.works):
        if not work.object:
            _give_code(quote, at)
            return
    con = held.store().cursor()
    numbers = {work.said.object: next_version(con, work.said.object) for work in found.works if work.options}
    versions = " and ".join(f"version {number} of {code}" for code, number in numbers.items())
    frame.say([f"It becomes {versions}, with all that it stood on: it says the same in years, whatever is logged or changed until then."])
    save = st.button(f"Save as {versions}", type="primary")
    if not frame.meant(f"{_name(quote)} doubt", save, lambda: found.commercial.doubts, "It is meant so: save it"):
        return
    reason = quote.letter.get("reason", "").strip()
    if _before(found) and not reason:
        frame.refuse("Not saved: write first what was found, above under The letter. It stands with the version.")
        return
    try:
        with st.spinner("Looking when it would be ready …"):
            letter = _made(quote, found)(True)
        saved = promises.save(held.store(), promising.promised(now, found, quote, letter), quote.number, reason, held.change("quoted under Quote a work"))
    except BenchHoursError as error:
        frame.refuse(f"Not saved: {error} What you typed is kept.")
        return
    sheet.forget(_name(quote))
    st.query_params.from_dict(held.same_studio())
    said = " and ".join(f"version {number} of {code}" for code, number in saved)
    frame.done(
        f"Saved as {said}. When the owner says yes, note the approval under Estimate; its letter is there too.",
        *(("pages/estimate.py", f"Estimate of {code}", {"object": code}) for code, _ in saved),
    )


def _give_code(quote: Quote, at: int) -> None:
    """A described work that came in becomes one of the works, and its quote goes on as that of a work here."""
    work = quote.works[at]
    with st.form(f"{_name(quote)} code {at}", border=False):
        frame.say(
            [
                f"{work.called[0].upper()}{work.called[1:]} is not among the works yet. Give it its code, and it is added as it is described here; its version can be saved then."
            ]
        )
        code = st.text_input("Its code", key=f"{_name(quote)} code of {at}", placeholder="26-014", width=200)
        if not st.form_submit_button("Add it to the works"):
            return
    code = " ".join(code.split())
    if not code:
        frame.refuse("Not added: write its code.")
        return
    if any(notation.folded(one) == notation.folded(code) for one in held.works(held.today())["object"]):
        frame.refuse(f'Not added: "{code}" is the code of another work. If it is this one, begin its quote under its code.')
        return
    try:
        said = {name: text for name, text in work.described.items() if name in quotes.DESCRIBED and text.strip()}
        if quote.letter.get("addressee", "").strip():
            owner, *address = [line.strip() for line in quote.letter["addressee"].splitlines() if line.strip()]
            said = {"owner": owner, "owner_address": ", ".join(address)} | said
        store_rows(held.store(), OBJECTS, [{"object": code, **said}], held.change("added under Quote a work"), CALLED)
    except BenchHoursError as error:
        frame.refuse(f"Not added: {error} What you typed is kept.")
        return
    work.object = code
    _open(quote)


def _line(
    said: dict[str, str], name: str, label: str, key: str, placeholder: str, width: int | Literal["stretch"] = "stretch", explained: str | None = None
) -> None:
    _put(said, name, st.text_input(label, said.get(name, ""), key=key, placeholder=placeholder, width=width, help=explained).strip())


def _text(said: dict[str, str], name: str, label: str, key: str, turn: int, usual: str, *, rows: int) -> None:
    _put(said, name, st.text_area(label, said.get(name, ""), key=f"{key} {name} {turn}", placeholder=usual, height=rows).strip())


# --- more works, and the end


def _end(quote: Quote, found: Quoted) -> None:
    with st.expander("The works in this letter: another one of the same owner, or one less"):
        works = held.works(held.today())
        fitting = set(reading.of_owner(held.store().cursor(), found.owners[0]) if found.owners else works["object"]) - {work.object for work in quote.works}
        codes = [ANOTHER, *[code for code in works["object"].tolist() if code in fitting]] if len(works) else [ANOTHER]
        titles = dict(zip(works["object"], works["title"].fillna(""), strict=True)) if len(works) else {}
        code = st.selectbox(
            "Work", codes, format_func=lambda one: f"{one}  {titles[one]}".strip() if one else NOT_HERE, key=f"{_name(quote)} another {len(quote.works)}"
        )
        if st.button("Add it to the quote"):
            quote.works.append(QuotedWork(object=code))
            st.session_state[f"shown in {_name(quote)}"] = len(quote.works) - 1
            _open(quote)
        if len(quote.works) > 1 and st.button("Take the work shown out of the quote"):
            del quote.works[min(st.session_state.get(f"{_name(quote)} which") or 0, len(quote.works) - 1)]
            _open(quote)
    if frame.sure(f"{_name(quote)} sure", "Throw the quote away") and quote.number is not None:
        quotes.throw_away(held.store(), quote.number)
        sheet.forget(_name(quote))
        st.query_params.from_dict(held.same_studio())
        frame.done(f"Quote {quote.number} is thrown away.")


frame.show("Quote a work", body)
