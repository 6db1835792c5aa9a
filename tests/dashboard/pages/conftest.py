"""Files that pages drawn in process offer."""

from collections.abc import Callable
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.ui import layout

Download = Callable[[AppTest, str], str | bytes]


@pytest.fixture
def download(monkeypatch: pytest.MonkeyPatch) -> Download:
    """`download(page, label)`: the file behind a button of a page, made as when that is pressed."""
    offered: dict[str, str | bytes | Callable[[], str | bytes]] = {}
    place = layout.download

    def offer(
        label: str, content: str | bytes | Callable[[], str | bytes], *call: Any, **options: Any
    ) -> None:
        offered[label] = content
        place(label, content, *call, **options)

    def make(page: AppTest, label: str) -> str | bytes:
        assert label in [button.proto.label for button in page.get("download_button")]
        content = offered[label]
        return content() if callable(content) else content

    monkeypatch.setattr(layout, "download", offer)
    return make
