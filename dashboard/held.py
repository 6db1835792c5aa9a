"""What a page reads: the store it stands on, and frames kept until the next write."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard import reading, serving
from ingest.settings import read_settings
from ingest.store import Store

INVENTED = "invented"


def store() -> Store:
    """The studio's store, or the invented studio where the address asks for it."""
    return serving.invented_store() if shows_invented() else serving.store()


def shows_invented() -> bool:
    return bool(st.query_params.get("studio") == INVENTED)


def studio_name() -> str:
    """The studio's name as it has said it."""
    return read_settings(store().cursor()).studio


def overruns(as_of: date) -> pd.DataFrame:
    """See `dashboard.reading.overruns`; read anew only after a write."""
    opened = store()
    return _overruns(str(opened.path), opened.changes(), as_of)


@st.cache_data(max_entries=8, show_spinner="Adding up the hours …")
def _overruns(path: str, changes: int, as_of: date) -> pd.DataFrame:
    # path and changes are the key; Streamlit would leave a name with an underscore in front out of it
    return reading.overruns(store().cursor(), as_of)
