"""From a quote to the version that is saved of it; from a saved one back to its figures; and how a work that
has a version is quoted again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from importlib.metadata import version as version_of
from typing import Any

import numpy as np
import pandas as pd

from dashboard.analysis.data.levels import marked, with_marked
from dashboard.analysis.simulation.quote_snapshot import NAMES
from dashboard.services.quote import Option, Quoted, WorkQuoted, similar_works
from dashboard.services.quote_context import QuoteContext
from dashboard.services.quote_lines import quoted_quantity
from dashboard.services.rates import rates_of_phases, works_behind
from ingest.editing.quote_drafts import Quote
from ingest.editing.saved_quotes import Promised, PromisedLine, PromisedOption
from ingest.errors import BenchHoursError

_PROGRAM = version_of("bench-hours")


def promised(
    context: QuoteContext, quoted: Quoted, quote: Quote, letter: Mapping[str, Any]
) -> list[Promised]:
    """What is to be saved of a quote; raises where it cannot be."""
    works = quoted.works
    strangers = [work.draft.display_name for work in quoted.works if not work.draft.object]
    if strangers:
        raise BenchHoursError(
            f"{', '.join(strangers)} is not among the works yet",
            "Give it its code first, or add it under Works.",
        )
    for work in quoted.works:
        if not work.options:
            raise BenchHoursError(
                f"{work.draft.display_name} has no lines yet, and would be lost with the quote",
                "Write its lines, or take it out of the quote.",
            )
        if work.read.left_aside:
            raise BenchHoursError(
                f"a line of {work.draft.display_name} cannot be read, and would not be in the version",
                "Mend it first.",
            )
    if quoted.terms.faults:
        raise BenchHoursError(quoted.terms.faults[0].removesuffix("."), "Mend it first.")
    return [
        Promised(
            object=work.draft.object,
            as_of=quoted.as_of,
            program=_PROGRAM,
            works=len(context.finished),
            lines=context.finished_lines,
            first_stage=quoted.terms.first_stage,
            written=Quote(works=[work.draft], terms=quote.terms, letter=quote.letter).to_json(),
            letter=dict(letter),
            options=[_option(context, work, option) for option in work.options],
        )
        for work in works
    ]


# 74 lines: the lines of one record, in three steps
def _option(context: QuoteContext, work: WorkQuoted, option: Option) -> PromisedOption:
    """An option as it is saved. Where what was approved stays, its lines keep the hours and quantities
    approved, also those that are done or not on the sheet, and those that were found stand beside them.
    """
    rates = _rates_of(context, option)
    of = (
        context.approved_lines[context.approved_lines["object"] == work.draft.object].to_dict("records")
        if option.change
        else []
    )
    approved: dict[tuple[str, str, str], dict[Any, Any]] = {
        (row["phase"], row["technique"], row["part"]): row for row in of
    }
    in_tenths = (
        option.tenths[:-1]
        if option.change is None
        else [
            tenths if added is None else added
            for tenths, added in zip(option.tenths[:-1], option.added, strict=True)
        ]
    )
    hours = [
        float(one_line["worked_hours"]) if one_line["done"] else float(tenths)
        for one_line, tenths in zip(option.lines.to_dict("records"), in_tenths, strict=True)
    ]
    lines = [
        _line(row, tenths, rates.loc[name] if name in rates.index else pd.Series(dtype=object), behind)
        for row, name, tenths, behind in zip(
            option.lines.assign(quoted_quantity=quoted_quantity(option.lines)).to_dict("records"),
            marked(option.lines).tolist(),
            hours,
            works_behind(context.calibration, option.lines),
            strict=True,
        )
        if row["in_price"]
    ]
    lines = [
        (
            replace(
                line,
                hours=_known(approved[_name(line)]["hours"]),
                quantity=_known(approved[_name(line)]["quantity"]),
            )
            if _name(line) in approved
            else line
        )
        for line in lines
    ]
    present = {_name(line) for line in lines}
    stays = [
        {name: row[name] for name in ("phase", "technique", "part", "person", "note")}
        | {name: _known(row[name]) for name in ("hours", "quantity", "unattended_hours")}
        for name_of, row in approved.items()
        if name_of not in present
    ]
    p10, p50, p80, p90 = option.charged_at(0.1, 0.5, 0.8, 0.9)
    agreed = option.terms
    return PromisedOption(
        option=option.name,
        confidence=agreed.confidence,
        promised_hours=option.promised,
        p10=p10,
        p50=p50,
        p80=p80,
        p90=p90,
        price=float(option.price.amount) if option.price else None,
        currency=agreed.currency,
        lines=lines,
        stood_on=_stood_on(context, work, option),
        stays=stays,
    )


def _rates_of(context: QuoteContext, option: Option) -> pd.DataFrame:
    """Rates of what an option has lines of, by the names that models have for them."""
    wholes = option.lines.loc[option.lines["technique"] == "", "phase"].unique().tolist()
    tables = [context.rates]
    if wholes:
        tables.append(with_marked(rates_of_phases(context.calibration, wholes, context.pins_of_wholes)))
    return pd.concat(tables, ignore_index=True).set_index("technique")


def _name(line: PromisedLine) -> tuple[str, str, str]:
    return line.phase, line.technique, line.part


def _line(row: Mapping[Any, Any], tenths: float, rate: pd.Series, works: list[str]) -> PromisedLine:
    pinned = bool(row["pinned"])
    return PromisedLine(
        phase=row["phase"],
        technique=row["technique"],
        part=row["part"],
        person=row["person"] or "",
        quantity=_known(row["quoted_quantity"]) if row["unit"] and row["quoted_quantity"] > 0 else None,
        hours=tenths,
        unattended_hours=_known(row["unattended_hours"]),
        note=row["note"],
        **{name: float(row[name]) for name in NAMES},
        promised_hours=float(row["promised"]),
        own_hours=_known(row["hours"]),
        worked_hours=float(row["worked_hours"]),
        rate=_known(rate.get("pinned_rate" if pinned else "rate")),
        rate_low=_known(rate.get("rate_low")),
        rate_high=_known(rate.get("rate_high")),
        unit=_word(rate.get("counted_in" if pinned else "unit")),
        pinned=pinned,
        works=works,
    )


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def _known(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)


def _stood_on(context: QuoteContext, work: WorkQuoted, option: Option) -> dict[str, Any]:
    """Everything that the figures of an option are reckoned from, and on what else it stood."""
    terms, n = option.terms.pricing, len(option.lines)
    charged = np.ones(len(option.basis.table), dtype=bool)
    if option.terms.first_stage:
        charged = np.concatenate(
            [option.lines["in_price"].to_numpy(dtype=bool), np.zeros(len(charged) - n, dtype=bool)]
        )
    return {
        "basis": option.basis.to_json(),
        "lines": n,
        "remembered": context.finished_remembered,
        "charged": np.flatnonzero(charged).tolist(),
        "money": {
            "rates": [
                str(terms.rate_of(person)) if terms.rate_of(person) is not None else None
                for person in [*option.lines["person"], ""]
            ],
            "costs": f"{sum((amount for _, amount in work.costs), Decimal(0))}",
            "step": f"{terms.step}",
            **{
                name: None if (value := getattr(terms, name)) is None else f"{value}"
                for name in ("minimum", "ceiling", "tax")
            },
            "net": f"{option.price.net}" if option.price else None,
        },
        "by_hand": [
            {"place": place, "low": float(row["low_hours"]), "high": float(row["high_hours"])}
            for place, row in enumerate(option.lines[option.lines["in_price"]].to_dict("records"), 1)
            if pd.notna(row["low_hours"]) and row["high_hours"] > 0
        ],
        **_change(option),
        "may_turn_up": [
            {
                "technique": row["technique"],
                "phase": row["phase"],
                "another_part": bool(row["another"]),
                "chance": float(row["chance"]),
                "hours_if_found": float(row["hours_if_found"]),
            }
            for row in option.discoveries.to_dict("records")
        ],
        "like_it": [like.object for like in similar_works(context, work)],
        "allowance_hours": option.allowance,
    }


def _change(option: Option) -> dict[str, Any]:
    """Approved amounts that stay, and the lines added; empty where the whole was priced."""
    if option.change is None:
        return {}
    agreed = option.change.agreed
    amounts = {
        name: None if (value := getattr(agreed, name)) is None else f"{value}"
        for name in ("hours", "net", "tax", "amount", "costs")
    }
    return {
        "approved_stays": amounts,
        "added": [place for place, hours in enumerate(option.added) if hours is not None],
    }


# --- a work that has a version, quoted again
