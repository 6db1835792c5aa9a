"""The pages and their order; Streamlit runs this script at each visit."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import roles, theme
from dashboard.ui import layout, page_data
from ingest.devices import Role
from ingest.errors import BenchHoursError

_FOLDER = Path(__file__).with_name("pages")


def run(role: Role) -> None:
    # What a role does not open is no page for it at all, whatever its browser asks for.
    device = page_data.device()
    nobodys = role == "reviews" and not (device and device.person)
    titles = {
        name: title
        for name, title in roles.PAGES[role].items()
        if name not in roles.OWN or (page_data.settings().pauses and not nobodys)
    }
    opened = {
        name: st.Page(_FOLDER / f"{name}.py", title=title, url_path=name.replace("_", "-"))
        for name, title in titles.items()
    }
    # so that each page keeps its address, whichever comes first today
    start = st.Page(_FOLDER / "start.py", title="bench-hours", default=True)
    pages = list(opened.values())
    chosen = st.navigation([start, *pages], position="hidden")
    if chosen == start:
        page_data.keep_studio()
        first = (
            "on_the_bench"
            if "on_the_bench" in opened and page_data.anything_on_the_bench()
            else "where_the_hours_went"
        )
        # no other role is told a name
        query = {
            name: value
            for name, value in st.query_params.to_dict().items()
            if name != "person" or role == "principal"
        }
        st.switch_page(opened[first], query_params=query)
    st.set_page_config(
        page_title=f"{chosen.title} – bench-hours",
        page_icon="✎",
        layout="centered",
        initial_sidebar_state="collapsed",
    )
    st.html(theme.PAGE_STYLE)
    page_data.keep_studio()
    # in sight on a phone too, where Streamlit's own would be folded away
    with st.container(horizontal=True, key="pages", gap="small"):
        if role == "principal":
            layout.link_away("Log hours", "/log")
        for page in pages:
            # To the list of works also from the form of one: with nothing to say, a link to the page one is
            # on would leave the address, and so the form, as it is.
            listed = {"which": "all"} if page.url_path == "works" else {}
            st.page_link(page, query_params={**listed, **page_data.studio_query()})
        if role != "principal":
            layout.link_away("Leave", "/pair")
    chosen.run()


try:
    role = page_data.role()
except BenchHoursError as error:
    layout.refuse(str(error))
else:
    if role == "logs":  # the guard lets it come no further than the form
        layout.refuse("This device is for the form to log hours only.")
    else:
        run(role)
