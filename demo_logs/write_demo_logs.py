"""Write the logs of an invented studio: `python -m demo_logs.write_demo_logs`.

Three people, about four years, some sixty finished works and six on the bench. Everything is drawn from the
rates below with one seed, so `truth.json` says what a good calibration should find. All people, works and
owners are made up.
"""

from __future__ import annotations

import csv
import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

SEED = 20_221
FIRST_DAY, LAST_DAY = date(2022, 10, 3), date(2026, 10, 30)
FINISHED_WORKS, OPEN_WORKS = 60, 6
PEOPLE = {"Tamsin": 1.0, "Ilse": 0.92, "Bram": 1.22}  # true pace: hours against the studio's
ELASTICITY = 0.88
WORK_SD, LINE_SD = 0.24, 0.30

# technique: phase, true hours of the reference quantity, reference quantity, unit
TRUE_HOURS: dict[str, tuple[str, float, float, str]] = {
    "examination in visible light": ("examination", 1.2, 1, ""),
    "examination in ultraviolet light": ("examination", 0.7, 1, ""),
    "solvent tests": ("examination", 1.4, 6, "pcs"),
    "photography before treatment": ("documentation", 0.8, 6, "pcs"),
    "condition report": ("documentation", 1.8, 1, ""),
    "treatment proposal": ("documentation", 1.4, 1, ""),
    "unframing": ("dismounting", 0.5, 1, "pcs"),
    "tack and nail removal": ("dismounting", 1.3, 40, "pcs"),
    "taking off the stretcher": ("dismounting", 1.2, 260, "cm"),
    "facing": ("stabilisation", 1.9, 30, "dm2"),
    "consolidation": ("stabilisation", 3.4, 20, "dm2"),
    "facing removal": ("stabilisation", 1.1, 30, "dm2"),
    "lining removal dry": ("old lining and repairs", 4.2, 40, "dm2"),
    "adhesive residue removal": ("old lining and repairs", 7.5, 40, "dm2"),
    "patch removal": ("old lining and repairs", 1.2, 2, "pcs"),
    "flattening by moisture": ("structural repair", 2.6, 40, "dm2"),
    "tear mending thread by thread": ("structural repair", 5.5, 8, "cm"),
    "inlay": ("structural repair", 2.2, 0.5, "dm2"),
    "strip lining": ("structural repair", 4.5, 260, "cm"),
    "lining": ("structural repair", 6.5, 40, "dm2"),
    "stretching": ("structural repair", 2.2, 260, "cm"),
    "panel split repair": ("structural repair", 5.0, 30, "cm"),
    "surface cleaning aqueous": ("cleaning", 3.2, 40, "dm2"),
    "surface cleaning dry": ("cleaning", 0.9, 40, "dm2"),
    "varnish removal with free solvents": ("varnish and overpaint", 7.0, 40, "dm2"),
    "varnish removal with solvent gel": ("varnish and overpaint", 9.5, 40, "dm2"),
    "overpaint removal": ("varnish and overpaint", 6.0, 4, "dm2"),
    "old fill removal": ("varnish and overpaint", 1.6, 0.8, "dm2"),
    "filling": ("filling", 2.3, 1.5, "dm2"),
    "texturing": ("filling", 1.1, 1.2, "dm2"),
    "isolating varnish": ("retouching", 0.8, 40, "dm2"),
    "retouching": ("retouching", 8.5, 3, "dm2"),
    "varnishing by brush": ("varnishing", 1.0, 40, "dm2"),
    "varnishing by spray": ("varnishing", 1.3, 40, "dm2"),
    "frame cleaning": ("framing", 2.4, 280, "cm"),
    "backing board": ("framing", 0.9, 1, "pcs"),
    "fitting in the frame": ("framing", 1.2, 1, "pcs"),
    "final report": ("documentation", 2.2, 1, ""),
    "packing": ("handover", 0.9, 1, "pcs"),
    "client meeting": ("handover", 1.1, 1, ""),
    "paper dry cleaning": ("cleaning", 1.5, 20, "dm2"),
    "paper tear repair": ("structural repair", 1.6, 12, "cm"),
    "hinging and mounting": ("framing", 1.2, 1, "pcs"),
}
# How the studio's own estimates stand to the truth, by phase: under 1 is chronically too little.
ESTIMATE_BIAS = {
    "examination": 0.95, "documentation": 1.18, "dismounting": 0.92, "stabilisation": 0.84, "old lining and repairs": 0.56, "structural repair": 0.78,
    "cleaning": 1.02, "varnish and overpaint": 0.70, "filling": 0.95, "retouching": 0.82, "varnishing": 1.15, "framing": 1.06, "handover": 0.88,
}  # fmt: skip
# Techniques that turn up unforeseen, and the chance of it in a work on canvas.
DISCOVERIES = {"overpaint removal": 0.26, "old fill removal": 0.22, "consolidation": 0.14, "patch removal": 0.12, "inlay": 0.10}
UNATTENDED_AFTER = {
    "lining": ("pressing", 20), "flattening by moisture": ("pressing", 44), "tear mending thread by thread": ("pressing", 18), "facing": ("pressing", 16),
    "varnishing by brush": ("varnish drying", 40), "isolating varnish": ("varnish drying", 18), "panel split repair": ("pressing", 68),
}  # fmt: skip
PLACES = ("Harbour", "Mill pond", "Orchard", "Ferry", "Chalk pit", "Market street", "Weir", "Heath", "Quarry", "Tollhouse")
LIGHTS = ("at dusk", "in snow", "after rain", "with cattle", "in spring", "by lamplight", "with washing lines", "seen from the hill")
SITTERS = ("A ropemaker", "Woman with a blue shawl", "The notary's children", "Girl with a kite", "A ship's carpenter", "Man reading")
MAKERS = ("unknown, about 1780", "unknown, about 1840", "Adelheid Forst", "Corin Maybrook", "L. Tessel", "workshop piece, unsigned", "Odo Penhallow")
OWNERS = ("family Brandreth", "family Okell", "parish of Saint Wendreda", "Mr Lowther-Quill", "Mrs Anstruther-Vane", "the Tidewell reading room")
STUDIO_TIME = (("accounts", 1.2), ("enquiries", 0.5), ("supplies", 0.7), ("quoting", 0.9), ("studio upkeep", 0.6), ("teaching", 1.5))


