"""Commands on a database that a server holds: the server runs them, with the output of the caller.

The server leaves a note beside the database, readable by its user alone, with a port of this machine and a
random key. A command has the server prove by HMAC that it knows the key, then sends key and arguments; output
and exit code come back as lines of JSON. A note whose server has ended is ignored.

`multiprocessing.connection` is no substitute: both of its sides answer the same challenge with the same key,
so a stranger between two commands could pass the answer of one to the other, and it reads without time limit.
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

from dashboard.cli.caller import Caller, as_caller, caller
from ingest.errors import BenchHoursError, why
from ingest.safekeeping.atomic_folder import write_private

Run = Callable[[Sequence[str]], int]
_HANDSHAKE_S = 10
_LONGEST_LINE = 1_000_000
_LONGEST_PROOF = 200


def _note_path(database: Path) -> Path:
    database = database.resolve()
    return database.with_name(database.name + ".serving")


def _proof(key: str, text: str) -> str:
    return hmac.new(key.encode(), text.encode(), hashlib.sha256).hexdigest()


class _Connection:
    """A connection that carries JSON objects, one a line."""

    def __init__(self, connection: socket.socket) -> None:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._connection, self._file = connection, connection.makefile("rwb")

    def send(self, **values: object) -> None:
        self._file.write(json.dumps(values).encode() + b"\n")
        self._file.flush()

    def receive(self, longest: int = -1) -> dict[str, Any] | None:
        """The next object; None where the other side has closed, be it within a line. Raises ValueError where
        the line is no JSON, or longer (bytes).
        """
        try:
            text = self._file.readline(longest)
        except ConnectionError:
            return None
        if len(text) != longest and not text.endswith(b"\n"):
            return None
        values = json.loads(text)
        return values if isinstance(values, dict) else {}

    @contextmanager
    def time_limit(self) -> Iterator[None]:
        """Shut the connection down where the block takes longer than `_HANDSHAKE_S`, whatever arrives."""
        timer = threading.Timer(_HANDSHAKE_S, self._shut_down)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    def _shut_down(self) -> None:
        with contextlib.suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)  # which ends reads and writes of other threads

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._file.close()
        self._connection.close()


# --- the server's side


class _CommandServer(socketserver.ThreadingTCPServer):
    daemon_threads = True  # a server that stops does not wait for callers
    block_on_close = False
    request_queue_size = 128  # with the usual 5, silent connections would delay others by a second

    def __init__(self, key: str, run: Run) -> None:
        self.key, self.run = key, run
        super().__init__(("127.0.0.1", 0), _CommandHandler)

    def handle_error(self, *_: object) -> None:
        """Report nothing: a caller has left, or a stranger sent no call."""


class _CommandHandler(socketserver.BaseRequestHandler):
    server: _CommandServer

    def handle(self) -> None:
        with contextlib.closing(_Connection(self.request)) as line:
            with line.time_limit():
                hello = line.receive(_LONGEST_LINE) or {}
                line.send(proof=_proof(self.server.key, str(hello.get("nonce"))))
                call = line.receive(_LONGEST_LINE) or {}
            if not hmac.compare_digest(str(call.get("key")).encode(), self.server.key.encode()):
                return
            remote_caller = Caller(
                out=lambda text: line.send(tell=text),
                err=lambda text: line.send(complain=text),
                folder=Path(call["here"]),
                user=call["who"],
            )
            with as_caller(remote_caller):
                try:
                    code = self.server.run(call["arguments"])
                except ConnectionError:
                    return  # the caller has left
                except Exception as error:
                    traceback.print_exc()  # in the window where the server runs
                    line.send(
                        complain=(
                            f"the command failed ({type(error).__name__}): what happened is written in the"
                            " window where bench-hours serve runs"
                        )
                    )
                    code = 2
                line.send(exit=code)


@contextmanager
def listening(database: Path, pages: str, run: Run) -> Iterator[None]:
    """Run commands of other processes on this database until the block ends.

    Parameters
    ----------
    pages : address of the pages of this server, told to whoever starts another.
    run : runs the arguments of a command, in a thread of its own; returns its exit code.
    """
    key = secrets.token_hex(32)
    note = _note_path(database)
    with _CommandServer(key, run) as door:
        threading.Thread(target=door.serve_forever, daemon=True, name="commands").start()
        try:
            try:
                write_private(
                    note, json.dumps({"port": door.server_address[1], "key": key, "pages": pages}).encode()
                )
            except OSError as error:
                raise BenchHoursError(
                    f"{note} cannot be written ({why(error)})",
                    "See that the folder of the database may be written.",
                ) from error
            yield
        finally:
            with contextlib.suppress(OSError):
                note.unlink()
            door.shutdown()


# --- the caller's side


@dataclass(frozen=True, slots=True)
class Server:
    """A server that holds a database."""

    port: int
    key: str
    pages: str

    def run(self, arguments: Sequence[str]) -> int:
        """Run a command there and write its output; its exit code."""
        local_caller = caller()
        call: dict[str, object] = {
            "key": self.key,
            "arguments": list(arguments),
            "here": str(local_caller.folder),
            "who": local_caller.user,
        }
        if len(json.dumps(call)) >= _LONGEST_LINE:
            raise BenchHoursError(
                "too many files are named at once for the running studio", "Name the folder that they are in."
            )
        line = _connect(self)
        if line is None:
            raise _server_ended()
        with contextlib.closing(line):
            try:
                line.send(**call)
            except ConnectionError as error:
                raise _server_ended() from error
            try:
                while values := line.receive():
                    if "exit" in values:
                        return int(values["exit"])
                    (local_caller.out if "tell" in values else local_caller.err)(next(iter(values.values())))
            except KeyboardInterrupt as error:
                raise BenchHoursError(
                    "stopped",
                    "What the running studio had begun it may have finished; bench-hours check tells what is"
                    " held",
                ) from error
        raise _server_ended()


def _server_ended() -> BenchHoursError:
    return BenchHoursError(
        "the studio's server ended before the command did",
        "What was not finished is as it was before: run the command again.",
    )


def server_of(database: Path) -> Server | None:
    """The server that holds a database; None where there is none, or only the note of one that has ended."""
    try:
        with _note_path(database).open(encoding="utf-8") as note:
            if not _is_ours(note.fileno()):
                return None
            values = json.load(note)
        server = Server(int(values["port"]), str(values["key"]), str(values["pages"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    line = _connect(server)
    if line is None:
        return None
    line.close()
    return server


def _is_ours(file: int) -> bool:
    """Whether only this user could have written a file: in a shared folder anybody may leave a note that
    leads to a server of their own.
    """
    if not hasattr(os, "getuid"):
        return True
    status = os.fstat(file)
    return status.st_uid == os.getuid() and not status.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _connect(server: Server) -> _Connection | None:
    """A connection to a server that proved to know the key; None where none answers, or another program."""
    try:
        connection = socket.create_connection(("127.0.0.1", server.port), timeout=_HANDSHAKE_S)
    except OSError:
        return None
    connection.settimeout(None)
    line, nonce = _Connection(connection), secrets.token_hex(16)
    try:
        with line.time_limit():
            line.send(nonce=nonce)
            answer = line.receive(_LONGEST_PROOF) or {}
        if hmac.compare_digest(str(answer.get("proof")).encode(), _proof(server.key, nonce).encode()):
            return line
    except (OSError, ValueError):
        pass
    line.close()
    return None
