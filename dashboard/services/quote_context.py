"""The record of one day as far as quotes are computed from it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from dashboard import queries
from dashboard.analysis.arrays import number_or_nan
from dashboard.analysis.data import part_shares
from dashboard.analysis.data.levels import shown_technique, whole_of, with_marked
from dashboard.analysis.data.lines import Lines
from dashboard.analysis.data.part_shares import PartShare
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.models.percent_complete import LogitCalibration
from dashboard.analysis.models.rate_table import PinnedRates
from dashboard.analysis.report.similar_works import FinishedWork
from dashboard.analysis.simulation import discovery_model, waiting_times
from dashboard.analysis.simulation.discovery_model import DiscoveryModel, WorkFeatures
from dashboard.analysis.simulation.waiting_times import LognormalWaits
from dashboard.services import open_lines
from dashboard.services import rates as rates_service
from dashboard.services.result_cache import ResultCache
from ingest.editing.quote_drafts import QuotedWork
from ingest.sql import Connection
from ingest.studio.vocabulary import read_vocabulary
from ingest.values import spelling

FIRST_PHASES = ("examination", "documentation")  # names at birth of the phases of a first stage
LATER = ("photography during treatment", "photography after treatment", "final report")
_NEARLY_ALL = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteContext:
    """What the record says on one day, as far as quotes stand on it.

    Attributes
    ----------
    finished : finished works, to find similar ones among.
    lines : frame of `dashboard.queries.overruns`.
    part_shares : by phase as a whole and part, how much of the phase it takes.
    pinned : the rates that are pinned;
    pins_of_wholes : of them those of phases and works as a whole, frame of
        `dashboard.services.rates.pins_of_wholes`.
    bears_on : technique to the number of the condition that bears on it.
    largest : technique to the most that was measured of it;
    usual_share : to the part of the picture that its own measured lines mostly were, of what is counted by
        area;
    phase_shares : phase to the parts between which 4 in 5 of its measured lines were, to be said of
        techniques that were never measured: nothing is reckoned from them.
    sized : techniques of which some line here has a quantity, so that a quantity says something of their
        hours.
    bench : lines of the works on the bench, frame of `dashboard.services.open_lines.with_progress` with what
        the estimate says of each (`as_estimated`) and `person` (who did most of it), in the order of the
        bench; empty where none of them is quoted.
    on_bench : every line of the record as the bench asks about it.
    sayings : what is meant by so many per cent done, and by so much treated of the whole.
    approved, approved_lines : what was approved of works, frames of `dashboard.queries.approved_promises` (by
        `object`) and `approved_lines`.
    positions : of phases, in the order of work.
    rates : frame of `dashboard.services.rates.rate_table`;
    behind : technique to the finished works with lines of it;
    remembered : codes of those told from memory.
    first_phases : those of a first stage, by the names they have now;
    later : techniques in them that come only with or after the treatment.
    people : every way a person is written, folded, to the name.
    wholes : whole phases by their names in words, to those that models have.
    """

    as_of: date
    calibration: Calibration
    discoveries: DiscoveryModel
    waits: LognormalWaits
    finished: tuple[FinishedWork, ...]
    lines: pd.DataFrame
    pinned: PinnedRates
    part_shares: dict[tuple[str, str], PartShare]
    pins_of_wholes: pd.DataFrame
    bears_on: dict[str, int]
    bench: pd.DataFrame
    on_bench: Lines
    approved: pd.DataFrame
    approved_lines: pd.DataFrame
    sayings: tuple[LogitCalibration, LogitCalibration]
    positions: dict[str, int]
    rates: pd.DataFrame
    behind: dict[str, list[str]]
    remembered: frozenset[str]
    largest: dict[str, float]
    usual_share: dict[str, float]
    phase_shares: dict[str, tuple[float, float]]
    sized: frozenset[str]
    first_phases: tuple[str, ...]
    later: frozenset[str]
    people: dict[str, str]
    words: dict[str, list[str]]
    techniques: dict[str, str]
    wholes: dict[str, str]

    def left_out(self, quoted_work: QuotedWork) -> dict[str, str]:
        """What was said not to turn up, by the name that it has now, with the reasons."""
        return {
            self.techniques.get(spelling.folded(name), name): reason
            for name, reason in quoted_work.left_out.items()
        }

    def marked(self, name: str) -> str:
        """What may turn up, by its name in words, as models have it."""
        return self.wholes.get(name, name)

    def of_bench(self, code: str) -> pd.DataFrame:
        """The lines of a work on the bench, of `bench`; none of one that is not there."""
        return self.bench[self.bench["object"] == code].reset_index(drop=True)

    @property
    def finished_remembered(self) -> int:
        """How many of the finished works were told from memory."""
        return sum(work.object in self.remembered for work in self.finished)

    @property
    def finished_lines(self) -> int:
        return int((~self.calibration.joint.lines.is_open).sum())

    @property
    def works(self) -> frozenset[str]:
        """Codes of the works that those lines are on, finished or not."""
        lines = self.calibration.joint.lines
        return frozenset(lines.object[~lines.is_open].tolist())


# 72 lines: a record of twenty fields
def load_context(
    con: Connection,
    as_of: date,
    calibrated: Calibration | None = None,
    without_open: Collection[str] = (),
    memory: ResultCache | None = None,
) -> QuoteContext:
    """Everything that quotes of a day stand on. Nothing that is dated later has any part in it; what has no
    date (names, kinds, conditions, sizes) is as it is now.

    Parameters
    ----------
    without_open : works on the bench, where one of them is quoted (see `on_the_bench`): it is told as it is
        there, so no open line teaches.
    memory : of what was reckoned for the bench before.
    """
    before = rates_service.number_of(as_of + timedelta(days=1))
    record = queries.record(con, as_of + timedelta(days=1))
    progress = queries.progress(con, as_of)
    if without_open:
        calibrated = open_lines.learn(
            con, as_of, record, tuple(without_open), progress, memory or ResultCache()
        ).calibration
    calibrated = calibrated or rates_service.calibrated(con, as_of)
    works = queries.teaching_works(con)
    lines = open_lines.marked(queries.overruns(con, as_of)).merge(
        queries.who_did(con, as_of), on=["object", "phase", "technique", "part"], how="left"
    )
    table = rates_service.rate_table(con, as_of, calibrated)
    pins_of_wholes = rates_service.pins_of_wholes(con, as_of)
    past = calibrated.joint.lines
    past = past.take(~past.is_open)
    measured = past.take(past.quantity > 0)
    compared = open_lines.as_compared(record, lines)
    bench, on_bench = open_lines.with_progress(
        con,
        as_of,
        compared,
        lines[lines["object"].isin(list(without_open)) & lines["counts"]].reset_index(drop=True),
        progress,
    )
    return QuoteContext(
        as_of=as_of,
        calibration=calibrated,
        bench=bench.join(open_lines.as_estimated(compared, bench)),
        on_bench=on_bench,
        approved=queries.approved_promises(con, as_of).set_index("object"),
        approved_lines=queries.approved_lines(con, as_of),
        sayings=open_lines.progress_calibrations(progress, past),
        discoveries=discovery_model.learn(
            record.compared.foreseen(before), works, calibrated, queries.found_when(con, as_of)
        ),
        waits=waiting_times.learn(with_marked(lines)),
        finished=_finished(works, lines),
        lines=lines,
        pinned=rates_service.pinned(calibrated, table, pins_of_wholes),
        pins_of_wholes=pins_of_wholes,
        part_shares=part_shares.learn(record, before),
        bears_on=queries.bears_on(con),
        positions=queries.phase_positions(con),
        rates=table,
        remembered=queries.remembered(con),
        behind={str(name): sorted(set(of)) for name, of in pd.Series(past.object).groupby(past.technique)},
        largest={
            str(name): float(most)
            for name, most in pd.Series(measured.quantity).groupby(measured.technique).max().items()
        },
        **_shares(measured),
        sized=calibrated.joint.levels.has_size,
        first_phases=queries.phases_by_key(con, FIRST_PHASES),
        words={
            name: [item for item in works[name].dropna().unique() if item] for name in ("kind", "support")
        },
        techniques=read_vocabulary(con).technique_spellings,
        wholes={shown_technique(name): name for name in map(whole_of, queries.phase_positions(con))},
        later=queries.techniques_by_key(con, LATER),
        people=queries.spellings(con),
    )


def _shares(measured: Lines) -> dict[str, Any]:
    """`usual_share` and `phase_shares` of `QuoteContext`; nearly all of the picture counts as all."""
    by_area = (measured.unit == "dm2") & (measured.area > 0)
    share = pd.Series(measured.quantity[by_area] / measured.area[by_area])
    middle = share.groupby(measured.technique[by_area]).median()
    low, high = (share.groupby(measured.phase[by_area]).quantile(level) for level in (0.1, 0.9))
    return {
        "usual_share": {
            str(name): float(value) for name, value in middle.where(middle < _NEARLY_ALL, 1.0).items()
        },
        "phase_shares": {str(name): (float(low[name]), min(float(high[name]), 1.0)) for name in low.index},
    }


def _finished(works: pd.DataFrame, lines: pd.DataFrame) -> tuple[FinishedWork, ...]:
    """Works that were worked on, and of which every line is finished."""
    done = (
        with_marked(lines)
        .groupby("object")
        .agg(finished=("finished", "all"), techniques=("technique", frozenset), hours=("actual_hours", "sum"))
    )
    done = done[done["finished"].astype(bool) & (done["hours"] > 0)]
    done_works = works[works["object"].isin(done.index)]
    techniques = {str(name): frozenset(of) for name, of in done["techniques"].items()}
    return tuple(
        FinishedWork(
            object=row["object"],
            work=WorkFeatures.of(row, techniques[row["object"]]),
            area=number_or_nan(row["area_dm2"]),
        )
        for row in done_works.to_dict("records")
    )
