"""HTML from `templates/`: each text is escaped where it is written out, and only what says of itself that it is HTML already (`Markup`) is not."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Protocol

from markupsafe import Markup

if TYPE_CHECKING:
    from jinja2 import Environment


class Marked(Protocol):
    """What is written out as HTML of its own making."""

    def __html__(self) -> str: ...


def document(name: str, **values: object) -> str:
    """What the template of that name makes of values."""
    return _environment().get_template(f"{name}.html").render(values)


def piece(name: str, *values: object) -> Markup:
    """What a macro of `templates/pieces.html` makes of values."""
    return _macro(name)(*values)


# Made by hand is what stands in the rows of tables, and nothing else: 500 rows of ten texts take a template more than twice as long, as each text becomes an
# object before it is written.


def link(address: str, text: str) -> Markup:
    """A link to another page of ours."""
    return Markup(f'<a href="{escape(address)}" target="_self">{escape(text)}</a>')


def body_of_table(rows: Iterable[Sequence[str | Marked] | str], kinds: Sequence[str]) -> Markup:
    """The rows of a table; a text alone heads those that follow.

    Parameters
    ----------
    kinds : the class of the cells of each column; may be empty.
    """
    begins = [f'<td class="{kind}">' if kind else "<td>" for kind in kinds]
    return Markup(
        "".join(
            f'<tr class="group"><th scope="rowgroup" colspan="{len(kinds)}">{escape(row)}</th></tr>'
            if isinstance(row, str)
            else f"<tr>{''.join([f'{begin}{_escaped(cell)}</td>' for begin, cell in zip(begins, row, strict=True)])}</tr>"
            for row in rows
        )
    )


def _escaped(cell: str | Marked) -> str:
    return cell.__html__() if hasattr(cell, "__html__") else escape(cell)


@cache
def _macro(name: str) -> Callable[..., Markup]:
    macro: Callable[..., Markup] = getattr(_environment().get_template("pieces.html").module, name)
    return macro


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415  30 ms that commands without HTML need not wait

    return Environment(
        loader=PackageLoader("dashboard", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_text,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _text(value: object) -> object:
    """What may be written out; nothing unknown reads as the word "None" or "nan"."""
    if isinstance(value, str | int) or hasattr(value, "__html__"):
        return value
    raise TypeError(f"{value} is no text")
