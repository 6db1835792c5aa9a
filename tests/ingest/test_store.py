"""The file: migrations, one writer at a time, and files that are not ours."""

import os
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

import duckdb
import pytest

from ingest import store as store_module
from ingest.errors import BenchHoursError, StoreError
from ingest.store import Store, default_path, migrations
from ingest.studio.settings import read_settings, write_settings
from tests.tight_places import small_disk


def test_a_new_file_has_the_vocabulary_and_a_note_of_each_migration(tmp_path: Path) -> None:
    with Store(tmp_path / "new" / "s.duckdb") as store:
        assert store.cursor().execute("SELECT version, name FROM schema_versions").fetchall() == [
            (number, name) for number, name, _ in migrations()
        ]
        assert store.cursor().execute("SELECT count(*) > 60 FROM techniques").fetchall() == [(True,)]


def test_a_file_of_a_newer_version_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    with Store(path) as store, store.writing() as con:
        con.execute("INSERT INTO schema_versions VALUES (99, 'later', now()::TIMESTAMP)")
    with pytest.raises(StoreError) as caught:
        Store(path)
    assert (
        str(caught.value) == f"{path} was written by a newer bench-hours (its form is 99, this one knows"
        f" {migrations()[-1][0]}). Install the newer version; the file is as it was."
    )


def test_files_that_are_not_ours_are_refused(tmp_path: Path) -> None:
    text = tmp_path / "text.duckdb"
    text.write_text("not a database" * 500)
    other = tmp_path / "other.duckdb"
    with duckdb.connect(str(other)) as con:
        con.execute("CREATE TABLE t (x INTEGER)")
    for path, said in (
        (
            text,
            (
                f"{text} is not a bench-hours database, or it is damaged. Name another file with --db, or"
                " restore a backup."
            ),
        ),
        (other, f"{other} is a database, but not one of bench-hours. Name another file with --db."),
        (tmp_path, f"{tmp_path} is a folder, not a database. Name a file with --db."),
    ):
        with pytest.raises(StoreError) as caught:
            Store(path)
        assert str(caught.value) == said


def test_a_file_held_by_another_process_names_the_holder_and_the_mend(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    with Store(path):
        code = (
            "from ingest.store import Store\nfrom ingest.errors import StoreError\ntry:\n   "
            f" Store({str(path)!r})\nexcept StoreError as error:\n    print(error)"
        )
        said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.startswith(f"{path} is open in ") and f"process {os.getpid()}" in said
    assert (
        said.strip().endswith("Close that bench-hours (serve is stopped with Ctrl-C), then try again.")
        and len(said.splitlines()) == 1
    )


def test_a_failed_write_leaves_everything_as_it_was_and_the_counter_still(store: Store) -> None:
    before = store.changes()
    with pytest.raises(ZeroDivisionError), store.writing() as con:
        con.execute("DELETE FROM techniques")
        raise ZeroDivisionError
    assert store.changes() == before
    assert store.cursor().execute("SELECT count(*) > 60 FROM techniques").fetchall() == [(True,)]
    with store.writing() as con:
        write_settings(con, {"currency": "CHF"})
    assert store.changes() == before + 1 and read_settings(store.cursor()).currency == "CHF"


def test_writers_from_many_threads_take_turns(store: Store) -> None:
    def write(n: int) -> None:
        for _ in range(5):
            with store.writing() as con:
                con.execute("UPDATE settings SET value = value || ? WHERE setting = 'zone'", [f"{n}"])

    before = store.changes()
    threads = [threading.Thread(target=write, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert store.changes() == before + 40


def test_a_store_is_closed_at_once_while_something_long_is_asked_of_it_and_the_question_fails(
    tmp_path: Path,
) -> None:
    store = Store(tmp_path / "s.duckdb")
    asked, failed = threading.Event(), []

    def ask() -> None:
        with pytest.raises(duckdb.Error) as caught, store.reading() as con:
            asked.set()
            con.execute(
                "SELECT count(*) FROM range(100_000_000) AS a, range(1000) AS b WHERE a.range % 7 ="
                " b.range % 5"
            )
        failed.append(caught.type)

    asking = threading.Thread(target=ask)
    asking.start()
    asked.wait(30)
    time.sleep(0.2)
    begun = time.monotonic()
    store.close()
    took = time.monotonic() - begun
    asking.join(30)
    assert failed == [duckdb.InterruptException] and took < 5
    with duckdb.connect(str(tmp_path / "s.duckdb")) as free:
        assert free.execute("SELECT changes FROM change_counter").fetchall() == [(0,)]


def test_a_store_that_is_closed_lets_a_write_end_first(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    begun = threading.Event()

    def write() -> None:
        with store.writing() as con:
            begun.set()
            time.sleep(0.5)
            write_settings(con, {"currency": "CHF"})

    writing = threading.Thread(target=write)
    writing.start()
    begun.wait(30)
    store.close()
    writing.join(30)
    with Store(tmp_path / "s.duckdb") as again:
        assert read_settings(again.cursor()).currency == "CHF" and again.changes() == 1


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"zone": "Europe/Berln"}, '"Europe/Berln" is not a time zone. Did you mean "Europe/Berlin"?'),
        ({"curency": "EUR"}, '"curency" is not a setting. Did you mean "currency"?'),
        (
            {"currency": "euro"},
            '"euro" is not a currency of ISO 4217. Write its three letters, like EUR or GBP.',
        ),
        ({"day_order": "dym"}, '"dym" is not an order of day, month and year. Say dmy, mdy or ymd.'),
        ({"hourly_rate": "-3"}, "the rate per hour cannot be -3. Write a number above 0, at most 100,000."),
        (
            {"currency": "kron", "hourly_rate": "1,450"},
            (
                '"kron" is not a currency of ISO 4217. Write its three letters, like EUR or GBP. the rate per'
                ' hour "1,450" may be 1450 or 1.45. Write 1450 or 1.45.'
            ),
        ),
    ],
)
def test_a_setting_that_cannot_be_is_refused(store: Store, said: dict[str, str], message: str) -> None:
    with pytest.raises(BenchHoursError) as caught, store.writing() as con:
        write_settings(con, said)
    assert str(caught.value) == message


