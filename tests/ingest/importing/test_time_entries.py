"""Time entries: what is stored, held, held back, corrected and refused."""

import codecs
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.store import Store
from tests.conftest import Bring, bring_into, entries, faults
from tests.prepared import new_studio

HEAD = "object,phase,technique,person,date,hours"
CLOCK = "object,phase,technique,person,started_at,ended_at"


def count_and_hours(store: Store) -> tuple[int, float]:
    count, total = (
        store.cursor().execute("SELECT count(*), coalesce(sum(hours), 0) FROM time_entries").fetchall()[0]
    )
    return count, round(total, 6)


def test_importing_the_same_csv_twice_adds_no_hours(studio: Bring, store: Store) -> None:
    text = (
        f"{HEAD}\n24-001,,facing,Ilse,2024-02-01,1.5\n"
        "24-001,,facing,Ilse,2024-02-01,1.5\n"
        ",,accounts,Ilse,2024-02-01,0:30\n"
    )
    first, second = studio("e.csv", text), studio("e.csv", text)
    assert (first.outcome.stored, second.outcome.stored, second.outcome.already_held) == (3, 0, 3)
    assert count_and_hours(store) == (3, 3.5)


rows = st.lists(
    st.tuples(
        st.sampled_from(["24-001", "24-002", ""]),
        st.sampled_from(["facing", "consolidation", "retouching", "pressing"]),
        st.sampled_from(["Ilse", "Bram"]),
        st.integers(1, 5),
        st.sampled_from(["1.5", "0:45", "2h", "17", "-1", "x"]),
    ),
    max_size=12,
)


@settings(max_examples=7)
@given(rows, rows)
def test_import_twice_equals_once_whatever_is_in_the_files(
    tmp_path: Path, first: list[tuple[object, ...]], second: list[tuple[object, ...]]
) -> None:
    with new_studio(works=True) as store:
        into = partial(bring_into, store, tmp_path)
        text = [
            f"{HEAD}\n" + "".join(f"{o},,{t},{p},2024-02-{d:02d},{h}\n" for o, t, p, d, h in some)
            for some in (first, second)
        ]
        for body in text:
            into("e.csv", body)
        once = count_and_hours(store), store.cursor().execute("SELECT count(*) FROM held_back").fetchall()
        for body in (*text, *text):
            assert into("e.csv", body).outcome.stored == 0
        assert (
            count_and_hours(store),
            store.cursor().execute("SELECT count(*) FROM held_back").fetchall(),
        ) == once


FORTY = [
    (day, hours, quantity)
    for day, hours, quantity in zip(
        range(1, 41), [0.25, 1.5, 2.0, 0.75, 3.5] * 8, [0.5, 12.25, 3.0, 7.75] * 10, strict=True
    )
]


def _forty(separator: str, comma: bool, write_hours) -> str:  # type: ignore[no-untyped-def]
    def number(value: float) -> str:
        return f"{value}".replace(".", ",") if comma else f"{value}"

    def cell(text: str) -> str:
        return f'"{text}"' if separator in text else text

    head = separator.join(["object", "phase", "technique", "person", "date", "hours", "quantity", "note"])
    body = [
        separator.join(
            [
                "24-001",
                "",
                "facing",
                "Ilse",
                f"2024-{1 + d // 29:02d}-{1 + d % 28:02d}",
                cell(write_hours(h, number)),
                cell(number(q)),
                f"Lücke é {d}",
            ]
        )
        for d, h, q in FORTY
    ]
    return "\n".join([head, *body]) + "\n"


def _h(value: float, _: object) -> str:
    return f"{int(value)}h{round(value % 1 * 60):02d}"


def _iso(value: float, _: object) -> str:
    return f"PT{int(value)}H{round(value % 1 * 60)}M"


@pytest.mark.parametrize(
    "written",
    [
        _forty(",", False, lambda h, n: n(h)).encode(),
        _forty(",", True, lambda h, n: n(h)).encode(),
        _forty(";", True, lambda h, n: n(h)).encode(),
        _forty("\t", False, lambda h, n: n(h)).encode(),
        _forty(";", False, _h).encode("cp1252"),
        _forty("\t", True, _iso).encode("utf-16"),
        _forty(",", False, _iso).encode("utf-16-le"),
        codecs.BOM_UTF8 + _forty(";", True, _h).replace("\n", "\r\n").encode(),
        _forty(",", False, lambda h, _: f"{round(h * 60)} min").replace("\n", "\r").encode(),
    ],
    ids=[
        "comma",
        "decimal comma",
        "semicolon",
        "tab",
        "cp1252",
        "utf-16",
        "utf-16 unmarked",
        "bom crlf",
        "old mac",
    ],
)
def test_the_same_forty_entries_written_in_nine_ways_give_the_same_hours(
    studio: Bring, store: Store, written: bytes
) -> None:
    plain = _forty(",", False, lambda h, n: n(h))
    assert studio("plain.csv", plain).outcome.stored == 40
    again = studio("again.csv", written)
    assert (again.outcome.already_held, again.outcome.stored, again.outcome.rows) == (40, 0, 40)
    assert count_and_hours(store) == (40, sum(h for _, h, _ in FORTY))


