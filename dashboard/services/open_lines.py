"""From the database to the lines of works on the bench, as the analysis asks about them; and to what the
record teaches without them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from scipy import special

from dashboard import queries
from dashboard.analysis import parallel
from dashboard.analysis.data import part_shares
from dashboard.analysis.data.levels import PHASE, WORK, with_marked
from dashboard.analysis.data.lines import ROWS, Lines, named_shares
from dashboard.analysis.data.part_shares import PartShare
from dashboard.analysis.data.training_record import TrainingRecord
from dashboard.analysis.models import percent_complete
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.models.percent_complete import LogitCalibration
from dashboard.analysis.models.quantity_growth import QuantityGrowth
from dashboard.analysis.models.rate_table import PinnedRates
from dashboard.analysis.models.record_calibration import learn_record, taught, unneeded_techniques
from dashboard.analysis.simulation import discovery_model
from dashboard.analysis.simulation.censored_observations import CensoredObservations
from dashboard.analysis.simulation.completion import OpenWorks
from dashboard.analysis.simulation.discovery_model import DiscoveryModel, WorkFeatures
from dashboard.analysis.simulation.three_point import ThreePointEstimates
from dashboard.services import rates as rates_service
from dashboard.services.result_cache import ResultCache, content_digest
from ingest.sql import Connection

LINE = ["object", "phase", "technique", "part"]
ALL_DONE = 100.0
_AS_GOOD_AS_ALL = 0.97  # treated of what there was to treat, beyond which nobody knows how much more there is
_AS_MEASURED = 1e-4  # variance of the log of a whole surface
_WHOLE = 0.98  # of what was quoted, as areas are rounded
# said to be done or treated, beyond which a line may be finished as it is: by what was said only one that was
# left for weeks
_NEARLY = 0.9
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """What the record teaches, without the lines that are open."""

    key: str
    calibration: Calibration
    discoveries: DiscoveryModel
    sayings: tuple[LogitCalibration, LogitCalibration]
    bears_on: dict[str, int]
    pinned: PinnedRates
    part_shares: dict[tuple[str, str], PartShare]


def learn(
    con: Connection,
    as_of: date,
    record: TrainingRecord,
    open_works: tuple[str, ...],
    frame: pd.DataFrame,
    memory: ResultCache,
) -> Learnt:
    """Rates, what may turn up and when, and what is meant by how far a line is: from everything but open
    lines, so that an entry on one of them moves nothing of this.
    """
    before = rates_service.number_of(as_of + _DAY)
    lines = taught(record.teaching, before, open_works, finished_only=True)
    unneeded = unneeded_techniques(record, before)
    foreseen, works = record.compared.foreseen(before), queries.teaching_works(con)
    first_entries = queries.found_when(con, as_of)
    meant = progress_calibrations(frame, lines)
    bears_on = queries.bears_on(con)
    known_pins = queries.pins(con, as_of)
    shares = part_shares.learn(record, before) if record.frames.has_wholes else {}
    key = content_digest(
        before,
        lines,
        unneeded.phase,
        unneeded.technique,
        foreseen,
        works,
        discovery_model.discovery_times(foreseen, first_entries),
        meant,
        bears_on,
        known_pins,
        sorted((*name, part.share) for name, part in shares.items()),
        *(
            taught(record.of_wholes(level), before, open_works, finished_only=True)
            for level in ((PHASE, WORK) if record.frames.has_wholes else ())
        ),
    )

    def reckon() -> Learnt:
        learnt = learn_record(record, before, without_open=open_works, finished_only=True)
        with parallel.blas.limit(limits=1, user_api="blas"):
            discoveries = discovery_model.learn(foreseen, works, learnt, first_entries)
        pinned = (
            rates_service.pinned(
                learnt, rates_service.rate_table(con, as_of, learnt), rates_service.pins_of_wholes(con, as_of)
            )
            if len(known_pins)
            else PinnedRates(by_rate={}, per_unit={})
        )
        return Learnt(
            key=key,
            calibration=learnt,
            discoveries=discoveries,
            sayings=meant,
            bears_on=bears_on,
            pinned=pinned,
            part_shares=shares,
        )

    return memory.of("learnt", key, reckon)


def progress_calibrations(frame: pd.DataFrame, lines: Lines) -> tuple[LogitCalibration, LogitCalibration]:
    """What is meant by so many per cent done, and by so much treated of the whole, on finished lines."""
    finished = pd.DataFrame({name: getattr(lines, name) for name in LINE}).drop_duplicates()
    of = frame.merge(finished, on=LINE)
    number = np.asarray(of.groupby(LINE).ngroup(), dtype=np.int64)
    passed = (of["hours"] / of["all_hours"].where(of["all_hours"] > 0)).to_numpy(dtype=float)
    done = of["done"].to_numpy(dtype=float) / ALL_DONE
    treated = of["quantity"].to_numpy(dtype=float)
    whole = of.groupby(LINE)["quantity"].transform("max").to_numpy(dtype=float)
    share = np.divide(treated, whole, out=np.full(len(of), np.nan), where=whole > 0)
    return percent_complete.learn(done, passed, number), percent_complete.learn(share, passed, number)


def beside(lines: pd.DataFrame, frame: pd.DataFrame, by_day: pd.DataFrame) -> pd.DataFrame:
    """Lines with what was last said of how far they are, when they were begun, and when they passed their
    estimate.

    Returns
    -------
    The frame with `said_done` (per cent, null where the last thing said was a quantity), `said_at` (hours it
    had taken then), `treated`, `said_last` (nothing was logged since), `said_on`, `first_day`, `over_on`.
    """
    useful = frame.assign(measured=frame["quantity"].notna() & frame["done"].isna()).merge(
        lines[[*LINE, "estimated_quantity"]], on=LINE
    )
    useful = useful[useful["done"].notna() | (useful["measured"] & (useful["estimated_quantity"] > 0))]
    last = useful.groupby(LINE, as_index=False).last()[
        [*LINE, "done", "quantity", "measured", "hours", "last", "day"]
    ]
    last["done"] = last["done"].where(~last["measured"].astype(bool))
    last = last.rename(
        columns={
            "done": "said_done",
            "quantity": "treated",
            "hours": "said_at",
            "last": "said_last",
            "day": "said_on",
        }
    ).drop(columns="measured")
    days = by_day.merge(lines[[*LINE, "estimated_hours"]], on=LINE)
    first = by_day.groupby(LINE, as_index=False).agg(first_day=("day", "min"))
    over = (
        days[days["hours"] > days["estimated_hours"]]
        .groupby(LINE, as_index=False)
        .agg(over_on=("day", "min"))
    )
    result = (
        lines.merge(last, on=LINE, how="left")
        .merge(first, on=LINE, how="left")
        .merge(over, on=LINE, how="left")
    )
    result.index = lines.index
    return result


def as_compared(record: TrainingRecord, lines: pd.DataFrame) -> TrainingRecord:
    """The record by lines as `dashboard.queries.overruns` compares them; `lines` of that, of all works that
    are asked about.
    """
    return record.compared_by(_versions(lines))


def _versions(lines: pd.DataFrame) -> dict[str, int]:
    """By work, the number of the version by which it stands."""
    return {
        str(name): int(version)
        for name, version in lines.groupby("object")["yardstick_version"].first().dropna().items()
    }


def placed(record: TrainingRecord, before: int, lines: pd.DataFrame) -> tuple[pd.DataFrame, Lines]:
    """Lines (of `beside`, with `yardstick_version`) with their `place` in the record (of `as_compared`),
    `goes_on` and `left`; and all lines of the record as they could be asked about. See `Record.under_way`.
    """
    place = pd.Series(
        np.arange(record.count), index=pd.MultiIndex.from_arrays([record.names[name] for name in LINE])
    )
    at = place.reindex(pd.MultiIndex.from_frame(with_marked(lines[LINE]))).to_numpy(dtype=np.int64)
    begun_on = np.full(record.count, np.nan)
    begun_on[at] = (lines["first_day"] - pd.Timestamp(0)).dt.days
    every, goes_on, left = record.under_way(before, _versions(lines), begun_on)
    return lines.assign(place=at, goes_on=goes_on[at], left=left[at]), every


def marked(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines of `dashboard.queries.overruns` with `in_estimate` (it was foreseen), `is_begun`, `open`, and
    `counts`: it is one of the lines of its work, and not only agreed on top.
    """
    in_estimate, is_begun = (
        lines["estimated_hours"].notna() | lines["difference_hours"].isna(),
        lines["actual_hours"] > 0,
    )
    return lines.assign(
        in_estimate=in_estimate,
        begun=is_begun,
        open=~lines["finished"].astype(bool),
        counts=in_estimate | is_begun,
    )


