"""The phases and techniques of a studio, as Markdown and as data."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.formatting import UNITS, plain, text
from dashboard.text import markdown
from ingest.studio.hazards import WORDS

HEADS = ("technique", "counted in", "usual cautions", "also understood")


def tables(phases: pd.DataFrame, techniques: pd.DataFrame) -> str:
    """The words in use, a table a phase, studio time last.

    Parameters
    ----------
    phases, techniques : see `dashboard.queries.phases` and `dashboard.queries.vocabulary_use`.
    """
    parts = []
    for phase in [row for row in as_data(phases, techniques) if row["retired_on"] is None]:
        rows = [_row(row) for row in phase["techniques"] if row["retired_on"] is None]
        if rows:
            parts.append(f"### {plain(phase['phase'])}\n\n{markdown.table(HEADS, rows)}")
    return "\n\n".join(parts)


def _row(technique: dict[str, Any]) -> tuple[str, ...]:
    mode = "" if technique["mode"] == "hands_on" else f", {technique['mode']}"
    return (
        plain(technique["technique"]),
        f"{UNITS.get(technique['unit'] or '', 'hours only')}{mode}",
        ", ".join(WORDS[caution] for caution in technique["cautions"]),
        ", ".join(plain(word) for word in technique["aliases"]),
    )


def as_data(phases: pd.DataFrame, techniques: pd.DataFrame) -> list[dict[str, Any]]:
    """Phases in their order, each with its techniques, for JSON; unknown is None, days are `YYYY-MM-DD`."""
    of_phase = {phase: rows.to_dict("records") for phase, rows in techniques.groupby("phase")}
    in_order = sorted(phases.to_dict("records"), key=lambda row: row["position"] or float("inf"))
    return [
        {
            "phase": row["phase"],
            "position": row["position"],
            "retired_on": _day(row["retired_on"]),
            "techniques": [_technique(technique) for technique in of_phase.get(row["phase"], ())],
        }
        for row in in_order
    ]


def as_form(techniques: pd.DataFrame) -> list[dict[str, str]]:
    """The techniques in use as rows of the form `techniques`, but for its notes."""
    return [
        {
            "technique": row["technique"],
            "phase": row["phase"],
            "unit": text(row["unit"]) or "none",
            "mode": row["mode"],
            "condition": text(row["condition"]),
            "cautions": text(row["cautions"]),
            "aliases": row["spellings"],
        }
        for row in techniques[techniques["retired_on"].isna()].to_dict("records")
    ]


def _technique(row: dict[Any, Any]) -> dict[str, Any]:
    return {
        "technique": row["technique"],
        "unit": text(row["unit"]) or None,
        "mode": row["mode"],
        "condition": text(row["condition"]) or None,
        "cautions": _listed(row["cautions"]),
        "aliases": _listed(row["spellings"]),
        "retired_on": _day(row["retired_on"]),
    }


def _listed(words: object) -> list[str]:
    return [word for word in text(words).split("|") if word]


def _day(value: Any) -> str | None:
    return None if pd.isna(value) else f"{value:%Y-%m-%d}"