def test_all_faults_of_a_file_are_told_at_once(studio: Bring) -> None:
    text = (
        "object,phase,technique,person,started_at,ended_at,date,hours,mode,charge,quantity,unit,done,discovery,note\n"
        "24-009,claening,varnsh removal,Ilse,,,2024-02-01,1,,,,,,,\n"
        "24-001,,facing,,,,2024-02-01,1,,,,,,,\n"
        "24-001,,facing,Ilse,2024-02-01 10:00,2024-02-01 09:00,,,,,,,,,\n"
        "24-001,,facing,Ilse,2024-02-01 01:00,2024-02-01 18:00,,,,,,,,,\n"
        "24-001,,facing,Ilse,,,2026-08-01,1,,,,,,,\n"
        "24-001,,facing,Ilse,,,2024-02-01,-1,,,-3,cm,101,perhaps,\n"
        "24-001,,unframing,Ilse,,,2024-02-01,1,awake,free,1.5,pcs,,,\n"
        "24-001,,facing,Ilse,,,,,,,,,,,\n"
        "24-001,,facing,Ilse,2024-02-01 10:00,,,,,,,,,,\n"
        ",,facing,Ilse,,,2024-02-01,1,,,,,,,\n"
        "24-001,,condition report,Ilse,,,2024-02-01,1,,,5,,,,\n"
        "24-001,,pressing,Ilse,2024-02-01 10:00,2024-03-20 10:00,,,,,,,,,\n"
        "24-001,,facing,Ilse,,,2024-02-02,,,,,,,,\n"
        "24-001,,facing,Ilse,,,,2,,,,,,,\n"
        "24-001,,unframing,Ilse,,,2024-02-05,1,,,1.5,pcs,,,\n"
        "24-001,,facing,Ilse,,,2024-02-31,two,,,,,,,\n"
    )
    report = studio("e.csv", text)
    assert faults(report) == [
        "2 object: is not a known object",
        "2 phase: is not a known phase",
        "2 technique: is not a known technique",
        "3 person: is empty",
        "4 ended_at: is not after the start",
        "5 hours: is more than 16 hours in one spell",
        "6 date: lies in the future",
        "7 hours: cannot be",
        "7 quantity: cannot be",
        "7 unit: is not the unit of facing, which is counted in dm2",
        "7 done: is not between 0 and 100",
        "7 discovery: is neither yes nor no",
        "8 mode: is not a mode",
        "8 charge: is not a charge",
        "8 quantity: is not a whole number of pieces",
        "9 started_at: is empty, and so are date and hours",
        "10 ended_at: is empty, but started_at is given",
        "11 object: is empty, but stabilisation is work on an object",
        "12 quantity: is given, but condition report is not measured",
        "14 hours: is empty",
        "15 date: is empty",
        "16 quantity: is not a whole number of pieces",
        "17 date: is no day of the calendar",
        "17 hours: cannot be read as hours",  # and not: started_at is empty, and so are both
    ]
    assert report.outcome.stored == 1  # the pressing of seven weeks
    assert report.problems["mend"].str.len().min() > 0
    assert report.problems.loc[1, "mend"] == 'Did you mean "cleaning"?'


