"""Estimates come whole, an approved one stays."""

from datetime import date

import pytest

from ingest.editing import approvals, estimate_drafts
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests.conftest import CHANGE, Bring, faults

HEAD = "object,version,made_on,approved_on,phase,technique,part,quantity,unit,hours,option"


def versions(store: Store) -> list[tuple[object, ...]]:
    return (
        store.cursor()
        .execute(
            "SELECT object, version, approved_on::VARCHAR, approved_option FROM estimate_versions ORDER"
            " BY ALL"
        )
        .fetchall()
    )


def test_a_version_with_a_fault_in_one_row_is_left_out_whole(studio: Bring, store: Store) -> None:
    report = studio(
        "est.csv",
        f"{HEAD}\n24-001,1,2024-01-05,,,facing,,10,dm2,3,\n24-001,1,2024-01-05,,,facng,,10,dm2,3,\n24-002,1,2024-01-05,,,facing,,10,dm2,3,\n",
    )
    assert faults(report) == [
        "2 version: has a fault in another of its rows (line 3)",
        "3 technique: is not a known technique",
    ]
    assert versions(store) == [("24-002", 1, None, None)]


def test_an_approval_may_come_later_but_an_approved_version_is_never_rewritten(
    studio: Bring, store: Store
) -> None:
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


def test_rows_of_works_that_are_not_known_yet_are_not_taken_for_one_version(studio: Bring) -> None:
    head = "object,version,made_on,phase,technique,hours,currency\n"
    report = studio(
        "est.csv",
        f"{head}25-700,1,2024-01-05,,facing,1,EUR\n25-700,1,2024-01-05,,filling,1,EUR\n25-701,1,2024-01-06,,facing,1,\n",
    )
    assert set(faults(report)) == {f"{line} object: is not a known object" for line in (2, 3, 4)}


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
        "2 approved_on: is before the estimate was made",
        "3 made_on: differs from another row of the same version",
        "3 quantity: is not a whole number of pieces",
        "4 hours: is empty, and so is quantity",
        "4 version: leaves a gap below version 3 of 24-001",
        "5 unit: is not the unit of facing, which is counted in dm2",
        "5 low_hours: is more than high_hours",
        "5 approved_on: differs from another row of the same version",
        "5 option: is approved beside another option of the same version",
        "6 price: cannot be",
    ):
        assert expected in told
    assert report.outcome.stored == 0


def test_a_version_may_have_a_price_and_no_hours_where_its_lines_are_wholes(studio: Bring) -> None:
    head = "object,version,made_on,price,phase,technique,hours\n"
    old = f"{head}24-001,1,2024-01-05,900,cleaning,,\n24-001,1,2024-01-05,900,retouching,,\n"
    assert studio("old.csv", old).complete
    empty = "hours: is empty, and so is quantity"
    for told, line in (
        ("24-002,1,2024-01-05,900,cleaning,,5\n24-002,1,2024-01-05,900,retouching,,\n", 3),  # left open
        ("24-002,1,2024-01-05,900,stabilisation,facing,\n", 2),  # of a technique nothing follows
        ("24-002,1,2024-01-05,,cleaning,,\n", 2),  # nothing at all is known
    ):
        assert f"{line} {empty}" in faults(studio("est.csv", head + told))


def test_equal_lines_are_summed_and_that_is_said(studio: Bring, lines) -> None:  # type: ignore[no-untyped-def]
    report = studio(
        "est.csv",
        f"{HEAD}\n24-001,1,2024-01-05,,,facing,,10,dm2,3,\n24-001,1,2024-01-05,,,facing,,5,dm2,2,\n",
    )
    assert report.warnings["reason"].tolist() == [
        "stands 2 times in version 1 of 24-001; the hours are summed"
    ]
    assert lines()[["estimated_hours", "estimated_quantity"]].to_numpy().tolist() == [[5.0, 15.0]]


def test_of_options_only_the_approved_one_is_in_the_yardstick(studio: Bring, store: Store, lines) -> None:  # type: ignore[no-untyped-def]
    studio(
        "est.csv",
        f"{HEAD}\n24-001,1,2024-01-05,2024-01-09,,facing,,10,dm2,3,\n24-001,1,2024-01-05,,,lining,,48,dm2,20,full\n24-001,1,2024-01-05,2024-01-09,,strip"
        " lining,,280,cm,6,edges\n",
    )
    assert versions(store) == [("24-001", 1, "2024-01-09", "edges")]
    assert dict(zip(lines()["technique"], lines()["estimated_hours"], strict=True)) == {
        "facing": 3.0,
        "strip lining": 6.0,
    }


