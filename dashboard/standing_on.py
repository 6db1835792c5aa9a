"""What a saved quote stood on: its figures as they were given, reckoned again before one's eyes, its lines with their rates and works, and its letter."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st
from markupsafe import Markup

from dashboard import frame, held, prices, promising, reading, tables
from dashboard.letter import document, page, paper
from dashboard.letter.blocks import Letter
from dashboard.words import CONFIDENCES, counted, day, hours, money, per_unit, rate, text
from ingest import promises
from ingest.promises import PromisedOption, Saved

_WORKS_NAMED = 12


def show(code: str, version: int) -> None:
    """Place it on the page; nothing where the version was written by hand."""
    saved = promises.read(held.store().cursor(), code, version)
    if saved is None:
        return
    st.subheader(f"What version {version} stood on")
    number = f"quote {saved.number}" if saved.number else "a quote by command"
    frame.say(
        [
            f"Saved from {number}, on what was known on {day(saved.as_of)}, {counted(saved.lines, 'finished line')} on {counted(saved.works, 'work')}"
            f"{'; its price is for a first stage alone' if saved.first_stage else ''}. Nothing that was logged or changed later has any part in it."
        ]
    )
    for option in saved.options:
        _option(option, saved.program)
    _lines(code, version, saved)
    _letter(code, version, saved)


def _option(told: PromisedOption, program: str) -> None:
    name = f"Option {told.option}: " if told.option else ""
    price = (
        f", price {money(told.price, told.currency)}{prices.taxed(told.price, True, (told.stood_on.get('money') or {}).get('tax') or 0.0, held.settings()).words}"
        if told.price is not None
        else ""
    )
    chance = "as approved, and what was found" if told.stood_on.get("approved_stays") else CONFIDENCES.get(told.confidence, f"{told.confidence} in 100")
    promised = f"{name}promised {hours(told.promised_hours)} h ({chance}){price}; even chance {hours(told.p50)} h, 4 in 5 {hours(told.p80)} h, 9 in 10 {hours(told.p90)} h"
    found = promising.again(told)
    same = (
        "Reckoned again just now from what was kept: the same to the digit."
        if found.same_as(told)
        else f"Reckoned again just now from what was kept, by other versions of the libraries: {hours(found.promised_hours)} h. What was given stands."
    )
    basis = told.stood_on["basis"]
    frame.say(
        [
            f"{promised[0].upper()}{promised[1:]}. {same}",
            f"For checking: {basis['draws']:,} draws from seed {basis['seed']}, by bench-hours {program}. What may turn up had {hours(told.stood_on['allowance_hours'])} h of the promise.",
        ]
    )
    likely = [one for one in told.stood_on["may_turn_up"] if one["chance"] >= 0.05][:4]
    if likely:
        named = [f"{one['technique']} ({100 * one['chance']:.0f} in 100)" for one in likely]
        frame.say([f"Most likely to turn up: {', '.join(named)}."])
    if likes := told.stood_on["like_it"]:
        frame.say([Markup("Finished works like it: {}.").format(_ways(likes))])


def _ways(codes: list[str]) -> Markup:
    return Markup(", ").join(map(held.work_link, codes))


def _lines(code: str, version: int, saved: Saved) -> None:
    lines = reading.quoted_lines(held.store().cursor(), code, version)
    several = len(saved.options) > 1
    rows: list[list[tables.Cell]] = []
    for row in lines.to_dict("records"):
        named = ", ".join(filter(None, (row["technique"], row["part"], f"option {row['option']}" if several else "")))
        if row["worked_hours"] > 0 and row["p50"] == row["p90"]:
            rows.append([named, hours(row["p50"]), hours(row["p80"]), hours(row["hours"]), "", "as worked", ""])
            continue
        used = (
            f"{rate(row['rate'])} h per {per_unit(row['unit'])}{', pinned' if row['pinned'] else ''}" if pd.notna(row["rate"]) else "its phase and the studio"
        )
        between = f"{rate(row['rate_low'])} to {rate(row['rate_high'])}" if pd.notna(row["rate_low"]) else ""
        rows.append(
            [
                tables.Link(named, held.address("our-rates", technique=row["technique"])),
                hours(row["p50"]),
                hours(row["p80"]),
                hours(row["hours"]),
                f"{len(row['works'])}",
                used,
                between,
            ]
        )
    st.html(
        tables.ledger(
            "Lines and the rates they stood on",
            ["line", "even chance, h", "4 in 5, h", "in the version, h", "works", "rate used", "from – to, h"],
            rows,
            words=(0, 5, 6),
        )
    )
    if st.toggle("Name the works behind each rate", key=f"works behind {code} {version}"):
        names = {row["technique"]: list(row["works"]) for row in lines.to_dict("records") if len(row["works"])}
        said = [Markup("{}: {}{}").format(name, _ways(works[-_WORKS_NAMED:]), _more(works)) for name, works in names.items()]
        frame.say(said or ["No finished work stood behind any of them."])


def _more(works: list[str]) -> str:
    left = len(works) - _WORKS_NAMED
    return f" and {counted(left, 'earlier work')}." if left > 0 else "."


def _letter(code: str, version: int, saved: Saved) -> None:
    if saved.letter is None:
        frame.say(["Its letter did not come along with the export that brought it in: that was made without what is private."])
        return
    letter = Letter.kept(saved.letter)
    name = f"{code}-version-{version}"
    with st.container(horizontal=True):
        st.download_button("Its letter as PDF", partial(paper.as_pdf, letter), f"{name}.pdf", "application/pdf", on_click="ignore", key=f"pdf {name}")
        st.download_button("Its letter as a page (HTML)", partial(page.as_page, letter), f"{name}.html", "text/html", on_click="ignore", key=f"html {name}")
        st.download_button(
            "Its letter as a document (.docx)", partial(document.as_document, letter), f"{name}.docx", document.KIND, on_click="ignore", key=f"docx {name}"
        )
    frame.say([f"The letter as it was when the version was saved, dated {text(letter.day)}."])
