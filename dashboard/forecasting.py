"""From the database to where the works on the bench will end."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

import duckdb
import numpy as np
import numpy.typing as npt
import pandas as pd

from dashboard import bench_lines, prices, reading
from dashboard.analysis import discovery, earned, forecast, price, side_by_side
from dashboard.analysis.basis import LEVELS, NAMES
from dashboard.analysis.discovery import UsuallyDone
from dashboard.analysis.forecast import Forecast, StillToFind, chance_over, hours_over
from dashboard.analysis.totals import DRAWS
from dashboard.remembered import Memory, digest
from dashboard.tables import Row
from dashboard.words import text
from ingest.settings import Settings, read_settings

MOST_DAYS, HISTORY_DRAWS = 40, 8_000
# Keys of `forecast` that others depend on, in their order; more stand behind.
FORECAST_KEYS = ("object", "approved_hours", "actual_hours", *NAMES, "chance_over_approved")
_NO_NUMBERS = ("object", "commission", "begun", "yardstick", "first_stage", "first_day", "last_day")
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Every work on the bench, and where it will end.

    Attributes
    ----------
    works : frame, one row a work, most to write about first: `FORECAST_KEYS` (hours; `p10` … `p90` in the end), `hours_over` (on average over all that may come: chance times size), `over_if` (hours over at even
        chance, if it is), `break_even_hours` and `chance_over_break_even` (null: price or yearly cost not known), `luck` (factor on hours of its lines), `earned_hours` (the plain reckoning), `commission`,
        `begun`, `yardstick` (approved, made, none), `first_stage`, `first_day`, `last_day`.
    lines : frame, one row a line of these works, finished ones too, in the order of work: `object`, `phase`, `technique`, `part`, `estimated_hours`, `actual_hours`, `p10`, `p50`, `p80`, `p90`, `mean` (hours in the
        end), `finished`, `all_done`, `in_estimate`, `done` (per cent), `treated`, `estimated_quantity`, `unit`, `said_on` (when it was last said how far it is), `first_day`, `over_on` (when it passed its estimate), `works` (finished ones behind its rate).
    found : what may still turn up, by work.
    drawn : (lines, kept) equally likely hours in the end of each line, finished ones at what they took; nought of works without an estimate. found_drawn : by work, likewise of what may still turn up, in the order of `found`.
    commissions : frame of commissions with more than one work on the bench: `commission`, `works`, `approved_hours`, `actual_hours`, `p50`, `p80`, `chance_over_approved`.
    left_out : codes of works that are open and have neither hours nor an approved estimate; declined : those whose estimate came to nothing.
    usual : by work, what is nearly always done here and neither in its estimate nor begun; in no figure.
    behind, behind_lines : finished lines that all this stands on, and the works they are on. unsaid_prices : how many of these works have a price of which nobody has said whether tax is in it, where that matters.
    """

    works: pd.DataFrame
    lines: pd.DataFrame
    found: dict[str, tuple[StillToFind, ...]]
    drawn: npt.NDArray[np.float32]
    found_drawn: dict[str, npt.NDArray[np.float32]]
    commissions: pd.DataFrame
    left_out: tuple[str, ...]
    declined: tuple[str, ...]
    usual: dict[str, tuple[UsuallyDone, ...]]
    behind: int
    behind_lines: int
    unsaid_prices: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """Where one work will end: hours at `LEVELS`, and what of that is above what was approved (see `Bench.works`; not a number where nothing is approved in hours)."""

    quantiles: list[float]
    approved_hours: float
    chance_over_approved: float
    hours_over: float
    over_if: float

    @classmethod
    def of(cls, total: npt.NDArray[np.float64], promise: Row | None) -> Ended:
        """From equally likely hours (draws,) of a work, and the row of what its approved version promises."""
        hours = _approved_hours(promise)
        quantiles = np.quantile(total, LEVELS).tolist()
        if np.isnan(hours):
            return cls(quantiles=quantiles, approved_hours=hours, chance_over_approved=np.nan, hours_over=np.nan, over_if=0.0)
        above = total[total > hours] - hours
        return cls(
            quantiles=quantiles, approved_hours=hours, chance_over_approved=chance_over(total, hours), hours_over=hours_over(total, hours),
            over_if=float(np.median(above)) if len(above) else 0.0,
        )  # fmt: skip


