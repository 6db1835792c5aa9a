"""How tests start a server, and how they end one: stopped as a person stops it, or killed."""

from __future__ import annotations

import random
import re
import signal
import socket
import ssl
import subprocess
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from tests import ready


def free_port() -> int:
    """A port that nobody has, and that the system gives to nobody while a server is on its way to it.

    The system gives ports of its own choice from 32,768 (Linux) or 49,152 up: a connection or a server of
    another test could take one of those between here and the start of the server it was meant for.
    """
    while True:
        port = random.randrange(15_000, 32_000)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port


STOPPED_WITHIN_S = 20.0
"""A stop is over so soon: the server bears three seconds with who does not let go; the rest is for a busy
machine.
"""


class Server:
    """A process that serves the pages of a database at an address that stays: stopped as a person does it, or
    killed, and started again.

    Attributes
    ----------
    said : the file into which all goes that it says on stderr.

    Parameters
    ----------
    options : to whom it serves, like `--phones`.
    command : `serve` or `demo`.
    program : what python runs, where that is something else.
    """

    def __init__(
        self,
        db: Path,
        *options: str,
        command: str = "serve",
        program: tuple[str, ...] = ("-m", "dashboard.cli.main"),
    ) -> None:
        self.db, self.port, self.said = db, free_port(), db.with_name("served.txt")
        self._call = [*program, command, "--db", str(db), "--port", str(self.port), *options]
        secure = "--phones" in options and "--plain" not in options
        self.address = f"{'https' if secure else 'http'}://localhost:{self.port}"
        self.start()

    def start(self, **options: Any) -> None:
        with self.said.open("ab") as said:
            self.process = ready.start(*self._call, stdout=subprocess.DEVNULL, stderr=said, **options)
        for _ in range(1200):
            try:
                urllib.request.urlopen(
                    f"{self.address}/log/icon.svg", timeout=1, context=ssl._create_unverified_context()
                ).close()
                return
            except urllib.error.HTTPError:  # it refuses, so it is there
                return
            except OSError:
                assert self.process.poll() is None, self.said.read_text()
                time.sleep(0.05)
        self.discard()
        raise AssertionError("the server did not start")

    def stop(self, how: signal.Signals = signal.SIGINT, within_s: float = STOPPED_WITHIN_S) -> float:
        """Stop it as a person does by Ctrl-C, or as the system does (SIGTERM); how many seconds it took.
        Fails where it does not end in good order and in time.
        """
        assert self.process.poll() is None, f"it had ended by itself: {self.said.read_text()}"
        begun = time.monotonic()
        self.process.send_signal(how)
        try:
            code = self.process.wait(within_s)
        except subprocess.TimeoutExpired:
            self.discard()
            raise AssertionError(
                f"not stopped {within_s:g} s after {how.name}: {self.said.read_text()}"
            ) from None
        assert code == 0, f"stopped by {how.name} with exit code {code}: {self.said.read_text()}"
        return time.monotonic() - begun

    def discard(self) -> None:
        """Kill it: what it leaves behind is looked at, or nobody wants its studio any more."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(90)

    def command(self, *call: str) -> str:
        """What a command says that is run while it serves."""
        done = ready.command(call[0], "--db", str(self.db), *call[1:])
        assert done.returncode == 0, done.stderr
        return done.stdout

    def code(self, role: str, *more: str) -> str:
        """A code that pairs a device."""
        found = re.search(r"[A-Z2-7]{5}-[A-Z2-7]{5}", self.command("pair", "--role", role, *more))
        assert found
        return found[0]
