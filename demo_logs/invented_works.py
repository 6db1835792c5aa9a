"""Works of the invented studio: their lines, the hours spent on them, estimates and milestones."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from demo_logs.invented_lines import Line, clip, lines_of
from demo_logs.invented_truth import (
    LAST_DAY,
    LIGHTS,
    MAKERS,
    OWNERS,
    PEOPLE,
    PLACES,
    SITTERS,
    TRUE_HOURS,
    UNATTENDED_AFTER,
    WORK_SD,
)

_TIME_ENTRIES = (
    "entry object phase technique part person started_at ended_at date hours mode charge quantity "
    "unit done discovery note"
)
FILES = {
    name: tuple(columns.split())
    for name, columns in {
        "objects": "object title maker kind support shape height_cm width_cm structure_condition "
        "paint_condition "
        "surface_condition received_on due_on finished_on returned_from commission owner note",
        "estimates": "object version made_on approved_on reason price currency phase technique part quantity "
        "hours "
        "low_hours high_hours option",
        "time_entries": _TIME_ENTRIES,
        "time_entries_corrected": _TIME_ENTRIES,
        "milestones": "object phase technique part finished_on",
    }.items()
}


@dataclass(slots=True)
class Studio:
    """Draws works and lets three people work through them, each in one place at a time."""

    rng: np.random.Generator
    free_from: dict[tuple[str, date], int] = field(default_factory=lambda: defaultdict(lambda: 9 * 60))
    rows: dict[str, list[dict[str, Any]]] = field(default_factory=lambda: defaultdict(list))

    def spell(self, person: str, day: date, minutes: int) -> tuple[datetime, datetime, date]:
        """The next free stretch of a person's weekdays, from a day on."""
        while True:
            if day.weekday() < 5 and self.free_from[person, day] + minutes <= 17 * 60 + 45:
                begin = self.free_from[person, day]
                pause = 45 if begin < 12 * 60 <= begin + minutes else int(self.rng.integers(0, 4)) * 5
                self.free_from[person, day] = begin + minutes + pause
                moment = datetime(day.year, day.month, day.day)
                return moment + timedelta(minutes=begin), moment + timedelta(minutes=begin + minutes), day
            day += timedelta(days=1)

    def log(self, **row: Any) -> None:
        self.rows["time_entries"].append(dict.fromkeys(FILES["time_entries"], "") | row)


