"""On the bench: where each work under way will end, why, and which owner to write to."""

from __future__ import annotations

from functools import partial
from html import escape

import pandas as pd
import streamlit as st

from dashboard import background, frame, held, promising, reading, tables
from dashboard import forecast_sentences as said
from dashboard.charts import bench as charts
from dashboard.forecasting import FORECAST_KEYS, Bench
from dashboard.words import amount, counted, day, hours, plain, text
from ingest import quotes
from ingest.formulas import defused_frame

SHOWN, MOST_READ_OUT, MOST_FINDS = 12, 40, 6
LIKELY = 0.02
_WATCH_S = 1


def body() -> None:
    bench = held.bench()
    _watch(held.store().changes())
    works = bench.works
    if works.empty:
        _nothing(bench)
        return
    code = _choose(works["object"].tolist())
    if code is not None:
        _one(bench, works[works["object"] == code].iloc[0])
        return
    frame.as_of(held.today())
    frame.to_be_decided()
    standing = works.apply(said.standing, axis=1)
    _figures(works, standing)
    frame.say([said.how_they_stand(bench), *said.apart(bench)])
    told = works[works["p50"].notna()]
    if len(told):
        _where_they_end(told)
    _to_write(bench, works[standing == "write"])
    _table("To keep an eye on", works[standing == "watch"])
    _table("Fine", works[standing == "fine"])
    _table("With nothing approved in hours", works[standing == "unapproved"])
    _without_estimate(works[standing == "unquoted"])
    frame.remember_backup()
    st.download_button("The forecast as CSV", partial(_csv, works[list(FORECAST_KEYS)]), "forecast.csv", "text/csv", on_click="ignore")


def _nothing(bench: Bench) -> None:
    st.write(
        "No work is on the bench. As soon as an estimate is approved, or hours are logged on a work, it stands here: where it will end, and whether its owner must be written to."
    )
    frame.say(said.apart(bench))
    with st.container(horizontal=True):
        if st.button("To the works", type="primary"):
            st.switch_page("pages/works.py", query_params=held.same_studio())
        frame.invite_to_invented()


@st.fragment(run_every=_WATCH_S)
def _watch(shown: int) -> None:
    """Draw the page anew when something was written since, be it by a phone at the bench."""
    if held.store().changes() != shown:
        st.rerun(scope="app")


def _choose(codes: list[str]) -> str | None:
    """The work that is looked at, kept in the address."""
    asked = st.query_params.get("object")
    if asked is not None and asked not in codes:
        st.info(plain(f"{asked} is not on the bench: it is finished, or nothing of it is approved or begun. Here is all that is."))
    chosen: str | None = st.selectbox(
        "One work",
        codes,
        index=codes.index(asked) if asked in codes else None,
        placeholder="Choose a work, the most to write about first",
        key=f"bench {asked}",
    )
    if chosen != (asked if asked in codes else None):
        _go(chosen)
    return chosen


def _go(code: str | None) -> None:
    st.query_params.from_dict({**({"object": code} if code else {}), **held.same_studio()})
    st.rerun()


# --- all of them


def _figures(works: pd.DataFrame, standing: pd.Series) -> None:
    told = works[works["p50"].notna()]
    st.html(
        tables.figures([
            ("works on the bench", f"{len(works)}", False), ("to write to the owner about", f"{int((standing == 'write').sum())}", bool((standing == "write").any())),
            ("above what was approved, on average over all that may come", f"{hours(works['hours_over'].sum())} h" if works["hours_over"].notna().any() else "–", bool((standing == "write").any())),
            ("still to come, at even chance of each", f"{hours((told['p50'] - told['actual_hours']).sum())} h", False),
        ])
    )  # fmt: skip


def _where_they_end(told: pd.DataFrame) -> None:
    st.header("Where they end")
    shown = told.head(SHOWN)
    labels = [
        f"{row['object']}: {hours(row['p50'])} h" + (f" of {hours(row['approved_hours'])} h approved" if pd.notna(row["approved_hours"]) else "")
        for row in shown.to_dict("records")
    ]
    frame.say(
        [
            "The line is where a work ends 8 times in 10, the dot even chance; the upright tick is what was approved, the narrow bar the hours so far. Choose a dot for why. What was most above stands first."
            + (f" {counted(len(told) - SHOWN, 'more work')} below." if len(told) > SHOWN else "")
        ]
    )
    st.altair_chart(
        charts.ends(shown.assign(label=labels)), width="stretch", theme=None, key="ends", on_select=_dot_chosen, selection_mode="chosen",
        alt=f"Where works end: {'; '.join(labels[:MOST_READ_OUT])}.",
    )  # fmt: skip
    if code := st.session_state.pop("open bench", None):
        _go(code)


