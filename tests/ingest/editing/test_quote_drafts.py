"""Quotes being written: kept as they are left, read as an estimate is read, and nothing stored."""

from pathlib import Path

import numpy as np
import pytest

from ingest import autosave
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.errors import BenchHoursError, FileError
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings
from ingest.values.named_amounts import read_named
from tests.conftest import LATER, Bring
from tests.frames import number


def read(store: Store, work: QuotedWork) -> quote_drafts.ReadWork:
    return quote_drafts.read_over(store, work, LATER, {"height_cm": "height"})


def test_a_quote_is_kept_as_it_stands_under_the_next_number_and_changes_no_figure(store: Store) -> None:
    before = store.changes()
    first = quote_drafts.keep(
        store,
        Quote(
            works=[QuotedWork(described={"title": "A mill"}, lines=[{"technique": "half a wo"}])],
            terms={"ceiling": "x"},
        ),
        "one",
    )
    second = quote_drafts.keep(store, Quote(works=[QuotedWork(object="24-001")]), "two")
    assert (first.number, second.number, store.changes()) == (1, 2, before)
    first.works[0].left_out["facing"] = "seen, and whole"
    quote_drafts.keep(store, first, "one")
    kept = quote_drafts.read(store.cursor(), 1)
    assert kept is not None and kept.to_json() == first.to_json() and kept.kept_by == "one"
    assert [item.number for item in quote_drafts.read_all(store.cursor())] == [2, 1]
    assert quote_drafts.of_work(store.cursor(), "24-001").number == 2  # type: ignore[union-attr]
    for draft in (1, 2):
        quote_drafts.throw_away(store, draft)
    assert quote_drafts.read(store.cursor(), 1) is None
    # a number that stood on a letter never comes again
    assert quote_drafts.keep(store, Quote(works=[QuotedWork()]), "one").number == 3


def test_what_is_no_quote_does_not_keep_the_others_from_being_read(store: Store) -> None:
    quote_drafts.keep(store, Quote(works=[QuotedWork()]), "one")
    autosave.keep(store, "quote x", {}, "one")
    autosave.keep(store, "quote 7", ["not", "a quote"], "one")
    assert [(item.number, len(item.works)) for item in quote_drafts.read_all(store.cursor())] == [
        (7, 1),
        (1, 1),
    ]


def test_a_technique_is_enough_for_a_line_and_what_the_work_is_is_read_with_it(store: Store) -> None:
    work = QuotedWork(
        described={"title": "A mill", "height_cm": "24 in", "width_cm": "50", "structure_condition": "2"},
        lines=[
            {"technique": "facing"},
            {},
            {
                "technique": "varnish removal with solvent gel",
                "quantity": "12,5",
                "hours": "1h30",
                "person": "Ilse",
                "note": "a\nb",
            },
            {"technique": "filling", "mark": "incident"},
        ],
    )
    found = read(store, work)
    assert found.problems == [] and found.object_row["area_dm2"] == pytest.approx(24 * 2.54 * 50 / 100)
    lines = found.lines.set_index("technique")
    assert lines["number"].to_dict() == {"facing": 1, "varnish removal with solvent gel": 3, "filling": 4}
    assert lines["hours"].isna().to_dict() == {
        "facing": True,
        "varnish removal with solvent gel": False,
        "filling": True,
    }
    assert (
        lines.at["varnish removal with solvent gel", "quantity"],
        lines.at["filling", "mark"],
        lines.at["filling", "condition"],
    ) == (12.5, "incident", "paint")
    assert store.cursor().execute("SELECT count(*) FROM objects").fetchall() == [
        (0,)
    ] and store.cursor().execute("SELECT count(*) FROM people").fetchall() == [(0,)]


def test_each_fault_is_said_once_with_its_line_and_the_others_are_read(store: Store) -> None:
    work = QuotedWork(
        described={"height_cm": "wide", "kind": "easel painting"},
        lines=[
            {"technique": "retuching"},
            {"technique": "condition report", "quantity": "3"},
            {"technique": "filling", "quantity": "99999999"},
            {"technique": "facing", "low_hours": "9", "high_hours": "2"},
            {"technique": "retouching"},
            {"part": "frame", "hours": "3"},
        ],
    )
    found = read(store, work)
    assert found.about == [
        'Height "wide": is not a number. Write it like 12.5 or 12,5, without marks between thousands.'
    ]
    assert found.problems == [
        'Line 1, technique "retuching": is not a known technique. Did you mean "retouching"?',
        (
            'Line 2, quantity "3": is given, but condition report is not measured. Leave quantity and unit'
            " empty, or give the technique a unit."
        ),
        'Line 3, quantity "99999999": cannot be. Write a number of units from 0 to 1,000,000.',
        'Line 4, low hours "9": is more than high hours. Turn the two round.',
        (
            'Line 6, part "frame": is a part, and no phase is given. Give the phase, or leave part empty for'
            " the work as a whole."
        ),
    ]
    assert (
        found.lines["technique"].tolist() == ["retouching"] and found.object_row["kind"] == "easel painting"
    )


