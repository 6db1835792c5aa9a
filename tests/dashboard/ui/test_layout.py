"""What every page has in common."""

import time

from streamlit.testing.v1 import AppTest


def _page() -> None:
    import streamlit as st  # noqa: PLC0415  the script of a page stands for itself

    from dashboard.ui import layout  # noqa: PLC0415

    def body() -> None:
        if st.button("Save"):
            layout.done("It is saved")
        st.button("Something late")

    layout.show("A page", body)


def test_what_was_done_is_said_once_more_where_the_page_is_drawn_again_at_once_and_not_later() -> None:
    page = AppTest.from_function(_page, default_timeout=30).run()
    assert not page.success
    page.button[0].click().run()
    assert [item.value for item in page.success] == ["It is saved"]
    page.button[1].click().run()
    assert [item.value for item in page.success] == ["It is saved"]
    time.sleep(2.1)
    page.button[1].click().run()
    assert not page.success and not page.exception
