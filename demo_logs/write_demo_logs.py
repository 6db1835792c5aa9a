"""Write the logs of an invented studio: `python -m demo_logs.write_demo_logs`.

Three people, about four years, some sixty finished works and six on the bench. Everything is drawn from the
rates below with one seed, so `truth.json` says what a good calibration should find. All people, works and
owners are made up.
"""

from __future__ import annotations

import csv
import json
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from demo_logs.invented_truth import (
    DISCOVERIES,
    ELASTICITY,
    ESTIMATE_BIAS,
    FINISHED_WORKS,
    FIRST_DAY,
    LAST_DAY,
    LINE_SD,
    OPEN_WORKS,
    PEOPLE,
    SEED,
    STUDIO_TIME,
    TRUE_HOURS,
    WORK_SD,
)
from demo_logs.invented_works import FILES, Studio, draw_work


def draw() -> dict[str, list[dict[str, Any]]]:
    """All rows of all files."""
    studio = Studio(np.random.default_rng(SEED))
    rng = studio.rng
    span = (LAST_DAY - FIRST_DAY).days
    begins = sorted(FIRST_DAY + timedelta(days=int(d)) for d in rng.uniform(0, span - 150, FINISHED_WORKS))
    for number, begin in enumerate(begins, start=1):
        draw_work(studio, number, begin, finished=True)
    for number in range(OPEN_WORKS):
        draw_work(
            studio,
            FINISHED_WORKS + 1 + number,
            LAST_DAY - timedelta(days=int(rng.integers(24, 62))),
            finished=False,
        )
    _return_of_a_work(studio)
    _studio_time(studio)
    # What would lie after the last day has not happened yet.
    entries = [
        row for row in studio.rows["time_entries"] if row["day"] <= LAST_DAY and _ends(row) <= LAST_DAY
    ]
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
            row |= {
                "date": row["day"],
                "hours": f"{int(minutes // 60)}:{int(minutes % 60):02d}",
                "started_at": "",
                "ended_at": "",
            }
            if rng.random() < 0.12:
                corrected.append(
                    {
                        **row,
                        "hours": f"{int(minutes // 60) + 1}:{int(minutes % 60):02d}",
                        "note": "an hour was forgotten",
                    }
                )
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
    studio.rows["objects"].append(
        {
            **first,
            "object": code,
            "received_on": begin,
            "due_on": begin + timedelta(days=30),
            "finished_on": end,
            "returned_from": first["object"],
            "note": "a retouching had changed colour",
        }
    )
    for technique, minutes in (
        ("examination in visible light", 40),
        ("retouching", 150),
        ("retouching", 95),
        ("varnishing by brush", 45),
    ):
        started, ended, day = studio.spell("Tamsin", begin, minutes)
        studio.log(
            object=code,
            technique=technique,
            person="Tamsin",
            started_at=started,
            ended_at=ended,
            charge="own_cost",
            note="returned after handover",
            day=day,
        )
        begin = day + timedelta(days=1)


def _studio_time(studio: Studio) -> None:
    rng = studio.rng
    day = FIRST_DAY
    while day <= LAST_DAY:
        for person in PEOPLE:
            for technique, hours in STUDIO_TIME:
                if rng.random() < (0.36 if person == "Tamsin" else 0.14) * (
                    0.25 if technique == "teaching" else 1
                ):
                    begin, end, when = studio.spell(
                        person,
                        day + timedelta(days=int(rng.integers(0, 5))),
                        max(10, round(hours * 12 * float(rng.uniform(0.6, 1.5))) * 5),
                    )
                    studio.log(
                        phase="studio time",
                        technique=technique,
                        person=person,
                        started_at=begin,
                        ended_at=end,
                        charge="own_cost" if technique == "teaching" else "",
                        day=when,
                    )
        day += timedelta(days=7)


def write(folder: Path) -> dict[str, int]:
    """Write the files and `truth.json`; how many rows each file has."""
    rows = draw()
    for name, columns in FILES.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as out:
            writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
            writer.writeheader()
            writer.writerows(
                {
                    key: value.strftime("%Y-%m-%d %H:%M") if isinstance(value, datetime) else value
                    for key, value in row.items()
                }
                for row in rows[name]
            )
    truth = {
        "seed": SEED,
        "people": PEOPLE,
        "elasticity": ELASTICITY,
        "work_sd": WORK_SD,
        "line_sd": LINE_SD,
        "estimate_bias": ESTIMATE_BIAS,
        "discoveries": DISCOVERIES,
        "techniques": {
            name: {
                "phase": phase,
                "hours": hours,
                "reference_quantity": reference if unit else None,
                "unit": unit or None,
            }
            for name, (phase, hours, reference, unit) in TRUE_HOURS.items()
        },
    }
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    return {name: len(rows[name]) for name in FILES}


if __name__ == "__main__":
    print(write(Path(__file__).parent))
