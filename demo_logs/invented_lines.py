"""Lines of an invented work: techniques, quantities and hours, as quoted and as worked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_logs.invented_truth import DISCOVERIES, ELASTICITY, ESTIMATE_BIAS, LINE_SD, PEOPLE, TRUE_HOURS


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


def clip(value: float, low: float, high: float) -> float:
    return float(min(max(value, low), high))


# What lies under lining, varnish and overpaint is more than what was seen; whole surfaces are as measured.
GROWING = (
    "consolidation",
    "overpaint removal",
    "old fill removal",
    "filling",
    "retouching",
    "tear mending thread by thread",
    "texturing",
)


def _usual_quantities(area: float, edge: float, condition: tuple[int, int, int]) -> dict[str, float]:
    """Quantity of each technique that is counted, by the size (dm², cm) and condition of the work."""
    structure, paint, _ = condition
    return {
        "solvent tests": 6,
        "photography before treatment": 6,
        "unframing": 1,
        "tack and nail removal": edge / 6,
        "taking off the stretcher": edge,
        "facing": area * 0.5,
        "consolidation": area * (0.08 + 0.14 * paint),
        "facing removal": area * 0.5,
        "lining removal dry": area,
        "adhesive residue removal": area,
        "patch removal": 2,
        "flattening by moisture": area,
        "tear mending thread by thread": 4 + 5 * structure,
        "inlay": 0.3,
        "strip lining": edge,
        "lining": area,
        "stretching": edge,
        "panel split repair": 12 + 14 * structure,
        "surface cleaning aqueous": area,
        "surface cleaning dry": area,
        "varnish removal with free solvents": area,
        "varnish removal with solvent gel": area,
        "overpaint removal": area * (0.03 + 0.04 * paint),
        "old fill removal": area * 0.02,
        "filling": area * (0.012 + 0.02 * paint),
        "texturing": area * (0.01 + 0.012 * paint),
        "isolating varnish": area,
        "retouching": area * (0.03 + 0.04 * paint),
        "varnishing by brush": area,
        "varnishing by spray": area,
        "frame cleaning": edge * 1.15,
        "backing board": 1,
        "fitting in the frame": 1,
        "packing": 1,
        "paper dry cleaning": area,
        "paper tear repair": 6 + 4 * structure,
        "hinging and mounting": 1,
    }


def _sheet(rng: np.random.Generator, kind: str, condition: tuple[int, int, int]) -> list[str]:
    """Techniques that an estimate of such a work has."""
    structure, paint, surface = condition
    sheet = [
        "examination in visible light",
        "examination in ultraviolet light",
        "photography before treatment",
        "condition report",
        "treatment proposal",
    ]
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
            sheet += [
                "tack and nail removal",
                "taking off the stretcher",
                "facing",
                "facing removal",
                "flattening by moisture",
                "stretching",
            ]
            sheet += ["lining removal dry", "adhesive residue removal"] if rng.random() < 0.6 else []
            sheet += ["lining"] if rng.random() < 0.45 else ["strip lining"]
            sheet += ["tear mending thread by thread"] if rng.random() < 0.6 else []
        elif structure == 1 and rng.random() < 0.5:
            sheet += ["tear mending thread by thread"]
        if surface:
            sheet += [
                "solvent tests",
                (
                    "varnish removal with solvent gel"
                    if rng.random() < 0.3
                    else "varnish removal with free solvents"
                ),
            ]
        if paint:
            sheet += ["filling", "texturing", "isolating varnish", "retouching"]
            sheet += ["overpaint removal"] if rng.random() < 0.3 else []
        sheet += [
            "varnishing by spray" if rng.random() < 0.35 else "varnishing by brush",
            "backing board",
            "fitting in the frame",
        ]
    return [*sheet, "final report", "packing", "client meeting"]


def _whole(quantity: float, unit: str) -> float:
    """As it is written down: pieces whole, anything else to a tenth."""
    return float(max(1, round(quantity))) if unit == "pcs" else max(0.1, round(quantity, 1))


def lines_of(
    rng: np.random.Generator,
    kind: str,
    area: float,
    edge: float,
    condition: tuple[int, int, int],
    lead: str,
    work: float,
) -> list[Line]:
    """The lines of one work: what was quoted, what there was, and how long it took."""
    quantities = _usual_quantities(area, edge, condition)
    sheet = _sheet(rng, kind, condition)
    finds = [
        name
        for name, chance in DISCOVERIES.items()
        if kind == "easel painting" and name not in sheet and rng.random() < chance
    ]
    lines = []
    order = list(TRUE_HOURS)
    for technique in sorted([*sheet, *finds], key=order.index):
        phase, reference_hours, reference, unit = TRUE_HOURS[technique]
        quoted_quantity = quantities.get(technique) if unit else None
        actual_quantity = quoted_quantity
        if quoted_quantity is not None:
            grows = float(np.exp(rng.normal(0.18, 0.33))) if technique in GROWING else 1.0
            actual_quantity = _whole(quoted_quantity * grows, unit)
            quoted_quantity = _whole(quoted_quantity, unit)
        person = lead if rng.random() < 0.72 else str(rng.choice(list(PEOPLE)))
        size = (actual_quantity / reference) ** ELASTICITY if actual_quantity else 1.0
        luck = float(np.exp(work + rng.normal(0, LINE_SD)))
        actual = max(0.25, round(reference_hours * size * PEOPLE[person] * luck * 4) / 4)
        quoted_size = (quoted_quantity / reference) ** ELASTICITY if quoted_quantity else 1.0
        estimate = max(
            0.5,
            round(
                reference_hours
                * quoted_size
                * ESTIMATE_BIAS[phase]
                * float(np.exp(0.25 * work + rng.normal(0, 0.22)))
                * 2
            )
            / 2,
        )
        lines.append(
            Line(
                technique,
                actual_quantity,
                quoted_quantity,
                None if technique in finds else estimate,
                actual,
                person,
                foreseen=technique not in finds,
                worked=technique in finds or rng.random() > 0.035,
            )
        )
    return lines
