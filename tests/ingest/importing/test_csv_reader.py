"""Files as they lie: encodings, separators, and what is no row."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import FileError
from ingest.importing.cell_readers import READERS, Context
from ingest.importing.files import import_files
from ingest.store import Store
from tests.conftest import NOW, Bring, faults
from tests.prepared import new_store


def test_what_is_no_csv_is_refused_with_the_reason_and_nothing_is_stored(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    for name, body, said in (
        ("empty.csv", b"", "empty.csv is empty. Save it again with a header and at least one row."),
        (
            "nul.csv",
            b"\0\0\0\0\0\0",
            (
                "nul.csv has NUL bytes in its first row. It is not a CSV file, or it is damaged: save it"
                " again as CSV."
            ),
        ),
        ("blank.csv", b"\n\n   \n", "blank.csv has no header. The first row must name the columns."),
        (
            "bytes.csv",
            b"object,title\n24-009,\x81\x8d\n",
            (
                "bytes.csv is neither UTF-8, UTF-16 nor cp1252 (near line 1: character maps to <undefined>)."
                " Save it again as UTF-8."
            ),
        ),
        (
            "twice.csv",
            b"object,title,Title\n24-009,a,b\n",
            'twice.csv has the column "title" more than once. Keep one of them.',
        ),
    ):
        with pytest.raises(FileError) as caught:
            studio(name, body)
        assert str(caught.value) == said
    with pytest.raises(FileError) as caught:
        import_files(store, [tmp_path / "nowhere.csv"], now=NOW)
    assert (
        str(caught.value)
        == "nowhere.csv cannot be read (No such file or directory). See that the file is there and may be"
        " read."
    )
    good = tmp_path / "good.csv"
    good.write_text("object\n24-010\n")
    with pytest.raises(FileError):
        import_files(store, [good, tmp_path / "empty.csv"], now=NOW)
    assert store.cursor().execute("SELECT count(*) FROM objects").fetchall() == [(2,)]


def test_a_header_without_rows_is_no_fault(studio: Bring) -> None:
    report = studio("h.csv", "object,title\n")
    assert report.complete and report.outcome.rows == 0


def test_an_unclosed_quote_costs_its_own_rest_and_is_told_where_it_opened(studio: Bring) -> None:
    report = studio("q.csv", 'object,title\n24-010,a\n24-011,"b\n24-012,c\n')
    assert faults(report) == ["3 : has a quote that is opened and not closed as it should"]
    assert report.outcome.stored == 1
    assert report.rejects is not None and b"24-012,c" in report.rejects.read_bytes()


def test_a_line_of_a_hundred_megabytes_is_rejected_and_the_others_are_read(studio: Bring) -> None:
    report = studio("long.csv", b"object,title\n24-010,a\n24-011," + b"x" * 100_000_000 + b"\n24-012,c\n")
    assert faults(report) == ["3 : is 100,000,007 characters long"]
    assert report.outcome.stored == 2


def test_a_row_with_a_nul_byte_is_rejected(studio: Bring) -> None:
    report = studio("n.csv", b"object,title\n24-010,a\x00b\n24-011,c\n")
    assert faults(report) == ["2 : has a NUL byte in it"] and report.outcome.stored == 1


def test_a_row_that_is_too_long_is_a_fault_of_its_own_and_stops_no_other(studio: Bring) -> None:
    report = studio(
        "long.csv", 'object,title\n24-010,a\n24-011,"' + ("x" * 900 + "\n") * 2600 + '"\n24-012,c\n'
    )
    assert report.outcome.stored == 2 and report.outcome.rejected == 1
    assert faults(report) == ["3 : is too long to be a row"]
    assert report.problems["mend"].tolist() == ["A row has at most 1,000,000 bytes."]


def test_blank_lines_and_rows_of_separators_are_no_rows_and_lines_stay_true(studio: Bring) -> None:
    report = studio("b.csv", '\n\nobject,title,finished_on\n\n24-010,"two\nlines",\n,,\n24-011,b,yesterday\n')
    assert faults(report) == ["8 finished_on: is not a day"] and report.outcome.rows == 2


def test_a_column_that_is_not_known_is_reported(studio: Bring) -> None:
    assert studio("u.csv", "object,title,Shelf Mark\n24-010,a,7\n").unknown_columns == ["Shelf Mark"]


@given(
    st.one_of(
        st.text(max_size=25),
        st.from_regex(r"\A\d{4}-\d\d?-\d\d?[ T]\d\d?:\d\d(:\d\d)?\Z"),
        st.datetimes().map(str),
    )
)
def test_what_is_read_at_once_is_what_the_reader_reads(text: str) -> None:
    """The one-pass reading of plain instants against the reader of single values."""
    reader = READERS["instant"]
    with new_store() as store:
        con = store.cursor()
        context = Context.of(con)
        assert reader.at_once is not None
        found = con.execute(
            f"SELECT ({reader.at_once.format(text='t')}).wall::VARCHAR FROM (SELECT ?::VARCHAR AS t)", [text]
        ).fetchall()[0][0]
        if found is not None:
            assert reader.read(context, text)["wall"] == found  # type: ignore[index]


def test_a_mark_before_three_figures_is_decimal_where_the_separator_tells_so_and_asked_about_elsewhere(
    studio: Bring, store: Store
) -> None:
    assert studio("o.csv", "object;area_dm2\n24-001;30,481\n").complete
    assert store.cursor().execute("SELECT area_dm2 FROM objects WHERE object = '24-001'").fetchall() == [
        (30.481,)
    ]
    refused = studio("p.csv", 'object,area_dm2\n24-001,"1,450"\n')
    assert faults(refused) == ["2 area_dm2: may be 1450 or 1.45"]
    assert studio(
        "r.csv", "object,area_dm2\n24-002,30.481\n"
    ).complete  # parted by commas: with decimal points
    assert store.cursor().execute("SELECT area_dm2 FROM objects WHERE object = '24-002'").fetchall() == [
        (30.481,)
    ]
    for text in ("1.450", "1,450"):
        refused = studio(f"{text}.tsv", f"object\tarea_dm2\n24-001\t{text}\n")  # tabs tell nothing
        assert faults(refused) == ["2 area_dm2: may be 1450 or 1.45"]
    priced = studio(
        "q.csv", "object;version;made_on;price;phase;technique;hours\n24-001;1;2024-01-05;1.450;;facing;2\n"
    )
    assert faults(priced) == ["2 price: may be 1450 or 1.45"]
