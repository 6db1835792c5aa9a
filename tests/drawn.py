"""Pages as their scripts draw them in this process, without a server and without a browser: for tests that
look at words alone, where fields and buttons do what they do everywhere.
"""

from __future__ import annotations

import functools
import html
import re
from typing import Any

import pytest
from streamlit import config
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from dashboard.server import state as server_state
from dashboard.ui import page_data
from ingest.store import Store
from tests import ROOT

# Which of all installed packages bring components of their own: read once, not for each page.
_components = functools.cache(manifest_scanner.scan_component_manifests)


def draw(monkeypatch: pytest.MonkeyPatch, store: Store, page: str = "", **query: str) -> AppTest:
    """A page (`one_work`), or the first of all, as whoever sits at this machine sees it."""
    monkeypatch.setattr(page_data, "device", lambda: None)
    monkeypatch.setattr(server_state, "store", lambda: store)
    monkeypatch.setattr(manifest_scanner, "scan_component_manifests", _components)
    # as the server does, whose collections are short: all of a process of tests is much to look through
    config.set_option("runner.postScriptGC", False)
    config.set_option("runner.magicEnabled", False)
    drawn = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=120)
    if page:
        drawn.switch_page(f"pages/{page}.py")
    drawn.query_params.update(query)
    return checked(drawn.run())


def checked(page: AppTest) -> AppTest:
    assert not page.exception
    return page


def press_button(page: AppTest, label: str) -> None:
    """Press the first button whose label begins so."""
    next(button for button in page.button if button.label.startswith(label)).click()
    checked(page.run())


def fill_field(page: AppTest, label: str, text: str) -> None:
    """Fill the first field whose label begins so."""
    field_of(page, label).set_value(text)


def field_of(page: AppTest, label: str) -> Any:
    return next(field for field in page.text_input if field.label.startswith(label))


def choose_option(page: AppTest, label: str, option: str, *, in_form: bool = False) -> None:
    """Choose what begins so, or else has it in it, of a choice whose label begins so; in a form it is sent
    with its button.
    """
    choice = next(choice for choice in page.selectbox if choice.label.startswith(label))
    found = [text for text in choice.options if text.startswith(option)] or [
        text for text in choice.options if option in text
    ]
    choice.select_index(choice.options.index(found[0]))
    if not in_form:
        checked(page.run())


def words_of(page: AppTest) -> str:
    """All that a page says in sentences and tables."""
    said = [
        re.sub(r"\\(.)", r"\1", item.value)
        for item in (*page.markdown, *page.success, *page.warning, *page.error, *page.info, *page.caption)
    ]
    blocks = [re.sub(r"<[^>]+>", " ", item.proto.body) for item in page.get("html")]
    return "\n".join([*said, *map(html.unescape, blocks)])


def spent(page: AppTest) -> float:
    """The hours that a work took, the second of its figures."""
    figures = next(item.proto.body for item in page.get("html") if 'class="figures"' in item.proto.body)
    return float(re.findall(r"<dd[^>]*>([\d.]+) h", figures)[1])


def rows_of(page: AppTest, table: str) -> list[list[str]]:
    """The cells of each row of a table, its heads first."""
    body = next(item.proto.body for item in page.get("html") if f'aria-label="{table}"' in item.proto.body)
    return [
        [
            html.unescape(re.sub(r"<[^>]+>", "", cell)).strip()
            for cell in re.findall(r"<t[dh][ >].*?</t[dh]>", row, re.S)
        ]
        for row in body.split("<tr")[1:]
    ]


def cells_of(page: AppTest, table: str, *texts: str) -> list[str]:
    """The cells of the first row of a table that has all these texts."""
    return next(
        row for row in rows_of(page, table) if all(any(text in cell for cell in row) for text in texts)
    )


def headings(page: AppTest) -> list[str]:
    """The headings of a page below its title."""
    return [re.sub(r"\\(.)", r"\1", item.value) for item in page.header]