def test_rejected_rows_come_back_in_the_input_s_own_form_and_can_be_mended(
    studio: Bring, store: Store
) -> None:
    report = studio(
        "mars.csv",
        "object;phase;technique;person;date;hours;shelf\n24-001;;facng;Ilse;2024-02-01;1,5;a\n24-001;;facing;Ilse;2024-02-02;2,5;b\n24-001;;facing;Ilse\n",
    )
    assert report.rejects is not None and report.rejects.name == "mars.rejects.csv"
    text = report.rejects.read_bytes().decode()
    assert text.splitlines()[0] == (
        "rejected_line;rejected_column;rejected_reason;rejected_mend;object;phase;technique;person;"
        "date;hours;shelf"
    )
    assert text.splitlines()[1].startswith(
        '2;technique;is not a known technique;"Did you mean ""facing""?";24-001;;facng;Ilse;2024-02-01;1,5;a'
    )
    assert text.splitlines()[2].startswith("4;;has 4 cells where the header has 7;")
    mended = studio(
        "mended.csv",
        text.replace("facng", "facing").replace(
            "24-001;;facing;Ilse\r", "24-001;;facing;Ilse;2024-02-03;1;\r"
        ),
    )
    assert mended.complete and mended.unknown_columns == ["shelf"]
    assert count_and_hours(store) == (3, 5.0)


def test_a_row_with_other_hours_is_held_back_and_decided(studio: Bring, store: Store) -> None:
    first = f"{HEAD}\n24-001,,facing,Ilse,2024-02-01,1.5\n"
    other = first.replace("1.5", "2.5")
    studio("a.csv", first)
    assert studio("b.csv", other).outcome.held_back == 1
    assert studio("b.csv", other).outcome.held_back == 1
    assert store.cursor().execute(
        "SELECT count(*), min(line) FROM held_back WHERE decided IS NULL"
    ).fetchall() == [(1, 2)]
    assert count_and_hours(store) == (1, 1.5)
    assert studio("b.csv", other, held_back_as="correction", by="Bram").outcome.corrected == 1
    assert count_and_hours(store) == (1, 2.5)
    assert store.cursor().execute("SELECT decided FROM held_back").fetchall() == [("correction",)]
    history = store.cursor().execute("SELECT earlier->>'hours', changed_by, reason FROM history").fetchall()
    assert history == [("1.5", "Bram", "brought in with b.csv")]
    # neither file changes anything from now on: the first says what an earlier version said
    assert studio("a.csv", first).outcome.already_held == studio("b.csv", other).outcome.already_held == 1
    assert count_and_hours(store) == (1, 2.5)


def test_a_row_held_back_may_be_new(studio: Bring, store: Store) -> None:
    studio("a.csv", f"{HEAD}\n24-001,,facing,Ilse,2024-02-01,1.5\n")
    assert (
        studio("b.csv", f"{HEAD}\n24-001,,facing,Ilse,2024-02-01,2.5\n", held_back_as="new").outcome.stored
        == 1
    )
    assert count_and_hours(store) == (2, 4.0)


def test_a_named_entry_is_corrected_once_and_an_earlier_version_never_overrides(
    studio: Bring, store: Store
) -> None:
    def named(hours: str) -> str:
        return f"entry,{HEAD}\nslip-1,24-001,,facing,Ilse,2024-02-01,{hours}\n"

    assert [studio("e.csv", named(hours)).outcome.corrected for hours in ("1", "2", "1", "2", "3")] == [
        0,
        1,
        0,
        0,
        1,
    ]
    assert count_and_hours(store) == (1, 3.0)
    assert store.cursor().execute("SELECT earlier->>'hours' FROM history ORDER BY number").fetchall() == [
        ("1.0",),
        ("2.0",),
    ]
    twice = studio("t.csv", named("5") + "slip-1,24-001,,facing,Ilse,2024-02-01,6\n")
    assert faults(twice) == ["3 entry: stands already in this file with other contents"]


def test_attended_hours_count_only_outside_the_person_s_own_hands_on_spells(
    studio: Bring, store: Store
) -> None:
    studio(
        "e.csv",
        f"{CLOCK}\n24-001,,gel poultice,Ilse,2024-02-01 09:00,2024-02-01"
        " 12:00\n24-001,,facing,Bram,2024-02-01 09:00,2024-02-01 12:00\n",
    )
    assert entries(store).set_index("person")["counted_hours"].to_dict() == {"Ilse": 3.0, "Bram": 3.0}
    # two hands-on spells that overlap each other cover 10:00 to 11:30, and one that runs past the end
    studio(
        "f.csv",
        f"{CLOCK}\n24-002,,facing,Ilse,2024-02-01 10:00,2024-02-01 11:00\n24-002,,facing,Ilse,2024-02-01"
        " 10:30,2024-02-01 11:30\n24-002,,facing,Ilse,2024-02-01 11:45,2024-02-01 13:00\n",
        held_back_as="new",
    )
    gel = entries(store).query("mode == 'attended'")
    assert gel["counted_hours"].tolist() == [1.25] and gel["hours"].tolist() == [3.0]


