"""What a phone says of phases and works as a whole: lines that name no technique.

Common practice, no source: many studios log and estimate by phase of a treatment, and small jobs by the work.
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from ingest.phone.form_state import bench
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults as integrity_faults
from ingest.store import Store
from ingest.studio import vocabulary
from tests.conftest import CHANGE, NOW, Bring
from tests.phones import action, ms, outcomes, send
from tests.whole_studios import everything, imported

PHASES = ("examination", "documentation", "dismounting", "stabilisation", "cleaning", "filling", "retouching")
WHOLE_PHASE = {"phase": "cleaning", "technique": ""}
WHOLE_WORK = {"phase": "", "technique": ""}
COLUMNS = "object, phase, technique, part, mode, quantity, unit, done, round(hours, 6)"


def stored(store: Store, columns: str = COLUMNS) -> list[tuple[Any, ...]]:
    return store.cursor().execute(f"SELECT {columns} FROM time_entries ORDER BY entry").fetchall()


def lines_of(store: Store, work: str = "24-001") -> list[tuple[str, ...]]:
    """Phase, technique and part of the lines that the form offers for a work, in their order."""
    works = {item["object"]: item for item in bench(store.cursor(), now=NOW)["works"]}
    return [
        tuple(line.get(key, "") for key in ("phase", "technique", "part"))
        for line in works[work].get("lines", [])
    ]


def estimate(studio: Bring, *lines: str, work: str = "24-001") -> None:
    rows = "".join(f"{work},1,2024-01-03,{line}\n" for line in lines)
    studio(f"estimates-{work}.csv", f"object,version,made_on,phase,technique,part,hours\n{rows}")


def test_every_phase_that_is_estimated_as_a_whole_stands_as_a_line_behind_techniques(
    studio: Bring, store: Store
) -> None:
    estimate(studio, *(f"{phase},,,2" for phase in PHASES), ",varnishing by spray,,1", "cleaning,,frame,1")
    lines = lines_of(store)
    assert lines[0] == ("varnishing", "varnishing by spray", "")
    phases = [*PHASES[:5], "cleaning", *PHASES[5:]]
    assert lines[1:] == [
        (phase, "", "frame" if place == 5 else "") for place, phase in enumerate(phases)
    ]  # more than the six techniques that a work tells


def test_a_phase_used_as_a_whole_stays_a_line_and_leaves_with_its_milestone_or_its_phase(
    studio: Bring, store: Store
) -> None:
    estimate(studio, "cleaning,,,2", "filling,,,2", "filling,filling,,2", "retouching,,,3")
    send(store, action("a", row={**WHOLE_PHASE, "date": "2026-06-01", "hours": "1"}))
    assert lines_of(store) == [
        ("cleaning", "", ""),
        ("filling", "filling", ""),
        ("filling", "", ""),
        ("retouching", "", ""),
    ]
    studio("m.csv", "object,phase,technique,part,finished_on\n24-001,filling,,,2026-05-30\n")
    with store.writing() as con:
        con.execute("UPDATE phases SET retired_on = DATE '2026-05-01' WHERE phase = 'retouching'")
    assert lines_of(store) == [("cleaning", "", "")]


def test_a_work_estimated_as_a_whole_offers_itself(studio: Bring, store: Store) -> None:
    estimate(studio, ",,,20", work="24-002")
    assert lines_of(store, "24-002") == [("", "", "")]
    assert lines_of(store) == []


@pytest.mark.parametrize(
    ("row", "line"),
    [
        (WHOLE_PHASE, ("24-001", "cleaning", "")),
        ({**WHOLE_PHASE, "part": "frame"}, ("24-001", "cleaning", "frame")),
        (WHOLE_WORK, ("24-001", "", "")),
        ({"object": "", "phase": "studio time", "technique": ""}, (None, "studio time", "")),
    ],
)
def test_a_whole_is_begun_and_finished_like_a_technique_hands_on_and_unmeasured(
    studio: Bring, store: Store, row: dict[str, str], line: tuple[str, str, str]
) -> None:
    began, ended = NOW - timedelta(hours=2), NOW - timedelta(minutes=30)
    assert outcomes(
        send(store, action("a", "running", at=began, row=row, taps={"started_at": ms(began)}))
    ) == ["saved"]
    held = bench(store.cursor(), "Ilse", now=NOW)["in_hand"]
    assert [(item["row"]["mode"], item["row"].get("technique")) for item in held] == [("hands_on", None)]
    taps = {"started_at": ms(began), "ended_at": ms(ended)}
    assert outcomes(send(store, action("a", at=ended, row={**row, "done": "100"}, taps=taps))) == ["saved"]
    work, phase, part = line
    assert stored(store) == [(work, phase, "", part, "hands_on", None, None, 100.0, 1.5)]
    assert bench(store.cursor(), "Ilse", now=NOW)["in_hand"] == []
    assert integrity_faults(store.cursor()) == []


@pytest.mark.parametrize(
    ("row", "column", "reason"),
    [
        (
            {**WHOLE_PHASE, "quantity": "3"},
            "quantity",
            "is given, but no technique: a phase as a whole is not measured",
        ),
        ({**WHOLE_PHASE, "object": ""}, "object", "is empty, but cleaning is work on an object"),
        ({**WHOLE_WORK, "object": ""}, "object", "is empty, and so are phase and technique"),
        ({**WHOLE_WORK, "part": "frame"}, "part", "is a part, and no phase is given"),
    ],
)
def test_what_cannot_be_said_of_a_whole_is_refused_with_its_reason(
    studio: Bring, store: Store, row: dict[str, str], column: str, reason: str
) -> None:
    told = send(store, action("a", row={**row, "date": "2026-06-01", "hours": "2"}))[0]
    assert [(fault["column"], fault["reason"]) for fault in told["faults"]] == [(column, reason)]
    assert stored(store) == []


def test_a_phase_as_a_whole_is_shared_out_over_several_works(studio: Bring, store: Store) -> None:
    shared = action(
        "a",
        row={**WHOLE_PHASE, "object": "", "date": "2026-06-01", "hours": "3"},
        works=[{"object": code, "share": share} for code, share in (("24-001", "2"), ("24-002", "1"))],
        split="own shares",
    )
    assert outcomes(send(store, shared)) == ["saved"]
    assert stored(store, "object, phase, technique, hours") == [
        ("24-001", "cleaning", "", 2.0),
        ("24-002", "cleaning", "", 1.0),
    ]


def test_wholes_in_hand_and_logged_leave_with_an_export_and_come_back(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    estimate(studio, "cleaning,,,2", "cleaning,,frame,1", ",,,20")
    for entry, row in (("a", WHOLE_PHASE), ("b", WHOLE_WORK)):
        send(store, action(entry, "running", row=row, taps={"started_at": ms(NOW)}))
        send(store, action(f"{entry} logged", row={**row, "date": "2026-06-01", "hours": "2"}))
    export(store, tmp_path / "out", private=True)
    with imported(tmp_path / "out", NOW) as back:
        assert everything(back) == everything(store)
        assert bench(back.cursor(), "Ilse", now=NOW) == bench(store.cursor(), "Ilse", now=NOW)
        assert integrity_faults(back.cursor()) == []


def test_a_phase_renamed_is_renamed_in_what_is_in_hand_as_a_whole(studio: Bring, store: Store) -> None:
    send(store, action("a", "running", row=WHOLE_PHASE, taps={"started_at": ms(NOW)}))
    with store.writing() as con:
        vocabulary.rename(con, "phase", "cleaning", "surface", CHANGE)
    held = bench(store.cursor(), "Ilse", now=NOW)["in_hand"]
    assert [item["row"]["phase"] for item in held] == ["surface"]


def test_a_brief_state_has_the_work_as_a_whole_where_it_is_estimated_and_not_begun(
    store: Store, studio: Bring
) -> None:
    """It is begun first, so it must be there before the rest has come."""
    head = "object,version,made_on,phase,technique,hours\n"
    studio("e.csv", f"{head}24-001,1,2026-01-03,,,20\n24-001,1,2026-01-03,,facing,4\n")
    studio("t.csv", "object,technique,person,date,hours\n24-001,facing,Ilse,2026-05-04,2\n")
    (lines,) = (
        work["lines"]
        for work in bench(store.cursor(), brief=True, now=NOW)["works"]
        if work["object"] == "24-001"
    )
    assert [line.get("technique", "") for line in lines] == ["facing", ""]
