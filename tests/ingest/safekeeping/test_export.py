"""Everything out as CSV, and in again: the same studio."""

import csv
import io
import os
import shutil
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from ingest.errors import BenchHoursError, FileError
from ingest.importing.files import import_files
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.schema.csv_columns import EXPORT_FORMS, HELD_BACK
from ingest.store import Store
from ingest.studio import people, vocabulary
from ingest.studio.settings import read_settings, write_settings
from ingest.studio.vocabulary import read_vocabulary
from ingest.values.csv_injection import defused, restored_sql
from tests.conftest import CHANGE, NOW
from tests.prepared import new_store, new_studio
from tests.whole_studios import OF_A_STUDIO, build, everything, imported, studios

EXAMPLES = int(os.environ.get("BENCH_HOURS_EXAMPLES", "4"))


def leave_and_return(store: Store, folder: Path, now: datetime | None = NOW) -> Store:
    """A new store with all that an export of another one holds."""
    export(store, folder, private=True)
    return imported(folder, now)


# a smaller failing studio is not worth minutes of a run
@settings(max_examples=EXAMPLES, phases=[Phase.explicit, Phase.generate])
@given(todo=studios)
def test_any_studio_leaves_and_comes_back_the_same(
    tmp_path_factory: pytest.TempPathFactory, todo: list[tuple[Any, ...]]
) -> None:
    folder = tmp_path_factory.mktemp("studio")
    with new_store() as store:
        build(store, folder, todo)
        assert faults(store.cursor()) == []
        with leave_and_return(store, folder / "out") as back:
            assert everything(back) == everything(store)
            assert faults(back.cursor()) == []
            changed = [
                import_file.file
                for import_file in import_files(
                    back, sorted((folder / "out").iterdir()), now=NOW, write_rejects=False
                )
                if import_file.outcome.already_held != import_file.outcome.rows
            ]
            assert changed == [] and everything(back) == everything(store)


def test_the_invented_studio_leaves_and_comes_back_the_same(invented: Path, tmp_path: Path) -> None:
    shutil.copy(invented, tmp_path / "studio.duckdb")
    with (
        Store(tmp_path / "studio.duckdb") as store,
        leave_and_return(store, tmp_path / "out", now=None) as back,
    ):
        assert everything(back) == everything(store)


def test_a_file_brought_in_before_is_known_after_leaving_and_coming_back_though_its_words_and_people_have_changed(  # noqa: E501
    store: Store, studio: Callable[..., Any], tmp_path: Path
) -> None:
    log = (
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse"
        " B,2024-02-01,5\n24-001,,facing,Ilse,2024-02-02,4\n"
    )
    studio("log.csv", log)
    with store.writing() as con:
        people.join(con, "Ilse B", "Ilse", CHANGE)
    with leave_and_return(store, tmp_path / "out") as back:
        assert (tmp_path / "out" / "entry_contents.csv").exists()
        assert import_files(back, [tmp_path / "log.csv"], now=NOW)[0].outcome.already_held == 2


def test_titles_owners_and_what_is_half_written_leave_only_when_asked_for(
    store: Store, studio: Callable[..., Any], tmp_path: Path
) -> None:
    studio("more.csv", "object,title,owner,owner_address\n24-001,Portrait of Alma Brook,Alma Brook,Quay 3\n")
    studio("again.csv", "object,title,owner,owner_address\n24-001,Portrait of A. B.,Alma Brook-Hale,Quay 4\n")
    _, text = _exported(store, tmp_path / "shared")
    for secret in ("Alma", "Quay", "Portrait", "Ferry", "owner_address", "more.csv", "again.csv"):
        assert secret not in text, secret
    files, text = _exported(store, tmp_path / "own", private=True)
    assert "Alma Brook-Hale" in text and "Quay 3" in text and "files_brought_in.csv" in files


def _exported(store: Store, folder: Path, **options: bool) -> tuple[list[str], str]:
    files = [item.file for item in export(store, folder, **options)]
    return files, "\n".join((folder / name).read_text(encoding="utf-8") for name in files)


def test_an_export_is_read_by_other_programs_as_it_was_written(
    store: Store, studio: Callable[..., Any], tmp_path: Path
) -> None:
    """Python's csv module and pandas are the other programs."""
    note = 'He said "so",\nand left = it; é שלום 😀'
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(
        [
            ["object", "phase", "technique", "person", "date", "hours", "note"],
            ["24-001", "", "facing", "Ilse", "2024-02-01", "1:30", note],
        ]
    )
    studio("log.csv", out.getvalue())
    export(store, tmp_path / "out")
    frame = pd.read_csv(tmp_path / "out" / "time_entries.csv")
    assert frame[["object", "hours", "note", "date"]].to_dict("records") == [
        {"object": "24-001", "hours": 1.5, "note": note, "date": "2024-02-01"}
    ]
    with (tmp_path / "out" / "time_entries.csv").open(newline="", encoding="utf-8") as file:
        assert [row["note"] for row in csv.DictReader(file)] == [note]


