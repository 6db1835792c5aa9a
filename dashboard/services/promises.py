"""From the database to promises scored, and to what a finished work taught."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.data.levels import is_whole, shown_technique, with_marked, written_techniques
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.validation import promise_scores
from dashboard.analysis.validation.promise_scores import GeometricMeanRatio, JeffreysInterval
from dashboard.services import rates as rates_service
from ingest.sql import Connection

_DAY = timedelta(days=1)
_SHOWS = 0.005  # change of a rate, as a share, from which it is no longer called unchanged


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """Promises and what became of them.

    Attributes
    ----------
    works : frame of `dashboard.analysis.validation.promise_scores.scored_promises`.
    lines : finished lines with a promise, see `promises.by_phase`, with `technique`.
    versions : frame of `dashboard.queries.outcomes`.
    unpromised : finished works without a promise of the whole.
    remembered : works told from memory, which are in none of these.
    """

    works: pd.DataFrame
    lines: pd.DataFrame
    versions: pd.DataFrame
    unpromised: int
    remembered: int

    @property
    def share_kept(self) -> JeffreysInterval:
        return promise_scores.share_kept(self.works)

    @property
    def share_inside(self) -> JeffreysInterval:
        return promise_scores.share_inside(self.works)

    @property
    def bias(self) -> GeometricMeanRatio:
        return promise_scores.bias(self.works)

    @property
    def quoted(self) -> pd.DataFrame:
        """Those that were quoted with a chance."""
        return self.works[self.works["confidence"].notna()]

    @property
    def by_chance(self) -> dict[int, JeffreysInterval]:
        """Chance that was promised, in 100, to the share that was kept."""
        quoted = self.quoted
        return {
            int(chance): promise_scores.share_kept(quoted[quoted["confidence"] == chance])
            for chance in sorted(quoted["confidence"].unique().tolist())
        }


def scored(con: Connection, as_of: date) -> Scored:
    """Score every promise as things stood on a day."""
    remembered = queries.remembered(con)
    lines = queries.overruns(con, as_of)
    lines = lines[~lines["object"].isin(remembered)]
    works = promise_scores.scored_promises(queries.promises(con, as_of), lines)
    done = lines.groupby("object").agg(finished=("finished", "all"), hours=("actual_hours", "sum"))
    finished = int((done["finished"].astype(bool) & (done["hours"] > 0)).sum())
    return Scored(
        works=works,
        lines=_lines(con, as_of),
        versions=queries.outcomes(con, as_of),
        remembered=len(remembered),
        unpromised=finished - len(works),
    )


def _lines(con: Connection, as_of: date) -> pd.DataFrame:
    """Finished lines with a promise: what the last version made on or before their first entry said of them,
    and what they took.
    """
    quoted = queries.record(con, as_of + _DAY).compared.quoted(rates_service.number_of(as_of + _DAY))
    at = np.flatnonzero(quoted.finished[quoted.number] & (quoted.estimated > 0))
    lines = quoted.lines.take(at)
    frame = pd.DataFrame(
        {
            "object": lines.object,
            "phase": lines.phase,
            "technique": written_techniques(lines.technique),
            "part": lines.part,
        }
        | {"promised_hours": quoted.estimated[at], "actual_hours": quoted.hours[quoted.number[at]]}
    )
    positions = queries.phases(con).set_index("phase")["position"]
    return frame.assign(position=frame["phase"].map(positions).fillna(9999).astype(int))


@dataclass(frozen=True, slots=True, kw_only=True)
class Taught:
    """What a finished work taught.

    Attributes
    ----------
    on : the day on which it was finished.
    rates : frame, one row a technique worked on it, in the order of work: `technique`, `phase`, `unit`,
        `hours` (on this work), `rate_before`, `rate_after` (hours per unit or line; null: not known),
        `change` (as a share), `unchanged`, `works_before`.
    turned_up : frame `technique`, `hours` of what the estimate with which it began had not foreseen: what the
        next quote learns from, whatever a revision said since.
    """

    on: date
    rates: pd.DataFrame
    turned_up: pd.DataFrame


def taught(con: Connection, code: str, on: date) -> Taught:
    """Rates on the evening of a day with a work and without it: what it changed in what was known then."""
    with_it, without = rates_service.calibrated(con, on), rates_service.calibrated(con, on, without=code)
    lines = with_marked(queries.overruns(con, on, code))
    worked = lines[(lines["actual_hours"] + lines["extra_hours"]) > 0]
    hours = (
        worked.assign(hours=worked["actual_hours"] + worked["extra_hours"])
        .groupby("technique")["hours"]
        .sum()
    )
    wholes = bool(is_whole(worked["technique"]).any())
    after, before = (_rates(con, on, known, wholes=wholes) for known in (with_it, without))
    before = before.set_index("technique")
    rates = after[after["technique"].isin(hours.index)][
        ["technique", "phase", "unit", "rate", "p50", "reference_quantity"]
    ]
    was = before.reindex(rates["technique"])
    # a first measured line makes hours per line hours per unit: no change between the two can be told
    alike = was["unit"].fillna("").to_numpy() == rates["unit"].fillna("").to_numpy()
    rate_before = np.where(alike, was["rate"].to_numpy(dtype=float), np.nan)
    change = rates["rate"].to_numpy(dtype=float) / rate_before - 1
    frame = rates.assign(
        hours=rates["technique"].map(hours).to_numpy(dtype=float),
        rate_before=rate_before,
        rate_after=rates["rate"],
        change=change,
        unchanged=np.abs(change) < _SHOWS,
        works_before=was["works"].fillna(0).to_numpy(dtype=int),
        technique=written_techniques(rates["technique"].to_numpy(dtype=str)),
    ).drop(columns=["rate", "p50", "reference_quantity"])
    foreseen = queries.record(con, on + _DAY).compared.foreseen(rates_service.number_of(on + _DAY))
    of = foreseen.objects == code  # nothing, where no estimate came before its first entry
    new = (
        foreseen.techniques[(foreseen.turned_up | foreseen.another)[of].any(axis=0)]
        if of.any()
        else foreseen.techniques[:0]
    )
    began = queries.promises(con, on).set_index("object")["version"].get(code)
    sheet = queries.estimate_lines(con, code, int(began)) if began is not None else lines.head(0)
    sheet = with_marked(sheet)
    names = ["phase", "technique", "part"]
    worked = worked.merge(sheet[names].drop_duplicates(), on=names, how="left", indicator=True)
    unforeseen = (
        worked[worked["technique"].isin(new) & (worked["_merge"] == "left_only")]
        .groupby("technique", as_index=False)
        .agg(hours=("actual_hours", "sum"))
    )
    unforeseen["technique"] = [shown_technique(name) for name in unforeseen["technique"]]
    return Taught(on=on, rates=frame.reset_index(drop=True), turned_up=unforeseen)


def _rates(con: Connection, on: date, known: Calibration, *, wholes: bool) -> pd.DataFrame:
    """Rates of techniques, and behind them those of whole phases and works, by names as models have them."""
    table = rates_service.rate_table(con, on, known)
    if not wholes:
        return table
    return pd.concat([table, with_marked(rates_service.whole_rates(con, on, known))], ignore_index=True)