def _approved_hours(promise: Row | None) -> float:
    """Not a number: nothing is approved, or a line of it has no hours."""
    return float(promise["approved_hours"]) if promise is not None and pd.notna(promise["approved_hours"]) else np.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class _Opened:
    """Works with open lines on a day: all lines of the record (of `bench_lines.marked`) and those that count, the works by object, which of them were declined, and those on the bench."""

    every_line: pd.DataFrame
    lines: pd.DataFrame
    of_works: pd.DataFrame
    declined: pd.Series
    on_bench: pd.DataFrame


def _opened(con: duckdb.DuckDBPyConnection, as_of: date) -> _Opened:
    every_line = bench_lines.marked(reading.overruns(con, as_of))
    held = reading.works(con, as_of).set_index("object")
    lines = every_line[every_line["counts"]].reset_index(drop=True)
    by_work = lines.groupby("object").agg(open=("open", "any"), begun=("begun", "any"), yardstick=("yardstick", "first"))
    of_works = by_work[by_work["open"]].join(held[["commission", "outcome", "first_day", "last_day"]])
    declined = of_works["outcome"].notna()
    on_bench = of_works[~declined & (of_works["begun"] | (of_works["yardstick"] == "approved"))]
    return _Opened(every_line=every_line, lines=lines, of_works=of_works, declined=declined, on_bench=on_bench)


