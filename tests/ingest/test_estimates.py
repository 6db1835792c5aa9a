"""Estimates come whole, an approved one stays."""

from ingest.store import Store
from tests.conftest import Bring, faults

HEAD = "object,version,made_on,approved_on,phase,technique,part,quantity,unit,hours,option"


def versions(store: Store) -> list[tuple[object, ...]]:
    return store.cursor().execute("SELECT object, version, approved_on::VARCHAR, approved_option FROM estimate_versions ORDER BY ALL").fetchall()


def test_a_version_with_a_fault_in_one_row_is_left_out_whole(studio: Bring, store: Store) -> None:
    report = studio(
        "est.csv", f"{HEAD}\n24-001,1,2024-01-05,,,facing,,10,dm2,3,\n24-001,1,2024-01-05,,,facng,,10,dm2,3,\n24-002,1,2024-01-05,,,facing,,10,dm2,3,\n"
    )
    assert faults(report) == ["2 version: has a fault in another of its rows (line 3)", "3 technique: is not a known technique"]
    assert versions(store) == [("24-002", 1, None, None)]


def test_an_approval_may_come_later_but_an_approved_version_is_never_rewritten(studio: Bring, store: Store) -> None:
    made = f"{HEAD}\n24-001,1,2024-01-05,,,facing,,10,dm2,3,\n"
    approved = made.replace("2024-01-05,,", "2024-01-05,2024-01-09,")
    assert [studio("est.csv", text).outcome.stored for text in (made, made)] == [1, 0]
    assert studio("est.csv", made.replace(",3,", ",4,")).outcome.corrected == 1
    assert studio("est.csv", made).outcome.already_held == 1  # what an earlier version said never overrides
    assert studio("est.csv", approved.replace(",3,", ",4,")).outcome.corrected == 1
    assert versions(store) == [("24-001", 1, "2024-01-09", None)]
    report = studio("est.csv", approved.replace(",3,", ",5,"))
    assert faults(report) == ["2 version: of 24-001 was approved on 2024-01-09, and this file says otherwise"]
    assert store.cursor().execute("SELECT sum(hours) FROM estimate_lines").fetchall() == [(4.0,)]
    assert store.cursor().execute("SELECT count(*) FROM history").fetchall() == [(2,)]


def test_what_cannot_be_in_an_estimate_is_told(studio: Bring) -> None:
    report = studio(
        "est.csv",
        f"{HEAD},low_hours,high_hours,price\n"
        "24-001,1,2024-01-05,2024-01-01,,facing,,10,dm2,3,,,,\n"
        "24-001,1,2024-01-06,2024-01-01,,unframing,,1.5,pcs,3,,,,\n"
        "24-001,3,2024-01-07,,,facing,,,,,,,,\n"
        "24-002,1,2024-01-05,2024-01-08,,facing,,10,cm,3,a,4,2,\n"
        "24-002,1,2024-01-05,2024-01-09,,unframing,,1,pcs,3,b,,,-4\n",
    )
    told = faults(report)
    for expected in (
        "2 approved_on: is before the estimate was made", "3 made_on: differs from another row of the same version", "3 quantity: is not a whole number of pieces",
        "4 hours: is empty, and so is quantity", "4 version: leaves a gap below version 3 of 24-001", "5 unit: is not the unit of facing, which is counted in dm2",
        "5 low_hours: is more than high_hours", "5 approved_on: differs from another row of the same version",
        "5 option: is approved beside another option of the same version", "6 price: cannot be",
    ):  # fmt: skip
        assert expected in told
    assert report.outcome.stored == 0


def test_equal_lines_are_summed_and_that_is_said(studio: Bring, lines) -> None:  # type: ignore[no-untyped-def]
    report = studio("est.csv", f"{HEAD}\n24-001,1,2024-01-05,,,facing,,10,dm2,3,\n24-001,1,2024-01-05,,,facing,,5,dm2,2,\n")
    assert report.warnings["reason"].tolist() == ["stands 2 times in version 1 of 24-001; the hours are summed"]
    assert lines()[["estimated_hours", "estimated_quantity"]].to_numpy().tolist() == [[5.0, 15.0]]


def test_of_options_only_the_approved_one_is_in_the_yardstick(studio: Bring, store: Store, lines) -> None:  # type: ignore[no-untyped-def]
    studio(
        "est.csv",
        f"{HEAD}\n24-001,1,2024-01-05,2024-01-09,,facing,,10,dm2,3,\n24-001,1,2024-01-05,,,lining,,48,dm2,20,full\n24-001,1,2024-01-05,2024-01-09,,strip lining,,280,cm,6,edges\n",
    )
    assert versions(store) == [("24-001", 1, "2024-01-09", "edges")]
    assert dict(zip(lines()["technique"], lines()["estimated_hours"], strict=True)) == {"facing": 3.0, "strip lining": 6.0}
