"""Works: all of them with where each stands; add one, edit one, set milestones and take them back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, reading, tables
from dashboard.analysis.overruns import by_object
from dashboard.sentences import are_finished, state_of_work
from dashboard.words import counted, day, plain, text
from ingest import corrections, notation, unsaved
from ingest.errors import BenchHoursError
from ingest.history import utc_now
from ingest.notation import folded, nearest, written
from ingest.records import MILESTONES, OBJECTS, SHAPES
from ingest.typed import store_rows

SHOWN = 40
MOST_WORDS = 5
# What the form calls the columns.
CALLED = {
    "object": "Code", "height_cm": "Height", "width_cm": "Width", "area_dm2": "Area", "received_on": "Received on", "due_on": "Due on", "finished_on": "Finished on",
    "structure_condition": "Condition: structure", "paint_condition": "Condition: paint", "surface_condition": "Condition: surface", "returned_from": "Returned",
}  # fmt: skip
# Free words of the trade to begin with (common practice, no source); the studio's own come first.
KINDS = ("easel painting", "panel painting", "work on paper", "frame", "polychrome object")
SUPPORTS = ("canvas", "wooden panel", "paper", "cardboard", "copper", "gilded wood")
GRADES = {"": "not said", "0": "0 none", "1": "1 slight", "2": "2 marked", "3": "3 severe"}


def body() -> None:
    if st.query_params.get("add") == "work":
        _edit(None)
    elif (said := st.query_params.get("object")) is None:
        _all()
    elif (code := _known(said)) is not None:
        _edit(code)
    else:
        st.warning(plain(f'There is no work "{said}" here. All of them are below.'))
        _all()


def _known(said: str) -> str | None:
    """The code of a work as it is held."""
    return {folded(code): code for code in held.works(held.today())["object"]}.get(folded(said))


def _go(**query: str) -> None:
    """To a work's form (`object`), to an empty one (`add`), or back to the list."""
    st.query_params.from_dict({**query, **held.same_studio()})
    st.rerun()


# --- the list


def _all() -> None:
    as_of = held.today()
    works = held.works(as_of)
    if st.button(_way_to_new(), type="primary"):
        _go(add="work")
    if works.empty:
        st.write("No work is here yet. Add the first one, or bring in a file of objects under Bring in logs.")
        frame.invite_to_invented()
        return
    with st.container(horizontal=True, key="choices"):
        searched = st.text_input("Search code, title, maker, kind, commission", key="search", width=340)
        which = st.selectbox("Which", ["on the bench", "finished", "all"], key="which", bind="query-params", width=160, index=2)
    sums = by_object(held.overruns(as_of))
    found = _found(works.assign(finished=are_finished(works, sums)).sort_values("finished", kind="stable"), searched, which)
    frame.say([f"{counted(len(found), 'work')} of {len(works):,}: those on the bench first, the latest first."])
    if found.empty:
        st.write("No work fits. Search for less, or choose all.")
        return
    shown = found
    if len(found) > SHOWN and not st.toggle(f"Show all {len(found):,}", key="show_all"):
        shown = found.head(SHOWN)
    now = utc_now()
    rows: list[list[tables.Cell]] = [
        [
            held.work_link(work["object"]), state_of_work(work, sums.loc[work["object"]] if work["object"] in sums.index else None, as_of, now), text(work["title"]),
            tables.Link("edit", held.address("works", object=work["object"])), tables.Link("draft kept" if work["has_draft"] else "estimate", held.address("estimate", object=work["object"])),
        ]
        for _, work in shown.iterrows()
    ]  # fmt: skip
    st.html(tables.ledger("Works", ["work", "where it stands", "title", "change", "estimate"], rows, words=range(5)))


def _way_to_new() -> str:
    """What the way to the form of a new work says: whether one waits there half written."""
    kept = unsaved.read(held.store().cursor(), unsaved.NEW_WORK)
    return plain(f"Go on with the new work {kept.said.get('object') or kept.said.get('title') or ''}".strip()) if kept else "Add a work"


