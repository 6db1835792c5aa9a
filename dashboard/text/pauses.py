"""Hours worth a pause in words, with where each limit is from."""

from __future__ import annotations

from dashboard.formatting import counted, day, hours
from dashboard.services.pauses import PauseReport

SOURCES = {
    "handwork_minutes": (
        "Health and Safety Executive (Great Britain), Assessment of Repetitive Tasks, INDG438: in its scores"
        " repetitive work without a break begins to count from an hour on."
    ),
    "pause_minutes": (
        "The same leaflet: a break is a real pause of at least five to ten minutes; EN 1005-5 counts recovery"
        " of ten minutes."
    ),
    "solvent_hours_a_day": (
        "No limit in hours is published: limits are on what is in the air, and a log of hours measures none"
        " of that. One of your own, if you want it."
    ),
    "solvent_hours_a_week": (
        "No limit in hours is published: limits are on what is in the air, and a log of hours measures none"
        " of that. One of your own, if you want it."
    ),
    "blade_until": "Common practice, no source: hands are less sure at the end of a day.",
}
NOT_MEASURED = (
    "Logged hours are working time, not measured exposure, and nothing here says that work is safe. Not"
    " safety advice: follow the safety data sheet of the product, the law where you work, licensed practice,"
    " and where in doubt a qualified occupational hygienist."
)


def handwork(pauses: PauseReport) -> str:
    """Stretches of handwork without a break."""
    limits = pauses.limits
    if not pauses.stretches:
        return "No repetitive handwork with clock times was logged."
    longest = f"the longest went on for {_minutes(pauses.longest_minutes)}"
    if pauses.handwork.empty:
        return (
            f"{counted(pauses.stretches, 'stretch', 'stretches')} of repetitive handwork, {longest}; none"
            f" beyond {_minutes(limits.handwork_minutes)} without a break of"
            f" {_minutes(limits.pause_minutes)}."
        )
    return (
        f"{len(pauses.handwork):,} of {counted(pauses.stretches, 'stretch', 'stretches')} of repetitive"
        f" handwork went on beyond {_minutes(limits.handwork_minutes)} without a break of"
        f" {_minutes(limits.pause_minutes)}; {longest}, from first to last with shorter gaps among it. Worth"
        " a pause: put the tool down, stand up, do something else for a while."
    )


def solvents(pauses: PauseReport) -> str:
    """Hours with solvents."""
    if pauses.solvents.empty:
        return "No hours with solvents were logged."
    limits, weeks, days = (pauses.limits, int(pauses.solvents["over_week"].sum()), pauses.solvent_days_over)
    sentences = (
        f"{hours(pauses.solvents['hours'].sum())} h of work with solvents in"
        f" {counted(len(pauses.solvents), 'week')}."
    )
    if limits.solvent_hours_a_week is not None:
        sentences += f" {counted(weeks, 'week')} above {hours(limits.solvent_hours_a_week)} h."
    if limits.solvent_hours_a_day is not None:
        sentences += f" {counted(days, 'day')} above {hours(limits.solvent_hours_a_day)} h."
    return sentences


def blades(pauses: PauseReport) -> str:
    """Work with blades late in the day."""
    if pauses.blades.empty:
        return f"No work with blades after {pauses.limits.blade_until}."
    days = pauses.blades["day"].nunique()
    return (
        f"{hours(pauses.blades['hours'].sum())} h of work with blades after {pauses.limits.blade_until}, on"
        f" {counted(days, 'day')}."
    )


def without_clock(pauses: PauseReport) -> str:
    """Hours without clock times."""
    if pauses.without_clock_hours < 0.05:
        return ""
    return (
        f"{hours(pauses.without_clock_hours)} h were entered as a day and hours: what pauses there were in"
        " them, and how late it was, nobody knows."
    )


def without_technique(pauses: PauseReport) -> str:
    """Hours of which no technique is known."""
    if pauses.without_technique_hours < 0.05:
        return ""
    return (
        f"{hours(pauses.without_technique_hours)} h were logged on a phase or a work as a whole: with which"
        " techniques nobody has said, so they are in none of these figures."
    )


def period(pauses: PauseReport) -> str:
    return f"{pauses.person}, {day(pauses.since)} to {day(pauses.as_of)}"


def _minutes(value: float) -> str:
    return f"{value:.0f} minutes" if value < 120 else f"{hours(value / 60)} h"
