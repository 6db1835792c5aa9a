"""Words that wait for the next start, on one entry and on many: `python -m tests.benchmarks.settling [--one
--many --faulty]`.

A server was killed before it settled them. Says how long the next one takes to answer, how long its posts
take meanwhile, and when all is settled; stops where the record is not what the words say in the end.
`--faulty`: so many words on another entry, none of which can be stored.
"""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

from ingest.phone.inbox import Inbox
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from tests.conftest import bring_into
from tests.phones import action, ms, name
from tests.served import Server

IN_ONE = 200
WORKS = 40


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--one", type=int, default=62_000)
    parser.add_argument("--many", type=int, default=100_000)
    parser.add_argument("--faulty", type=int, default=0)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-hours-settling-") as folder:
        db = Path(folder) / "studio.duckdb"
        with Store(db) as store:
            bring_into(
                store,
                Path(folder),
                "objects.csv",
                "object,title\n" + "".join(f"26-{n:03},Work {n}\n" for n in range(WORKS)),
            )
            begun = time.perf_counter()
            last = leave_waiting(store, said.one, said.many, said.faulty)
            posts = -(-said.one // IN_ONE) + -(-said.many // IN_ONE) + -(-said.faulty // IN_ONE)
            print(
                f"{said.one + said.many + said.faulty:,} words received in {posts:,} posts:"
                f" {time.perf_counter() - begun:.1f} s"
            )
        begun = time.perf_counter()
        Server(Path(folder) / "empty.duckdb").discard()
        print(f"a start with nothing waiting answers after {time.perf_counter() - begun:.1f} s")
        begun = time.perf_counter()
        server = Server(db)
        try:
            listens = time.perf_counter() - begun
            print(f"the next start answers after {listens:.1f} s")
            took = list(_until_settled(server, last, begun))
            print(
                f"all is settled {time.perf_counter() - begun:.1f} s after it; a post meanwhile: median"
                f" {statistics.median(took) * 1000:.0f} ms, slowest {max(took) * 1000:.0f} ms"
            )
        finally:
            server.stop()
        with Store(db) as store:
            con = store.cursor()
            assert faults(con) == []
            assert con.execute(
                "SELECT count(*) FROM phone_actions ANTI JOIN phone_outcomes USING (action)"
            ).fetchall() == [(0,)]
            counts = dict(
                con.execute(
                    "SELECT outcome, count(*) FROM phone_outcomes GROUP BY outcome ORDER BY outcome"
                ).fetchall()
            )
            assert con.execute("SELECT count(*), round(sum(hours), 2) FROM spells").fetchall() == [
                (
                    said.many + (said.one > 0) + len(took),
                    round(said.many / 2 + len(took) / 2 + (said.one > 0), 2),
                )
            ]
            print(f"in the end: {counts}")
    return 0


def leave_waiting(store: Store, one: int, many: int, faulty: int = 0) -> list[str]:
    """Words that are received and not settled; the last of each kind. The last word on the one entry says an
    hour, those on the many half an hour each.
    """
    now = datetime.now(UTC).replace(tzinfo=None)
    inbox, last = Inbox(store), []

    def words(entry: str, count: int, hours: str) -> Iterator[dict[str, Any]]:
        day = f"{now - timedelta(days=1):%Y-%m-%d}"
        for n in range(count):
            row = {
                "object": f"26-{n % WORKS:03}",
                "date": day if hours != "0.5" else f"{now - timedelta(days=1 + n // 20):%Y-%m-%d}",
                "hours": hours,
                "note": f"{n}",
            }
            made = action(
                f"{entry}{n if hours == '0.5' else ''}",
                at=now - timedelta(hours=3) + timedelta(milliseconds=n),
                row=row,
                number=n + 1,
            )
            yield {**made, "action": name((entry, "action", n))}

    for entry, count, hours in (("one", one, "1"), ("many", many, "0.5"), ("faulty", faulty, "long")):
        made, phone = words(entry, count, hours), name(("phone", entry))
        while some := list(islice(made, IN_ONE)):
            inbox.receive({"phone": phone, "clock": ms(now), "actions": some}, now)
            last_of = some[-1]["action"]
        if count:
            last.append(last_of)
    return last


def _until_settled(server: Server, last: list[str], begun: float) -> Iterator[float]:
    """How long posts take until all these words are settled."""
    phone = name("somebody who goes on logging")
    for count in range(10**6):
        now = datetime.now(UTC).replace(tzinfo=None)
        said = action(
            f"meanwhile {count}",
            at=now,
            row={"object": "26-001", "date": f"{now - timedelta(days=1):%Y-%m-%d}", "hours": "0.5"},
            number=count,
        )
        asked = time.perf_counter()
        _post(server, "actions", {"version": 1, "phone": phone, "clock": ms(now), "actions": [said]})
        yield time.perf_counter() - asked
        answer = _post(server, "outcomes", {"actions": [*last, said["action"]]})
        assert not answer["trouble"], answer
        if len(answer["outcomes"]) == len(last) + 1:
            return
        time.sleep(0.2)


def _post(server: Server, call: str, said: dict[str, Any]) -> Any:
    request = urllib.request.Request(
        f"{server.address}/log/v1/{call}", json.dumps(said).encode(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request, timeout=60) as answer:
        return json.loads(answer.read())


if __name__ == "__main__":
    raise SystemExit(main())