@dataclass(slots=True)
class Line:
    technique: str
    quantity: float | None
    estimated_quantity: float | None
    estimated_hours: float | None
    actual_hours: float
    person: str
    part: str = ""
    charge: str = "quoted"
    foreseen: bool = True
    worked: bool = True
    option: str = ""


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
        self.rows["time_entries"].append(row)


def _clip(value: float, low: float, high: float) -> float:
    return float(min(max(value, low), high))


def _lines_of(rng: np.random.Generator, kind: str, area: float, edge: float, condition: tuple[int, int, int], lead: str, work: float) -> list[Line]:
    """The lines of one work: what was quoted, what there was, and how long it took."""
    structure, paint, surface = condition
    share = {
        "solvent tests": 6, "photography before treatment": 6, "unframing": 1, "tack and nail removal": edge / 6, "taking off the stretcher": edge,
        "facing": area * 0.5, "consolidation": area * (0.08 + 0.14 * paint), "facing removal": area * 0.5, "lining removal dry": area,
        "adhesive residue removal": area, "patch removal": 2, "flattening by moisture": area, "tear mending thread by thread": 4 + 5 * structure, "inlay": 0.3,
        "strip lining": edge, "lining": area, "stretching": edge, "panel split repair": 12 + 14 * structure, "surface cleaning aqueous": area,
        "surface cleaning dry": area, "varnish removal with free solvents": area, "varnish removal with solvent gel": area,
        "overpaint removal": area * (0.03 + 0.04 * paint), "old fill removal": area * 0.02, "filling": area * (0.012 + 0.02 * paint),
        "texturing": area * (0.01 + 0.012 * paint), "isolating varnish": area, "retouching": area * (0.03 + 0.04 * paint), "varnishing by brush": area,
        "varnishing by spray": area, "frame cleaning": edge * 1.15, "backing board": 1, "fitting in the frame": 1, "packing": 1,
        "paper dry cleaning": area, "paper tear repair": 6 + 4 * structure, "hinging and mounting": 1,
    }  # fmt: skip
    sheet = ["examination in visible light", "examination in ultraviolet light", "photography before treatment", "condition report", "treatment proposal"]
    if kind == "work on paper":
        sheet += ["unframing", "paper dry cleaning", "paper tear repair", "hinging and mounting"]
    elif kind == "frame":
        sheet += ["surface cleaning dry", "frame cleaning", "filling", "retouching"]
    else:
        sheet += ["unframing", "surface cleaning dry", "surface cleaning aqueous"]
        if paint:
            sheet += ["consolidation"]
        if kind == "panel painting":
            sheet += ["panel split repair"] if structure else []
        elif structure >= 2:
            sheet += ["tack and nail removal", "taking off the stretcher", "facing", "facing removal", "flattening by moisture", "stretching"]
            sheet += ["lining removal dry", "adhesive residue removal"] if rng.random() < 0.6 else []
            sheet += ["lining"] if rng.random() < 0.45 else ["strip lining"]
            sheet += ["tear mending thread by thread"] if rng.random() < 0.6 else []
        elif structure == 1 and rng.random() < 0.5:
            sheet += ["tear mending thread by thread"]
        if surface:
            sheet += ["solvent tests", "varnish removal with solvent gel" if rng.random() < 0.3 else "varnish removal with free solvents"]
        if paint:
            sheet += ["filling", "texturing", "isolating varnish", "retouching"]
            sheet += ["overpaint removal"] if rng.random() < 0.3 else []
        sheet += ["varnishing by spray" if rng.random() < 0.35 else "varnishing by brush", "backing board", "fitting in the frame"]
    sheet += ["final report", "packing", "client meeting"]
    found = [name for name, chance in DISCOVERIES.items() if kind == "easel painting" and name not in sheet and rng.random() < chance]
    lines = []
    order = list(TRUE_HOURS)
    for technique in sorted([*sheet, *found], key=order.index):
        phase, reference_hours, reference, unit = TRUE_HOURS[technique]
        quoted_quantity = share.get(technique) if unit else None
        actual_quantity = quoted_quantity
        if quoted_quantity is not None:
            # What lies under lining, varnish and overpaint is more than what was seen; whole surfaces are as measured.
            grows = technique in (
                "consolidation",
                "overpaint removal",
                "old fill removal",
                "filling",
                "retouching",
                "tear mending thread by thread",
                "texturing",
            )
            actual_quantity = quoted_quantity * (float(np.exp(rng.normal(0.18, 0.33))) if grows else 1.0)
            actual_quantity = float(max(1, round(actual_quantity))) if unit == "pcs" else max(0.1, round(actual_quantity, 1))
            quoted_quantity = float(max(1, round(quoted_quantity))) if unit == "pcs" else max(0.1, round(quoted_quantity, 1))
        person = lead if rng.random() < 0.72 else str(rng.choice(list(PEOPLE)))
        size = (actual_quantity / reference) ** ELASTICITY if actual_quantity else 1.0
        luck = float(np.exp(work + rng.normal(0, LINE_SD)))
        actual = max(0.25, round(reference_hours * size * PEOPLE[person] * luck * 4) / 4)
        seen = (quoted_quantity / reference) ** ELASTICITY if quoted_quantity else 1.0
        estimate = max(0.5, round(reference_hours * seen * ESTIMATE_BIAS[phase] * float(np.exp(0.25 * work + rng.normal(0, 0.22))) * 2) / 2)
        lines.append(
            Line(technique, actual_quantity, quoted_quantity, None if technique in found else estimate, actual, person, foreseen=technique not in found,
                 worked=technique in found or rng.random() > 0.035)
        )  # fmt: skip
    return lines


