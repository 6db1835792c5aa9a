"""One way in: a check reads and never writes, whatever comes and by whatever door; what is stored is what was
checked.
"""

import ast
import re
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

import ingest
from ingest.editing import estimate_drafts, quote_drafts
from ingest.editing.quote_drafts import QuotedWork
from ingest.faults import WORDINGS
from ingest.importing import check
from ingest.importing.cell_readers import Context
from ingest.importing.files import check_files, import_files
from ingest.importing.form_rows import check_typed, put_rows
from ingest.importing.temporary_tables import STAGES
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import sums
from ingest.schema.csv_columns import (
    ESTIMATES,
    FORMS,
    MILESTONES,
    OBJECTS,
    PHASES,
    TECHNIQUES,
    TIME_ENTRIES,
    Form,
)
from ingest.store import Store
from tests.conftest import CHANGE, NOW, Bring
from tests.ingest.test_faults import details_of
from tests.prepared import new_store

SOURCES = {
    path.stem: path.read_text(encoding="utf-8")
    for path in sorted(Path(ingest.__file__).parent.rglob("*"))
    if path.suffix in (".py", ".sql") and path.parent.name != "migrations"
}
_MADE = re.compile(
    r"TEMP (?:TABLE|VIEW) (\w+)|register\(\"(\w+)\"|for table in \(\"(faults)\", \"(warnings)\"\)"
)


def made() -> Iterator[tuple[str, str]]:
    """Each temporary table and the module that makes it."""
    for module, text in SOURCES.items():
        for found in _MADE.finditer(text):
            yield from ((name, module) for name in found.groups() if name)


def test_every_temporary_table_is_listed_with_who_makes_it() -> None:
    assert {name for name, _ in made()} == set(STAGES)
    for name, stage in STAGES.items():
        assert {module for one, module in made() if one == name} == set(stage.made_by), name


@pytest.mark.parametrize("name", STAGES)
def test_whoever_reads_a_temporary_table_is_listed(name: str) -> None:
    uses = re.compile(rf"(?:FROM|JOIN|INTO|UPDATE)\s+{name}\b|con, \"{name}\"|[\"(]{name} (?:AS|WHERE)\b")
    stage = STAGES[name]
    for module, text in SOURCES.items():
        if module not in (*stage.made_by, *stage.read_by, "stages"):
            assert not uses.search(text), (module, name)


# --- it reads and never writes

TYPED: dict[Form, list[dict[str, str]]] = {
    PHASES: [{"phase": "aftercare", "position": "95"}, {"phase": "cleaning", "position": "41"}],
    TECHNIQUES: [
        {"technique": "gel cleaning", "phase": "cleaning", "unit": "dm2", "aliases": "gels"},
        {"technique": "facing", "phase": "cleaning", "note": "x"},
    ],
    OBJECTS: [
        {"object": "99-001", "title": "A barn"},
        {"object": "24-001", "title": "Otherwise"},
        {"object": "", "height_cm": "tall"},
    ],
    ESTIMATES: [
        {
            "object": "24-001",
            "version": "1",
            "made_on": "2024-01-02",
            "phase": "",
            "technique": "facing",
            "hours": "3",
        },
        {
            "object": "24-002",
            "version": "1",
            "made_on": "2024-01-02",
            "phase": "",
            "technique": "no such thing",
            "hours": "3",
        },
    ],
    TIME_ENTRIES: [
        {
            "object": "24-001",
            "phase": "",
            "technique": "facing",
            "person": "Ilse",
            "date": "2024-02-01",
            "hours": "5",
        },
        {
            "entry": "known",
            "object": "24-001",
            "phase": "",
            "technique": "facing",
            "person": "Bram",
            "date": "2024-02-01",
            "hours": "12",
        },
        {
            "object": "24-009",
            "phase": "",
            "technique": "facing",
            "person": "Bram",
            "date": "2024-02-01",
            "hours": "x",
        },
    ],
    MILESTONES: [
        {"object": "24-001", "phase": "stabilisation", "technique": "", "finished_on": "2024-02-03"},
        {"object": "24-001", "phase": "", "technique": "", "finished_on": "2099-01-01"},
    ],
}


