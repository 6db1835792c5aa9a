"""Totals: hours with their chances, price, options, works of one letter."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.analysis.report.price import with_tax
from dashboard.charts import quote as quote_chart
from dashboard.formatting import counted, hours, money, plain
from dashboard.services import quote_narrowing
from dashboard.services.quote import Option, Quoted, WorkQuoted
from dashboard.services.quote_context import QuoteContext
from dashboard.text import quote as quote_text
from dashboard.text import quote_narrowing as narrowing_text
from dashboard.ui import layout, results
from dashboard.ui.quote import draft
from ingest.editing.quote_drafts import MARKS, Quote, QuotedWork


def _unknown_marks(work: QuotedWork) -> list[str]:
    return [
        f'Line {number}, belongs to "{mark}": is none of {", ".join(MARKS)}. It stands in the full statement'
        " as it is written."
        for number, line in work.filled.items()
        if (mark := line.get("mark", "")) and mark not in MARKS
    ]


def show(quote: Quote, work: WorkQuoted, quoted: Quoted, context: QuoteContext) -> Option | None:
    """Figures, chance and price; the option that is looked at."""
    option = None
    draft.warn([*work.read.problems, *work.doubts, *work.faults, *_unknown_marks(work.draft)])
    layout.say(*work.read.notes, *work.notes)
    if work.options:
        option = _total(quote, work)
        _rests_on(quote, work, option, context)
    else:
        st.write(
            "No line can be read yet: write a technique or a phase on the sheet, choose one, or take the"
            " lines of a similar work."
        )
    if len(quoted.works) > 1:
        _commission(quoted)
    return option


def _total(quote: Quote, work: WorkQuoted) -> Option:
    st.subheader("What it comes to")
    shown = work.options[0]
    if len(work.options) > 1:
        chosen = st.segmented_control(
            "Option",
            [option.name for option in work.options],
            default=work.options[0].name,
            required=True,
            key=f"{draft.name_of(quote)} option of {work.draft.display_name}",
        )
        shown = next((option for option in work.options if option.name == chosen), shown)
    p50, p80, p90 = shown.charged_at(0.5, 0.8, 0.9)
    price = shown.price
    layout.figures(
        (f"{'first stage, ' if shown.terms.first_stage else ''}even chance", f"{hours(p50)} h"),
        ("4 in 5", f"{hours(p80)} h"),
        ("9 in 10", f"{hours(p90)} h"),
        (
            f"price{shown.terms.tax_included}",
            money(price.amount, shown.terms.currency) if price else "no price yet",
        ),
    )
    if work.read.left_aside:
        st.warning(
            f"{counted(work.read.left_aside, 'line')} of the sheet cannot be read, as said above: not in"
            " these hours, not in the price, and not in the letter."
        )
    if moved := _effect(quote, shown, p80):
        st.info(plain(moved))
    _dots(shown)
    layout.say(
        quote_text.total_sentence(shown),
        quote_text.approved_part(shown),
        quote_text.price_words(shown),
        quote_text.earns(shown),
        quote_text.break_even(shown),
        _time(shown),
        quote_text.outside(float(shown.lines["hours"].sum()), shown.outside),
    )
    if len(work.options) > 1:
        _side_by_side(work)
    _drivers(shown)
    return shown


def _dots(option: Option) -> None:
    if option.charged().max() <= 0:
        return
    values = option.dots()
    within = int((values <= option.promised).sum())
    layout.chart(
        quote_chart.chance(values, option.promised),
        f"{len(values)} equally likely totals from {hours(values[0])} to {hours(values[-1])} hours,"
        f" {within} of them within the {hours(option.promised)} hours of the promise.",
    )
    layout.say(
        f"Each of the {len(values)} dots is equally likely: {within} of them are within the"
        f" promise{', which is of the first stage alone' if option.terms.first_stage else ''}."
    )


def _drivers(option: Option) -> None:
    drivers = quote_text.drivers(option)
    if len(drivers) and option.first_stage is None:
        with st.expander("Which lines make it unsure", expanded=False):
            layout.say(quote_text.drives(option))
            layout.chart(
                quote_chart.drivers(drivers),
                "Hours between even chance and 4 in 5: "
                + "; ".join(
                    f"{row['line']} {hours(row['spread'])}" for row in drivers.head(8).to_dict("records")
                ),
            )


def _rests_on(quote: Quote, work: WorkQuoted, option: Option, context: QuoteContext) -> None:
    """What stands behind the hours; of a first quote what would make it surer."""
    if quote_narrowing.is_first(context):
        lacking = quote_narrowing.without_range(option.lines)
        st.info(plain(narrowing_text.first_quote(len(option.lines), lacking)))
    else:
        layout.say(f"From {quote_text.rests_on(context)}.")
    things = results.narrowed(quote, work, context)
    if things:
        layout.say(narrowing_text.narrowing_lead(*option.at(0.1, 0.9)))
        layout.list_out([narrowing_text.narrowing(item) for item in things])
        layout.link("works", "Tell finished works from memory", add="from-memory")


def _effect(quote: Quote, option: Option, p80: float) -> str:
    """Effect of the last change on the total; a look at another work or option is no change."""
    state_key = f"effect in {draft.name_of(quote)}"
    stands_for = (quote.kept_at, st.session_state.get(f"{draft.name_of(quote)} which"), option.name)
    before = st.session_state.get(state_key)
    if before is None or before[0][1:] != stands_for[1:]:
        st.session_state[state_key] = (stands_for, p80, "")
    elif before[0] != stands_for:
        st.session_state[state_key] = (stands_for, p80, quote_text.effect(before[1], p80))
    text: str = st.session_state[state_key][2]
    return text


def _time(option: Option) -> str:
    waits = pd.Series(option.days).quantile([0.5, 0.8]).tolist()
    waiting = (
        f", with {waits[0]:,.0f} to {waits[1]:,.0f} days of waiting (soaking, pressing, drying) that are"
        " nobody's hours"
        if waits[1] >= 0.5
        else ""
    )
    return (
        f"From {'now' if option.worked else 'beginning'} to end {option.weeks(0.5):,.1f} weeks at even"
        f" chance, {option.weeks(0.8):,.1f} weeks 4 in 5, at {option.terms.bench_hours_per_week:g} h at the"
        f" bench a week{waiting}."
    )


def _side_by_side(work: WorkQuoted) -> None:
    rows = [
        [
            option.name,
            *(hours(value) for value in option.at(0.5, 0.8, 0.9)),
            money(option.price.amount, option.terms.currency) if option.price else "no price yet",
            f"{option.weeks(0.8):,.1f}",
        ]
        for option in work.options
    ]
    layout.table(
        "Options side by side",
        [
            "option",
            "even chance, h",
            "4 in 5, h",
            "9 in 10, h",
            f"price{work.options[0].terms.tax_included}",
            "weeks, 4 in 5",
        ],
        rows,
    )


def _commission(quoted: Quoted) -> None:
    agreed = quoted.terms
    rows = [
        (
            [
                work.draft.display_name,
                *(hours(value) for value in work.options[0].charged_at(0.5, 0.8)),
                money(price.amount, agreed.currency) if (price := work.options[0].price) else "no price yet",
            ]
            if work.options
            else [work.draft.display_name, "no lines yet", "", ""]
        )
        for work in quoted.works
    ]
    if agreed.travel_hours or agreed.travel_cost:
        travel = None if agreed.travel is None else with_tax(agreed.travel, agreed.pricing)
        rows.append(
            [
                "shared travel",
                "",
                "",
                money(travel, agreed.currency) if travel is not None else "no price yet",
            ]
        )
    even, four = (float(value) for value in pd.Series(quoted.total).quantile([0.5, 0.8]))
    rows.append(
        [
            "together",
            hours(even),
            hours(four),
            money(quoted.amount, agreed.currency) if quoted.amount is not None else "no price yet",
        ]
    )
    layout.table(
        "Works of this quote",
        ["work", "even chance, h", "4 in 5, h", f"price{agreed.tax_included}"],
        rows,
        foot=True,
    )
    layout.say(
        "Works that are quoted together do not all run over at once, so together is less than the sum at"
        " 4 in 5; each price is of its work by itself, and prices sum. Of options the first counts."
    )