def test_an_export_is_never_written_over_another(store: Store, tmp_path: Path) -> None:
    export(store, tmp_path / "out")
    with pytest.raises(BenchHoursError) as caught:
        export(store, tmp_path / "out")
    assert str(caught.value) == f"{tmp_path / 'out'} is there already, and not empty. Name a new folder."
    assert [path.name for path in tmp_path.iterdir()] == ["out"] and not list((tmp_path / "out").glob(".*"))


def test_an_export_that_fails_half_way_leaves_no_folder(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "ingest.safekeeping.export.os.replace",
        lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")),
    )
    with pytest.raises(BenchHoursError) as caught:
        export(store, tmp_path / "out")
    assert "cannot be written (the disk is full)" in str(caught.value) and list(tmp_path.iterdir()) == []


def test_every_table_leaves_or_is_known_to_stay(store: Store) -> None:
    tables = {
        row[0]
        for row in (
            store.cursor().execute("SELECT table_name FROM duckdb_tables() WHERE NOT temporary").fetchall()
        )
    }
    leave = {*OF_A_STUDIO, "estimated_lines", "lines", "spells", "imports", "history"}
    stay = {"schema_versions", "change_counter"}  # of this file and no other
    stay |= {"backups"}  # where copies of this file lie on this machine
    stay |= {"devices", "pairing_codes", "door_events"}  # who may come in to this one
    # what those devices did here, and what was decided about that
    stay |= {"phone_changes", "phone_decisions"}
    assert tables == leave | stay


def test_what_is_held_stays_where_an_export_of_another_studio_comes_in(
    store: Store, studio: Callable[..., Any], invented: Path, tmp_path: Path
) -> None:
    studio("log.csv", "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,5\n")
    shutil.copy(invented, tmp_path / "other.duckdb")
    with Store(tmp_path / "other.duckdb") as other:
        export(other, tmp_path / "out", private=True)
    with pytest.raises(FileError) as caught:
        import_files(store, sorted((tmp_path / "out").iterdir()), write_rejects=False)
    assert "whose clock is in Europe/London, and the one here is in Europe/Berlin" in str(caught.value)
    with store.writing() as con:
        write_settings(con, {"zone": "Europe/London", "currency": "USD"})
    before = everything(store)
    reports = {
        import_file.kind: import_file
        for import_file in import_files(store, sorted((tmp_path / "out").iterdir()), write_rejects=False)
    }
    after = everything(store)
    assert (
        read_settings(store.cursor()).currency == "USD"
        and "is held otherwise here" in reports["settings"].warnings["reason"].tolist()
    )
    assert reports["people"].outcome.rows == 3 and reports["techniques"].outcome.rejected == 0
    for name in ("objects", "time_entries", "people", "spellings"):
        assert set(before[name]) <= set(after[name]), name
    assert reports["settings"].problems["reason"].tolist() == [
        "marks an invented studio, and this one is not"
    ]
    assert faults(store.cursor()) == []


def test_history_alone_is_refused_where_its_works_are_not(
    store: Store, studio: Callable[..., Any], tmp_path: Path
) -> None:
    studio("again.csv", "object,title\n24-001,Ferry in rain\n")
    export(store, tmp_path / "out")
    with new_store() as other:
        report = import_files(other, [tmp_path / "out" / "history.csv"], write_rejects=False)[0]
    assert report.outcome.stored == 0
    assert (
        report.problems["reason"].tolist() == ["is of something that is not held"]
        and "objects file" in report.problems["mend"][0]
    )


@pytest.fixture(scope="module")
def empty() -> Iterator[Store]:
    """A studio without works, into which nothing comes."""
    with new_studio() as opened:
        yield opened


@pytest.mark.parametrize("form", EXPORT_FORMS, ids=lambda form: form.kind)
def test_a_damaged_file_of_an_export_is_an_account_and_not_a_failure(
    empty: Store, tmp_path: Path, form: Any
) -> None:
    rows = [
        ["x"] * len(form.names),
        [""] * len(form.names),
        ["'=1"] * len(form.names),
        ["9" * 30] * len(form.names),
    ]
    out = io.StringIO(newline="")
    csv.writer(out).writerows([list(form.names), *rows])
    (tmp_path / "damaged.csv").write_text(out.getvalue())
    report = import_files(empty, [tmp_path / "damaged.csv"], write_rejects=False)[0]
    assert report.kind == form.kind and report.outcome.rows == 3
    assert report.problems["reason"].notna().all() and report.problems["mend"].ne("").all()


