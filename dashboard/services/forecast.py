"""From the database to where the works on the bench will end."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

import numpy as np
import numpy.typing as npt
import pandas as pd

from dashboard import queries
from dashboard.analysis import parallel
from dashboard.analysis.simulation import completion, unforeseen
from dashboard.analysis.simulation.completion import CompletionForecast, RemainingDiscovery
from dashboard.analysis.simulation.quote_snapshot import NAMES
from dashboard.analysis.simulation.totals import DRAWS
from dashboard.analysis.simulation.unforeseen import UsualTechnique
from dashboard.services import open_lines
from dashboard.services.forecast_works import (
    WorkForecast,
    commissions_frame,
    opened_lines,
    promises_by_work,
    unsaid_prices,
    works_frame,
)
from dashboard.services.rates import works_behind
from dashboard.services.result_cache import ResultCache, content_digest
from ingest.sql import Connection
from ingest.studio.settings import read_settings

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Every work on the bench, and where it will end.

    Attributes
    ----------
    works : frame, one row a work, most to write about first: `FORECAST_KEYS` (hours; `p10` … `p90` in the
        end), `hours_over` (on average over all that may come: chance times size), `over_if` (hours over at
        even chance, if it is), `break_even_hours` and `chance_over_break_even` (null: price or yearly cost
        not known), `luck` (factor on hours of its lines), `earned_hours` (the plain reckoning), `commission`,
        `begun`, `yardstick` (approved, made, none), `first_stage`, `first_day`, `last_day`.
    lines : frame, one row a line of these works, finished ones too, in the order of work: `object`, `phase`,
        `technique`, `part`, `estimated_hours`, `actual_hours`, `p10`, `p50`, `p80`, `p90`, `mean` (hours in
        the end), `finished`, `all_done`, `in_estimate`, `done` (per cent), `treated`, `estimated_quantity`,
        `unit`, `said_on` (when it was last said how far it is), `first_day`, `over_on` (when it passed its
        estimate), `works` (finished ones behind its rate), of these `remembered` told from memory.
    discoveries : what may still turn up, by work.
    drawn : (lines, kept) equally likely hours in the end of each line, finished ones at what they took;
        nought of works without an estimate.
    found_drawn : by work, likewise of what may still turn up, in the order of `discoveries`.
    commissions : frame of commissions with more than one work on the bench: `commission`, `works`,
        `approved_hours`, `actual_hours`, `p50`, `p80`, `chance_over_approved`.
    left_out : codes of works that are open and have neither hours nor an approved estimate;
    declined : those whose estimate came to nothing.
    usual : by work, what is nearly always done here and neither in its estimate nor begun; in no figure.
    behind_lines, behind, behind_remembered : finished lines that all this stands on, the works they are on,
        finished or not, and of these those told from memory.
    unsaid_prices : how many of these works have a price of which nobody has said whether tax is in it, where
        that matters.
    """

    works: pd.DataFrame
    lines: pd.DataFrame
    discoveries: dict[str, tuple[RemainingDiscovery, ...]]
    drawn: npt.NDArray[np.float32]
    discoveries_drawn: dict[str, npt.NDArray[np.float32]]
    commissions: pd.DataFrame
    left_out: tuple[str, ...]
    declined: tuple[str, ...]
    usual: dict[str, tuple[UsualTechnique, ...]]
    behind: int
    behind_lines: int
    behind_remembered: int
    unsaid_prices: int