@pytest.fixture
def filled(studio: Bring, store: Store) -> Store:
    """A studio with something of each kind."""
    assert studio(
        "est.csv", "object,version,made_on,phase,technique,hours\n24-001,1,2024-01-02,,facing,4\n"
    ).complete
    assert studio(
        "log.csv",
        "entry,object,phase,technique,person,date,hours\nknown,24-001,,facing,Bram,2024-02-01,9\n,24-001,,facing,Ilse,2024-02-01,4\n",
    ).complete
    return store


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.kind)
def test_a_check_changes_nothing_of_the_record_and_tells_what_storing_would_do(
    form: Form, filled: Store
) -> None:
    with filled.reading() as con:
        before = sums(con)
        checked = check_typed(con, form, TYPED[form], Context.of(con, now=NOW))
        assert sums(con) == before and checked.outcome.rows == len(TYPED[form])
    with filled.writing() as con:
        report = put_rows(con, form, TYPED[form], CHANGE, all_or_none=False)
    assert report.outcome == checked.outcome and report.faults.equals(checked.faults)
    assert checked.outcome.rejected or form in (PHASES, TECHNIQUES)


def test_what_was_not_checked_last_in_the_connection_is_not_stored(filled: Store) -> None:
    with filled.writing() as con:
        first = check_typed(con, TIME_ENTRIES, TYPED[TIME_ENTRIES][:1])
        second = check_typed(con, OBJECTS, TYPED[OBJECTS][:1])
        with pytest.raises(RuntimeError, match="other rows were checked"):
            check.store(con, first, CHANGE)
        check.store(con, second, CHANGE)
    with filled.writing() as con, pytest.raises(RuntimeError, match="other rows were checked"):
        check.store(con, second, CHANGE)
    assert filled.cursor().execute(
        "SELECT (SELECT count(*) FROM spells), (SELECT title FROM objects WHERE object = '99-001')"
    ).fetchall() == [(2, "A barn")]


def test_checking_the_files_of_an_export_writes_nothing_in_a_new_studio(
    filled: Store, tmp_path: Path
) -> None:
    export(filled, tmp_path / "out", private=True)
    files = sorted((tmp_path / "out").iterdir())
    with new_store() as other:
        before = sums(other.cursor())
        reports = check_files(other, files, now=NOW)
        assert all(report.complete for report in reports) and other.writes == 0
        assert sums(other.cursor()) == before
        assert {report.kind for report in import_files(other, files, now=NOW)} == {
            report.kind for report in reports
        }


def test_whoever_looks_at_a_sheet_waits_for_nobody_who_writes(filled: Store, tmp_path: Path) -> None:
    written, done = threading.Event(), threading.Event()

    def write() -> None:
        with filled.writing() as con:
            con.execute("UPDATE objects SET title = 'being written'")
            written.set()
            done.wait(20)

    writer = threading.Thread(target=write)
    writer.start()
    assert written.wait(20)
    (tmp_path / "log.csv").write_text(
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-02,5\n"
    )
    (tmp_path / "o.csv").write_text("object,title\n24-001,As it was\n")
    sheet = quote_drafts.read_over(
        filled,
        QuotedWork(described={"title": "A mill"}, lines=[{"technique": "facing", "hours": "3"}]),
        NOW.date(),
        {},
    )
    draft = estimate_drafts.read_over(
        filled,
        "24-001",
        estimate_drafts.Draft(
            version={"made_on": "2024-02-01"}, lines=[{"technique": "facing", "hours": "3"}]
        ),
        {},
    )
    reports = check_files(filled, [tmp_path / "log.csv", tmp_path / "o.csv"], now=NOW)
    assert not done.is_set() and writer.is_alive()
    done.set()
    writer.join()
    assert sheet.problems == draft.problems == [] and all(report.complete for report in reports)
    assert (
        sheet.object_row["title"] == "A mill"
        and not filled.cursor()
        .execute("SELECT EXISTS (FROM objects WHERE title = 'A mill')")
        .fetchall()[0][0]
    )


# --- what is found is data


def test_every_fault_of_a_row_is_in_the_catalogue_with_the_details_of_its_sentences() -> None:
    codes = set()
    for path in sorted(Path(ingest.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in ("rule", "note_all")
            ):
                code = node.args[2 if node.func.id == "rule" else 3]
                given = {keyword.arg for keyword in node.keywords}
                if isinstance(code, ast.Constant):
                    assert code.value in WORDINGS, (path.name, node.lineno)
                    assert given == details_of(WORDINGS[code.value]), (path.name, node.lineno)
                    codes.add(code.value)
                else:
                    assert ast.unparse(code) in {
                        "code",
                        "item.code",
                        "NEITHER_HOURS_NOR_QUANTITY",
                        "VERSION_HAS_FAULT",
                        "LINES_SUMMED",
                    }, (path.name, node.lineno)
    assert len(codes) > 60