def _dot_chosen() -> None:
    points = st.session_state["ends"]["selection"].get("chosen", [])
    if points:
        st.session_state["open bench"] = points[0]["object"]


def _to_write(bench: Bench, works: pd.DataFrame) -> None:
    """Each work with why and the way to its revision; those of one commission share a letter, and stand together."""
    st.header("Write to the owner")
    if works.empty:
        st.write("Nobody: every work with approved hours is foretold to end within them, at even chance at least.")
        return
    commissions = {row["commission"]: row for row in bench.commissions.to_dict("records")}
    seen: set[str] = set()
    blocks: list[tuple[str, pd.DataFrame]] = []
    for row in works.to_dict("records"):
        commission = text(row["commission"])
        if commission in commissions:
            if commission not in seen:
                seen.add(commission)
                blocks.append((commission, bench.works[bench.works["commission"] == commission]))
        else:
            blocks.append(("", works[works["object"] == row["object"]]))
    for commission, of in blocks[:SHOWN]:
        if commission:
            st.subheader(plain(f"Commission {commission}"))
            frame.say([_together(commissions[commission])])
        for _, work in of.iterrows():
            _block(bench, work)
    if len(blocks) > SHOWN:
        _table("Further works to write about", pd.concat([of for _, of in blocks[SHOWN:]]))


def _together(row: tables.Row) -> str:
    approved: str = (
        f" of {hours(row['approved_hours'])} h approved, {said.in_ten(row['chance_over_approved'])} that they end above"
        if pd.notna(row["approved_hours"])
        else ""
    )
    return f"{counted(int(row['works']), 'work')} of one owner, one letter: together {hours(row['p50'])} h at even chance, {hours(row['p80'])} h 4 times in 5{approved}."


def _block(bench: Bench, work: pd.Series) -> None:
    code = work["object"]
    st.html(f"<h3>{tables.link(tables.Link(code, held.address('on-the-bench', object=code)))} {escape(_titles().get(code, ''))}</h3>")
    st.write(plain(said.ends(work)))
    if said.standing(work) == "fine":
        return
    if why := said.reasons(bench, work):
        frame.list_out([said.said(one) for one in why])
    frame.say([said.costs_the_studio(work)])
    _revise(code)


def _titles() -> dict[str, str]:
    works = held.works(held.today())
    return dict(zip(works["object"], works["title"].fillna(""), strict=True))


def _revise(code: str) -> None:
    """One tap to the revision: the quote being written, or one that goes on from the latest version."""
    if st.button(
        "Quote the rest anew",
        key=f"revise {code}",
        help=f"A revision of {code}: what is done stays as worked, the rest is quoted, and the letter sets old beside new.",
    ):
        written = quotes.of_work(held.store().cursor(), code)
        if written is None:
            held.change("quoted anew")  # only for whoever may change something
            written = quotes.keep(held.store(), promising.goes_on(held.store().cursor(), code, held.today()), held.visit())
        st.switch_page("pages/quote_a_work.py", query_params={"quote": f"{written.number}", **held.same_studio()})


def _table(name: str, works: pd.DataFrame) -> None:
    if works.empty:
        return
    st.header(name)
    heads = ["work", "so far, h", "approved, h", "ends, even chance, h", "4 in 5, h", "above what was approved"]
    rows: list[list[tables.Cell]] = [
        [
            tables.Link(row["object"], held.address("on-the-bench", object=row["object"])), hours(row["actual_hours"]), hours(row["approved_hours"]), hours(row["p50"]), hours(row["p80"]),
            said.in_ten(row["chance_over_approved"]) if pd.notna(row["chance_over_approved"]) else "–",
        ]
        for row in works.to_dict("records")
    ]  # fmt: skip
    st.html(tables.ledger(name, heads, rows, words=(0, 5)))


def _without_estimate(works: pd.DataFrame) -> None:
    if works.empty:
        return
    st.header("Without an estimate")
    rows: list[list[tables.Cell]] = [
        [held.work_link(row["object"]), hours(row["actual_hours"]), day(row["last_day"]) if pd.notna(row["last_day"]) else ""]
        for row in works.to_dict("records")
    ]
    st.html(tables.ledger("Without an estimate", ["work", "so far, h", "last worked"], rows, words=(0, 2)))
    frame.say(["What is to be done on them nobody has said yet: write their estimate, and they stand above."])


