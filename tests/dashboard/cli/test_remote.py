"""Commands while the studio is open: the same words, files and exit codes as when it is closed."""

import hmac
import json
import re
import shutil
import signal
import socket
import stat
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import pytest

from dashboard.cli import remote
from dashboard.cli.caller import Caller, as_caller, write_out
from ingest.errors import BenchHoursError
from ingest.safekeeping.atomic_folder import write_private
from ingest.store import Store
from tests import ready
from tests.served import Server, free_port
from tests.whole_studios import everything

LOG = (
    "object,phase,technique,person,date,hours,note\n"
    "25-041,,facing,Maud,2026-01-05,1h30,=1+1\n"
    "99-999,,facing,Maud,2026-01-05,1,\n"
    "25-041,,retouching,Maud,2026-01-06,2,\n"
)


def call(*arguments: str, path: Path) -> subprocess.CompletedProcess[str]:
    return ready.command(*arguments, cwd=path)


@pytest.fixture
def folder(invented: Path, tmp_path: Path) -> Path:
    return _studio(invented, tmp_path / "studio")


def _studio(invented: Path, folder: Path) -> Path:
    folder.mkdir()
    shutil.copy(invented, folder)
    (folder / "log.csv").write_text(LOG)
    return folder


@pytest.fixture
def served(folder: Path) -> Iterator[Server]:
    server = Server(folder / "studio.duckdb")
    yield server
    server.discard()


CALLS = (
    ("check", "log.csv"),
    ("import", "--by", "Maud", "log.csv"),
    ("import", "nowhere.csv"),
    ("overruns",),
    ("overruns", "--json"),
    ("overruns", "--object", "25-041", "--csv", "out.csv"),
    ("overruns", "--object", "25-O41"),
    ("statement", "--object", "25-041"),
    ("export", "shared"),
    ("export", "own", "--private"),
    ("export", "own"),
    ("backup", "b.duckdb"),
    ("backup", "b.duckdb"),
    ("import", "own"),
    ("restore", "b.duckdb"),
    ("restore", "log.csv", "--force"),
    ("restore", "b.duckdb", "--force"),
    ("overruns", "--as-of", "2026-01-31"),
)


def test_every_command_says_and_does_the_same_with_a_server_and_without_while_eight_read(
    invented: Path, folder: Path, served: Server, tmp_path: Path
) -> None:
    closed = _studio(invented, tmp_path / "closed")
    stop = threading.Event()
    heard: list[str] = []

    def read() -> None:
        reader = remote.server_of(folder / "studio.duckdb")
        while reader:
            with as_caller(Caller(heard.append, heard.append, folder)):
                assert reader.run(["statement", "--db", "studio.duckdb", "--object", "25-041", "--json"]) == 0
            if stop.wait(8.0):
                break

    readers = [threading.Thread(target=read) for _ in range(8)]
    for reader in readers:
        reader.start()
    try:
        for arguments in CALLS:
            name, *rest = arguments
            with ThreadPoolExecutor() as both:
                there, here = both.map(
                    lambda place, name=name, rest=rest: call(
                        name, "--db", "studio.duckdb", *rest, path=place
                    ),
                    (folder, closed),
                )
            assert (there.returncode, _plain(there.stdout, folder), _plain(there.stderr, folder)) == (
                here.returncode,
                _plain(here.stdout, closed),
                _plain(here.stderr, closed),
            ), arguments
    finally:
        stop.set()
        for reader in readers:
            reader.join()
    assert len(heard) >= 8 and all(json.loads(item) for item in heard)
    for name in ("out.csv", "log.rejects.csv", "shared/objects.csv", "own/time_entries.csv"):
        assert (folder / name).read_text() == (closed / name).read_text(), name
    served.stop(signal.SIGTERM)  # as a system that shuts down does
    with Store(folder / "studio.duckdb") as one, Store(closed / "studio.duckdb") as other:
        assert _timeless(everything(one)) == _timeless(everything(other))


def _plain(text: str, folder: Path) -> str:
    return re.sub(r"\d{4}-\d\d-\d\d-\d{6}", "WHEN", text.replace(str(folder), "HERE"))


def _timeless(held: dict[str, list[tuple[object, ...]]]) -> dict[str, list[list[object]]]:
    """Without instants: the two were written one after the other."""
    return {
        name: [
            [
                None if type(value).__name__ == "datetime" and name != "time_entries" else value
                for value in row
            ]
            for row in rows
        ]
        for name, rows in held.items()
    }


def test_the_note_is_for_its_user_alone_and_goes_with_its_server(folder: Path, served: Server) -> None:
    note = folder / "studio.duckdb.serving"
    assert stat.S_IMODE(note.stat().st_mode) == 0o600 and len(json.loads(note.read_text())["key"]) == 64
    served.stop()
    assert (
        served.said.read_text().splitlines()[-1]
        == "stopped; the record is closed, and everything in it is kept"
    )
    assert not note.exists() and not (folder / "studio.duckdb.wal").exists()


