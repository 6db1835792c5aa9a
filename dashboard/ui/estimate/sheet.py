"""The sheet on which the next version is written, kept cell by cell."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.services import prices
from dashboard.text import prices as prices_text
from dashboard.ui import fields, layout, line_sheet, page_data
from dashboard.ui.estimate import read_back
from dashboard.ui.estimate import tax as tax_part
from ingest.editing import estimate_drafts
from ingest.editing.estimate_drafts import Draft
from ingest.errors import BenchHoursError
from ingest.values import numbers

SHEET = line_sheet.sheet(
    {},
    **{"technique": 230, "part": 90, "hours": 80, "quantity": 95, "phase": 150, "low_hours": 75},
    **{"high_hours": 80, "unattended_hours": 135, "person": 80, "option": 75, "note": 160},
)
LABELS = line_sheet.LABELS | {"made_on": "made on", "approved_on": "approved on"}


def open_anew(code: str, draft: Draft) -> None:
    """Put a draft on the sheet: kept first, so that what is shown is what is kept."""
    estimate_drafts.keep(page_data.store(), code, draft, page_data.visit())
    _forget_sheet(code)
    st.rerun()


def _forget_sheet(code: str) -> None:
    line_sheet.forget(f"sheet {code}")
    st.session_state[f"turn {code}"] = st.session_state.get(f"turn {code}", 0) + 1


def write(code: str, draft: Draft, works: pd.DataFrame, versions: pd.DataFrame) -> None:
    version = 1 + int(versions["version"].max() if len(versions) else 0)
    layout.section(
        f"Version {version}, being written",
        "Every cell is kept as soon as you leave it (Enter or Tab): a reload or a lost connection loses"
        " at most the one you are in. A technique by its name or another spelling; hours as you write"
        " them: 1.5, 1:30, 1h30, 90 min. A line needs hours or a quantity. A phase and its hours are a line"
        " too, and so are hours alone, of the whole work.",
    )
    turn = st.session_state.setdefault(f"turn {code}", 0)
    fresh = line_sheet.is_fresh(f"sheet {code}", turn)
    if fields.changed_elsewhere(f"draft {code}", draft.kept_at, draft.kept_by, fresh=fresh):
        st.warning(
            "This draft was changed from another window. What you type here is not kept until you take it up"
            " again."
        )
        if st.button("Show it as it is now, and go on here"):
            open_anew(code, draft)
        return
    stored_head, stored_lines = dict(draft.version), [dict(line) for line in draft.lines]
    draft.version = _head(code, draft.version, turn, revision=version > 1)
    draft.lines = line_sheet.edit(f"sheet {code}", draft.lines, SHEET, turn, "The lines of the estimate")
    if (draft.version, draft.lines) != (stored_head, stored_lines):
        draft.kept_at = estimate_drafts.keep(page_data.store(), code, draft, page_data.visit())
    if draft.kept_at:
        kept_at = draft.kept_at.replace(tzinfo=ZoneInfo("UTC"))
        layout.say(f"Kept at {kept_at.astimezone(ZoneInfo(page_data.settings().zone)):%H:%M:%S}.")
    _add_a_line(code, draft, turn)
    reading = estimate_drafts.read_over(page_data.store(), code, draft, LABELS)
    read_back.show(reading)
    if len(versions):
        layout.say(*_missing_in_revision(draft, versions))
    with st.container(horizontal=True):
        save = st.button(f"Save as version {version}", type="primary", disabled=reading.lines.empty)
        _throw_away(code)
    if (
        save
        and reading.price is not None
        and not draft.version.get("tax_in_price")
        and page_data.settings().tax_per_cent
    ):
        layout.refuse(
            f"Not saved: say beside the price whether {prices.tax_of(page_data.settings())} is in it. The"
            " draft is kept as it is."
        )
    elif layout.confirm_doubts(
        f"sheet {code} doubt", save, lambda: reading.doubts, "It is meant so: save it"
    ):
        _save(code, draft)
    other = choose_other_work(code, works)
    if other and st.button("Add its lines to the sheet"):
        draft.lines = [*draft.filled.values(), *lines_of(other)]
        open_anew(code, draft)


def _missing_in_revision(draft: Draft, versions: pd.DataFrame) -> list[str]:
    """Price and reason that the last version had and this one lacks; neither is taken over by itself."""
    last = versions.iloc[-1].to_dict()
    return [
        *(
            []
            if draft.version.get("price") or pd.isna(last["price"])
            else [
                f"No price is given; version {last['version']} had"
                f" {prices_text.price_words(last, page_data.settings())}."
            ]
        ),
        *(
            []
            if draft.version.get("reason")
            else ["No reason is given: what was found since the last version?"]
        ),
    ]


def _throw_away(code: str) -> None:
    if layout.confirm_discard(f"sheet {code} sure", "Throw the draft away"):
        estimate_drafts.throw_away(page_data.store(), code)
        _forget_sheet(code)
        layout.done("The draft is thrown away. The versions are as they were.")


def _head(code: str, current: dict[str, str], turn: int, *, revision: bool) -> dict[str, str]:
    typed = {}
    with st.container(horizontal=True, key="choices"):
        typed["made_on"] = fields.day_field(
            "Made on", current.get("made_on", ""), key=f"sheet {code} made {turn}", width=150
        )
        typed["price"] = st.text_input(
            "Price", current.get("price", ""), key=f"sheet {code} price {turn}", width=130
        )
        typed["currency"] = st.text_input(
            "Currency", current.get("currency", ""), key=f"sheet {code} currency {turn}", width=100
        )
        typed["tax_in_price"], typed["tax_per_cent"] = (
            current.get("tax_in_price", ""),
            current.get("tax_per_cent", ""),
        )
        if page_data.settings().tax_per_cent or typed["tax_in_price"]:
            typed["tax_in_price"] = tax_part.choose_tax(
                "The price is", f"sheet {code} tax {turn}", "with or without?", typed["tax_in_price"]
            )
            typed["tax_per_cent"] = typed["tax_per_cent"] or numbers.written(
                page_data.settings().tax_per_cent or 0.0
            )
    if revision or current.get("reason"):
        typed["reason"] = st.text_input(
            "Reason (what was found)", current.get("reason", ""), key=f"sheet {code} reason {turn}"
        )
    return {name: cell for name, cell in typed.items() if cell}


def _add_a_line(code: str, draft: Draft, turn: int) -> None:
    """A line put together by choosing, for a phone or where the name of a technique is not at hand."""
    line = line_sheet.line_by_choosing(f"adding {code}", f"sheet {code} add {turn}", hours_or_quantity=True)
    if line:
        draft.lines = [*draft.filled.values(), line]
        open_anew(code, draft)


def _save(code: str, draft: Draft) -> None:
    try:
        version, report = estimate_drafts.make_version(
            page_data.store(), code, draft, page_data.change("written under Estimate"), LABELS
        )
    except BenchHoursError as error:
        layout.refuse(f"Not saved: {error} The draft is kept as it is.")
        return
    _forget_sheet(code)
    layout.done(
        " ".join(
            [
                f"Saved as version {version}.",
                *estimate_drafts.fault_sentences(report.doubts, LABELS),
                "When the owner says yes, note the approval here.",
            ]
        )
    )


def choose_other_work(code: str, works: pd.DataFrame) -> str | None:
    have = works[(works["versions"] > 0) & (works["object"] != code)]
    if have.empty:
        return None
    titles = page_data.titles(have)
    chosen: str | None = st.selectbox(
        "Copy from another work",
        have["object"].tolist(),
        index=None,
        format_func=lambda item: f"{item}  {titles[item]}",
        placeholder="Choose a work with an estimate",
        key=f"copy {code}",
    )
    if chosen:
        layout.say(
            f"The lines of the latest version of {chosen}; quantities are those of that work, so look"
            " them over."
        )
    return chosen


def lines_of(code: str) -> list[dict[str, str]]:
    con = page_data.store().cursor()
    return estimate_drafts.as_typed(
        queries.estimate_lines(con, code, int(queries.versions(con, code)["version"].max()))
    )
