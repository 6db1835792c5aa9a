"""A server of its own under an address that stays, so that it can be stopped, or killed, and started again."""

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

    The system gives ports of its own choice from 32,768 (Linux) or 49,152 up: a connection or a server of another
    test could take one of those between here and the start of the server it was meant for.
    """
    while True:
        port = random.randrange(15_000, 32_000)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port


class Served:
    """`bench-hours serve` of one database; `options` say to whom, like `--phones`."""

    def __init__(self, db: Path, *options: str) -> None:
        self.db, self.options = db, options
        self.port = free_port()
        self.said = db.with_name("served.txt")
        secure = "--phones" in options and "--plain" not in options
        self.address = f"{'https' if secure else 'http'}://localhost:{self.port}"
        self.start()

    def start(self, **options: Any) -> None:
        call = ["-m", "dashboard.command", "serve", "--db", str(self.db), "--port", str(self.port), *self.options]
        with self.said.open("ab") as said:
            self.process = ready.start(*call, stdout=subprocess.DEVNULL, stderr=said, **options)
        for _ in range(1200):
            try:
                urllib.request.urlopen(f"{self.address}/log/icon.svg", timeout=1, context=ssl._create_unverified_context()).close()
                return
            except urllib.error.HTTPError:  # it refuses, so it is there
                return
            except OSError:
                assert self.process.poll() is None, self.said.read_text()
                time.sleep(0.05)
        raise AssertionError("the server did not start")

    def stop(self, how: int = signal.SIGINT) -> None:
        if self.process.poll() is None:
            self.process.send_signal(how)
        self.process.wait(90)

    def discard(self) -> None:
        """End it at once, as nobody wants its studio any more; how one is stopped is seen to elsewhere."""
        self.stop(signal.SIGKILL)

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