@settings(max_examples=10)
@given(
    st.lists(
        st.tuples(st.sampled_from(["facing", "gel poultice"]), st.integers(0, 47), st.integers(1, 12)),
        min_size=1,
        max_size=8,
    )
)
def test_a_person_s_counted_hours_are_hands_on_and_what_of_waiting_lies_outside(
    tmp_path: Path, spells: list[tuple[str, int, int]]
) -> None:
    """Oracle: quarter hours of one day counted one by one."""
    with new_studio(works=True) as store:
        into = partial(bring_into, store, tmp_path)
        rows = [(t, s, min(s + n, 60)) for t, s, n in spells]
        body = "".join(
            f"24-001,,{t},Ilse,2024-02-01 {6 + s // 4:02d}:{s % 4 * 15:02d},2024-02-01"
            f" {6 + e // 4:02d}:{e % 4 * 15:02d},{n}\n"
            for n, (t, s, e) in enumerate(rows)
        )
        assert into("e.csv", f"{CLOCK},note\n" + body, held_back_as="new").complete
        busy = {q for t, s, e in rows if t == "facing" for q in range(s, e)}
        waiting = {q for t, s, e in rows if t != "facing" for q in range(s, e)}
        expected = (sum(e - s for t, s, e in rows if t == "facing") + len(waiting - busy)) / 4
        assert store.cursor().execute("SELECT sum(counted_hours) FROM time_entries").fetchall()[0][
            0
        ] == pytest.approx(expected)


def test_overlaps_and_long_days_are_warned_about_and_kept(studio: Bring, store: Store) -> None:
    report = studio(
        "e.csv",
        f"{CLOCK}\n24-001,,facing,Ilse,2024-02-01 06:00,2024-02-01 15:00\n24-001,,facing,Ilse,2024-02-01"
        " 14:00,2024-02-01 22:00\n",
    )
    assert report.complete and count_and_hours(store) == (2, 17.0)
    assert report.warnings["reason"].tolist() == [
        "overlaps another hands-on spell of Ilse",
        "has 17.0 hours of Ilse",
        "overlaps another hands-on spell of Ilse",
    ]


def test_done_may_not_fall_from_one_day_to_the_next(studio: Bring) -> None:
    head = "object,phase,technique,person,date,hours,done\n"
    assert studio(
        "a.csv", head + "24-001,,facing,Ilse,2024-02-01,1,25\n24-001,,facing,Ilse,2024-02-05,1,¾\n"
    ).complete
    report = studio(
        "b.csv",
        head
        + (
            "24-001,,facing,Ilse,2024-02-03,2,80\n"
            "24-001,,facing,Ilse,2024-02-06,2,½\n"
            "24-002,,facing,Ilse,2024-02-06,2,10\n"
        ),
    )
    assert faults(report) == [
        "2 done: is more than 75.0, which is held for a later day",
        "3 done: is less than 80.0, which the line had reached before",
    ]


def test_a_unattended_spell_of_more_than_sixty_days_is_kept_and_warned_about(studio: Bring) -> None:
    report = studio("e.csv", f"{CLOCK}\n24-001,,pressing,Ilse,2024-01-01 10:00,2024-03-20 10:00\n")
    assert report.complete and report.warnings["reason"].tolist() == ["is more than 60 days unattended"]


def test_spellings_of_people_objects_and_techniques_are_forgiven(studio: Bring, store: Store) -> None:
    studio(
        "e.csv",
        f"{HEAD}\n 24-001 ,,Delining,Ilse,2024-02-01,1\n24-001,Old Lining and Repairs,LINING-REMOVAL"
        " dry,ilse,2024-02-02,1\n",
    )
    frame = entries(store)
    assert frame["technique"].unique().tolist() == ["lining removal dry"] and frame[
        "person"
    ].unique().tolist() == ["Ilse"]
    assert frame["object"].unique().tolist() == ["24-001"]


def test_lines_of_a_long_file_are_told_right(studio: Bring) -> None:
    """DuckDB numbers rows; 300,000 of them, read by several threads, must keep the order of the file."""
    n = 300_000
    text = f"{HEAD},note\n" + "".join(
        f",,accounts,P{i % 50},2024-02-01,{'x' if i % 99_991 == 7 else 1},{i}\n" for i in range(n)
    )
    report = studio("long.csv", text)
    assert report.problems["line"].tolist() == [9 + 99_991 * k for k in range(4)]
    assert report.outcome.stored == n - len(report.problems)
