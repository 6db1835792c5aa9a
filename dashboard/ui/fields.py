"""Fields that several forms of the pages share, filled from the studio's own words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import streamlit as st

from dashboard.formatting import UNITS, plain
from dashboard.ui import page_data
from ingest.studio.vocabulary import Vocabulary

# Words of the record that are shown otherwise; a free word is shown as it is, or two would look alike.
_SHOWN = {**UNITS, "hands_on": "hands on", "own_cost": "own cost"}


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