# The word to stop comes while the server begins, and just where an exception would be swallowed: as something
# is thrown away.
STOPPED_AS_IT_BEGINS = """
import os, signal, sys, threading

class Last:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        len("")

def start(self, start=threading.Thread.start):
    start(self)
    if self.name == "certificate":
        Last()

threading.Thread.start = start
from dashboard.cli.main import main
raise SystemExit(main(["serve", "--db", "studio.duckdb", "--port", sys.argv[1]]))
"""


def test_a_stop_is_heard_wherever_it_comes_while_the_server_begins(folder: Path) -> None:
    done = ready.run("-c", STOPPED_AS_IT_BEGINS, str(free_port()), cwd=folder, timeout=60)
    assert (
        done.returncode == 0
        and done.stderr.splitlines()[-1] == "stopped; the record is closed, and everything in it is kept"
    )


def test_a_note_that_others_may_write_is_not_believed(folder: Path, served: Server) -> None:
    note = folder / "studio.duckdb.serving"
    note.chmod(0o666)
    said = call("export", "out", "--db", "studio.duckdb", path=folder)
    assert said.returncode == 2 and "is open in" in said.stderr
    note.chmod(0o600)


def test_a_note_left_behind_is_passed_over_also_where_its_port_is_somebody_elses(
    folder: Path, served: Server
) -> None:
    served.discard()
    note = folder / "studio.duckdb.serving"
    assert note.exists()
    assert call("overruns", "--db", "studio.duckdb", path=folder).returncode == 0
    with socket.create_server(("127.0.0.1", 0)) as stranger:
        said = json.loads(note.read_text())
        note.write_text(json.dumps({**said, "port": stranger.getsockname()[1]}))
        heard: list[bytes] = []

        def answer() -> None:
            reached, _ = stranger.accept()
            heard.append(reached.recv(10_000))
            reached.sendall(b'{"proof": "made up"}\n')
            heard.append(reached.recv(10_000))
            reached.close()

        threading.Thread(target=answer, daemon=True).start()
        assert call("overruns", "--db", "studio.duckdb", path=folder).returncode == 0
    assert said["key"].encode() not in b"".join(heard) and b"overruns" not in b"".join(heard)
    again = Server(folder / "studio.duckdb")
    assert call("overruns", "--db", "studio.duckdb", path=folder).returncode == 0
    again.stop()


def test_who_does_not_know_the_key_has_nothing_done(folder: Path, served: Server) -> None:
    port = json.loads((folder / "studio.duckdb.serving").read_text())["port"]
    for lines in (
        b'{"nonce": "x"}\n{"key": "wrong", "arguments": ["export", "stolen"], "here": "/", "who": "x"}\n',
        b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b'{"nonce": "x"}\n{"arguments": ["export", "stolen"]}\n',
        b"[]\n[]\n",
    ):
        with socket.create_connection(("127.0.0.1", port), timeout=20) as reached:
            reached.sendall(lines)
            reached.shutdown(socket.SHUT_WR)
            heard = b"".join(iter(lambda: reached.recv(10_000), b""))
        assert b"exit" not in heard and b"tell" not in heard
    assert (
        not (folder / "stolen").exists()
        and call("overruns", "--db", "studio.duckdb", path=folder).returncode == 0
    )


@pytest.fixture
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remote, "_HANDSHAKE_S", 2)


def _greets(arguments: Sequence[str]) -> int:
    write_out(f"heard {' '.join(arguments)}")
    return 0


def test_strangers_who_say_nothing_or_letter_by_letter_keep_nobody_out_and_are_hung_up_on(
    tmp_path: Path, hurried: None
) -> None:
    heard: list[str] = []
    with remote.listening(tmp_path / "studio.duckdb", "", _greets), ExitStack() as lines:
        port = json.loads((tmp_path / "studio.duckdb.serving").read_text())["port"]
        strangers = [
            lines.enter_context(socket.create_connection(("127.0.0.1", port), timeout=20)) for _ in range(60)
        ]
        server = remote.server_of(tmp_path / "studio.duckdb")
        with as_caller(Caller(heard.append, heard.append, tmp_path)):
            assert server and server.run(["overruns"]) == 0
        assert heard == ["heard overruns"]
        slow = lines.enter_context(socket.create_connection(("127.0.0.1", port), timeout=20))
        with pytest.raises(ConnectionError):
            for _ in range(200):
                slow.sendall(b" ")
                time.sleep(0.05)
        assert [stranger.recv(1) for stranger in strangers] == [b""] * 60


def test_a_stranger_who_says_more_than_any_call_is_cut_off(tmp_path: Path) -> None:
    with remote.listening(tmp_path / "studio.duckdb", "", _greets):
        port = json.loads((tmp_path / "studio.duckdb.serving").read_text())["port"]
        with socket.create_connection(("127.0.0.1", port), timeout=20) as stranger:
            sent = 0
            with pytest.raises(ConnectionError):
                while sent < 2_000_000_000:
                    sent += stranger.send(b"[" * 65_536)
        assert sent < 50_000_000  # what was read of it, and what the system keeps on its way
        assert remote.server_of(tmp_path / "studio.duckdb")


