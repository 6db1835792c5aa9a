"""Pages for devices that are not paired: documents that load nothing else and tell nothing of the studio."""

from __future__ import annotations

from functools import cache
from importlib import resources

from markupsafe import Markup
from starlette.responses import HTMLResponse

from dashboard import theme
from dashboard.text import templating
from ingest.http_json import NOT_KEPT, csp_hash

_STYLE = f"""body {{ margin: 0 auto; max-width: 34rem; padding: 1.2rem; overflow-wrap: break-word;
  background: {theme.PAPER}; color: {theme.INK}; font: 1.05rem/1.5 {theme.SANS}; }}
h1 {{ font: 500 1.5rem {theme.SERIF}; }} h2 {{ font: 500 1.2rem {theme.SERIF}; margin-top: 1.6rem; }}
a {{ color: {theme.ACCENT}; }}
input, button {{ font: inherit; padding: .7rem .9rem; border: 1px solid {theme.SOFT_INK};
  border-radius: .3rem; box-sizing: border-box; }}
input {{ width: 100%; background: #fff; color: {theme.INK}; letter-spacing: .08em; }}
button {{ margin-top: .8rem; background: {theme.ACCENT}; border-color: {theme.ACCENT}; color: #fff; }}
label {{ display: block; margin: 1rem 0 .3rem; }} .wrong {{ color: {theme.OVER}; }}
code {{ font-size: .95em; }} li {{ margin: .3rem 0; }}
:focus-visible {{ outline: 3px solid {theme.ACCENT}; outline-offset: 2px; }}"""


def script(name: str) -> str:
    """A script of the server, by the name of its file."""
    return resources.files("dashboard.server").joinpath(f"static/{name}.js").read_text("utf-8")


_PAIR, _UNSENT = script("pair"), script("unsent")
POLICY = (
    f"default-src 'none'; script-src {csp_hash(_PAIR.encode())} {csp_hash(_UNSENT.encode())}; style-src"
    f" {csp_hash(_STYLE.encode())}; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors"
    " 'none'"
)
"""Content security policy of these documents: their own style and scripts, by digest."""


def refusal(what: str, mend: str, *, of_the_form: bool, status: int) -> bytes:
    """A refusal and the way on; of the form also what the phone has not sent yet."""
    return document(
        "refusal",
        what=what[0].upper() + what[1:],
        mend=mend,
        of_the_form=of_the_form,
        status=status,
        kept=Markup(_UNSENT),
    )


@cache
def pair(paired_as: str = "") -> bytes:
    """The form for a code; `paired_as`: what the device is paired as already, and may leave."""
    return document("pair", paired_as=paired_as, script=Markup(_PAIR))


@cache
def certificate(fingerprint: str) -> bytes:
    """Steps to trust the studio's own authority (common practice, no source: systems move their menus)."""
    return document("certificate", fingerprint=fingerprint)


def document(name: str, **values: object) -> bytes:
    """A page from a template that extends `door.html`."""
    return templating.document(name, style=Markup(_STYLE), **values).encode()


def answer(body: bytes, status: int = 200) -> HTMLResponse:
    """One of these documents as a response."""
    return HTMLResponse(body, status, {"content-security-policy": POLICY, **NOT_KEPT})
