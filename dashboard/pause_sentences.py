"""Hours worth a pause in words, with where each limit is from."""

from __future__ import annotations

from dashboard.pausing import WorthAPause
from dashboard.words import counted, day, hours

SOURCES = {
    "handwork_minutes": "Health and Safety Executive (Great Britain), Assessment of Repetitive Tasks, INDG438: in its scores repetitive work without a break begins to count from an hour on.",
    "pause_minutes": "The same leaflet: a break is a real pause of at least five to ten minutes; EN 1005-5 counts recovery of ten minutes.",
    "solvent_hours_a_day": "No limit in hours is published: limits are on what is in the air, and a log of hours measures none of that. One of your own, if you want it.",
    "solvent_hours_a_week": "No limit in hours is published: limits are on what is in the air, and a log of hours measures none of that. One of your own, if you want it.",
    "blade_until": "Common practice, no source: hands are less sure at the end of a day.",
}
NOT_MEASURED = (
    "Logged hours are working time, not measured exposure, and nothing here says that work is safe. Not safety advice: follow the safety data sheet of the product, the law where you work, licensed practice, "
    "and where in doubt a qualified occupational hygienist."
)


def handwork(found: WorthAPause) -> str:
    """What stretches of handwork there were."""
    limits = found.limits
    if not found.stretches:
        return "No repetitive handwork with clock times was logged."
    longest = f"the longest went on for {_minutes(found.longest_minutes)}"
    if found.handwork.empty:
        return f"{counted(found.stretches, 'stretch', 'stretches')} of repetitive handwork, {longest}; none beyond {_minutes(limits.handwork_minutes)} without a break of {_minutes(limits.pause_minutes)}."
    return (
        f"{len(found.handwork):,} of {counted(found.stretches, 'stretch', 'stretches')} of repetitive handwork went on beyond {_minutes(limits.handwork_minutes)} without a break of "
        f"{_minutes(limits.pause_minutes)}; {longest}, from first to last with shorter gaps among it. Worth a pause: put the tool down, stand up, do something else for a while."
    )


def solvents(found: WorthAPause) -> str:
    """How many hours there were with solvents."""
    if found.solvents.empty:
        return "No hours with solvents were logged."
    limits, weeks, days = found.limits, int(found.solvents["over_week"].sum()), found.solvent_days_over
    told = f"{hours(found.solvents['hours'].sum())} h of work with solvents in {counted(len(found.solvents), 'week')}."
    if limits.solvent_hours_a_week is not None:
        told += f" {counted(weeks, 'week')} above {hours(limits.solvent_hours_a_week)} h."
    if limits.solvent_hours_a_day is not None:
        told += f" {counted(days, 'day')} above {hours(limits.solvent_hours_a_day)} h."
    return told


def blades(found: WorthAPause) -> str:
    """How much blade work there was late in the day."""
    if found.blades.empty:
        return f"No work with blades after {found.limits.blade_until}."
    days = found.blades["day"].nunique()
    return f"{hours(found.blades['hours'].sum())} h of work with blades after {found.limits.blade_until}, on {counted(days, 'day')}."


def without_clock(found: WorthAPause) -> str:
    """What nobody knows."""
    if found.without_clock_hours < 0.05:
        return ""
    return f"{hours(found.without_clock_hours)} h were entered as a day and hours: what pauses there were in them, and how late it was, nobody knows."


def period(found: WorthAPause) -> str:
    return f"{found.person}, {day(found.since)} to {day(found.as_of)}"


def _minutes(value: float) -> str:
    return f"{value:.0f} minutes" if value < 120 else f"{hours(value / 60)} h"