def _found(works: pd.DataFrame, searched: str, which: str) -> pd.DataFrame:
    """The works that fit what is searched: every word of it somewhere in code, title, maker, kind, support or commission."""
    found = works if which == "all" else works[works["finished"] == (which == "finished")]
    told = found[["object", "title", "maker", "kind", "support", "commission"]].fillna("").agg(" ".join, axis=1).map(folded)
    for word in folded(searched).split():
        found, told = found[told.str.contains(word, regex=False)], told[told.str.contains(word, regex=False)]
    return found


# --- one work's form


def _edit(code: str | None) -> None:
    with st.container(horizontal=True):
        if st.button("Back to all works"):
            _go()
        if code is not None and st.button("Add another work"):  # no link: one to the page it stands on leaves the address behind
            _go(add="work")
    con = held.store().cursor()
    now = _kept() if code is None else {name: _as_typed(value) for name, value in reading.work(con, code).items()}
    st.header("A new work" if code is None else plain(f"{code}  {now['title']}".strip()))
    if code is None:
        _say_kept()
    elif area := reading.area_dm2(con, code):
        frame.say([f"Area: {area:,.1f} dm², {'as said' if now['area_dm2'] else 'by its shape and size'}."])
    key = code or _new_key()
    seen = fields.seen_first(f"work {code}", f"title {key}", str(now))
    said = _fields(code, now, key)
    with st.container(horizontal=True):
        save = st.button("Save", type="primary")
        if code is None and any(said.values()) and st.button("Empty the form"):
            _forget_new()
            st.rerun()
    if save and seen != str(now) and code is not None:
        frame.refuse(
            f"Not saved: {code} was changed elsewhere since you opened it. Load the page again to see how it is now; until then what you typed is still here."
        )
    elif save:
        _save(code, said)
    if code is not None:
        _milestones(code)


def _new_key() -> str:
    """In the keys of the fields of a new work; another one once the form was emptied, so that they begin empty."""
    return f"new {st.session_state.setdefault('new work turn', 0)}"


def _kept() -> dict[str, str]:
    """What is written of a new work and not saved yet. Read when the form is first shown: from then on its fields know themselves."""
    kept = unsaved.read(held.store().cursor(), unsaved.NEW_WORK)
    fresh = f"title {_new_key()}" not in st.session_state
    st.session_state["new work elsewhere"] = fields.changed_elsewhere(unsaved.NEW_WORK, kept.at if kept else None, kept.by if kept else "", fresh=fresh)
    if fresh:
        st.session_state["new work"] = kept.said if kept else {}
    begun: dict[str, str] = st.session_state["new work"]
    return begun


def _say_kept() -> None:
    if st.session_state["new work elsewhere"]:
        st.warning("Another window is writing a new work too, and that one is kept. What you type here is not kept until you save it.")
    else:
        frame.say(["Each field is kept as soon as you leave it, and waits here until the work is saved."])


def _keep() -> None:
    """Called when a field was left, before anything else happens, be it that the page is left."""
    kept = unsaved.read(held.store().cursor(), unsaved.NEW_WORK)
    if not fields.changed_elsewhere(unsaved.NEW_WORK, kept.at if kept else None, kept.by if kept else "", fresh=False):
        said = {name: text for name in OBJECTS.names if (text := st.session_state.get(f"{name} {_new_key()}"))}
        if said:
            unsaved.keep(held.store(), unsaved.NEW_WORK, said, held.visit())
        else:
            unsaved.forget(held.store(), unsaved.NEW_WORK)


def _forget_new() -> None:
    if not st.session_state["new work elsewhere"]:
        unsaved.forget(held.store(), unsaved.NEW_WORK)
    st.session_state["new work turn"] += 1


def _as_typed(value: object) -> str:
    if value is None:
        return ""
    return written(value) if isinstance(value, float) else value.strftime("%Y-%m-%d") if isinstance(value, pd.Timestamp) else str(value)


