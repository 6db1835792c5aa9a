"""Works finished in one act, and that act taken back."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from ingest.editing import finished_works
from ingest.errors import BenchHoursError
from ingest.importing.form_rows import RowsRefused
from ingest.store import Store
from tests.conftest import CHANGE, Bring

DAYS = {"24-001": date(2024, 3, 1), "24-002": date(2024, 4, 2)}


def held(store: Store) -> list[tuple[object, ...]]:
    return store.cursor().execute("SELECT * FROM objects ORDER BY object").fetchall()


def finished(store: Store) -> dict[str, date | None]:
    return dict(store.cursor().execute("SELECT object, finished_on FROM objects ORDER BY object").fetchall())


def test_works_are_finished_on_their_days_and_nothing_else_of_them_changes(
    studio: Bring, store: Store
) -> None:
    studio(
        "o.csv",
        "object,title,maker,height_cm,owner,owner_address,note,structure_condition\n"
        '24-001,"Ferry, in snow",A. Vane,60.125,R. Quill,"1 Weir Lane\nMillpond","torn | twice",2\n',
    )
    before = held(store)
    finished_works.finish(store, DAYS, CHANGE)
    assert finished(store) == DAYS
    act = finished_works.last_finished(store.cursor())
    assert act is not None and (act.objects, act.at) == (list(DAYS), CHANGE.at)
    assert finished_works.take_back(store, replace(CHANGE, at=CHANGE.at + timedelta(hours=1))) == list(DAYS)
    assert held(store) == before
    assert finished_works.last_finished(store.cursor()) is None
    with pytest.raises(BenchHoursError, match="no work was finished here"):
        finished_works.take_back(store, CHANGE)


def test_all_are_finished_or_none(studio: Bring, store: Store) -> None:
    before = held(store)
    with pytest.raises(RowsRefused, match='Finished on "2024-01-02"'):
        # the second came in on 3 January
        finished_works.finish(store, DAYS | {"24-002": date(2024, 1, 2)}, CHANGE)
    assert held(store) == before
    with pytest.raises(RowsRefused):
        finished_works.finish(store, DAYS | {"24-002": CHANGE.at.date() + timedelta(days=2)}, CHANGE)
    assert held(store) == before


def test_a_work_finished_elsewhere_meanwhile_keeps_its_day_and_is_not_taken_back(
    studio: Bring, store: Store
) -> None:
    studio("f.csv", "object,finished_on\n24-002,2024-02-20\n")
    finished_works.finish(store, DAYS, CHANGE)
    assert finished(store) == DAYS | {"24-002": date(2024, 2, 20)}
    assert finished_works.take_back(store, CHANGE) == ["24-001"]
    assert finished(store) == {"24-001": None, "24-002": date(2024, 2, 20)}


def test_only_the_last_act_is_taken_back_and_what_was_said_since_stands(studio: Bring, store: Store) -> None:
    later = replace(CHANGE, at=CHANGE.at + timedelta(days=1))
    finished_works.finish(store, {"24-001": DAYS["24-001"]}, CHANGE)
    finished_works.finish(store, {"24-002": DAYS["24-002"]}, later)
    assert finished_works.take_back(store, later) == ["24-002"]
    act = finished_works.last_finished(store.cursor())
    assert act is not None and act.objects == ["24-001"]
    studio("f.csv", "object,finished_on\n24-001,2024-03-09\n")  # said otherwise by a file
    assert finished_works.last_finished(store.cursor()) is None
