"""HTML from `templates/`: every text is escaped when it is written, except `Markup`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Protocol

from markupsafe import Markup

if TYPE_CHECKING:
    from jinja2 import Environment


class Marked(Protocol):
    """A value that gives its own HTML."""

    def __html__(self) -> str: ...


def document(name: str, **values: object) -> str:
    """The text of a template filled with values."""
    return _environment().get_template(f"{name}.html").render(values)


def piece(name: str, *values: object) -> Markup:
    """The text of a macro of `templates/pieces.html` filled with values."""
    return _macro(name)(*values)


# Only rows of tables are written without a template, which takes more than twice as long for 500 rows.


def link(address: str, text: str) -> Markup:
    """A link to another page of ours."""
    return Markup(f'<a href="{escape(address)}" target="_self">{escape(text)}</a>')


def body_of_table(rows: Iterable[Sequence[str | Marked] | str], kinds: Sequence[str]) -> Markup:
    """The rows of a table; a single text is the head of those that follow.

    Parameters
    ----------
    kinds : the class of the cells of each column; may be empty.
    """
    begins = [f'<td class="{kind}">' if kind else "<td>" for kind in kinds]
    return Markup(
        "".join(
            (
                f'<tr class="group"><th scope="rowgroup" colspan="{len(kinds)}">{escape(row)}</th></tr>'
                if isinstance(row, str)
                else f"<tr>{_cells(begins, row)}</tr>"
            )
            for row in rows
        )
    )


def _cells(begins: Sequence[str], row: Sequence[str | Marked]) -> str:
    return "".join([f"{begin}{_escaped(cell)}</td>" for begin, cell in zip(begins, row, strict=True)])


def _escaped(cell: str | Marked) -> str:
    return cell.__html__() if hasattr(cell, "__html__") else escape(cell)


@cache
def _macro(name: str) -> Callable[..., Markup]:
    macro: Callable[..., Markup] = getattr(_environment().get_template("pieces.html").module, name)
    return macro


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415  30 ms saved elsewhere

    return Environment(
        loader=PackageLoader("dashboard.text", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_text,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _text(value: object) -> object:
    """A value that may be written; raises for others, so that no page shows "None" or "nan"."""
    if isinstance(value, str | int) or hasattr(value, "__html__"):
        return value
    raise TypeError(f"{value} is no text")
