"""Works from memory: a row of the sheet becomes a work, its estimate and its totals; faults are said of their
cell, and what is struck out is put back as it was.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from dashboard import queries
from ingest import autosave
from ingest.editing import estimate_drafts, remembered_sheet, remembered_works, struck_works
from ingest.editing.remembered_sheet import Sheet
from ingest.importing.files import import_files
from ingest.importing.form_rows import put_rows
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults as broken
from ingest.store import Store
from ingest.values.sizes import two_sides
from ingest.values.work_codes import codes_from_memory
from tests.conftest import CHANGE, LATER, NOW, Bring
from tests.whole_studios import imported

HARBOUR = {
    "title": "Harbour at dusk",
    "kind": "easel painting",
    "size": "24 × 36 in",
    "structure_condition": "2",
    "when": "March 2024",
    "quoted": "30",
    "taken": "41,5",
    "price": "2400",
}
BY_PHASE = {
    "title": "Mill",
    "when": "2023",
    "taken cleaning": "20",
    "taken retouching": "9",
    "quoted cleaning": "12",
}


def sheet_of(*works: dict[str, str], **more: Any) -> Sheet:
    return Sheet(**{"works": list(works), "person": "Ilse", "when": "2025", **more})


def said(store: Store, sheet: Sheet) -> list[str]:
    return [
        f"{fault.row} {fault.column} {fault.value}: {fault.reason}"
        for fault in remembered_works.read_over(store, sheet, NOW).faults
    ]


def everything(store: Store) -> dict[str, list[Any]]:
    """What is held of works, without the numbers of lines, which are nobody's."""
    con = store.cursor()
    return {
        table: con.execute(f"SELECT * {without} FROM {table} ORDER BY ALL").fetchall()
        for table, without in (
            ("objects", ""),
            ("estimate_versions", ""),
            ("estimate_lines", "EXCLUDE (line)"),
            ("time_entries", "EXCLUDE (line)"),
            ("milestones", ""),
        )
    }


def test_a_row_becomes_a_finished_work_with_its_estimate_and_its_hours(studio: Bring, store: Store) -> None:
    codes, left = remembered_works.save(store, sheet_of(HARBOUR), CHANGE, "a visit")
    assert codes == ["M24-001"] and left.works == []
    con = store.cursor()
    work = queries.work(con, "M24-001")
    # 1 inch = 2.54 cm exactly, international yard and pound agreement 1959 (from memory)
    assert (work["height_cm"], work["width_cm"]) == (pytest.approx(60.96), pytest.approx(91.44))
    assert (work["title"], work["structure_condition"], work["remembered"]) == ("Harbour at dusk", 2, True)
    assert f"{work['finished_on']:%Y-%m-%d}" == "2024-03-31"
    assert con.execute(
        """SELECT made_on::VARCHAR, approved_on::VARCHAR, price, currency, phase, technique, hours
        FROM estimate_versions JOIN estimate_lines USING (object, version)"""
    ).fetchall() == [("2024-03-01", "2024-03-01", 2400.0, "EUR", "", "", 30.0)]
    assert con.execute(
        "SELECT person, day::VARCHAR, hours, total, phase, technique FROM time_entries"
    ).fetchall() == [("Ilse", "2024-03-31", 41.5, "month", "", "")]
    line = queries.overruns(con, LATER, "M24-001").iloc[0]
    assert line["finished"] and line["difference_hours"] == pytest.approx(11.5)
    assert broken(con) == []


def test_a_title_and_the_hours_taken_are_enough(store: Store) -> None:
    """Of an empty studio; without a year of its own a row has that of the sheet."""
    codes, _ = remembered_works.save(store, sheet_of({"title": "Weir", "taken": "12"}), CHANGE, "")
    assert codes == ["M25-01"]
    con = store.cursor()
    assert con.execute("SELECT day::VARCHAR, total FROM time_entries").fetchall() == [("2025-12-31", "year")]
    assert not len(queries.versions(con, "M25-01"))


