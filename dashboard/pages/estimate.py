"""Estimate: a sheet of lines written by hand, kept cell by cell, saved as a version, approved with its day."""

from __future__ import annotations

from datetime import datetime
from uuid import uuid4
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, reading, tables
from dashboard.cautions import usual_cautions
from dashboard.words import counted, day, hours, money, plain, text
from ingest import drafts, estimates, notation
from ingest.drafts import LINE_COLUMNS, Draft, Reading
from ingest.errors import BenchHoursError
from ingest.notation import written

SHEET = {
    "technique": "technique", "part": "part", "hours": "hours", "quantity": "quantity", "phase": "phase (empty: the usual)", "low_hours": "low, h", "high_hours": "high, h",
    "unattended_hours": "unattended, h elapsed", "person": "person", "option": "option", "note": "note",
}  # fmt: skip
EMPTY_LINES = 3


def body() -> None:
    works = held.works(held.today())
    if works.empty:
        st.write("An estimate is of a work, and there is none yet.")
        with st.container(horizontal=True):
            if st.button("Add a work", type="primary"):
                st.switch_page("pages/works.py", query_params={"add": "work", **held.same_studio()})
            frame.invite_to_invented()
        return
    code = fields.choose_work(works["object"].tolist(), dict(zip(works["object"], works["title"].fillna(""), strict=True)))
    if code is None:
        st.write("Choose the work. Its versions stand here then, and a sheet to write the next one on.")
        drafted = works.loc[works["has_draft"], "object"].tolist()
        if drafted:
            frame.say([f"Drafts are kept for {', '.join(drafted)}."])
        return
    st.page_link("pages/one_work.py", label="Where its hours went", query_params={"object": code, **held.same_studio()})
    versions = reading.versions(held.store().cursor(), code)
    if len(versions):
        _versions(code, versions)
    draft = drafts.read(held.store().cursor(), code)
    if draft is None:
        _begin(code, versions, works)
    else:
        _write(code, draft, works, 1 + int(versions["version"].max() if len(versions) else 0))


# --- versions and their approval


def _versions(code: str, versions: pd.DataFrame) -> None:
    st.header("Its versions")
    st.html(tables.versions(versions))
    with st.expander("The lines of a version"):
        numbers = versions["version"].unique().tolist()
        chosen = st.selectbox("Version", numbers, index=len(numbers) - 1, key=f"version shown {code}")
        lines = reading.estimate_lines(held.store().cursor(), code, chosen)
        st.html(
            tables.ledger(
                f"Lines of version {chosen}",
                ["phase", "technique", "part", "option", "quantity", "hours", "unattended, h elapsed"],
                [
                    [row["phase"], row["technique"], row["part"], text(row["option"]), f"{row['quantity']:g} {row['unit']}" if pd.notna(row["quantity"]) else "", hours(row["hours"]), hours(row["unattended_hours"])]
                    for row in lines.to_dict("records")
                ],
                words=range(4),
            )
        )  # fmt: skip
    waiting = versions[versions["approved_on"].isna()]
    if len(waiting):
        _approve(code, waiting)
    if len(waiting) < len(versions):
        _take_back(code, versions[versions["approved_on"].notna()])


def _approve(code: str, waiting: pd.DataFrame) -> None:
    with st.form(f"approve {code}"):
        st.subheader("The owner has approved")
        numbers = waiting["version"].unique().tolist()
        version = st.selectbox("Version", numbers, index=len(numbers) - 1, key=f"approve version {code}")
        options = sorted(waiting["option"].dropna().unique())
        option = fields.one_of("Option", options, options[0], f"approve option {code}") if options else None
        on = st.text_input("On", f"{held.today():%Y-%m-%d}", key=f"approve day {code}")
        if not st.form_submit_button("Note the approval"):
            return
    try:
        when = notation.day(on, held.settings().day_order)
        with held.store().writing() as con:
            estimates.approve(con, code, version, when, option, held.change("approved under Estimate"))
    except BenchHoursError as error:
        frame.refuse(f"Not noted: {error}")
        return
    frame.done(f"Version {version} of {code} is approved on {day(when)}. Overruns are held against it from now on.")


def _take_back(code: str, approved: pd.DataFrame) -> None:
    with st.expander("An approval was noted by mistake"):
        version = st.selectbox("Version", approved["version"].unique().tolist(), index=approved["version"].nunique() - 1, key=f"take back {code}")
        frame.say(["Taken back, it is no yardstick any more: overruns are held against the latest version still approved, or if none is, the latest made."])
        if st.button("Take the approval back"):
            with held.store().writing() as con:
                estimates.take_back_approval(con, code, version, held.change("taken back under Estimate"))
            frame.done(f"Version {version} of {code} is not approved any more.")


