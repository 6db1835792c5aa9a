"""On the bench: where each work under way will end, why, and which owner to write to."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, markup, promising, quote_sentences, reading, tables
from dashboard import forecast_sentences as said
from dashboard.analysis.basis import NAMES
from dashboard.background import GivenUp, Task
from dashboard.charts import bench as charts
from dashboard.forecasting import FORECAST_KEYS, Bench, Ended
from dashboard.giving import as_csv_text
from dashboard.words import ago, amount, counted, day, hours, plain, tenths, text
from ingest import quotes
from ingest.errors import BenchHoursError

TITLE = "On the bench"
SHOWN, MOST_READ_OUT, MOST_FINDS, MOST_SINCE = 12, 40, 6, 5
LIKELY = 0.02
_WATCH_S = 0.5
_AT_ONCE_S = 0.3
_SHOWN_H = 0.05
_NOT_YET = "…"
_HEADS_SO_FAR = ("work", "so far, h", "estimated, h", "left, h", "approved, h", "ends, even chance, h", "4 in 5, h", "above what was approved")


def body() -> None:
    shown = held.store().changes()  # before anything is read: what is written meanwhile must not be missed
    pending: list[Task[Any]] = []
    task = held.bench_begun()
    if not (frame.is_drawn_anew(TITLE) or task.wait(_AT_ONCE_S)) and _so_far(task, shown):
        return
    _whole(held.awaited_bench(task), pending)
    frame.is_whole(TITLE)
    _watch(shown, pending)


def _whole(bench: Bench, pending: list[Task[Any]]) -> None:
    works = bench.works
    if works.empty:
        _nothing(bench)
    elif (code := _choose(works["object"].tolist())) is not None:
        _one(bench, works[works["object"] == code].iloc[0], pending)
    else:
        _all(bench, pending)


def _all(bench: Bench, pending: list[Task[Any]]) -> None:
    works = bench.works
    frame.as_of(held.today())
    frame.to_be_decided()
    standing = works.apply(said.standing, axis=1)
    _figures(works, standing)
    frame.say([said.behind(bench), *said.apart(bench)])
    if held.is_principal():
        frame.ask_about_tax(bench.unsaid_prices)
    told = works[works["p50"].notna()]
    if len(told):
        _where_they_end(told)
    _to_write(bench, works[standing == "write"], pending)
    _table("To keep an eye on", works[standing == "watch"])
    _table("Fine", works[standing == "fine"])
    _table("With nothing approved in hours", works[standing == "unapproved"])
    _without_estimate(works[standing == "unquoted"])
    frame.remember_backup()
    st.download_button("The forecast as CSV", partial(_csv, works[list(FORECAST_KEYS)]), "forecast.csv", "text/csv", on_click="ignore")


def _nothing(bench: Bench) -> None:
    if code := st.query_params.get("object"):
        _not_here(code)
    st.write(
        "No work is on the bench. As soon as an estimate is approved, or hours are logged on a work, it stands here: where it will end, and whether its owner must be written to."
    )
    frame.say(said.apart(bench))
    with st.container(horizontal=True):
        if st.button("To the works", type="primary"):
            st.switch_page("pages/works.py", query_params=held.same_studio())
        frame.invite_to_invented()


def _not_here(code: str) -> None:
    """What an address asks for is not on the bench, or nowhere."""
    known = code in held.works(held.today())["object"].tolist()
    st.info(plain(f"{code} is not on the bench: it is finished, or nothing of it is approved or begun." if known else f'There is no work "{code}" here.'))


@st.fragment(run_every=_WATCH_S)
def _watch(shown: int, pending: list[Task[Any]]) -> None:
    """Draw the page anew when something was written since, be it by a phone at the bench, or when what it waits for is there."""
    if held.store().changes() != shown or any(task.wait(0) for task in pending):
        st.rerun(scope="app")


def _choose(codes: list[str]) -> str | None:
    """The work that is looked at, kept in the address."""
    asked = st.query_params.get("object")
    if asked is not None and asked not in codes:
        _not_here(asked)
        del st.query_params["object"]
    return fields.choose_work(codes, _titles())


def _go(code: str) -> None:
    st.query_params.from_dict({"object": code, **held.same_studio()})
    st.rerun()


# --- before all is foretold


def _so_far(task: Task[Bench], changes: int) -> bool:
    """What is known of the works on the bench, at once, and where they end as that comes; False where there is nothing to show of that."""
    known = held.bench_so_far(held.today())
    if known.empty:
        return False
    asked = known[known["object"] == st.query_params.get("object")]
    frame.as_of(held.today())
    if asked.empty:
        left = known["left_hours"]
        st.html(
            tables.figures([
                ("works on the bench", f"{len(known)}", False), ("so far", f"{hours(known['actual_hours'].sum())} h", False),
                ("left of what was estimated", f"{hours(left.sum())} h" if left.notna().any() else "–", False),
            ])
        )  # fmt: skip
    _filled(known if asked.empty else asked, int((known["yardstick"] != "none").sum()), task, changes)
    return True


@st.fragment(run_every=_WATCH_S)
def _filled(known: pd.DataFrame, of: int, task: Task[Bench], changes: int) -> None:
    """Works with what is known of them, and where they end as far as that is reckoned, `of` so many in all; the page is drawn anew when all is, or something was written since."""
    if held.store().changes() != changes:
        st.rerun(scope="app")
    if task.wait(0):
        try:
            task.result()
        except BenchHoursError as error:
            frame.refuse(str(error))
            return
        st.rerun(scope="app")
    ended = held.ended_so_far(task)
    words = f"where {len(ended)} of {counted(of, 'work')} {'ends' if of == 1 else 'end'} is known" if ended else "learning from the finished works …"
    st.progress(min(len(ended) / of, 1.0) if of else 0.0, text=f"Looking ahead: {words}")
    st.html(tables.ledger("Works on the bench", _HEADS_SO_FAR, [_row_so_far(row, ended.get(row["object"])) for row in known.to_dict("records")], words=(0, 7)))
    frame.say([f"Left is what was estimated of lines not finished, less what each took so far. Where “{_NOT_YET}” stands it is being worked out."])


def _row_so_far(row: tables.Row, ended: Ended | None) -> list[tables.Cell]:
    known: list[tables.Cell] = [
        tables.Link(row["object"], held.address("on-the-bench", object=row["object"])),
        *(hours(row[name]) for name in ("actual_hours", "estimated_hours", "left_hours", "approved_hours")),
    ]
    if ended is None:
        return known + ["–" if row["yardstick"] == "none" else _NOT_YET] * 3
    by_name = dict(zip(NAMES, ended.quantiles, strict=True))
    return [*known, hours(by_name["p50"]), hours(by_name["p80"]), _above_approved(ended.chance_over_approved)]


def _above_approved(chance: float) -> str:
    return said.in_ten(chance) if pd.notna(chance) else "–"


# --- all of them


def _figures(works: pd.DataFrame, standing: pd.Series) -> None:
    told = works[works["p50"].notna()]
    above = (works["p50"] - works["approved_hours"]).clip(lower=0.0)
    st.html(
        tables.figures([
            ("works on the bench", f"{len(works)}", False), ("owners to write to, work by work", f"{int((standing == 'write').sum())}", bool((standing == "write").any())),
            ("above what was approved, at even chance of each", f"{hours(above.sum())} h" if works["approved_hours"].notna().any() else "–", bool(above.sum() >= 0.05)),
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
            "The line is where a work ends 8 times in 10, the dot even chance; the upright tick is what was approved, the grey bar the hours so far. Choose a dot for why. Furthest above stands first."
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


def _to_write(bench: Bench, works: pd.DataFrame, pending: list[Task[Any]]) -> None:
    """Each work with why and the way to its revision; those of one commission share a letter, and stand together."""
    st.header("Write to the owner")
    if works.empty:
        st.write("Nobody: every work with approved hours is foretold to end within them, at even chance at least.")
        return
    frame.say(["From an even chance on that a work ends above what was approved, its owner is to be written to; from 2 in 10 on it is one to keep an eye on."])
    about = _About.gathered()
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
    for number, (commission, of) in enumerate(blocks[:SHOWN]):
        if commission:
            st.subheader(plain(f"Commission {commission}"))
            frame.say([_together(commissions[commission])])
        for _, work in of.iterrows():
            _block(bench, work, about, pending if number < MOST_SINCE else None)
    if len(blocks) > SHOWN:
        _table("Further works to write about", pd.concat([of for _, of in blocks[SHOWN:]]))


def _together(row: tables.Row) -> str:
    approved: str = (
        f" of {hours(row['approved_hours'])} h approved, {said.in_ten(row['chance_over_approved'])} that they end above"
        if pd.notna(row["approved_hours"])
        else ""
    )
    return f"{counted(int(row['works']), 'work')} of one owner, one letter: together {hours(row['p50'])} h at even chance, {hours(row['p80'])} h 4 times in 5{approved}."


@dataclass(frozen=True, slots=True, kw_only=True)
class _About:
    """What stands beside a work: its title and owner, when it is due and was last worked, the quote of it being written, the version that waits for a word."""

    titles: dict[str, str]
    owners: dict[str, str]
    works: dict[str, dict[Hashable, Any]]
    written: dict[str, int]
    waiting: dict[str, int]

    @classmethod
    def gathered(cls) -> _About:
        con, today = held.store().cursor(), held.today()
        return cls(
            titles=_titles(), owners=reading.owners(con), works={row["object"]: row for row in held.works(today).to_dict("records")},
            written={work.object: quote.number for quote in reversed(quotes.read_all(con)) for work in quote.works if quote.number is not None}, waiting=reading.waiting_versions(con, today),
        )  # fmt: skip

    def of(self, code: str) -> str:
        """In a sentence."""
        work, today = self.works[code], held.today()
        parts = [f"for {self.owners[code]}" if code in self.owners else ""]
        if pd.notna(work["due_on"]):
            parts.append(f"{'due' if work['due_on'].date() >= today else 'was due'} {ago(work['due_on'].date(), today)}")
        if pd.notna(work["last_day"]):
            parts.append(f"last worked {ago(work['last_day'].date(), today)}")
        if code in self.waiting:
            parts.append(f"version {self.waiting[code]} of its estimate waits for the owner’s word")
        told = "; ".join(filter(None, parts))
        return f"{told[:1].upper()}{told[1:]}." if told else ""


def _block(bench: Bench, work: pd.Series, about: _About, pending: list[Task[Any]] | None) -> None:
    code = work["object"]
    st.html(markup.piece("head_of_work", tables.Link(code, held.address("on-the-bench", object=code)), about.titles.get(code, "")))
    st.write(plain(said.ends(work)))
    frame.say([about.of(code)])
    if said.standing(work) != "write":
        return
    _why(bench, work)
    frame.say([" ".join(filter(None, ("" if pending is None else _since(code, pending), said.costs_the_studio(work))))])
    _revise(code, about.written.get(code))


def _why(bench: Bench, work: pd.Series) -> None:
    if why := said.reasons(bench, work):
        frame.list_out([said.said(one) for one in why])
    else:
        frame.say(["No line stands out: it is all of them together."])


def _since(code: str, pending: list[Task[Any]]) -> str:
    """Since when it is so; gathered beside the page, which is drawn again when it is there."""
    task = held.bench_since(code, said.WRITE)
    if not task.wait(0):
        pending.append(task)
        return ""
    try:
        return said.since(task.result(), held.today())
    except GivenUp:
        return ""


def _titles() -> dict[str, str]:
    works = held.works(held.today())
    return dict(zip(works["object"], works["title"].fillna(""), strict=True))


def _revise(code: str, number: int | None) -> None:
    """One tap to the revision: the quote being written, or one that goes on from the latest version."""
    if number is not None:
        st.page_link("pages/quote_a_work.py", label=f"Go on with quote {number} of {code}", query_params={"quote": f"{number}", **held.same_studio()})
    elif st.button(
        f"Quote the rest of {code} anew",
        key=f"revise {code}",
        help="A revision: what is done stays as worked, the rest is quoted, and the letter sets old beside new.",
    ):
        held.change("quoted anew")  # only for whoever may change something
        begun = quotes.keep(held.store(), promising.goes_on(held.store().cursor(), code, held.today()), held.visit())
        st.switch_page("pages/quote_a_work.py", query_params={"quote": f"{begun.number}", **held.same_studio()})


def _table(name: str, works: pd.DataFrame) -> None:
    if works.empty:
        return
    st.header(name)
    heads = ["work", "so far, h", "approved, h", "ends, even chance, h", "4 in 5, h", "above what was approved"]
    rows: list[list[tables.Cell]] = [
        [
            tables.Link(row["object"], held.address("on-the-bench", object=row["object"])), hours(row["actual_hours"]), hours(row["approved_hours"]), hours(row["p50"]), hours(row["p80"]),
            _above_approved(row["chance_over_approved"]),
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


def _one(bench: Bench, work: pd.Series, pending: list[Task[Any]]) -> None:
    code, about = work["object"], _About.gathered()
    st.html(tables.beside([tables.Link("All works on the bench", held.address("on-the-bench"))]))
    st.write(plain(said.ends(work)))
    frame.say([about.of(code)])
    with st.container(horizontal=True):
        _revise(code, about.written.get(code))
        st.page_link("pages/one_work.py", label="Where its hours went", query_params={"object": code, **held.same_studio()})
        st.page_link("pages/works.py", label="Edit the work, set a milestone", query_params={"object": code, **held.same_studio()})
    if pd.isna(work["p50"]):
        return
    if said.standing(work) in ("write", "watch"):
        st.header("Why")
        _why(bench, work)
    frame.say([one for one in (said.costs_the_studio(work), said.beside_it(work), said.behind(bench)) if one])
    _told_before(code, work, pending)
    _lines(bench, code)
    _finds(bench, code)


def _lines(bench: Bench, code: str) -> None:
    st.header("Its lines")
    of = bench.lines[bench.lines["object"] == code]
    heads = ["line", "how far", "so far, h", "estimated, h", "ends, even chance, h", "4 in 5, h", "9 in 10, h", "works behind"]
    rows: list[list[tables.Cell] | str] = []
    for phase, inside in of.groupby("phase", sort=False):
        rows.append(str(phase))
        rows += [
            [
                said.called(row),
                _how_far(row),
                hours(row["actual_hours"]),
                hours(row["estimated_hours"]),
                hours(row["p50"]),
                hours(row["p80"]),
                hours(row["p90"]),
                f"{row['works']}",
            ]
            for row in inside.to_dict("records")
        ]
    st.html(tables.ledger("Lines of this work, and where they end", heads, rows, words=(0, 1)))
    frame.say(
        [
            "Finished lines stay as they are. A line under way goes on from its hours by how far it was last said to be, and never ends below them; one not begun follows the studio’s rates and the luck this work has shown, and may after all not be needed; its quote says what it takes if it is. Lines do not add up to the whole: they are not all late at once.",
            "Taken as done: nobody has said that it is finished, and such lines seldom take more. A milestone settles it."
            if of.apply(_as_done, axis=1).any()
            else "",
        ]
    )


def _as_done(row: tables.Row | pd.Series) -> bool:
    return bool(row["begun"]) and not row["finished"] and not row["all_done"] and tenths(row["p50"]) <= tenths(row["actual_hours"])


def _how_far(row: tables.Row) -> str:
    if row["finished"] or row["all_done"] or not row["begun"]:
        return "finished" if row["finished"] else "all done" if row["all_done"] else "not begun"
    if pd.notna(row["said_done"]):
        return f"{row['said_done']:.0f} % done"
    treated = f"{amount(row['treated'], row['unit'])} treated" if pd.notna(row["treated"]) else "begun"
    return f"{treated}, taken as done" if _as_done(row) else treated


def _finds(bench: Bench, code: str) -> None:
    if usual := bench.usual.get(code):
        st.header("Nearly always done here, and not in its estimate")
        frame.list_out(quote_sentences.usual(usual, "in its estimate"))
    every = bench.found.get(code, ())
    found = [one for one in every if one.found.chance >= LIKELY][:MOST_FINDS]
    if not found:
        return
    st.header("What may still turn up")
    rows: list[list[tables.Cell]] = [
        [f"{one.found.technique}{', on another part' if one.found.another else ''}", said.in_ten(one.found.chance), hours(one.hours_if_found), hours(one.hours)]
        for one in found
    ]
    rest = sum(one.hours for one in every) - sum(one.hours for one in found)
    if rest >= _SHOWN_H:
        rows.append(["others, less likely", "", "", hours(rest)])
    st.html(tables.ledger("What may still turn up", ["technique", "chance", "if it does, h", "on average, h"], rows, words=(0, 1)))


def _told_before(code: str, work: pd.Series, pending: list[Task[Any]]) -> None:
    """How it was foretold from day to day, gathered beside the page, which is drawn again when it is there."""
    st.header("How it was foretold")
    if not work["begun"]:
        frame.say(["Nothing was logged on it yet. From its second day on, this shows how the range narrowed, and where it jumped."])
        return
    task = held.bench_history(code)
    if not task.wait(_AT_ONCE_S):
        pending.append(task)
        _progress(code)
        return
    try:
        history = task.result()
    except GivenUp:
        st.rerun()
    if len(history) < 2:
        frame.say(["From its second day on, this shows how the range narrowed, and where it jumped."])
        return
    first, last = history.iloc[0], history.iloc[-1]
    frame.say([
        "What would have been told on each day on which it was worked, from what was known then alone: the line at even chance, the band 8 times in 10; below it the hours so far, and level what was approved.",
    ])  # fmt: skip
    st.altair_chart(
        charts.told_before(history), width="stretch", theme=None,
        alt=f"What was foretold of {code} from {day(first['day'])}, {hours(first['p50'])} h ({hours(first['p10'])} to {hours(first['p90'])}), to {day(last['day'])}, {hours(last['p50'])} h ({hours(last['p10'])} to {hours(last['p90'])}).",
    )  # fmt: skip
    if moved := said.jumps(history, reading.entries(held.store().cursor(), held.today(), code)):
        st.write("Where it jumped")
        frame.list_out(moved)


@st.fragment(run_every=_WATCH_S)
def _progress(code: str) -> None:
    task = held.bench_history(code)
    words = f": {task.done:,} of {task.of:,}" if task.of else " …"
    st.progress(task.share, text=f"Working out what would have been said on each day{words}")


def _csv(content: pd.DataFrame) -> str:
    return as_csv_text(content)


frame.show(TITLE, body)
