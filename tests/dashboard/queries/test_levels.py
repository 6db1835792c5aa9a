"""Lines of techniques, whole phases and whole works: nothing is counted twice and nothing is lost."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard import queries
from dashboard.analysis.data.levels import PHASE, WORK, LineHierarchy, marked_techniques
from dashboard.analysis.data.lines import ROWS
from dashboard.analysis.data.training_record import TrainingRecord
from dashboard.analysis.models.record_calibration import unneeded_techniques
from dashboard.services import rates as rates_service
from ingest.importing.cell_readers import Context
from ingest.importing.check import check, store
from ingest.importing.rows import rows_typed
from ingest.schema.csv_columns import ESTIMATES, MILESTONES, OBJECTS, TIME_ENTRIES, Form
from ingest.store import Store
from tests import prepared
from tests.conftest import CHANGE, NOW

DAY = date(2024, 6, 1)
REVISED_ON = 12  # of May
PARTS_OF_AN_OVERRUN = ["more_to_do_hours", "slower_hours", "unforeseen_hours", "not_needed_hours"]
TECHNIQUES = {
    "retouching": ["glazing retouches", "retouching", "isolating varnish"],
    "filling": ["filling", "levelling fills", "texturing"],
}
_words = st.one_of(
    st.sampled_from([(phase, name) for phase, names in TECHNIQUES.items() for name in names]),
    st.sampled_from([(phase, "") for phase in TECHNIQUES]),
    st.just(("", "")),
)


@st.composite
def lines(draw: st.DrawFn) -> dict[str, str]:
    phase, technique = draw(_words)
    part = draw(st.sampled_from(["", "", "frame"])) if phase else ""
    return {
        "object": draw(st.sampled_from(["24-001", "24-002"])),
        "phase": phase,
        "technique": technique,
        "part": part,
    }


hours = st.integers(1, 40).map(lambda quarters: quarters / 4)
estimates = st.lists(st.tuples(lines(), hours), max_size=7)
entries = st.lists(st.tuples(lines(), hours, st.integers(2, 28)), max_size=9)
milestones = st.lists(st.tuples(lines(), st.integers(2, 28)), max_size=4)


def put(opened: Store, form: Form, rows: list[dict[str, str]]) -> None:
    if not rows:
        return
    with opened.writing() as con:
        checked = check(con, form, rows_typed(con, form, rows), Context.of(con, now=NOW))
        assert checked.outcome.rejected == 0, checked.problems.to_dict("records")
        store(con, checked, CHANGE)


@contextmanager
def studio(
    estimated: Sequence[Any],
    logged: Sequence[Any],
    ended: Sequence[Any] = (),
    *,
    revised: Sequence[Any] = (),
    finished: bool = False,
) -> Iterator[Store]:
    """Two works with what was estimated, revised, logged (in May) and finished on them."""
    with prepared.new_studio(works=True) as opened:
        if finished:
            put(
                opened,
                OBJECTS,
                [{"object": code, "finished_on": "2024-05-30"} for code in ("24-001", "24-002")],
            )
        of_version = {"version": "1", "made_on": "2024-04-01", "approved_on": "2024-04-02"}
        put(opened, ESTIMATES, [line | of_version | {"hours": f"{60 * h:.0f} min"} for line, h in estimated])
        works = {line["object"] for line, _ in estimated}
        of_version = {"version": "2", "made_on": f"2024-05-{REVISED_ON}", "reason": "found more"}
        put(
            opened,
            ESTIMATES,
            [
                line | of_version | {"hours": f"{60 * h:.0f} min"}
                for line, h in revised
                if line["object"] in works
            ],
        )
        put(
            opened,
            TIME_ENTRIES,
            [
                line
                | {"person": "Ilse", "date": f"2024-05-{day:02d}", "hours": f"{60 * h:.0f} min"}
                | {"note": str(number)}
                for number, (line, h, day) in enumerate(logged)
            ],
        )
        unique = {(*line.values(), day): line | {"finished_on": f"2024-05-{day:02d}"} for line, day in ended}
        put(opened, MILESTONES, list(unique.values()))
        yield opened


@settings(max_examples=8)
@given(estimates, entries, milestones, st.booleans())
def test_of_any_mixture_of_levels_the_parts_sum_and_no_hour_is_counted_twice_or_lost(
    estimated: list[Any], logged: list[Any], ended: list[Any], finished: bool
) -> None:
    with studio(estimated, logged, ended, finished=finished) as opened:
        rows = queries.overruns(opened.cursor(), DAY)
        assert rows["actual_hours"].sum() == pytest.approx(sum(h for _, h, _ in logged))
        assert rows["estimated_hours"].sum() == pytest.approx(sum(h for _, h in estimated))
        assert rows["entries"].sum() == len(logged)
        assert not rows.duplicated(["object", "phase", "technique", "part"]).any()
        differs = rows["difference_hours"]
        assert np.allclose(rows[PARTS_OF_AN_OVERRUN].sum(axis=1), differs)
        closed = rows["finished"].astype(bool)
        own = rows["actual_hours"] - rows["estimated_hours"].fillna(0.0)
        # a line that is open is never a saving
        assert np.allclose(differs, own.where(closed, own.clip(lower=0.0)))
        if finished:
            assert closed.all()


@settings(max_examples=8)
@given(estimates, entries)
def test_the_record_that_teaches_takes_the_same_lines_together(
    estimated: list[Any], logged: list[Any]
) -> None:
    with studio(estimated, logged, finished=True) as opened:
        con = opened.cursor()
        rows = queries.overruns(con, DAY)
        before = rates_service.number_of(DAY)
        record = queries.record(con, DAY)
        versions = dict.fromkeys(rows.loc[rows["yardstick_version"].notna(), "object"], 1)
        for compared in (record.compared_by(versions), record.compared):
            taught = compared.as_of(before)
            by_line = dict(
                zip(
                    zip(taught.object, taught.phase, taught.technique, taught.part, strict=True),
                    taught.hours,
                    strict=True,
                )
            )
            worked = rows[rows["actual_hours"] > 0]
            marked = marked_techniques(*(worked[name].to_numpy(dtype=str) for name in ("phase", "technique")))
            assert by_line == pytest.approx(
                dict(
                    zip(
                        zip(worked["object"], worked["phase"], marked, worked["part"], strict=True),
                        worked["actual_hours"],
                        strict=True,
                    )
                )
            )
        # each phase, and each work, is the sum of all that was logged in it
        in_all = pd.DataFrame([line | {"hours": h} for line, h, _ in logged], columns=["object", "hours"])
        whole = record.of_wholes(3).as_of(before)
        assert dict(zip(whole.object, whole.hours, strict=True)) == pytest.approx(
            in_all.groupby("object")["hours"].sum().to_dict()
        )


def what_it_teaches(record: TrainingRecord, before: int) -> dict[str, Any]:
    """All that the record as it stood before a day teaches, to the digit."""
    known = record.known_before(before)
    taught = {
        "techniques": known.teaching.as_of(before),
        "phases": known.of_wholes(PHASE).as_of(before),
        "works": known.of_wholes(WORK).as_of(before),
        "not needed": unneeded_techniques(known, before),
        "phases not needed": known.of_wholes(PHASE).unneeded(before),
        "works not needed": known.of_wholes(WORK).unneeded(before),
    }
    columns = {
        f"{name}: {column}": getattr(lines, column).tolist()
        for name, lines in taught.items()
        for column in ROWS
        if column != "shares"
    }
    of_people = {
        f"{name}: {person}": lines.shares[:, place].tolist()
        for name, lines in taught.items()
        for place, person in enumerate(lines.people)
        if lines.shares[:, place].any()
    }
    return columns | of_people


@settings(max_examples=8)
@given(estimates, estimates, entries, milestones, st.integers(3, 28))
def test_what_the_record_of_a_day_teaches_does_not_change_by_what_was_entered_later(
    estimated: list[Any], revised: list[Any], logged: list[Any], ended: list[Any], day: int
) -> None:
    """Be it a whole of which little is known in parts since, or a technique that opened its phase again."""
    before = date(2024, 5, day)
    with (
        studio(estimated, logged, ended, revised=revised) as now,
        studio(
            estimated,
            [entry for entry in logged if entry[2] < day],
            [end for end in ended if end[1] < day],
            revised=revised if day > REVISED_ON else (),
        ) as then,
    ):
        number = rates_service.number_of(before)
        taught = what_it_teaches(queries.record(now.cursor(), DAY, by_day=True), number)
        deleted = queries.record(then.cursor(), DAY, by_day=True)
        np.testing.assert_equal(taught, what_it_teaches(deleted, number))


@settings(max_examples=8)
@given(
    st.lists(
        st.tuples(st.sampled_from(["", *TECHNIQUES["filling"]]), hours, st.integers(2, 28)),
        min_size=1,
        max_size=6,
    ),
    st.integers(4, 80).map(lambda quarters: quarters / 4),
    st.lists(st.sampled_from([0.2, 0.4, 0.6]), min_size=6, max_size=6),
    st.booleans(),
)
def test_splitting_the_hours_of_a_phase_over_its_techniques_leaves_its_row_as_it_was(
    logged: list[Any], estimated: float, shares: list[float], finished: bool
) -> None:
    """The phase was estimated as a whole; an hour of it may be logged on the phase or on any technique."""
    of = {"object": "24-001", "phase": "filling", "part": ""}
    whole = [(of | {"technique": ""}, estimated)]
    as_logged = [(of | {"technique": name}, h, day) for name, h, day in logged]
    split = [
        (of | {"technique": name}, part, day)
        for (_, h, day), share in zip(logged, shares, strict=False)
        for name, part in (("filling", share * h), ("levelling fills", (1 - share) * h))
    ]
    with studio(whole, as_logged, finished=finished) as one, studio(whole, split, finished=finished) as other:
        row, again = (queries.overruns(opened.cursor(), DAY) for opened in (one, other))
        assert len(row) == len(again) == 1 and row["technique"].tolist() == [""]
        columns = ["estimated_hours", "actual_hours", "difference_hours", *PARTS_OF_AN_OVERRUN]
        assert row[columns].to_numpy(dtype=float) == pytest.approx(again[columns].to_numpy(dtype=float))
        assert row["finished"].tolist() == again["finished"].tolist()


BY_PHASE = """object,version,made_on,approved_on,phase,technique,hours
24-001,1,2024-04-01,2024-04-02,filling,,10
24-001,1,2024-04-01,2024-04-02,retouching,glazing retouches,6
24-001,1,2024-04-01,2024-04-02,retouching,isolating varnish,4
"""


def rows_of(text: str) -> list[dict[str, str]]:
    return pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False).to_dict("records")  # type: ignore[return-value]


@pytest.mark.parametrize(
    ("logged", "expected"),
    [
        # what was estimated by phase and logged by technique stands under the phase
        ([("filling", "filling", 7), ("filling", "levelling fills", 5)], {("filling", ""): (10, 12)}),
        # what was estimated by technique and logged by phase is known for the phase alone
        ([("retouching", "", 11)], {("retouching", ""): (10, 11)}),
        # both at once add up
        ([("retouching", "", 3), ("retouching", "glazing retouches", 5)], {("retouching", ""): (10, 8)}),
        # a technique that no estimate has was found on the way, whatever else is logged on its phase
        (
            [("retouching", "", 3), ("retouching", "retouching", 5)],
            {("retouching", ""): (10, 3), ("retouching", "retouching"): (0, 5)},
        ),
        # hours of the work as a whole may be of any line of the estimate
        ([("", "", 15), ("filling", "filling", 2)], {("", ""): (20, 17)}),
        # a phase in no estimate was found on the way
        ([("cleaning", "", 3)], {("cleaning", ""): (0, 3)}),
    ],
)
def test_hours_are_compared_at_the_level_at_which_something_was_estimated(
    logged: list[tuple[str, str, float]], expected: dict[tuple[str, str], tuple[float, float]]
) -> None:
    with studio([], []) as opened:
        put(opened, ESTIMATES, rows_of(BY_PHASE))
        put(
            opened,
            TIME_ENTRIES,
            [
                {"object": "24-001", "phase": phase, "technique": technique, "person": "Ilse"}
                | {"date": "2024-05-02", "hours": str(h)}
                for phase, technique, h in logged
            ],
        )
        rows = queries.overruns(opened.cursor(), DAY)
        rows = rows[rows["actual_hours"] > 0].fillna({"estimated_hours": 0.0})
        keys = zip(rows["phase"], rows["technique"], strict=True)
        values = zip(rows["estimated_hours"], rows["actual_hours"], strict=True)
        assert dict(zip(keys, values, strict=True)) == expected


def test_a_phase_known_as_a_whole_is_finished_once_all_that_is_estimated_in_it_is() -> None:
    glazing = {"object": "24-001", "phase": "retouching", "technique": "glazing retouches", "part": ""}
    toning, whole = glazing | {"technique": "isolating varnish"}, glazing | {"technique": ""}
    estimated, logged = [(glazing, 6.0), (toning, 4.0)], [(whole, 11.0, 3)]
    for ended, finished_on in (
        ([(glazing, 5)], None),
        ([(glazing, 5), (toning, 7)], "2024-05-07"),
        ([(whole, 9)], "2024-05-09"),
        ([(glazing, 5), (toning, 2)], None),  # before the last hours of the phase
        ([({"object": "24-001", "phase": "", "technique": "", "part": ""}, 12)], "2024-05-12"),
    ):
        with studio(estimated, logged, ended) as opened:
            (row,) = queries.overruns(opened.cursor(), DAY).to_dict("records")
            assert row["finished"] is (finished_on is not None), ended
            told = queries.record(opened.cursor(), DAY).compared.as_of(rates_service.number_of(DAY))
            assert told.is_open.tolist() == [finished_on is None], ended
            if finished_on:
                assert row["finished_on"] == pd.Timestamp(finished_on) and row["difference_hours"] == 1.0


def test_a_record_of_techniques_alone_has_no_line_under_another() -> None:
    named = pd.DataFrame(
        {
            "object": ["24-001"] * 3,
            "phase": ["filling", "filling", "retouching"],
            "technique": ["filling", "levelling fills", "glazing retouches"],
            "part": ["", "frame", ""],
        }
    )
    yes = np.ones(3, dtype=bool)
    assert LineHierarchy(named).heads(yes, yes).tolist() == [0, 1, 2]