def _work(studio: Studio, number: int, begin: date, *, finished: bool) -> None:
    rng = studio.rng
    code = f"{begin:%y}-{number:03d}"
    kind = str(rng.choice(["easel painting", "panel painting", "work on paper", "frame"], p=[0.74, 0.11, 0.08, 0.07]))
    scale = float(np.exp(rng.normal(0, 0.33)))
    height, width = round(_clip(58 * scale, 18, 150)), round(_clip(70 * scale * float(np.exp(rng.normal(0, 0.15))), 20, 190))
    shape = "oval" if kind == "easel painting" and rng.random() < 0.08 else "rectangle"
    area = height * width / 100 * (np.pi / 4 if shape == "oval" else 1)
    condition = (int(rng.choice([0, 1, 2, 3], p=[0.22, 0.32, 0.32, 0.14])), int(rng.choice([0, 1, 2, 3], p=[0.14, 0.42, 0.32, 0.12])),
                 int(rng.choice([0, 1, 2, 3], p=[0.15, 0.35, 0.35, 0.15])))  # fmt: skip
    lead = str(rng.choice(list(PEOPLE), p=[0.5, 0.32, 0.18]))
    lines = _lines_of(rng, kind, area, 2 * (height + width), condition, lead, float(rng.normal(0, WORK_SD)))
    subject = str(rng.choice(SITTERS)) if rng.random() < 0.35 else f"{rng.choice(PLACES)} {rng.choice(LIGHTS)}"
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
    early = [line for line in lines if TRUE_HOURS[line.technique][0] in ("examination", "documentation") and line.technique != "final report"]
    later = [line for line in lines if line not in early]
    day = _work_through(studio, code, early, begin, approved)
    finds = [line for line in later if not line.foreseen and line.charge == "quoted"]
    day = _work_through(studio, code, later, max(day, approved + timedelta(days=3)), None)
    logged = [row for row in studio.rows["time_entries"] if row["object"] == code]
    ended = max(row["day"] for row in logged)
    assert isinstance(ended, date)
    revised = None
    if finds and rng.random() < 0.4:
        found_days = [row["day"] for row in logged if row["technique"] in {line.technique for line in finds}]
        if found_days:
            revised = min(found_days) + timedelta(days=1)
    _estimates(studio, code, lines, made, approved, revised, finished)
    studio.rows["objects"].append({
        "object": code, "title": subject, "maker": str(rng.choice(MAKERS)), "kind": kind,
        "support": {"easel painting": "canvas", "panel painting": "wood panel", "work on paper": "paper", "frame": "gilded wood"}[kind], "shape": shape,
        "height_cm": height, "width_cm": width, "structure_condition": condition[0], "paint_condition": condition[1], "surface_condition": condition[2],
        "received_on": begin, "due_on": begin + timedelta(days=150), "finished_on": ended if finished else "", "returned_from": "", "commission": "",
        "owner": str(rng.choice(OWNERS)), "note": "",
    })  # fmt: skip
    if rng.random() < 0.75 or not finished:
        _milestones(studio, code, logged, lines, finished)


