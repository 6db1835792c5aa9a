"""The form as one page: style, script and state inside it, so that one answer of the server is enough."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

from ingest.http_json import csp_hash

_SCRIPT = (
    *("state", "elements", "names", "clock", "storage", "entries"),
    *("sync", "work", "bench", "views", "day", "entry", "app"),
)
"""Parts of the script in `static/script`, in the order in which they stand in the page."""
_SPACED = re.compile(
    r"""(?P<text>"(?:[^"\\]|\\.)*")| (?:=>|[=!]==|[-+*/]=?|&&|\|\||\?\?|[=?:<>]=?) |[,:] (?=")| ?\{ ?| \}"""
)
"""A text in double quotes, which stays; a sign with the spaces about it, which go."""
_FOLDER = resources.files("ingest.phone").joinpath("static")


@dataclass(frozen=True, slots=True)
class Page:
    """The page without its state.

    Attributes
    ----------
    before, after : its text on both sides of the state.
    policy : Content-Security-Policy that lets a browser run this page alone.
    """

    before: str
    after: str
    policy: str


@cache
def page() -> Page:
    """The page as it is shipped."""
    style = re.sub(r"\s*([{}])\s*|([;:,])\s+", r"\1\2", _trimmed(text_of("page.css")))
    script = _joined(_trimmed("".join(text_of(f"script/{name}.js") for name in _SCRIPT)))
    before, after = (
        text_of("page.html").replace("{style}", style).replace("{script}", script).split("{state}")
    )
    policy = (
        f"default-src 'none'; script-src {csp_hash(script.encode())}; style-src {csp_hash(style.encode())};"
        " connect-src 'self'; img-src 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none';"
        " form-action 'none'; frame-ancestors 'none'"
    )
    return Page(before, after, policy)


def html(state: Mapping[str, object]) -> bytes:
    """The page with a state in it, escaped so that no text of the record ends its element."""
    text = (
        json.dumps(state, ensure_ascii=False, separators=(",", ":"))
        .replace("<", "\\u003c")
        .replace("\u2028", "\\u2028")
        .replace("\u2029", "\\u2029")
    )
    shell = page()
    return f"{shell.before}{text}{shell.after}".encode(errors="replace")


@cache
def text_of(name: str) -> str:
    """A file of the form."""
    return _FOLDER.joinpath(name).read_text(encoding="utf-8")


def _trimmed(text: str) -> str:
    """Without indents, blank lines, and lines that are only a comment."""
    return "\n".join(
        line.strip() for line in text.splitlines() if line.strip() and not re.match(r"\s*//", line)
    )


def _joined(script: str) -> str:
    """Without ends of lines where no word ends, without commas and semicolons that are the last in brackets,
    and without spaces about signs. Every statement of the script ends with its own sign, no text in it has an
    end of line, and none between backticks has such a sign in spaces.
    """
    joined = re.sub(r"[,;]?\n(?=[)\]}])|(?<=\W)\n|\n(?=\W)", "", script)
    return _SPACED.sub(lambda match: match["text"] or match[0].strip(), joined)
