"""A quote as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import pandas as pd

from dashboard.analysis.simulation.narrowing import Narrowing
from dashboard.analysis.simulation.quote_snapshot import NAMES
from dashboard.cli.output import records, written_technique
from dashboard.services.quote import Option, Quoted, WorkQuoted, line_frame
from dashboard.services.quote_context import QuoteContext


def as_json(
    quoted: Quoted, work: WorkQuoted, context: QuoteContext, narrowed: Sequence[Narrowing]
) -> dict[str, Any]:
    """A quote of one work; where it has options, its figures are those of the first, and all of them stand
    under `options`.

    Parameters
    ----------
    context : what it stands on.
    narrowed : what would make it surer, where few do.
    """
    first = work.options[0]
    data = {
        "object": work.draft.object or None,
        "as_of": f"{quoted.as_of}",
        "finished_works": len(context.finished),
        "finished_lines": context.finished_lines,
        "works": len(context.works),
        "remembered": len(context.remembered & context.works),
        **_of_option(first),
        "narrowing": [asdict(item) for item in narrowed],
    }
    if len(work.options) > 1:
        data["options"] = [_of_option(option) for option in work.options]
    return data


def _of_option(option: Option) -> dict[str, Any]:
    days = np.quantile(option.days, [0.5, 0.8])
    price, agreed = option.price, option.terms
    level = agreed.confidence / 100
    return {
        "option": option.name or None,
        "lines": records(line_frame(option)),
        "discovery": _unforeseen(option.discoveries[~option.discoveries["another"]]),
        "another_part": _unforeseen(option.discoveries[option.discoveries["another"]]),
        "usually_done": [
            {
                "technique": written_technique(usual.phase, usual.technique),
                "phase": usual.phase,
                "works": usual.works,
                "of": usual.of,
            }
            for usual in option.usual
        ],
        "left_out": [
            {"technique": row["technique"], "reason": row["reason"]}
            for row in option.left_out[option.left_out["reason"] != ""].to_dict("records")
        ],
        "total": dict(zip(NAMES, option.at(0.1, 0.5, 0.8, 0.9), strict=True)),
        "price": {
            "confidence": level,
            "hours": option.promised,
            "amount": float(price.amount) if price else None,
            "currency": agreed.currency,
            "tax_included": bool(agreed.pricing.tax) if price else None,
            "tax_per_cent": float(agreed.pricing.tax or 0) if price else None,
            "net": float(price.net) if price else None,
            "tax": float(price.tax) if price else None,
            "earned_per_hour": {"p50": option.earned_per_hour(0.5), "p80": option.earned_per_hour(0.8)},
            "break_even_rate": float(agreed.yearly.break_even_rate) if agreed.yearly else None,
            "works_for_nothing_from_hours": option.nothing_from(),
        },
        "unattended_days": {"p50": float(days[0]), "p80": float(days[1])},
        "revision": _revision(option),
    }


def _revision(option: Option) -> dict[str, Any] | None:
    """The approved part and what is added to it; None where the whole is priced."""
    if option.change is None:
        return None
    agreed, added = option.change.agreed, option.change.added
    return {
        "approved": {
            "hours": float(agreed.hours),
            "amount": None if agreed.amount is None else float(agreed.amount),
        },
        "added": {
            "hours": float(option.change.hours),
            "amount": None if added is None else float(added.amount),
        },
    }


def _unforeseen(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        {
            "technique": written_technique(row["phase"], row["technique"]),
            "phase": row["phase"],
            "chance": row["chance"],
            "hours_if_found": row["hours_if_found"],
            "turned_up": row["times"],
            "of_works": row["of"],
        }
        for row in frame.to_dict("records")
    ]
