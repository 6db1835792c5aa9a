"""Promised and kept: finished works against their promises, rates to trust least, what a work taught."""

from __future__ import annotations

import streamlit as st

from dashboard.documents import track_record
from dashboard.formatting import counted, day
from dashboard.services.promises import Scored
from dashboard.text import html_blocks
from dashboard.text import promises as promises_text
from dashboard.text import remembered as remembered_text
from dashboard.ui import layout, letters, page_data, results
from dashboard.ui.promises import one_work
from dashboard.ui.promises import techniques as techniques_part
from dashboard.ui.promises import works as works_part
from ingest.errors import BenchHoursError


def body() -> None:
    scored = results.scored(page_data.today())
    if scored.works.empty:
        _nothing_yet(scored)
        return
    codes = scored.works["object"].tolist()
    code = _choose_work(codes)
    if code is not None:
        one_work.show(scored.works[scored.works["object"] == code].iloc[0])
        return
    _figures(scored)
    layout.say(*promises_text.share_kept(scored), promises_text.bias_sentence(scored), _left_out(scored))
    works_part.over_time(scored)
    works_part.show(scored)
    techniques_part.by_phase(scored)
    techniques_part.least_worth(scored)
    layout.section("What became of every version", promises_text.outcomes(scored))
    _ended(scored)
    _to_show(scored)


def _nothing_yet(scored: Scored) -> None:
    st.write(
        "No finished work has a promise yet. Quote a work or write its estimate before it is begun, and say"
        " when it is finished (Works): from then on it stands here, promised hours against those it took."
    )
    layout.say(promises_text.outcomes(scored), _left_out(scored))
    _ended(scored)
    layout.begin_at("Quote a work", "quote_a_work")


def _left_out(scored: Scored) -> str:
    remembered = remembered_text.left_out(scored.remembered)
    if not scored.unpromised:
        return remembered
    unpromised = (
        f"Left out: {counted(scored.unpromised, 'finished work')} without an estimate of hours from before"
        f" {'it was' if scored.unpromised == 1 else 'they were'} begun."
    )
    return f"{unpromised} {remembered}".rstrip()


def _choose_work(codes: list[str]) -> str | None:
    """The finished work that is looked at, kept in the address."""
    wanted = st.query_params.get("object")
    if wanted is not None and wanted not in codes:
        st.info(
            f"{wanted} is not finished, or nothing was promised of it before it was begun: here is all that"
            " was."
        )
    chosen: str | None = st.selectbox(
        "What a finished work taught",
        codes,
        index=codes.index(wanted) if wanted in codes else None,
        placeholder="Choose a finished work, the latest first",
        key=f"taught by {wanted}",
    )
    if chosen != (wanted if wanted in codes else None):
        layout.show_at(**({"object": chosen} if chosen else {}))
    return chosen


def _figures(scored: Scored) -> None:
    kept_share, inside, bias = scored.share_kept, scored.share_inside, scored.bias
    layout.figures(
        ("ended within the hours promised", f"{kept_share.hits} of {kept_share.of}"),
        (
            "the true share, 4 times in 5 between",
            f"{100 * kept_share.low:.0f} and {100 * kept_share.high:.0f} %",
        ),
        ("took, against even chance", f"{100 * (bias.factor - 1):+.0f} %".replace("-", "−"), bias.low > 1),
        *([("inside their range of 8 in 10", f"{inside.hits} of {inside.of}", False)] if inside.of else []),
    )


def _ended(scored: Scored) -> None:
    ended = scored.versions[scored.versions["outcome"].isin(["declined", "withdrawn"])]
    if ended.empty:
        return
    layout.table_of(
        "Declined and withdrawn",
        ended,
        {
            "work": lambda row: html_blocks.Link(
                row["object"], page_data.address("estimate", object=row["object"])
            ),
            "version": "version",
            "outcome": "outcome",
            "on": lambda row: day(row["on_day"]),
            "why": lambda row: row["reason"] if isinstance(row["reason"], str) else "",
        },
        words=(0, 2, 3, 4),
    )


def _to_show(scored: Scored) -> None:
    st.header("To show a client")
    try:
        made = track_record.sheet(scored, page_data.settings(), page_data.today())
    except BenchHoursError as error:
        layout.say(str(error)[0].upper() + str(error)[1:])
        return
    layout.say(
        "One page without names: no work, no owner, no person, no price, and no row of fewer than five"
        " treatments."
    )
    letters.show_downloads(lambda: made, "promises-kept", "The page", html="HTML")


layout.show("Promised and kept", body)
