"""Pages set by Typst from `templates/`; every text is passed as data and never read as markup."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import Any, Literal

import typst


def typeset(
    *templates: str, data: dict[str, Any], kind: Literal["pdf", "png"], dots_per_inch: float
) -> list[bytes]:
    """A PDF, or a picture of each page, of templates put one behind the other."""
    source = "".join(map(_template, templates)).encode()
    pages: bytes | list[bytes] = typst.compile(
        source, format=kind, sys_inputs={"data": json.dumps(data)}, ppi=dots_per_inch
    )
    return pages if isinstance(pages, list) else [pages]


@cache
def _template(name: str) -> str:
    return resources.files("dashboard.documents").joinpath(f"templates/{name}.typ").read_text("utf-8")