# --- one of them


def _one(bench: Bench, work: pd.Series) -> None:
    code = work["object"]
    st.html(f'<p class="beside">{tables.link(tables.Link("All works on the bench", held.address("on-the-bench")))}</p>')
    st.write(plain(said.ends(work)))
    with st.container(horizontal=True):
        _revise(code)
        st.page_link("pages/one_work.py", label="Where its hours went", query_params={"object": code, **held.same_studio()})
        st.page_link("pages/works.py", label="Edit the work, set a milestone", query_params={"object": code, **held.same_studio()})
    if pd.isna(work["p50"]):
        return
    if why := said.reasons(bench, work):
        st.header("Why")
        frame.list_out([said.said(one) for one in why])
    frame.say([one for one in (said.costs_the_studio(work), said.beside_it(work)) if one])
    _told_before(code)
    _lines(bench, code)
    _finds(bench, code)


def _lines(bench: Bench, code: str) -> None:
    st.header("Its lines")
    of = bench.lines[bench.lines["object"] == code]
    heads = ["line", "so far, h", "estimated, h", "ends, even chance, h", "4 in 5, h", "9 in 10, h", "how far"]
    rows: list[list[tables.Cell] | str] = []
    for phase, inside in of.groupby("phase", sort=False):
        rows.append(str(phase))
        rows += [
            [
                said.called(row),
                hours(row["actual_hours"]),
                hours(row["estimated_hours"]),
                hours(row["p50"]),
                hours(row["p80"]),
                hours(row["p90"]),
                _how_far(row),
            ]
            for row in inside.to_dict("records")
        ]
    st.html(tables.ledger("Lines of this work, and where they end", heads, rows, words=(0, 6)))
    frame.say(
        [
            "Finished lines stay as they are. A line under way goes on from its hours by how far it was last said to be, and never ends below them; one not begun follows the studio’s rates and the luck this work has shown. Lines do not add up to the whole: they are not all late at once."
        ]
    )


def _how_far(row: tables.Row) -> str:
    if row["finished"]:
        return "finished"
    if row["all_done"]:
        return "all done"
    if not row["begun"]:
        return "not begun"
    if pd.notna(row["said_done"]):
        return f"{row['said_done']:.0f} % done"
    return f"{amount(row['treated'], row['unit'])} treated" if pd.notna(row["treated"]) else "begun"


def _finds(bench: Bench, code: str) -> None:
    found = [one for one in bench.found.get(code, ()) if one.found.chance >= LIKELY][:MOST_FINDS]
    if not found:
        return
    st.header("What may still turn up")
    rows: list[list[tables.Cell]] = [
        [f"{one.found.technique}{', on another part' if one.found.another else ''}", said.in_ten(one.found.chance), hours(one.hours_if_found), hours(one.hours)]
        for one in found
    ]
    st.html(tables.ledger("What may still turn up", ["technique", "chance", "if it does, h", "on average, h"], rows, words=(0, 1)))


def _told_before(code: str) -> None:
    """How it was foretold from day to day, gathered beside the page."""
    st.header("How it was foretold")
    task = held.bench_history(code)
    if not task.wait(0.3):
        bar = st.progress(0.0, text="Foretelling it once more from each day …")
        while not task.wait(0.2):
            bar.progress(
                task.share,
                text=f"Foretelling it once more from each day: {task.done:,} of {task.of:,}" if task.of else "Foretelling it once more from each day …",
            )
        bar.empty()
    try:
        history = task.result()
    except background.GivenUp:
        st.rerun()
    if len(history) < 2:
        frame.say(["From its second day on, this shows how the range narrowed, and where it jumped."])
        return
    first, last = history.iloc[0], history.iloc[-1]
    frame.say([said.since(history, held.today()), "What would have been told on each day on which it was worked, from what was known then alone."])
    st.altair_chart(
        charts.told_before(history), width="stretch", theme=None,
        alt=f"What was foretold of {code} from {day(first['day'])}, {hours(first['p50'])} h ({hours(first['p10'])} to {hours(first['p90'])}), to {day(last['day'])}, {hours(last['p50'])} h ({hours(last['p10'])} to {hours(last['p90'])}).",
    )  # fmt: skip
    if moved := said.jumps(history, reading.entries(held.store().cursor(), held.today(), code)):
        st.write("Where it jumped")
        frame.list_out(moved)


def _csv(content: pd.DataFrame) -> str:
    return defused_frame(content).to_csv(index=False)


frame.show("On the bench", body)
