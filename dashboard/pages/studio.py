"""Studio: what it has said of itself, its people, its words; the effect of each change is said before it happens."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date

import pandas as pd
import streamlit as st

from dashboard import fields, frame, held, planning, prices, reading, tables
from dashboard.letter import content
from dashboard.pause_sentences import SOURCES
from dashboard.words import UNITS, counted, day, plain, text
from ingest import people, vocabulary
from ingest.absences import EXAMPLE
from ingest.cautions import DEFERRING, WORDS
from ingest.errors import BenchHoursError
from ingest.notation import DAY_ORDERS, folded, written
from ingest.records import CAUTIONS, CONDITIONS, MODES, PHASES, TECHNIQUES
from ingest.settings import CLAUSES, NO_CLAUSE, WEEKDAYS, settings_with, write_settings
from ingest.typed import put_rows, store_rows

TAX_WORDS = {"": "not said yet", "yes": "tax is in them", "no": "they are without tax"}
DAY_ORDER_WORDS = {"unset": "never in numbers: such dates are refused", "dmy": "day month year", "mdy": "month day year", "ymd": "year month day"}


def body() -> None:
    part = st.segmented_control(
        "Part",
        ["settings", "quotes", "bench", "people", "techniques", "phases"],
        default="settings",
        key="part",
        bind="query-params",
        required=True,
        label_visibility="collapsed",
    )
    {"settings": _settings, "quotes": _quotes, "bench": _bench, "people": _people, "techniques": _techniques, "phases": _phases}[part or "settings"]()


def _try(sentence: str, action: Callable[..., object], *values: object, afterwards: Callable[[], object] = lambda: None) -> None:
    """Do one thing in one write, and say so; or say why not."""
    try:
        with held.store().writing() as con:
            action(con, *values)
    except BenchHoursError as error:
        frame.refuse(f"Not done: {error}")
        return
    afterwards()
    frame.done(sentence)


def _choose(label: str, names: list[str], placeholder: str, key: str) -> str | None:
    """One of the names; where the one chosen was renamed in another window, that is said, as its form is gone with what was typed."""
    chosen: str | None = st.selectbox(label, names, index=None, placeholder=placeholder, key=key)
    before = st.session_state.get(f"{key} before")
    if chosen is None and before is not None and before not in names:
        st.warning(plain(f"{before} was renamed in another window. Nothing was changed here: choose the name it has now."))
    st.session_state[f"{key} before"] = chosen
    return chosen


def _forget_choice(key: str) -> None:
    """Renamed here: the name it was chosen by is gone."""
    del st.session_state[key], st.session_state[f"{key} before"]


def _rename_form(name: str, effect: str, key: str) -> str | None:
    """The new name once it is given."""
    st.header("Another name")
    with st.form(f"rename {key}"):
        new = st.text_input("New name", key=f"new name {key}").strip()
        frame.say([f"{effect}. {name} is still understood in files, and files brought in before change nothing."])
        if not st.form_submit_button("Rename"):
            return None
    if not new:
        frame.refuse("Not renamed: write the new name first.")
    return new or None


# --- settings


def _settings() -> None:
    now = held.settings()
    seen = fields.seen_first("settings", "name of studio", str(now))
    with st.form("settings"):
        said = {
            "studio": st.text_input("Name of the studio, as on letters", now.studio, key="name of studio"),
            "zone": st.text_input("Time zone of its clock", now.zone, help="Like Europe/Berlin", key="zone"),
            "day_order": st.selectbox(
                "Dates in numbers are", list(DAY_ORDERS), index=DAY_ORDERS.index(now.day_order), format_func=DAY_ORDER_WORDS.__getitem__, key="day order"
            ),
            "currency": st.text_input("Currency (three letters)", now.currency, key="currency"),
            "ask_after_hours": st.text_input(
                "Ask about a spell in hand after so many hours: was it forgotten? (never about pressing or drying)",
                written(now.ask_after_hours),
                key="ask after",
            ),
            "bench_hours_per_week": st.text_input("Hours at the bench in an ordinary week of one person", written(now.bench_hours_per_week), key="bench hours"),
            "hourly_rate": st.text_input(
                f"Rate per hour, {now.currency}, without {prices.tax_of(now)} (may stay empty)",
                written(now.hourly_rate) if now.hourly_rate is not None else "",
                key="rate",
            ),
        }
        frame.say(
            [
                "The name stands on statements. The time zone is fixed as long as entries with clock times are held. "
                "The order of dates holds for files brought in and days typed from now on. Currency, rate and bench hours are those of new estimates; "
                "versions already made keep theirs. No change here alters an hour that is stored."
            ]
        )
        save = st.form_submit_button("Save", type="primary")
    if frame.meant("settings doubt", save and _unchanged_elsewhere(seen, now), lambda: _hardly_meant(said), "It is meant so: save it"):
        _save_settings("settings", said)


def _hardly_meant(said: Mapping[str, str]) -> list[str]:
    """What of the money that is said is absurd beside the rest of it and the record; nothing where it cannot be read, which is refused by itself."""
    try:
        before, after = held.settings(), settings_with(held.store().cursor(), said)
    except BenchHoursError:
        return []
    if all(getattr(before, name) == getattr(after, name) for name in prices.MONEY):
        return []
    return prices.absurd_settings(after, prices.sold_for(reading.approved_promises(held.store().cursor(), held.today()), after))


def _save_settings(form: str, said: Mapping[str, str]) -> None:
    _try(
        "Saved; what was said before is kept in the history.",
        write_settings,
        said,
        held.change("said under Studio"),
        afterwards=lambda: fields.forget_seen(form),
    )


def _quotes() -> None:
    """What quotes and their letters rest on beside the hours."""
    now = held.settings()
    seen = fields.seen_first("quotes", "yearly cost", str(now))

    def number(name: str) -> str:
        value = getattr(now, name)
        return "" if value is None else written(value)

    without = f"without {prices.tax_of(now)}"

    with st.form("quotes"):
        said = {
            "hourly_rates": st.text_input(f"People with another rate per hour than the studio's, {without} (like Ilse 70; Bram 55)", now.hourly_rates, key="rates of people"),
            "yearly_cost": st.text_input(f"What a year costs the studio, {now.currency}, {without} that is paid back to you: rent, insurance, materials, and what you live on", number("yearly_cost"), key="yearly cost"),
            "chargeable_hours": st.text_input("Hours of a year that can be charged: without holidays, illness and the office", number("chargeable_hours"), key="chargeable hours"),
            "minimum_charge": st.text_input(f"Least charge for a work, {now.currency}, {without}", number("minimum_charge"), key="minimum charge"),
            "tax_per_cent": st.text_input("Tax on top, per cent (0: none is charged)", number("tax_per_cent"), key="tax"),
            "tax_name": st.text_input("What it is called, here and in letters", now.tax_name, placeholder="tax", key="tax name"),
            "prices_include_tax": st.selectbox(
                f"Is {prices.tax_of(now)} in prices of estimates that do not say it", list(TAX_WORDS), index=list(TAX_WORDS).index({None: "", True: "yes", False: "no"}[now.prices_include_tax]), format_func=TAX_WORDS.__getitem__, key="prices include tax",
                help="Of estimates that came in as files or were written before they could say it; also what is proposed where a price is typed.",
            ),
            "prices_tax_per_cent": st.text_input("Tax of those prices, per cent, where it was another one then", number("prices_tax_per_cent"), key="prices tax", placeholder=number("tax_per_cent")),
            "payments": st.text_input("Payments in per cent; what they leave of a hundred is the last", now.payments, placeholder="on approval 30; at handover 40", key="payments"),
            "letterhead": st.text_area("Below the name on letters: address, telephone", now.letterhead, key="letterhead"),
        } | {name: st.text_area(content.CLAUSE_HEADS[name], getattr(now, name), placeholder=content.USUAL_CLAUSES[name], key=name, height=110) for name in CLAUSES}  # fmt: skip
        cautions = st.checkbox(
            "Letters carry the usual cautions of their techniques (they are for the bench, and stand on the page of the quote either way)",
            now.letter_cautions,
            key="letter cautions",
        )
        said["letter_cautions"] = "yes" if cautions else ""
        frame.say([
            f'Clauses in your own words; empty: as they stand here in grey. "{NO_CLAUSE}" leaves one out. They are examples, no legal advice. '
            "Yearly cost by chargeable hours is what an hour must earn; a quote says from how many hours on it works for nothing."
        ])  # fmt: skip
        save = st.form_submit_button("Save", type="primary")
    if frame.meant("quotes doubt", save and _unchanged_elsewhere(seen, now), lambda: _hardly_meant(said), "It is meant so: save it"):
        if said["prices_include_tax"] and not said["prices_tax_per_cent"].strip():
            said["prices_tax_per_cent"] = said["tax_per_cent"]  # older prices keep theirs when the tax changes
        if said["prices_include_tax"] == "yes" and not said["prices_tax_per_cent"].strip():
            frame.refuse(f"Not saved: say also how many per cent of {prices.tax_of(now)} is in those prices. What you typed is still here.")
            return
        _save_settings("quotes", said)


def _bench() -> None:
    """What the bench plan, and hours worth a pause, rest on."""
    now = held.settings()
    seen = fields.seen_first("bench", "hours of people", str(now))

    def number(value: float | None) -> str:
        return "" if value is None else written(value)

    with st.form("bench"):
        st.header("For the bench plan")
        said = {
            "bench_hours_of_people": st.text_input("Hours at the bench in an ordinary week, where the log is no guide (like Ilse 24; Bram 16)", now.bench_hours_of_people, key="hours of people"),
            "bench_days": " ".join(st.multiselect("Days on which the bench is worked", list(WEEKDAYS), default=now.bench_days.split(), key="bench days")),
            "absences": st.text_area("Holidays and absences, a line each: from, to; who (nobody: the whole studio); why", now.absences, placeholder=EXAMPLE, key="absences"),
        }  # fmt: skip
        st.header("For hours worth a pause")
        pauses = st.checkbox("Show them, to each person their own", now.pauses, key="pauses")
        said |= {
            "pauses": "yes" if pauses else "no",
            "handwork_minutes": st.text_input("Repetitive handwork without a break, minutes, beyond which it is shown", written(now.handwork_minutes), key="handwork minutes", help=SOURCES["handwork_minutes"]),
            "pause_minutes": st.text_input("What counts as a break, minutes at least", written(now.pause_minutes), key="pause minutes", help=SOURCES["pause_minutes"]),
            "solvent_hours_a_day": st.text_input("Hours with solvents in a day, beyond which they are shown (may stay empty)", number(now.solvent_hours_a_day), key="solvent day", help=SOURCES["solvent_hours_a_day"]),
            "solvent_hours_a_week": st.text_input("Hours with solvents in a week, beyond which they are shown (may stay empty)", number(now.solvent_hours_a_week), key="solvent week", help=SOURCES["solvent_hours_a_week"]),
            "blade_until": st.text_input("Blade work is late from this time of day on", now.blade_until, key="blade until", help=SOURCES["blade_until"]),
        }  # fmt: skip
        frame.say([
            "These are limits of this studio’s own, for working time alone; none of them says that anything is safe. " + DEFERRING,
        ])  # fmt: skip
        save = st.form_submit_button("Save", type="primary")
    if save and not said["bench_days"]:
        frame.refuse("Not saved: choose at least one day on which the bench is worked. What you typed is still here.")
    elif save and (unknown := planning.unknown_names(held.store().cursor(), said["bench_hours_of_people"], said["absences"])):
        frame.refuse(f"Not saved: nobody here is called {', '.join(unknown)}. See the names under people; what you typed is still here.")
    elif save and _unchanged_elsewhere(seen, now):
        _save_settings("bench", said)


def _unchanged_elsewhere(seen: str, now: object) -> bool:
    """Nothing was changed from another window since the form was first shown; else that is said."""
    if seen == str(now):
        return True
    frame.refuse(
        "Not saved: this was changed elsewhere since you opened it. Load the page again to see how it is now; until then what you typed is still here."
    )
    return False


# --- people


def _people() -> None:
    known = reading.people(held.store().cursor())
    if known.empty:
        st.write("Nobody is known yet. People come in with the first hours logged under their name, or add them here.")
    else:
        rows = [
            [
                row["person"], f"left on {day(row['left_on'])}" if pd.notna(row["left_on"]) else "yes",
                f"{day(row['first_day'])} to {day(row['last_day'])}" if row["entries"] else "nothing logged", row["spellings"], f"{row['entries']:,}",
            ]
            for row in known.to_dict("records")
        ]  # fmt: skip
        st.html(tables.ledger("People", ["person", "at the studio", "logged", "also written", "entries"], rows, words=range(4)))
    turn = st.session_state.setdefault("people added", 0)
    with st.form("add person"):
        name = st.text_input("Add a person: name", key=f"person added {turn}")
        if st.form_submit_button("Add"):
            _try(f"{name} is added.", people.add, name, held.change("").at, afterwards=lambda: st.session_state.update({"people added": turn + 1}))
    if known.empty:
        return
    names = known["person"].tolist()
    chosen = _choose("Change a person", names, "Choose a name", "person changed")
    if chosen is not None:
        _person(chosen, known)


def _person(chosen: str, known: pd.DataFrame) -> None:
    names = known["person"].tolist()
    row = known.set_index("person", drop=False).loc[chosen].to_dict()
    entries = counted(int(row["entries"]), "entry", "entries")
    if new := _rename_form(chosen, f"{entries} will stand under the new name", chosen):
        _try(
            f"{chosen} is now {new}.",
            people.rename,
            chosen,
            new,
            held.change("renamed under Studio"),
            afterwards=lambda: _forget_choice("person changed"),
        )
    if len(names) > 1:
        st.header("Only a spelling of somebody else")
        other = st.selectbox("It is really", [one for one in names if one != chosen], index=None, placeholder="Choose the person", key=f"really {chosen}")
        if other:
            frame.say(
                [
                    f"{entries} of {chosen} become {other}'s, hours that overlap then count once, and {chosen} in files will mean {other}. This cannot be taken apart again."
                ]
            )
            if st.button(plain(f"Join {chosen} with {other}")):
                _try(
                    f"{chosen} is now only a spelling of {other}.",
                    people.join,
                    chosen,
                    other,
                    held.change("joined under Studio"),
                    afterwards=lambda: _forget_choice("person changed"),
                )
    st.header("Here or gone")
    if pd.notna(row["left_on"]):
        if st.button(plain(f"{chosen} is here again")):
            _try(f"{chosen} is here again.", people.leave, chosen, None, held.change("said under Studio"))
    else:
        frame.say([f"The hours of {chosen} stay and count; the name is only no longer among those of the studio."])
        if st.button(plain(f"{chosen} has left, as of today")):
            _try(f"{chosen} has left. The hours stay.", people.leave, chosen, held.today(), held.change("said under Studio"))


# --- techniques


def _techniques() -> None:
    use = reading.vocabulary_use(held.store().cursor())
    names = use["technique"].tolist()
    chosen = _choose("Change a technique", names, f"Choose one of {len(names)}", "technique changed")
    if chosen:
        _technique(use[use["technique"] == chosen].iloc[0])
        return
    _add_technique()
    with st.expander("All techniques"):
        rows: list[list[str] | str] = []
        for phase, inside in use.groupby("phase", sort=False):
            rows.append(str(phase))
            rows += [
                [
                    row["technique"], UNITS.get(text(row["unit"]), "not measured"), row["mode"].replace("_", " "), ", ".join(WORDS[one] for one in text(row["cautions"]).split("|") if one),
                    f"retired on {day(row['retired_on'])}" if pd.notna(row["retired_on"]) else "yes", f"{row['works']}", f"{row['entries']:,.0f}",
                ]
                for row in inside.to_dict("records")
            ]  # fmt: skip
        st.html(tables.ledger("Techniques", ["technique", "unit", "mode", "usual cautions", "in use", "works", "entries"], rows, words=range(5)))
        frame.say([DEFERRING])


def _technique_form(now: dict[str, str], key: str) -> dict[str, str]:
    words = fields.vocabulary()
    said = {"phase": fields.one_of("Usual phase", list(words.phases), now["phase"], f"phase {key}")}
    said["unit"] = fields.one_of("Measured in", ["none", *UNITS], now["unit"] or "none", f"unit {key}")
    said["mode"] = fields.one_of("Usual mode", MODES, now["mode"] or "hands_on", f"mode {key}")
    said["condition"] = fields.one_of("Condition that bears on it", CONDITIONS, now["condition"], f"condition {key}", empty="none")
    chosen = st.multiselect(
        "Usual cautions", CAUTIONS, [one for one in now["cautions"].split("|") if one], format_func=WORDS.__getitem__, key=f"cautions {key}"
    )
    said["cautions"] = "|".join(chosen)
    said["note"] = st.text_input("Note", now["note"], key=f"note {key}")
    return said


def _add_technique() -> None:
    with st.expander("Add a technique"), st.form("add technique"):
        name = st.text_input("Name")
        said = _technique_form(dict.fromkeys(("unit", "mode", "condition", "cautions", "note"), "") | {"phase": next(iter(fields.vocabulary().phases))}, "new")
        aliases = st.text_input("Other spellings, with | between")
        if not st.form_submit_button("Add", type="primary"):
            return
        known = fields.vocabulary()
        try:
            if (meant := known.technique_spellings.get(folded(name))) and folded(meant) == folded(name):  # of another spelling the writer asks
                raise BenchHoursError(f"there is {meant} already", "Choose another name, or change that one.")
            store_rows(held.store(), TECHNIQUES, [{"technique": name, **said, "aliases": aliases}], held.change("added under Studio"))
        except BenchHoursError as error:
            frame.refuse(f"Not added: {error} What you typed is still here.")
            return
        frame.done(f"{name.strip()} is among the techniques.")


def _technique(row: pd.Series) -> None:
    name = row["technique"]
    named = (
        f"{counted(int(row['entries']), 'entry', 'entries')} on {counted(int(row['works']), 'work')} and {counted(int(row['estimates']), 'line')} of estimates"
    )
    frame.say([f"{named} name it." if row["entries"] or row["estimates"] else "Nothing names it yet."])
    now = row.drop(["works", "entries", "estimates", "retired_on"]).to_dict()
    seen = fields.seen_first(f"technique {name}", f"spellings {name}", str(now))
    with st.form(f"technique {name}"):
        said = _technique_form({column: text(row[column]) for column in ("phase", "unit", "mode", "condition", "cautions", "note")}, name)
        spellings = st.text_input("Other spellings that are understood, with | between", row["spellings"], key=f"spellings {name}")
        frame.say([
            "Phase, unit, mode and cautions are what is filled in from now on: lines and entries already here keep theirs. "
            "A unit in which entries are measured cannot change; a spelling left out is no longer understood in files, but for names it once had."
        ])  # fmt: skip
        save = st.form_submit_button("Save", type="primary")
    if save and _unchanged_elsewhere(seen, now):
        change = held.change("changed under Studio")

        def both(con: object) -> None:
            put_rows(con, TECHNIQUES, [{"technique": name, **said}], change)  # type: ignore[arg-type]
            vocabulary.say_spellings(con, "technique", name, spellings.split("|"), change)  # type: ignore[arg-type]

        _try(f"{name} is saved.", both, afterwards=lambda: fields.forget_seen(f"technique {name}"))
    _rename_or_retire("technique", name, row["retired_on"], f"{named} will name it so")


def _rename_or_retire(kind: str, name: str, retired_on: object, effect: str) -> None:
    if new := _rename_form(name, effect, f"{kind} {name}"):
        _try(
            f"{name} is now {new}.",
            vocabulary.rename,
            kind,
            name,
            new,
            held.change("renamed under Studio"),
            afterwards=lambda: _forget_choice(f"{kind} changed"),
        )
    st.header("In use or retired")
    if isinstance(retired_on, date) and pd.notna(retired_on):
        st.write(f"Retired on {day(retired_on)}.")
        if st.button("Take it back into use"):
            _try(f"{name} is in use again.", vocabulary.retire, kind, name, None, held.change("taken back into use under Studio"))
        return
    frame.say(
        [f"Retired, {name} is offered no more for new work. What names it stays as it is and counts as before; entries of a later day come in with a note."]
    )
    if st.button("Retire it, as of today"):
        _try(f"{name} is retired. Nothing that names it has changed.", vocabulary.retire, kind, name, held.today(), held.change("retired under Studio"))


# --- phases


def _phases() -> None:
    use = reading.phases(held.store().cursor())
    rows = [
        [f"{row['position']}", row["phase"], f"{row['techniques']}", f"{row['works']}", f"{row['entries']:,}", f"retired on {day(row['retired_on'])}" if pd.notna(row["retired_on"]) else text(row["note"])]
        for row in use.to_dict("records")
    ]  # fmt: skip
    st.html(tables.ledger("Phases", ["position", "phase", "techniques", "works", "entries", "note"], rows, words=(1, 5)))
    frame.say(["Phases stand in the order of their positions; position 0 is studio time, on no work."])
    chosen = _choose("Change a phase", use["phase"].tolist(), "Choose a phase", "phase changed")
    if chosen is None:
        with st.form("add phase"):
            st.header("Add a phase")
            name = st.text_input("Name")
            position = st.text_input("Position", f"{int(use['position'].max()) + 1}")
            if st.form_submit_button("Add"):
                _add_phase(name, position)
        return
    row = use[use["phase"] == chosen].iloc[0]
    named = f"{counted(int(row['techniques']), 'technique')} and {counted(int(row['entries']), 'entry', 'entries')} on {counted(int(row['works']), 'work')}"
    now = row[["position", "note"]].to_dict()
    seen = fields.seen_first(f"phase {chosen}", f"position {chosen}", str(now))
    with st.form(f"phase {chosen}"):
        position = st.text_input("Position", f"{row['position']}", key=f"position {chosen}")
        note = st.text_input("Note", text(row["note"]), key=f"phase note {chosen}")
        frame.say([f"The position only orders it on pages and letters. {named} are of this phase and stay so."])
        save = st.form_submit_button("Save", type="primary")
    if save and _unchanged_elsewhere(seen, now):
        row_said = {"phase": chosen, "position": position, "note": note}
        _try(f"{chosen} is saved.", put_rows, PHASES, [row_said], held.change("changed under Studio"), afterwards=lambda: fields.forget_seen(f"phase {chosen}"))
    _rename_or_retire("phase", chosen, row["retired_on"], f"{named} will name it so")


def _add_phase(name: str, position: str) -> None:
    try:
        if name.strip() and (meant := fields.vocabulary().phase_spellings.get(folded(name))):
            raise BenchHoursError(f'"{name}" is understood already, as {meant}', "Choose another name, or change that one.")
        store_rows(held.store(), PHASES, [{"phase": name, "position": position}], held.change("added under Studio"))
    except BenchHoursError as error:
        frame.refuse(f"Not added: {error} What you typed is still here.")
        return
    frame.done(f"{name.strip()} is among the phases.")


frame.show("Studio", body)