def _fields(code: str | None, now: dict[str, str], key: str) -> dict[str, str]:
    con = held.store().cursor()
    said: dict[str, str] = {}

    def left(name: str) -> dict[str, Any]:
        """What a field of a new work does when it is left."""
        return {"key": f"{name} {key}", **({"on_change": _keep} if code is None else {})}

    def line(name: str, label: str, *, explained: str | None = None, placeholder: str | None = None) -> None:
        said[name] = st.text_input(label, now.get(name, ""), help=explained, placeholder=placeholder, **left(name))

    def free(name: str, label: str, suggested: Sequence[str]) -> None:
        """A free word: written, or one of those used before taken with one press."""
        field = f"{name} {key}"
        st.session_state.setdefault(field, now.get(name, ""))  # in place of a value of its own: a word may be put into it
        said[name] = st.text_input(label, **left(name))
        words = list(dict.fromkeys([*reading.said_before(con, name), *suggested]))[:MOST_WORDS]
        if words:
            taken = (field, code is None)
            st.pills(
                f"{label}: words used before",
                words,
                format_func=plain,
                key=f"words for {field}",
                on_change=_take_word,
                args=taken,
                label_visibility="collapsed",
            )

    columns = st.columns(2)
    with columns[0]:
        if code is None:
            line("object", "Code", explained="The studio's own, like 26-014")
        line("title", "Title")
        line("maker", "Maker")
        free("kind", "Kind", KINDS)
        free("support", "Support", SUPPORTS)
        free("commission", "Commission (works of one owner that share a letter)", ())
        line("received_on", "Received on", placeholder="year-month-day")
        line("due_on", "Due on", placeholder="year-month-day")
        line("finished_on", "Finished on", placeholder="year-month-day", explained="Finishes every line of the work. Leave it empty while it is on the bench.")
    with columns[1]:
        said["shape"] = fields.one_of("Shape", SHAPES, now.get("shape", ""), empty="not said (a rectangle)", **left("shape"))
        line("height_cm", "Height, cm", explained='A number is cm; inches as 24 in, 24 1/2 in or 24½"')
        line("width_cm", "Width, cm")
        line("area_dm2", "Area, dm² (if it is not as shape and size say)")
        for name in ("structure", "paint", "surface"):
            column = f"{name}_condition"
            said[column] = st.selectbox(
                f"Condition: {name}", list(GRADES), index=list(GRADES).index(now.get(column, "")), format_func=GRADES.__getitem__, **left(column)
            )
        codes = [one for one in held.works(held.today())["object"] if one != code]
        said["returned_from"] = fields.one_of(
            "Returned: it was here before as", codes, now.get("returned_from", ""), empty="not here before", **left("returned_from")
        )
        line("owner", "Owner (private: on no chart and in nothing that is shared)")
        line("owner_address", "Owner's address (private)")
    said["note"] = st.text_area("Note", now.get("note", ""), **left("note"))
    frame.say(
        ["Conditions are the studio's own scale (common practice, no source). With height and width the area follows; a round work needs its height only."]
    )
    return said


def _take_word(field: str, is_new: bool) -> None:
    if chosen := st.session_state[f"words for {field}"]:
        st.session_state[field] = chosen
        st.session_state[f"words for {field}"] = None
        if is_new:
            _keep()


def _save(code: str | None, said: dict[str, str]) -> None:
    if code is None and (held_already := _known(said["object"])):
        frame.refuse(f'Not saved: "{held_already}" is the code of another work. Give this one a code of its own; what you typed is still here.')
        return
    con = held.store().cursor()
    used = {"kind": [*reading.said_before(con, "kind"), *KINDS], "support": [*reading.said_before(con, "support"), *SUPPORTS]}
    try:
        report = store_rows(held.store(), OBJECTS, [{"object": code or "", **said}], held.change("edited under Works" if code else "added under Works"), CALLED)
    except BenchHoursError as error:
        frame.refuse(f"Not saved: {error} What you typed is still here.")
        return
    if not (report.outcome.stored or report.outcome.corrected):
        st.info("Nothing was changed.")
        return
    fields.forget_seen(f"work {code}")
    notes = [
        f"{CALLED.get(column, column)}: {reason}. {mend}" for column, reason, mend in report.warnings[["column", "reason", "mend"]].itertuples(index=False)
    ]
    notes += [note for name, words in used.items() if (note := _near_another(name, said[name], words))]
    if code is None:
        _forget_new()
        code = " ".join(said["object"].split())
        st.query_params.from_dict({"object": code, **held.same_studio()})
        frame.done(
            " ".join(["The work is added.", *notes]),
            ("pages/estimate.py", "Write its estimate", {"object": code}), ("pages/bring_in_logs.py", "Bring in hours", {}),
        )  # fmt: skip
    ways: list[frame.Way] = [("pages/one_work.py", "Where its hours went", {"object": code})]
    if said.get("finished_on"):
        ways.append(("pages/promised_and_kept.py", "What it taught", {"object": code}))
    frame.done(" ".join(["Saved; what was said before is kept in the history.", *notes]), *ways)


