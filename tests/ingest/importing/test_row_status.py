"""Cases in which hours or promises could be lost or counted twice without a word."""

import random
from functools import partial
from pathlib import Path

import pytest

from ingest.errors import BenchHoursError, StoreError
from ingest.importing.files import import_files
from ingest.store import Store
from ingest.studio.settings import write_settings
from ingest.studio.vocabulary import rename
from tests.conftest import CHANGE, NOW, Bring, bring_into, entries, faults

HEAD = "object,phase,technique,person,date,hours"
CLOCK = "object,phase,technique,person,started_at,ended_at"
EST = "object,version,made_on,approved_on,phase,technique,part,quantity,hours"


def hours(store: Store) -> float:
    return float(store.cursor().execute("SELECT coalesce(sum(hours), 0) FROM spells").fetchall()[0][0])


def estimated(store: Store) -> list[tuple[object, ...]]:
    return (
        store.cursor()
        .execute("SELECT object, version, technique, hours FROM estimate_lines ORDER BY ALL")
        .fetchall()
    )


@pytest.mark.parametrize(
    ("bad", "text"),
    [
        ("24-001,1,2024-01-05,,,consolidation,10,3", "may lack line 4, which cannot be read"),  # ragged
        # a letter for the number
        ("24-001,l,2024-01-05,,,consolidation,,10,3", "may lack line 4, which cannot be read"),
        # a letter in the code
        ("24-0O1,1,2024-01-05,,,consolidation,,10,3", "may lack line 4, which cannot be read"),
    ],
)
def test_a_version_that_may_lack_a_line_is_kept_out_and_comes_in_whole_from_its_rejects(
    studio: Bring, store: Store, bad: str, text: str
) -> None:
    first = "24-001,1,2024-01-05,,,facing,,20,4\n24-001,1,2024-01-05,,,filling,,2,5\n"
    report = studio("e.csv", f"{EST}\n{first}{bad}\n24-002,1,2024-01-05,,,facing,,2,1\n")
    assert f"2 version: {text}" in faults(report) and report.rejects is not None
    assert ("24-001", 1, "facing", 4.0) not in estimated(store)
    mended = report.rejects.read_bytes().decode().replace(bad, "24-001,1,2024-01-05,,,consolidation,,10,3")
    assert studio("mended.csv", mended).complete
    assert [row[2] for row in estimated(store) if row[0] == "24-001"] == [
        "consolidation",
        "facing",
        "filling",
    ]


def test_an_object_not_known_at_all_keeps_no_other_version_out(studio: Bring, store: Store) -> None:
    studio("e.csv", f"{EST}\n24-001,1,2024-01-05,,,facing,,20,4\nXQ/77,1,2024-01-05,,,facing,,20,4\n")
    assert estimated(store) == [("24-001", 1, "facing", 4.0)]


def test_a_later_version_waits_for_the_earlier_one_that_was_refused(studio: Bring, store: Store) -> None:
    report = studio(
        "e.csv",
        f"{EST}\n24-001,1,2024-01-05,,,facng,,20,4\n24-001,2,2024-01-06,,,facing,,20,4\n24-001,3,2024-01-07,,,facing,,20,4\n",
    )
    assert faults(report)[1:] == [
        "3 version: leaves a gap below version 2 of 24-001",
        "4 version: leaves a gap below version 3 of 24-001",
    ]
    assert estimated(store) == []


def test_a_version_that_loses_lines_is_said_and_its_earlier_form_kept(studio: Bring, store: Store) -> None:
    studio("e.csv", f"{EST}\n24-001,1,2024-01-05,,,facing,,20,4\n24-001,1,2024-01-05,,,filling,,2,5\n")
    report = studio("f.csv", f"{EST}\n24-001,1,2024-01-05,,,filling,,2,6\n")
    assert report.warnings["reason"].tolist() == ["of 24-001 held 2 lines and now has 1"]
    assert store.cursor().execute("SELECT json_array_length(earlier->'lines') FROM history").fetchall() == [
        (2,)
    ]


def test_an_older_estimate_never_overrides_even_after_a_rename(studio: Bring, store: Store) -> None:
    older = f"{EST}\n24-001,1,2024-01-05,,,facing,,20,4\n"
    studio("a.csv", older)
    studio("b.csv", older.replace(",4\n", ",9\n"))
    with store.writing() as con:
        rename(con, "phase", "stabilisation", "making safe", CHANGE)
    assert studio("a.csv", older).outcome.already_held == 1
    assert estimated(store) == [("24-001", 1, "facing", 9.0)]