def _work_through(studio: Studio, code: str, lines: Iterable[Line], day: date, _until: date | None) -> date:
    """Log each line in spells; waiting that follows it; the day on which the last line ends."""
    rng = studio.rng
    for line in lines:
        if not line.worked:
            continue
        phase, _, _, unit = TRUE_HOURS[line.technique]
        left = round(line.actual_hours * 60 / 5) * 5
        whole, spent = left, 0
        measured, told = bool(unit) and rng.random() > 0.12, rng.random() < 0.5
        given, counted_pieces = 0.0, 0
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
                    quantity = round(line.quantity * spent / whole - given, 1) if left else round(line.quantity - given, 1)
                    given += float(quantity)
                    quantity = quantity if float(quantity) > 0 else ""
            done: object = "" if not told else (100 if not left else int(round(100 * spent / whole / 5) * 5))
            note = "found under the old varnish" if not line.foreseen and line.charge == "quoted" and spent == minutes else ""
            studio.log(object=code, phase=phase if line.part or rng.random() < 0.3 else "", technique=line.technique, part=line.part, person=line.person, started_at=begin, ended_at=end,
                       date="", hours="", mode="", charge="" if line.charge == "quoted" else line.charge, quantity=quantity, unit=unit if quantity != "" and rng.random() < 0.5 else "",
                       done=done, discovery="yes" if not line.foreseen and line.charge == "quoted" else "", note=note, day=day)  # fmt: skip
            if rng.random() < 0.16:
                day += timedelta(days=int(rng.integers(1, 5)))
        if line.technique in UNATTENDED_AFTER:
            waiting, elapsed = UNATTENDED_AFTER[line.technique]
            end_of_wait = end + timedelta(hours=elapsed)
            studio.log(object=code, phase=phase, technique=waiting, part=line.part, person=line.person, started_at=end, ended_at=end_of_wait, date="", hours="", mode="unattended",
                       charge="", quantity="", unit="", done="", discovery="", note="", day=end.date())  # fmt: skip
            day = max(day, end_of_wait.date())
        if rng.random() < 0.22:
            day += timedelta(days=int(rng.integers(2, 12)))
    return day