# 90 lines: one work from its size to its milestones, in the order in which the random numbers are drawn
def draw_work(studio: Studio, number: int, begin: date, *, finished: bool) -> None:
    rng = studio.rng
    code = f"{begin:%y}-{number:03d}"
    kind = str(
        rng.choice(["easel painting", "panel painting", "work on paper", "frame"], p=[0.74, 0.11, 0.08, 0.07])
    )
    scale = float(np.exp(rng.normal(0, 0.33)))
    height, width = (
        round(clip(58 * scale, 18, 150)),
        round(clip(70 * scale * float(np.exp(rng.normal(0, 0.15))), 20, 190)),
    )
    shape = "oval" if kind == "easel painting" and rng.random() < 0.08 else "rectangle"
    area = height * width / 100 * (np.pi / 4 if shape == "oval" else 1)
    condition = (
        int(rng.choice([0, 1, 2, 3], p=[0.22, 0.32, 0.32, 0.14])),
        int(rng.choice([0, 1, 2, 3], p=[0.14, 0.42, 0.32, 0.12])),
        int(rng.choice([0, 1, 2, 3], p=[0.15, 0.35, 0.35, 0.15])),
    )
    lead = str(rng.choice(list(PEOPLE), p=[0.5, 0.32, 0.18]))
    lines = lines_of(rng, kind, area, 2 * (height + width), condition, lead, float(rng.normal(0, WORK_SD)))
    subject = (
        str(rng.choice(SITTERS)) if rng.random() < 0.35 else f"{rng.choice(PLACES)} {rng.choice(LIGHTS)}"
    )
    extra = None
    if rng.random() < 0.15:  # the owner asks for more once the work is under way
        extra = Line(
            "frame cleaning",
            round(2.3 * (height + width), 1),
            None,
            None,
            round(float(rng.uniform(1.5, 4)) * 4) / 4,
            lead,
            part="frame",
            charge="extra",
            foreseen=False,
        )
        lines.insert(max(0, len(lines) - 3), extra)
    if kind == "easel painting" and rng.random() < 0.2:
        for line in lines:
            if line.technique == "tear mending thread by thread":
                line.part = "tear at the lower edge"
    made = begin + timedelta(days=int(rng.integers(2, 8)))
    approved = made + timedelta(days=int(rng.integers(2, 12)))
    early = [
        line
        for line in lines
        if TRUE_HOURS[line.technique][0] in ("examination", "documentation")
        and line.technique != "final report"
    ]
    later = [line for line in lines if line not in early]
    day = _work_through(studio, code, early, begin)
    finds = [line for line in later if not line.foreseen and line.charge == "quoted"]
    day = _work_through(studio, code, later, max(day, approved + timedelta(days=3)))
    logged = [row for row in studio.rows["time_entries"] if row["object"] == code]
    last_day = max(row["day"] for row in logged)
    assert isinstance(last_day, date)
    revised = None
    if finds and rng.random() < 0.4:
        found_days = [row["day"] for row in logged if row["technique"] in {line.technique for line in finds}]
        if found_days:
            revised = min(found_days) + timedelta(days=1)
    _estimates(studio, code, lines, made, approved, revised, finished)
    studio.rows["objects"].append(
        {
            "object": code,
            "title": subject,
            "maker": str(rng.choice(MAKERS)),
            "kind": kind,
            "support": {
                "easel painting": "canvas",
                "panel painting": "wood panel",
                "work on paper": "paper",
                "frame": "gilded wood",
            }[kind],
            "shape": shape,
            "height_cm": height,
            "width_cm": width,
            "structure_condition": condition[0],
            "paint_condition": condition[1],
            "surface_condition": condition[2],
            "received_on": begin,
            "due_on": begin + timedelta(days=150),
            "finished_on": last_day if finished else "",
            "returned_from": "",
            "commission": "",
            "owner": str(rng.choice(OWNERS)),
            "note": "",
        }
    )
    if rng.random() < 0.75 or not finished:
        _milestones(studio, code, logged, lines, finished)


# 75 lines: an entry is drawn field by field
def _work_through(studio: Studio, code: str, lines: Iterable[Line], day: date) -> date:
    """Log each line in spells; waiting that follows it; the day on which the last line ends."""
    rng = studio.rng
    for line in lines:
        if not line.worked:
            continue
        phase, _, _, unit = TRUE_HOURS[line.technique]
        left = round(line.actual_hours * 60 / 5) * 5
        whole, spent = left, 0
        measured = bool(unit) and rng.random() > 0.12
        says_done = rng.random() < 0.5
        logged_quantity, counted_pieces = 0.0, 0
        while left > 0:
            minutes = min(left, 5 * int(rng.integers(4, 21)))
            minutes = left if left - minutes < 15 else minutes
            left -= minutes
            spent += minutes
            begin, end, day = studio.spell(line.person, day, minutes)
            quantity: object = ""
            if measured and line.quantity is not None:
                if unit == "pcs":
                    reached = round(line.quantity * spent / whole) if left else int(line.quantity)
                    quantity, counted_pieces = (reached - counted_pieces or ""), reached
                else:
                    quantity = (
                        round(line.quantity * spent / whole - logged_quantity, 1)
                        if left
                        else round(line.quantity - logged_quantity, 1)
                    )
                    logged_quantity += float(quantity)
                    quantity = quantity if float(quantity) > 0 else ""
            done: object = (
                "" if not says_done else (100 if not left else int(round(100 * spent / whole / 5) * 5))
            )
            note = (
                "found under the old varnish"
                if not line.foreseen and line.charge == "quoted" and spent == minutes
                else ""
            )
            studio.log(
                object=code,
                phase=phase if line.part or rng.random() < 0.3 else "",
                technique=line.technique,
                part=line.part,
                person=line.person,
                started_at=begin,
                ended_at=end,
                charge="" if line.charge == "quoted" else line.charge,
                quantity=quantity,
                unit=unit if quantity != "" and rng.random() < 0.5 else "",
                done=done,
                discovery="yes" if not line.foreseen and line.charge == "quoted" else "",
                note=note,
                day=day,
            )
            if rng.random() < 0.16:
                day += timedelta(days=int(rng.integers(1, 5)))
        if line.technique in UNATTENDED_AFTER:
            waiting, elapsed = UNATTENDED_AFTER[line.technique]
            end_of_wait = end + timedelta(hours=elapsed)
            studio.log(
                object=code,
                phase=phase,
                technique=waiting,
                part=line.part,
                person=line.person,
                started_at=end,
                ended_at=end_of_wait,
                mode="unattended",
                day=end.date(),
            )
            day = max(day, end_of_wait.date())
        if rng.random() < 0.22:
            day += timedelta(days=int(rng.integers(2, 12)))
    return day