_DAY, _MOMENT = "2024-01-01", "2024-01-01 00:00:00"
MEANINGLESS = {
    "phase_names": [
        ("phase", " ,waiting,90,,"),
        ("position", "waiting,waiting,-1,,"),
        ("retired_on", "waiting,waiting,90,,infinity"),
    ],
    "technique_names": [
        ("mode", "glue test,glue test,cleaning,,sideways,,,,"),
        ("unit", "glue test,glue test,cleaning,ells,hands_on,,,,"),
        ("condition", "glue test,glue test,cleaning,,hands_on,soul,,,"),
        ("cautions", "glue test,glue test,cleaning,,hands_on,,solvent|dragons,,"),
    ],
    "spellings": [("kind", "colour,red,red,red"), ("written", "phase,red, ,cleaning")],
    "people": [
        ("person", " ,2024-01-01 00:00:00,"),
        ("first_seen", "Ada,infinity,"),
        ("left_on", "Ada,2024-01-01 00:00:00,0044-03-15"),
    ],
    "drafts": [
        ("said", f'24-001,2024-01-01 00:00:00,2024-01-01 00:00:00,"{said}"')
        for said in (
            "[]",
            "{}",
            '{""version"": {}, ""lines"": [3], ""kept_by"": """"}',
            '{""version"": {""price"": 3}, ""lines"": [], ""kept_by"": """"}',
        )
    ],
    "held_back": [("said", "00000000-0000-0000-0000-000000000000,1,one,log.csv,2,2024-01-01 00:00:00,3,")],
    "unsaved": [
        ("said", "new work,2024-01-01 00:00:00,v,[]"),
        ("said", "settled rows,2024-01-01 00:00:00,v,[3]"),
        ("said", "rejected rows log,2024-01-01 00:00:00,v,{}"),
        ("said", "quote 1,2024-01-01 00:00:00,v,[]"),
        (
            "said",
            'quote 1,2024-01-01 00:00:00,v,"{""works"": [{""lines"": 3}], ""terms"": {}, ""letter"": {}}"',
        ),
    ],
    "files_brought_in": [("stored", "2024-01-01 00:00:00,log.csv,time entries,-1,0,0,0,0")],
    "pinned_rates": [
        ("rate", "facing,-1,,slow hands,2024-01-01,,,"),
        ("reason", "facing,1, ,,2024-01-01,,,"),
        ("unit", "facing,1,ells,slow hands,2024-01-01,,,"),
        ("phase", "facing,1,,slow hands,2024-01-01,,,cleaning"),
    ],
    "saved_quotes": [
        ("as_of", f"24-001,1,1,infinity,{_MOMENT},,0.9.0,3,9,no,{{}},"),
        ("works", f"24-001,1,1,{_DAY},{_MOMENT},,0.9.0,-3,9,no,{{}},"),
        ("written", f"24-001,1,1,{_DAY},{_MOMENT},,0.9.0,3,9,no,[],"),
    ],
    "options_of_saved_quotes": [
        ("confidence", "24-001,1,,0,9,1,2,3,4,,EUR,{}"),
        ("p50", "24-001,1,,80,9,1,inf,3,4,,EUR,{}"),
        ("stood_on", "24-001,1,,80,9,1,2,3,4,,EUR,3"),
    ],
    "lines_of_saved_quotes": [
        ("worked_hours", "24-001,1,,1,stabilisation,facing,,1,2,3,4,2,,-1,no,,,,,no,[]"),
        ("unit", "24-001,1,,1,stabilisation,facing,,1,2,3,4,2,,0,no,,,,ells,no,[]"),
        ("works", "24-001,1,,1,stabilisation,facing,,1,2,3,4,2,,0,no,,,,,no,[3]"),
    ],
    "versions_that_ended": [
        ("outcome", f"24-001,1,forgotten,{_DAY},"),
        ("ended_on", "24-001,1,declined,infinity,"),
    ],
    "history": [
        ("earlier", "objects,24-001,corrected,2024-01-01 00:00:00,,,3,"),
        ("changed_at", "objects,24-001,corrected,infinity,,,{},"),
        ("event", "objects,24-001,burnt,2024-01-01 00:00:00,,,{},"),
        ("event", "objects,24-001,,2024-01-01 00:00:00,,,{},"),
    ],
}
_HEADERS = {form.kind.replace(" ", "_"): ",".join(form.names) for form in EXPORT_FORMS} | {
    "held_back": ",".join(HELD_BACK.names)
}


