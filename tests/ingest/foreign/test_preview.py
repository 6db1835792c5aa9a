"""What would become of the rows of a table is told of each, before anything is brought in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from ingest.foreign.guess import guess
from ingest.foreign.preview import preview
from ingest.foreign.reading import LeaveOut
from ingest.foreign.sheets import read_book
from ingest.foreign.words import LEFT_OUT, Studio
from ingest.store import Store
from tests.conftest import NOW, Bring
from tests.ingest.foreign.example_tables import ENTRY, HEAD, NO_TOTALS, diary


def test_a_preview_says_of_each_row_how_it_would_be_kept(studio: Bring, store: Store, tmp_path: Path) -> None:
    studio("log.csv", ENTRY)
    path = tmp_path / "diary.csv"
    path.write_text(
        HEAD + "2024-01-09;24-001;facing;1\n2024-01-09;24-001;facing;2\n2024-01-10;Mill;facing;1\n"
        "2024-01-11;24-001;facing;1\n"
    )
    book = read_book(path)
    begun = guess(book, Studio.of(store.cursor()))
    shown = preview(store, book, begun.sheet, begun.row, begun.reading, {}, now=NOW)
    assert shown.rows["line"].tolist() == [2, 3, 4, 5]
    assert shown.rows["status"].tolist() == ["already held", "held back", "rejected", "stored"]
    assert shown.rows["reason"].tolist() == ["", "", "means nothing yet", ""]
    fewer = preview(store, book, begun.sheet, begun.row, begun.reading, {}, now=NOW, rows=2)
    assert len(fewer.rows) == 2 and fewer.all_rows == 4
    without = replace(begun.reading, left_out=(LeaveOut(column="job", test="is", text="mill"),))
    assert preview(store, book, begun.sheet, begun.row, without, {}, now=NOW).counts["left out"] == 1


def test_a_preview_counts_what_becomes_of_all_rows_and_shows_those_of_each_outcome(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "diary.csv"
    path.write_text(
        HEAD + "2024-01-09;24-001;facing;1\n2024-01-10;Mill;facing;1\n2024-01-10;Mill;x;long\n"
        "Total;;;3\n2024-01-11;24-001;lining;2\n2024-01-12;Out;facing;1\n"
    )
    book, reading = read_book(path), diary(left_out=NO_TOTALS)
    shown = preview(
        store,
        book,
        book.sheets[0],
        0,
        reading,
        {("object", "out"): LEFT_OUT},
        half_chosen={("technique", "lining")},
        now=NOW,
    )
    assert shown.rows["outcome"].tolist() == ["stored", "asked about", "rejected", "asked about"]
    mill, lining = ("object", "Mill"), ("technique", "lining")
    assert shown.rows["asks"].tolist() == [(), (mill,), (mill, ("technique", "x")), (lining,)]
    others = {"held already": 0, "held back": 0}
    assert shown.counts == {**others, "stored": 1, "asked about": 2, "left out": 2, "rejected": 1}
    assert shown.left_out.values.tolist() == [
        [5, "Total · 3", 0, ()],
        [7, "2024-01-12 · Out · facing · 1", -1, (("object", "Out"),)],
    ]
