"""No text of the record becomes HTML, wherever it is written out, and whatever it is."""

from __future__ import annotations

import ast
import base64
import hashlib
import re
import tomllib
from collections.abc import Callable
from datetime import date
from functools import cache
from html.parser import HTMLParser
from typing import Any

import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from jinja2 import UndefinedError
from markupsafe import Markup

from dashboard.documents import labels as labels_document
from dashboard.documents import letter_html, statement
from dashboard.documents.blocks import Block, Letter, facts, heading, paragraph, small, subheading, table
from dashboard.server import public_pages
from dashboard.text import html_blocks, templating
from dashboard.text.html_blocks import Link
from tests import ROOT

DASHBOARD = ROOT / "dashboard"
HOSTILE = [
    "<b>bold</b>",
    "\"><img src=x onerror=alert(1)>'",
    "</script><script>alert(1)</script>",
    "</style>&lt;i&gt;",
    "{{ 7 * 7 }}{% x %}",
    "<!-- \x00\x1b",
]


class Read(HTMLParser):
    """A document as another program (Python's html.parser) reads it: its tags with the names of what they
    carry, and its texts.
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, ...]] = []
        self.texts = [""]
        self.feed(str(text))
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, *(name for name, _ in attrs)))
        self.texts += [value or "" for _, value in attrs]
        self.texts.append("")

    def handle_endtag(self, tag: str) -> None:
        self.tags.append((f"/{tag}",))
        self.texts.append("")

    def handle_comment(self, data: str) -> None:
        self.tags.append(("!--",))

    def handle_data(self, data: str) -> None:
        self.texts[-1] += data


def letter_saying(text: str) -> str:
    blocks = [
        heading(text),
        subheading(text),
        paragraph(text),
        small(text),
        facts([(text, text)]),
        table(text, [text, text], [[text, text]] * 2, right=(1,), foot=1),
        Block(
            kind="dots",
            text=text,
            dots=[(0.25, 0), (0.75, 1)],
            within=1,
            promise=0.5,
            ends=[text, text, text],
        ),
    ]
    return letter_html.as_page(
        Letter(
            studio=text,
            letterhead=[text],
            addressee=[text, text],
            day=text,
            subject=text,
            number=text,
            blocks=blocks,
            approvals=[text],
        )
    )


def statement_saying(text: str) -> str:
    row = {
        "day": date(2024, 2, 1),
        "position": 1,
        "phase": text,
        "technique": text,
        "part": text,
        "charge": "quoted",
        "quantity": 1.5,
        "unit": "dm2",
        "note": text,
    }
    frame = pd.DataFrame(
        [row | {"hours": 1.0, "unattended_hours": 0.0}, row | {"hours": 0.0, "unattended_hours": 24.0}]
    )
    return statement.as_page(text, text, date(2024, 3, 1), None, frame, with_notes=True)


def ledger_saying(text: str) -> str:
    return html_blocks.ledger(text, [text] * 5, [text, [text] * 5, [Link(text, text)] * 5], foot=True)


SURFACES: dict[str, Callable[[str], str]] = {
    "figures": lambda text: html_blocks.figures([(text, text, True)]),
    "sentences beside": lambda text: html_blocks.beside(
        [text, Link(text, text), Markup("of {}").format(Link(text, text))]
    ),
    "a table": ledger_saying,
    "sentences in a list": lambda text: templating.piece("points", [text]),
    "a way to the form": lambda text: templating.piece("link_away", text, text),
    "the head of a work": lambda text: templating.piece("head_of_work", Link(text, text), text),
    "a picture": lambda text: templating.piece("picture", text, text),
    "a letter": letter_saying,
    "a statement": statement_saying,
    "a refusal at the door": (
        lambda text: public_pages.refusal(text, text, of_the_form=True, status=401).decode()
    ),
    "the page to pair": lambda text: public_pages.pair.__wrapped__(text).decode(),
    "the page of the certificate": lambda text: public_pages.certificate.__wrapped__(text).decode(),
    "hours worth a pause": (
        lambda text: public_pages.document(
            "own_hours",
            period=text,
            not_measured=text,
            parts=[(text, text, [text])],
            without_clock=text,
            without_technique=text,
        ).decode()
    ),
}


@pytest.mark.parametrize("surface", SURFACES)
# what begins a refusal is written large
@given(text=st.text(st.characters(exclude_categories=["Cs", "Ll", "Lt"]), min_size=1))
@example(text=HOSTILE[0].upper())
@example(text=HOSTILE[1].upper())
@example(text=HOSTILE[2].upper())
@example(text=HOSTILE[3])
@example(text=HOSTILE[4])
@example(text=HOSTILE[5])
def test_a_text_is_written_as_it_is_and_changes_nothing_around_it(surface: str, text: str) -> None:
    harmless, read = Read(SURFACES[surface]("A plain text")), Read(SURFACES[surface](text))
    assert read.tags == harmless.tags
    assert read.texts == [item.replace("A plain text", text) for item in harmless.texts]


@pytest.mark.parametrize("code", [*HOSTILE[:5], '#panic("run")', "*a* _b_ $c$ @d #let x = 1"])
def test_a_label_holds_a_code_as_a_text_in_what_is_drawn_and_in_what_is_set(code: str) -> None:
    drawn = Read(labels_document.qr_svg(labels_document.form_address("https://192.168.1.20:8411", code)))
    assert {tag[0].lower() for tag in drawn.tags} <= {"svg", "path", "/svg", "/path"} and not "".join(
        drawn.texts[-1:]
    ).strip()
    assert labels_document.sheet([code], "https://192.168.1.20:8411").startswith(b"%PDF")


def test_what_is_html_already_is_told_by_its_kind_and_not_by_its_looks() -> None:
    assert (
        html_blocks.beside(["<i>x</i>", Markup("<i>x</i>")])
        == '<p class="beside">&lt;i&gt;x&lt;/i&gt;</p><p class="beside"><i>x</i></p>'
    )
    assert "<td>&lt;i&gt;</td><td><i></td>" in html_blocks.ledger(
        "x", ["a", "b"], [["<i>", Markup("<i>")]], words=()
    )


@pytest.mark.parametrize("nothing", [None, float("nan"), pd.NA])
def test_what_is_unknown_is_never_written_as_a_word(nothing: Any) -> None:
    with pytest.raises((TypeError, AttributeError)):
        templating.piece("points", [nothing])
    with pytest.raises((TypeError, AttributeError)):
        templating.body_of_table([[nothing]], [""])


def test_a_template_without_a_value_that_it_names_is_a_mistake() -> None:
    with pytest.raises(UndefinedError, match="'paired_as' is undefined"):
        templating.document("pair", style="", script="")


@pytest.mark.parametrize("cells", [["a"], ["a", "b", "c"]])
def test_a_row_that_does_not_fit_the_heads_of_its_table_is_a_mistake(cells: list[str]) -> None:
    with pytest.raises(ValueError, match="zip"):
        html_blocks.ledger("x", ["a", "b"], [cells])


@pytest.mark.parametrize(
    "answer",
    [
        public_pages.refusal("not known", "Pair it.", of_the_form=True, status=401),
        public_pages.pair(""),
        public_pages.pair("A phone (bench)"),
        public_pages.certificate("AA:BB"),
    ],
)
def test_the_policy_at_the_door_knows_each_style_and_script_of_its_documents(answer: bytes) -> None:
    inside = re.findall(rb"<(?:style|script)>(.*?)</(?:style|script)>", answer, re.DOTALL)
    assert inside
    for item in inside:
        assert f"'sha256-{base64.b64encode(hashlib.sha256(item).digest()).decode()}'" in public_pages.POLICY


@cache
def trees() -> list[tuple[str, ast.AST]]:
    return [
        (str(path.relative_to(DASHBOARD)), ast.parse(path.read_text(encoding="utf-8")))
        for path in sorted(DASHBOARD.rglob("*.py"))
    ]


def test_no_code_but_that_of_tables_puts_texts_into_tags_by_hand() -> None:
    """`theme` sets colours and faces into the style of the pages, and no text of the record."""
    by_hand = {
        name
        for name, tree in trees()
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        and re.search(
            r"</?[a-z][a-z0-9]*[\s>]",
            "".join(str(part.value) for part in node.values if isinstance(part, ast.Constant)),
        )
    }
    assert by_hand == {"text/templating.py", "theme.py"}


def test_only_what_is_written_in_the_code_itself_is_called_html() -> None:
    trusted = [
        (name, node.args[0])
        for name, tree in trees()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id == "Markup"
        and name != "text/templating.py"
    ]
    assert trusted
    for name, argument in trusted:
        assert isinstance(argument, ast.Constant) or (
            isinstance(argument, ast.Name) and argument.id.isupper()
        ), f"{name}: {ast.unparse(argument)}"


def test_every_template_goes_along_when_the_program_is_installed() -> None:
    patterns = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"][
        "package-data"
    ]["dashboard.text"]
    shipped = {path for pattern in patterns for path in (DASHBOARD / "text").glob(pattern)}
    assert set((DASHBOARD / "text" / "templates").iterdir()) <= shipped