def so_far(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """What is known of works on the bench before anything is foretold, in a tenth of the time.

    Returns
    -------
    Frame, one row a work, the one with the least left of what was approved first: `object`, `actual_hours` and `approved_hours` as in `Bench.works`, `estimated_hours` (of its lines; null: none has any), `left_hours`
    (of its open lines: what was estimated less what each took so far, nought where it took more; null likewise), `yardstick`.
    """
    opened = _opened(con, as_of)
    lines = opened.lines[opened.lines["object"].isin(opened.on_bench.index)]
    over = (lines["estimated_hours"] - lines["actual_hours"]).clip(lower=0.0).where(lines["open"], 0.0)
    sums = lines.assign(left_hours=over.where(lines["estimated_hours"].notna())).groupby("object")
    promised = _promised(reading.approved_promises(con, as_of).set_index("object"))
    found = pd.DataFrame({
        "actual_hours": sums["actual_hours"].sum(), "estimated_hours": sums["estimated_hours"].sum(min_count=1), "left_hours": sums["left_hours"].sum(min_count=1),
    }).astype(float)  # fmt: skip
    found = found.assign(approved_hours=[_approved_hours(promised.get(str(name))) for name in found.index], yardstick=opened.on_bench["yardstick"])
    room = found["approved_hours"] - found["actual_hours"]
    return found.assign(room=room).sort_values(["room", "object"], na_position="last").drop(columns="room").reset_index()


def bench(
    con: duckdb.DuckDBPyConnection,
    as_of: date,
    memory: Memory,
    only: str | None = None,
    progress_of: Callable[[int, int], None] = lambda _done, _all: None,
    draws: int = DRAWS,
    ended_of: Callable[[str, Ended], None] = lambda _name, _ended: None,
) -> Bench:
    """Where the works on the bench will end, as things stood on a day.

    Parameters
    ----------
    memory : of what was reckoned before. only : this work, with those of its commission. progress_of : is told how many are done, of how many. ended_of : is told of each work where it ends as soon
        as that is known.
    """
    opened = _opened(con, as_of)
    every_line, lines, of_works, declined, on_bench = opened.every_line, opened.lines, opened.of_works, opened.declined, opened.on_bench
    left_out = of_works.index[~declined].difference(on_bench.index)
    if only is not None:
        of = on_bench["commission"].get(only)
        on_bench = on_bench[(on_bench.index == only) | ((on_bench["commission"] == of) if isinstance(of, str) else False)]
    groups = _groups(on_bench.loc[on_bench["yardstick"] != "none", "commission"])
    lines = lines[lines["object"].isin(on_bench.index)]
    approved = reading.approved_promises(con, as_of).set_index("object")
    record = reading.record(con, as_of + _DAY)
    said = reading.progress(con, as_of)
    learnt = bench_lines.learn(con, as_of, record, tuple(sorted(of_works.index)), said, memory)
    progress_of(0, len(groups))
    lines, asked_lines = bench_lines.known_of(con, as_of, record, lines, said)
    foretold: dict[str, Forecast] = {}
    first_stage = frozenset(str(name) for name in approved.index[approved["first_stage"].astype(bool)])
    described = bench_lines.described(con, every_line, [name for group in groups for name in group])
    still_open = lines[lines["open"] & lines["object"].isin(list(described))]
    done = lines["actual_hours"].where(~lines["open"], 0.0).groupby(lines["object"]).sum()
    finished_hours = {str(name): float(hours) for name, hours in done.items()}
    begun = bench_lines.evidence(learnt.calibration.joint.growth, learnt.sayings, still_open)
    asked = bench_lines.asked(learnt, still_open, asked_lines, begun, described, finished_hours, first_stage, reading.left_out(con, as_of))
    ends = pd.DataFrame(np.nan, index=still_open.index, columns=[*NAMES, "mean"])
    jointly: dict[str, Forecast] = {}
    ended: dict[str, Ended] = {}
    promised = _promised(approved)

    def told(names: tuple[str, ...]) -> Forecast:
        one = asked.of(names)
        return memory.of("told", (learnt.key, draws, digest(one)), partial(forecast.foretell, learnt.calibration, learnt.discoveries, one, draws))

    def of_group(group: tuple[str, ...]) -> tuple[dict[str, Forecast], Forecast]:
        alone = {name: told((name,)) for name in group}  # each by itself, as its revision is
        return alone, told(group) if len(group) > 1 else alone[group[0]]  # and all together

    with side_by_side.each(of_group, groups) as results:
        for number, (group, (alone, together)) in enumerate(zip(groups, results, strict=True)):
            foretold |= alone
            for name in group:
                ended[name] = Ended.of(alone[name].totals[name], promised.get(name))
                ended_of(name, ended[name])
                ends.iloc[np.flatnonzero(asked.lines.object == name)] = np.column_stack([foretold[name].lines, foretold[name].mean])
            jointly |= dict.fromkeys(group, together)
            progress_of(number + 1, len(groups))
    past = learnt.calibration.joint.lines
    works_behind = pd.Series(past.object).groupby(past.technique).nunique()
    lines = _with_ends(lines, ends).assign(works=lambda frame: frame["technique"].map(works_behind).fillna(0).astype(int))
    works = _works(on_bench, lines, promised, foretold, ended, read_settings(con))
    drawn, found_drawn = _drawn(lines, groups, foretold, jointly, min(draws, forecast.KEPT))
    return Bench(
        drawn=drawn, found_drawn=found_drawn, works=works, lines=lines.drop(columns=["place", "open", "goes_on", "left", "counts", "low_hours", "high_hours"]).reset_index(drop=True), found={name: tuple(one for one in ends.found if one.work == name) for name, ends in foretold.items()},
        commissions=_commissions(works, jointly), left_out=tuple(left_out), declined=tuple(of_works.index[declined]),
        behind=len(set(past.object.tolist())), behind_lines=len(past),
        unsaid_prices=_unsaid_prices(approved[approved.index.isin(works["object"])], read_settings(con)),
        usual={name: those for name, work in described.items() if name not in first_stage and (those := tuple(discovery.usually_done(learnt.discoveries, work)))},
    )  # fmt: skip


def _drawn(
    lines: pd.DataFrame, groups: list[tuple[str, ...]], foretold: Mapping[str, Forecast], jointly: Mapping[str, Forecast], kept: int
) -> tuple[npt.NDArray[np.float32], dict[str, npt.NDArray[np.float32]]]:
    """`drawn` and `found_drawn` of a bench: works of a commission as they were told together (`jointly`), and works that have nothing in common not late together."""
    drawn = np.where(lines["finished"], lines["actual_hours"], 0.0).astype(np.float32)[:, None].repeat(kept, axis=1)
    found_drawn: dict[str, npt.NDArray[np.float32]] = {}
    objects, is_open = lines["object"].to_numpy(), lines["open"].to_numpy(dtype=bool)
    for group in groups:
        told, order = jointly[group[0]], forecast.apart("|".join(group), kept)
        drawn[np.flatnonzero(is_open & np.isin(objects, group))] = told.drawn[:, order]
        place = {(one.work, one.found.technique, one.found.another): number for number, one in enumerate(told.found)}
        for name in group:
            found_drawn[name] = told.found_drawn[[place[name, one.found.technique, one.found.another] for one in foretold[name].found]][:, order]
    return drawn, found_drawn


def _groups(commission: pd.Series) -> list[tuple[str, ...]]:
    """Works that are told together: those of a commission, any other alone."""
    named = commission.dropna()
    return [*(tuple(map(str, of)) for of in named.groupby(named).groups.values()), *((str(name),) for name in commission.index[commission.isna()])]


def _with_ends(lines: pd.DataFrame, ends: pd.DataFrame) -> pd.DataFrame:
    """Lines with where they end: what is finished at what it took."""
    found = lines.join(ends)
    for name in (*NAMES, "mean"):
        found[name] = found[name].where(found["open"], found["actual_hours"]).astype(float)  # of works without an estimate open lines have none
    return found.assign(all_done=(found["said_done"] >= bench_lines.ALL_DONE) & found["said_last"].fillna(False).astype(bool) & found["open"])


def _promised(approved: pd.DataFrame) -> dict[str, Row]:
    """By work, the row of what its approved version promises; `approved` by object."""
    return {row["object"]: row for row in approved.reset_index().to_dict("records")}


def _works(
    on_bench: pd.DataFrame,
    lines: pd.DataFrame,
    promised: Mapping[str, Row],
    foretold: Mapping[str, Forecast],
    ended: Mapping[str, Ended],
    studio: Settings,
) -> pd.DataFrame:
    """One row a work; see `Bench`."""
    rows = []
    places = lines.groupby("object").indices
    estimated_hours, actual_hours = (lines[name].to_numpy(dtype=float) for name in ("estimated_hours", "actual_hours"))
    share = (
        (lines["said_done"] / bench_lines.ALL_DONE)
        .fillna(lines["treated"] / lines["estimated_quantity"].where(lines["estimated_quantity"] > 0))
        .to_numpy(dtype=float)
    )
    finished = lines["finished"].to_numpy(dtype=bool)
    for about in on_bench.reset_index()[["object", "commission", "begun", "yardstick", "first_day", "last_day"]].to_dict("records"):
        name = about["object"]
        ends, of = foretold.get(name), places[name]
        about |= {"actual_hours": float(actual_hours[of].sum()), "begun": bool(about["begun"]), "first_stage": False}
        if ends is None:  # what is to be done on it nobody has said yet
            rows.append(about)
            continue
        promise, total, end = promised.get(name), ends.totals[name], ended[name]
        even = _break_even(promise, studio)
        estimated, actual = estimated_hours[of], actual_hours[of]
        plain = earned.earned(estimated, actual, share[of], finished[of])
        rows.append(about | {
            "approved_hours": end.approved_hours, **dict(zip(NAMES, end.quantiles, strict=True)), "chance_over_approved": end.chance_over_approved, "hours_over": end.hours_over,
            "over_if": end.over_if, "break_even_hours": even, "chance_over_break_even": chance_over(total, even) if not np.isnan(even) else np.nan,
            "luck": ends.luck[name], "earned_hours": earned.at_completion(float(np.nansum(estimated)), plain, float(actual.sum())) if np.nansum(estimated) > 0 else np.nan,
            "first_stage": bool(promise is not None and promise["first_stage"]),
        })  # fmt: skip
    columns = [
        *FORECAST_KEYS, "hours_over", "over_if", "break_even_hours", "chance_over_break_even", "luck", "earned_hours", *_NO_NUMBERS[1:]
    ]  # fmt: skip
    found = pd.DataFrame(rows, columns=columns)
    numbers = [name for name in columns if name not in _NO_NUMBERS]
    found[numbers] = found[numbers].astype(float)
    return found.sort_values(["hours_over", "object"], ascending=[False, True], na_position="last", ignore_index=True)


def _break_even(promise: Row | None, studio: Settings) -> float:
    """Hours from which the studio works for nothing: what the price leaves after tax and costs, by what an hour must earn; not a number where that is not known."""
    of = None if promise is None else prices.of_row(promise, studio)
    if promise is None or of is None or of.net is None or not (studio.yearly_cost and studio.chargeable_hours):
        return float("nan")
    if (text(promise["currency"]) or studio.currency) != studio.currency:
        return float("nan")
    return price.for_the_hours(float(of.net), promise["costs"] if pd.notna(promise["costs"]) else 0.0) / (studio.yearly_cost / studio.chargeable_hours)


def _unsaid_prices(approved: pd.DataFrame, studio: Settings) -> int:
    """Of how many works nobody has said whether tax is in the price, where it is reckoned with."""
    return prices.unsaid(approved, studio) if studio.yearly_cost and studio.chargeable_hours else 0


def _commissions(works: pd.DataFrame, foretold: Mapping[str, Forecast]) -> pd.DataFrame:
    rows = []
    for name, of in works[works["commission"].notna() & works["p50"].notna()].groupby("commission"):
        if len(of) < 2:
            continue
        total, hours = foretold[of["object"].iloc[0]].together, float(of["approved_hours"].sum()) if of["approved_hours"].notna().all() else np.nan
        p50, p80 = np.quantile(total, [0.5, 0.8]).tolist()
        rows.append({
            "commission": name, "works": len(of), "approved_hours": hours, "actual_hours": float(of["actual_hours"].sum()), "p50": p50, "p80": p80,
            "chance_over_approved": chance_over(total, hours) if not np.isnan(hours) else np.nan,
        })  # fmt: skip
    return pd.DataFrame(rows, columns=["commission", "works", "approved_hours", "actual_hours", "p50", "p80", "chance_over_approved"])


def history(
    con: duckdb.DuckDBPyConnection, as_of: date, known_object: str, memory: Memory, progress_of: Callable[[int, int], None] = lambda _done, _all: None
) -> pd.DataFrame:
    """What would have been told of a work on each day on which something was logged on it, from what was known on that day alone.

    Returns
    -------
    Frame `day`, `approved_hours`, `actual_hours`, `p10`, `p50`, `p80`, `p90`, `chance_over_approved`, by day; of very many days so many, evenly chosen, and always the first and the last.
    """
    logged = reading.hours_by_day(con, as_of, [known_object])
    days = sorted({day.date() for day in logged["day"]} | {as_of})
    if len(days) > MOST_DAYS:
        days = [days[number] for number in np.unique(np.linspace(0, len(days) - 1, MOST_DAYS).astype(int))]
    rows = []
    for number, one in enumerate(days):
        works = bench(con, one, memory, known_object, lambda *_, done=number: progress_of(done, len(days)), DRAWS if one == as_of else HISTORY_DRAWS).works
        rows.append(works[works["object"] == known_object].assign(day=pd.Timestamp(one)))
        progress_of(number + 1, len(days))
    found = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=["day", *FORECAST_KEYS])
    return found.loc[found["p50"].notna(), ["day", *FORECAST_KEYS[1:]]].reset_index(drop=True)


