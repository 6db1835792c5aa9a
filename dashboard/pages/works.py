"""Works: all of them with where each stands; add one, edit one, finish several, set milestones and take
them back; tell finished ones of before from memory.
"""

from __future__ import annotations

import streamlit as st

from dashboard.formatting import plain
from dashboard.ui import layout
from dashboard.ui.works import finish_many, form, from_memory, table


def body() -> None:
    if st.query_params.get("add") == "from-memory":
        st.session_state["from memory"] = True
    if st.query_params.get("add") == "work":
        form.show(None)
    elif (wanted := st.query_params.get("object")) is None:
        finish_many.point_out()
        table.show()
        finish_many.show()
        from_memory.show()
    elif (code := form.code_of(wanted)) is not None:
        form.show(code)
    else:
        st.warning(plain(f'There is no work "{wanted}" here. All of them are below.'))
        finish_many.point_out()
        table.show()
        finish_many.show()
        from_memory.show()


layout.show("Works", body)
