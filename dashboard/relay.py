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

Run = Callable[[Sequence[str]], int]
_PATIENCE_S = 10
_LONGEST_LINE = 1_000_000


def _note_of(database: Path) -> Path:
    database = database.resolve()  # whatever other names it goes by
    return database.with_name(database.name + ".serving")


def _proof(key: str, said: str) -> str:
    return hmac.new(key.encode(), said.encode(), hashlib.sha256).hexdigest()


# --- the server's side


class _Door(socketserver.ThreadingTCPServer):
    daemon_threads = True  # a server that is stopped does not wait for who is still asking
    block_on_close = False

    def __init__(self, key: str, run: Run) -> None:
        self.key, self.run = key, run
        super().__init__(("127.0.0.1", 0), _Asked)

    def handle_error(self, *_: object) -> None:
        """Who asks and hangs up is no news."""


class _Asked(socketserver.StreamRequestHandler):
    timeout = _PATIENCE_S
    server: _Door

    def handle(self) -> None:
        hello = self._hear()
        self._say({"proof": _proof(self.server.key, str(hello.get("nonce")))})
        call = self._hear()
        if not hmac.compare_digest(str(call.get("key")), self.server.key):
            return
        self.connection.settimeout(None)
        one = Caller(tell=lambda text: self._say({"tell": text}), complain=lambda text: self._say({"complain": text}), here=Path(call["here"]), who=call["who"])
        with called_by(one):
            try:
                code = self.server.run(call["arguments"])
            except ConnectionError:
                return  # who called has left
            except Exception as error:
                traceback.print_exc()  # in the window where the server runs
                self._say({"complain": f"the command failed ({type(error).__name__}): what happened is written in the window where bench-hours serve runs"})
                code = 2
            self._say({"exit": code})

    def _hear(self) -> dict[str, Any]:
        found = json.loads(self.rfile.readline(_LONGEST_LINE))
        return found if isinstance(found, dict) else {}

    def _say(self, what: dict[str, object]) -> None:
        self.wfile.write(json.dumps(what).encode() + b"\n")


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
            _write_note(note, {"port": door.server_address[1], "key": key, "pages": pages})
            yield
        finally:
            with contextlib.suppress(OSError):
                note.unlink()
            door.shutdown()


def _write_note(note: Path, said: dict[str, object]) -> None:
    """Write it where nobody but this user may read it, not even for a moment."""
    own = note.with_name(f"{note.name}.{os.getpid()}")
    try:
        own.unlink(missing_ok=True)
        with open(os.open(own, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as out:
            json.dump(said, out)
        os.replace(own, note)
    except OSError as error:
        raise BenchHoursError(f"{note} cannot be written ({why(error)})", "See that the folder of the database may be written.") from error


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
        reached = _knock(self)
        if reached is None:
            raise _gone()
        with reached, reached.makefile("rwb") as line:
            try:
                _send(line, call)
            except ConnectionError as error:
                raise _gone() from error
            try:
                while text := _heard(line):
                    said = json.loads(text)
                    if "exit" in said:
                        return int(said["exit"])
                    (one.tell if "tell" in said else one.complain)(next(iter(said.values())))
            except KeyboardInterrupt as error:
                raise BenchHoursError("stopped", "What the running studio had begun it may have finished; bench-hours check tells what is held") from error
        raise _gone()


def _heard(line: Any) -> bytes:
    """The next line, nothing where the server is gone."""
    try:
        return bytes(line.readline())
    except ConnectionError:
        return b""


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
    reached = _knock(server)
    if reached is None:
        return None
    reached.close()
    return server


def _is_ours(file: int) -> bool:
    """Only we could have written it, as far as the system tells: in a shared folder anybody may lay a note that leads to a server of his own."""
    if not hasattr(os, "getuid"):
        return True
    about = os.fstat(file)
    return about.st_uid == os.getuid() and not about.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _knock(server: Server) -> socket.socket | None:
    """A line to a server that proved to know the key; None where nobody answers, or somebody else."""
    try:
        reached = socket.create_connection(("127.0.0.1", server.port), timeout=_PATIENCE_S)
    except OSError:
        return None
    try:
        with reached.makefile("rwb") as line:
            nonce = secrets.token_hex(16)
            _send(line, {"nonce": nonce})
            told = json.loads(line.readline(_LONGEST_LINE))
        if hmac.compare_digest(str(told.get("proof")), _proof(server.key, nonce)):
            reached.settimeout(None)
            return reached
    except (OSError, ValueError, AttributeError):
        pass
    reached.close()
    return None


def _send(line: Any, what: dict[str, object]) -> None:
    line.write(json.dumps(what).encode() + b"\n")
    line.flush()
