"""The pages and their order; Streamlit runs this script at each visit."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import frame, held, look, roles
from ingest.devices import Role
from ingest.errors import BenchHoursError

_FOLDER = Path(__file__).with_name("pages")


def run(role: Role) -> None:
    # What a role does not open is no page for it at all, whatever its browser asks for.
    pages = [
        st.Page(_FOLDER / f"{name}.py", title=title, url_path=name.replace("_", "-"), default=not number)
        for number, (name, title) in enumerate(roles.PAGES[role].items())
    ]
    chosen = st.navigation(pages, position="hidden")
    st.set_page_config(page_title=f"{chosen.title} – bench-hours", page_icon="✎", layout="centered", initial_sidebar_state="collapsed")
    st.html(look.PAGE_STYLE)
    held.stay_where_we_are()
    with st.container(horizontal=True, key="pages", gap="small"):  # in sight on a phone too, where Streamlit's own would be folded away
        if role == "principal":
            frame.link_away("Log hours", "/log")
        for page in pages:
            # To the list of works also from the form of one: with nothing to say, a link to the page one is on would leave the address, and so the form, as it is.
            listed = {"which": "all"} if page.url_path == "works" else {}
            st.page_link(page, query_params={**listed, **held.same_studio()})
        if role != "principal":
            frame.link_away("Leave", "/pair")
    chosen.run()


try:
    role = held.role()
except BenchHoursError as error:
    frame.refuse(str(error))
else:
    if role == "logs":  # the guard lets it come no further than the form
        frame.refuse("This device is for the form to log hours only.")
    else:
        run(role)
