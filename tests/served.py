"""A server of its own under an address that stays, so that it can be stopped, or killed, and started again."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any


class Served:
    """`bench-hours serve` of one database."""

    def __init__(self, db: Path) -> None:
        self.db = db
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self.address = f"http://localhost:{self.port}"
        self.start()

    def start(self, **options: Any) -> None:
        call = [sys.executable, "-m", "dashboard.command", "serve", "--db", str(self.db), "--port", str(self.port)]
        self.process = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **options)
        for _ in range(1200):
            try:
                urllib.request.urlopen(f"{self.address}/log/icon.svg", timeout=1).close()
                return
            except OSError:
                assert self.process.poll() is None
                time.sleep(0.05)
        raise AssertionError("the server did not start")

    def stop(self, how: int = signal.SIGINT) -> None:
        if self.process.poll() is None:
            self.process.send_signal(how)
        self.process.wait(90)