# --- a new version


def _begin(code: str, versions: pd.DataFrame, works: pd.DataFrame) -> None:
    st.header("Write the next version" if len(versions) else "Write its estimate")
    head = {"made_on": f"{held.today():%Y-%m-%d}", "currency": held.settings().currency}
    if versions.empty:
        st.write("It has no estimate yet.")
    with st.container(horizontal=True):
        if len(versions) and st.button("Begin with the latest version", type="primary"):
            _open(code, Draft(version=head, lines=_as_lines(reading.estimate_lines(held.store().cursor(), code, int(versions["version"].max())))))
        if st.button("Begin with an empty sheet", type="secondary" if len(versions) else "primary"):
            _open(code, Draft(version=head, lines=[{}]))
    other = _other_work(code, works)
    if other and st.button("Begin with its lines"):
        _open(code, Draft(version=head, lines=_lines_of(other)))


def _other_work(code: str, works: pd.DataFrame) -> str | None:
    have = works[(works["versions"] > 0) & (works["object"] != code)]
    if have.empty:
        return None
    titles = dict(zip(have["object"], have["title"].fillna(""), strict=True))
    chosen: str | None = st.selectbox(
        "Copy from another work",
        have["object"].tolist(),
        index=None,
        format_func=lambda one: f"{one}  {titles[one]}",
        placeholder="Choose a work with an estimate",
        key=f"copy {code}",
    )
    if chosen:
        frame.say([f"The lines of the latest version of {chosen}; quantities are those of that work, so look them over."])
    return chosen


def _lines_of(code: str) -> list[dict[str, str]]:
    con = held.store().cursor()
    return _as_lines(reading.estimate_lines(con, code, int(reading.versions(con, code)["version"].max())))


def _as_lines(lines: pd.DataFrame) -> list[dict[str, str]]:
    return [
        {name: "" if pd.isna(row[name]) else written(row[name]) if isinstance(row[name], float) else str(row[name]) for name in LINE_COLUMNS}
        for row in lines.to_dict("records")
    ]


def _open(code: str, draft: Draft) -> None:
    """Put a draft on the sheet: kept first, so that what is shown is what is kept."""
    drafts.keep(held.store(), code, draft, _this_visit())
    _forget_sheet(code)
    st.rerun()


def _forget_sheet(code: str) -> None:
    for key in [key for key in st.session_state if isinstance(key, str) and key.startswith(f"sheet {code} ")]:
        del st.session_state[key]
    st.session_state[f"turn {code}"] = st.session_state.get(f"turn {code}", 0) + 1


def _write(code: str, draft: Draft, works: pd.DataFrame, version: int) -> None:
    st.header(f"Version {version}, being written")
    frame.say([
        "Every cell is kept as soon as you leave it (Enter or Tab): a reload or a lost connection loses at most the one you are in. "
        "Hours as you write them: 1.5, 1:30, 1h30, 90 min. A line needs hours or a quantity."
    ])  # fmt: skip
    turn = st.session_state.setdefault(f"turn {code}", 0)
    seen = f"sheet {code} seen {turn}"
    if draft.kept_by == _this_visit() or seen not in st.session_state:
        st.session_state[seen] = draft.kept_at
    elif draft.kept_at != st.session_state[seen]:
        st.warning("This draft was changed from another window. What you type here is not kept until you take it up again.")
        if st.button("Show it as it is now, and go on here"):
            draft.kept_by = _this_visit()
            _open(code, draft)
        return
    kept_head, kept_lines = dict(draft.version), [dict(line) for line in draft.lines]
    draft.version = _head(code, draft.version, turn)
    draft.lines = _sheet(code, draft.lines, turn)
    if (draft.version, draft.lines) != (kept_head, kept_lines):
        draft.kept_at = drafts.keep(held.store(), code, draft, _this_visit())
    if draft.kept_at:
        frame.say([f"Kept at {_clock(draft.kept_at)}."])
    said = drafts.read_over(held.store(), code, draft, held.change("read over"))
    _read_back(said)
    with st.container(horizontal=True):
        if st.button(f"Save as version {version}", type="primary", disabled=not said.lines):
            _save(code, draft)
        if st.button("Throw the draft away"):
            st.session_state[f"sheet {code} sure"] = True
        if st.session_state.get(f"sheet {code} sure") and st.button("Yes, throw it away"):
            drafts.throw_away(held.store(), code)
            _forget_sheet(code)
            frame.done("The draft is thrown away. The versions are as they were.")
    other = _other_work(code, works)
    if other and st.button("Add its lines to the sheet"):
        draft.lines = [*draft.filled.values(), *_lines_of(other)]
        _open(code, draft)


