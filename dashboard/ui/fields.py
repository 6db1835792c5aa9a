"""Fields that several forms of the pages share, filled from the studio's own words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

import streamlit as st

from dashboard.formatting import UNITS, plain
from dashboard.formatting import day as day_in_words
from dashboard.ui import page_data
from ingest.errors import BenchHoursError
from ingest.studio.vocabulary import Vocabulary
from ingest.values import calendar_days
from ingest.values.calendar_days import DayOrder

# Words of the record that are shown otherwise; a free word is shown as it is, or two would look alike.
_SHOWN = {**UNITS, "hands_on": "hands on", "own_cost": "own cost"}

SIDE_BY_SIDE = 306  # pixels: three fields beside each other on a laptop, one on a phone

_DAY_HINTS: Mapping[DayOrder, str] = {
    "dmy": "day/month/year",
    "mdy": "month/day/year",
    "ymd": "year-month-day",
    "unset": "year-month-day",
}


def day_hint() -> str:
    """How this studio writes a day, shown in a field for one that is empty."""
    return _DAY_HINTS[page_data.settings().day_order]


def day_field(label: str, value: date | str = "", *, key: str, **more: Any) -> str:
    """A field for a day, as it is typed: in the order in which the studio writes its dates, as year-month-day
    or with the month in words. No calendar to pick from: most days typed here are months back, in a diary,
    and one written there can be copied as it stands.

    Parameters
    ----------
    value : shown at first, a day as year-month-day: it can be read in every studio.
    more : options of the Streamlit field.

    """
    typed: str = st.text_input(label, f"{value}", key=key, placeholder=day_hint(), **more)
    return typed


def read_day(what: str, text: str, latest: date | None = None) -> date | None:
    """The day of such a field, None where it is empty; raises BenchHoursError for what is no day, or is after
    the latest. `what` is what the field is called.
    """
    if not text.strip():
        return None
    try:
        typed = calendar_days.day(text, page_data.settings().day_order)
    except BenchHoursError as error:
        raise BenchHoursError(f'{what} "{text}" {error.what}', error.mend) from error
    if latest is not None and typed > latest:
        raise BenchHoursError(
            f'{what} "{text}" is after {day_in_words(latest)}', "Write that day or an earlier one."
        )
    return typed


def require_day(what: str, text: str) -> date:
    """The same of a field that must not be empty."""
    typed = read_day(what, text)
    if typed is None:
        raise BenchHoursError(f"{what} is empty", f"Write a day, like {page_data.today()}.")
    return typed


def choose_day(
    label: str,
    value: date | None,
    *,
    key: str,
    latest: date | None = None,
    otherwise: date | None = None,
    **more: Any,
) -> date | None:
    """A field for a day that the page goes by at once; None where it is empty. What is no day is refused
    below it, and `otherwise` stands in for it.
    """
    text = day_field(label, value or "", key=key, **more)
    try:
        return read_day(label, text, latest)
    except BenchHoursError as error:
        st.error(plain(f"{error}{f' Until then it is {day_in_words(otherwise)}.' if otherwise else ''}"))
        return otherwise


def in_use(words: Vocabulary) -> list[str]:
    """Techniques that are not retired, in the order of their phases."""
    return sorted(
        (technique.technique for technique in words.techniques.values() if technique.retired_on is None),
        key=lambda name: (words.phases[words.techniques[name].phase], name),
    )


def choose(
    label: str, options: Sequence[str], value: str, key: str, empty: str | None = None, **more: Any
) -> str:
    """A field to choose a word; `value` may be none of the options.

    Parameters
    ----------
    empty : words for no choice; None: one must be made.
    more : options of the Streamlit field.

    """
    choices = [*([""] if empty is not None else []), *options]
    if value not in choices:
        choices.append(value)
    chosen: str = st.selectbox(
        label,
        choices,
        index=choices.index(value),
        format_func=lambda item: _SHOWN.get(item, item) or empty or "–",
        key=key,
        **more,
    )
    return chosen


def remember_shown(name: str, field: str, text: str) -> str:
    """The content of a form when it was first shown, that is `text` unless `field` is on the page already. A
    save that finds it changed is refused.
    """
    if field not in st.session_state:
        st.session_state[f"seen {name}"] = text
    shown: str = st.session_state.setdefault(f"seen {name}", text)
    return shown


def forget_shown(name: str) -> None:
    """After a save: what is saved is what is seen next."""
    st.session_state.pop(f"seen {name}", None)


def changed_elsewhere(what: str, kept_at: datetime | None, kept_by: str, *, fresh: bool) -> bool:
    """A draft was stored from another window since this one showed or stored it.

    Parameters
    ----------
    what : name of the draft.
    kept_at, kept_by : when and by which visit it was stored; None: it was not.
    fresh : it is shown just now.

    """
    state_key = f"kept {what}"
    if fresh or kept_at is None or kept_by == page_data.visit() or state_key not in st.session_state:
        st.session_state[state_key] = kept_at
    return bool(st.session_state[state_key] != kept_at)


def choose_work(codes: Sequence[str], titles: Mapping[str, str]) -> str | None:
    """The work a page is about, kept in the address by its code alone; None while none is chosen."""
    wanted = st.query_params.get("object")
    # a choice on the page writes the address at once, so this one came with the address
    if wanted is not None and wanted != st.session_state.get("object"):
        if wanted in codes:
            st.session_state["object"] = wanted
        else:
            st.warning(plain(f'There is no work "{wanted}" here. Choose one of the list.'))
            del st.query_params["object"]
    chosen: str | None = st.selectbox(
        "Work",
        list(codes),
        index=None,
        format_func=lambda code: f"{code}  {titles.get(code, '')}".strip(),
        key="object",
        on_change=_work_into_address,
        placeholder="Type a code or part of a title" if titles else "Type a code",
    )
    return chosen


def _work_into_address() -> None:
    if chosen := st.session_state["object"]:
        st.query_params["object"] = chosen
    elif "object" in st.query_params:
        del st.query_params["object"]