@pytest.mark.parametrize(
    ("told", "phases", "taken"),
    [
        ({"taken": "40"}, [], [("", 40.0)]),
        (
            {"taken cleaning": "31", "taken retouching": "9"},
            ["cleaning", "retouching"],
            [("cleaning", 31.0), ("retouching", 9.0)],
        ),
    ],
    ids=["whole", "by phase"],
)
def test_a_price_stands_without_hours_quoted_and_leaves_every_hour_taken_where_it_is(
    store: Store, tmp_path: Path, told: dict[str, str], phases: list[str], taken: list[tuple[str, float]]
) -> None:
    """Common practice, no source: what was asked is remembered longer than for how many hours."""
    sheet = sheet_of({"title": "Mill", "when": "2023", "price": "2000", **told}, phases=phases)
    assert remembered_works.save(store, sheet, CHANGE, "")[0] == ["M23-01"]
    con = store.cursor()
    assert con.execute(
        """SELECT price, phase, hours FROM estimate_versions JOIN estimate_lines USING (object, version)
        ORDER BY phase"""
    ).fetchall() == [(2000.0, phase, None) for phase, _ in taken]
    lines = queries.overruns(con, LATER, "M23-01")
    assert [*zip(lines["phase"], lines["actual_hours"], strict=True)] == taken
    assert lines["estimated_hours"].isna().all() and lines["difference_hours"].isna().all()
    assert broken(con) == []
    with store.writing() as con:
        con.execute("UPDATE objects SET remembered = NULL")  # it comes back as any other work too
    export(store, tmp_path / "out", private=True)
    with imported(tmp_path / "out") as back:
        assert everything(back) == everything(store)


def test_a_kind_is_told_by_its_first_letters_once_it_is_known(studio: Bring, store: Store) -> None:
    """Held before, or written in full on the sheet; letters that stand for two kinds ask for more."""
    studio("o.csv", "object,kind\n24-001,Panel painting\n")
    row = {"title": "Mill", "taken": "9"}
    kinds = ["easel painting", "ea", "pan", "panel painting", "map", "E", ""]
    sheet = sheet_of(*(row | {"kind": kind} for kind in kinds))
    reading = remembered_works.read_over(store, sheet, NOW)
    assert reading.faults == [] and [
        (doubt.row, doubt.column, doubt.value, doubt.reason) for doubt in reading.doubts
    ] == [
        (2, "kind", "ea", "is read as easel painting, wherever it stands"),
        (3, "kind", "pan", "is read as Panel painting, wherever it stands"),
        (6, "kind", "E", "is read as easel painting, wherever it stands"),
    ]
    unclear = sheet_of(row | {"kind": "paper object"}, row | {"kind": "pa"})
    assert said(store, unclear) == ["2 kind pa: may be Panel painting or paper object"]
    codes, left = remembered_works.save(store, unclear, CHANGE, "")
    assert len(codes) == 1 and left.works == [row | {"kind": "pa"}]
    codes, _ = remembered_works.save(store, sheet, CHANGE, "")
    held = dict(store.cursor().execute("SELECT object, kind FROM objects").fetchall())
    assert [held[code] for code in codes] == [
        *("easel painting", "easel painting", "Panel painting", "panel painting", "map", "easel painting"),
        None,
    ]


