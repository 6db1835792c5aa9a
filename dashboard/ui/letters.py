"""A letter to download: as PDF, as a page and as a document."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import streamlit as st

from dashboard.documents import letter_docx, letter_html, letter_pdf
from dashboard.documents.blocks import Letter
from dashboard.ui import layout


def show_downloads(
    letter: Callable[[], Letter],
    file: str,
    name: str,
    *,
    html: str = "a page (HTML)",
    primary: bool = False,
    keyed: bool = False,
) -> None:
    """Three buttons side by side; the letter is made when one of them is pressed.

    Parameters
    ----------
    letter : makes the letter; may be called outside the run of the page.
    file : name of the file, without its ending.
    name : first words of each button, like "The letter".
    html : words of the second button.
    primary : the first button stands out.
    keyed : the page may show several such letters, told apart by `file`.
    """
    formats: list[tuple[str, str, Callable[[Letter], str | bytes]]] = [
        ("pdf", "PDF", letter_pdf.as_pdf),
        ("html", html, letter_html.as_page),
        ("docx", "a document (.docx)", letter_docx.as_document),
    ]
    with st.container(horizontal=True):
        for ending, words, write in formats:
            layout.download(
                f"{name} as {words}",
                partial(_written, write, letter),
                f"{file}.{ending}",
                key=f"{ending} {file}" if keyed else None,
                type="primary" if primary and ending == "pdf" else "secondary",
            )


def _written(write: Callable[[Letter], str | bytes], letter: Callable[[], Letter]) -> str | bytes:
    return write(letter())
