"""The overrun of every line, and its sums by phase."""

from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard import queries
from dashboard.analysis.report.overruns import CAUSES, by_phase, compare, summed, totals
from ingest.store import Store
from tests.conftest import LATER, Bring, bring_into, faults
from tests.frames import number, row_of
from tests.prepared import new_store

EST = "object,version,made_on,approved_on,phase,technique,part,quantity,hours\n"
LOG = "object,phase,technique,part,person,date,hours,quantity,done,charge\n"
Lines = Callable[..., pd.DataFrame]
PARTS = list(CAUSES)


def parts(frame: pd.DataFrame, technique: str) -> list[float]:
    row = row_of(frame.set_index("technique"), technique)
    return [round(float(row[name]), 9) for name in ("difference_hours", *PARTS)]


def test_each_kind_of_line_is_split_as_the_contract_says(studio: Bring, lines: Lines) -> None:
    studio(
        "est.csv",
        EST + "24-001,1,2024-01-05,2024-01-09,,facing,,20,4\n"
        "24-001,1,2024-01-05,2024-01-09,,consolidation,,10,3\n"
        "24-001,1,2024-01-05,2024-01-09,,packing,,,1\n"
        "24-001,1,2024-01-05,2024-01-09,,retouching,,2,6\n24-001,1,2024-01-05,2024-01-09,,filling,,2,5\n",
    )
    studio(
        "log.csv",
        LOG + "24-001,,facing,,Ilse,2024-02-01,4,15,,\n"
        "24-001,,facing,,Ilse,2024-02-02,3,10,,\n"
        "24-001,,consolidation,,Ilse,2024-02-03,5,,,\n"
        "24-001,,patch"
        " removal,,Ilse,2024-02-04,2,,,\n"
        "24-001,,retouching,,Ilse,2024-02-05,4,1,40,\n"
        "24-001,,filling,,Ilse,2024-02-05,6,1,40,\n",
    )
    open_ = lines()
    assert not open_["finished"].any()
    assert parts(open_, "facing") == [3, 0, 3, 0, 0]  # open: already over, all of it slower
    assert parts(open_, "retouching") == [0, 0, 0, 0, 0]  # open and below: never a saving
    assert parts(open_, "patch removal") == [2, 0, 0, 2, 0]
    studio(
        "m.csv",
        "object,phase,technique,finished_on\n24-001,stabilisation,,2024-03-01\n24-001,retouching,retouching,2024-03-01\n",
    )
    studio("o.csv", "object,finished_on\n24-001,2024-04-01\n")
    done = lines()
    assert done["finished"].all()
    assert parts(done, "facing") == [3, 1, 2, 0, 0]  # 5 dm2 more at 0.2 h, and 25 dm2 at 0.08 h more
    assert parts(done, "consolidation") == [2, 0, 2, 0, 0]  # no quantity known: all slower
    assert parts(done, "packing") == [-1, 0, 0, 0, -1]
    assert parts(done, "patch removal") == [2, 0, 0, 2, 0]
    # finished while done stood at 40: the quantity is incomplete
    assert parts(done, "retouching") == [-2, 0, -2, 0, 0]
    assert lines(date(2024, 2, 15))["finished"].sum() == 0


def test_a_later_entry_reopens_a_line_until_its_next_milestone(studio: Bring, lines: Lines) -> None:
    studio("log.csv", LOG + "24-001,,facing,,Ilse,2024-02-01,4,,,\n")
    assert [bool(f) for f in lines()["finished"]] == [False]
    studio("m.csv", "object,phase,technique,finished_on\n24-001,stabilisation,facing,2024-02-01\n")
    assert [bool(f) for f in lines()["finished"]] == [True]
    studio("log2.csv", LOG + "24-001,,facing,,Ilse,2024-02-09,4,,,\n")
    assert [bool(f) for f in lines()["finished"]] == [False]
    assert [bool(f) for f in lines(date(2024, 2, 5))["finished"]] == [True]
    studio("m.csv", "object,phase,technique,finished_on\n24-001,stabilisation,,2024-02-10\n")
    assert [bool(f) for f in lines()["finished"]] == [True]
    # a return at own cost is no part of the line
    studio("log3.csv", LOG + "24-001,,facing,,Ilse,2024-05-09,1,,,own_cost\n")
    frame = lines()
    assert (
        frame["finished"].all()
        and frame["own_cost_hours"].tolist() == [1.0]
        and frame["actual_hours"].tolist() == [8.0]
    )


