"""The pages and their order; Streamlit runs this script at each visit."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import frame, held, look

PAGES = Path(__file__).with_name("pages")

pages = [
    st.Page(PAGES / "where_the_hours_went.py", title="Where the hours went", url_path="where-the-hours-went", default=True),
    st.Page(PAGES / "one_work.py", title="One work", url_path="one-work"),
    st.Page(PAGES / "works.py", title="Works", url_path="works"),
    st.Page(PAGES / "estimate.py", title="Estimate", url_path="estimate"),
    st.Page(PAGES / "bring_in_logs.py", title="Bring in logs", url_path="bring-in-logs"),
    st.Page(PAGES / "studio.py", title="Studio", url_path="studio"),
    st.Page(PAGES / "safe_keeping.py", title="Safe keeping", url_path="safe-keeping"),
]
chosen = st.navigation(pages, position="hidden")
st.set_page_config(page_title=f"{chosen.title} – bench-hours", page_icon="✎", layout="centered", initial_sidebar_state="collapsed")
st.html(look.PAGE_STYLE)
held.stay_where_we_are()
with st.container(horizontal=True, key="pages", gap="small"):  # in sight on a phone too, where Streamlit's own would be folded away
    frame.link_to_the_form("Log hours")
    for page in pages:
        # To the list of works also from the form of one: with nothing to say, a link to the page one is on would leave the address, and so the form, as it is.
        listed = {"which": "all"} if page.url_path == "works" else {}
        st.page_link(page, query_params={**listed, **held.same_studio()})
chosen.run()