def test_hours_by_phase_are_lines_of_whole_phases(store: Store) -> None:
    sheet = sheet_of(BY_PHASE, phases=["cleaning", "retouching"])
    assert remembered_works.save(store, sheet, CHANGE, "")[0] == ["M23-01"]
    lines = queries.overruns(store.cursor(), LATER, "M23-01")
    assert lines[["phase", "technique", "actual_hours"]].to_numpy().tolist() == [
        ["cleaning", "", 20.0],
        ["retouching", "", 9.0],
    ]
    assert lines["estimated_hours"].tolist()[0] == 12.0


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ({"title": ""}, "1 title : is empty"),
        ({"taken": ""}, "1 taken : is empty"),
        ({"taken": "many"}, "1 taken many: cannot be read as hours"),
        ({"quoted": "a few"}, "1 quoted a few: cannot be read as hours"),
        ({"size": "60"}, "1 size 60: is not a size"),
        ({"size": "60 × high"}, "1 size 60 × high: is not a number"),
        ({"when": "last spring"}, "1 when last spring: is not a day"),
        ({"when": "2199"}, "1 when 2199: lies in the future"),
        ({"paint_condition": "4"}, "1 paint_condition 4: cannot be"),
        ({"price": "1,450"}, "1 price 1,450: may be 1450 or 1.45"),
        ({"taken cleaning": "20", "taken retouching": "9"}, "1 taken 41,5: does not agree with its phases"),
        ({"taken": "", "taken cleaning": "long"}, "1 taken cleaning long: cannot be read as hours"),
    ],
)
def test_a_fault_is_said_of_its_cell_and_its_row_stays(
    store: Store, cells: dict[str, str], expected: str
) -> None:
    faulty = {**HARBOUR, **cells}
    sheet = sheet_of(faulty, {"title": "Weir", "taken": "12"}, phases=["cleaning", "retouching"])
    faults = said(store, sheet)
    assert len(faults) == 1 and faults[0].startswith(expected)
    remembered_sheet.keep(store, sheet, "a visit")
    codes, left = remembered_works.save(store, sheet, CHANGE, "a visit")
    assert codes == ["M25-01"] and left.works == [faulty]
    kept = remembered_sheet.read(store.cursor())
    assert kept is not None and kept.works == [faulty]


def test_all_that_is_wrong_with_a_row_is_said_at_once(store: Store) -> None:
    row = {"title": "Weir", "size": "90", "taken": "forty", "price": "3.100 EUR"}
    assert said(store, sheet_of(row)) == [
        "1 taken forty: cannot be read as hours",
        "1 price 3.100 EUR: is not a number",
        "1 size 90: is not a size",
    ]


def test_reading_the_sheet_writes_nothing(store: Store) -> None:
    before = store.changes()
    reading = remembered_works.read_over(store, sheet_of(HARBOUR, {"title": "Weir", "taken": "12"}), NOW)
    assert reading.ready == [1, 2] and reading.faults == []
    assert store.changes() == before and everything(store)["objects"] == []