def with_progress(
    con: Connection, as_of: date, record: TrainingRecord, lines: pd.DataFrame, frame: pd.DataFrame
) -> tuple[pd.DataFrame, Lines]:
    """Lines of works on the bench (of `marked`) with all that is known of them: see `beside`, `placed`, and
    `area_dm2` (of the work), `low_hours`, `high_hours` (by hand); and all lines of the record as they could
    be asked about. `record` of `as_compared`.
    """
    areas = queries.teaching_works(con).set_index("object")["area_dm2"]
    result = beside(lines, frame, queries.hours_by_day(con, as_of, sorted(set(lines["object"]))))
    ranges = result[LINE].merge(queries.ranges_by_hand(con, as_of), on=LINE, how="left")
    result = result.assign(
        low_hours=ranges["low_hours"].to_numpy(dtype=float),
        high_hours=ranges["high_hours"].to_numpy(dtype=float),
    )
    return placed(
        record,
        rates_service.number_of(as_of + _DAY),
        result.assign(area_dm2=result["object"].map(areas).astype(float)),
    )


def as_estimated(record: TrainingRecord, lines: pd.DataFrame) -> pd.DataFrame:
    """What the version by which its work stands says of each line (of `placed`): `own_hours` (the figure of
    who made it; null of what it took over from the bench), `own_quantity`, `own_person` (empty: nobody in
    particular).

    A sheet that says the same says nothing new of a line, and it is asked about as on the bench.
    """
    rows = record.estimates.assign(
        hours=record.estimates["hours"].where(~record.estimates["taken_over"].astype(bool))
    )
    by_line = rows.groupby(["line", "version"])
    own = by_line[["hours", "quantity"]].sum(skipna=False).add_prefix("own_")
    own["own_person"] = by_line["person"].first()
    result = own.reindex(pd.MultiIndex.from_frame(lines[["place", "yardstick_version"]])).set_axis(
        lines.index
    )
    return result.assign(own_person=result["own_person"].fillna(""))


