"""Fields that several forms of the pages share, filled from the studio's own words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import streamlit as st

from dashboard import held
from dashboard.words import UNITS, plain
from ingest.vocabulary import Vocabulary, read_vocabulary

# Words of the record that are shown otherwise; a free word is shown as it is, or two would look alike.
_SHOWN = {**UNITS, "hands_on": "hands on", "own_cost": "own cost"}


def vocabulary() -> Vocabulary:
    """The studio's words as they are now."""
    return read_vocabulary(held.store().cursor())


def in_use(words: Vocabulary) -> list[str]:
    """Techniques that are not retired, in the order of their phases."""
    return sorted(
        (one.technique for one in words.techniques.values() if one.retired_on is None), key=lambda name: (words.phases[words.techniques[name].phase], name)
    )


def one_of(label: str, options: Sequence[str], value: str, key: str, empty: str | None = None, **more: Any) -> str:
    """One of some words; a value that is no longer among them can be kept. `empty` says what choosing nothing means; `more` goes to the field."""
    choices = [*([""] if empty is not None else []), *options]
    if value not in choices:
        choices.append(value)
    chosen: str = st.selectbox(label, choices, index=choices.index(value), format_func=lambda one: _SHOWN.get(one, one) or empty or "–", key=key, **more)
    return chosen


def seen_first(name: str, field: str, now: str) -> str:
    """What a form stood on when it was first shown: what it is now, unless a field of it is on the page already."""
    if field not in st.session_state:
        st.session_state[f"seen {name}"] = now
    seen: str = st.session_state.setdefault(f"seen {name}", now)
    return seen


def forget_seen(name: str) -> None:
    """After a save: what is saved is what is seen next."""
    st.session_state.pop(f"seen {name}", None)


def changed_elsewhere(what: str, kept_at: datetime | None, kept_by: str, *, fresh: bool) -> bool:
    """What is kept under a name was kept from another window since this one showed or kept it; `fresh`: it is shown just now, `kept_at` None: nothing is kept."""
    seen = f"kept {what}"
    if fresh or kept_at is None or kept_by == held.visit() or seen not in st.session_state:
        st.session_state[seen] = kept_at
    return bool(st.session_state[seen] != kept_at)


def choose_work(codes: Sequence[str], titles: Mapping[str, str]) -> str | None:
    """The work a page is about, kept in the address by its code alone; None while none is chosen."""
    said = st.query_params.get("object")
    if said is not None and said != st.session_state.get("object"):  # a choice on the page writes the address at once, so this one came with the address
        if said in codes:
            st.session_state["object"] = said
        else:
            st.warning(plain(f'There is no work "{said}" here. Choose one of the list.'))
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
