"""Promised and kept: every finished work against its promise, how far promises are off, which rates to trust least, and what a finished work taught."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import frame, held, tables
from dashboard import promise_sentences as said
from dashboard.analysis import promises
from dashboard.charts import promises as charts
from dashboard.giving import as_csv_text
from dashboard.letter import document, kept, page, paper
from dashboard.scoring import Scored
from dashboard.shown import difference
from dashboard.words import CONFIDENCES, counted, day, hours, per_unit, rate
from ingest.errors import BenchHoursError

SHOWN, MOST_READ_OUT, LEAST_WORTH = 10, 40, 6


def body() -> None:
    scored = held.scored(held.today())
    if scored.works.empty:
        _nothing_yet(scored)
        return
    codes = scored.works["object"].tolist()
    code = _choose(codes)
    if code is not None:
        _one_work(scored.works[scored.works["object"] == code].iloc[0])
        return
    _figures(scored)
    frame.say([*said.kept_at_all(scored), said.lean(scored), _left_out(scored)])
    _over_time(scored)
    _works(scored)
    _by_phase(scored)
    _least_worth(scored)
    st.header("What became of every version")
    frame.say([said.outcomes(scored)])
    _ended(scored)
    _to_show(scored)


def _nothing_yet(scored: Scored) -> None:
    st.write(
        "No finished work has a promise yet. Quote a work or write its estimate before it is begun, and say when it is finished (Works): from then on it stands here, promised hours against those it took."
    )
    frame.say([said.outcomes(scored), _left_out(scored)])
    _ended(scored)
    with st.container(horizontal=True):
        if st.button("Quote a work", type="primary"):
            st.switch_page("pages/quote_a_work.py", query_params=held.same_studio())
        frame.invite_to_invented()


def _left_out(scored: Scored) -> str:
    if not scored.unpromised:
        return ""
    return f"Left out: {counted(scored.unpromised, 'finished work')} without an estimate of hours from before {'it was' if scored.unpromised == 1 else 'they were'} begun."


def _choose(codes: list[str]) -> str | None:
    """The finished work that is looked at, kept in the address."""
    asked = st.query_params.get("object")
    if asked is not None and asked not in codes:
        st.info(f"{asked} is not finished, or nothing was promised of it before it was begun: here is all that was.")
    chosen: str | None = st.selectbox(
        "What a finished work taught",
        codes,
        index=codes.index(asked) if asked in codes else None,
        placeholder="Choose a finished work, the latest first",
        key=f"taught by {asked}",
    )
    if chosen != (asked if asked in codes else None):
        st.query_params.from_dict({**({"object": chosen} if chosen else {}), **held.same_studio()})
        st.rerun()
    return chosen


# --- all promises


def _figures(scored: Scored) -> None:
    kept_share, inside, bias = scored.kept, scored.inside, scored.bias
    st.html(
        tables.figures([
            ("ended within the hours promised", f"{kept_share.hits} of {kept_share.of}", False), ("the true share, 4 times in 5 between", f"{100 * kept_share.low:.0f} and {100 * kept_share.high:.0f} %", False),
            ("took, against even chance", f"{100 * (bias.factor - 1):+.0f} %".replace("-", "−"), bias.low > 1),
            *([("inside their range of 8 in 10", f"{inside.hits} of {inside.of}", False)] if inside.of else []),
        ])
    )  # fmt: skip


def _over_time(scored: Scored) -> None:
    st.header("Over time")
    works = scored.works
    told = "; ".join(f"{row['object']} {100 * row['actual_hours'] / row['even_hours']:.0f} %" for row in works.head(MOST_READ_OUT).to_dict("records"))
    frame.say(
        [
            "Each finished work by what it took in per cent of what was said at even chance: a circle was kept, a triangle ran over the hours promised; the pale bar is the range that was promised. Choose one to see what it taught."
        ]
    )
    st.altair_chart(
        charts.over_time(works),
        width="stretch",
        theme=None,
        key="points",
        on_select=_point_chosen,
        selection_mode="chosen",
        alt=f"What finished works took by what was promised: {told}.",
    )
    if code := st.session_state.pop("open promise", None):
        st.query_params.from_dict({"object": code, **held.same_studio()})
        st.rerun()
    rows = [
        [f"{row['year']}", f"{row['works']}", f"{row['kept']}", f"{100 * row['share_low']:.0f} to {100 * row['share_high']:.0f}", said.off_by(row)]
        for row in promises.by_year(works).to_dict("records")
    ]
    st.html(tables.ledger("Promises by year", ["finished in", "works", "kept", "true share, in 100", "took, against even chance (range)"], rows, words=(0, 4)))


def _point_chosen() -> None:
    points = st.session_state["points"]["selection"].get("chosen", [])
    if points:
        st.session_state["open promise"] = points[0]["object"]


def _works(scored: Scored) -> None:
    st.header("Work by work")
    heads = ["work", "finished", "promised, h", "chance", "range, h", "took, h", "promise", "revised to, h"]
    rows: list[list[tables.Cell]] = [
        [
            tables.Link(row["object"], held.address("promised-and-kept", object=row["object"])), day(row["finished_on"]), hours(row["promised_hours"]),
            CONFIDENCES.get(int(row["confidence"]), "") if pd.notna(row["confidence"]) else "a figure", f"{hours(row['p10'])} to {hours(row['p90'])}" if pd.notna(row["p10"]) else "", hours(row["actual_hours"]),
            "kept" if row["kept"] else f"over by {hours(difference(row['actual_hours'], row['promised_hours']))} h", hours(row["revised_hours"]) if pd.notna(row["revised_hours"]) else "",
        ]
        for row in scored.works.to_dict("records")
    ]  # fmt: skip
    st.html(tables.ledger("Promises, the latest finished first", heads, rows[:SHOWN], words=(0, 1, 3, 6)))
    if len(rows) > SHOWN:
        with st.expander(f"The {counted(len(rows) - SHOWN, 'work')} before"):
            st.html(tables.ledger("Promises before", heads, rows[SHOWN:], words=(0, 1, 3, 6)))
    frame.say(
        [
            "The promise is the one with which a work began: the last version approved before that, else the last one made. A revision takes over hours that are worked already, so it is shown and not scored; One work and The year hold a work against the latest approved."
        ]
    )
    st.download_button("All of them as CSV", partial(_csv, scored), "promises.csv", "text/csv", on_click="ignore")


def _csv(scored: Scored) -> str:
    works = scored.works.drop(columns=["off", "quoted"])
    days = {column: works[column].dt.strftime("%Y-%m-%d") for column in works.select_dtypes("datetime").columns}
    return as_csv_text(works.assign(**days))


def _by_phase(scored: Scored) -> None:
    st.header("By phase")
    frame.say([
        "Lines that were promised and worked: what the last version before each line's first entry said of it, summed by work. Where all together ran over by more than the usual work, a few works ran over by much."
    ])  # fmt: skip
    rows = [
        [
            row["phase"],
            f"{row['works']}",
            hours(row["promised_hours"]),
            hours(row["actual_hours"]),
            _percent(row["actual_hours"] / row["promised_hours"]),
            said.off_by(row),
        ]
        for row in promises.by_phase(scored.lines).to_dict("records")
    ]
    st.html(tables.ledger("Promises by phase", ["phase", "works", "promised, h", "took, h", "all together", "the usual work took (range)"], rows, words=(0, 5)))


def _percent(factor: float) -> str:
    return f"{100 * (factor - 1):+.0f} %".replace("-", "−")


def _least_worth(scored: Scored) -> None:
    st.header("Which rates to trust least")
    worst = promises.least_worth(scored.lines).head(LEAST_WORTH)
    if worst.empty:
        st.write(f"Too early to say: it takes a technique on {promises.FEW_WORKS} finished works.")
        return
    table = held.rates(held.today()).table.set_index("technique")
    rows: list[list[tables.Cell]] = []
    for row in worst.to_dict("records"):
        known = table.loc[row["technique"]] if row["technique"] in table.index else None
        now = (
            f"{rate(known['rate'])} h per {per_unit(known['unit'])}, {rate(known['rate_low'])} to {rate(known['rate_high'])}"
            if known is not None and pd.notna(known["rate"])
            else "–"
        )
        rows.append([
            tables.Link(row["technique"], held.address("our-rates", technique=row["technique"])), f"{row['works']}", f"{row['lines']}", f"{100 * row['missed_by']:.0f} %",
            f"{100 * (row['factor'] - 1):+.0f} %".replace("-", "−"), now,
        ])  # fmt: skip
    st.html(
        tables.ledger(
            "Techniques whose promises were worth least",
            ["technique", "works", "lines", "half missed by more than", "took, on average", "its rate now, and range"],
            rows,
            words=(0, 5),
        )
    )
    frame.say(["Up or down, against what was promised of each line. Quote these with room, or with a first stage."])


def _ended(scored: Scored) -> None:
    ended = scored.versions[scored.versions["outcome"].isin(["declined", "withdrawn"])]
    if ended.empty:
        return
    rows: list[list[tables.Cell]] = [
        [
            tables.Link(row["object"], held.address("estimate", object=row["object"])),
            f"{row['version']}",
            row["outcome"],
            day(row["on_day"]),
            row["reason"] if isinstance(row["reason"], str) else "",
        ]
        for row in ended.to_dict("records")
    ]
    st.html(tables.ledger("Declined and withdrawn", ["work", "version", "outcome", "on", "why"], rows, words=(0, 2, 3, 4)))


def _to_show(scored: Scored) -> None:
    st.header("To show a client")
    try:
        made = kept.sheet(scored, held.settings(), held.today())
    except BenchHoursError as error:
        frame.say([str(error)[0].upper() + str(error)[1:]])
        return
    frame.say(["One page without names: no work, no owner, no person, no price, and no row of fewer than five treatments."])
    with st.container(horizontal=True):
        st.download_button("The page as PDF", partial(paper.as_pdf, made), "promises-kept.pdf", "application/pdf", on_click="ignore")
        st.download_button("The page as HTML", partial(page.as_page, made), "promises-kept.html", "text/html", on_click="ignore")
        st.download_button("The page as a document (.docx)", partial(document.as_document, made), "promises-kept.docx", document.KIND, on_click="ignore")


# --- one work


def _one_work(row: pd.Series) -> None:
    code = row["object"]
    with st.container(horizontal=True):
        st.page_link("pages/one_work.py", label="Where its hours went", query_params={"object": code, **held.same_studio()})
        st.page_link("pages/estimate.py", label="Its versions", query_params={"object": code, **held.same_studio()})
    st.header(f"What {code} taught")
    st.html(
        tables.figures([
            ("promised", f"{hours(row['promised_hours'])} h", False), ("took", f"{hours(row['actual_hours'])} h", not row["kept"]),
            ("promise", "kept" if row["kept"] else f"over by {hours(difference(row['actual_hours'], row['promised_hours']))} h", not row["kept"]),
        ])
    )  # fmt: skip
    taught = held.taught(code, row["finished_on"].date())
    lines = held.scored(held.today()).lines
    frame.say([said.one_promise(row.to_dict()), said.not_worked(lines[lines["object"] == code]), said.learned(taught), said.turned_up(taught)])
    if taught.rates.empty:
        return
    rows: list[list[tables.Cell]] = [
        [
            tables.Link(one["technique"], held.address("our-rates", technique=one["technique"])), hours(one["hours"]), rate(one["rate_before"]), rate(one["rate_after"]), per_unit(one["unit"]),
            "–" if pd.isna(one["change"]) else "unchanged" if one["unchanged"] else f"{100 * one['change']:+.1f} %".replace("-", "−"), f"{one['works_before']}",
        ]
        for one in taught.rates.to_dict("records")
    ]  # fmt: skip
    st.html(
        tables.ledger(
            "Rates without it and with it", ["technique", "took here, h", "rate without it", "with it", "per", "change", "works before"], rows, words=(0, 4)
        )
    )
    frame.say(
        [f"Both as of {day(taught.on)}, when its last line was finished. Hours that estimates and revisions said teach nothing: only what was logged does."]
    )


frame.show("Promised and kept", body)