def test_the_environment_names_the_database(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("BENCH_HOURS_DB", str(tmp_path / "x.duckdb"))
    assert default_path() == tmp_path / "x.duckdb"
    monkeypatch.delenv("BENCH_HOURS_DB")
    assert default_path().name == "studio.duckdb"


def test_a_file_of_the_first_form_is_brought_up_to_date_and_its_people_are_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "s.duckdb"
    with monkeypatch.context() as earlier:
        earlier.setattr("ingest.store.migrations", lambda: migrations()[:1])
        with Store(path) as store, store.writing() as con:
            con.execute("INSERT INTO people VALUES ('Ilse', now()::TIMESTAMP)")
    with Store(path) as store:
        assert store.cursor().execute("SELECT * FROM person_spellings").fetchall() == [
            ("ilse", "Ilse", "Ilse", "Ilse")
        ]
        assert store.cursor().execute("SELECT left_on FROM people").fetchall() == [(None,)]


def test_a_disk_that_is_full_closes_the_record_for_nobody_and_writing_goes_on_once_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left to itself DuckDB brings its log in when that has grown, fails, and refuses everything from then on
    (seen with 2.0.1).
    """
    monkeypatch.setattr(store_module, "_LOG_BYTES", 100_000)
    with small_disk(tmp_path / "disk", 16_000) as disk, Store(disk / "s.duckdb") as store:
        log = disk / "s.duckdb.wal"

        def write(rows: int) -> None:
            with store.writing() as con:
                con.execute(
                    "INSERT INTO phone_outcomes SELECT uuid()::VARCHAR, 'saved', now()::TIMESTAMP, '{}' FROM"
                    " range(?)",
                    [rows],
                )

        write(2_000)
        assert not log.exists() or log.stat().st_size < 100_000  # brought in
        held = 2_000
        _fill(disk / "other", leave=300_000)
        with pytest.raises(
            StoreError,
            match=r"cannot be written \((the disk is full|the file would be too large for this disk)\)",
        ):
            for _ in range(2_000):
                write(500)
                held += 500
        assert store.cursor().execute("SELECT count(*) FROM phone_outcomes").fetchall() == [(held,)]
        (disk / "other").unlink()
        write(500)
        assert store.cursor().execute("SELECT count(*) FROM phone_outcomes").fetchall() == [(held + 500,)]
    assert held > 2_000


def _fill(file: Path, leave: int) -> None:
    """Leave so many bytes of a small disk free; a limit on the size of files needs no filling."""
    free = shutil.disk_usage(file.parent).free
    file.write_bytes(b"x" * (max(0, free - leave) if free < 50_000_000 else 0))