def test_a_work_that_is_held_is_quoted_as_it_is_held(store: Store, studio: Bring) -> None:
    found = read(store, QuotedWork(object="24-001", lines=[{"technique": "facing"}]))
    assert found.object_row["title"] == "Ferry in snow" and found.object_row["area_dm2"] == 48.0
    assert store.cursor().execute("SELECT count(*) FROM estimate_versions").fetchall() == [(0,)]


def test_lines_come_from_a_file_as_spreadsheets_write_it_each_at_its_own_line(
    store: Store, tmp_path: Path
) -> None:
    file = tmp_path / "lines.csv"
    file.write_bytes(
        (
            "Technique;Hours;colour;Part;Wording\r\nretouching;1,5;red;;to match\r\n;;;;\r\n"
            "facing;;;'front;\r\n"
        ).encode("utf-16")
    )
    lines, said = quote_drafts.lines_of_file(store, file)
    assert lines == [
        {},
        {"technique": "retouching", "hours": "1,5", "wording": "to match"},
        {},
        {"technique": "facing", "part": "'front"},
    ]
    assert said == ["lines.csv: no columns of a line, and left out: colour"]
    # a decimal comma makes a cell too many: it must not be read as something else
    file.write_text("technique,hours,part\nretouching,1,5,frame\nfilling,2,\n")
    lines, said = quote_drafts.lines_of_file(store, file)
    assert lines == [{}, {}, {"technique": "filling", "hours": "2"}] and said[0].startswith(
        "lines.csv, line 2: has 4 cells"
    )
    file.write_text("part\nframe\n")
    with pytest.raises(FileError, match='has none of the columns "technique", "phase" and "hours"'):
        quote_drafts.lines_of_file(store, file)
    file.write_text("phase,hours\ncleaning,3\n,2\n")
    assert quote_drafts.lines_of_file(store, file) == (
        [{}, {"phase": "cleaning", "hours": "3"}, {"hours": "2"}],
        [],
    )


def test_equal_lines_are_summed_and_that_is_said(store: Store) -> None:
    work = QuotedWork(
        lines=[
            {"technique": "filling", "quantity": "2", "hours": "1", "mark": ""},
            {"technique": "retuching"},
            {
                "technique": "filling",
                "quantity": "3",
                "hours": "2",
                "mark": "incident",
                "wording": "making good",
            },
            {"technique": "facing", "hours": "2"},
            {"technique": "facing"},
        ]
    )
    found = read(store, work)
    lines = found.lines.set_index("technique")
    assert (
        lines.at["filling", "quantity"] == 5
        and lines.at["filling", "hours"] == 3
        and lines.at["filling", "mark"] == "incident"
        and lines.at["filling", "number"] == 1
    )
    assert lines["wording"].to_dict() == {"filling": "making good", "facing": ""}
    assert np.isnan(number(lines, "facing", "hours"))  # a sum with an unknown in it is unknown
    assert found.left_aside == 1 and sum("the hours are summed" in note for note in found.notes) == 2


def test_names_with_amounts_are_read_or_refused_in_words() -> None:
    assert [
        (name, f"{value}") for name, value in read_named("Ilse 70; Bram: 55,5 ;", "Rates", "Ilse 70")
    ] == [("Ilse", "70"), ("Bram", "55.5")]
    for text in ("Ilse", "70", "Ilse 0", "Ilse 1.450"):
        with pytest.raises(BenchHoursError, match="Rates"):
            read_named(text, "Rates", "Ilse 70; Bram 55")


def test_settings_of_quotes_are_judged_when_they_are_said_and_paragraphs_keep_their_lines(
    store: Store,
) -> None:
    with store.writing() as con:
        write_settings(
            con,
            {
                "hourly_rates": "Ilse 70",
                "payments": "on approval 30",
                "letterhead": " 4 Lane \n  Town ",
                "clause_storage": "none",
                "chargeable_hours": "1290",
            },
        )
    now = read_settings(store.cursor())
    assert (now.hourly_rates, now.letterhead, now.clause_storage, now.chargeable_hours) == (
        "Ilse 70",
        "4 Lane\nTown",
        "none",
        1290.0,
    )
    for name, text in (
        ("payments", "a 60; b 50"),
        ("hourly_rates", "Ilse"),
        ("tax_per_cent", "120"),
        ("clause_changes", "x" * 5000),
    ):
        with pytest.raises(BenchHoursError), store.writing() as con:
            write_settings(con, {name: text})


def test_a_line_may_name_a_phase_alone_or_hours_alone_and_one_with_neither_words_nor_hours_is_blank(
    store: Store,
) -> None:
    work = QuotedWork(
        lines=[
            {"phase": "cleaning"},
            {"hours": "12"},
            {"person": "Ilse", "option": "A", "mark": "incident"},
            {"note": "ask the framer"},
        ]
    )
    found = read(store, work)
    assert found.lines[["phase", "technique"]].to_numpy().tolist() == [["cleaning", ""], ["", ""]]
    assert found.problems == [
        "Line 4, hours: is empty, and so is quantity. A line needs hours or a quantity."
    ]
    assert found.left_aside == 1 and list(work.filled) == [1, 2, 4]
