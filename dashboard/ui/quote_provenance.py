"""Provenance of a saved quote: its figures, computed again, its lines with their rates, its letter."""

from __future__ import annotations

import pandas as pd
import streamlit as st
from markupsafe import Markup

from dashboard import queries
from dashboard.documents.blocks import Letter
from dashboard.formatting import CONFIDENCES, counted, day, hours, money, rate, text
from dashboard.services import prices, quote_recomputed
from dashboard.text import html_blocks
from dashboard.text.rates import per
from dashboard.text.remembered import works_behind
from dashboard.ui import layout, letters, page_data
from ingest.editing import saved_quotes
from ingest.editing.saved_quotes import PromisedOption, Saved
from ingest.values.line_names import line_name

_WORKS_NAMED = 12


def show(code: str, version: int) -> None:
    """Place it on the page; nothing where the version was written by hand."""
    saved = saved_quotes.read(page_data.store().cursor(), code, version)
    if saved is None:
        return
    st.subheader(f"What version {version} stood on")
    number = f"quote {saved.number}" if saved.number else "a quote by command"
    stage = "; its price is for a first stage alone" if saved.first_stage else ""
    remembered = saved.options[0].stood_on.get("remembered") or 0  # in none of those saved before it was kept
    layout.say(
        f"Saved from {number}, on what was known on {day(saved.as_of)}:"
        f" {counted(saved.lines, 'finished line')} and"
        f" {works_behind(saved.works, remembered, 'finished work')}{stage}."
        " Nothing that was logged or changed later has any part in it."
    )
    for option in saved.options:
        _option(option, saved.program)
    _lines(code, version, saved)
    _letter(code, version, saved)


def _option(option: PromisedOption, program: str) -> None:
    name = f"Option {option.option}: " if option.option else ""
    price = ""
    if option.price is not None:
        tax = (option.stood_on.get("money") or {}).get("tax") or 0.0
        taxed = prices.taxed(option.price, True, tax, page_data.settings())
        price = f", price {money(option.price, option.currency)}{taxed.words}"
    chance = (
        "as approved, and what was found"
        if option.stood_on.get("approved_stays")
        else CONFIDENCES.get(option.confidence, f"{option.confidence} in 100")
    )
    promised = (
        f"{name}promised {hours(option.promised_hours)} h ({chance}){price}; even chance"
        f" {hours(option.p50)} h, 4 in 5 {hours(option.p80)} h, 9 in 10 {hours(option.p90)} h"
    )
    again = quote_recomputed.recompute(option)
    same = (
        "Reckoned again just now from what was kept: the same to the digit."
        if again.same_as(option)
        else (
            "Reckoned again just now from what was kept, by other versions of the libraries:"
            f" {hours(again.promised_hours)} h. What was given stands."
        )
    )
    basis = option.stood_on["basis"]
    layout.say(
        f"{promised[0].upper()}{promised[1:]}. {same}",
        f"For checking: {basis['draws']:,} draws from seed {basis['seed']}, by bench-hours {program}."
        f" What may turn up had {hours(option.stood_on['allowance_hours'])} h of the promise.",
    )
    likely = [item for item in option.stood_on["may_turn_up"] if item["chance"] >= 0.05][:4]
    if likely:
        named = [
            f"{line_name(item['phase'], item['technique'])} ({100 * item['chance']:.0f} in 100)"
            for item in likely
        ]
        layout.say(f"Most likely to turn up: {', '.join(named)}.")
    if likes := option.stood_on["like_it"]:
        layout.say(Markup("Finished works like it: {}.").format(_ways(likes)))


def _ways(codes: list[str]) -> Markup:
    return Markup(", ").join(map(page_data.work_link, codes))


def _lines(code: str, version: int, saved: Saved) -> None:
    lines = queries.quoted_lines(page_data.store().cursor(), code, version)
    remembered = queries.remembered(page_data.store().cursor())
    several = len(saved.options) > 1
    rows: list[list[html_blocks.Cell]] = []
    for row in lines.to_dict("records"):
        named = ", ".join(
            filter(
                None,
                (
                    line_name(row["phase"], row["technique"], row["part"]),
                    f"option {row['option']}" if several else "",
                ),
            )
        )
        if row["worked_hours"] > 0 and row["p50"] == row["p90"]:
            rows.append(
                [named, hours(row["p50"]), hours(row["p80"]), hours(row["hours"]), "", "as worked", ""]
            )
            continue
        used = (
            f"{rate(row['rate'])} h per {per(row, row['unit'])}{', pinned' if row['pinned'] else ''}"
            if pd.notna(row["rate"])
            else "its phase and the studio"
        )
        between = f"{rate(row['rate_low'])} to {rate(row['rate_high'])}" if pd.notna(row["rate_low"]) else ""
        rows.append(
            [
                page_data.rate_link(row["phase"], row["technique"], named),
                hours(row["p50"]),
                hours(row["p80"]),
                hours(row["hours"]),
                works_behind(len(row["works"]), len(remembered.intersection(row["works"]))),
                used,
                between,
            ]
        )
    layout.table(
        "Lines and the rates they stood on",
        ["line", "even chance, h", "4 in 5, h", "in the version, h", "works", "rate used", "from – to, h"],
        rows,
        words=(0, 5, 6),
    )
    if st.toggle("Name the works behind each rate", key=f"works behind {code} {version}"):
        names = {
            line_name(row["phase"], row["technique"]): list(row["works"])
            for row in lines.to_dict("records")
            if len(row["works"])
        }
        sentences: list[str] = [
            Markup("{}: {}{}").format(name, _ways(works[-_WORKS_NAMED:]), _more(works))
            for name, works in names.items()
        ]
        layout.say(*(sentences or ["No finished work stood behind any of them."]))


def _more(works: list[str]) -> str:
    left = len(works) - _WORKS_NAMED
    return f" and {counted(left, 'earlier work')}." if left > 0 else "."


def _letter(code: str, version: int, saved: Saved) -> None:
    if saved.letter is None:
        layout.say(
            "Its letter did not come along with the export that brought it in: that was made without what"
            " is private."
        )
        return
    letter = Letter.from_dict(saved.letter)
    letters.show_downloads(lambda: letter, f"{code}-version-{version}", "Its letter", keyed=True)
    layout.say(f"The letter as it was when the version was saved, dated {text(letter.day)}.")
