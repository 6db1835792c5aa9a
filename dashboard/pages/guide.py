"""Guide: how each page is read, what words mean, what files and commands look like; a chapter at a time."""

from __future__ import annotations

import streamlit as st

from dashboard import guide
from dashboard.formatting import plain
from dashboard.ui import layout, page_data

_STYLE = """<style>
[data-testid="stMarkdownContainer"] :is(p, li) { max-width: 42rem; }
[data-testid="stMarkdownContainer"] table { overflow-wrap: break-word; }
[data-testid="stMarkdownContainer"] :is(p, li) > code { white-space: nowrap; }
[data-testid="stMarkdownContainer"] pre code { white-space: pre-wrap !important; overflow-wrap: anywhere; }
h4 { font-size: 1rem !important; font-weight: 600 !important; }
@media (max-width: 40rem) {
  table:has(th:nth-child(4)) thead, table:has(th:nth-child(4)) td:empty { display: none; }
  table:has(th:nth-child(4)) :is(tbody, tr, td) { display: block; border: 0; padding: 0 0 .1rem; }
  table:has(th:nth-child(4)) tr { padding-bottom: .7rem; }
  table:has(th:nth-child(4)) td:first-child { font-weight: 600; }
}
@media print { .st-key-pages, .st-key-chapters, .st-key-onwards { display: none !important; } }
</style>"""


def body() -> None:
    st.html(_STYLE)
    chapters = list(guide.CHAPTERS)
    chosen = _choose(chapters)
    st.markdown(guide.chapter(chosen, page_data.store().cursor()))
    with st.container(horizontal=True, key="onwards"):
        place = chapters.index(chosen)
        for name in chapters[max(place - 1, 0) : place + 2]:
            if name != chosen:
                _link(name)


def _choose(chapters: list[str]) -> str:
    """The chapter that is read, kept in the address."""
    wanted = st.query_params.get("chapter", chapters[0])
    if wanted not in chapters:
        st.warning(plain(f'There is no chapter "{wanted}". Choose one of the list.'))
        wanted = chapters[0]
    elif "chapter" in st.query_params:
        st.query_params["chapter"] = (
            wanted  # a link from here to here leaves what the browser shows as it was
        )
    st.session_state["chapter"] = wanted
    with st.container(key="chapters"):
        return st.selectbox(
            "Chapter",
            chapters,
            format_func=guide.CHAPTERS.__getitem__,
            key="chapter",
            on_change=_into_address,
        )


def _into_address() -> None:
    st.query_params["chapter"] = st.session_state["chapter"]


def _link(name: str) -> None:
    layout.link("guide", guide.CHAPTERS[name], chapter=name)


layout.show("Guide", body)
