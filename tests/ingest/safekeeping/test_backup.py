"""Backups: whole or not there, and back again; and what is said where that cannot be."""

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest

from ingest.errors import BenchHoursError
from ingest.importing.files import import_files
from ingest.safekeeping import backup
from ingest.safekeeping.backup import back_up
from ingest.safekeeping.export import export
from ingest.safekeeping.restore import inspect_backup, restore, restore_into
from ingest.store import Store, migrations
from tests import ready
from tests.benchmarks.logs import write_logs
from tests.tight_places import only_to_read, small_disk
from tests.whole_studios import everything

FORM = migrations()[-1][0]


@pytest.fixture
def opened(invented: Path, tmp_path: Path) -> Iterator[Store]:
    shutil.copy(invented, tmp_path / "studio.duckdb")
    with Store(tmp_path / "studio.duckdb") as store:
        yield store


def _lose(store: Store) -> None:
    with store.writing() as con:
        con.execute("DELETE FROM spells")
        con.execute("INSERT INTO objects (object) VALUES ('27-001')")


def test_a_backup_is_named_by_day_and_form_opened_counted_and_the_same(opened: Store, tmp_path: Path) -> None:
    copy = back_up(opened)
    assert (
        copy.file.parent == tmp_path / "backups"
        and copy.file.name.startswith("studio-20")
        and copy.file.stem.endswith(f"-form-{FORM}")
    )
    assert (copy.works, copy.form, copy.faults) == (67, FORM, []) and copy.entries > 5_000
    before = everything(opened)
    with Store(copy.file) as other:
        assert everything(other) == before
    assert not list(tmp_path.rglob(".bench-hours*")) and not list(tmp_path.rglob("backups/*.wal"))
    last = backup.last(opened.cursor())
    assert last and last.file == str(copy.file) and (last.works, last.entries) == (copy.works, copy.entries)


def test_a_folder_gets_a_name_made_here_and_a_name_of_ones_own_is_never_written_over(
    opened: Store, tmp_path: Path
) -> None:
    (tmp_path / "disk").mkdir()
    assert back_up(opened, tmp_path / "disk").file.parent == tmp_path / "disk"
    mine = tmp_path / "mine.duckdb"
    assert back_up(opened, mine).file == mine
    content = mine.read_bytes()
    with pytest.raises(BenchHoursError) as caught:
        back_up(opened, mine)
    assert (
        str(caught.value) == f"{mine} is there already. Name another file: no backup is ever written over."
        and mine.read_bytes() == content
    )


def test_backups_of_one_second_each_get_a_name(opened: Store) -> None:
    made: list[Path] = []
    makers = [threading.Thread(target=lambda: made.append(back_up(opened).file)) for _ in range(4)]
    for maker in makers:
        maker.start()
    for maker in makers:
        maker.join()
    assert len(set(made)) == 4 and all(file.exists() for file in made)


def test_a_backup_is_of_one_moment_though_the_studio_goes_on(opened: Store, tmp_path: Path) -> None:
    """Each write adds a work and its milestone: a copy with one and not the other would be of no moment."""
    stop = threading.Event()

    def go_on() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            with opened.writing() as con:
                con.execute("INSERT INTO objects (object) VALUES (?)", [f"new {number}"])
            with opened.writing() as con:
                con.execute(
                    "INSERT INTO milestones VALUES (?, 'cleaning', '', '', DATE '2024-01-01')",
                    [f"new {number}"],
                )

    busy = threading.Thread(target=go_on)
    busy.start()
    try:
        copies = [back_up(opened, tmp_path / f"{turn}.duckdb") for turn in range(4)]
    finally:
        stop.set()
        busy.join()
    for copy in copies:
        assert copy.faults == []
        with Store(copy.file) as other:
            works, milestones = (
                other.cursor()
                .execute(
                    "SELECT (SELECT count(*) FROM objects WHERE starts_with(object, 'new')), (SELECT count(*)"
                    " FROM milestones WHERE starts_with(object, 'new'))"
                )
                .fetchall()[0]
            )
        assert works - milestones in (0, 1)
    assert copies[-1].works > copies[0].works


def test_going_back_is_one_write_keeps_what_was_there_and_leaves_readers_alone(opened: Store) -> None:
    before = everything(opened)
    copy = back_up(opened)
    _lose(opened)
    lost, reader, changes = everything(opened), opened.cursor(), opened.changes()
    reader.execute("BEGIN")
    assert reader.execute("SELECT count(*) FROM spells").fetchall() == [(0,)]
    restored, kept = restore_into(opened, copy.file)
    assert everything(opened) == before and restored.entries == copy.entries and opened.changes() > changes
    assert reader.execute("SELECT count(*) FROM spells").fetchall() == [(0,)]  # reads on as it began
    with Store(kept.file) as other:
        assert everything(other) == lost
    report = import_files(opened, [_log(opened)], write_rejects=False)[0]
    assert report.outcome.stored == 1  # numbers go on after those of the backup