@contextmanager
def _stranger(database: Path, key: str, answer: Callable[[socket.socket], None]) -> Iterator[None]:
    """A note that names a key, and at its port somebody who answers each connection so."""

    def accept() -> None:
        with suppress(OSError):
            while True:
                threading.Thread(target=answer, args=(listener.accept()[0],), daemon=True).start()

    with socket.create_server(("127.0.0.1", 0)) as listener:
        write_private(
            database.with_name(f"{database.name}.serving"),
            json.dumps({"port": listener.getsockname()[1], "key": key, "pages": ""}).encode(),
        )
        threading.Thread(target=accept, daemon=True).start()
        yield
        listener.shutdown(socket.SHUT_RDWR)


def test_two_commands_are_no_proof_to_each_other_for_a_stranger_between_them(
    tmp_path: Path, hurried: None
) -> None:
    """What one says is told to the other as the server's answer: where both sides prove the same key in the
    same way, that lets a stranger in.
    """
    met, heard = threading.Barrier(2), dict[int, bytes]()

    def answer(line: socket.socket) -> None:
        with line:
            mine = met.wait(20)
            heard[mine] = line.recv(10_000)
            met.wait(20)
            line.sendall(heard[1 - mine])
            heard[mine] += line.recv(10_000)

    with _stranger(tmp_path / "studio.duckdb", "k" * 64, answer), ThreadPoolExecutor(2) as both:
        assert list(both.map(lambda _: remote.server_of(tmp_path / "studio.duckdb"), range(2))) == [
            None,
            None,
        ]
    assert len(heard) == 2 and not any(b"arguments" in said or b"kkkk" in said for said in heard.values())


def test_a_server_that_ends_in_the_middle_of_a_word_is_told_as_gone(tmp_path: Path) -> None:
    def answer(line: socket.socket) -> None:
        with line, line.makefile("rwb") as said:
            nonce = json.loads(said.readline())["nonce"]
            said.write(
                json.dumps({"proof": hmac.new(b"k" * 64, nonce.encode(), "sha256").hexdigest()}).encode()
                + b"\n"
            )
            said.flush()
            if said.readline():
                said.write(b'{"tell": "one line"}\n{"tell": "half a li')

    heard: list[str] = []
    with (
        _stranger(tmp_path / "studio.duckdb", "k" * 64, answer),
        as_caller(Caller(heard.append, heard.append, tmp_path)),
    ):
        server = remote.server_of(tmp_path / "studio.duckdb")
        assert server
        with pytest.raises(BenchHoursError) as caught:
            server.run(["overruns"])
    assert heard == ["one line"] and caught.value.what == "the studio's server ended before the command did"


def test_a_second_server_is_refused_in_one_line_and_told_where_the_first_one_is(
    folder: Path, served: Server
) -> None:
    for name in ("serve", "demo"):
        second = call(name, "--db", "studio.duckdb", "--port", "0", path=folder)
        assert second.returncode == 2 and len(second.stderr.splitlines()) == 1
        assert (
            f"the pages of {folder / 'studio.duckdb'} are open already, at http://localhost:{served.port}."
            in second.stderr
        )


def test_a_command_whose_server_is_killed_under_it_says_so(folder: Path, served: Server) -> None:
    rows = "".join(
        f"25-041,,facing,Person {n % 50},2025-{n % 12 + 1:02d}-{n % 28 + 1:02d},{n % 97 / 10 + 0.1},{n}\n"
        for n in range(150_000)
    )
    (folder / "long.csv").write_text("object,phase,technique,person,date,hours,note\n" + rows)
    command = ["-m", "dashboard.cli.main", "import", "--db", "studio.duckdb", "long.csv"]
    caller = ready.start(*command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert caller.stderr and "reading" in caller.stderr.readline()
    served.discard()
    _, said = caller.communicate(timeout=60)
    assert (
        caller.returncode == 2
        and (
            "the studio's server ended before the command did. What was not finished is as it was"
            " before: run the command again."
        )
        in said
    )
    with Store(folder / "studio.duckdb") as store:
        assert store.cursor().execute(
            "SELECT count(*) FROM people WHERE starts_with(person, 'Person')"
        ).fetchall() == [(0,)]
    again = call("import", "--db", "studio.duckdb", "long.csv", path=folder)
    assert again.returncode == 0 and "150,000 stored" in again.stdout


def test_a_server_says_at_its_start_what_does_not_hold_together_and_when_the_last_backup_was(
    folder: Path,
) -> None:
    call("backup", "--db", "studio.duckdb", path=folder)
    with Store(folder / "studio.duckdb") as store:
        store.cursor().execute("DELETE FROM estimated_lines WHERE version = 2")
    server = Server(folder / "studio.duckdb")
    server.stop()
    said = server.said.read_text()
    assert (
        "the record does not hold together: versions of estimates without lines:" in said
        and "Last backup: " in said
    )
    backup = call("backup", "--db", "studio.duckdb", path=folder)
    assert (
        backup.returncode == 1
        and "versions of estimates without lines" in backup.stderr
        and "found equal" in backup.stdout
    )