# 116 lines: queries, models and frames in the order in which each needs the last; progress is told between
def bench(
    con: Connection,
    as_of: date,
    memory: ResultCache,
    only: str | None = None,
    progress_of: Callable[[int, int], None] = lambda _done, _all: None,
    draws: int = DRAWS,
    ended_of: Callable[[str, WorkForecast], None] = lambda _name, _ended: None,
) -> Bench:
    """Where the works on the bench will end, as things stood on a day.

    Parameters
    ----------
    memory : of what was reckoned before.
    only : this work, with those of its commission.
    progress_of : is told how many are done, of how many.
    ended_of : is told of each work where it ends as soon as that is known.
    """
    opened = opened_lines(con, as_of)
    every_line, lines, of_works, declined, on_bench = (
        opened.every_line,
        opened.lines,
        opened.of_works,
        opened.declined,
        opened.on_bench,
    )
    left_out = of_works.index[~declined].difference(on_bench.index)
    if only is not None:
        of = on_bench["commission"].get(only)
        on_bench = on_bench[
            (on_bench.index == only) | ((on_bench["commission"] == of) if isinstance(of, str) else False)
        ]
    groups = _groups(on_bench.loc[on_bench["yardstick"] != "none", "commission"])
    lines = lines[lines["object"].isin(on_bench.index)]
    approved = queries.approved_promises(con, as_of).set_index("object")
    record = queries.record(con, as_of + _DAY)
    progress = queries.progress(con, as_of)
    compared = open_lines.as_compared(record, opened.lines)
    learnt = open_lines.learn(con, as_of, record, tuple(sorted(of_works.index)), progress, memory)
    progress_of(0, len(groups))
    lines, asked_lines = open_lines.with_progress(con, as_of, compared, lines, progress)
    foretold: dict[str, CompletionForecast] = {}
    first_stage = frozenset(str(name) for name in approved.index[approved["first_stage"].astype(bool)])
    described = open_lines.described(con, every_line, [name for group in groups for name in group])
    still_open = lines[lines["open"] & lines["object"].isin(list(described))]
    done = lines["actual_hours"].where(~lines["open"], 0.0).groupby(lines["object"]).sum()
    finished_hours = {str(name): float(hours) for name, hours in done.items()}
    progress_seen = open_lines.observations(learnt.calibration.joint.growth, learnt.sayings, still_open)
    works_asked = open_lines.open_works(
        learnt,
        still_open,
        asked_lines,
        progress_seen,
        described,
        finished_hours,
        first_stage,
        queries.left_out(con, as_of),
    )
    ends = pd.DataFrame(np.nan, index=still_open.index, columns=[*NAMES, "mean"])
    jointly: dict[str, CompletionForecast] = {}
    ends_by_work: dict[str, WorkForecast] = {}
    promised = promises_by_work(approved)

    def forecast_of(names: tuple[str, ...]) -> CompletionForecast:
        open_work = works_asked.of(names)
        return memory.of(
            "told",
            (learnt.key, draws, content_digest(open_work)),
            partial(completion.forecast, learnt.calibration, learnt.discoveries, open_work, draws),
        )

    def forecast_group(group: tuple[str, ...]) -> tuple[dict[str, CompletionForecast], CompletionForecast]:
        alone = {name: forecast_of((name,)) for name in group}  # each by itself, as its revision is
        return alone, forecast_of(group) if len(group) > 1 else alone[group[0]]  # and all together

    with parallel.each(forecast_group, groups) as results:
        for number, (group, (alone, together)) in enumerate(zip(groups, results, strict=True)):
            foretold |= alone
            for name in group:
                ends_by_work[name] = WorkForecast.of(alone[name].totals[name], promised.get(name))
                ended_of(name, ends_by_work[name])
                ends.iloc[np.flatnonzero(works_asked.lines.object == name)] = np.column_stack(
                    [foretold[name].lines, foretold[name].mean]
                )
            jointly |= dict.fromkeys(group, together)
            progress_of(number + 1, len(groups))
    past = learnt.calibration.joint.lines
    past = past.take(~past.is_open)
    past_works, remembered = set(past.object.tolist()), queries.remembered(con)
    behind = works_behind(learnt.calibration, lines)
    lines = _with_ends(lines, ends).assign(
        works=[len(of) for of in behind], remembered=[len(remembered.intersection(of)) for of in behind]
    )
    works = works_frame(on_bench, lines, promised, foretold, ends_by_work, read_settings(con))
    drawn, found_drawn = _drawn(lines, groups, foretold, jointly, min(draws, completion.KEPT))
    return Bench(
        drawn=drawn,
        discoveries_drawn=found_drawn,
        works=works,
        lines=lines.drop(
            columns=["place", "open", "goes_on", "left", "counts", "low_hours", "high_hours"]
        ).reset_index(drop=True),
        discoveries={
            name: tuple(item for item in ends.discoveries if item.work == name)
            for name, ends in foretold.items()
        },
        commissions=commissions_frame(works, jointly),
        left_out=tuple(left_out),
        declined=tuple(of_works.index[declined]),
        behind=len(past_works),
        behind_lines=len(past),
        behind_remembered=len(remembered & past_works),
        unsaid_prices=unsaid_prices(approved[approved.index.isin(works["object"])], read_settings(con)),
        usual={
            name: those
            for name, work in described.items()
            if name not in first_stage and (those := tuple(unforeseen.usually_done(learnt.discoveries, work)))
        },
    )


def _drawn(
    lines: pd.DataFrame,
    groups: list[tuple[str, ...]],
    foretold: Mapping[str, CompletionForecast],
    jointly: Mapping[str, CompletionForecast],
    draws: int,
) -> tuple[npt.NDArray[np.float32], dict[str, npt.NDArray[np.float32]]]:
    """`drawn` and `found_drawn` of a bench: works of a commission as they were told together (`jointly`), and
    works that have nothing in common not late together.
    """
    drawn = (
        np.where(lines["finished"], lines["actual_hours"], 0.0)
        .astype(np.float32)[:, None]
        .repeat(draws, axis=1)
    )
    found_drawn: dict[str, npt.NDArray[np.float32]] = {}
    objects, is_open = lines["object"].to_numpy(), lines["open"].to_numpy(dtype=bool)
    for group in groups:
        forecast, order = jointly[group[0]], completion.shuffled_draws("|".join(group), draws)
        drawn[np.flatnonzero(is_open & np.isin(objects, group))] = forecast.drawn[:, order]
        place = {
            (discovery.work, discovery.discovery.technique, discovery.discovery.another): number
            for number, discovery in enumerate(forecast.discoveries)
        }
        for name in group:
            found_drawn[name] = forecast.discoveries_drawn[
                [
                    place[name, item.discovery.technique, item.discovery.another]
                    for item in foretold[name].discoveries
                ]
            ][:, order]
    return drawn, found_drawn


def _groups(commission: pd.Series) -> list[tuple[str, ...]]:
    """Works that are told together: those of a commission, any other alone."""
    named = commission.dropna()
    return [
        *(tuple(map(str, of)) for of in named.groupby(named).groups.values()),
        *((str(name),) for name in commission.index[commission.isna()]),
    ]


def _with_ends(lines: pd.DataFrame, ends: pd.DataFrame) -> pd.DataFrame:
    """Lines with where they end: what is finished at what it took."""
    result = lines.join(ends)
    for name in (*NAMES, "mean"):
        # of works without an estimate open lines have none
        result[name] = result[name].where(result["open"], result["actual_hours"]).astype(float)
    return result.assign(
        all_done=(result["said_done"] >= open_lines.ALL_DONE)
        & result["said_last"].fillna(False).astype(bool)
        & result["open"]
    )
