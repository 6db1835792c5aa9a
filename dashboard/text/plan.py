"""The bench plan in words."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.formatting import counted, day, hours, plain_weeks
from dashboard.queries import Row
from dashboard.services.plan import Plan
from dashboard.services.plan_people import SHOWN_WEEKS, PersonHours
from dashboard.text.forecast import in_ten

STANDS_WEEKS = 1.0  # behind others, from which on a work is told of
# chance to leave after the day it is due: told where it stands behind others, and told anyhow
MAY_BE_LATE, LATE = (0.05, 0.2)
_SOURCES = {
    "said": "as said under Studio",
    "record": "as logged",
    "few": "as logged since the first of them",
    "usual": "the usual hours under Studio",
}


def leaves(row: Row) -> str:
    """The dates on which a work is ready."""
    due: str = (
        f"; due on {day(row['due_on'])}, {in_ten(row['chance_late'])} that it is later"
        if pd.notna(row["due_on"])
        else ""
    )
    return (
        f"{row['object']} is ready by {day(row['leaves_p50'])} at even chance, by {day(row['leaves_p80'])} 4"
        f" times in 5{due}."
    )


def queue_hurts(plan: Plan) -> list[str]:
    """Works that are likely to be late, or stand behind others for long, the worst first."""
    works = plan.works
    late = works["chance_late"].fillna(0.0) >= LATE
    stands = works["queue_days"] >= STANDS_WEEKS * 7
    may_be = works["chance_late"].isna() | (works["chance_late"] >= MAY_BE_LATE)
    hurt = works[late | (stands & may_be)]
    hurt = hurt.sort_values(["chance_late", "queue_days"], ascending=False, na_position="last")
    return [_hurts(row) for row in hurt.to_dict("records")]


def _hurts(row: Row) -> str:
    alone = f"on its own it would be ready by {day(row['alone_p50'])}"
    behind = (
        f"stands {plain_weeks(row['queue_days'])} behind others: {alone}"
        if row["queue_days"] >= STANDS_WEEKS * 7
        else f"hardly stands behind others: {alone}"
    )
    late: str = (
        f"Due on {day(row['due_on'])}: {in_ten(row['chance_late'])} that it is later."
        if pd.notna(row["due_on"])
        else "Due on no day."
    )
    return f"{row['object']} {behind}. {late}"


def who(plan: Plan) -> str:
    """The people of the plan, and the source of their hours."""
    return f"Planned with {'; '.join(_person(item) for item in plan.people)}."


def _person(person: PersonHours) -> str:
    logged = (
        f", {hours(person.logged)} h in the {counted(person.weeks, 'week')} of the last half-year with"
        " hours on works"
        if person.weeks and person.source in ("said", "usual")
        else ""
    )
    weeks = (
        f" in {counted(person.weeks, 'week')} of the last half-year"
        if person.source in ("record", "few")
        else ""
    )
    return (
        f"{person.person or 'one person'} {hours(person.weekly)} h a week at the bench"
        f" ({_SOURCES[person.source]}{weeks}{logged})"
    )


HOW = (
    "Each day everybody takes up the first work in order that is there for them: those put first, then by the"
    " day they are due, then by the day they were promised. A line stays with whoever began it or whom the"
    " estimate names; any other is done by whoever is free. What soaks, presses or dries alone leaves the"
    " bench to the others. Weeks differ as they have differed. What is begun in between, or waits for an"
    " owner, is in no plan. So a short work may be ready before those above it; and hours are free beside"
    " works that wait, where their next lines are somebody else’s, or press and dry."
)


def free_again(plan: Plan) -> str:
    """From when half of the bench is free."""
    if plan.free_from is None:
        return f"In the next {SHOWN_WEEKS} weeks there is none with half of the bench hours free."
    return f"The first week with half of the bench hours free is that of {day(plan.free_from)}."


def apart(plan: Plan) -> list[str]:
    """Works and names that are not in the plan."""
    names = (
        f"{', '.join(plan.unknown_names)}: nobody here is called so, and what is said of their hours or"
        " absences counts for nothing. See Studio, bench."
        if plan.unknown_names
        else ""
    )
    works = (
        f"Not in the plan, as nobody has said what is to be done on them: {', '.join(plan.without_estimate)}."
        " Write their estimate, and they are."
        if plan.without_estimate
        else ""
    )
    return [item for item in (names, works) if item]


def one_more(days: tuple[date, date, date, date], first: bool) -> str:
    """The dates on which one more work would be ready."""
    p10, p50, p80, p90 = days
    return (
        f"{'Taken up before all others' if first else 'Behind all that is promised'}, it would be ready by"
        f" {day(p50)} at even chance, by {day(p80)} 4 times in 5; 8 times in 10 between {day(p10)} and"
        f" {day(p90)}."
    )
