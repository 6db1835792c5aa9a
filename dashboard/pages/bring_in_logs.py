"""Bring in logs: CSV files in, an account of every row out, and what waits for a word decided."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import frame, held, reading, tables
from dashboard.words import amount, counted, hours, plain, text
from ingest import corrections, unsaved
from ingest.corrections import Decision
from ingest.errors import BenchHoursError
from ingest.imports import Report, check_files, import_files, look_over
from ingest.notation import EITHER_ORDER
from ingest.records import FORMS, REJECT_COLUMNS

DECISIONS: dict[str, Decision | None] = {"not yet": None, "a correction": "correction", "new hours": "new", "leave it out": "left out"}
EVERY_DECISION: tuple[Decision, ...] = ("correction", "new", "left out")
SHOWN_REMARKS = 50
SHOWN_QUESTIONS = 30
MOST_MENDED_HERE = 200
MOST_KEPT = 5_000_000  # bytes of a rejects file
REJECTS = "rejects "


def body() -> None:
    if not reading.holdings(held.store().cursor())["objects"]:
        st.write("Begin with a file of objects, or with all files you have: they may come in any order. Bringing a file in twice changes nothing.")
        frame.invite_to_invented()
    _files()
    for told in st.session_state.get("reports", []):
        _account(*told)
    _to_mend()
    _questions()


# --- files


def _files() -> None:
    turn = st.session_state.setdefault("files turn", 0)
    files = st.file_uploader(
        "CSV files from any spreadsheet: phases, techniques, objects, estimates, time entries, milestones",
        type=["csv", "txt", "tsv"],
        accept_multiple_files=True,
        key=f"files {turn}",
    )
    with st.expander("What the files look like"):
        frame.say(
            ["The kind of a file is told by the columns marked *. Every row is stored, or held already, or held back, or rejected with its reason and mend."]
        )
        st.html(
            tables.ledger(
                "The forms",
                ["kind", "columns"],
                [[form.kind, ", ".join(f"{column.name}{'*' if column.star else ''}" for column in form.columns)] for form in FORMS],
                words=range(2),
            )
        )
    with st.container(horizontal=True):
        bring = st.button("Bring in", type="primary", disabled=not files)
        check = st.button("Only check", disabled=not files, help="Reads the files in the same way and stores nothing")
    if files and (bring or check):
        # Named by themselves alone: a browser's file name may hold a path of that machine.
        _bring_in([(Path(file.name).name, file.getvalue()) for file in files], stored=bring)
        if bring:
            st.session_state["files turn"] = turn + 1  # what is brought in lies there no more
        st.rerun()


def _bring_in(files: Sequence[tuple[str, bytes]], *, stored: bool) -> None:
    """Import or check, with words on how it goes; the reports stay with the visit."""
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder, st.status("Reading the files …") as status:
        paths = []
        for number, (name, content) in enumerate(files):  # two files of one name are two files
            place = Path(folder) / str(number)
            place.mkdir()
            paths.append(place / name)
            paths[-1].write_bytes(content)
        said: list[str] = []  # no word to the page inside a write: a visit that ends there would end the write
        try:
            if stored:
                reports = []
                for path in _in_order(paths):
                    status.update(label=f"{path.name}: bringing in …")
                    reports += import_files(held.store(), [path], by="principal", progress=said.append)
            else:
                reports = check_files(held.store(), paths, progress=said.append)
        except BenchHoursError:
            status.update(label="Nothing was brought in.", state="error")
            raise
        status.update(label="Done", state="complete")
        st.session_state["reports"] = [(report, stored, _keep_rejects(report)) for report in reports]


def _in_order(paths: list[Path]) -> list[Path]:
    """All files looked over first; then one after the other, in the order in which one may name what another brings."""
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        return [told.file.path for told in look_over(paths, Path(folder))]


def _account(report: Report, stored: bool, rejects: bytes | None) -> None:
    """What became of one file."""
    st.header(plain(f"{report.file}: {report.kind}"))
    o = report.outcome
    st.html(
        tables.figures([
            ("stored" if stored else "would be stored", f"{o.stored + o.corrected:,}", False),
            ("held already", f"{o.already_held:,}", False),
            ("held back: correction or new?", f"{o.held_back:,}", o.held_back > 0),
            ("rejected", f"{o.rejected:,}", o.rejected > 0),
        ])
    )  # fmt: skip
    notes = [f"{counted(report.rows, 'row')} in the file." if report.rows else "The file has a header and no rows."]
    if o.corrected:
        notes.append(f"{counted(o.corrected, 'of them corrects', 'of them correct')} what was held; the earlier version is kept.")
    if report.unknown_columns:
        notes.append(f"Not read, as no such column is known: {', '.join(report.unknown_columns)}.")
    if report.new_people:
        notes.append(f"New people: {', '.join(report.new_people)}. A name spelt otherwise is another person; join the two under Studio if it is not.")
    frame.say(notes)
    if report.kind == "time entries" and stored and not o.rejected and not o.held_back:
        st.page_link("pages/where_the_hours_went.py", label="See where the hours went", query_params=held.same_studio())
    if len(report.problems):
        st.subheader("What was rejected, and the mend")
        st.html(_remarks("Faults", report.problems))
        if report.problems["reason"].eq(EITHER_ORDER).any():
            st.page_link("pages/studio.py", label="Say in which order this studio writes its dates", query_params=held.same_studio())
        if rejects:
            name = _rejects_name(report.file)
            st.download_button("The rejected rows as CSV, with reasons", rejects, name, "text/csv", key=f"rejects {report.file}", on_click="ignore")
            frame.say(["They are too many to be kept here: download them now, mend them there, and bring that file in."])
        else:
            frame.say(["They wait below to be mended." if stored else "Bring the file in, and the rejected rows can be mended here or downloaded."])
    if len(report.warnings):
        with st.expander(f"Kept, but look at it: {counted(len(report.warnings), 'note')}"):
            st.html(_remarks("Notes", report.warnings))


def _remarks(name: str, remarks: pd.DataFrame) -> str:
    rows: list[list[str]] = [
        [f"{line}", column, text(value)[:60], reason, mend] for line, column, value, reason, mend in remarks.head(SHOWN_REMARKS).itertuples(index=False)
    ]
    if len(remarks) > SHOWN_REMARKS:
        rows.append(["", "", "", f"and {len(remarks) - SHOWN_REMARKS:,} more", "all of them are in the file of rejects"])
    return tables.ledger(name, ["line", "column", "it says", "what is wrong", "the mend"], rows, words=range(1, 5))


# --- rejected rows, kept until they are mended or left out


def _keep_rejects(report: Report) -> bytes | None:
    """Keep the rejected rows of a file, unless they are kept already and perhaps half mended; gives them back where they are too many to keep."""
    content = report.rejects.read_bytes() if report.rejects else b""
    if len(content) > MOST_KEPT:
        return content
    what = f"{REJECTS}{report.file} {hashlib.md5(content, usedforsecurity=False).hexdigest()}"
    if content and unsaved.read(held.store().cursor(), what) is None:
        unsaved.keep(held.store(), what, {"file": report.file, **_as_rows(content)})
    return None


def _rejects_name(file: str) -> str:
    return f"{Path(file).stem.removesuffix('.rejects')}.rejects.csv"


def _as_rows(rejects: bytes) -> dict[str, Any]:
    """The rejects file as `separator`, `head`, and `rows` of equal length: a line with a cell too many has its last in columns without a name."""
    encoding = "utf-16" if rejects[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) else "utf-8-sig"
    try:
        said = rejects.decode(encoding)
    except UnicodeDecodeError:
        said = rejects.decode("cp1252", errors="replace")
    separator = said[len(REJECT_COLUMNS[0]) : len(REJECT_COLUMNS[0]) + 1]
    head, *rows = csv.reader(io.StringIO(said, newline=""), delimiter=separator)
    width = max(map(len, [head, *rows]))
    head += [f"column {number}" for number in range(len(head) + 1, width + 1)]
    return {"separator": separator, "head": head, "rows": [row + [""] * (width - len(row)) for row in rows]}


def _to_mend() -> None:
    for what, kept in unsaved.read_all(held.store().cursor(), REJECTS).items():
        name = _rejects_name(kept["file"])
        st.header(plain(f"To mend: {counted(len(kept['rows']), 'row')} of {kept['file']}"))
        rows = pd.DataFrame(kept["rows"], columns=kept["head"], dtype=str)
        if len(rows) <= MOST_MENDED_HERE:
            rows = _sheet(what, kept, rows)
        else:
            frame.say([f"More than {MOST_MENDED_HERE}: download them, mend them there, and bring that file in."])
        content = rows.to_csv(index=False, sep=kept["separator"]).encode()
        with st.container(horizontal=True):
            bring = len(rows) <= MOST_MENDED_HERE and st.button("Bring in the mended rows", key=f"mended {what}", type="primary")
            st.download_button("Download them, with reasons", content, name, "text/csv", key=f"download {what}", on_click="ignore")
            leave = st.button("Leave these rows out", key=f"leave {what}", help="They are forgotten here, and still lie in the file itself.")
        if bring:
            _bring_in([(name, content)], stored=True)
        if bring or leave:
            unsaved.forget(held.store(), what)
            frame.done(
                "The mended rows are brought in; what became of each stands below." if bring else f"Left out: {counted(len(rows), 'row')} of {kept['file']}."
            )


def _sheet(what: str, kept: dict[str, Any], rows: pd.DataFrame) -> pd.DataFrame:
    """The rejected rows to mend; every cell is kept as soon as it is left."""
    frame.say(["Each cell is kept as soon as you leave it. What is wrong and the mend stand at the sides of each row; those columns are not brought in."])
    # As with the sheet of an estimate: given the same rows again and again, until another page was shown in between.
    if f"cells {what}" not in st.session_state:
        st.session_state[f"rows {what}"] = rows
    mended: pd.DataFrame = st.data_editor(
        st.session_state[f"rows {what}"],
        key=f"cells {what}",
        hide_index=True,
        disabled=list(REJECT_COLUMNS),
        column_order=["rejected_line", "rejected_reason", *[column for column in rows.columns if column not in REJECT_COLUMNS], "rejected_mend"],
        column_config={"rejected_line": "line", "rejected_reason": "what is wrong", "rejected_mend": "the mend"},
        alt="The rejected rows, to mend",
    )
    mended = mended.fillna("")
    now = mended.to_numpy().tolist()
    if now != kept["rows"]:
        unsaved.keep(held.store(), what, {**kept, "rows": now})
    return mended


# --- what waits for a word


def _questions() -> None:
    rows = reading.held_back(held.store().cursor())
    if rows.empty:
        return
    st.header(f"Correction or new? {counted(len(rows), 'row')} held back")
    frame.say([
        "Each has the person, day, work and technique of an entry that is held, but says otherwise. None of their hours are counted yet. "
        "A correction takes the place of the held entry, whose earlier version is kept; new hours stand beside it; left out, the row stays out even if its file comes again."
    ])  # fmt: skip
    with st.container(horizontal=True):
        if st.button("All are corrections"):
            _decide(rows, "correction")
        if st.button("All are new hours"):
            _decide(rows, "new")
        if st.button("Leave all out"):
            _decide(rows, "left out")
    shown = rows.head(SHOWN_QUESTIONS)
    with st.form("questions"):
        said = [_question(row) for row in shown.to_dict("records")]
        if len(rows) > len(shown):
            frame.say([f"The first {len(shown)} of {len(rows):,}; the next follow when these are decided."])
        decided = st.form_submit_button("Decide as chosen", type="primary")
    if decided:
        done = 0
        left: list[str] = []
        for decision in EVERY_DECISION:
            some = shown[[one == decision for one in said]]
            if len(some):
                one_done, one_left = corrections.decide(held.store(), _keys(some), decision, held.change("decided under Bring in logs"))
                done, left = done + one_done, left + one_left
        _tell(done, left)


def _question(row: tables.Row) -> Decision | None:
    what = ", ".join(filter(None, (text(row["object"]) or "studio time", text(row["technique"]), text(row["person"]), text(row["day"]))))
    here = _says(row, "")
    then = _says(row, "held_") if row["is_held"] else "an entry that is not in the record any more"
    chosen = st.radio(
        plain(f"{row['file']}, line {row['line']}: {what}. Held: {then}. This row: {here}."),
        list(DECISIONS),
        horizontal=True,
        key=f"question {row['content']} {row['rank']}",
    )
    return DECISIONS[chosen]


def _says(row: tables.Row, which: str) -> str:
    told = [
        f"{hours(row[f'{which}hours'])} h",
        "" if row[f"{which}mode"] == "hands_on" else text(row[f"{which}mode"]),
        text(row[f"{which}part"]),
        amount(row[f"{which}quantity"], row["unit"] if isinstance(row["unit"], str) else None),
        text(row[f"{which}note"]),
    ]
    return ", ".join(filter(None, told))


def _keys(rows: pd.DataFrame) -> list[tuple[str, int]]:
    return list(zip(rows["content"], rows["rank"].astype(int), strict=True))


def _decide(rows: pd.DataFrame, decision: Decision) -> None:
    _tell(*corrections.decide(held.store(), _keys(rows), decision, held.change("decided under Bring in logs")))


def _tell(done: int, left: list[str]) -> None:
    said = f"Decided: {counted(done, 'row')}." if done else "Nothing is decided yet: choose for each row what it is."
    frame.done(" ".join([said, *(["Still open:", *left[:5]] if left else [])]))


frame.show("Bring in logs", body)
