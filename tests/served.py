"""A server of its own under an address that stays, so that it can be stopped, or killed, and started again."""

from __future__ import annotations

import random
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any


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
    """`bench-hours serve` of one database."""

    def __init__(self, db: Path) -> None:
        self.db = db
        self.port = free_port()
        self.said = db.with_name("served.txt")
        self.address = f"http://localhost:{self.port}"
        self.start()

    def start(self, **options: Any) -> None:
        call = [sys.executable, "-m", "dashboard.command", "serve", "--db", str(self.db), "--port", str(self.port)]
        with self.said.open("ab") as said:
            self.process = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=said, **options)
        for _ in range(1200):
            try:
                urllib.request.urlopen(f"{self.address}/log/icon.svg", timeout=1).close()
                return
            except OSError:
                assert self.process.poll() is None, self.said.read_text()
                time.sleep(0.05)
        raise AssertionError("the server did not start")

    def stop(self, how: int = signal.SIGINT) -> None:
        if self.process.poll() is None:
            self.process.send_signal(how)
        self.process.wait(90)
