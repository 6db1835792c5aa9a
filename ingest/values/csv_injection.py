"""Cells that a spreadsheet would run as formulas: made harmless on the way out, as they were on the way in.

A text that begins with a sign that starts a formula is given an apostrophe in front, by which spreadsheets
mark text; a text that has apostrophes before such a sign already is given one more. Reading takes one away,
so that nothing is changed by leaving and coming back. A true number stays a number.

OWASP Application Security Verification Standard 5.0, requirement 1.2.10: = + - @ and tab, escaped by a single
quote. Line ends and the full-width forms of the signs are ours to add.
"""

from __future__ import annotations

import re

import pandas as pd

from ingest.sql import quoted

_SIGNS = "[=+\\-@\t\r\n＝＋－＠]"
_CAN_RUN = f"'*(?:{_SIGNS}|$)"
_IS_NUMBER = r"[+-]?(\d+([.,]\d*)?|[.,]\d+)"
_HARMLESS = f"'+(?:{_SIGNS}|$)"
NOTHING = "'"
"""A cell with a lone apostrophe says that there is nothing, where an empty one says nothing."""


def defused(text: str) -> str:
    """The text as it may stand in a cell."""
    return f"'{text}" if text and re.match(_CAN_RUN, text) and not re.fullmatch(_IS_NUMBER, text) else text


def defused_again(text: str) -> str:
    """The same for a cell that came out of a file: its apostrophes are there already."""
    return text if text.startswith("'") else defused(text)


def defused_line(text: str, separator: str) -> str:
    """The same for a line whose cells cannot be told apart: wherever one may begin."""
    number = rf"{_IS_NUMBER}\"?(?:{re.escape(separator)}|$)"
    return re.sub(
        rf"(^|{re.escape(separator)})(\"?)(?={_CAN_RUN})(?!'|$|{re.escape(separator)}|{number})",
        r"\1\2'",
        text,
    )


def defused_sql(text: str) -> str:
    """SQL of `defused` for an expression."""
    return (
        f"CASE WHEN {text} <> '' AND regexp_matches({text}, {quoted(f'^{_CAN_RUN}')}) AND NOT"
        f" regexp_full_match({text}, {quoted(_IS_NUMBER)}) THEN '''' || {text} ELSE {text} END"
    )


def restored_sql(text: str) -> str:
    """SQL for the text that a cell stands for; NULL where it stands for none."""
    return (
        f"CASE WHEN starts_with({text}, '''') AND regexp_matches({text}, {quoted(f'^{_HARMLESS}')}) THEN"
        f" nullif(substr({text}, 2), '') ELSE {text} END"
    )


def defused_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """A frame whose texts may stand in cells; each different text is looked at once."""
    texts = {name: frame[name] for name in frame.columns if frame[name].dtype.kind not in "biufmM"}
    return frame.assign(
        **{
            name: cells.map(
                {text: defused(text) if isinstance(text, str) else text for text in cells.unique()}
            )
            for name, cells in texts.items()
        }
    )