def test_a_work_is_stored_with_all_its_rows_or_not_at_all(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored: list[str] = []

    def break_off(con: Any, form: Any, rows: Any, change: Any) -> Any:
        stored.append(form.kind)
        if stored.count("time entries") == 2:
            raise RuntimeError("broken off")
        return put_rows(con, form, rows, change)

    sheet = sheet_of(HARBOUR, {**HARBOUR, "title": "Weir"})
    remembered_sheet.keep(store, sheet, "a visit")
    monkeypatch.setattr("ingest.editing.remembered_works.put_rows", break_off)
    with pytest.raises(RuntimeError):
        remembered_works.save(store, sheet, CHANGE, "a visit")
    kept = remembered_sheet.read(store.cursor())
    assert kept is not None and [row["title"] for row in kept.works] == ["Weir"]
    assert store.cursor().execute("SELECT title FROM objects").fetchall() == [("Harbour at dusk",)]


@pytest.mark.parametrize(
    ("used", "codes"),
    [
        ([], ["M24-01", "M24-02", "M23-01"]),
        (["24-014", "25-003"], ["M24-001", "M24-002", "M23-001"]),
        (["2024/7", "2025/12", "2025/13", "m24/05"], ["M24/06", "M24/07", "M23/01"]),
    ],
)
def test_codes_are_formed_as_the_studio_forms_its_own_and_never_clash(
    used: list[str], codes: list[str]
) -> None:
    assert list(codes_from_memory({1: 2024, 2: 2024, 3: 2023}, used).values()) == codes


@pytest.mark.parametrize(
    ("written", "sides"),
    [
        ("60 × 80", ("60", "80")),
        ("60,5x80 cm", ("60,5 cm", "80 cm")),
        ('24½" x 36"', ('24½"', '36"')),
        ("24 by 36 in", ("24 in", "36 in")),
    ],
)
def test_two_sides_are_told_apart(written: str, sides: tuple[str, str]) -> None:
    assert two_sides(written) == sides


def test_works_are_struck_out_together_and_put_back_as_they_were(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    studio("log.csv", "object,technique,person,date,hours\n24-001,retouching,Ilse,2024-05-06,3\n")
    of_the_record = everything(store)
    sheet = sheet_of(HARBOUR, BY_PHASE, phases=["cleaning", "retouching"])
    codes, _ = remembered_works.save(store, sheet, CHANGE, "")
    studio("m.csv", f"object,phase,technique,finished_on\n{codes[1]},cleaning,,2023-12-31\n")
    told = everything(store)
    struck, staying = struck_works.strike_out(store, [*codes, "24-001"], CHANGE)
    assert (struck, staying) == (sorted(codes), {})
    assert everything(store) == of_the_record and broken(store.cursor()) == []
    # the history goes out and comes back with them
    export(store, tmp_path / "out", private=True)
    with Store(tmp_path / "other.duckdb") as other:
        reports = import_files(other, sorted((tmp_path / "out").glob("*.csv")), now=NOW)
        assert all(report.complete for report in reports) and broken(other.cursor()) == []
        assert struck_works.put_back(other, CHANGE) == sorted(codes)
        assert everything(other)["objects"] == told["objects"]
    later = replace(CHANGE, at=NOW + timedelta(days=1))
    assert struck_works.put_back(store, later) == sorted(codes)
    assert everything(store) == told and broken(store.cursor()) == []
    assert struck_works.last_struck_out(store.cursor()) is None
    # a code that was used is not used again
    struck_works.strike_out(store, codes, replace(CHANGE, at=NOW + timedelta(days=2)))
    assert remembered_works.save(store, sheet_of(HARBOUR), later, "")[0] == ["M24-002"]


def test_a_work_with_more_than_was_told_of_it_is_not_struck_out(studio: Bring, store: Store) -> None:
    codes, _ = remembered_works.save(store, sheet_of(HARBOUR, {**HARBOUR, "title": "Weir"}), CHANGE, "")
    studio("log.csv", f"object,technique,person,date,hours\n{codes[0]},retouching,Ilse,2024-05-06,3\n")
    estimate_drafts.keep(store, codes[1], estimate_drafts.Draft())
    struck, staying = struck_works.strike_out(store, codes, CHANGE)
    assert struck == [] and staying == {
        codes[0]: "hours are logged on it that are no total",
        codes[1]: "an estimate of it is being written",
    }


def test_a_sheet_that_waits_goes_out_and_comes_back(store: Store, tmp_path: Path) -> None:
    sheet = sheet_of(HARBOUR, {}, BY_PHASE, phases=["cleaning", "retouching"])
    remembered_sheet.keep(store, sheet, "a visit")
    export(store, tmp_path / "out", private=True)
    with Store(tmp_path / "other.duckdb") as other:
        reports = import_files(other, sorted((tmp_path / "out").glob("*.csv")), now=NOW)
        assert all(report.complete for report in reports)
        assert remembered_sheet.read(other.cursor()) == remembered_sheet.read(store.cursor())


def test_a_sheet_of_another_shape_is_a_fault_of_the_record(store: Store) -> None:
    with store.writing() as con:
        autosave.put(con, autosave.FROM_MEMORY, {"works": "none", "phases": []}, "a visit")
    assert [fault.what for fault in broken(store.cursor())] == [
        "things not saved yet whose said is not what such a row says: 1"
    ]
