"""Commands while the studio is open: the server holds the file, so it runs them, and the one who called sees no difference.

The server leaves a note beside the database, for its user's eyes only, with a port of this machine and a random key. A command that
finds the note proves that the server knows the key before it says anything, then sends its arguments; results, complaints and the exit
code come back line by line as JSON. A note whose server is gone is passed over.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import os
import secrets
import socket
import socketserver
import stat
import threading
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dashboard.voice import Caller, called_by, caller
from ingest.errors import BenchHoursError, why
from ingest.partial import write_private

Run = Callable[[Sequence[str]], int]
_PATIENCE_S = 10
_LONGEST_LINE = 1_000_000
_LONGEST_PROOF = 200


def _note_of(database: Path) -> Path:
    database = database.resolve()  # whatever other names it goes by
    return database.with_name(database.name + ".serving")


def _proof(key: str, said: str) -> str:
    return hmac.new(key.encode(), said.encode(), hashlib.sha256).hexdigest()


class _Line:
    """A connection on which both sides say JSON objects, each a line of its own."""

    def __init__(self, connection: socket.socket) -> None:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # what is said is heard at once
        self._connection, self._file = connection, connection.makefile("rwb")

    def say(self, **said: object) -> None:
        self._file.write(json.dumps(said).encode() + b"\n")
        self._file.flush()

    def hear(self, longest: int = -1) -> dict[str, Any] | None:
        """What the other side says; None where it has hung up, be it in the middle of a line. Raises ValueError where it is no JSON, or longer (bytes)."""
        try:
            text = self._file.readline(longest)
        except ConnectionError:
            return None
        if len(text) != longest and not text.endswith(b"\n"):
            return None
        said = json.loads(text)
        return said if isinstance(said, dict) else {}

    @contextmanager
    def in_time(self) -> Iterator[None]:
        """Hang up where the block has not ended within some seconds, however many bytes came meanwhile."""
        patience = threading.Timer(_PATIENCE_S, self.hang_up)
        patience.daemon = True
        patience.start()
        try:
            yield
        finally:
            patience.cancel()

    def hang_up(self) -> None:
        with contextlib.suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)  # whoever reads or writes meanwhile hears of it

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._file.close()
        self._connection.close()


# --- the server's side


class _Door(socketserver.ThreadingTCPServer):
    daemon_threads = True  # a server that is stopped does not wait for who is still asking
    block_on_close = False
    request_queue_size = 128  # with 5 of them, who connects and says nothing would keep others waiting for a second

    def __init__(self, key: str, run: Run) -> None:
        self.key, self.run = key, run
        super().__init__(("127.0.0.1", 0), _Asked)

    def handle_error(self, *_: object) -> None:
        """Who asks and hangs up, or says what is no call, is no news."""


class _Asked(socketserver.BaseRequestHandler):
    server: _Door

    def handle(self) -> None:
        with contextlib.closing(_Line(self.request)) as line:
            with line.in_time():
                hello = line.hear(_LONGEST_LINE) or {}
                line.say(proof=_proof(self.server.key, str(hello.get("nonce"))))
                call = line.hear(_LONGEST_LINE) or {}
            if not hmac.compare_digest(str(call.get("key")).encode(), self.server.key.encode()):
                return
            one = Caller(tell=lambda text: line.say(tell=text), complain=lambda text: line.say(complain=text), here=Path(call["here"]), who=call["who"])
            with called_by(one):
                try:
                    code = self.server.run(call["arguments"])
                except ConnectionError:
                    return  # who called has left
                except Exception as error:
                    traceback.print_exc()  # in the window where the server runs
                    line.say(complain=f"the command failed ({type(error).__name__}): what happened is written in the window where bench-hours serve runs")
                    code = 2
                line.say(exit=code)


@contextmanager
def listening(database: Path, pages: str, run: Run) -> Iterator[None]:
    """Run the commands of others on this database until the block ends.

    Parameters
    ----------
    pages : where the pages of this server are, for who wants to start another.
    run : runs the arguments of a command in a thread of its own; its exit code.
    """
    key = secrets.token_hex(32)
    note = _note_of(database)
    with _Door(key, run) as door:
        threading.Thread(target=door.serve_forever, daemon=True, name="commands").start()
        try:
            try:
                write_private(note, json.dumps({"port": door.server_address[1], "key": key, "pages": pages}).encode())
            except OSError as error:
                raise BenchHoursError(f"{note} cannot be written ({why(error)})", "See that the folder of the database may be written.") from error
            yield
        finally:
            with contextlib.suppress(OSError):
                note.unlink()
            door.shutdown()


# --- the caller's side


@dataclass(frozen=True, slots=True)
class Server:
    """A server that answers for a database."""

    port: int
    key: str
    pages: str

    def run(self, arguments: Sequence[str]) -> int:
        """Have a command run there; its exit code, once everything it said was passed on."""
        one = caller()
        call: dict[str, object] = {"key": self.key, "arguments": list(arguments), "here": str(one.here), "who": one.who}
        if len(json.dumps(call)) >= _LONGEST_LINE:
            raise BenchHoursError("too many files are named at once for the running studio", "Name the folder that they are in.")
        line = _knock(self)
        if line is None:
            raise _gone()
        with contextlib.closing(line):
            try:
                line.say(**call)
            except ConnectionError as error:
                raise _gone() from error
            try:
                while said := line.hear():
                    if "exit" in said:
                        return int(said["exit"])
                    (one.tell if "tell" in said else one.complain)(next(iter(said.values())))
            except KeyboardInterrupt as error:
                raise BenchHoursError("stopped", "What the running studio had begun it may have finished; bench-hours check tells what is held") from error
        raise _gone()


def _gone() -> BenchHoursError:
    return BenchHoursError("the studio's server ended before the command did", "What was not finished is as it was before: run the command again.")


def server_of(database: Path) -> Server | None:
    """The server that holds a database; None where there is none, or only a note that one left behind."""
    try:
        with _note_of(database).open(encoding="utf-8") as note:
            if not _is_ours(note.fileno()):
                return None
            said = json.load(note)
        server = Server(int(said["port"]), str(said["key"]), str(said["pages"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    line = _knock(server)
    if line is None:
        return None
    line.close()
    return server


def _is_ours(file: int) -> bool:
    """Only we could have written it, as far as the system tells: in a shared folder anybody may lay a note that leads to a server of his own."""
    if not hasattr(os, "getuid"):
        return True
    about = os.fstat(file)
    return about.st_uid == os.getuid() and not about.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _knock(server: Server) -> _Line | None:
    """A line to a server that proved to know the key; None where nobody answers, or somebody else."""
    try:
        reached = socket.create_connection(("127.0.0.1", server.port), timeout=_PATIENCE_S)
    except OSError:
        return None
    reached.settimeout(None)
    line, nonce = _Line(reached), secrets.token_hex(16)
    try:
        with line.in_time():
            line.say(nonce=nonce)
            told = line.hear(_LONGEST_PROOF) or {}
        if hmac.compare_digest(str(told.get("proof")).encode(), _proof(server.key, nonce).encode()):
            return line
    except (OSError, ValueError):
        pass
    line.close()
    return None