def _log(store: Store) -> Path:
    path = Path(store.path).with_name("log.csv")
    path.write_text(
        "object,phase,technique,part,person,date,hours\n25-041,,facing,elsewhere,Somebody,2026-01-05,1\n"
    )
    return path


def test_restore_refuses_where_there_is_a_database_and_with_force_keeps_it(
    opened: Store, tmp_path: Path
) -> None:
    copy = back_up(opened, tmp_path / "b.duckdb")
    before = everything(opened)
    opened.close()
    new = tmp_path / "elsewhere" / "studio.duckdb"
    restored, kept = restore(copy.file, new)
    assert (restored.entries, kept) == (copy.entries, None) and new.exists()
    with pytest.raises(BenchHoursError) as caught:
        restore(copy.file, new)
    assert (
        str(caught.value)
        == f"{new} is there already. Add --force to put the backup in its place; the present file is kept."
    )
    with Store(new) as store:
        _lose(store)
    _, kept = restore(copy.file, new, force=True)
    assert kept and inspect_backup(kept).entries == 0
    with Store(new) as store:
        assert everything(store) == before


def test_a_database_that_cannot_be_opened_gives_way_and_is_kept_byte_by_byte(
    opened: Store, tmp_path: Path
) -> None:
    copy = back_up(opened, tmp_path / "b.duckdb")
    broken = tmp_path / "broken.duckdb"
    broken.write_bytes(copy.file.read_bytes()[:9000])
    _, kept = restore(copy.file, broken, force=True)
    assert kept and kept.read_bytes() == copy.file.read_bytes()[:9000]
    assert inspect_backup(broken).entries == copy.entries


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("text", "{file} is not a bench-hours database, or it is damaged. Choose another backup."),
        ("empty", "{file} is empty. Choose another backup."),
        ("short", "{file} is not a bench-hours database, or it is damaged. Choose another backup."),
        ("other", "{file} is a database, but not one of bench-hours. Choose another backup."),
        (
            "newer",
            (
                f"{{file}} was written by a newer bench-hours (its form is 99, this one knows {FORM})."
                " Install the newer version; the file is as it was."
            ),
        ),
        (
            "missing",
            (
                "{file} cannot be restored (No such file or directory). See that it is there and may be read,"
                " and that the disk has room."
            ),
        ),
        (
            "folder",
            (
                "{file} cannot be restored (Is a directory). See that it is there and may be read, and that"
                " the disk has room."
            ),
        ),
    ],
)
def test_what_is_no_backup_changes_nothing_and_is_named(
    opened: Store, tmp_path: Path, what: str, text: str
) -> None:
    file = tmp_path / "given.duckdb"
    match what:
        case "text":
            file.write_text("no database" * 1000)
        case "empty":
            file.touch()
        case "short":
            file.write_bytes(back_up(opened, tmp_path / "b.duckdb").file.read_bytes()[:20_000])
        case "other":
            with duckdb.connect(str(file)) as con:
                con.execute("CREATE TABLE t (x INTEGER)")
        case "newer":
            back_up(opened, file)
            with Store(file) as later, later.writing() as con:
                con.execute("INSERT INTO schema_versions VALUES (99, 'later', now()::TIMESTAMP)")
        case "folder":
            file.mkdir()
    content = file.read_bytes() if file.is_file() else None
    before = everything(opened)
    with pytest.raises(BenchHoursError) as caught:
        restore_into(opened, file)
    assert str(caught.value) == text.format(file=file)
    assert everything(opened) == before and (file.read_bytes() if file.is_file() else None) == content
    assert not list(tmp_path.rglob(".bench-hours*"))


