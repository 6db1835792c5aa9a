"""What reading the sheet of a quote costs beside its figures, alone and behind somebody who writes for two
seconds: `python -m tests.benchmarks.sheets [--lines 40]`.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from dashboard import queries
from dashboard.services import demo, quote_build, quote_context
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from ingest.studio.settings import read_settings

TIMES = 15
WRITER_S = 2.0


def seconds(action: Callable[[], object], times: int = TIMES) -> float:
    action()
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        action()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def behind_a_writer(store: Store, action: Callable[[], object]) -> float:
    begun, over = threading.Event(), threading.Event()

    def write() -> None:
        with store.writing() as con:
            con.execute("UPDATE objects SET note = note")
            begun.set()
            over.wait(WRITER_S)

    writer = threading.Thread(target=write)
    writer.start()
    begun.wait()
    began = time.perf_counter()
    action()
    taken = time.perf_counter() - began
    over.set()
    writer.join()
    return taken


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=40)
    args = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as folder,
        demo.fresh(Path(folder) / "demo.duckdb", progress=lambda _: None) as store,
    ):
        con = store.cursor()
        today = queries.today(con)
        techniques = [
            row[0]
            for row in con.execute(
                "SELECT technique FROM techniques WHERE unit IS NOT NULL ORDER BY technique"
            ).fetchall()
        ]
        for lines in (4, args.lines):
            sheet = [
                {
                    "technique": techniques[n % len(techniques)],
                    "part": f"part {n}",
                    "quantity": f"{n + 5}",
                    "hours": "3",
                }
                for n in range(lines)
            ]
            work = QuotedWork(described={"title": "A mill", "height_cm": "40", "width_cm": "50"}, lines=sheet)
            quote = Quote(works=[work])
            known, studio = quote_context.load_context(con, today, without_open=()), read_settings(con)
            read = quote_drafts.read_over(store, work, today, {})
            read_sheet = partial(quote_drafts.read_over, store, work, today, {})
            figures = seconds(partial(quote_build.quoted, known, quote, [read], studio), 5)
            sheets, behind = seconds(read_sheet), behind_a_writer(store, read_sheet)
            print(
                f"{lines} lines: sheet {1000 * sheets:.0f} ms, behind a writer of {WRITER_S:.0f} s"
                f" {1000 * behind:.0f} ms; figures {1000 * figures:.0f} ms; sheet / figures"
                f" {sheets / figures:.2f}"
            )


if __name__ == "__main__":
    main()
