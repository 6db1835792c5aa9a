"""Commands and servers that begin at once: processes of their own, forked from one that has imported
everything already.

What is started here is what `python -m dashboard.cli.main …` starts, with streams, folder, environment,
signals, end and process id of its own; only its imports (1.3 s of a core) were done once, before. The process
that waits has one thread and opens no file, no database and no port: all of that happens in the child.
Elsewhere than on Linux (where a fork after imports is no safe thing) each is started from nothing. What
proves that the installed command begins by itself is started by `subprocess`, as are the starts of which a
test says so.
"""

from __future__ import annotations

import atexit
import contextlib
import functools
import gc
import importlib
import json
import os
import pkgutil
import runpy
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import IO, Any, NoReturn

from dashboard import analysis, charts, documents
from tests import ROOT

_IMPORTED = (
    "uvicorn",
    "uvicorn.lifespan.on",
    "uvicorn.loops.auto",
    "uvicorn.protocols.websockets.auto",
    "streamlit.web.bootstrap",
    "streamlit.web.server.starlette",
    "streamlit.runtime.scriptrunner.script_runner",
)
"""What `serve` imports once it runs."""
_ONE_THREAD = {
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "JE_ARROW_MALLOC_CONF": "background_thread:false",
}


class Process:
    """A process begun by `start`: what tests use of `subprocess.Popen`."""

    def __init__(
        self, call: Iterable[str], report: socket.socket, streams: tuple[IO[Any] | None, IO[Any] | None]
    ) -> None:
        self.args, self._report = [*call], report
        self.stdout, self.stderr = streams
        self.returncode: int | None = None
        self.pid = self._read()

    def _read(self) -> int:
        """The next number that the waiting process reports: the process id, then how it ended."""
        text = b""
        while not text.endswith(b"\n"):
            byte = self._report.recv(1)
            if not byte:
                raise RuntimeError("the process from which tests start others has ended")
            text += byte
        return int(text)

    def poll(self) -> int | None:
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.wait(0)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        if self.returncode is None:
            if not select.select([self._report], [], [], timeout)[0]:
                raise subprocess.TimeoutExpired(self.args, timeout or 0)
            self.returncode = self._read()
            self._report.close()
        return self.returncode

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            with contextlib.suppress(ProcessLookupError):  # it may end just now
                os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def communicate(self, timeout: float | None = None) -> tuple[Any, Any]:
        """All that it says until it ends; what takes longer is killed."""
        late = threading.Timer(timeout, self.kill) if timeout is not None else None
        if late:
            late.start()
        with ThreadPoolExecutor(2) as both:
            said = [
                both.submit(stream.read) if stream and not stream.closed else None
                for stream in (self.stdout, self.stderr)
            ]
        self.wait()
        if late:
            late.cancel()
        for stream in (self.stdout, self.stderr):
            if stream:
                stream.close()
        return said[0] and said[0].result(), said[1] and said[1].result()


def start(
    *call: str,
    cwd: Path | None = None,
    env: Mapping[str, str] | None = None,
    stdout: IO[Any] | int | None = None,
    stderr: IO[Any] | int | None = None,
    text: bool = False,
    preexec_fn: Any = None,
) -> Process | subprocess.Popen[Any]:
    """Start `python` with these arguments (`-m module …` or `-c code …`), as `subprocess.Popen` does."""
    if sys.platform != "linux" or preexec_fn:
        return subprocess.Popen(
            [sys.executable, *call],
            cwd=cwd,
            env=env,
            stdout=stdout,
            stderr=stderr,
            text=text,
            preexec_fn=preexec_fn,  # noqa: PLW1509
        )
    ends: list[tuple[int, bool]] = []
    ours: list[IO[Any] | None] = []
    for stream, usual in ((stdout, 1), (stderr, 2)):
        if stream == subprocess.PIPE:
            read, write = os.pipe()
            ours.append(os.fdopen(read, "r" if text else "rb"))
            ends.append((write, True))
        else:
            ours.append(None)
            opened = os.open(os.devnull, os.O_WRONLY) if stream == subprocess.DEVNULL else None
            ends.append(
                (
                    (
                        usual
                        if stream is None
                        else stream.fileno()
                        if not isinstance(stream, int)
                        else opened or stream
                    ),
                    opened is not None,
                )
            )
    report, theirs = socket.socketpair()
    wish = {"call": call, "cwd": str(cwd or Path.cwd()), "env": dict(os.environ if env is None else env)}
    _waiting().ask(wish, [ends[0][0], ends[1][0], theirs.fileno()])
    theirs.close()
    for number, is_ours in ends:
        if is_ours:
            os.close(number)
    return Process(call, report, (ours[0], ours[1]))