PRICED = "object,version,made_on,approved_on,technique,phase,hours,price,currency"
ROWS = "24-001,1,2024-01-05,2024-01-09,facing,,3,238,EUR"


def taxes(store: Store) -> list[tuple[object, ...]]:
    return (
        store.cursor()
        .execute("SELECT price, tax_in_price, tax_per_cent FROM estimate_versions ORDER BY object, version")
        .fetchall()
    )


def test_what_a_price_includes_is_said_with_it_added_to_an_approved_version_and_never_turned_round(
    studio: Bring, store: Store
) -> None:
    assert studio("est.csv", f"{PRICED}\n{ROWS}\n").outcome.stored == 1
    assert taxes(store) == [(238.0, None, None)]
    said = studio("est.csv", f"{PRICED},tax_in_price,tax_per_cent\n{ROWS},yes,19\n")
    assert said.outcome.corrected == 1 and taxes(store) == [(238.0, True, 19.0)]
    for again in (
        f"{PRICED}\n{ROWS}\n",
        f"{PRICED},tax_in_price,tax_per_cent\n{ROWS},yes,19\n",
        f"{PRICED},tax_in_price\n{ROWS},YES\n",
    ):
        assert studio("est.csv", again).outcome.already_held == 1 and taxes(store) == [(238.0, True, 19.0)]
    for other in ("no,19", "yes,20"):
        assert faults(studio("est.csv", f"{PRICED},tax_in_price,tax_per_cent\n{ROWS},{other}\n")) == [
            "2 version: of 24-001 was approved on 2024-01-09, and this file says otherwise"
        ]
    wrong = studio(
        "est.csv", f"{PRICED},tax_in_price,tax_per_cent\n{ROWS.replace('24-001', '24-002')},perhaps,119\n"
    )
    assert [fault.split(":")[0] for fault in faults(wrong)] == ["2 tax_in_price", "2 tax_per_cent"]
    two = (
        f"{PRICED},tax_in_price\n"
        "24-002,1,2024-01-05,,facing,,3,238,EUR,yes\n"
        "24-002,1,2024-01-05,,packing,,1,238,EUR,no\n"
    )
    assert "3 tax_in_price: differs from another row of the same version" in faults(studio("est.csv", two))


def test_another_price_agreed_says_what_it_includes_and_taking_it_back_brings_back_the_first(
    studio: Bring, store: Store
) -> None:
    assert (
        studio(
            "est.csv", f"{PRICED},tax_in_price,tax_per_cent\n{ROWS.replace('2024-01-09', '')},yes,19\n"
        ).outcome.stored
        == 1
    )
    with store.writing() as con:
        approvals.approve(con, "24-001", 1, date(2024, 1, 9), None, CHANGE, (180.0, "EUR"), (False, 19.0))
    assert taxes(store) == [(180.0, False, 19.0)]
    with store.writing() as con:
        approvals.take_back_approval(con, "24-001", 1, CHANGE)
    assert taxes(store) == [(238.0, True, 19.0)]
    with (
        pytest.raises(BenchHoursError, match="says already whether tax is in its price"),
        store.writing() as con,
    ):
        approvals.set_tax(con, "24-001", 1, CHANGE, (False, 19.0))


def test_a_price_fifty_times_off_what_its_hours_come_to_is_asked_about(studio: Bring, store: Store) -> None:
    assert studio(
        "est.csv", f"{PRICED}\n{ROWS.replace('238', '238000')}\n"
    ).warnings.empty  # nobody has said what an hour costs
    with store.writing() as con:
        write_settings(con, {"hourly_rate": "68", "currency": "EUR"})
    # 3 h × 68 € × 50 = 10,200 €; ÷ 50 = 4.08 €
    for price, asked in (("10300", True), ("10000", False), ("4.05", True), ("4.15", False)):
        report = studio(
            "est.csv",
            f"{PRICED}\n{ROWS.replace('24-001', '24-002').replace('2024-01-09', '').replace('238', price)}\n",
        )
        assert (report.warnings["column"].tolist() == ["price"]) is asked, price
    told = estimate_drafts.read_over(
        store,
        "24-002",
        estimate_drafts.Draft(
            version={"made_on": "2024-02-01", "price": "900000", "currency": "EUR"},
            lines=[{"technique": "facing", "hours": "2"}],
        ),
        {},
    )
    assert (
        told.problems == []
        and told.notes == []
        and told.doubts[0].startswith(
            'Price "900000": is 450000.0 EUR an hour for 2.0 h, and the studio\'s rate is 68 EUR.'
        )
    )