def _estimates(studio: Studio, code: str, lines: list[Line], made: date, approved: date, revised: date | None, finished: bool) -> None:
    rng = studio.rng
    sheet = [line for line in lines if line.estimated_hours is not None]
    optional = next((line for line in sheet if line.technique == "backing board"), None) if rng.random() < 0.12 else None
    price = round(sum(line.estimated_hours or 0 for line in sheet) * 68 / 10) * 10
    is_approved = finished or rng.random() < 0.84
    rows = [(line, "kept as it is" if line is optional else "") for line in sheet]
    for version, day, reason, with_finds in ((1, made, "first look", False), (2, revised, "found under way", True)):
        if day is None or (version == 2 and not is_approved):
            continue
        day_approved: object = (approved if version == 1 else day + timedelta(days=3)) if is_approved else ""
        found = [(line, "") for line in lines if line.estimated_hours is None and line.charge == "quoted"] if with_finds else []
        for line, option in [*rows, *found]:
            hours = (
                line.estimated_hours if line.estimated_hours is not None else max(0.5, round(line.actual_hours * float(np.exp(rng.normal(-0.1, 0.25))) * 2) / 2)
            )
            row = {"object": code, "version": version, "made_on": day, "approved_on": day_approved, "reason": reason, "price": price + (120 if version == 2 else 0),
                   "currency": "EUR", "phase": TRUE_HOURS[line.technique][0], "technique": line.technique, "part": line.part,
                   "quantity": line.estimated_quantity if line.estimated_quantity is not None else "", "hours": hours, "low_hours": "", "high_hours": "", "option": option}  # fmt: skip
            if option:
                studio.rows["estimates"].append({**row, "option": "new backing"})
                row |= {"option": option, "hours": 0.5, "approved_on": ""}
            studio.rows["estimates"].append(row)


def _milestones(studio: Studio, code: str, logged: list[dict[str, Any]], lines: list[Line], finished: bool) -> None:
    """The last day of each phase, for phases that are over; on the bench only those well before the end."""
    last: dict[str, date] = {}
    for row in logged:
        phase = TRUE_HOURS[str(row["technique"])][0] if row["technique"] in TRUE_HOURS else str(row["phase"])
        day = row["day"]
        assert isinstance(day, date)
        last[phase] = max(day, last.get(phase, day))
    for phase, day in last.items():
        if finished or day < LAST_DAY - timedelta(days=9):
            studio.rows["milestones"].append({"object": code, "phase": phase, "technique": "", "part": "", "finished_on": day})


def draw() -> dict[str, list[dict[str, Any]]]:
    """All rows of all files."""
    studio = Studio(np.random.default_rng(SEED))
    rng = studio.rng
    span = (LAST_DAY - FIRST_DAY).days
    begins = sorted(FIRST_DAY + timedelta(days=int(d)) for d in rng.uniform(0, span - 150, FINISHED_WORKS))
    for number, begin in enumerate(begins, start=1):
        _work(studio, number, begin, finished=True)
    for number in range(OPEN_WORKS):
        _work(studio, FINISHED_WORKS + 1 + number, LAST_DAY - timedelta(days=int(rng.integers(24, 62))), finished=False)
    _return_of_a_work(studio)
    _studio_time(studio)
    # What would lie after the last day has not happened yet.
    entries = [row for row in studio.rows["time_entries"] if row["day"] <= LAST_DAY and _ends(row) <= LAST_DAY]
    for work in studio.rows["objects"]:
        if work["finished_on"] != "" and work["finished_on"] > LAST_DAY:
            work["finished_on"] = ""
    studio.rows["milestones"] = [row for row in studio.rows["milestones"] if row["finished_on"] <= LAST_DAY]
    studio.rows["estimates"] = [row for row in studio.rows["estimates"] if row["made_on"] <= LAST_DAY]
    for row in studio.rows["estimates"]:
        if row["approved_on"] != "" and row["approved_on"] > LAST_DAY:
            row["approved_on"] = ""
    entries.sort(key=lambda row: (row["day"], str(row["started_at"]), str(row["person"]), str(row["object"])))
    corrected = []
    for number, row in enumerate(entries, start=1):
        row["entry"] = f"slip-{number:05d}"
        if rng.random() < 0.05 and row["mode"] != "unattended":  # an evening's jotting: hours, no clock
            minutes = (row["ended_at"] - row["started_at"]).total_seconds() / 60
            row |= {"date": row["day"], "hours": f"{int(minutes // 60)}:{int(minutes % 60):02d}", "started_at": "", "ended_at": ""}
            if rng.random() < 0.12:
                corrected.append({**row, "hours": f"{int(minutes // 60) + 1}:{int(minutes % 60):02d}", "note": "an hour was forgotten"})
    studio.rows["time_entries"] = entries
    studio.rows["time_entries_corrected"] = corrected
    return studio.rows