def test_a_correction_never_takes_an_entry_that_the_file_itself_states(studio: Bring, store: Store) -> None:
    one = "24-001,,facing,Ilse,2024-02-01,1.5\n"
    studio("a.csv", f"{HEAD}\n{one}")
    both = f"{HEAD}\n{one}24-001,,facing,Ilse,2024-02-01,2\n"
    assert studio("b.csv", both, held_back_as="correction").outcome.held_back == 1 and hours(store) == 1.5
    assert studio("b.csv", both, held_back_as="new").outcome.stored == 1 and hours(store) == 3.5


def test_of_two_spells_on_one_day_the_one_that_changed_is_corrected(studio: Bring, store: Store) -> None:
    two = f"{HEAD}\n24-001,,facing,Ilse,2024-02-01,2\n24-001,,facing,Ilse,2024-02-01,1\n"
    studio("a.csv", two)
    assert studio("b.csv", two.replace(",1\n", ",1.5\n"), held_back_as="correction").outcome.corrected == 1
    assert sorted(entries(store)["hours"]) == [1.5, 2.0]


def test_a_named_and_an_unnamed_row_never_correct_the_same_entry(studio: Bring, store: Store) -> None:
    studio("a.csv", f"entry,{HEAD}\ns1,24-001,,facing,Ilse,2024-02-01,1\n")
    report = studio(
        "b.csv",
        f"entry,{HEAD}\ns1,24-001,,facing,Ilse,2024-02-01,2\n,24-001,,facing,Ilse,2024-02-01,3\n",
        held_back_as="correction",
    )
    assert (report.outcome.corrected, report.outcome.held_back) == (1, 1) and hours(store) == 2


def test_mending_a_note_or_a_quantity_asks_and_does_not_count_the_hours_again(
    studio: Bring, store: Store
) -> None:
    plain = f"{HEAD},quantity,note\n24-001,,facing,Ilse,2024-02-01,2,1,\n"
    studio("a.csv", plain)
    for other in (plain.replace(",1,\n", ",1,a word\n"), plain.replace(",1,\n", ",1.5,\n")):
        assert studio("b.csv", other).outcome.held_back == 1
    assert hours(store) == 2
    report = studio("c.csv", plain.replace(",1,\n", ",1.5,\n"), held_back_as="correction")
    assert report.outcome.corrected == 1 and entries(store)["quantity"].tolist() == [1.5]


def test_spells_at_other_times_and_on_other_parts_are_new_without_asking(studio: Bring, store: Store) -> None:
    studio("a.csv", f"{CLOCK},part\n24-001,,facing,Ilse,2024-02-01 09:00,2024-02-01 10:00,\n")
    assert (
        studio(
            "b.csv",
            f"{CLOCK},part\n24-001,,facing,Ilse,2024-02-01 14:00,2024-02-01"
            " 15:00,\n24-001,,facing,Ilse,2024-02-01 09:00,2024-02-01 10:00,left\n",
        ).outcome.stored
        == 2
    )


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_an_entry_named_in_one_file_and_not_in_the_other_is_one_entry_in_either_order(
    studio: Bring, store: Store, order: tuple[int, int]
) -> None:
    row = "24-001,,facing,Ilse,2024-02-01,1\n"
    texts = (f"entry,{HEAD}\ns1,{row}s2,{row}", f"{HEAD}\n{row}{row}")
    for n in order:
        studio(f"{n}.csv", texts[n])
    assert hours(store) == 2 and sorted(entries(store)["entry"]) == ["s1", "s2"]


def test_an_entry_written_with_or_without_what_goes_without_saying_is_one_entry(
    studio: Bring, store: Store
) -> None:
    for columns, cells in (
        (CLOCK, ""),
        (f"{CLOCK},hours", ",1"),
        (f"{CLOCK},discovery,charge", ",no,quoted"),
        (f"{CLOCK},mode,date", ",hands_on,2024-02-01"),
    ):
        studio("e.csv", f"{columns}\n24-001,,facing,Ilse,2024-02-01 09:00,2024-02-01 10:00{cells}\n")
    noted = f'{HEAD},note\n24-001,,filling,Ilse,2024-02-01,1,"two\r\nlines"\n'
    for text in (noted, noted.replace("\n", "\r\n").replace("\r\r", "\r"), "\ufeff" + noted):
        studio("n.csv", text)
    assert hours(store) == 2