def run(
    *call: str, cwd: Path | None = None, env: Mapping[str, str] | None = None, timeout: float | None = 300
) -> subprocess.CompletedProcess[str]:
    """Run `python` with these arguments to its end, as `subprocess.run` does; its words are kept apart as
    texts.
    """
    process = start(*call, cwd=cwd, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    said, complained = process.communicate(timeout)
    assert process.returncode is not None
    return subprocess.CompletedProcess([*call], process.returncode, said, complained)


def command(
    *arguments: str, cwd: Path | None = None, env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """Run `bench-hours` with these arguments to its end."""
    return run("-m", "dashboard.cli.main", *arguments, cwd=cwd, env=env)


class _Waiting:
    """The process that waits, and the socket on which it is asked for others; it ends when this one does."""

    def __init__(self) -> None:
        self._asks, theirs = socket.socketpair()
        self._turn = threading.Lock()
        with theirs:
            environment = {**os.environ, **_ONE_THREAD}
            call = [sys.executable, "-m", "tests.ready", str(theirs.fileno())]
            self._process = subprocess.Popen(
                call, cwd=ROOT, env=environment, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL
            )
        atexit.register(self._close)

    def ask(self, wish: dict[str, Any], ends: list[int]) -> None:
        text = json.dumps(wish).encode()
        with self._turn:
            socket.send_fds(self._asks, [len(text).to_bytes(4, "big")], ends)
            self._asks.sendall(text)

    def _close(self) -> None:
        self._asks.close()
        self._process.wait(60)


@functools.cache
def _waiting() -> _Waiting:
    return _Waiting()


# --- in the process that waits


def _wait_for_wishes(asks: socket.socket) -> dict[str, Any]:
    """Fork a child for each wish until nobody is left to ask; returns only in a child, with its wish."""
    woken, wakes = socket.socketpair()
    for end in (woken, wakes):
        end.setblocking(False)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for those who ask
    signal.signal(signal.SIGCHLD, lambda *_: None)
    signal.set_wakeup_fd(wakes.fileno(), warn_on_full_buffer=False)
    reports: dict[int, socket.socket] = {}
    while True:
        able = select.select([asks, woken], [], [])[0]
        if woken in able:
            woken.recv(4096)
            while reports:
                pid, status = os.waitpid(-1, os.WNOHANG)
                if not pid:
                    break
                with reports.pop(pid) as report, contextlib.suppress(OSError):  # who asked may be gone
                    report.sendall(b"%d\n" % os.waitstatus_to_exitcode(status))
        if asks in able:
            size, ends, _, _ = socket.recv_fds(asks, 4, 3)
            if not size:
                sys.exit()
            text = b""
            # no byte more: the next wish may have come
            while missing := int.from_bytes(size, "big") - len(text):
                if not (part := asks.recv(missing)):
                    sys.exit()
                text += part
            report = socket.socket(fileno=ends[2])
            pid = os.fork()
            if not pid:
                signal.set_wakeup_fd(-1)
                signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                signal.signal(signal.SIGINT, signal.default_int_handler)
                for end in (asks, woken, wakes, report, *reports.values()):
                    end.close()
                for number, stream in enumerate(ends[:2], start=1):
                    os.dup2(stream, number)
                    os.close(stream)
                wish: dict[str, Any] = json.loads(text)
                return wish
            os.close(ends[0])
            os.close(ends[1])
            reports[pid] = report
            report.sendall(b"%d\n" % pid)


def _become(wish: dict[str, Any]) -> NoReturn:
    """Be the `python` that was wished for, to its end."""
    os.environ.clear()
    os.environ.update(wish["env"])
    time.tzset()
    os.chdir(wish["cwd"])
    kind, what, *arguments = wish["call"]
    sys.argv = [kind, *arguments]
    sys.stdout = os.fdopen(1, "w", closefd=False)
    sys.stderr = os.fdopen(2, "w", buffering=1, errors="backslashreplace", closefd=False)
    vars(sys).update(__stdout__=sys.stdout, __stderr__=sys.stderr)
    if kind == "-m":
        sys.modules.pop(what, None)  # it is run anew, as the program that it now is
        runpy.run_module(what, run_name="__main__", alter_sys=True)
    else:
        exec(compile(what, "<string>", "exec"), {"__name__": "__main__"})
    sys.exit()


def _of_ours() -> Iterable[str]:
    """What commands import, and what pages draw with; what is made of Streamlit's own waits for a server, as
    it asks whether there is one.
    """
    yield "dashboard.cli.main"
    for package in (analysis, charts, documents):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            yield module.name


def main() -> None:
    for name in (*_of_ours(), *_IMPORTED):
        importlib.import_module(name)
    threads = len(os.listdir("/proc/self/task"))
    assert threads == 1, (
        f"{threads} threads run before the fork: {[item.name for item in threading.enumerate()]}"
    )
    asks = socket.socket(fileno=int(sys.argv[1]))
    gc.collect()
    gc.freeze()  # what everybody shares is not touched by looking through it
    _become(_wait_for_wishes(asks))


if __name__ == "__main__":
    main()