@pytest.fixture(scope="module")
def with_a_work() -> Iterator[Store]:
    """A studio with works, into which nothing more comes."""
    with new_studio(works=True) as opened:
        yield opened


@pytest.mark.parametrize(
    "kind, column, row", [(kind, *row) for kind, rows in MEANINGLESS.items() for row in rows]
)
def test_a_row_of_an_export_that_means_nothing_stays_out_and_names_its_cell(
    with_a_work: Store, tmp_path: Path, kind: str, column: str, row: str
) -> None:
    (tmp_path / f"{kind}.csv").write_text(f"{_HEADERS[kind]}\n{row}\n")
    report = import_files(with_a_work, [tmp_path / f"{kind}.csv"], write_rejects=False)[0]
    assert report.outcome.rejected == 1 and column in report.problems["column"].tolist(), (
        report.problems.to_dict("records")
    )
    assert report.problems["mend"].eq("Leave the files of an export as they are, or write it again.").any()


def test_settings_without_a_single_row_are_an_account_and_not_a_failure(store: Store, tmp_path: Path) -> None:
    (tmp_path / "settings.csv").write_text("setting,value\nzone\n")
    assert import_files(store, [tmp_path / "settings.csv"], write_rejects=False)[0].outcome.rejected == 1


def test_rows_of_an_export_that_mean_something_come_in(
    store: Store, studio: Callable[..., Any], tmp_path: Path
) -> None:
    rows = {
        "drafts": (
            '24-001,2024-01-01 00:00:00,2024-01-01 00:00:00,"{""version"": {""price"": ""3""}, ""lines"":'
            ' [{}], ""kept_by"": """"}"'
        ),
        "unsaved": 'new work,2024-01-01 00:00:00,v,"{""object"": ""24-009""}"',
        "technique_names": "glue test,glue test,cleaning,,hands_on,,solvent|heat,,",
    }
    for kind, row in rows.items():
        (tmp_path / f"{kind}.csv").write_text(f"{_HEADERS[kind]}\n{row}\n")
        assert import_files(store, [tmp_path / f"{kind}.csv"], write_rejects=False)[0].outcome.stored == 1, (
            kind
        )


def test_a_sheet_of_many_long_notes_leaves_and_comes_back(
    store: Store, studio: Callable[..., Any], tmp_path: Path
) -> None:
    lines = "".join(f"24-001,1,2024-01-02,facing,{n},{'long ' * 2_000}{n}\n" for n in range(1, 150))
    for reason in ("", ",and again"):
        studio(
            "est.csv",
            f"object,version,made_on,technique,hours,note,phase{',reason' if reason else ''}\n"
            + lines.replace("\n", f",{reason}\n"),
        )
    with leave_and_return(store, tmp_path / "out") as back:
        assert (tmp_path / "out" / "history.csv").stat().st_size > 1_400_000
        assert everything(back)["history"] == everything(store)["history"]


def test_names_that_stand_twice_in_one_file_are_told_line_by_line(store: Store, tmp_path: Path) -> None:
    (tmp_path / "phase_names.csv").write_text(
        "phase,key,position,note,retired_on\nwaiting,one,90,,\nwaiting,two,91,,\nwaiting,one,92,,\n"
    )
    report = import_files(store, [tmp_path / "phase_names.csv"], write_rejects=False)[0]
    assert report.outcome.stored == 1 and report.problems[["line", "column"]].to_numpy().tolist() == [
        [3, "phase"],
        [4, "key"],
    ]


def test_words_added_to_a_new_studio_stay_when_an_export_comes_in(store: Store, tmp_path: Path) -> None:
    with new_store() as other:
        with other.writing() as con:
            vocabulary.rename(con, "phase", "cleaning", "dirt off", CHANGE)
        export(other, tmp_path / "out", private=True)
    (tmp_path / "t.csv").write_text(
        "technique,phase,unit,mode,aliases\nfacing,stabilisation,,,vorkleben\nsponge work,cleaning,dm2,,\n"
    )
    import_files(store, [tmp_path / "t.csv"])
    (tmp_path / "phase_names.csv").write_text("phase,key,position,note,retired_on\n")
    import_files(store, [tmp_path / "phase_names.csv"])
    known = read_vocabulary(store.cursor())
    assert len(known.phases) == 14
    with store.writing() as con:
        con.execute("DELETE FROM history")
    import_files(store, sorted((tmp_path / "out").iterdir()), write_rejects=False)
    known = read_vocabulary(store.cursor())
    assert (
        known.technique("vorkleben") == "facing"
        and known.techniques["sponge work"].phase == "dirt off"
        and faults(store.cursor()) == []
    )


