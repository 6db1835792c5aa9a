"""What would make a first quote surer: asked while little or nothing stands behind it."""

from __future__ import annotations

import pandas as pd

from dashboard.analysis.simulation.narrowing import Narrowing, narrowings
from dashboard.analysis.simulation.unforeseen import FEW_WORKS
from dashboard.services.quote import WorkQuoted
from dashboard.services.quote_context import QuoteContext
from dashboard.services.quote_request import request_of


def is_first(context: QuoteContext) -> bool:
    """No finished work stands behind a quote of that day."""
    return not context.finished


def is_asked(context: QuoteContext, work: WorkQuoted) -> bool:
    """Too few works are finished for the record to speak, and the work is not under way, as then its own
    hours tell most.
    """
    return len(context.finished) < FEW_WORKS and bool(work.options) and not work.under_way


def narrowed(context: QuoteContext, work: WorkQuoted) -> list[Narrowing]:
    """The three things that would narrow the first option of a work most; see `is_asked`."""
    if not is_asked(context, work):
        return []
    request = request_of(context, "\x1fnarrowed", work.draft, work.options[0].lines, work.read)
    return narrowings(context.calibration, context.discoveries, request)


def without_range(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines of an option of which low, likely or high hours of her own are missing."""
    return lines[lines[["low_hours", "hours", "high_hours"]].isna().any(axis=1) & ~lines["done"]]