def _estimates(
    studio: Studio,
    code: str,
    lines: list[Line],
    made: date,
    approved: date,
    revised: date | None,
    finished: bool,
) -> None:
    rng = studio.rng
    sheet = [line for line in lines if line.estimated_hours is not None]
    optional = (
        next((line for line in sheet if line.technique == "backing board"), None)
        if rng.random() < 0.12
        else None
    )
    price = round(sum(line.estimated_hours or 0 for line in sheet) * 68 / 10) * 10
    is_approved = finished or rng.random() < 0.84
    rows = [(line, "kept as it is" if line is optional else "") for line in sheet]
    for version, day, reason, with_finds in (
        (1, made, "first look", False),
        (2, revised, "found under way", True),
    ):
        if day is None or (version == 2 and not is_approved):
            continue
        day_approved: object = (approved if version == 1 else day + timedelta(days=3)) if is_approved else ""
        finds = (
            [(line, "") for line in lines if line.estimated_hours is None and line.charge == "quoted"]
            if with_finds
            else []
        )
        for line, option in [*rows, *finds]:
            hours = (
                line.estimated_hours
                if line.estimated_hours is not None
                else max(0.5, round(line.actual_hours * float(np.exp(rng.normal(-0.1, 0.25))) * 2) / 2)
            )
            row = {
                "object": code,
                "version": version,
                "made_on": day,
                "approved_on": day_approved,
                "reason": reason,
                "price": price + (120 if version == 2 else 0),
                "currency": "EUR",
                "phase": TRUE_HOURS[line.technique][0],
                "technique": line.technique,
                "part": line.part,
                "quantity": line.estimated_quantity if line.estimated_quantity is not None else "",
                "hours": hours,
                "low_hours": "",
                "high_hours": "",
                "option": option,
            }
            if option:
                studio.rows["estimates"].append({**row, "option": "new backing"})
                row |= {"option": option, "hours": 0.5, "approved_on": ""}
            studio.rows["estimates"].append(row)


def _milestones(
    studio: Studio, code: str, logged: list[dict[str, Any]], lines: list[Line], finished: bool
) -> None:
    """The last day of each phase, for phases that are over; on the bench only those well before the end."""
    last: dict[str, date] = {}
    for row in logged:
        phase = TRUE_HOURS[str(row["technique"])][0] if row["technique"] in TRUE_HOURS else str(row["phase"])
        day = row["day"]
        assert isinstance(day, date)
        last[phase] = max(day, last.get(phase, day))
    for phase, day in last.items():
        if finished or day < LAST_DAY - timedelta(days=9):
            studio.rows["milestones"].append(
                {"object": code, "phase": phase, "technique": "", "part": "", "finished_on": day}
            )
