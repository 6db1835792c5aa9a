"""The figures of a saved quote, computed again from the snapshot kept with it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from dashboard.analysis.report import price
from dashboard.analysis.report.price import AgreedPrice, PriceTerms
from dashboard.analysis.simulation.quote_snapshot import NAMES, QuoteSnapshot, quote_figures
from ingest.editing.saved_quotes import PromisedOption

_ALIKE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class RecomputedOption:
    """The figures of an option of a saved quote, reckoned again from what it stood on.

    Attributes
    ----------
    p10, p50, p80, p90, promised_hours, price : as in `PromisedOption`.
    lines : (n, 4) hours of each line at those levels;
    parts : (n,) in the promise.
    """

    p10: float
    p50: float
    p80: float
    p90: float
    promised_hours: float
    price: float | None
    lines: np.ndarray
    parts: np.ndarray

    def same_as(self, promised_option: PromisedOption) -> bool:
        """They are those that were saved, to the digit (nine digits, as another machine may round the last
        ones otherwise; another version of numpy may draw other numbers).
        """
        pairs = [(getattr(self, name), getattr(promised_option, name)) for name in (*NAMES, "promised_hours")]
        return self.price == promised_option.price and all(
            abs(own - saved) <= _ALIKE * max(1.0, abs(saved)) for own, saved in pairs
        )


def recompute(promised_option: PromisedOption) -> RecomputedOption:
    """Reckon a saved option again; nothing but what is kept with it has any part in that."""
    stood_on = promised_option.stood_on
    basis, n = QuoteSnapshot.from_json(stood_on["basis"]), int(stood_on["lines"])
    charged = np.zeros(len(basis.table), dtype=bool)
    charged[stood_on["charged"]] = True
    figures = quote_figures(basis.hours(), basis, charged, promised_option.confidence / 100)
    money = stood_on["money"]
    rates = [None if item is None else Decimal(item) for item in money["rates"]]
    names = [f"{number}" for number in range(len(rates))]
    terms = PriceTerms(
        rate=None,
        rates={name: rate for name, rate in zip(names, rates, strict=True) if rate is not None},
        step=Decimal(money["step"]),
        **{
            name: None if money[name] is None else Decimal(money[name])
            for name in ("minimum", "ceiling", "tax")
        },
    )
    parts = [*figures.parts[:n].tolist(), float(figures.parts[n:].sum())]
    promised_hours = figures.promised
    if (stays := stood_on.get("approved_stays")) is not None:
        agreed = AgreedPrice(
            hours=Decimal(stays["hours"]),
            **{
                name: None if stays[name] is None else Decimal(stays[name])
                for name in ("net", "tax", "amount", "costs")
            },
        )
        change_of = price.with_added(
            agreed,
            [price.one_in_tenths(parts[place]) for place in stood_on["added"]],
            [names[place] for place in stood_on["added"]],
            Decimal(money["costs"]),
            terms,
        )
        charge, promised_hours = change_of.price, float(change_of.total_hours)
    else:
        charge = price.price(parts, names, Decimal(money["costs"]), terms) if sum(parts) > 0 else None
    p10, p50, p80, p90 = (float(value) for value in np.quantile(figures.charged, [0.1, 0.5, 0.8, 0.9]))
    return RecomputedOption(
        p10=p10,
        p50=p50,
        p80=p80,
        p90=p90,
        promised_hours=promised_hours,
        price=float(charge.amount) if charge else None,
        lines=figures.lines[:n],
        parts=figures.parts[:n],
    )