def described(con: Connection, lines: pd.DataFrame, names: Collection[str]) -> dict[str, WorkFeatures]:
    """What each work is, what is on its sheet, and what was begun; `lines` of `dashboard.queries.overruns`,
    with `in_estimate` and `begun`.
    """
    works = queries.teaching_works(con)
    rows = {row["object"]: row for row in works[works["object"].isin(names)].to_dict("records")}
    lines = lines[lines["object"].isin(names)]
    lines = with_marked(lines)
    sheet = lines[lines["in_estimate"]].groupby("object")["technique"].agg(frozenset)
    worked = lines[lines["begun"] | (lines["extra_hours"] > 0)].groupby("object")["technique"].agg(frozenset)
    return {
        name: WorkFeatures.of(rows[name], sheet.get(name, frozenset()), worked.get(name, frozenset()))
        for name in names
    }


# 61 lines: one array after the other
def observations(
    growth: QuantityGrowth, sayings: tuple[LogitCalibration, LogitCalibration], opened: pd.DataFrame
) -> CensoredObservations:
    """What is known of lines by their hours so far.

    Parameters
    ----------
    growth : how much more there usually is to treat.
    sayings : of so many per cent done, and of so much treated.
    opened : frame `phase`, `technique`, `unit`, `actual_hours`, `said_done`, `treated`, `said_at`,
        `said_last`, `goes_on`, `left` (see `beside`, `placed`), `estimated_quantity`, `area_dm2` (of the
        work).
    """
    n = len(opened)
    so_far, done, treated, said_at, quoted, area, goes_on = (
        opened[name].to_numpy(dtype=float)
        for name in (
            *("actual_hours", "said_done", "treated", "said_at"),
            *("estimated_quantity", "area_dm2", "goes_on"),
        )
    )
    last, left = (opened[name].fillna(False).to_numpy(dtype=bool) for name in ("said_last", "left"))
    # how much there is to treat is what was quoted, and how much more there usually is; there is no more of
    # it than the whole picture
    grown, may_grow = growth.of(opened["phase"].to_numpy(dtype=str), opened["technique"].to_numpy(dtype=str))
    all_over = (opened["unit"] == "dm2").to_numpy(dtype=bool) & (quoted >= _WHOLE * area)
    grown, may_grow = np.where(all_over, 0.0, grown), np.where(all_over, _AS_MEASURED, may_grow)
    measured = np.isnan(done) & (treated > 0) & (quoted > 0)
    whole = measured & last & (treated >= _WHOLE * quoted)
    by_quantity = measured & ~whole & (said_at > 0)
    # of what was said before any hours nothing follows
    by_done = (done > 0) & (done < ALL_DONE) & (said_at > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        still_more = special.ndtr((grown - np.log(treated / quoted * (2 - _WHOLE))) / np.sqrt(may_grow))
    part = np.minimum(
        np.divide(treated, quoted * np.exp(grown), out=np.full(n, np.nan), where=by_quantity), _AS_GOOD_AS_ALL
    )
    shares, sds = zip(
        sayings[0].passed(np.where(by_done, done / ALL_DONE, 0.5)),
        sayings[1].passed(np.where(by_quantity, part, 0.5)),
        strict=True,
    )
    stated = np.where(by_done, shares[0], np.where(by_quantity, shares[1], np.nan))
    surely = (by_done & ((done < ALL_DONE * _NEARLY) | ~left)) | (by_quantity & (part < _NEARLY))
    return CensoredObservations(
        so_far=so_far,
        all_done=(done >= ALL_DONE) & last,
        stated_at_hours=np.where(np.isnan(stated), np.nan, said_at),
        stated_share=stated,
        stated_sd=np.where(by_done, sds[0], np.where(by_quantity, sds[1], np.nan)),
        whole_sd=np.where(by_quantity, np.sqrt(may_grow), 0.0),
        goes_on=np.where(surely, 1.0, np.where(whole, still_more, goes_on)),
        left=left,
        whole=whole,
    )


def open_works(
    learnt: Learnt,
    opened: pd.DataFrame,
    every: Lines,
    progress: CensoredObservations,
    works: Mapping[str, WorkFeatures],
    finished_hours: Mapping[str, float],
    first_stage: frozenset[str],
    left_out: frozenset[tuple[str, str]],
) -> OpenWorks:
    """The open lines of all works, as the analysis asks about them.

    Parameters
    ----------
    opened : frame of `known_of`.
    every : of `Record.under_way`.
    """
    asked_lines = every.take(opened["place"].to_numpy(dtype=np.int64))
    ranges = ThreePointEstimates.of(
        opened["low_hours"].to_numpy(dtype=float),
        asked_lines.figure,
        opened["high_hours"].to_numpy(dtype=float),
    )
    asked_lines = replace(
        asked_lines, figure=np.where(np.isnan(asked_lines.figure), ranges.likeliest, asked_lines.figure)
    )
    people = learnt.calibration.joint.lines.people
    return OpenWorks(
        lines=Lines(
            people=people,
            **{name: getattr(asked_lines, name) for name in ROWS if name != "shares"},
            shares=named_shares(asked_lines.person, people),
        ),
        works=works,
        finished_hours=finished_hours,
        observations=progress,
        in_estimate=opened["in_estimate"].to_numpy(dtype=bool),
        pinned=learnt.pinned.shifts(learnt.calibration, asked_lines)
        + part_shares.shifts(learnt.part_shares, asked_lines),
        bears_on=learnt.bears_on,
        agreed_in_part=first_stage & frozenset(works),
        left_out=frozenset(pair for pair in left_out if pair[0] in works),
        ranges=ranges,
    )