def _this_visit() -> str:
    """A name for this window's visit, by which the draft knows who wrote it last."""
    name: str = st.session_state.setdefault("visit", uuid4().hex)
    return name


def _clock(utc: datetime) -> str:
    return f"{utc.replace(tzinfo=ZoneInfo('UTC')).astimezone(ZoneInfo(held.settings().zone)):%H:%M:%S}"


def _head(code: str, now: dict[str, str], turn: int) -> dict[str, str]:
    said = {}
    with st.container(horizontal=True, key="choices"):
        said["made_on"] = st.text_input("Made on", now.get("made_on", ""), key=f"sheet {code} made {turn}", width=150)
        said["price"] = st.text_input("Price", now.get("price", ""), key=f"sheet {code} price {turn}", width=130)
        said["currency"] = st.text_input("Currency", now.get("currency", ""), key=f"sheet {code} currency {turn}", width=100)
    said["reason"] = st.text_input("Reason (what was found, for a revision)", now.get("reason", ""), key=f"sheet {code} reason {turn}")
    return {name: cell for name, cell in said.items() if cell}


def _sheet(code: str, lines: list[dict[str, str]], turn: int) -> list[dict[str, str]]:
    """The lines as a sheet; what it holds after the last committed cell."""
    # The sheet keeps its own account of what was typed since it was first shown, so it is given the same rows again and again. That account is gone
    # once another page was shown in between: then it begins anew, from what is kept.
    cells_key, rows_key = f"sheet {code} cells {turn}", f"sheet {code} rows {turn}"
    if cells_key not in st.session_state:
        st.session_state[rows_key] = pd.DataFrame([{name: line.get(name, "") for name in SHEET} for line in [*lines, *[{}] * EMPTY_LINES]])
    base = st.session_state[rows_key]
    words = fields.vocabulary()
    cells = {name: st.column_config.TextColumn(label) for name, label in SHEET.items()}
    edited = st.data_editor(
        base,
        key=cells_key,
        num_rows="dynamic",
        hide_index=True,
        column_config={
            **cells,
            "technique": st.column_config.SelectboxColumn(SHEET["technique"], options=["", *fields.in_use(words)], width="medium"),
            "phase": st.column_config.SelectboxColumn(SHEET["phase"], options=["", *words.phases]),
            "hours": st.column_config.TextColumn(SHEET["hours"], width=85),
            "quantity": st.column_config.TextColumn(SHEET["quantity"], width=105, help="In the unit of the technique: dm², cm or pieces"),
        },
        placeholder="",
        alt="The lines of the estimate",
    )
    rows = [{name: cell.strip() for name, cell in row.items() if isinstance(cell, str) and cell.strip()} for row in edited.to_dict("records")]
    while rows and not rows[-1]:
        rows.pop()
    return rows


def _read_back(said: Reading) -> None:
    for problem in said.problems:
        st.warning(plain(problem))
    if not said.lines:
        return
    shared = said.hours[said.hours["option"] == ""]
    rows = [[row["phase"], tables.hours_of(row)] for row in shared.to_dict("records")]
    options = [one for one in said.hours["option"].unique() if one]
    rows += [[f"{row['phase']}, option {row['option']}", tables.hours_of(row)] for row in said.hours[said.hours["option"] != ""].to_dict("records")]
    st.html(tables.ledger("Hours of the sheet by phase", ["phase", "hours"], rows))
    studio = held.settings()
    sentences = [counted(said.lines, "line") + (f", {hours(said.unattended_hours)} h elapsed unattended." if said.unattended_hours else ".")]
    for option in options or [""]:
        total = float(said.hours.loc[said.hours["option"].isin(["", option]), "hours"].sum())
        name = f"With option {option}" if option else "All phases"
        weeks = f"{total / studio.bench_hours_per_week:.1f} weeks of one person at {studio.bench_hours_per_week:g} h at the bench a week"
        price = f"; at {money(studio.hourly_rate, studio.currency)} an hour: {money(total * studio.hourly_rate, studio.currency)}" if studio.hourly_rate else ""
        sentences.append(f"{name}: {hours(total)} h, {weeks}{price}.")
    frame.say([*sentences, *filter(None, [usual_cautions(fields.vocabulary(), said.techniques)])])


def _save(code: str, draft: Draft) -> None:
    try:
        version, report = drafts.make_version(held.store(), code, draft, held.change("written under Estimate"))
    except BenchHoursError as error:
        frame.refuse(f"Not saved: {error} The draft is kept as it is.")
        return
    _forget_sheet(code)
    notes = " ".join(f"{reason}. {mend}" for reason, mend in report.warnings[["reason", "mend"]].itertuples(index=False))
    frame.done(f"Saved as version {version}. {notes} When the owner says yes, note the approval here.".replace("  ", " "))


frame.show("Estimate", body)
