"""Bench plan: when each work is ready, where the queue hurts, what a new work would be promised for, and the weeks ahead."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, plan_calendar, planning, tables
from dashboard import plan_sentences as said
from dashboard.charts import plan as charts
from dashboard.forecast_sentences import in_ten
from dashboard.giving import as_csv_text
from dashboard.plan_command import COLUMNS
from dashboard.planning import Plan
from dashboard.words import counted, day, hours, plain, plain_weeks
from ingest import absences
from ingest.absences import Absence
from ingest.errors import BenchHoursError
from ingest.settings import write_settings

SHOWN, MOST_READ_OUT, WEEKS, MOST_OF_A_WEEK, MOST_HURTS = 12, 40, 12, 5, 6
_WORTH_TELLING_H = 0.5
_USUAL_HOURS, _USUAL_WAITING = "40", "0"


def body() -> None:
    plan = held.plan()
    frame.as_of(held.today())
    if plan.works.empty:
        _nothing(plan)
    else:
        _figures(plan)
        frame.say([said.who(plan), *said.apart(plan)])
        _when_ready(plan)
        _queue(plan)
    _new_work(plan)
    _weeks(plan)
    _away(plan)
    _take_along(plan)


def _nothing(plan: Plan) -> None:
    st.write(
        "No work with an estimate is on the bench. As soon as an estimate is approved, its work stands here: when it is ready, and what a new work would be promised for."
    )
    frame.say([said.who(plan), *said.apart(plan)])
    with st.container(horizontal=True):
        if st.button("To the works", type="primary"):
            st.switch_page("pages/works.py", query_params=held.same_studio())
        frame.invite_to_invented()


def _figures(plan: Plan) -> None:
    late = plan.works["chance_late"] >= 0.5
    st.html(
        tables.figures([
            ("works in the plan", f"{len(plan.works)}", False), ("works likely to be later than due", f"{int(late.sum())}", bool(late.any())),
            ("still to come, at even chance of each", f"{hours(plan.works['bench_p50'].sum())} h", False), ("at the bench in an ordinary week", f"{hours(sum(one.weekly for one in plan.people))} h", False),
        ])
    )  # fmt: skip


def _when_ready(plan: Plan) -> None:
    st.header("When they are ready")
    works = plan.works
    shown = works.head(SHOWN)
    labels = [f"{row['object']}: {row['leaves_p50']:%-d %b %Y}, 4 in 5 {row['leaves_p80']:%-d %b}" for row in shown.to_dict("records")]
    more = f" {counted(len(works) - SHOWN, 'more work')} in the table." if len(works) > SHOWN else ""
    frame.say(
        [
            f"The line is when a work is ready 8 times in 10, the dot even chance; the upright tick is the day it is due. In the order in which they are taken up.{more}"
        ]
    )
    st.altair_chart(
        charts.ready(shown.assign(label=labels), pd.Timestamp(plan.first_day)),
        width="stretch",
        theme=None,
        alt=f"When works are ready: {'; '.join(labels[:MOST_READ_OUT])}.",
    )
    heads = ["work", "ready, even chance", "due", "later than due", "ready, 4 in 5", "to come, even chance, h", "4 in 5, h", "behind others"]
    rows: list[list[tables.Cell]] = [
        [
            tables.Link(row["object"], held.address("on-the-bench", object=row["object"])), f"{row['leaves_p50']:%-d %b %Y}",
            f"{row['due_on']:%-d %b %Y}" if pd.notna(row["due_on"]) else "–", in_ten(row["chance_late"]) if pd.notna(row["chance_late"]) else "–", f"{row['leaves_p80']:%-d %b %Y}",
            hours(row["bench_p50"]), hours(row["bench_p80"]), plain_weeks(row["queue_days"]) if row["queue_days"] >= 1 else "–",
        ]
        for row in works.to_dict("records")
    ]  # fmt: skip
    st.html(tables.ledger("When works are ready", heads, rows, words=(0, 3)))
    frame.say([said.HOW])


def _queue(plan: Plan) -> None:
    st.header("Where the queue hurts")
    hurts = said.queue_hurts(plan)
    if hurts:
        frame.list_out(hurts[:MOST_HURTS])
        frame.say([f"And {counted(len(hurts) - MOST_HURTS, 'more work')}: see the table." if len(hurts) > MOST_HURTS else ""])
    else:
        st.write("Nowhere: no work is likely to be later than it is due.")
    codes = plan.works["object"].tolist()
    first = [code for code, by_hand in zip(codes, plan.works["first"], strict=True) if by_hand]
    seen = fields.seen_first("put first", "put first", str(first))
    with st.form("put first"):
        chosen = st.multiselect("Take up before all others, in this order", codes, default=first, key="put first", placeholder="No work")
        if st.form_submit_button("Plan it so"):
            if seen != str(first):
                frame.refuse("Not changed: it was changed elsewhere since you opened it. Load the page again to see how it is now.")
            else:
                _say("put_first", "; ".join(chosen), "The plan follows that order.", "put first")


def _say(setting: str, text: str, sentence: str, form: str, empty: Callable[[], None] = lambda: None) -> None:
    """Change one setting, `empty` what was typed for it, and say so; or say why not."""
    try:
        with held.store().writing() as con:
            write_settings(con, {setting: text}, held.change("said on the bench plan"))
    except BenchHoursError as error:
        frame.refuse(f"Not done: {error}")
        return
    fields.forget_seen(form)
    empty()
    frame.done(sentence)


def _new_work(plan: Plan) -> None:
    st.header("What a new work would be promised for")
    with st.container(horizontal=True, key="choices"):
        asked = st.text_input(planning.HOURS_OF_NEW, _USUAL_HOURS, key="new hours", help="As you write them: 40, 12.5, 1:30")
        waits = st.text_input(planning.DAYS_OF_NEW, _USUAL_WAITING, key="new waiting")
    first = st.toggle("Taken up before all others", key="new first") if len(plan.works) else False
    try:
        hours_at_bench, days_alone = planning.read_new_work(asked, waits)
        st.write(plain(said.one_more(held.one_more(hours_at_bench, days_alone, first=first), first)))
    except BenchHoursError as error:
        frame.refuse(f"{error}")
    frame.say(
        [
            said.free_again(plan) if len(plan.works) else "",
            "Approved today. How far off its hours may be is as finished works were from their estimates; a quote of it says so more narrowly, from its own lines.",
        ]
    )
    st.page_link("pages/quote_a_work.py", label="Quote a work", query_params=held.same_studio())


def _weeks(plan: Plan) -> None:
    if plan.works.empty:
        return
    st.header("The weeks ahead")
    monday = pd.Timestamp(plan.first_day) - pd.Timedelta(days=plan.first_day.weekday())
    if not plan.days.loc[plan.days["day"] < monday + pd.Timedelta(weeks=1), "bench_hours"].any():  # nothing of this week is left
        monday += pd.Timedelta(weeks=1)
    days = plan.days[(plan.days["day"] >= monday) & (plan.days["day"] < monday + pd.Timedelta(weeks=WEEKS))]
    ready = plan.works.groupby("leaves_p50")["object"].agg(", ".join)
    frame.say(
        [
            "Hours that are planned for each day, on average over what may come: the darker, the more. A bar at the foot: something soaks, presses or dries alone. A dot: a work is ready, at even chance. A stroke: somebody is away."
        ]
    )
    st.altair_chart(
        charts.weeks_ahead(days.assign(ready=days["day"].map(ready).fillna(""))), width="stretch", theme=None,
        alt=f"The next {WEEKS} weeks: {hours(days['hours'].sum())} h planned of {hours(days['bench_hours'].sum())} h at the bench.",
    )  # fmt: skip
    _week_by_week(plan, monday, days)


def _week_by_week(plan: Plan, monday: pd.Timestamp, days: pd.DataFrame) -> None:
    week_of = days["day"] - pd.to_timedelta(days["day"].dt.day_of_week, "D")
    sums = days.groupby(week_of).agg(
        hours=("hours", "sum"), bench=("bench_hours", "sum"), away=("away", lambda those: ", ".join(dict.fromkeys(filter(None, those))))
    )
    leaving = (
        plan.works.assign(week=plan.works["leaves_p50"] - pd.to_timedelta(plan.works["leaves_p50"].dt.day_of_week, "D"))
        .groupby("week")["object"]
        .agg(", ".join)
    )
    of_works = {str(week): inside for week, inside in plan.weeks.groupby("week")}
    rows = []
    for week, row in sums.iterrows():
        works = of_works.get(str(week), plan.weeks.head(0))
        rows.append([
            f"{week:%-d %b %Y}", hours(row["bench"] - row["hours"]), leaving.get(week, "–"), ", ".join(f"{one['object']} {hours(one['hours'])} h" for one in works.head(MOST_OF_A_WEEK).to_dict("records") if one["hours"] >= _WORTH_TELLING_H) or "–",
            ", ".join(one["object"] for one in works.to_dict("records") if one["waiting"] >= 0.5) or "–", hours(row["hours"]), row["away"] or "–",
        ])  # fmt: skip
    st.html(
        tables.ledger(
            "The weeks ahead", ["week of", "free, h", "ready, even chance", "at the bench", "waits alone", "planned, h", "away"], rows, words=(0, 2, 3, 4, 6)
        )
    )


def _away(plan: Plan) -> None:
    st.header("Holidays and absences")
    every = absences.read_absences(held.settings().absences)
    people = [one.person for one in plan.people if one.person]
    if plan.absences:
        rows = [
            [day(one.first), day(one.last), one.person or "the whole studio", one.note]
            for one in plan.absences
        ]  # fmt: skip
        st.html(tables.ledger("Holidays and absences to come", ["first day", "last day", "who", "why"], rows, words=range(4)))
    else:
        st.write("None is said: the plan takes every week as an ordinary one, public holidays too.")
    turn = st.session_state.setdefault("absences added", 0)
    with st.form("absence"):
        with st.container(horizontal=True, key="choices absence"):
            first = st.date_input("First day", None, key=f"absence first {turn}", format="YYYY-MM-DD")
            last = st.date_input("Last day (empty: the same)", None, key=f"absence last {turn}", format="YYYY-MM-DD")
        person = st.selectbox("Who", ["", *people], format_func=lambda one: one or "the whole studio", key=f"absence person {turn}") if people else ""
        note = st.text_input("Why (may stay empty)", key=f"absence note {turn}")
        if st.form_submit_button("Add"):
            _add(every, first, last or first, person or "", note)
    if plan.absences:
        gone = st.selectbox("Take one back", [one.written for one in plan.absences], index=None, placeholder="Choose one", key=f"absence gone {turn}")
        if gone and st.button("Take it back"):
            _keep([one for one in every if one.written != gone], "Taken back: the plan counts on those days again.")
    st.page_link("pages/studio.py", label="Hours at the bench of each person, days of the week", query_params={"part": "bench", **held.same_studio()})


def _add(every: list[Absence], first: date | None, last: date | None, person: str, note: str) -> None:
    if first is None or last is None:
        frame.refuse("Not added: choose the first day. What you typed is still here.")
        return
    try:
        one = absences.absence(first, last, person, " ".join(note.replace(";", ",").split()))
    except BenchHoursError as error:
        frame.refuse(f"Not added: {error} What you typed is still here.")
        return
    _keep([*every, one], f"{day(one.first)} to {day(one.last)}: {one.person or 'the whole studio'} away. The plan keeps clear of it.", _fields_anew)


def _fields_anew() -> None:
    st.session_state["absences added"] += 1


def _keep(those: list[Absence], sentence: str, empty: Callable[[], None] = lambda: None) -> None:
    _say("absences", absences.written_absences(those), sentence, "absences", empty)


def _take_along(plan: Plan) -> None:
    if plan.works.empty and not plan.absences:
        return
    zone = held.settings().zone
    with st.container(horizontal=True):
        st.download_button("The plan for a calendar (iCalendar)", partial(_ics, plan, zone), "bench-plan.ics", "text/calendar", on_click="ignore")
        st.download_button("The plan as CSV", partial(_csv, plan.works[list(COLUMNS)]), "bench-plan.csv", "text/csv", on_click="ignore")
    frame.say(["Both name works by their codes, and no person."])


def _ics(plan: Plan, zone: str) -> bytes:
    return plan_calendar.as_icalendar(plan, zone, datetime.now(UTC))


def _csv(content: pd.DataFrame) -> str:
    return as_csv_text(content)


frame.show("Bench plan", body)