def test_a_milestone_of_one_part_leaves_the_others_open(studio: Bring, lines: Lines) -> None:
    studio(
        "log.csv",
        LOG
        + "24-001,,tear mending,left,Ilse,2024-02-01,4,,,\n24-001,,tear mending,right,Ilse,2024-02-01,4,,,\n",
    )
    studio("m.csv", "object,phase,technique,part,finished_on\n24-001,structural repair,,left,2024-02-02\n")
    assert dict(zip(lines()["part"], lines()["finished"], strict=True)) == {"left": True, "right": False}


def test_the_latest_approved_version_is_the_yardstick_and_the_first_is_shown(
    studio: Bring, lines: Lines
) -> None:
    def made(version: int, hours: int, approved: str) -> str:
        return f"24-001,{version},2024-0{version}-05,{approved},,facing,,20,{hours}\n"

    studio("est.csv", EST + made(1, 4, "2024-01-09") + made(2, 6, "2024-02-09") + made(3, 9, ""))
    for as_of, estimated, first, yardstick in (
        (LATER, 6, 4, "approved"),
        (date(2024, 2, 6), 4, 4, "approved"),
        (date(2024, 1, 6), 4, None, "made"),
    ):
        row = lines(as_of).iloc[0]
        assert (row["estimated_hours"], row["yardstick"]) == (estimated, yardstick)
        assert row["first_approved_hours"] == first or (
            first is None and pd.isna(row["first_approved_hours"])
        )


def test_extra_hours_stand_apart_and_are_never_an_overrun(studio: Bring, lines: Lines) -> None:
    studio("est.csv", EST + "24-001,1,2024-01-05,2024-01-09,,facing,,20,4\n")
    studio(
        "log.csv",
        LOG + "24-001,,facing,,Ilse,2024-02-01,4,,,\n24-001,,facing,,Ilse,2024-02-02,30"
        " min,,,extra\n24-001,,filling,,Ilse,2024-02-02,2,,,extra\n",
    )
    frame = lines()
    assert (
        frame["difference_hours"].tolist() == [0, 0]
        and frame["extra_hours"].sum() == 2.5
        and frame["actual_hours"].sum() == 4
    )


def test_an_estimate_in_quantity_only_is_unknown_never_nought(studio: Bring, lines: Lines) -> None:
    studio("est.csv", EST + "24-001,1,2024-01-05,2024-01-09,,facing,,20,\n")
    studio("log.csv", LOG + "24-001,,facing,,Ilse,2024-02-01,4,20,,\n")
    row = lines().iloc[0]
    assert row[["estimated_hours", "difference_hours", *PARTS]].isna().all() and row["actual_hours"] == 4


line = st.tuples(
    st.sampled_from([None, 0.0, 0.5, 3.0, 11.25]),  # estimated hours; None: not in the estimate
    st.sampled_from([None, 0.0, 2.0, 7.5]),  # estimated quantity
    st.lists(
        st.tuples(
            st.sampled_from([0.25, 1.0, 5.5]),
            st.sampled_from([None, 0.0, 1.5, 4.0]),
            st.sampled_from([None, 30, 60, 100]),
        ),
        max_size=3,
    ),
    st.booleans(),  # finished
)
TECHNIQUES = (
    "facing",
    "consolidation",
    "filling",
    "texturing",
    "retouching",
    "lining",
    "surface cleaning aqueous",
    "overpaint removal",
)


@settings(max_examples=15)
@given(st.lists(line, min_size=1, max_size=len(TECHNIQUES)))
def test_the_parts_sum_to_the_difference_and_an_open_line_is_never_a_saving(
    tmp_path: Path, case: list[tuple[Any, ...]]
) -> None:
    with new_store() as store:
        bring = partial(bring_into, store, tmp_path)
        bring("o.csv", "object\n24-001\n")
        estimates, log, milestones = EST, LOG, "object,phase,technique,finished_on\n"
        expected: dict[str, tuple[float | None, float, bool]] = {}
        phases = dict(store.cursor().execute("SELECT technique, phase FROM techniques").fetchall())
        for technique, (h0, q0, spells, finished) in zip(TECHNIQUES, case, strict=False):
            if h0 is not None:
                estimates += f"24-001,1,2024-01-05,2024-01-09,,{technique},,{'' if q0 is None else q0},{h0}\n"
            done = 0
            for n, (hours, q, says) in enumerate(spells):
                done = max(done, says or 0)
                log += (
                    f"24-001,,{technique},,Ilse,2024-02-{n + 1:02d},{hours},{'' if q is None else q},"
                    f"{'' if says is None else done},\n"
                )
            if finished:
                milestones += f"24-001,{phases[technique]},{technique},2024-03-01\n"
            expected[technique] = (h0, sum(s[0] for s in spells), bool(finished))
        for name, text in (("e.csv", estimates), ("l.csv", log), ("m.csv", milestones)):
            assert bring(name, text).complete
        frame = queries.overruns(store.cursor(), LATER).set_index("technique")
        for technique in frame.index:
            row = row_of(frame, technique)
            h0, h1, finished = expected[technique]
            assert row[PARTS].sum() == pytest.approx(row["difference_hours"], abs=1e-9)
            if finished:
                assert row["difference_hours"] == pytest.approx(h1 - (h0 or 0), abs=1e-9)
            else:
                assert row["difference_hours"] == pytest.approx(max(0, h1 - (h0 or 0)), abs=1e-9)
                assert (row[PARTS] >= 0).all()
        both = compare(frame.reset_index())
        sums = summed(pd.concat([both.finished, both.open]), ["phase"])
        assert (
            sums["estimated_hours"] + sums["difference_hours"] - sums["unused_hours"]
        ).to_numpy() == pytest.approx(sums["actual_hours"].to_numpy())
        phase_sums = by_phase(compare(frame.reset_index()))
        assert phase_sums[PARTS].sum(axis=1).to_numpy() == pytest.approx(
            phase_sums["difference_hours"].to_numpy()
        )
        assert totals(phase_sums)["difference_hours"] == pytest.approx(
            frame.loc[frame["finished"] & (frame["yardstick"] != "none"), "difference_hours"].sum()
        )


