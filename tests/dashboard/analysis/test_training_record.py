"""Which record teaches the rates, through the files that bring it in."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.analysis.data.lines import Lines
from dashboard.services import rates as rates_service
from ingest.editing import approvals
from ingest.store import Store
from tests.conftest import CHANGE, Bring

HEAD = "object,phase,technique,person,date,hours,quantity,charge,done,part\n"
ESTIMATE = "object,version,made_on,approved_on,phase,technique,quantity,hours,option\n"
DONE = "object,phase,technique,part,finished_on\n"
LATE = date(2025, 1, 1)


def estimated(studio: Bring, *rows: str) -> None:
    """Estimates of the first work, from its version on."""
    studio("est.csv", ESTIMATE + "".join(f"24-001,{row}\n" for row in rows))


def teaching(store: Store, as_of: date = LATE) -> Lines:
    return queries.record(store.cursor(), as_of + timedelta(days=1)).as_of(rates_service.number_of(as_of) + 1)


def taught_lines(store: Store, as_of: date = LATE) -> list[tuple[object, ...]]:
    """Technique, hours, figure, quantity, open or finished; by technique and hours."""
    lines = teaching(store, as_of)
    lines = lines.take(np.lexsort((lines.hours, lines.technique)))
    return [
        (
            str(t),
            round(float(h), 6),
            None if np.isnan(f) else float(f),
            None if np.isnan(q) else float(q),
            "open" if o else "finished",
        )
        for t, h, f, q, o in zip(
            lines.technique, lines.hours, lines.figure, lines.quantity, lines.is_open, strict=True
        )
    ]


def test_a_finished_line_teaches_with_the_figure_that_stood_before_its_first_entry(
    studio: Bring, store: Store
) -> None:
    estimated(
        studio,
        "1,2024-02-01,2024-02-02,,facing,20,3,",
        "2,2024-02-20,,,facing,22,4,",
        "3,2024-03-02,,,facing,25,7.5,",
    )
    studio(
        "log.csv", HEAD + "24-001,,facing,Ilse,2024-03-01,3,12,,,\n24-001,,facing,Bram,2024-03-04,4.5,13,,,\n"
    )
    studio("done.csv", DONE + "24-001,,facing,,2024-03-05\n")
    # not the revision that copies hours already worked
    assert taught_lines(store) == [("facing", 7.5, 4.0, 25.0, "finished")]
    lines = teaching(store)
    assert lines.quoted.tolist() == [22.0] and dict(
        zip(lines.people, lines.shares[0], strict=True)
    ) == pytest.approx({"Ilse": 0.4, "Bram": 0.6})
    assert lines.day.tolist() == [rates_service.number_of(date(2024, 3, 5))]


def test_a_line_that_no_estimate_had_before_its_first_entry_has_no_figure(
    studio: Bring, store: Store
) -> None:
    studio("log.csv", HEAD + "24-001,,facing,Ilse,2024-03-01,3,,,,\n")
    estimated(studio, "1,2024-03-02,2024-03-02,,facing,,3,")
    studio("done.csv", DONE + "24-001,,facing,,2024-03-05\n")
    assert taught_lines(store) == [("facing", 3.0, None, None, "finished")]
    record = queries.record(store.cursor(), LATE, by_day=True)
    assert len(record.quoted(rates_service.number_of(LATE)).lines) == 0  # and is no promise to try again


def test_own_cost_and_studio_time_never_teach(studio: Bring, store: Store) -> None:
    log = (
        "24-001,,facing,Ilse,2024-03-01,3,,,,\n"
        "24-001,,facing,Bram,2024-04-01,2,,own_cost,,\n"
        "24-001,,packing,Bram,2024-04-01,2,,own_cost,,\n"
        ",,accounts,Ilse,2024-03-01,1,,,,\n"
    )
    studio("log.csv", HEAD + log)
    studio("done.csv", DONE + "24-001,,facing,,2024-03-05\n24-001,,packing,,2024-04-05\n")
    assert taught_lines(store) == [("facing", 3.0, None, None, "finished")]


def test_an_estimate_made_after_a_first_entry_at_own_cost_is_no_yardstick(
    studio: Bring, store: Store
) -> None:
    estimated(studio, "1,2024-01-01,2024-01-02,,facing,,5,", "2,2024-01-20,,,facing,,77,")
    studio(
        "log.csv",
        HEAD
        + (
            "24-001,,facing,Ilse,2024-01-10,1,,own_cost,,\n"
            "24-001,,facing,Ilse,2024-01-25,4,,,,\n"
            "24-001,,packing,Ilse,2024-01-26,4,,,,\n"
        ),
    )
    studio("done.csv", DONE + "24-001,,facing,,2024-02-05\n")
    assert taught_lines(store) == [
        ("facing", 4.0, 5.0, None, "finished"),
        ("packing", 4.0, None, None, "open"),
    ]
    assert all(0 < weight <= 1 for weight in teaching(store).weight)


def test_hours_agreed_on_top_teach_as_a_line_without_a_figure(studio: Bring, store: Store) -> None:
    estimated(studio, "1,2024-02-01,2024-02-02,,facing,20,3,")
    studio(
        "log.csv",
        HEAD + "24-001,,facing,Ilse,2024-03-01,3,20,,,\n24-001,,facing,Ilse,2024-03-02,1,6,extra,,\n",
    )
    studio("done.csv", DONE + "24-001,,facing,,2024-03-05\n")
    assert taught_lines(store) == [
        ("facing", 1.0, None, 6.0, "finished"),
        ("facing", 3.0, 3.0, 20.0, "finished"),
    ]


def test_of_options_only_the_approved_one_is_a_figure_and_only_once_it_is(
    studio: Bring, store: Store
) -> None:
    estimated(
        studio, *("1,2024-02-01,,,facing,,3,A", "1,2024-02-01,,,lining,,9,B", "1,2024-02-01,,,packing,,1,")
    )
    studio(
        "log.csv",
        HEAD
        + (
            "24-001,,facing,Ilse,2024-03-01,2,,,,\n"
            "24-001,,lining,Ilse,2024-03-01,8,,,,\n"
            "24-001,,packing,Ilse,2024-03-01,1,,,,\n"
        ),
    )
    studio("objects.csv", "object,title,finished_on\n24-001,Ferry in snow,2024-03-05\n")
    assert [(t, f) for t, _, f, _, _ in taught_lines(store)] == [
        ("facing", None),
        ("lining", None),
        ("packing", 1.0),
    ]
    with store.writing() as con:
        approvals.approve(con, "24-001", 1, date(2024, 4, 1), "B", CHANGE)
    assert [(t, f) for t, _, f, _, _ in taught_lines(store)] == [
        ("facing", None),
        ("lining", 9.0),
        ("packing", 1.0),
    ]
    assert [(t, f) for t, _, f, _, _ in taught_lines(store, date(2024, 3, 20))] == [
        ("facing", None),
        ("lining", None),
        ("packing", 1.0),
    ]


def test_an_open_line_says_more_than_so_far_and_one_at_rest_or_all_done_says_nothing(
    studio: Bring, store: Store
) -> None:
    log = (
        "24-001,,facing,Ilse,2024-03-01,3,,,40,\n"
        "24-001,,lining,Ilse,2024-03-01,3,,,100,\n"
        "24-001,,filling,Ilse,2024-02-01,1,,,,\n"
        "24-001,,retouching,Ilse,2024-03-02,2,,,,\n"
    )
    studio("log.csv", HEAD + log)
    assert taught_lines(store) == [
        ("facing", 3.0, None, None, "open"),
        ("retouching", 2.0, None, None, "open"),
    ]


def test_a_later_entry_opens_a_finished_line_again_and_the_record_of_before_stays_what_it_was(
    studio: Bring, store: Store
) -> None:
    studio("log.csv", HEAD + "24-001,,facing,Ilse,2024-03-01,3,,,,\n24-001,,facing,Ilse,2024-03-20,2,,,,\n")
    studio("done.csv", DONE + "24-001,,facing,,2024-03-05\n24-001,,facing,,2024-03-25\n")
    for as_of, expected in (
        (date(2024, 3, 4), [("facing", 3.0, None, None, "open")]),
        (date(2024, 3, 10), [("facing", 3.0, None, None, "finished")]),
        (date(2024, 3, 21), [("facing", 5.0, None, None, "open")]),
        (date(2024, 3, 26), [("facing", 5.0, None, None, "finished")]),
    ):
        assert taught_lines(store, as_of) == expected, as_of
        whole = queries.record(store.cursor(), LATE, by_day=True).as_of(rates_service.number_of(as_of) + 1)
        assert whole.hours.tolist() == [expected[0][1]] and whole.is_open.tolist() == [
            expected[0][4] == "open"
        ], as_of


def test_a_quantity_that_was_not_all_is_none(studio: Bring, store: Store) -> None:
    studio(
        "log.csv",
        HEAD + "24-001,,facing,Ilse,2024-03-01,3,12,,60,\n24-001,,facing,Ilse,2024-03-02,1,,,100,\n",
    )
    studio("done.csv", DONE + "24-001,,facing,,2024-03-05\n")
    assert taught_lines(store) == [("facing", 4.0, None, None, "finished")]


def test_any_day_of_the_invented_studio_is_the_same_read_by_itself_and_told_from_the_whole(
    demo: Store,
) -> None:
    con = demo.cursor()
    today = queries.today(con)
    whole = queries.record(con, today + timedelta(days=1), by_day=True)
    for back in (0, 3, 40, 400, 900, 1400, 5000):
        as_of = today - timedelta(days=back)
        before = rates_service.number_of(as_of) + 1
        alone, within = queries.record(con, as_of + timedelta(days=1)).as_of(before), whole.as_of(before)
        for name in (
            "object",
            "technique",
            "part",
            "hours",
            "quantity",
            "quoted",
            "figure",
            "day",
            "is_open",
            "weight",
        ):
            one, other = getattr(alone, name), getattr(within, name)
            assert (
                np.allclose(one, other, equal_nan=True) if one.dtype.kind == "f" else (one == other).all()
            ), (back, name)
        overruns = queries.overruns(con, as_of)
        finished = overruns[overruns["finished"].astype(bool)]
        ours = pd.Series(alone.hours[~alone.is_open]).sum()
        assert ours == pytest.approx(finished["actual_hours"].sum() + finished["extra_hours"].sum()), back
