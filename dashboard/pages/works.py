"""Works: all of them with where each stands; add one, edit one, set milestones and take them back."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, reading, tables
from dashboard.analysis.overruns import by_object
from dashboard.sentences import state_of_work
from dashboard.words import counted, day, plain, text
from ingest import corrections
from ingest.errors import BenchHoursError
from ingest.history import utc_now
from ingest.notation import folded, written
from ingest.records import MILESTONES, OBJECTS, SHAPES
from ingest.typed import store_rows

SHOWN = 40
# Free words of the trade to begin with (common practice, no source); the studio's own come first.
KINDS = ("easel painting", "panel painting", "work on paper", "frame", "polychrome object")
SUPPORTS = ("canvas", "wooden panel", "paper", "cardboard", "copper", "gilded wood")
GRADES = {"": "not said", "0": "0 none", "1": "1 slight", "2": "2 marked", "3": "3 severe"}


def body() -> None:
    if st.query_params.get("add") == "work":
        _edit(None)
    elif said := st.query_params.get("object"):
        _edit(reading.known(held.store().cursor(), said))
    else:
        _all()


def _go(**query: str) -> None:
    """To a work's form (`object`), to an empty one (`add`), or back to the list."""
    st.query_params.from_dict({**query, **held.same_studio()})
    st.rerun()


# --- the list


def _all() -> None:
    as_of = held.today()
    works = held.works(as_of)
    if st.button("Add a work", type="primary"):
        _go(add="work")
    if works.empty:
        st.write("No work is here yet. Add the first one, or bring in a file of objects under Bring in logs.")
        frame.invite_to_invented()
        return
    with st.container(horizontal=True, key="choices"):
        searched = st.text_input("Search code, title, maker, kind, commission", key="search", width=340)
        which = st.selectbox("Which", ["on the bench", "finished", "all"], key="which", bind="query-params", width=160, index=2)
    found = _found(works, searched, which)
    sums = by_object(held.overruns(as_of))
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


def _found(works: pd.DataFrame, searched: str, which: str) -> pd.DataFrame:
    """The works that fit what is searched: every word of it somewhere in code, title, maker, kind, support or commission."""
    found = works if which == "all" else works[works["finished_on"].notna() == (which == "finished")]
    told = found[["object", "title", "maker", "kind", "support", "commission"]].fillna("").agg(" ".join, axis=1).map(folded)
    for word in folded(searched).split():
        found, told = found[told.str.contains(word, regex=False)], told[told.str.contains(word, regex=False)]
    return found


# --- one work's form


def _edit(code: str | None) -> None:
    if st.button("Back to all works"):
        _go()
    con = held.store().cursor()
    now = {} if code is None else {name: _as_typed(value) for name, value in reading.work(con, code).items()}
    st.header("A new work" if code is None else plain(f"{code}  {now['title']}".strip()))
    if code is not None and (area := reading.area_dm2(con, code)):
        frame.say([f"Area: {area:,.1f} dm², {'as said' if now['area_dm2'] else 'by its shape and size'}."])
    seen = fields.seen_first(f"work {code}", f"title {code or 'new'}", str(now))
    with st.form("work"):
        said = _fields(code, now)
        save = st.form_submit_button("Save", type="primary")
    if save and seen != str(now):
        frame.refuse(
            f"Not saved: {code} was changed elsewhere since you opened it. Load the page again to see how it is now; until then what you typed is still here."
        )
    elif save:
        _save(code, said)
    if code is not None:
        _milestones(code)


def _as_typed(value: object) -> str:
    if value is None:
        return ""
    return written(value) if isinstance(value, float) else value.strftime("%Y-%m-%d") if isinstance(value, pd.Timestamp) else str(value)