# --- formulas


@given(
    text=st.one_of(
        st.sampled_from(
            ["=1", "-3", "'-3", "''", "'", "+a", "@", "\t", "\n=", "＝1", "3", "-0.5", "'=", "''=", "a", "-"]
        ),
        st.text(),
    )
)
def test_a_defused_text_cannot_run_and_stands_for_itself(store: Store, text: str) -> None:
    cell = defused(text)
    assert cell[:1] not in "=+@\t\r\n" or cell == "" or _is_number(text)
    assert not cell.startswith("-") or _is_number(text)
    if "\0" not in text:
        back = (
            store.cursor()
            .execute(f"SELECT {restored_sql('x')} FROM (SELECT ?::VARCHAR AS x)", [cell])
            .fetchall()[0][0]
        )
        assert (back or "") == text


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


def test_a_file_that_never_left_may_carry_apostrophes_as_spreadsheets_write_them(
    store: Store, studio: Callable[..., Any]
) -> None:
    studio(
        "log.csv",
        "object,phase,technique,person,date,hours,note\n24-001,,facing,Ilse,2024-02-01,5,'=1+1\n24-001,,facing,Bo,2024-02-01,5,'tis"
        " dry\n",
    )
    assert store.cursor().execute("SELECT note FROM spells ORDER BY note").fetchall() == [
        ("'tis dry",),
        ("=1+1",),
    ]


def test_rejected_rows_cannot_run_either_and_come_back_as_they_were(
    store: Store, studio: Callable[..., Any], tmp_path: Path
) -> None:
    studio(
        "log.csv",
        'object,phase,technique,person,date,hours,note\n24-001,,facng,Ilse,2024-02-01,5,"=HYPERLINK(1)"\n',
    )
    rejected = (tmp_path / "log.rejects.csv").read_text()
    assert "'=HYPERLINK(1)" in rejected
    studio("log.rejects.csv", rejected.replace("facng", "facing"))
    assert store.cursor().execute("SELECT note FROM spells").fetchall() == [("=HYPERLINK(1)",)]


def test_a_line_that_is_no_row_cannot_run_either(studio: Callable[..., Any], tmp_path: Path) -> None:
    studio(
        "log.csv",
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,5,=1+1,-3,@x\n=1+1\n",
    )
    rejected = (tmp_path / "log.rejects.csv").read_text().splitlines()
    assert rejected[1].endswith("24-001,,facing,Ilse,2024-02-01,5,'=1+1,-3,'@x") and rejected[2].endswith(
        ",'=1+1"
    )


def test_an_apostrophe_alone_empties_a_cell_of_a_work_and_an_empty_one_leaves_it(
    store: Store, studio: Callable[..., Any]
) -> None:
    studio("a.csv", "object,title,height_cm,finished_on\n24-001,,,\n")
    assert store.cursor().execute(
        "SELECT title, height_cm FROM objects WHERE object = '24-001'"
    ).fetchall() == [("Ferry in snow", 60.0)]
    report = studio("b.csv", "object,title,height_cm,finished_on\n24-001,',',\n")
    assert report.outcome.corrected == 1
    assert store.cursor().execute(
        "SELECT title, height_cm, width_cm FROM objects WHERE object = '24-001'"
    ).fetchall() == [(None, None, 80.0)]
    assert studio("b.csv", "object,title,height_cm,finished_on\n24-001,',',\n").outcome.already_held == 1
    studio("d.csv", "object,finished_on\n24-001,2024-05-01\n")
    # though it was empty before it was ever filled
    assert studio("e.csv", "object,finished_on\n24-001,'\n").outcome.corrected == 1
    studio("d2.csv", "object,finished_on\n24-001,2024-05-02\n")
    # said once, it does not override what came later
    assert studio("e.csv", "object,finished_on\n24-001,'\n").outcome.already_held == 1
    report = studio("c.csv", "technique,phase,unit,mode,aliases,note\nfacing,stabilisation,,',',\n")
    assert report.warnings[["column", "reason"]].to_numpy().tolist() == [
        ["mode", "cannot be left without one"],
        ["aliases", "are not taken away by a file"],
    ]
    assert (
        store.cursor()
        .execute("SELECT mode, note FROM techniques WHERE technique = 'facing'")
        .fetchall()[0][0]
        == "hands_on"
    )
