"""Mutated files of every kind through the real check and import, for as long as one likes.

`python -m tests.benchmarks.fuzz --minutes 30` runs on as many processes as there are cores and prints what it
saw: files and rows read, the different remarks that were met, the memory at the start and at its highest. A
file whose remarks were not met before is mutated further and kept in `tests/benchmarks/corpus/`, which a test
reads again on every run.

It ends with an error if anything but a `BenchHoursError` is raised, if a count of rows does not add up, if a
check changes the store, or if anything is stored that `FORBIDDEN` finds.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import multiprocessing
import os
import random
import re
import resource
import tempfile
import time
import traceback
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from dashboard.services import demo
from ingest.errors import BenchHoursError
from ingest.importing.check import Checked
from ingest.importing.files import check_files, import_files
from ingest.safekeeping.export import export
from ingest.schema.csv_columns import FORMS, LONGEST_SPELL_HOURS
from ingest.store import Store
from ingest.studio.settings import write_settings

CORPUS = Path(__file__).with_name("corpus")
SMALL_ROWS = 12
LARGE_ROWS = 40_000

# What the checks promise never to store; each query counts the rows that break the promise.
FORBIDDEN = {
    "a spell without length": "SELECT count(*) FROM spells WHERE NOT (hours > 0)",
    "a hands-on or attended spell over 16 hours": (
        f"SELECT count(*) FROM spells WHERE mode <> 'unattended' AND hours > {LONGEST_SPELL_HOURS}"
    ),
    "hours that are no number": (
        "SELECT count(*) FROM spells WHERE NOT isfinite(hours) OR NOT isfinite(counted_hours)"
    ),
    "more counted than worked": (
        "SELECT count(*) FROM spells WHERE counted_hours < 0 OR counted_hours > hours + 1e-9"
    ),
    "unattended hours that count": (
        "SELECT count(*) FROM spells WHERE mode = 'unattended' AND counted_hours <> 0"
    ),
    "a word that is none": (
        "SELECT count(*) FROM spells WHERE mode NOT IN ('hands_on', 'attended', 'unattended') OR charge NOT"
        " IN ('quoted', 'extra', 'own_cost')"
    ),
    "a clock that runs backwards": (
        "SELECT count(*) FROM spells WHERE ended_at <= started_at OR (started_at IS NULL) <> (ended_at IS"
        " NULL)"
    ),
    "a day that has not come": "SELECT count(*) FROM spells WHERE day > current_date + 1",
    "per cent out of range": "SELECT count(*) FROM spells WHERE NOT done BETWEEN 0 AND 100",
    "a quantity that cannot be": (
        "SELECT count(*) FROM spells WHERE quantity < 0 OR NOT isfinite(quantity) OR (unit = 'pcs' AND"
        " quantity <> floor(quantity))"
    ),
    "a spell of nobody": "SELECT count(*) FROM spells WHERE person NOT IN (SELECT person FROM people)",
    "two entries of one name": "SELECT count(*) - count(DISTINCT entry) FROM spells",
    "a spell on no line": "SELECT count(*) FROM spells WHERE line NOT IN (SELECT line FROM lines)",
    "a line of no object": "SELECT count(*) FROM lines WHERE object NOT IN (SELECT object FROM objects)",
    "work on nothing": (
        "SELECT count(*) FROM time_entries AS e JOIN phases AS p ON p.phase = e.phase WHERE e.object IS NULL"
        " AND p.position > 0"
    ),
    "a word that is not known": (
        "SELECT count(*) FROM lines WHERE phase NOT IN (SELECT phase FROM phases) OR technique NOT IN (SELECT"
        " technique FROM techniques)"
    ),
    "a gap in the versions": (
        "SELECT count(*) FROM (SELECT object FROM estimate_versions GROUP BY object HAVING max(version) <>"
        " count(*) OR min(version) <> 1)"
    ),
    "a version without lines": (
        "SELECT count(*) FROM estimate_versions WHERE (object, version) NOT IN (SELECT (object, version) FROM"
        " estimate_lines)"
    ),
    "a line without hours or quantity": (
        "SELECT count(*) FROM estimate_lines WHERE hours IS NULL AND quantity IS NULL"
    ),
    "hours outside their range": (
        "SELECT count(*) FROM estimate_lines WHERE low_hours > high_hours OR hours < low_hours OR hours >"
        " high_hours"
    ),
    "approved before it was made": "SELECT count(*) FROM estimate_versions WHERE approved_on < made_on",
    "a grade that is none": (
        "SELECT count(*) FROM objects WHERE NOT structure_condition BETWEEN 0 AND 3 OR NOT paint_condition"
        " BETWEEN 0 AND 3"
    ),
    "a size that cannot be": (
        "SELECT count(*) FROM objects WHERE height_cm <= 0 OR width_cm <= 0 OR area_dm2 <= 0"
    ),
    "finished before it came": "SELECT count(*) FROM objects WHERE finished_on < received_on",
    "a work that returned from nowhere": (
        "SELECT count(*) FROM objects WHERE returned_from NOT IN (SELECT object FROM objects) OR"
        " returned_from = object"
    ),
    "a milestone of nothing": (
        "SELECT count(*) FROM milestones WHERE object NOT IN (SELECT object FROM objects) OR phase NOT IN"
        " (SELECT phase FROM phases)"
    ),
}

_CELLS = [
    "",
    " ",
    "'",
    "''",
    "'=1+1",
    "=1+1",
    "-3",
    "+49 170",
    "@x",
    "\t",
    "0",
    "-0",
    "1e9",
    "1e309",
    "nan",
    "inf",
    "1,5",
    "1.450",
    "1,450",
    "1:30",
    "1h30",
    "90 min",
    "PT1H30M",
    "P1Y",
    "16",
    "16.01",
    "1440",
    "2024-02-30",
    "2024-02-29",
    "29/02/2024",
    "03/04/2025",
    "31.12.1999",
    "0001-01-01",
    "9999-12-31",
    "2199-12-31",
    "2024-03-31 02:30",
    "2024-10-27 02:30",
    "2024-10-27T02:30:00+01:00",
    "2024-01-01 24:00",
    "2024-06-30 23:59:60",
    "2024-01-01 10:00",
    "2024-01-01 12:00",
    "facing",
    "FACING",
    "facng",
    "varnish removal",
    "cleaning",
    "claening",
    "studio time",
    "absence",
    "24-001",
    "24 001",
    "l4-001",
    "hands_on",
    "attended",
    "unattended",
    "quoted",
    "extra",
    "own_cost",
    "dm2",
    "dm²",
    "cm",
    "pcs",
    "yes",
    "no",
    "x",
    "100",
    "101",
    "¾",
    "rectangle",
    "tondo",
    "24 in",
    '24½"',
    "600 mm",
    "EUR",
    "XXX",
    "a|b|",
    "naïve café",
    "שלום",
    "😀",
    "\u202e",
    "\ufeff",
    "x" * 300,
    '"',
    'a "b" c',
    "a\nb",
    "a,b",
    "a;b",
    "\x00",
    "\x1f",
    "{}",
    '{"object": "nobody"}',
    "null",
    "00000000-0000-0000-0000-000000000000",
    "2024-01-01 00:00:00",
    "settings",
    "zone",
    "Europe/Berlin",
    "demo",
]


def seeds(folder: Path) -> list[bytes]:
    """A few rows of every kind of file that is written or read."""
    with Store(":memory:") as store:
        demo.fill(store)
        export(store, folder / "out", private=True)
    files = [*demo.shifted(folder, date(2026, 11, 1)), *sorted((folder / "out").iterdir())]
    found = []
    for path in files:
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
        for start in (1, len(rows) // 2):
            found.append(_text([rows[0], *rows[start : start + SMALL_ROWS]]).encode())
    found += [f"{','.join(form.names)}\r\n".encode() for form in FORMS]
    return found + corpus()


def corpus() -> list[bytes]:
    """The files that were kept."""
    return [path.read_bytes() for path in sorted(CORPUS.glob("*.csv"))]


def _text(rows: list[list[str]], separator: str = ",", end: str = "\n") -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator=end).writerows(rows)
    return out.getvalue()


def mutated(rng: random.Random, pool: list[bytes]) -> bytes:
    """One of the pool, changed a little: in its cells, its layout, or its bytes."""
    content = rng.choice(pool)
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        content = rng.choice((_cells, _cells, _cells, _layout, _bytes))(rng, content, pool)
    return content[:60_000]


def _rows(content: bytes) -> list[list[str]]:
    try:
        return [
            row for row in csv.reader(io.StringIO(content.decode("utf-8", errors="replace"), newline=""))
        ][:80] or [[""]]
    except csv.Error:
        return [
            [cell for cell in line.split(",")]
            for line in content.decode("utf-8", errors="replace").splitlines()[:80]
        ] or [[""]]


def _cells(rng: random.Random, content: bytes, pool: list[bytes]) -> bytes:
    rows = _rows(content)
    for _ in range(rng.choice((1, 1, 2, 5))):
        row = rng.randrange(1 if len(rows) > 1 and rng.random() < 0.95 else 0, len(rows))
        if not rows[row]:
            continue
        column = rng.randrange(len(rows[row]))
        other = rng.choice(rows)
        rows[row][column] = rng.choice(
            (
                rng.choice(_CELLS),
                rng.choice(_CELLS),
                rng.choice(other) if other else "",
                rows[row][column] + rng.choice(_CELLS)[:20],
            )
        )
    return _text(rows).encode("utf-8", errors="replace")


def _layout(rng: random.Random, content: bytes, pool: list[bytes]) -> bytes:
    rows = _rows(content)
    width = max(1, *map(len, rows))
    match rng.randrange(9):
        case 0:  # columns in another order
            order = rng.sample(range(width), width)
            rows = [[row[n] for n in order if n < len(row)] for row in rows]
        case 1:  # a column less
            gone = rng.randrange(max(1, width))
            rows = [row[:gone] + row[gone + 1 :] for row in rows]
        case 2:  # a column of another kind of file
            rows = [[*row, rng.choice(_CELLS)] for row in rows]
            rows[0][-1] = rng.choice(rng.choice(FORMS).names)
        case 3:  # rows repeated, left out, cut short
            rows = [*rows, *rng.choices(rows, k=3)]
        case 4:
            rows = [row[: rng.randrange(1, width + 1)] if rng.random() < 0.2 else row for row in rows]
        case 5:  # rows of another file below
            rows += _rows(rng.choice(pool))[1:6]
        case 6:
            return _text(rows, rng.choice(",;\t"), rng.choice(("\n", "\r\n", "\r"))).encode(
                rng.choice(("utf-8", "utf-8-sig", "utf-16", "cp1252")), errors="replace"
            )
        case 7:
            rows.insert(rng.randrange(len(rows)), [""] * rng.randrange(3))
        case 8:
            rows[0] = [name.upper().replace("_", rng.choice((" ", "-", "_"))) for name in rows[0]]
    return _text(rows).encode("utf-8", errors="replace")


def _bytes(rng: random.Random, content: bytes, pool: list[bytes]) -> bytes:
    data = bytearray(content or b",")
    at = rng.randrange(len(data))
    match rng.randrange(5):
        case 0:
            data[at] = rng.choice(b"\",;\n\r\t\0\xff\xc3='")
        case 1:
            data[at:at] = rng.choice(
                (
                    b'"',
                    b'""',
                    b"\n",
                    b"\r",
                    b"\xef\xbb\xbf",
                    b"\0",
                    b"'",
                    b",",
                    b"\xe2\x80\xa8",
                    b"\xf0\x9f\x98\x80",
                )
            )
        case 2:
            del data[at : at + rng.randrange(1, 30)]
        case 3:
            data = data[:at]
        case 4:
            other = rng.choice(pool)
            data = data[:at] + other[rng.randrange(len(other) + 1) :]
    return bytes(data)


def large(rng: random.Random) -> bytes:
    """A long file of one of the six kinds: half of it as people write it, half of it not."""
    with_numbers = np.random.default_rng(rng.randrange(2**32))
    form = rng.choice(FORMS)
    plain = {
        "object": ["24-001", "24-002", ""],
        "phase": ["", "stabilisation", "cleaning"],
        "technique": ["facing", "consolidation", "retouching", "facng"],
        "person": ["Ilse", "Bo"],
        "date": [f"2024-0{month}-1{day}" for month in range(1, 9) for day in range(9)],
        "hours": ["1.5", "1:30", "90 min", "2"],
        "entry": [""],
    }
    columns = []
    for column in form.columns:
        usual = np.array(plain.get(column.name, [""]), dtype=object)
        cells = with_numbers.choice(usual, LARGE_ROWS)
        odd = with_numbers.random(LARGE_ROWS) < with_numbers.choice((0.0, 0.02, 0.5))
        columns.append(
            np.where(
                odd,
                with_numbers.choice(
                    np.array([cell for cell in _CELLS if "\0" not in cell], dtype=object), LARGE_ROWS
                ),
                cells,
            )
        )
    return _text([list(form.names), *zip(*columns, strict=True)]).encode("utf-8", errors="replace")  # type: ignore[list-item]


# Most of a check of a dozen rows is the planning of statements, and most of that is small blocks of memory
# taken and given back. glibc reads this at the start of a process; elsewhere it says nothing.
_BLOCKS_AT_HAND = {"GLIBC_TUNABLES": "glibc.malloc.tcache_count=2000:glibc.malloc.tcache_max=4096"}

_VARIABLE = re.compile(r"\d+|\"[^\"]*\"|'[^']*'")


def signature(reports: list[Checked]) -> frozenset[str]:
    """What was said of a file, without what differs from file to file."""
    said = set()
    for report in reports:
        for frame in (report.problems, report.warnings):
            assert frame["reason"].notna().all() and frame["mend"].notna().all(), "a remark that says nothing"
            said |= {
                f"{report.kind}/{column}/{_VARIABLE.sub('#', reason)[:50]}"
                for column, reason in zip(frame["column"], frame["reason"], strict=True)
            }
        said |= {
            f"{report.kind}/{word}"
            for word in ("stored", "corrected", "already_held", "held_back", "rejected")
            if getattr(report.outcome, word)
        }
    return frozenset(said)


def new_store(folder: Path) -> Store:
    """A small studio to hold files against."""
    store = Store(":memory:")
    store.cursor().execute("SET threads = 1")  # a process for each core; a dozen rows gain nothing from more
    with store.writing() as con:
        write_settings(con, {"zone": "Europe/Berlin"})
    files = {
        "objects.csv": "object,title,received_on\n24-001,Ferry,2023-01-02\n24-002,Weir,2023-01-03\n",
        "log.csv": (
            "object,phase,technique,person,date,hours,done\n24-001,,facing,Ilse,2024-02-01,5,50\n24-002,,retouching,Bo,2024-02-02,3,\n"
        ),
        "est.csv": (
            "object,version,made_on,approved_on,phase,technique,hours\n24-001,1,2024-01-05,2024-01-09,,facing,4\n"
        ),
    }
    for name, text in files.items():
        (folder / name).write_text(text)
    import_files(store, [folder / name for name in files])
    return store


def campaign(
    number: int, seed: int, until: float, keep: bool, large_files: int, answers: multiprocessing.Queue[Any]
) -> None:
    """One process: mutate, check, now and then import, and account for it."""
    rng = random.Random(seed * 1000 + number)
    counts: Counter[str] = Counter()
    met: set[str] = set()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pool = seeds(folder)
        again = corpus()  # read first, so that only what is new to it is added
        store, scratch = new_store(folder), new_store(folder)
        begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        at_first = 0
        path = folder / "mutated.csv"
        try:
            while time.time() < until:
                is_large = (
                    not again
                    and counts["large files"] < large_files
                    and counts["files"] >= 400 * (counts["large files"] + 1)
                )
                content = again.pop() if again else large(rng) if is_large else mutated(rng, pool)
                path.write_bytes(content)
                counts["files"] += 1
                counts["large files"] += is_large
                before = store.changes()
                try:
                    reports = check_files(store, [path])
                except BenchHoursError as error:
                    said = frozenset({_VARIABLE.sub("#", error.what.replace(path.name, "#"))[:60]})
                    counts["refused whole"] += 1
                else:
                    said = signature(reports)
                    counts["rows"] += reports[0].outcome.rows
                    counts["rejected"] += reports[0].outcome.rejected
                assert store.changes() == before, "a check changed the store"
                if said - met:
                    met |= said
                    pool.append(content[:60_000])
                    if keep and len(content) < 3_000:
                        CORPUS.mkdir(exist_ok=True)
                        (CORPUS / f"{hashlib.sha256(content).hexdigest()[:12]}.csv").write_bytes(content)
                if counts["files"] % 40 == 0 and not is_large:
                    counts["imported"] += _import(scratch, path)
                    if counts["imported"] % 200 == 199:
                        scratch.close()
                        scratch = new_store(folder)
                if counts["files"] == 500:
                    at_first = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        except BaseException:
            failed = Path(tempfile.gettempdir()) / f"fuzz-failed-{number}.csv"
            failed.write_bytes(path.read_bytes())
            answers.put((number, counts, met, 0, 0, f"{failed}\n{traceback.format_exc()}"))
            return
        highest = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        answers.put((number, counts, met, (at_first or begun) / 1024, highest / 1024, ""))


def _import(store: Store, path: Path) -> int:
    try:
        reports = import_files(store, [path], write_rejects=False)
    except BenchHoursError:
        return 0
    for report in reports:
        assert report.outcome.rows <= len(report.rows.lines) + len(report.rows.faults)
    con = store.cursor()
    broken = [name for name, query in FORBIDDEN.items() if con.execute(query).fetchall()[0][0]]
    assert not broken, broken
    return 1


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument(
        "--large-files", type=int, default=20, help=f"files of {LARGE_ROWS:,} rows, all processes together"
    )
    parser.add_argument("--no-corpus", action="store_true", help="keep nothing in tests/benchmarks/corpus")
    said = parser.parse_args()
    os.environ.update(_BLOCKS_AT_HAND)
    start = multiprocessing.get_context("spawn")
    answers: multiprocessing.Queue[Any] = start.Queue()
    until = time.time() + said.minutes * 60
    share = -(-said.large_files // said.processes)
    workers = [
        start.Process(target=campaign, args=(n, said.seed, until, not said.no_corpus, share, answers))
        for n in range(said.processes)
    ]
    for worker in workers:
        worker.start()
    total: Counter[str] = Counter()
    met: set[str] = set()
    failed = 0
    for _ in workers:
        number, counts, seen, first, highest, fault = answers.get()
        total += counts
        met |= seen
        print(
            f"process {number}: {dict(counts)}; memory {first:,.0f} MB after 500 files, {highest:,.0f} MB at"
            " its highest"
        )
        if fault:
            print(fault)
            failed = 1
    print(
        f"all: {dict(total)}; {len(met)} different remarks; corpus of {len(list(CORPUS.glob('*.csv')))}"
        f" files; {'FAILED' if failed else 'no traceback, nothing stored that is forbidden'}"
    )
    return failed


if __name__ == "__main__":
    raise SystemExit(main())