def _near_another(name: str, word: str, used: list[str]) -> str:
    """Said of a word that is new here and close to one used before: filters would tell the two apart."""
    near = nearest(word, {folded(one): one for one in used}) if word and word not in used else None
    return f'{name.capitalize()} "{word}" is new here, and near to "{near}": if it is the same, say it alike.' if near else ""


# --- milestones


def _milestones(code: str) -> None:
    st.header("Milestones")
    con = held.store().cursor()
    lines = held.overruns(held.today())
    lines = lines[lines["object"] == code]
    reached = reading.milestones(con, code)
    if reached:
        for phase, technique, part, on in reached:
            what = ", ".join(filter(None, (technique or f"all of {phase}", part)))
            with st.container(horizontal=True, vertical_alignment="center"):
                st.write(plain(f"{day(on)}: {what} finished{_opened_again(lines, phase, technique, part, on)}"))
                if st.button("Take back", key=f"back {phase} {technique} {part} {on}", help="Its lines are open again, unless something else finishes them."):
                    with held.store().writing() as writing:
                        corrections.take_back_milestone(writing, code, phase, technique, part, on, held.change("taken back under Works"))
                    frame.done(f"Taken back: {what}. Its lines are open again, unless something else finishes them.")
    else:
        st.write("None yet. A milestone finishes a line or a whole phase, and only what is finished is compared in full.")
    if lines.empty:
        frame.say(["It has no lines yet: estimate it or bring in its hours first."])
        return
    # by what is shown: a part may have a comma of its own, and one technique may stand in two phases
    choices = {f"all of {phase}": (phase, "", "") for phase in dict.fromkeys(lines["phase"])}
    for line in lines.to_dict("records"):
        choices[", ".join(filter(None, (line["phase"], line["technique"], line["part"])))] = (line["phase"], line["technique"], line["part"])
    with st.form("milestone"):
        what = fields.one_of("What is finished", list(choices), next(iter(choices)), f"milestone {code}")
        said_day = st.text_input("It was finished on", f"{held.today():%Y-%m-%d}", key=f"milestone day {code}")
        save = st.form_submit_button("Set the milestone")
    if not save:
        return
    try:
        on = notation.day(said_day, held.settings().day_order)
    except BenchHoursError as error:
        frame.refuse(f'Not set: "{said_day}" {error} What you typed is still here.')
        return
    phase, technique, part = choices[what]
    row = {"object": code, "phase": phase, "technique": technique, "part": part, "finished_on": f"{on}"}
    try:
        report = store_rows(held.store(), MILESTONES, [row], held.change("set under Works"), CALLED)
    except BenchHoursError as error:
        frame.refuse(f"Not set: {error} What you typed is still here.")
        return
    notes = [f"But it {reason}. {mend}" for reason, mend in report.warnings[["reason", "mend"]].itertuples(index=False)]
    frame.done(" ".join([f"Set: {what} finished on {day(on)}.", *notes]) if report.outcome.stored else "That milestone is set already.")


def _opened_again(lines: pd.DataFrame, phase: str, technique: str, part: str, on: date) -> str:
    """Said of a milestone whose lines were worked on later and are open."""
    meant = (lines["phase"] == phase) & (lines["technique"].eq(technique) & lines["part"].eq(part) if technique else lines["part"].eq(part) | (part == ""))
    later = lines[meant & ~lines["finished"].astype(bool) & (lines["last_day"] > pd.Timestamp(on))]
    if later.empty:
        return ""
    return f", but {'it was' if len(later) == 1 else f'{len(later)} lines were'} worked on again until {day(later['last_day'].max())} and {'is' if len(later) == 1 else 'are'} open"


frame.show("Works", body)
