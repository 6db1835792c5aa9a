"""From a quote as it is written to what it promises: hours, what may turn up, waiting, money."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Floats, number_or_nan
from dashboard.analysis.report import price
from dashboard.analysis.report import similar_works as similar
from dashboard.analysis.report.price import AgreedPrice, Price, PriceWithAdditions
from dashboard.analysis.report.reference_class import ReferenceClassForecast
from dashboard.analysis.report.similar_works import SimilarWork
from dashboard.analysis.simulation.discovery_model import WorkFeatures
from dashboard.analysis.simulation.quote_snapshot import QuoteSnapshot
from dashboard.analysis.simulation.quote_total import QuoteForecast
from dashboard.analysis.simulation.unforeseen import UsualTechnique
from dashboard.formatting import text
from dashboard.services.quote_context import QuoteContext
from dashboard.services.quote_terms import QuoteTerms
from ingest.editing.quote_drafts import QuotedWork, ReadWork

DOTS = 20
_DAYS_A_WEEK = 7.0


@dataclass(frozen=True, kw_only=True)
class Option:
    """One option of one work ("" where it has none).

    Attributes
    ----------
    basis : what all its hours are reckoned from.
    lines : frame of `ReadWork.lines` (those that were begun on the bench and are not on the sheet among them,
        with numbers below 0) with `worked_hours` (so far), `done` (finished: stays as it is), `filled_in` (1:
        the quantity is the size of the work; less: that part of it, as is usual here; not a number: it was
        given), `p10`, `p50`, `p80`, `p90` (hours), `works` behind it and of these those
        `remembered`, `without_figure` (hours at even chance,
        had no figure been given), `figure_weight`, `by_hand` (0 to 1), `pinned`, `in_price`, `promised` (its
        hours in the promise), `spread` (its part of what lies between even chance and 4 in 5).
    discoveries : frame `technique`, `phase`, `another`, `chance`, `hours_if_found` (even chance),
        `p80_if_found`, `promised`, `spread`, `times`, `of`, `things`.
    left_out : what was said not to turn up, with `reason`.
    usual : what is nearly always done here and is not on the sheet, in the order of work; in no figure, and
        not left out.
    phases : frame `phase`, `p10`, `p50`, `p80`, `p90`, `promised` of the lines, in the order of work.
    total : (draws,) hours.
    first_stage : likewise, of the first stage alone, where the price is for that.
    days : (draws,) waiting.
    promised : hours at the chosen confidence.
    price : None where nobody said what an hour costs; its parts are the lines and behind them what may turn
        up; of a first stage only, where that is asked for.
    agreed : what was approved, where this is a revision.
    change : what was approved and stays, and what was found and is added, where this is a revision that is
        priced so; then `price` and `promised` are of both together, and the price has no parts; None: the
        whole is priced.
    added : of each line that is added its hours, in tenths; None of the others.
    tenths : the hours of those parts as they stand on paper.
    outside : the view from outside, where every line has a figure of her own.
    behind : how many finished works it stands on, of these `remembered` told from memory.
    """

    name: str
    basis: QuoteSnapshot
    lines: pd.DataFrame
    discoveries: pd.DataFrame
    left_out: pd.DataFrame
    usual: tuple[UsualTechnique, ...]
    phases: pd.DataFrame
    total: Floats
    first_stage: Floats | None
    days: Floats
    promised: float
    price: Price | None
    tenths: list[Decimal]
    outside: ReferenceClassForecast | None
    behind: int
    remembered: int
    terms: QuoteTerms
    agreed: AgreedPrice | None = None
    change: PriceWithAdditions | None = None
    added: tuple[Decimal | None, ...] = ()

    def at(self, *levels: float) -> list[float]:
        """Hours of the whole at some levels."""
        return [float(value) for value in np.quantile(self.total, levels)]

    def charged_at(self, *levels: float) -> list[float]:
        """Hours of what the price is for at some levels."""
        return [float(value) for value in np.quantile(self.charged(), levels)]

    @property
    def allowance(self) -> float:
        """What may turn up adds so many hours to the promise."""
        return float(self.discoveries["promised"].sum())

    def charged(self) -> Floats:
        """(draws,) the hours that the price is for."""
        return self.total if self.first_stage is None else self.first_stage

    def earned_per_hour(self, level: float) -> float | None:
        """What the studio earns per hour where the hours come to a level: what is left of the price after
        costs, by the hours.
        """
        # as it is shown, so that price, hours and this agree
        hours = round(float(np.quantile(self.charged(), level)), 1)
        return float(self.price.for_hours) / hours if self.price is not None and hours > 0 else None

    def nothing_from(self) -> float | None:
        """Hours from which the studio works for nothing; None where price or yearly cost is not known."""
        yearly = self.terms.yearly
        return (
            None
            if self.price is None or yearly is None or self.price.for_hours <= 0
            else float(yearly.works_for_nothing_from(self.price.for_hours))
        )

    @property
    def worked(self) -> float:
        """Hours of what the price is for that were worked already."""
        return float(self.lines.loc[self.lines["in_price"], "worked_hours"].sum())

    def weeks(self, level: float) -> float:
        """From beginning (of a work under way, from now) to end of what the price is for, at the hours at the
        bench of an ordinary week, with the waiting.
        """
        return float(
            np.quantile(
                (self.charged() - self.worked) / self.terms.bench_hours_per_week + self.days / _DAYS_A_WEEK,
                level,
            )
        )

    def chance_over(self, hours: float) -> float:
        """How likely the hours that the price is for come to more than so many."""
        return float((self.charged() > hours).mean())

    def dots(self) -> Floats:
        """(DOTS,) hours of what the price is for, each equally likely."""
        values: Floats = np.quantile(self.charged(), (np.arange(DOTS) + 0.5) / DOTS)
        return values


@dataclass(frozen=True, kw_only=True)
class WorkQuoted:
    """One work: how it was read, and each of its options. `faults` keep something out, `doubts` are what can
    hardly be meant, `notes` what is good to know.
    """

    draft: QuotedWork
    read: ReadWork
    described: WorkFeatures
    options: tuple[Option, ...]
    costs: tuple[tuple[str, Decimal], ...]
    faults: tuple[str, ...]
    doubts: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def under_way(self) -> bool:
        """It was begun, so this is a revision of what was promised."""
        return any(bool((option.lines["worked_hours"] > 0).any()) for option in self.options)

    @property
    def area(self) -> float:
        return number_or_nan(self.read.object_row.get("area_dm2"))


@dataclass(frozen=True, kw_only=True)
class Quoted:
    """A quote: its works, and the first options of all of them together."""

    works: tuple[WorkQuoted, ...]
    together: QuoteForecast | None
    terms: QuoteTerms
    as_of: date

    @cached_property
    def total(self) -> Floats:
        """(draws,) hours that the prices of all works are for, each with its first option."""
        if self.together is not None and not self.terms.first_stage:
            return self.together.total()
        return sum((work.options[0].charged() for work in self.works if work.options), np.zeros(1))

    @property
    def owners(self) -> list[str]:
        """The owners of the works that have lines, as far as they are known: more than one are more than a
        letter may have.
        """
        return sorted(
            {
                owner
                for work in self.works
                if work.options and (owner := text(work.read.object_row.get("owner")).strip())
            }
        )

    @property
    def amount(self) -> Decimal | None:
        """The price of all works, each with its first option, and travel (which of a single work is one of
        its costs), tax included; None where one of them has none.
        """
        prices = [work.options[0].price for work in self.works if work.options]
        travel = Decimal(0) if len(prices) == 1 else self.terms.travel
        if not prices or travel is None or any(item is None for item in prices):
            return None
        return sum((item.amount for item in prices if item is not None), Decimal(0)) + price.with_tax(
            travel, self.terms.pricing
        )


def similar_works(context: QuoteContext, work: WorkQuoted) -> list[SimilarWork]:
    """Finished works like one that is quoted."""
    return similar.similar(
        work.described, work.area, [item for item in context.finished if item.object != work.draft.object]
    )


def as_frame(options: tuple[Option, ...]) -> pd.DataFrame:
    """Every line of every option, and behind them what may turn up (`chance` below 1): its hours are those if
    it does.
    """
    parts = []
    for option in options:
        discoveries = option.discoveries.rename(columns={"hours_if_found": "p50", "p80_if_found": "p80"})
        discoveries = discoveries.assign(
            option=option.name,
            promised_hours=option.discoveries["promised"],
            part=np.where(option.discoveries["another"], "another", ""),
            works=option.discoveries["of"],
        )
        parts += [
            line_frame(option).assign(option=option.name, chance=1.0),
            discoveries[
                ["phase", "technique", "part", "p50", "p80", "works", "promised_hours", "option", "chance"]
            ],
        ]
    # of what may turn up it is not known
    return pd.concat(parts, ignore_index=True).astype({"remembered": "Int64"})[
        ["option", *LINE_KEYS, "p10", "chance", "promised_hours", "own_hours", "person"]
    ]


# Keys of the lines of a quote that others depend on, in their order; more stand behind.
LINE_KEYS = ("phase", "technique", "part", "quantity", "unit", "p50", "p80", "p90", "works", "remembered")


def line_frame(option: Option) -> pd.DataFrame:
    lines = option.lines.assign(
        unit=option.lines["unit"].where(option.lines["unit"] != "", None),
        promised_hours=option.lines["promised"],
        own_hours=option.lines["hours"],
    )
    return lines[
        [
            *LINE_KEYS,
            "p10",
            "promised_hours",
            "own_hours",
            "without_figure",
            "figure_weight",
            "by_hand",
            "pinned",
            "person",
            "option",
            "worked_hours",
            "done",
        ]
    ]