def test_a_damaged_file_is_said_to_be_one_wherever_it_is_cut(opened: Store, tmp_path: Path) -> None:
    whole = back_up(opened, tmp_path / "b.duckdb").file.read_bytes()
    short = tmp_path / "short.duckdb"
    for length in (1, 11, 12, 100, 4096, 12_288, 20_000, len(whole) // 3, len(whole) * 9 // 10):
        short.write_bytes(whole[:length])
        code = (
            "import sys; from pathlib import Path; from ingest.safekeeping.restore import"
            " inspect_backup; from"
            " ingest.errors import BenchHoursError\ntry:\n"
            "    print(inspect_backup(Path(sys.argv[1])).faults)\nexcept"
            " BenchHoursError as error:\n    print(error)"
        )
        said = ready.run("-c", code, str(short)).stdout
        assert "damaged" in said or "cannot be read" in said, (length, said)
        assert short.read_bytes() == whole[:length]


# --- disks that are full, and places that may only be read


def test_on_a_full_disk_no_backup_and_no_export_is_half_written_and_the_studio_goes_on(
    opened: Store, tmp_path: Path
) -> None:
    for kilobytes in (200, 3_000, 8_000):
        with small_disk(tmp_path / f"disk{kilobytes}", kilobytes) as disk:
            with pytest.raises(BenchHoursError) as caught:
                back_up(opened, disk / "b.duckdb")
            assert (
                str(caught.value).startswith(f"no backup was written to {disk / 'b.duckdb'} (the ")
                and len(str(caught.value).splitlines()) == 1
            )
            assert list(disk.iterdir()) == []
    with small_disk(tmp_path / "tiny", 200) as disk:
        with pytest.raises(BenchHoursError) as caught:
            export(opened, disk / "out")
        assert str(caught.value).startswith(f"{disk / 'out'} cannot be written (the ") and not list(
            disk.rglob("*.csv")
        )
    before = everything(opened)
    assert back_up(opened, tmp_path / "after.duckdb").entries == len(before["time_entries"])


def test_a_database_on_a_full_disk_takes_nothing_half_and_is_there_afterwards(tmp_path: Path) -> None:
    works, entries = write_logs(tmp_path, 200_000, 0.0)
    with small_disk(tmp_path / "disk", 9_000) as disk:
        with Store(disk / "s.duckdb") as store:
            assert import_files(store, [works])[0].outcome.stored == 800
            with pytest.raises(BenchHoursError) as caught:
                import_files(store, [entries])
            assert "(the " in str(caught.value) and len(str(caught.value).splitlines()) == 1
            assert store.cursor().execute(
                "SELECT (SELECT count(*) FROM objects), (SELECT count(*) FROM spells)"
            ).fetchall() == [(800, 0)]
        with Store(disk / "s.duckdb") as store:
            assert store.cursor().execute(
                "SELECT (SELECT count(*) FROM objects), (SELECT count(*) FROM spells)"
            ).fetchall() == [(800, 0)]


def test_where_nothing_may_be_written_that_is_said_and_nothing_is_lost(
    opened: Store, invented: Path, tmp_path: Path
) -> None:
    with only_to_read(tmp_path / "readonly", [invented]) as folder:
        content = (folder / "studio.duckdb").read_bytes()
        tries: list[Callable[[], object]] = [
            lambda: back_up(opened, folder / "b.duckdb"),
            lambda: Store(folder / "studio.duckdb"),
            lambda: Store(folder / "new.duckdb"),
            lambda: restore(invented, folder / "new.duckdb"),
            lambda: restore(invented, folder / "studio.duckdb", force=True),
        ]
        for attempt in tries:
            with pytest.raises(BenchHoursError) as caught:
                attempt()
            said = str(caught.value)
            assert str(folder) in said or str(invented) in said
            assert ("may only be read" in said or "ermission denied" in said or "Read-only" in said) and len(
                said.splitlines()
            ) == 1, said
        assert (folder / "studio.duckdb").read_bytes() == content and len(list(folder.iterdir())) == 1


def test_what_a_killed_backup_left_behind_is_cleared_away_later(opened: Store, tmp_path: Path) -> None:
    (tmp_path / ".backup-photos").mkdir()
    os.utime(tmp_path / ".backup-photos", (0, 0))
    left = tmp_path / ".bench-hours-backup-killed"
    left.mkdir()
    (left / "half.duckdb").write_text("half")
    back_up(opened, tmp_path / "a.duckdb")
    assert left.exists()  # it may be at work
    os.utime(left, (0, 0))
    back_up(opened, tmp_path / "b.duckdb")
    assert not left.exists() and (tmp_path / ".backup-photos").exists()  # somebody else's


def test_a_database_damaged_inside_gives_way_and_is_kept(opened: Store, tmp_path: Path) -> None:
    copy = back_up(opened, tmp_path / "b.duckdb")
    content = bytearray(copy.file.read_bytes())
    broken = tmp_path / "broken.duckdb"
    for at in range(300_000, len(content) - 64, 200_000):
        content[at : at + 64] = b"damaged!" * 8
    broken.write_bytes(content)
    _, kept = restore(copy.file, broken, force=True)
    assert kept and kept.read_bytes() == bytes(content) and inspect_backup(broken).entries == copy.entries


def test_a_log_left_beside_a_database_that_is_gone_does_not_spoil_a_restore(
    opened: Store, tmp_path: Path
) -> None:
    copy = back_up(opened, tmp_path / "b.duckdb")
    (tmp_path / "new.duckdb.wal").write_bytes(b"of another one" * 100)
    restore(copy.file, tmp_path / "new.duckdb")
    assert (
        inspect_backup(tmp_path / "new.duckdb").entries == copy.entries
        and (tmp_path / "new.duckdb.wal.kept").exists()
    )


def test_nothing_saved_while_a_backup_is_brought_back_is_lost(opened: Store, tmp_path: Path) -> None:
    copy = back_up(opened, tmp_path / "b.duckdb")
    written: list[str] = []
    stop = threading.Event()

    def save() -> None:
        while not stop.is_set():
            with opened.writing() as con:
                con.execute("INSERT INTO objects (object) VALUES (?)", [f"saved {len(written)}"])
            written.append(f"saved {len(written)}")

    busy = threading.Thread(target=save)
    busy.start()
    try:
        _, kept = restore_into(opened, copy.file)
    finally:
        stop.set()
        busy.join()
    held = {row[0] for row in opened.cursor().execute("SELECT object FROM objects").fetchall()}
    with Store(kept.file) as before:
        held |= {row[0] for row in before.cursor().execute("SELECT object FROM objects").fetchall()}
    assert set(written) <= held