def test_done_is_held_against_what_will_stand_not_against_what_is_replaced(
    studio: Bring, store: Store
) -> None:
    def row(name: str, day: int, done: int, charge: str = "") -> str:
        return f"{name},24-001,,facing,Ilse,2024-02-{day:02d},1,{done},{charge}\n"

    head = f"entry,{HEAD},done,charge\n"
    first = head + row("s1", 1, 80)
    assert studio("a.csv", first).complete
    assert studio("b.csv", head + row("s1", 1, 40) + row("s2", 2, 50)).complete
    assert studio("a.csv", first).outcome.already_held == 1
    assert studio("c.csv", first + row("s3", 3, 60)).complete
    assert studio("d.csv", head + row("s4", 4, 100) + row("s5", 9, 30, "own_cost")).complete


def test_the_studio_s_clock_cannot_move_under_entries_that_it_timed(studio: Bring, store: Store) -> None:
    studio("a.csv", f"{CLOCK}\n24-001,,facing,Ilse,2024-02-01 09:00,2024-02-01 10:00\n")
    with pytest.raises(BenchHoursError) as caught, store.writing() as con:
        write_settings(con, {"zone": "Europe/London"})
    assert (
        str(caught.value)
        == "the studio's clock cannot move from Europe/Berlin to Europe/London: entries with clock times rest"
        " on it (1). Leave it; or begin a new database in the right zone and bring the files in there."
    )


def test_two_waits_at_once_are_one_wait(studio: Bring, store: Store) -> None:
    studio(
        "a.csv",
        f"{CLOCK}\n24-001,,gel poultice,Ilse,2024-02-01 09:00,2024-02-01 12:00\n24-002,,gel"
        " poultice,Ilse,2024-02-01 10:00,2024-02-01 13:00\n",
    )
    assert entries(store)["counted_hours"].sum() == 4


def test_a_file_name_with_brackets_is_no_pattern(store: Store, tmp_path: Path) -> None:
    bring_into(store, tmp_path, "o.csv", "object\n24-001\n")
    (tmp_path / "hours1.csv").write_text(f"{HEAD}\n24-001,,facing,Ilse,2024-02-01,9\n")
    bring_into(store, tmp_path, "hours[1].csv", f"{HEAD}\n24-001,,facing,Ilse,2024-02-01,1\n")
    assert hours(store) == 1


