"""Bring in logs: CSV files in, an account of every row out, and what waits for a word decided."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, reading, serving, tables
from dashboard.words import amount, counted, hours, plain, text
from ingest import corrections, rejects
from ingest.check import Checked
from ingest.corrections import Decision
from ingest.errors import BenchHoursError
from ingest.imports import check_files, import_files, look_over
from ingest.notation import EITHER_ORDER, folded, nearest
from ingest.phone import bench, decisions, settling
from ingest.phone.judging import MOST_CHANGES
from ingest.records import FORMS
from ingest.rejects import Mending, Rejects

DECISIONS: dict[str, Decision | None] = {"not yet": None, "a correction": "correction", "new hours": "new", "leave it out": "left out"}
WORDS: dict[str, decisions.Decision | None] = {"not yet": None, "take it in": "taken in", "leave it out": "left out"}
EVERY_WORD: tuple[decisions.Decision, ...] = ("taken in", "left out")
EVERY_DECISION: tuple[Decision, ...] = ("correction", "new", "left out")
SHOWN_REMARKS = 50
SHOWN_QUESTIONS = 30
Cells = list[list[str]]


def body() -> None:
    if not reading.holdings(held.store().cursor())["objects"]:
        st.write("Begin with a file of objects, or with all files you have: they may come in any order. Bringing a file in twice changes nothing.")
        frame.invite_to_invented()
    _files()
    for told in st.session_state.get("reports", []):
        _account(*told)
    _to_mend()
    _waits_unsettled()
    _held_back_from_devices()
    _refused_from_phones()
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
        _empty_files()
    with st.container(horizontal=True):
        bring = st.button("Bring in", type="primary", disabled=not files)
        check = st.button("Only check", disabled=not files, help="Reads the files in the same way and stores nothing")
    if files and (bring or check):
        # Named by themselves alone: a browser's file name may hold a path of that machine.
        _bring_in([(Path(file.name).name, file.getvalue()) for file in files], stored=bring)
        if bring:
            st.session_state["files turn"] = turn + 1  # what is brought in lies there no more
        st.rerun()


def _empty_files() -> None:
    """A file of each kind with its columns and no row, to be filled in."""
    frame.say(["A file of each kind to fill in, with all its columns; those without * may go:"])
    with st.container(horizontal=True):
        for form in FORMS:
            st.download_button(form.kind.capitalize(), ",".join(form.names) + "\n", f"{form.kind.replace(' ', '_')}.csv", "text/csv", on_click="ignore")


def _bring_in(files: Sequence[tuple[str, bytes]], *, stored: bool, mended: tuple[Mending, Cells] | None = None) -> None:
    """Import or check, with words on how it goes; the reports stay with the visit, rejected rows until they are mended.

    `mended`: the rejected rows from which the file was made, and their cells.
    """
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder, st.status("Reading the files …") as status:
        paths = []
        for number, (name, content) in enumerate(files):  # two files of one name are two files
            place = Path(folder) / str(number)
            place.mkdir()
            paths.append(place / name)
            paths[-1].write_bytes(content)
        told: list[tuple[Checked, bool]] = []
        try:
            if not stored:
                told = [(report, False) for report in check_files(held.store(), paths)]
            for path in _in_order(paths) if stored else []:
                status.update(label=f"{path.name}: bringing in …")
                # No word to the page from here until the rejected rows are kept: a visit may end at any of them.
                report = import_files(held.store(), [path], by="principal", write_rejects=False)[0]
                st.session_state["reports"] = told = [*told, (report, True)]
                if mended:
                    rejects.brought_in(held.store(), *mended, report.rejected, held.visit())
                elif report.rejected:
                    rejects.keep(held.store(), report.rejected, held.visit())
        except BenchHoursError:
            status.update(label="Nothing more was brought in." if told else "Nothing was brought in.", state="error")
            raise
        status.update(label="Done", state="complete")
        st.session_state["reports"] = told


def _in_order(paths: list[Path]) -> list[Path]:
    """All files looked over first; then one after the other, in the order in which one may name what another brings."""
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        return [told.file.path for told in look_over(paths, Path(folder))]


def _account(report: Checked, stored: bool) -> None:
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
    notes = [f"{counted(report.outcome.rows, 'row')} in the file." if report.outcome.rows else "The file has a header and no rows."]
    if o.corrected:
        notes.append(f"{counted(o.corrected, 'of them corrects', 'of them correct')} what was held; the earlier version is kept.")
    if report.unknown_columns:
        notes.append(f"Not read, as no such column is known: {', '.join(report.unknown_columns)}.")
    if report.new_people:
        notes.append(
            f"New people: {', '.join(_beside_the_nearest(report.new_people))}. A name spelt otherwise is another person; join the two under Studio if it is not."
        )
    frame.say(notes)
    if report.kind == "time entries" and stored and not o.rejected and not o.held_back:
        st.page_link("pages/where_the_hours_went.py", label="See where the hours went", query_params=held.same_studio())
    if len(report.problems):
        st.subheader("What was rejected, and the mend")
        st.html(_remarks("Faults", report.problems))
        if report.faults["code"].eq(EITHER_ORDER).any():
            st.page_link("pages/studio.py", label="Say in which order this studio writes its dates", query_params=held.same_studio())
        _where_they_wait(report, stored)
    if len(report.warnings):
        with st.expander(f"Kept, but look at it: {counted(len(report.warnings), 'note')}"):
            st.html(_remarks("Notes", report.warnings))


def _beside_the_nearest(new: list[str]) -> list[str]:
    """New people, each beside somebody of nearly that name."""
    known = {folded(name): name for name in reading.people(held.store().cursor())["person"] if name not in new}
    return [f"{name} (near to {near})" if (near := nearest(name, known)) else name for name in new]


def _remarks(name: str, remarks: pd.DataFrame) -> str:
    rows: list[list[str]] = [
        [f"{line}", column, text(value)[:60], reason, mend] for line, column, value, reason, mend in remarks.head(SHOWN_REMARKS).itertuples(index=False)
    ]
    if len(remarks) > SHOWN_REMARKS:
        rows.append(["", "", "", f"and {len(remarks) - SHOWN_REMARKS:,} more", "all of them are in the file of rejects"])
    return tables.ledger(name, ["line", "column", "it says", "what is wrong", "the mend"], rows, words=range(1, 5))


# --- rejected rows, kept until they are mended or left out


def _where_they_wait(report: Checked, stored: bool) -> None:
    """What can be done with the rejected rows of a file."""
    if not stored or report.rejected is None:
        frame.say(["Bring the file in, and the rejected rows can be mended here or downloaded."])
    elif len(report.rejected.rows) <= rejects.MOST_KEPT:
        frame.say(["They wait below, under To mend, until they are mended or left out; what was mended or left out before is not offered again."])
    else:
        frame.say([f"More than {rejects.MOST_KEPT} are too many to mend here: download them, mend them there, and bring that file in."])
        _download(report.rejected, report.file)


def _download(rejected: Rejects, key: str) -> None:
    content = rejected.as_text().encode()
    st.download_button("Download them, with reasons", content, rejected.name, "text/csv", key=f"download {key}", on_click="ignore")


def _to_mend() -> None:
    for mending in rejects.being_mended(held.store().cursor()):
        what, file = mending.what, mending.rejects.file
        st.header(plain(f"To mend: {counted(len(mending.cells), 'row')} of {file}"))
        cells_key = f"cells {what}"
        if fields.changed_elsewhere(what, mending.kept.at, mending.kept.by, fresh=cells_key not in st.session_state):
            st.warning("These rows were mended in another window. What you type here is not kept until you take them up again.")
            if st.button("Show them as they are now", key=f"again {what}"):
                st.session_state.pop(cells_key, None)
                st.rerun()
            continue
        cells = _sheet(mending, cells_key)
        _one_row(mending, cells, cells_key)
        left = mending.left(cells)
        if left:
            lines = ", ".join(f"{mending.rejects.rows[number].line}" for number in left)
            frame.say(
                [
                    f"Not to be brought in as it stands, as its cells do not fit the columns: line {lines}. Move each cell to its column, and empty those beyond the last."
                ]
            )
        with st.container(horizontal=True):
            bring = st.button("Bring in the mended rows", key=f"mended {what}", type="primary", disabled=len(left) == len(cells))
            _download(mending.rejects, what)
            leave = st.button(
                "Leave these rows out",
                key=f"leave {what}",
                help="They stay out, and are not offered again when their file comes again. Also for rows that you mended elsewhere.",
            )
        if bring:
            _bring_in([(mending.rejects.name, mending.as_text(cells).encode())], stored=True, mended=(mending, cells))
            outcome = st.session_state["reports"][0][0].outcome
            still = outcome.rejected + len(left)
            frame.done(
                f"Of the mended rows {outcome.rows - outcome.rejected} came in{f', {still} still to mend' if still else ''}; what became of each stands below."
            )
        if leave:
            rejects.leave_out(held.store(), mending, held.visit())
            st.session_state.pop("reports", None)
            frame.done(f"Left out: {counted(len(cells), 'row')} of {file}.")


def _sheet(mending: Mending, cells_key: str) -> Cells:
    """The rejected rows to mend; every cell is kept as soon as it is left."""
    frame.say(["Each cell is kept as soon as you leave it. What is wrong and the mend stand at the sides of each row and are not brought in."])
    names = _names(mending)
    # As with the sheet of an estimate: given the same rows again and again, until another page was shown in between.
    if cells_key not in st.session_state:
        remarks = pd.DataFrame(
            [{"line": f"{row.line}", "reason": f"{row.column}: {row.reason}" if row.column else row.reason, "mend": row.mend} for row in mending.rejects.rows]
        )
        st.session_state[f"rows of {cells_key}"] = pd.concat(
            [remarks[["line", "reason"]], pd.DataFrame(mending.cells, columns=list(names)), remarks[["mend"]]], axis=1
        )
    shown: pd.DataFrame = st.data_editor(
        st.session_state[f"rows of {cells_key}"],
        key=cells_key,
        hide_index=True,
        disabled=["line", "reason", "mend"],
        column_config={
            "line": "line",
            "reason": "what is wrong",
            "mend": "the mend",
            **{name: st.column_config.TextColumn(head) for name, head in names.items()},
        },
        alt="The rejected rows, to mend",
    )
    cells: Cells = shown[list(names)].fillna("").to_numpy().tolist()
    if cells != mending.cells:
        rejects.keep_cells(held.store(), mending, cells, held.visit())
    return cells


def _names(mending: Mending) -> dict[str, str]:
    """A name for each cell of a row, and the head over it: heads may be empty, or twice the same."""
    heads = [*mending.rejects.header, *["beyond the last column"] * (len(mending.cells[0]) - len(mending.rejects.header))]
    return {f"c{number}": head or "no name" for number, head in enumerate(heads)}


def _one_row(mending: Mending, cells: Cells, cells_key: str) -> None:
    """One row by fields, with what is wrong above them: for a phone, where the sheet shows two columns."""
    with st.expander("Mend one row by fields", key=f"fields {mending.what}", on_change="rerun") as opened:
        if not opened.open:
            return
        told = {number: f"line {row.line}: {row.column} {row.reason}" for number, row in enumerate(mending.rejects.rows)}
        number = st.selectbox("Row", list(told), format_func=told.__getitem__, key=f"row {mending.what}")
        frame.say([mending.rejects.rows[number].mend])
        with st.form(f"row form {mending.what} {number}", border=False):
            said = [
                # a head of our own reads the same with and without marks escaped, and only without is it heard as it reads
                st.text_input(head if head.replace("_", "").isalnum() else plain(head), cell, key=f"field {mending.what} {number} {name}")
                for (name, head), cell in zip(_names(mending).items(), cells[number], strict=True)
            ]
            if not st.form_submit_button("Keep this row so"):
                return
        rejects.keep_cells(held.store(), mending, [*cells[:number], said, *cells[number + 1 :]], held.visit())
        st.session_state.pop(cells_key, None)
        frame.done(f"Line {mending.rejects.rows[number].line} is kept as it stands now; it comes in with the mended rows.")


# --- what phones sent and what waits for the principal


def _waits_unsettled() -> None:
    """Words that arrived and could not be taken in, by no fault of theirs."""
    opened = serving.opened()
    why = opened.inbox.why_waiting if opened and not held.shows_invented() else None
    if why is not None:
        count = settling.waiting(held.store().cursor())
        frame.say(
            [f"{counted(count, 'entry or word on one', 'entries and words on them')} that phones sent {'waits' if count == 1 else 'wait'} still, as {why}"]
        )


def _held_back_from_devices() -> None:
    """Words of devices that log on entries further back, of others, or too many for a day."""
    by_device = decisions.counts(held.store().cursor())
    if not by_device:
        return
    total = sum(one.count for one in by_device.values())
    st.header(f"Changes from phones: {counted(total, 'change')} for you to decide")
    frame.say([
        f"A phone corrects by itself what its person logged in the last {bench.DAYS_BACK} days, one that several share what was logged on it, {MOST_CHANGES} entries in a day. "
        "These go beyond that. Nothing is changed yet: taken in, a change comes into the record as if it were said now; left out, it stays out."
    ])  # fmt: skip
    device = None
    if len(by_device) > 1:
        device = st.selectbox("From which device", [None, *by_device], format_func=lambda one: "all devices" if one is None else _device(by_device[one]))
    rows = decisions.held_back(held.store().cursor(), SHOWN_QUESTIONS, device or None)
    shown = list(by_device.values()) if device is None else [by_device[device]]
    count, until = sum(one.count for one in shown), max(one.until for one in shown)
    seen = st.session_state.get("changes seen", {}).get(device, until)  # of a press, what was counted when the button was drawn: what came since waits on
    st.session_state["changes seen"] = {device: until}
    all_of_them = ("Take it in", "Leave it out") if count == 1 else (f"Take all {count:,} in", f"Leave all {count:,} out")
    with st.container(horizontal=True):
        for words, decided_as in zip(all_of_them, EVERY_WORD, strict=True):
            if st.button(words, key=f"all {decided_as}"):
                _tell_words(decisions.decide(held.store(), decided_as, held.change("decided under Bring in logs"), device=device, until=seen))
    if count == 1:
        frame.list_out([_change_from(rows[0])])
        return
    with st.form("changes from phones"):
        said = [st.radio(plain(_change_from(one)), list(WORDS), horizontal=True, key=f"word {one.action}") for one in rows]
        if count > len(rows):
            frame.say([f"The first {len(rows)} of {count:,}; the next follow when these are decided."])
        decided = st.form_submit_button("Decide as chosen", type="primary", key="decide changes")
    if decided:
        told: dict[str, int] = {}
        for decision in EVERY_WORD:
            if some := [one.action for one, chosen in zip(rows, said, strict=True) if WORDS[chosen] == decision]:
                for outcome, number in decisions.decide(held.store(), decision, held.change("decided under Bring in logs"), actions=some).items():
                    told[outcome] = told.get(outcome, 0) + number
        _tell_words(told)


def _device(one: decisions.Waiting) -> str:
    return f"{one.called or 'a device that is not known any more'}, {counted(one.count, 'change')}"


def _change_from(one: decisions.HeldBack) -> str:
    """A word on a held entry: from where, what it says, what is held, why it waits."""
    says = {"struck": "strike it out", "running": "take it in hand again"}.get(one.said["state"]) or _row_says(one.said)
    what = "; ".join(_entry_says(entry) for entry in one.held) or "an entry that is not in the record any more"
    return f"{one.called or 'A device that is not known any more'}, {one.said['person']}. Held: {what}. It says: {says}. {one.why[:1].upper()}{one.why[1:]}."


def _entry_says(entry: dict[str, Any]) -> str:
    told = [entry["object"] or "studio time", entry["technique"], entry["part"], entry["person"], entry["day"], f"{hours(entry['hours'])} h", entry["note"]]
    return ", ".join(filter(None, told))


def _row_says(said: dict[str, Any]) -> str:
    row = said["row"]
    works = ", ".join(one["object"] for one in said["works"]) or row.get("object") or "studio time"
    when = row.get("date") or " to ".join(filter(None, (row.get("started_at"), row.get("ended_at")))) or ("by its clock" if said["taps"] else "")
    told = [works, row.get("technique"), row.get("part"), row.get("person"), when, row.get("hours") and f"{row['hours']} h", row.get("note")]
    return ", ".join(filter(None, told))


def _tell_words(told: dict[str, int]) -> None:
    words = {
        "saved": "taken in", "overtaken": "taken in, and overtaken by a later word", "left out": "left out",
        "refused": "refused by the checks, to be mended in the form by who said it", "taken in": "taken in, and still to be settled",
    }  # fmt: skip
    said = ", ".join(f"{count:,} {words[outcome]}" for outcome, count in told.items())
    frame.done(f"Decided: {said}." if said else "Nothing is decided yet: choose for each change what becomes of it.")


# --- entries refused to phones


def _refused_from_phones() -> None:
    """They lie with whoever logged them, who knows what was meant; here it is seen that there are some."""
    refused = bench.to_mend(held.store().cursor())
    if not refused:
        return
    st.header(f"To mend in the form: {counted(len(refused), 'entry', 'entries')}")
    frame.say(["None of their hours are counted yet. Who logged them finds them on top of the form to log hours, to be mended or struck out."])
    frame.list_out([f"{_row_says(one)}. {_why(one['faults'])}" for one in refused[:SHOWN_REMARKS]])
    if len(refused) > SHOWN_REMARKS:
        frame.say([f"And {len(refused) - SHOWN_REMARKS:,} more."])
    frame.link_away("Mend them in the form", "/log")


def _why(faults: Sequence[dict[str, str]]) -> str:
    return " ".join(
        " ".join(filter(None, (fault["called"], fault["value"] and f'"{fault["value"][:60]}"', f"{fault['reason']}.", fault["mend"]))) for fault in faults
    )


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