def test_works_without_an_estimate_are_told_apart(studio: Bring, lines: Lines) -> None:
    studio("log.csv", LOG + "24-001,,facing,,Ilse,2024-02-01,4,,,\n")
    comparison = compare(lines())
    assert (comparison.unquoted_hours, comparison.unquoted_works, len(comparison.finished)) == (4.0, 1, 0)


def test_a_line_that_a_revision_dropped_keeps_its_first_approved_hours(studio: Bring, lines: Lines) -> None:
    studio(
        "est.csv",
        EST
        + (
            "24-001,1,2024-01-05,2024-01-09,,facing,,20,4\n"
            "24-001,1,2024-01-05,2024-01-09,,filling,,2,5\n"
            "24-001,2,2024-02-05,2024-02-09,,facing,,20,4\n"
        ),
    )
    frame = lines().set_index("technique")
    assert frame["first_approved_hours"].to_dict() == {"facing": 4.0, "filling": 5.0}
    assert (
        np.isnan(number(frame, "filling", "estimated_hours"))
        and frame.loc["filling", "difference_hours"] == 0
    )


@pytest.mark.parametrize("zone", ["America/Los_Angeles", "Pacific/Auckland", "Europe/Berlin"])
@pytest.mark.parametrize(
    ("rows", "incomplete"),
    [
        # the quantity has no clock, the word that all is done has: the order within the day gets the benefit
        # of the doubt
        (
            (
                "24-001,,facing,Ilse,,,2024-02-01,1,10,\n24-001,,facing,Ilse,2024-02-01 18:00,2024-02-01"
                " 19:00,,,,100\n"
            ),
            False,
        ),
        (
            (
                "24-001,,facing,Ilse,,,2024-02-01,1,,100\n24-001,,facing,Ilse,2024-02-01 08:00,2024-02-01"
                " 09:00,,,10,\n"
            ),
            False,
        ),
        (
            (
                "24-001,,facing,Ilse,2024-02-01 08:00,2024-02-01"
                " 09:00,,,10,50\n24-001,,facing,Ilse,2024-02-01 18:00,2024-02-01 19:00,,,,100\n"
            ),
            True,
        ),
        (
            (
                "24-001,,facing,Ilse,2024-02-01 23:00,2024-02-01"
                " 23:30,,,10,50\n24-001,,facing,Ilse,,,2024-02-02,1,,100\n"
            ),
            True,
        ),
    ],
)
def test_a_quantity_is_incomplete_by_the_studio_s_days_in_any_zone(
    store: Store, bring: Bring, lines: Lines, zone: str, rows: str, incomplete: bool
) -> None:
    with store.writing() as con:
        con.execute("UPDATE settings SET value = ? WHERE setting = 'zone'", [zone])
    bring("o.csv", "object\n24-001\n")
    report = bring(
        "e.csv",
        "object,phase,technique,person,started_at,ended_at,date,hours,quantity,done\n" + rows,
        held_back_as="new",
    )
    assert report.complete
    assert [bool(value) for value in lines()["quantity_incomplete"]] == [incomplete]