def _ends(row: dict[str, Any]) -> date:
    end = row["ended_at"]
    assert isinstance(end, datetime)
    return end.date()


def _return_of_a_work(studio: Studio) -> None:
    """One work comes back after handover: a new object, mended at the studio's own cost."""
    first = studio.rows["objects"][17]
    begin = first["finished_on"] + timedelta(days=70)
    code = f"{begin:%y}-{FINISHED_WORKS + OPEN_WORKS + 1:03d}"
    end = begin + timedelta(days=9)
    studio.rows["objects"].append({**first, "object": code, "received_on": begin, "due_on": begin + timedelta(days=30), "finished_on": end, "returned_from": first["object"],
                                   "note": "a retouching had changed colour"})  # fmt: skip
    for technique, minutes in (("examination in visible light", 40), ("retouching", 150), ("retouching", 95), ("varnishing by brush", 45)):
        started, ended, day = studio.spell("Tamsin", begin, minutes)
        studio.log(object=code, phase="", technique=technique, part="", person="Tamsin", started_at=started, ended_at=ended, date="", hours="", mode="", charge="own_cost",
                   quantity="", unit="", done="", discovery="", note="returned after handover", day=day)  # fmt: skip
        begin = day + timedelta(days=1)


def _studio_time(studio: Studio) -> None:
    rng = studio.rng
    day = FIRST_DAY
    while day <= LAST_DAY:
        for person in PEOPLE:
            for technique, hours in STUDIO_TIME:
                if rng.random() < (0.36 if person == "Tamsin" else 0.14) * (0.25 if technique == "teaching" else 1):
                    begin, end, when = studio.spell(
                        person, day + timedelta(days=int(rng.integers(0, 5))), max(10, round(hours * 12 * float(rng.uniform(0.6, 1.5))) * 5)
                    )
                    studio.log(object="", phase="studio time", technique=technique, part="", person=person, started_at=begin, ended_at=end, date="", hours="", mode="",
                               charge="own_cost" if technique == "teaching" else "", quantity="", unit="", done="", discovery="", note="", day=when)  # fmt: skip
        day += timedelta(days=7)


FILES = {
    "objects": ("object", "title", "maker", "kind", "support", "shape", "height_cm", "width_cm", "structure_condition", "paint_condition", "surface_condition",
                "received_on", "due_on", "finished_on", "returned_from", "commission", "owner", "note"),
    "estimates": ("object", "version", "made_on", "approved_on", "reason", "price", "currency", "phase", "technique", "part", "quantity", "hours", "low_hours",
                  "high_hours", "option"),
    "time_entries": ("entry", "object", "phase", "technique", "part", "person", "started_at", "ended_at", "date", "hours", "mode", "charge", "quantity", "unit",
                     "done", "discovery", "note"),
    "time_entries_corrected": ("entry", "object", "phase", "technique", "part", "person", "started_at", "ended_at", "date", "hours", "mode", "charge", "quantity",
                               "unit", "done", "discovery", "note"),
    "milestones": ("object", "phase", "technique", "part", "finished_on"),
}  # fmt: skip


def write(folder: Path) -> dict[str, int]:
    """Write the files and `truth.json`; how many rows each file has."""
    rows = draw()
    for name, columns in FILES.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as out:
            writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
            writer.writeheader()
            writer.writerows(
                {key: value.strftime("%Y-%m-%d %H:%M") if isinstance(value, datetime) else value for key, value in row.items()} for row in rows[name]
            )
    truth = {
        "seed": SEED, "people": PEOPLE, "elasticity": ELASTICITY, "work_sd": WORK_SD, "line_sd": LINE_SD, "estimate_bias": ESTIMATE_BIAS, "discoveries": DISCOVERIES,
        "techniques": {name: {"phase": phase, "hours": hours, "reference_quantity": reference if unit else None, "unit": unit or None}
                       for name, (phase, hours, reference, unit) in TRUE_HOURS.items()},
    }  # fmt: skip
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    return {name: len(rows[name]) for name in FILES}


if __name__ == "__main__":
    print(write(Path(__file__).parent))