def _fields(code: str | None, now: dict[str, str]) -> dict[str, str]:
    con, key = held.store().cursor(), code or "new"
    said: dict[str, str] = {}

    def line(name: str, label: str, *, explained: str | None = None, placeholder: str | None = None) -> None:
        said[name] = st.text_input(label, now.get(name, ""), key=f"{name} {key}", help=explained, placeholder=placeholder)

    left, right = st.columns(2)
    with left:
        if code is None:
            line("object", "Code", explained="The studio's own, like 26-014")
        line("title", "Title")
        line("maker", "Maker")
        said["kind"] = _free("Kind", "kind", now, [*reading.said_before(con, "kind"), *KINDS], key)
        said["support"] = _free("Support", "support", now, [*reading.said_before(con, "support"), *SUPPORTS], key)
        said["commission"] = _free("Commission (works of one owner that share a letter)", "commission", now, reading.said_before(con, "commission"), key)
        line("received_on", "Received on", placeholder="year-month-day")
        line("due_on", "Due on", placeholder="year-month-day")
        line("finished_on", "Finished on", placeholder="year-month-day", explained="Finishes every line of the work. Leave it empty while it is on the bench.")
    with right:
        said["shape"] = fields.one_of("Shape", SHAPES, now.get("shape", ""), f"shape {key}", empty="not said (a rectangle)")
        line("height_cm", "Height, cm", explained='A number is cm; inches as 24 in or 24"')
        line("width_cm", "Width, cm")
        line("area_dm2", "Area, dm² (if it is not as shape and size say)")
        for name in ("structure", "paint", "surface"):
            said[f"{name}_condition"] = st.selectbox(
                f"Condition: {name}",
                list(GRADES),
                index=list(GRADES).index(now.get(f"{name}_condition", "")),
                format_func=GRADES.__getitem__,
                key=f"{name} {key}",
            )
        codes = [one for one in held.works(held.today())["object"] if one != code]
        said["returned_from"] = fields.one_of(
            "Returned: it was here before as", codes, now.get("returned_from", ""), f"returned {key}", empty="not here before"
        )
        line("owner", "Owner (private: on no chart and in nothing that is shared)")
        line("owner_address", "Owner's address (private)")
    said["note"] = st.text_area("Note", now.get("note", ""), key=f"note {key}")
    frame.say(
        ["Conditions are the studio's own scale (common practice, no source). With height and width the area follows; a round work needs its height only."]
    )
    return said


def _free(label: str, name: str, now: dict[str, str], suggested: list[str], key: str) -> str:
    """A free word, with those used before to choose from."""
    value = now.get(name, "")
    options = list(dict.fromkeys([*([value] if value else []), *suggested]))
    chosen = st.selectbox(label, options, index=0 if value else None, accept_new_options=True, placeholder="Choose, or write your own", key=f"{name} {key}")
    return chosen or ""


def _save(code: str | None, said: dict[str, str]) -> None:
    if code is None and folded(said["object"]) in {folded(one) for one in held.works(held.today())["object"]}:
        frame.refuse(f'Not saved: "{said["object"]}" is the code of another work. Give this one a code of its own; what you typed is still here.')
        return
    try:
        report = store_rows(held.store(), OBJECTS, [{"object": code or "", **said}], held.change("edited under Works" if code else "added under Works"))
    except BenchHoursError as error:
        frame.refuse(f"Not saved: {error} What you typed is still here.")
        return
    if not (report.outcome.stored or report.outcome.corrected):
        st.info("Nothing was changed.")
        return
    st.query_params.from_dict({"object": code or " ".join(said["object"].split()), **held.same_studio()})
    fields.forget_seen(f"work {code}")
    frame.done("Saved; what was said before is kept in the history." if code else "The work is added. Next: its estimate, or its first hours.")


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
                st.write(plain(f"{day(on)}: {what} finished"))
                if st.button("Take back", key=f"back {phase} {technique} {part} {on}", help="Its lines are open again, unless something else finishes them."):
                    with held.store().writing() as writing:
                        corrections.take_back_milestone(writing, code, phase, technique, part, on, held.change("taken back under Works"))
                    frame.done(f"Taken back: {what}. Its lines are open again, unless something else finishes them.")
    else:
        st.write("None yet. A milestone finishes a line or a whole phase, and only what is finished is compared in full.")
    if lines.empty:
        frame.say(["It has no lines yet: estimate it or log hours on it first."])
        return
    # by what is shown: a part may have a comma of its own, and one technique may stand in two phases
    choices = {f"all of {phase}": (phase, "", "") for phase in dict.fromkeys(lines["phase"])}
    for line in lines.to_dict("records"):
        choices[", ".join(filter(None, (line["phase"], line["technique"], line["part"])))] = (line["phase"], line["technique"], line["part"])
    with st.form("milestone"):
        what = fields.one_of("What is finished", list(choices), next(iter(choices)), f"milestone {code}")
        said_day = st.text_input("Finished on", f"{held.today():%Y-%m-%d}", key=f"milestone day {code}")
        save = st.form_submit_button("Set the milestone")
    if not save:
        return
    phase, technique, part = choices[what]
    row = {"object": code, "phase": phase, "technique": technique, "part": part, "finished_on": said_day}
    try:
        report = store_rows(held.store(), MILESTONES, [row], held.change("set under Works"))
    except BenchHoursError as error:
        frame.refuse(f"Not set: {error} What you typed is still here.")
        return
    frame.done(f"Set: {what} finished on {said_day}." if report.outcome.stored else "That milestone is set already.")


frame.show("Works", body)
