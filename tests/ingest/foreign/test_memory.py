"""What was said of a table is kept under its heads, leaves with an export and comes back."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from ingest.errors import FileError
from ingest.foreign.any_table import any_table
from ingest.foreign.memory import (
    Unsaved,
    add_meanings,
    draft_of,
    forget,
    keep_draft,
    read_meanings,
    read_tables,
    remember,
    signature,
)
from ingest.foreign.preview import by_folded
from ingest.foreign.reading import Reading, ReadingError, Source
from ingest.foreign.sheets import read_book
from ingest.foreign.words import LEFT_OUT, a_new_work, a_technique
from ingest.importing import pending_rejects
from ingest.importing.files import check_files
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from ingest.studio import vocabulary
from tests.conftest import CHANGE, NOW, Bring, entries
from tests.ingest.foreign.example_tables import (
    FERRY,
    HEAD,
    NO_TOTALS,
    WORDS,
    bring,
    column,
    diary,
    fixed,
    say,
)
from tests.ingest.foreign.workbooks import Cell, xlsx
from tests.whole_studios import everything, imported

JANUARY = HEAD + "8.1.2024;Ferry;cleaned;1\n9.1.2024;Weir;retouched;2\n"


@pytest.fixture
def january(tmp_path: Path) -> Path:
    path = tmp_path / "january.csv"
    path.write_text(JANUARY)
    return path


def test_next_month_comes_in_by_what_was_said_with_only_what_is_new(
    studio: Bring, store: Store, january: Path, tmp_path: Path
) -> None:
    say(store, january, diary(), WORDS)
    assert bring(store, january)[0].outcome.stored == 2
    february = tmp_path / "february.csv"
    # the columns stand in another order, all of January stands in it again, and one cell is another
    february.write_text(
        "Time;Date;Job;What\n1,25;8.1.2024;Ferry;cleaned\n2;9.1.2024;Weir;retouched\n"
        "4;5.2.2024;Ferry;cleaned\n"
    )
    report = bring(store, february)[0]
    outcome = report.outcome
    assert (outcome.stored, outcome.already_held, outcome.held_back) == (1, 1, 1)
    assert report.held_back[["line", "held_hours", "hours"]].values.tolist() == [[2, 1.0, 1.25]]


def test_a_text_that_nobody_has_said_the_meaning_of_is_rejected_with_a_mend_and_the_rest_comes_in(
    studio: Bring, store: Store, january: Path, tmp_path: Path
) -> None:
    say(store, january, diary(), WORDS)
    path = tmp_path / "march.csv"
    path.write_text(
        HEAD + "4.3.2024;Ferry;cleaned;1\n5.3.2024;Ferry;lining;2\n6.3.2024;The mill;retouched;3\n"
    )
    report = bring(store, path)[0]
    assert (report.outcome.stored, report.outcome.rejected) == (2, 1)  # lining is a word of the studio
    assert report.problems.values.tolist() == [
        [
            4,
            "object",
            "The mill",
            "means nothing yet",
            "Say under Bring in logs what it means, then bring the file in again.",
        ]
    ]
    assert report.rejects is not None
    assert (
        report.rejects.read_text(encoding="utf-8-sig")
        .splitlines()[1]
        .endswith(";The mill;retouching;Ilse;2024-03-06;3")
    )
    table = read_tables(store.cursor())[0]
    add_meanings(store, table.heads, {("object", "The mill"): a_new_work("24-003", "The mill")}, by="Ilse")
    again = bring(store, path)
    assert [(report.kind, report.outcome.stored) for report in again] == [("objects", 1), ("time entries", 1)]
    assert again[1].outcome.already_held == 2


def test_without_a_reading_the_error_says_what_and_which_page_asks(
    studio: Bring, store: Store, january: Path
) -> None:
    with pytest.raises(FileError) as caught:
        check_files(store, [january], now=NOW, recognizer=any_table(store, NOW))
    assert str(caught.value) == (
        "january.csv is none of the known forms; the nearest is time entries, which needs the columns"
        ' "object", "person". Add it to the first row; the columns of each form are in the'
        " Guide, under CSV files. Or: bring it in under Bring in logs, which asks once what its columns mean."
    )


def test_a_check_stores_nothing_and_sees_new_works(studio: Bring, store: Store, january: Path) -> None:
    say(store, january, diary(), {**WORDS, ("object", "Weir"): a_new_work("24-007", "Weir by night")})
    before = everything(store)
    reports = check_files(store, [january], now=NOW, recognizer=any_table(store, NOW))
    assert [report.outcome.stored for report in reports] == [1, 2]
    assert everything(store) == before


def test_what_is_said_and_not_kept_yet_is_checked_and_nothing_is_stored(
    studio: Bring, store: Store, january: Path
) -> None:
    january.write_text(JANUARY + "10.1.2024;Ferry;cleaned;long\n")
    words = {**by_folded(WORDS), ("object", "weir"): a_new_work("24-007", "Weir by night")}
    book = read_book(january)
    unsaved = Unsaved(heads=signature(book, book.sheets[0], 0, diary()), reading=diary(), meanings=words)
    before = everything(store)
    works, hours = check_files(store, [january], now=NOW, recognizer=any_table(store, NOW, "ask", unsaved))
    assert (works.outcome.stored, hours.outcome.stored, hours.outcome.rejected) == (1, 2, 1)
    assert everything(store) == before
    # against what was kept and came in before
    say(store, january, diary(), WORDS)
    bring(store, january)
    before = everything(store)
    words[("technique", "cleaned")] = a_technique("facing")
    _, hours = check_files(store, [january], now=NOW, recognizer=any_table(store, NOW, "ask", unsaved))
    assert (hours.outcome.held_back, hours.held_by_other_words) == (2, 2)
    assert everything(store) == before


def test_a_reading_that_is_half_said_survives_and_does_not_bring_anything_in(
    studio: Bring, store: Store, january: Path
) -> None:
    book = read_book(january)
    heads = signature(book, book.sheets[0], 0)
    keep_draft(store, heads, {"columns": {"date": "date"}}, file=january.name, by="visit")
    kept = draft_of(book, read_tables(store.cursor()))
    assert kept is not None and kept[1].draft == {"columns": {"date": "date"}}
    with pytest.raises(FileError) as caught:
        bring(store, january)
    assert str(caught.value) == (
        "what the columns of january.csv mean is said only in part. Say the rest under Bring in logs."
    )
    remember(store, heads, diary(), WORDS, file=january.name, by="Ilse")
    keep_draft(store, heads, {"begun": "anew"}, file=january.name, by="visit")
    assert bring(store, january)[0].outcome.stored == 2  # what was said to its end stands meanwhile
    table = read_tables(store.cursor())[0]
    assert table.draft == {"begun": "anew"} and table.reading == diary()


def test_the_draft_of_a_wide_table_goes_once_it_is_known_by_its_fixed_columns(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "week.csv"
    path.write_text("Work,Task,Mo 5.2.2024,Sum\nFerry,cleaned,2,2\n")
    book = read_book(path)
    whole = signature(book, book.sheets[0], 0)
    keep_draft(store, whole, {}, file=path.name, by=None)
    reading = diary(columns=_columns(work="object", task="technique"), wide_of="date", not_read=("sum",))
    heads = signature(book, book.sheets[0], 0, reading)
    assert heads == '["sum", "task", "work"]'
    remember(store, heads, reading, WORDS, file=path.name, by=None, replacing=whole)
    assert [table.heads for table in read_tables(store.cursor())] == [heads]
    assert bring(store, path)[0].outcome.stored == 1


def _columns(**ours: str) -> dict[str, Source]:
    return {"person": fixed("Ilse"), **{name: column(text) for text, name in ours.items()}}


def test_what_was_said_leaves_with_an_export_and_comes_back(
    studio: Bring, store: Store, january: Path, tmp_path: Path
) -> None:
    reading = diary(left_out=NO_TOTALS, filled_down=("date",), year=2024, hours_a_day=7.5)
    words = {**WORDS, ("object", "Holiday"): LEFT_OUT, ("technique", "x"): a_technique("facing", "filling")}
    say(store, january, reading, words)
    heads = read_tables(store.cursor())[0].heads
    keep_draft(store, heads, [1, {"a": None}], file=january.name, by=None)
    assert faults(store.cursor()) == []
    export(store, tmp_path / "out", private=True)
    export(store, tmp_path / "shared")
    assert not list((tmp_path / "shared").glob("*table*"))  # its texts may be titles
    with imported(tmp_path / "out") as back:
        assert everything(back) == everything(store) and faults(back.cursor()) == []
        assert read_tables(back.cursor()) == read_tables(store.cursor())
        assert read_meanings(back.cursor(), heads) == read_meanings(store.cursor(), heads)
    forget(store, heads)
    assert read_tables(store.cursor()) == [] and read_meanings(store.cursor(), heads) == {}


def test_a_reading_that_cannot_be_is_refused_with_what_is_missing() -> None:
    with pytest.raises(ReadingError) as caught:
        Reading.from_json('{"rows": "time entries"}')
    assert str(caught.value) == "what was said of this table cannot be read. Say it again."
    assert Reading.from_json(diary(left_out=NO_TOTALS).to_json()) == diary(left_out=NO_TOTALS)


def test_words_that_are_renamed_later_are_still_what_was_meant(
    studio: Bring, store: Store, january: Path
) -> None:
    say(store, january, diary(), WORDS)
    with store.writing() as con:
        vocabulary.rename(con, "technique", "retouching", "inpainting of losses", CHANGE)
    bring(store, january)
    assert "inpainting of losses" in entries(store).technique.tolist()


def test_of_many_tables_the_one_with_these_heads_is_taken(
    studio: Bring, store: Store, january: Path, tmp_path: Path
) -> None:
    for number in range(30):
        other = tmp_path / f"{number}.csv"
        other.write_text(JANUARY.replace("Job", f"Job {number}"))
        columns = {**diary().columns, "object": column(f"job_{number}")}
        say(store, other, diary(columns=columns), {})
    say(store, january, diary(), WORDS)
    assert bring(store, january)[0].outcome.stored == 2
    stranger = tmp_path / "stranger.csv"
    stranger.write_text(JANUARY.replace("Job", "Job;Place").replace("Ferry", "Ferry;hall"))
    with pytest.raises(FileError):  # another column may mean anything
        bring(store, stranger)


def test_rows_that_wait_to_be_mended_are_settled_when_their_words_are_said(
    studio: Bring, store: Store, january: Path
) -> None:
    january.write_text(JANUARY + "10.1.2024;The mill;retouched;3\n11.1.2024;Nobody;x;3\n12.1.2024;No;y;3\n")
    say(store, january, diary(), WORDS)
    rejected = bring(store, january)[0].rejected
    assert rejected and pending_rejects.keep(store, rejected, "a visit")
    said = {("object", "The mill"): FERRY, ("object", "Nobody"): FERRY, ("technique", "y"): LEFT_OUT}
    say(store, january, diary(), said)
    report = bring(store, january)[0]
    assert (report.outcome.stored, report.rows.left_out, report.settled) == (1, 1, 2)
    assert report.rejected and pending_rejects.keep(store, report.rejected, "a visit")
    # what is refused for less now is listed so, and once
    (draft,) = pending_rejects.read_drafts(store.cursor())
    assert [(row.line, row.column) for row in draft.rejects.rows] == [(5, "technique")]


def test_cells_of_a_wide_table_are_settled_each_by_itself(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "wide.csv"
    path.write_text("Job;What;8.1.2024;9.1.2024\nFerri;cleaned;1;x\n")
    columns = {"object": column("job"), "technique": column("what"), "person": fixed("Ilse")}
    wide = diary(columns=columns, wide_of="date")
    say(store, path, wide)
    rejected = bring(store, path)[0].rejected
    assert rejected and len(rejected.rows) == 2 and pending_rejects.keep(store, rejected, "a visit")
    say(store, path, wide, {("object", "Ferri"): FERRY})
    assert bring(store, path)[0].settled == 1
    (draft,) = pending_rejects.read_drafts(store.cursor())
    assert [row.cells[-1] for row in draft.rejects.rows] == ["x"]


def test_a_row_of_another_day_with_the_same_cells_is_not_settled(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    rows = ";Ferry;cleaned;2\n"
    filled_down = diary(filled_down=("date",))
    april, may = tmp_path / "april.csv", tmp_path / "may.csv"
    april.write_text(HEAD + "31.4.2024;Ferry;retouched;1\n" + rows)
    may.write_text(HEAD + "6.5.2024;Ferry;retouched;1\n" + rows)
    say(store, april, filled_down, WORDS)
    rejected = bring(store, april)[0].rejected
    assert rejected and len(rejected.rows) == 2 and pending_rejects.keep(store, rejected, "a visit")
    report = bring(store, may)[0]
    assert (report.outcome.stored, report.settled) == (2, 0)


def test_a_row_of_another_sheet_with_the_same_cells_is_not_settled(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    heads: list[Cell] = ["Date", "What", "Time"]
    row: list[Cell] = [date(2024, 2, 5), "cleaned", 1.5]
    path = xlsx(tmp_path / "works.xlsx", {"Ferry": [heads, row], "The mill": [heads, row]})
    columns = {
        "date": column("date"),
        "object": Source(origin="sheet"),
        "technique": column("what"),
        "hours": column("time"),
        "person": fixed("Ilse"),
    }
    say(store, path, diary(columns=columns), WORDS)
    rejected = [report.rejected for report in bring(store, path) if report.rejected]
    assert len(rejected) == 1 and pending_rejects.keep(store, rejected[0], "a visit")
    assert [report.settled for report in bring(store, path)] == [0, 0]
    say(store, path, diary(columns=columns), {("object", "The mill"): FERRY})
    assert sum(report.settled for report in bring(store, path)) == 1


def test_of_equal_rows_as_many_are_settled_as_came_in(studio: Bring, store: Store, tmp_path: Path) -> None:
    row = "8.4.2024;The mill;cleaned;400\n"
    two, one = tmp_path / "two.csv", tmp_path / "one.csv"
    two.write_text(HEAD + row + row)
    one.write_text(HEAD + row)
    say(store, two, diary(), WORDS)
    rejected = bring(store, two)[0].rejected
    assert rejected and pending_rejects.keep(store, rejected, "a visit")
    say(store, one, diary(hours_unit="minutes"), {("object", "The mill"): FERRY})
    assert bring(store, one)[0].settled == 1
    assert [len(draft.cells) for draft in pending_rejects.read_drafts(store.cursor())] == [1]
    # the other one is rejected otherwise now, and waits on
    say(store, two, diary())
    rejected = bring(store, two)[0].rejected
    assert rejected and pending_rejects.keep(store, rejected, "a visit")
    assert "hours" in pending_rejects.read_drafts(store.cursor())[0].rejects.rows[0].column
