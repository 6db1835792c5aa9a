"""Rows typed and decided on a page: the checks of a file, but the last word stands, and nothing is lost."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from ingest import autosave
from ingest.editing import approvals, corrections, estimate_drafts
from ingest.editing.estimate_drafts import Draft
from ingest.errors import BenchHoursError
from ingest.importing.check import Checked
from ingest.importing.form_rows import RowsRefused, store_rows
from ingest.schema.csv_columns import MILESTONES, OBJECTS, TECHNIQUES
from ingest.store import Store
from ingest.studio import people
from ingest.studio.settings import read_settings, write_settings
from ingest.studio.vocabulary import read_vocabulary, rename, set_spellings
from ingest.values.numbers import decimal, written
from tests.conftest import CHANGE, Bring, entries
from tests.frames import record

HEAD = "object,phase,technique,person,date,hours\n"


def rows_of(store: Store, query: str) -> list[tuple[Any, ...]]:
    return store.cursor().execute(query).fetchall()


def test_an_emptied_field_is_empty_and_the_last_word_stands_even_if_it_was_said_before(
    studio: Bring, store: Store
) -> None:
    for title, maker in (("Ferry", "A. Vane"), ("Ferry in snow", ""), ("Ferry", "")):
        store_rows(
            store, OBJECTS, [{"object": "24-001", "title": title, "maker": maker, "height_cm": '24"'}], CHANGE
        )
    assert rows_of(
        store, "SELECT title, maker, height_cm, width_cm FROM objects WHERE object = '24-001'"
    ) == [("Ferry", None, 60.96, None)]
    assert rows_of(store, "SELECT count(*) FROM history WHERE kind = 'objects'") == [(3,)]


def test_a_typed_row_with_a_fault_stores_nothing_and_says_cell_reason_and_mend(
    studio: Bring, store: Store
) -> None:
    with pytest.raises(RowsRefused) as caught:
        store_rows(store, OBJECTS, [{"object": "24-001", "structure_condition": "5"}], CHANGE)
    assert str(caught.value) == 'structure condition "5" cannot be. Write a whole number from 0 to 3.'
    assert rows_of(store, "SELECT count(*) FROM history") == [(0,)]


def test_a_corrected_entry_keeps_its_earlier_version_and_may_go_back_to_it(
    studio: Bring, store: Store
) -> None:
    text = HEAD + "24-001,,facing,Ilse,2024-02-01,1\n"
    studio("e.csv", text)
    entry = entries(store).iloc[0]
    row = corrections.as_row(record(entries(store)))
    corrections.correct(store, entry["entry"], {**row, "hours": "1h30"}, CHANGE)
    assert entries(store)["hours"].tolist() == [1.5]
    corrections.correct(store, entry["entry"], row, CHANGE)
    assert entries(store)["hours"].tolist() == [1.0] and len(rows_of(store, "FROM history")) == 2
    assert studio("e.csv", text).outcome.already_held == 1
    with pytest.raises(BenchHoursError) as caught:
        corrections.correct(store, "nothing", row, CHANGE)
    assert caught.value.what == "there is no entry nothing"


@pytest.mark.parametrize("named", ["", "bench-7"])
def test_an_entry_taken_back_stays_out_with_its_file_and_can_be_put_back(
    studio: Bring, store: Store, named: str
) -> None:
    text = (
        f"entry,object,phase,technique,person,started_at,ended_at,note\n{named},24-001,,facing,Ilse,2024-02-01"
        " 09:00,2024-02-01 10:30,the right edge\n"
    )
    studio("e.csv", text)
    before = entries(store)
    corrections.take_back(store, before["entry"][0], CHANGE)
    assert entries(store).empty
    assert studio("e.csv", text).outcome.already_held == 1 and entries(store).empty
    corrections.put_back(store, before["entry"][0], CHANGE)
    assert entries(store).drop(columns="line").equals(before.drop(columns="line"))


def held_back(studio: Bring, store: Store) -> tuple[Checked, list[tuple[str, int]]]:
    studio("e.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,1\n24-001,,packing,Ilse,2024-02-01,1\n")
    report = studio("f.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,2\n24-001,,packing,Ilse,2024-02-01,3\n")
    assert report.outcome.held_back == 2
    return report, [
        (str(content), rank)
        for content, rank in rows_of(store, "SELECT content, rank FROM held_back ORDER BY line")
    ]


def test_rows_held_back_are_decided_one_by_one(studio: Bring, store: Store) -> None:
    _, (first, second) = held_back(studio, store)
    assert corrections.decide(store, [first], "correction", CHANGE) == (1, [])
    assert corrections.decide(store, [second], "new", CHANGE) == (1, [])
    assert corrections.decide(store, [first, second], "new", CHANGE) == (0, [])
    assert sorted(entries(store)["hours"]) == [1.0, 2.0, 3.0]
    again = studio("f.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,2\n24-001,,packing,Ilse,2024-02-01,3\n")
    assert again.outcome.already_held == 2


def test_a_row_left_out_stays_out_when_its_file_comes_again(studio: Bring, store: Store) -> None:
    _, both = held_back(studio, store)
    assert corrections.decide(store, both, "left out", CHANGE) == (2, [])
    again = studio("f.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,2\n24-001,,packing,Ilse,2024-02-01,3\n")
    assert again.outcome.already_held == 2 and entries(store)["hours"].tolist() == [1.0, 1.0]


def test_two_rows_that_would_correct_one_entry_are_asked_about_one_by_one(
    studio: Bring, store: Store
) -> None:
    studio("e.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,1\n")
    studio("f.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,2\n24-001,,facing,Ilse,2024-02-01,3\n")
    both = [
        (str(content), rank)
        for content, rank in rows_of(store, "SELECT content, rank FROM held_back ORDER BY line")
    ]
    done, left = corrections.decide(store, both, "correction", CHANGE)
    assert (
        done == 0
        and left[0] == "f.csv, line 2: several rows would correct the same entry; decide them one by one."
    )
    assert corrections.decide(store, both[1:], "correction", CHANGE) == (1, [])
    assert corrections.decide(store, both[:1], "new", CHANGE) == (1, [])
    assert sorted(entries(store)["hours"]) == [2.0, 3.0]


def test_a_milestone_taken_back_is_not_set_again_by_its_file_but_can_be_by_hand(
    studio: Bring, store: Store
) -> None:
    text = "object,phase,technique,finished_on\n24-001,handover,,2024-03-01\n"
    studio("m.csv", text)
    with store.writing() as con:
        corrections.take_back_milestone(con, "24-001", "handover", "", "", date(2024, 3, 1), CHANGE)
    assert studio("m.csv", text).outcome.already_held == 1 and rows_of(store, "FROM milestones") == []
    store_rows(
        store, MILESTONES, [{"object": "24-001", "phase": "handover", "finished_on": "2024-03-01"}], CHANGE
    )
    assert len(rows_of(store, "FROM milestones")) == 1
    with store.writing() as con, pytest.raises(BenchHoursError):
        corrections.take_back_milestone(con, "24-001", "packing", "", "", date(2024, 3, 1), CHANGE)


def test_a_draft_keeps_what_is_typed_right_or_wrong_and_becomes_a_version(
    studio: Bring, store: Store
) -> None:
    draft = Draft(
        version={"made_on": "2024-02-01", "price": "900", "currency": "EUR"},
        lines=[{"technique": "facing", "hours": "two"}, {"technique": ""}],
    )
    estimate_drafts.keep(store, "24-001", draft)
    kept = estimate_drafts.read(store.cursor(), "24-001")
    assert (
        kept is not None
        and kept.filled == {1: {"technique": "facing", "hours": "two"}}
        and kept.kept_at is not None
    )
    with pytest.raises(RowsRefused) as caught:
        estimate_drafts.make_version(store, "24-001", kept, CHANGE)
    assert (
        str(caught.value)
        == 'hours "two" cannot be read as hours. Write it like 1.5, 1:30, 1h30, 90 min or PT1H30M.'
    )
    assert estimate_drafts.read(store.cursor(), "24-001") is not None  # nothing typed is lost by a refusal
    kept.lines[0]["hours"] = "1h30"
    assert estimate_drafts.make_version(store, "24-001", kept, CHANGE)[0] == 1
    assert estimate_drafts.read(store.cursor(), "24-001") is None
    assert rows_of(
        store, "SELECT phase, hours, price FROM estimate_lines JOIN estimate_versions USING (object, version)"
    ) == [("stabilisation", 1.5, 900.0)]
    assert estimate_drafts.make_version(store, "24-001", kept, CHANGE)[0] == 2


def test_a_version_is_approved_once_on_a_sensible_day_and_the_approval_can_be_taken_back(
    studio: Bring, store: Store
) -> None:
    studio(
        "est.csv",
        "object,version,made_on,phase,technique,hours,option\n24-001,1,2024-02-01,,facing,2,A\n24-001,1,2024-02-01,,lining,9,B\n",
    )
    for day, option, said in (
        (date(2024, 1, 1), "A", "version 1 was made on 1 February 2024, after that day"),
        (date(2024, 3, 1), None, "version 1 has the options A, B"),
    ):
        with store.writing() as con, pytest.raises(BenchHoursError) as caught:
            approvals.approve(con, "24-001", 1, day, option, CHANGE)
        assert caught.value.what == said
    with store.writing() as con:
        approvals.approve(con, "24-001", 1, date(2024, 3, 1), "A", CHANGE)
    assert rows_of(store, "SELECT approved_on, approved_option FROM estimate_versions") == [
        (date(2024, 3, 1), "A")
    ]
    with store.writing() as con, pytest.raises(BenchHoursError):
        approvals.approve(con, "24-001", 1, date(2024, 3, 2), "B", CHANGE)
    with store.writing() as con:
        approvals.take_back_approval(con, "24-001", 1, CHANGE)
    assert rows_of(store, "SELECT approved_on, approved_option FROM estimate_versions") == [(None, None)]


def test_a_renamed_person_is_one_person_and_old_files_change_nothing(studio: Bring, store: Store) -> None:
    text = HEAD + "24-001,,facing,Ilse,2024-02-01,1\n"
    studio("e.csv", text)
    with store.writing() as con:
        people.rename(con, "Ilse", "Ilse Brand", CHANGE)
    assert entries(store)["person"].tolist() == ["Ilse Brand"] and rows_of(
        store, "SELECT person FROM people"
    ) == [("Ilse Brand",)]
    assert studio("e.csv", text).outcome.already_held == 1
    later = studio(
        "f.csv", HEAD + "24-001,,facing,ilse,2024-02-02,1\n24-001,,facing,Ilse Brand,2024-02-03,1\n"
    )
    assert later.complete and later.new_people == [] and set(entries(store)["person"]) == {"Ilse Brand"}


def test_two_spellings_of_one_person_are_joined_and_her_hours_count_once(studio: Bring, store: Store) -> None:
    clock = "object,phase,technique,person,started_at,ended_at,mode\n"
    text = (
        clock + "24-001,,facing,Ilse,2024-02-01 09:00,2024-02-01 11:00,hands_on\n24-001,,gel"
        " poultice,Ise,2024-02-01 10:00,2024-02-01 12:00,attended\n"
    )
    studio("e.csv", text)
    with store.writing() as con:
        people.join(con, "Ise", "Ilse", CHANGE)
    assert rows_of(store, "SELECT person, sum(counted_hours) FROM spells GROUP BY person") == [("Ilse", 3.0)]
    assert studio("e.csv", text).outcome.already_held == 2
    with store.writing() as con, pytest.raises(BenchHoursError) as caught:
        people.add(con, "ILSE", CHANGE.at)
    assert caught.value.what == '"ILSE" is somebody\'s name already'


def test_other_spellings_can_be_said_and_forgotten_but_a_former_name_is_always_understood(
    store: Store,
) -> None:
    with store.writing() as con:
        rename(con, "technique", "facing", "tissue cover", CHANGE)
        set_spellings(con, "technique", "tissue cover", ["cigarette paper"], CHANGE)
    words = read_vocabulary(store.cursor())
    assert {words.technique("Cigarette Paper"), words.technique("facing")} == {"tissue cover"}
    with store.writing() as con:
        set_spellings(con, "technique", "tissue cover", [], CHANGE)
    assert "cigarette paper" not in read_vocabulary(store.cursor()).technique_spellings
    with store.writing() as con, pytest.raises(BenchHoursError) as caught:
        set_spellings(con, "technique", "tissue cover", ["lining"], CHANGE)
    assert caught.value.what == '"lining" already means another technique'


def test_a_setting_can_be_taken_back_and_the_earlier_one_is_kept(store: Store) -> None:
    for rate in ("68", "72.5", ""):
        with store.writing() as con:
            write_settings(con, {"hourly_rate": rate}, CHANGE)
    assert read_settings(store.cursor()).hourly_rate is None
    assert rows_of(
        store, "SELECT earlier->>'value' FROM history WHERE kind = 'settings' ORDER BY number"
    ) == [("68",), ("72.5",)]


def test_of_equal_rows_held_back_each_is_decided_by_itself(studio: Bring, store: Store) -> None:
    studio("e.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,3\n")
    twice = HEAD + "24-001,,facing,Ilse,2024-02-01,2\n" * 2
    assert studio("f.csv", twice).outcome.held_back == 2
    (content, _), _ = [
        (str(content), rank)
        for content, rank in rows_of(store, "SELECT content, rank FROM held_back ORDER BY rank")
    ]
    assert corrections.decide(store, [(content, 1)], "correction", CHANGE) == (1, [])
    assert corrections.decide(store, [(content, 2)], "new", CHANGE) == (1, [])
    assert entries(store)["hours"].tolist() == [2.0, 2.0]
    assert studio("f.csv", twice).outcome.already_held == 2


def test_of_equal_rows_one_left_out_and_one_new_none_is_asked_about_or_counted_again(
    studio: Bring, store: Store
) -> None:
    studio("e.csv", HEAD + "24-001,,facing,Ilse,2024-02-01,3\n")
    twice = HEAD + "24-001,,facing,Ilse,2024-02-01,2\n" * 2
    studio("f.csv", twice)
    content = str(rows_of(store, "SELECT content FROM held_back")[0][0])
    corrections.decide(store, [(content, 1)], "left out", CHANGE)
    corrections.decide(store, [(content, 2)], "new", CHANGE)
    for option in ("ask", "new", "correction"):
        assert studio("f.csv", twice, held_back_as=option).outcome.already_held == 2
    assert sorted(entries(store)["hours"]) == [2.0, 3.0]


def test_a_note_over_several_lines_does_not_shift_what_is_decided(studio: Bring, store: Store) -> None:
    head = "object,phase,technique,person,date,hours,done,note\n"
    studio(
        "e.csv",
        head
        + (
            "24-001,,facing,Ilse,2024-02-01,1,,\n"
            "24-001,,retouching,Ilse,2024-02-01,1,80,\n"
            "24-001,,packing,Ilse,2024-02-01,1,,\n"
        ),
    )
    studio(
        "f.csv",
        head
        + (
            '24-001,,facing,Ilse,2024-02-01,2,,"two\nlines"\n'
            "24-001,,retouching,Ilse,2024-02-01,2,,\n"
            "24-001,,packing,Ilse,2024-02-01,2,,\n"
        ),
    )
    with store.writing() as con:  # what was sound when it was held back may have a fault by now
        con.execute(
            "UPDATE held_back SET said = json_merge_patch(said, '{\"quantity\": -1}') WHERE"
            " said->>'technique' = 'retouching'"
        )
    everything = [
        (str(content), rank)
        for content, rank in rows_of(store, "SELECT content, rank FROM held_back ORDER BY line")
    ]
    done, left = corrections.decide(store, everything, "new", CHANGE)
    assert done == 2 and len(left) == 1 and left[0].startswith("f.csv, line 4: cannot be.")
    assert rows_of(store, "SELECT said->>'technique' FROM held_back WHERE decided IS NULL") == [
        ("retouching",)
    ]
    assert sorted(entries(store)["technique"]) == ["facing", "facing", "packing", "packing", "retouching"]


def test_an_approval_taken_back_does_not_come_in_again_with_its_file(studio: Bring, store: Store) -> None:
    text = (
        "object,version,made_on,approved_on,phase,technique,hours\n24-001,1,2024-02-01,2024-02-05,,facing,2\n"
    )
    studio("est.csv", text)
    with store.writing() as con:
        approvals.take_back_approval(con, "24-001", 1, CHANGE)
    assert studio("est.csv", text).outcome.already_held == 1
    assert rows_of(store, "SELECT approved_on FROM estimate_versions") == [(None,)]
    with store.writing() as con, pytest.raises(BenchHoursError) as caught:
        approvals.approve(con, "24-001", 1, date(2062, 1, 5), None, CHANGE)
    assert caught.value.what == "5 January 2062 lies in the future"


def test_an_earlier_estimate_stays_earlier_after_its_person_is_renamed(studio: Bring, store: Store) -> None:
    text = "object,version,made_on,phase,technique,person,hours\n24-001,1,2024-02-01,,facing,maud,{}\n"
    studio("e1.csv", text.format(10))
    studio("e2.csv", text.format(14))
    studio("log.csv", HEAD + "24-001,,facing,Maud,2024-02-01,1\n")
    with store.writing() as con:
        people.rename(con, "maud", "Maud Berg", CHANGE)
    assert studio("e1.csv", text.format(10)).outcome.already_held == 1
    assert rows_of(store, "SELECT hours, person FROM estimated_lines") == [(14.0, "Maud Berg")] and rows_of(
        store, "SELECT person FROM people"
    ) == [("Maud Berg",)]


def test_an_earlier_technique_stays_earlier_after_its_phase_is_renamed(store: Store, bring: Bring) -> None:
    text = "technique,phase,unit,note\nzz,cleaning,none,first\n"
    bring("t.csv", text)
    store_rows(
        store,
        TECHNIQUES,
        [{"technique": "zz", "phase": "cleaning", "unit": "none", "mode": "hands_on", "note": "second"}],
        CHANGE,
    )
    with store.writing() as con:
        rename(con, "phase", "cleaning", "washing", CHANGE)
    assert bring("t.csv", text).outcome.already_held == 1
    assert rows_of(store, "SELECT phase, note FROM techniques WHERE technique = 'zz'") == [
        ("washing", "second")
    ]


def test_no_word_can_be_renamed_onto_another_and_every_former_name_is_understood(
    store: Store, bring: Bring
) -> None:
    bring("t.csv", "technique,phase,unit\nzzgel work,cleaning,none\n")
    with store.writing() as con, pytest.raises(BenchHoursError) as caught:
        rename(con, "technique", "surface cleaning dry", "zzgel work", CHANGE)
    assert caught.value.what == '"zzgel work" already names another technique'
    with store.writing() as con:
        rename(con, "technique", "retouching", "touching in", CHANGE)
        rename(con, "technique", "touching in", "inpainting work", CHANGE)
        set_spellings(con, "technique", "inpainting work", [], CHANGE)
    words = read_vocabulary(store.cursor())
    assert {words.technique("touching in"), words.technique("retouching")} == {"inpainting work"}


@given(some.floats(0.0001, 99_999, allow_nan=False))
def test_a_number_is_written_as_it_is_read_back_to_the_last_digit(value: float) -> None:
    assert decimal(written(value)) == value


def test_the_lines_of_a_sheet_keep_their_numbers_and_a_fault_of_the_version_is_said_once(
    studio: Bring, store: Store
) -> None:
    draft = Draft(
        version={"made_on": "2024-02-01", "price": "xx"},
        lines=[
            {"technique": "facing", "hours": "2", "note": "a\nb"},
            {},
            {"technique": "packing", "hours": "x"},
        ],
    )
    read = estimate_drafts.read_over(store, "24-001", draft, {})
    assert read.problems == [
        'Price "xx": is not a number. Write it like 12.5 or 12,5, without marks between thousands.',
        'Line 3, hours "x": cannot be read as hours. Write it like 1.5, 1:30, 1h30, 90 min or PT1H30M.',
    ]
    draft = Draft(
        version={"made_on": "2024-02-01", "price": "1450,50", "currency": "gbp"},
        lines=[
            {"technique": "facing", "hours": "2"},
            {"technique": "lining", "hours": "9", "option": "B"},
            {"technique": "filling", "quantity": "3"},
            {"technique": "varnish removal", "hours": "4", "low_hours": "5"},
        ],
    )
    read = estimate_drafts.read_over(store, "24-001", draft, {"low_hours": "low, h", "high_hours": "high, h"})
    told = read.lines[["technique", "option", "quantity", "unit", "hours"]].astype(object)
    assert told.where(told.notna(), None).to_numpy().tolist() == [
        ["facing", "", None, None, 2.0],
        ["lining", "B", None, None, 9.0],
        ["filling", "", 3.0, "dm2", None],
    ]
    assert (read.price, read.currency) == (1450.5, "GBP")
    assert read.problems == ['Line 4, hours "4": is outside low, h to high, h. Mend one of the three.']
    assert read.notes == [
        'Line 4, technique "varnish removal": is taken for varnish removal with free solvents. '
        "Kept; if varnish removal with solvent gel was meant, write its whole name."
    ]


@pytest.mark.parametrize(
    "text, stored",
    [
        ("1,450", None),
        ("1.450", None),
        ("1,450.00", None),
        ("1450,00", 1450.0),
        ("1450", 1450.0),
        ("1,45", 1.45),
    ],
)
def test_a_price_that_may_be_a_thousand_or_one_is_asked_about_and_never_guessed(
    studio: Bring, store: Store, text: str, stored: float | None
) -> None:
    draft = Draft(
        version={"made_on": "2024-02-01", "price": text, "currency": "EUR"},
        lines=[{"technique": "facing", "hours": "2"}],
    )
    if stored is None:
        with pytest.raises(RowsRefused):
            estimate_drafts.make_version(store, "24-001", draft, CHANGE)
    else:
        estimate_drafts.make_version(store, "24-001", draft, CHANGE)
    assert rows_of(store, "SELECT price FROM estimate_versions") == ([] if stored is None else [(stored,)])


def test_a_refusal_names_fields_as_the_page_calls_them(studio: Bring, store: Store) -> None:
    with pytest.raises(RowsRefused) as caught:
        store_rows(
            store,
            OBJECTS,
            [{"object": " ", "height_cm": "tall"}],
            CHANGE,
            {"object": "Code", "height_cm": "Height, cm"},
        )
    assert (
        str(caught.value)
        == 'Code is empty. Fill it in. Height, cm "tall" is not a number. Write it like 12.5 or 12,5, without'
        " marks between thousands."
    )


def test_what_is_written_and_not_saved_is_kept_with_its_visit_and_counts_for_no_figure(store: Store) -> None:
    before = store.changes()
    autosave.keep(store, "new work", {"title": "Ferry"}, "one window")
    autosave.keep(store, "new work", {"title": "Fähre"}, "another")
    kept = autosave.read(store.cursor(), "new work")
    assert (
        kept
        and (kept.value, kept.by) == ({"title": "Fähre"}, "another")
        and autosave.read(store.cursor(), "new") is None
    )
    autosave.forget(store, "new work")
    assert autosave.read(store.cursor(), "new work") is None and store.changes() == before


def test_an_old_setting_that_would_be_refused_now_neither_closes_the_studio_nor_stands_in_the_way_of_others(
    store: Store,
) -> None:
    with store.writing() as con:
        con.execute(
            "INSERT INTO settings VALUES ('hourly_rate', '12,125'), ('currency', 'ABC'),"
            " ('bench_hours_per_week', '37.125')"
        )
    now = read_settings(store.cursor())
    assert (now.hourly_rate, now.currency, now.bench_hours_per_week) == (12.125, "ABC", 37.125)
    with store.writing() as con:
        assert write_settings(con, {"studio": "Tidewell Lane"}).studio == "Tidewell Lane"
        assert write_settings(con, {"hourly_rate": "12.1250", "currency": "gbp"}).hourly_rate == 12.125
