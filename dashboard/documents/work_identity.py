"""The painting as a letter names it: in a heading, in a sentence, and as a list of facts."""

from __future__ import annotations

import re

from dashboard.documents.blocks import Block, facts
from dashboard.formatting import text
from dashboard.services.quote import WorkQuoted

# How a maker is written who is not simply one (common practice, no source).
_ATTRIBUTED = re.compile(r"(attributed|ascribed) to\b", re.IGNORECASE)


_QUALIFIED = re.compile(
    r"(attributed|ascribed) to\b|(probably|possibly|perhaps|formerly|presumably|likely)\b|(in the"
    r" )?((circle|workshop|studio|school|follower|followers|manner|style|pupil|assistant|imitator|entourage)"
    r" of|after|copy after|copy of|"
    r"by|from the|signed|school|workshop)\b",
    re.IGNORECASE,
)


_UNKNOWN = re.compile(
    r"(unknown|anonymous|anon\.?|unidentified|not known|\?)( (artist|maker|painter|hand|master))?",
    re.IGNORECASE,
)


_NOBODY = re.compile(r"(unknown|anonymous|unidentified) \w", re.IGNORECASE)


def title(work: WorkQuoted) -> str:
    """The name of a work in headings and tables."""
    row = work.read.object_row
    name = (
        ", ".join(filter(None, (text(row.get("title")), text(row.get("maker"))))) or work.draft.display_name
    )
    return f"{name[0].upper()}{name[1:]}"


def mention(work: WorkQuoted) -> str:
    """A work in the run of a sentence: its title, or what it is, and whose: by a maker, attributed to one, or
    by nobody known.
    """
    row = work.read.object_row
    title, maker = text(row.get("title")).strip(), text(row.get("maker")).strip()
    # what stands there is no title
    if title and not maker and (_ATTRIBUTED.match(title) or (title[0].islower() and _QUALIFIED.match(title))):
        title, maker = "", title
    kind = text(row.get("kind")).strip()
    # “After the storm” is none that is after somebody
    quoted = (
        f"“{title}”" if title[:1].islower() or _QUALIFIED.match(title) or _UNKNOWN.match(title) else title
    )
    what = quoted if title else f"{'an' if kind[0].lower() in 'aeiou' else 'a'} {kind}" if kind else "a work"
    code = f" (our number {work.draft.object})" if work.draft.object else ""
    if not maker:
        return what if title else work.draft.display_name if not kind and code else f"{what}{code}"
    between = ", " if title else " "
    begins = f"{maker[0].lower()}{maker[1:]}"
    first, comma, rest = maker.partition(",")
    if _UNKNOWN.fullmatch(first.strip()):
        return f"{what}{', maker unknown' if title else ' by an unknown maker'}{comma}{rest}"
    if _NOBODY.match(maker):
        return f"{what} by an {begins}"
    if _QUALIFIED.match(maker):
        return f"{what}{between}{begins}"
    return f"{what} by {maker}"


def identification(work: WorkQuoted) -> Block:
    row = work.read.object_row
    sides = [float(side) for name in ("height_cm", "width_cm") if (side := row.get(name)) is not None]
    size = (
        f"{' × '.join(f'{side:,.1f}'.removesuffix('.0') for side in sides)}"
        f" cm{' (height × width)' if len(sides) == 2 else ''}"
        if sides
        else ""
    )
    if not size and work.area > 0:
        size = f"{work.area:,.1f} dm²"
    kind, support, medium = (
        text(row.get("kind")),
        text(row.get("support")),
        work.draft.identified.get("medium", ""),
    )
    what = (
        "" if medium else kind if support and support in kind else " on ".join(filter(None, (kind, support)))
    )
    return facts(
        [
            ("Maker", text(row.get("maker"))),
            ("Title", text(row.get("title"))),
            ("Kind", what),
            ("Medium", medium),
            ("Size", size or "to be measured"),
            ("Marks", work.draft.identified.get("marks", "")),
            ("Condition found", work.draft.identified.get("condition", "")),
            ("Our number", work.draft.object),
        ]
    )