def test_a_milestone_that_fits_no_line_is_kept_and_said(studio: Bring, lines: Lines) -> None:
    studio("log.csv", LOG + "24-001,,retouching,,Ilse,2024-02-01,4,,,\n")
    wrong = studio("m.csv", "object,phase,technique,finished_on\n24-001,varnishing,retouching,2024-03-01\n")
    assert wrong.complete and wrong.warnings["reason"].tolist() == [
        "finishes nothing yet: no line of 24-001 is in varnishing with retouching"
    ]
    nothing = studio("m.csv", "object,phase,technique,finished_on\n24-002,,,2024-03-01\n")
    assert nothing.complete and nothing.warnings["reason"].tolist() == [
        "finishes nothing yet: 24-002 has no line"
    ]
    rows = "24-001,,retouching,,2024-03-01\n24-001,,,frame,2024-03-01\n"
    assert studio("m.csv", f"object,phase,technique,part,finished_on\n{rows}").outcome.rejected == 1
    assert lines()["finished"].tolist() == [True]


def test_a_milestone_before_the_last_entry_says_that_the_entry_opens_the_line_again(
    studio: Bring, lines: Lines
) -> None:
    head = "object,phase,technique,finished_on\n"
    studio(
        "log.csv",
        LOG + "24-001,,facing,,Ilse,2024-02-01,4,,,\n24-001,,facing,,Ilse,2024-02-20,1,,,\n24-001,,local"
        " facing,,Ilse,2024-02-03,1,,,\n",
    )
    early = studio("m.csv", head + "24-001,stabilisation,,2024-02-10\n")
    assert early.complete and early.warnings["reason"].tolist() == [
        "is before the last entry (2024-02-20), which opens the line again"
    ]
    assert dict(lines()[["technique", "finished"]].to_numpy().tolist()) == {
        "facing": False,
        "local facing": True,
    }
    assert studio(
        "n.csv", head + "24-001,stabilisation,,2024-02-05\n24-001,,facing,2024-02-21\n"
    ).warnings.empty  # the second of them finishes it
    assert lines()["finished"].tolist() == [True, True]


def test_a_work_finished_before_its_last_entry_is_pointed_out_and_nothing_is_finished_in_the_future(
    studio: Bring, lines: Lines
) -> None:
    studio("log.csv", LOG + "24-001,,facing,,Ilse,2024-02-20,4,,,\n24-001,,packing,,Ilse,2024-02-20,4,,,\n")
    early = studio("o.csv", "object,finished_on\n24-001,2024-02-19\n")
    assert early.complete and early.warnings["reason"].tolist() == [
        "is before the last entry (2024-02-20), which opens 2 lines again"
    ]
    assert studio("o.csv", "object,finished_on\n24-001,2024-02-19\n").warnings.empty  # said once
    assert (
        studio("p.csv", "object,finished_on\n24-001,2024-02-20\n").warnings.empty
        and lines()["finished"].all()
    )
    for late in (
        "object,finished_on\n24-002,2026-06-02\n",
        "object,phase,finished_on\n24-001,handover,2026-06-02\n",
    ):
        assert faults(studio("late.csv", late)) == ["2 finished_on: lies in the future"]


def test_what_is_compared_under_a_whole_is_listed_beneath_it_with_its_own_hours(
    studio: Bring, store: Store, lines: Lines
) -> None:
    studio(
        "est.csv",
        EST + "24-001,1,2024-01-05,2024-01-09,cleaning,,,,10\n"
        "24-002,1,2024-01-05,2024-01-09,,surface cleaning dry,,,4\n"
        "24-002,1,2024-01-05,2024-01-09,,facing,,,2\n",
    )
    studio(
        "log.csv",
        LOG + "24-001,,surface cleaning dry,,Ilse,2024-02-01,6,,,\n"
        "24-001,cleaning,,frame,Ilse,2024-02-02,3,,,\n"
        "24-001,cleaning,,,Ilse,2024-02-03,2,,,\n"
        "24-001,,surface cleaning dry,,Ilse,2024-02-04,1,,,extra\n"
        "24-002,cleaning,,,Ilse,2024-02-05,5,,,\n",
    )
    columns = ["head_phase", "head_part", "phase", "technique", "part", "hours", "estimated_hours"]

    def under(code: str) -> list[list[object]]:
        of = queries.logged_under(store.cursor(), LATER, code)[columns]
        return of.astype(object).where(of.notna(), None).to_numpy().tolist()

    # estimated as a whole: hours of techniques and of parts stand under it
    assert under("24-001") == [
        ["cleaning", "", "cleaning", "", "frame", 3.0, None],
        ["cleaning", "", "cleaning", "surface cleaning dry", "", 6.0, None],
    ]
    # logged on the whole phase, and estimated within it: under what was logged
    assert under("24-002") == [["cleaning", "", "cleaning", "surface cleaning dry", "", 0.0, 4.0]]
    heads = lines().set_index(["object", "phase", "technique"])
    assert heads.at[("24-001", "cleaning", ""), "actual_hours"] == 11.0
    assert heads.at[("24-002", "cleaning", ""), "estimated_hours"] == 4.0
    assert queries.logged_under(store.cursor(), date(2024, 1, 31), "24-001").empty