def test_a_mended_rejects_file_is_never_written_over_and_comes_back_as_often_as_needed(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    text = f"{HEAD}\n24-001,,facng,Ilse,2024-02-01,1\n24-001,,fillng,Ilse,2024-02-02,2\n"
    first = studio("a.csv", text).rejects
    assert first is not None
    first.write_bytes(first.read_bytes().replace(b",facng,", b",facing,"))
    reports = import_files(store, [tmp_path / "a.csv", first], now=NOW)
    assert hours(store) == 1
    again = reports[1].rejects
    assert (
        again is not None
        and again.name == "a.rejects-3.csv"
        and again.read_text().count("rejected_line") == 1
    )
    again.write_bytes(again.read_bytes().replace(b",fillng,", b",filling,"))
    assert import_files(store, [again], now=NOW)[0].complete and hours(store) == 3


def test_an_older_objects_file_overrides_nothing_and_says_so(studio: Bring, store: Store) -> None:
    for title in ("T1", "T2"):
        studio("o.csv", f"object,title\n24-001,{title}\n")
    studio("n.csv", "object,note\n24-001,seen again\n")
    report = studio("o.csv", "object,title\n24-001,T1\n")
    assert report.outcome.already_held == 1 and report.warnings["reason"].tolist() == [
        "says what an earlier version said; the later one stays"
    ]
    assert store.cursor().execute("SELECT title, note FROM objects WHERE object = '24-001'").fetchall() == [
        ("T2", "seen again")
    ]


def test_a_technique_is_unmeasured_by_a_word_and_an_empty_cell_says_nothing(
    studio: Bring, store: Store
) -> None:
    def unit() -> object:
        return (
            store.cursor()
            .execute("SELECT unit FROM techniques WHERE technique = 'fibre bridge'")
            .fetchall()[0][0]
        )

    # the last is what an earlier version said
    for said, expected in (("none", None), ("dm2", "dm2"), ("", "dm2"), ("none", "dm2")):
        studio("t.csv", f"technique,phase,unit\nfibre bridge,structural repair,{said}\n")
        assert unit() == expected


def test_a_cell_of_any_white_space_is_empty(studio: Bring) -> None:
    for blank in ("\t", "\u0085", "\u2028", "\u00a0", "\x1f", " "):
        assert faults(studio("a.csv", f"{HEAD}\n24-001,,facing,{blank},2024-02-01,1.5\n")) == [
            "2 person: is empty"
        ]
        assert faults(studio("o.csv", f"object,title\n{blank},x\n")) == ["2 object: is empty"]


def test_clock_times_outside_any_lifetime_are_refused(studio: Bring) -> None:
    for day in ("9999-12-31", "0000-01-01", "0224-02-01"):
        assert len(studio("a.csv", f"{CLOCK}\n24-001,,facing,Ilse,{day} 09:00,{day} 10:00\n").problems) == 2


def test_a_clock_that_jumps_at_midnight_is_read_right(store: Store, tmp_path: Path) -> None:
    """tzdata: in Havana the clock went from 00:00 to 01:00 on 10 March 2024."""
    with store.writing() as con:
        write_settings(con, {"zone": "America/Havana"})
    bring = partial(bring_into, store, tmp_path)
    bring("o.csv", "object\n24-001\n")
    report = bring(
        "a.csv",
        f"{CLOCK}\n24-001,,facing,Ilse,2024-03-10 01:00,2024-03-10 02:00\n24-001,,filling,Ilse,2024-03-10"
        " 00:30,2024-03-10 02:00\n",
    )
    assert faults(report) == ["3 started_at: never was on the clock: it was put forward over this hour"]
    assert str(entries(store).loc[0, "started_at"]) == "2024-03-10 05:00:00"


def test_a_csv_file_is_not_taken_for_a_database(tmp_path: Path) -> None:
    path = tmp_path / "o.csv"
    path.write_text("object\n24-001\n")
    with pytest.raises(StoreError):
        Store(path)
    assert path.read_text() == "object\n24-001\n"


def test_many_unknown_objects_among_many_are_told_in_good_time(store: Store, tmp_path: Path) -> None:
    rng = random.Random(3)
    bring = partial(bring_into, store, tmp_path)
    bring("o.csv", "object\n" + "".join(f"{n:05d}\n" for n in range(20_000)))
    report = bring(
        "e.csv", f"{HEAD}\n" + "".join(f"Z{rng.random()},,facing,Ilse,2024-02-01,1\n" for _ in range(5_000))
    )
    assert report.outcome.rejected == 5_000


def test_a_total_row_of_the_spreadsheet_keeps_no_version_out(studio: Bring, store: Store) -> None:
    report = studio(
        "e.csv",
        f"{EST}\n24-001,1,2024-01-05,,,facing,,20,4\n24-002,1,2024-01-05,,,filling,,2,5\n,,,,,,,,9\n,,,,Total,Total,,,9\n",
    )
    assert (report.outcome.stored, report.outcome.rejected) == (2, 2)


def test_a_question_stays_open_until_its_row_is_held(studio: Bring, store: Store) -> None:
    def questions() -> list[tuple[object, ...]]:
        return store.cursor().execute("SELECT decided FROM held_back").fetchall()

    head = f"{HEAD},done"
    studio("a.csv", f"{head}\n24-001,,facing,Ilse,2024-02-01,1,80\n24-001,,facing,Ilse,2024-02-05,1,90\n")
    other = f"{head}\n24-001,,facing,Ilse,2024-02-05,2,70\n"
    assert studio("b.csv", other).outcome.held_back == 1 and questions() == [(None,)]
    assert studio("b.csv", other, held_back_as="correction").outcome.rejected == 1  # done would fall
    assert questions() == [(None,)]
    studio("c.csv", f"entry,{head}\ns9,24-001,,facing,Ilse,2024-02-05,2,70\n")
    assert questions() == [(None,)]  # refused by the other door too
    with store.writing() as con:
        con.execute("UPDATE spells SET done = NULL")
    assert studio("b.csv", other, held_back_as="correction").outcome.corrected == 1 and questions() == [
        ("correction",)
    ]