def since(
    con: duckdb.DuckDBPyConnection,
    as_of: date,
    known_object: str,
    memory: Memory,
    chance: float,
    progress_of: Callable[[int, int], None] = lambda _done, _all: None,
) -> date | None:
    """The day from which on a work was foretold to end above what was approved with at least such a chance, by the days on which it was worked; None where that is not so today.

    Looked for backwards in growing steps and then between them, so that few days are foretold again: what was above in between and not at either end is not seen.
    """

    def above(day: date) -> bool:
        progress_of(0, 0)  # how many days it takes nobody knows beforehand
        works = bench(con, day, memory, known_object, progress_of, HISTORY_DRAWS).works
        found = works.loc[works["object"] == known_object, "chance_over_approved"]
        return bool((found >= chance).any())

    days = sorted({day.date() for day in reading.hours_by_day(con, as_of, [known_object])["day"]} | {as_of})
    if not above(as_of):
        return None
    is_above, step = len(days) - 1, 1
    not_above = -1
    while is_above > 0:
        at = max(is_above - step, 0)
        if above(days[at]):
            is_above, step = at, step * 2
        else:
            not_above = at
            break
    while is_above - not_above > 1:
        at = (is_above + not_above) // 2
        if above(days[at]):
            is_above = at
        else:
            not_above = at
    return days[is_above]
