"""Words of phones: changes that wait for the principal, and entries that were refused."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from dashboard.formatting import counted, exact_hours, plain
from dashboard.server import state as server_state
from dashboard.ui import layout, page_data
from dashboard.ui.logs import held_back
from dashboard.ui.logs import report as report_part
from ingest.phone import apply_actions, device_decisions, form_state
from ingest.phone.verdicts import MOST_CHANGES
from ingest.values.line_names import line_name

WORDS: dict[str, device_decisions.Decision | None] = {
    "not yet": None,
    "take it in": "taken in",
    "leave it out": "left out",
}


EVERY_WORD: tuple[device_decisions.Decision, ...] = ("taken in", "left out")


def waiting() -> None:
    """Words that arrived and could not be taken in, by no fault of theirs."""
    opened = server_state.running_server()
    why = opened.inbox.why_waiting if opened and not page_data.shows_invented() else None
    if why is not None:
        count = apply_actions.waiting(page_data.store().cursor())
        layout.say(
            f"{counted(count, 'entry or word on one', 'entries and words on them')} that phones sent"
            f" {'waits' if count == 1 else 'wait'} still, as {why}"
        )


def show() -> None:
    """Words of devices that log on entries further back, of others, or too many for a day."""
    by_device = device_decisions.counts(page_data.store().cursor())
    if not by_device:
        return
    total = sum(item.count for item in by_device.values())
    layout.section(
        f"Changes from phones: {counted(total, 'change')} for you to decide",
        f"A phone corrects by itself what its person logged in the last {form_state.DAYS_BACK} days, one"
        f" that several share what was logged on it, {MOST_CHANGES} entries in a day. These go beyond"
        " that. Nothing is changed yet: taken in, a change comes into the record as if it were said now;"
        " left out, it stays out.",
    )
    device = None
    if len(by_device) > 1:
        device = st.selectbox(
            "From which device",
            [None, *by_device],
            format_func=lambda item: "all devices" if item is None else _device(by_device[item]),
        )
    rows = device_decisions.held_back(page_data.store().cursor(), held_back.SHOWN_QUESTIONS, device or None)
    shown = list(by_device.values()) if device is None else [by_device[device]]
    count, until = sum(item.count for item in shown), max(item.until for item in shown)
    # of a press, what was counted when the button was drawn: what came since waits on
    counted_until = st.session_state.get("changes seen", {}).get(device, until)
    st.session_state["changes seen"] = {device: until}
    all_of_them = (
        ("Take it in", "Leave it out")
        if count == 1
        else (f"Take all {count:,} in", f"Leave all {count:,} out")
    )
    with st.container(horizontal=True):
        for words, decided_as in zip(all_of_them, EVERY_WORD, strict=True):
            if st.button(words, key=f"all {decided_as}"):
                _report(
                    device_decisions.decide(
                        page_data.store(),
                        decided_as,
                        page_data.change("decided under Bring in logs"),
                        device=device,
                        until=counted_until,
                    )
                )
    if count == 1:
        layout.list_out([_change_from(rows[0])])
        return
    _decide_each(rows, count)


def _decide_each(rows: Sequence[device_decisions.HeldBack], count: int) -> None:
    """A form with a choice for each of the rows shown, of `count` in all."""
    with st.form("changes from phones"):
        choices = [
            st.radio(plain(_change_from(row)), list(WORDS), horizontal=True, key=f"word {row.action}")
            for row in rows
        ]
        if count > len(rows):
            layout.say(f"The first {len(rows)} of {count:,}; the next follow when these are decided.")
        decided = st.form_submit_button("Decide as chosen", type="primary", key="decide changes")
    if decided:
        numbers: dict[str, int] = {}
        for decision in EVERY_WORD:
            if some := [
                row.action for row, chosen in zip(rows, choices, strict=True) if WORDS[chosen] == decision
            ]:
                for outcome, number in device_decisions.decide(
                    page_data.store(), decision, page_data.change("decided under Bring in logs"), actions=some
                ).items():
                    numbers[outcome] = numbers.get(outcome, 0) + number
        _report(numbers)


def _device(waiting: device_decisions.Waiting) -> str:
    return (
        f"{waiting.device_name or 'a device that is not known any more'}, {counted(waiting.count, 'change')}"
    )


def _change_from(held_back: device_decisions.HeldBack) -> str:
    """A word on a held entry: from where, what it says, what is held, why it waits."""
    says = {"struck": "strike it out", "running": "take it in hand again"}.get(
        held_back.action_data["state"]
    ) or row_in_words(held_back.action_data)
    what = (
        "; ".join(_entry_says(entry) for entry in held_back.entries)
        or "an entry that is not in the record any more"
    )
    device = held_back.device_name or "A device that is not known any more"
    return (
        f"{device}, {held_back.action_data['person']}. Held: {what}. It says: {says}."
        f" {held_back.why[:1].upper()}{held_back.why[1:]}."
    )


def _entry_says(entry: dict[str, Any]) -> str:
    parts = [
        entry["object"] or "studio time",
        line_name(entry["phase"], entry["technique"], entry["part"]),
        entry["person"],
        entry["day"],
        f"{exact_hours(entry['hours'])} h",
        entry["note"],
    ]
    return ", ".join(filter(None, parts))


def row_in_words(action: dict[str, Any]) -> str:
    row = action["row"]
    works = ", ".join(item["object"] for item in action["works"]) or row.get("object") or "studio time"
    when = (
        row.get("date")
        or " to ".join(filter(None, (row.get("started_at"), row.get("ended_at"))))
        or ("by its clock" if action["taps"] else "")
    )
    parts = [
        works,
        _line_of(row),
        row.get("person"),
        when,
        row.get("hours") and f"{row['hours']} h",
        row.get("note"),
    ]
    return ", ".join(filter(None, parts))


def _line_of(row: dict[str, Any]) -> str:
    """The line of a row as it was typed; nothing where it may be studio time of which nothing is said."""
    words = tuple(row.get(name) or "" for name in ("phase", "technique", "part"))
    return line_name(*words) if row.get("object") or any(words) else ""


def _report(numbers: dict[str, int]) -> None:
    words = {
        "saved": "taken in",
        "overtaken": "taken in, and overtaken by a later word",
        "left out": "left out",
        "refused": "refused by the checks, to be mended in the form by who said it",
        "taken in": "taken in, and still to be settled",
    }
    outcomes = ", ".join(f"{count:,} {words[outcome]}" for outcome, count in numbers.items())
    layout.done(
        f"Decided: {outcomes}."
        if outcomes
        else "Nothing is decided yet: choose for each change what becomes of it."
    )


def show_refused() -> None:
    """They lie with whoever logged them, who knows what was meant; here it is seen that there are some."""
    refused = form_state.to_mend(page_data.store().cursor())
    if not refused:
        return
    layout.section(
        f"To mend in the form: {counted(len(refused), 'entry', 'entries')}",
        "None of their hours are counted yet. Who logged them finds them on top of the form to log hours,"
        " to be mended or struck out.",
    )
    layout.list_out(
        [f"{row_in_words(item)}. {_why(item['faults'])}" for item in refused[: report_part.SHOWN_REMARKS]]
    )
    if len(refused) > report_part.SHOWN_REMARKS:
        layout.say(f"And {len(refused) - report_part.SHOWN_REMARKS:,} more.")
    layout.link_away("Mend them in the form", "/log")


def _why(faults: Sequence[dict[str, str]]) -> str:
    return " ".join(
        " ".join(
            filter(
                None,
                (
                    fault["called"],
                    fault["value"] and f'"{fault["value"][:60]}"',
                    f"{fault['reason']}.",
                    fault["mend"],
                ),
            )
        )
        for fault in faults
    )
