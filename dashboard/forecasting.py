"""From the database to where the works on the bench will end."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, fields
from datetime import date, timedelta
from functools import partial

import duckdb
import numpy as np
import pandas as pd
from scipy import special

from dashboard import calibrating, quoting, reading
from dashboard.analysis import calibration, discovery, earned, forecast, progress
from dashboard.analysis.basis import LEVELS, NAMES
from dashboard.analysis.calibration import Calibration
from dashboard.analysis.discovery import Discoveries
from dashboard.analysis.forecast import Forecast, StillToFind, UnderWay, chance_over, hours_over
from dashboard.analysis.lines import Lines, named_shares
from dashboard.analysis.mixed import Flags, Floats
from dashboard.analysis.progress import Saying
from dashboard.analysis.record import Foreseen, Record
from dashboard.analysis.totals import DRAWS
from dashboard.remembered import Memory, digest
from ingest.settings import Settings, read_settings

MOST_DAYS, HISTORY_DRAWS = 60, 8_000
LINE = ["object", "phase", "technique", "part"]
# Keys of `forecast` that others depend on, in their order; more stand behind.
FORECAST_KEYS = ("object", "approved_hours", "actual_hours", *NAMES, "chance_over_approved")
_NO_NUMBERS = ("object", "commission", "begun", "yardstick", "first_stage", "first_day", "last_day")
_DAY = timedelta(days=1)
_ALL_DONE = 100.0
_AS_GOOD_AS_ALL = 0.97  # treated of what there was to treat, beyond which nobody knows how much more there is
_AS_MEASURED = 1e-4  # variance of the log of a whole surface
_WHOLE = 0.98  # of what was quoted, as areas are rounded
_NEARLY = 0.9  # said to be done, beyond which a line that is left may be finished as it is


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Every work on the bench, and where it will end.

    Attributes
    ----------
    works : frame, one row a work, most to write about first: `FORECAST_KEYS` (hours; `p10` … `p90` in the end), `hours_over` (on average over all that may come: chance times size), `over_if` (hours over at even
        chance, if it is), `break_even_hours` and `chance_over_break_even` (null: price or yearly cost not known), `luck` (factor on hours of its lines), `earned_hours` (the plain reckoning), `commission`,
        `begun`, `yardstick` (approved, made, none), `first_stage`, `first_day`, `last_day`.
    lines : frame, one row a line of these works, finished ones too, in the order of work: `object`, `phase`, `technique`, `part`, `estimated_hours`, `actual_hours`, `p10`, `p50`, `p80`, `p90`, `mean` (hours in the
        end), `finished`, `all_done`, `in_estimate`, `done` (per cent), `treated`, `estimated_quantity`, `unit`, `said_on` (when it was last said how far it is), `first_day`, `over_on` (when it passed its estimate).
    found : what may still turn up, by work.
    commissions : frame of commissions with more than one work on the bench: `commission`, `works`, `approved_hours`, `actual_hours`, `p50`, `p80`, `chance_over_approved`.
    left_out : works that are open and have neither hours nor an approved estimate; declined : those whose estimate came to nothing.
    """

    works: pd.DataFrame
    lines: pd.DataFrame
    found: dict[str, tuple[StillToFind, ...]]
    commissions: pd.DataFrame
    left_out: int
    declined: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Learnt:
    """What the record teaches, without the lines that are open."""

    key: str
    calibration: Calibration
    discoveries: Discoveries
    when: Floats
    by_done: Saying
    by_quantity: Saying
    bears_on: dict[str, int]
    pinned: dict[str, float]


def bench(
    con: duckdb.DuckDBPyConnection,
    as_of: date,
    memory: Memory,
    only: str | None = None,
    progress_of: Callable[[int, int], None] = lambda _done, _all: None,
    draws: int = DRAWS,
) -> Bench:
    """Where the works on the bench will end, as things stood on a day.

    Parameters
    ----------
    memory : of what was reckoned before. only : this work, with those of its commission. progress_of : is told how many are done, of how many.
    """
    lines = reading.overruns(con, as_of)
    held = reading.works(con, as_of).set_index("object")
    lines["in_estimate"] = lines["estimated_hours"].notna() | lines["difference_hours"].isna()
    lines["begun"] = lines["actual_hours"] > 0
    lines = lines[lines["in_estimate"] | lines["begun"]].reset_index(drop=True)
    lines["open"] = ~lines["finished"].astype(bool)
    by_work = lines.groupby("object").agg(open=("open", "any"), begun=("begun", "any"), yardstick=("yardstick", "first"))
    of_works = by_work[by_work["open"]].join(held[["commission", "outcome", "first_day", "last_day"]])
    declined = of_works["outcome"].notna()
    on_bench = of_works[~declined & (of_works["begun"] | (of_works["yardstick"] == "approved"))]
    left_out = len(of_works) - int(declined.sum()) - len(on_bench)
    if only is not None:
        of = on_bench["commission"].get(only)
        on_bench = on_bench[(on_bench.index == only) | ((on_bench["commission"] == of) if isinstance(of, str) else False)]
    groups = _groups(on_bench.loc[on_bench["yardstick"] != "none", "commission"])
    lines["area_dm2"] = lines["object"].map(reading.teaching_works(con).set_index("object")["area_dm2"])
    lines = lines[lines["object"].isin(on_bench.index)]
    approved = reading.approved_promises(con, as_of).set_index("object")
    record = reading.record(con, as_of + _DAY)
    before = calibrating.number_of(as_of + _DAY)
    said = reading.progress(con, as_of)
    learnt = _learn(con, as_of, record, tuple(sorted(of_works.index)), said, memory)
    asked_lines, goes_on, left = record.under_way(
        before, {str(name): int(version) for name, version in lines.groupby("object")["yardstick_version"].first().dropna().items()}
    )
    lines = _beside(lines, said, reading.hours_by_day(con, as_of, sorted(set(lines["object"]))))
    place = pd.Series(np.arange(len(asked_lines)), index=pd.MultiIndex.from_arrays([getattr(asked_lines, name) for name in LINE]))
    lines["place"] = place.reindex(pd.MultiIndex.from_frame(lines[LINE])).to_numpy()
    foretold: dict[str, Forecast] = {}
    first_stage = frozenset(str(name) for name in approved.index[approved["first_stage"].astype(bool)])
    described = _described(con, lines, [name for group in groups for name in group])
    told = []
    for number, group in enumerate(groups):
        asked, places = _asked(learnt, lines[lines["object"].isin(group) & lines["open"]], group, lines, asked_lines, goes_on, left, described, first_stage)
        found = memory.of((learnt.key, draws, digest(asked)), partial(forecast.foretell, learnt.calibration, learnt.discoveries, learnt.when, asked, draws))
        foretold |= dict.fromkeys(group, found)
        told.append(pd.DataFrame(dict(zip([*NAMES, "mean"], [*found.lines.T, found.mean], strict=True)), index=places))
        progress_of(number + 1, len(groups))
    lines = _with_ends(lines, told)
    works = _works(on_bench, lines, approved, foretold, read_settings(con))
    return Bench(
        works=works, lines=lines.drop(columns=["place", "open"]).reset_index(drop=True), found={name: tuple(one for one in ends.found if one.work == name) for name, ends in foretold.items()},
        commissions=_commissions(works, foretold), left_out=left_out, declined=int(declined.sum()),
    )  # fmt: skip


def _groups(commission: pd.Series) -> list[tuple[str, ...]]:
    """Works that are told together: those of a commission, any other alone."""
    named = commission.dropna()
    return [*(tuple(map(str, of)) for of in named.groupby(named).groups.values()), *((str(name),) for name in commission.index[commission.isna()])]


def _learn(con: duckdb.DuckDBPyConnection, as_of: date, record: Record, open_works: tuple[str, ...], said: pd.DataFrame, memory: Memory) -> _Learnt:
    """Rates, what may turn up and when, and what is meant by how far a line is: from everything but open lines, so that an entry on one of them moves nothing of this."""
    before = calibrating.number_of(as_of + _DAY)
    lines, unneeded = record.as_of(before, without_open=open_works), record.unneeded(before)
    lines = lines.take(~lines.is_open)
    foreseen, works = record.foreseen(before), reading.teaching_works(con)
    when = _when(reading.found_when(con, as_of), foreseen)
    by_done, by_quantity = _sayings(said, lines)
    bears: list[tuple[str, str]] = con.execute("SELECT technique, condition FROM techniques WHERE condition IS NOT NULL ORDER BY technique").fetchall()
    bears_on = {technique: quoting.GRADES.index(name) for technique, name in bears}
    known_pins = reading.pins(con, as_of)
    key = digest(before, lines, unneeded, foreseen, works, when, by_done, by_quantity, bears_on, known_pins)

    def learn() -> _Learnt:
        known = calibration.learn(lines, before, unneeded)
        pinned: dict[str, float] = {}
        if len(known_pins):
            table = calibrating.rate_table(con, as_of, known)
            table = table[table["pinned_rate"].notna() & (table["rate"] > 0)]
            pinned = dict(zip(table["technique"], np.log((table["pinned_rate"] / table["rate"]).to_numpy(dtype=float)).tolist(), strict=True))
        return _Learnt(
            key=key, calibration=known, discoveries=discovery.learn(foreseen, works, known), when=when, by_done=by_done, by_quantity=by_quantity, bears_on=bears_on, pinned=pinned,
        )  # fmt: skip

    return memory.of(key, learn)


def _when(found_when: pd.DataFrame, foreseen: Foreseen) -> Floats:
    """How far finished works were when what nobody foresaw turned up on them."""
    turned = foreseen.turned_up | foreseen.another
    work, technique = np.nonzero(turned)
    pairs = pd.DataFrame({"object": foreseen.objects[work], "technique": foreseen.techniques[technique]})
    return np.sort(found_when.merge(pairs, on=["object", "technique"])["passed"].to_numpy(dtype=float))


def _sayings(said: pd.DataFrame, lines: Lines) -> tuple[Saying, Saying]:
    """What is meant by so many per cent done, and by so much treated of the whole, on finished lines."""
    finished = pd.DataFrame({name: getattr(lines, name) for name in LINE}).drop_duplicates()
    of = said.merge(finished, on=LINE)
    number = np.asarray(of.groupby(LINE).ngroup(), dtype=np.int64)
    passed = (of["hours"] / of["all_hours"].where(of["all_hours"] > 0)).to_numpy(dtype=float)
    done = of["done"].to_numpy(dtype=float) / _ALL_DONE
    treated = of["quantity"].to_numpy(dtype=float)
    whole = of.groupby(LINE)["quantity"].transform("max").to_numpy(dtype=float)
    share = np.divide(treated, whole, out=np.full(len(of), np.nan), where=whole > 0)
    return progress.learn(done, passed, number), progress.learn(share, passed, number)


def _beside(lines: pd.DataFrame, said: pd.DataFrame, by_day: pd.DataFrame) -> pd.DataFrame:
    """Lines with what was last said of how far they are, when they were begun, and when they passed their estimate.

    Returns
    -------
    The frame with `said_done` (per cent, null where the last thing said was a quantity), `said_at` (hours it had taken then), `treated`, `said_last` (nothing was logged since), `said_on`, `first_day`, `over_on`.
    """
    useful = said.assign(measured=said["quantity"].notna() & said["done"].isna()).merge(lines[[*LINE, "estimated_quantity"]], on=LINE)
    useful = useful[useful["done"].notna() | (useful["measured"] & (useful["estimated_quantity"] > 0))]
    last = useful.groupby(LINE, as_index=False).last()[[*LINE, "done", "quantity", "measured", "hours", "last", "day"]]
    last["done"] = last["done"].where(~last["measured"].astype(bool))
    last = last.rename(columns={"done": "said_done", "quantity": "treated", "hours": "said_at", "last": "said_last", "day": "said_on"}).drop(columns="measured")
    days = by_day.merge(lines[[*LINE, "estimated_hours"]], on=LINE)
    first = by_day.groupby(LINE, as_index=False).agg(first_day=("day", "min"))
    over = days[days["hours"] > days["estimated_hours"]].groupby(LINE, as_index=False).agg(over_on=("day", "min"))
    found = lines.merge(last, on=LINE, how="left").merge(first, on=LINE, how="left").merge(over, on=LINE, how="left")
    found.index = lines.index
    return found


def _described(con: duckdb.DuckDBPyConnection, lines: pd.DataFrame, names: Collection[str]) -> dict[str, discovery.Described]:
    """What each work is, what is on its sheet, and what was begun."""
    held = {row["object"]: row for row in reading.teaching_works(con).to_dict("records")}
    sheet = lines[lines["in_estimate"]].groupby("object")["technique"].agg(frozenset)
    worked = lines[lines["begun"] | (lines["extra_hours"] > 0)].groupby("object")["technique"].agg(frozenset)
    return {name: quoting.described(held[name], sheet.get(name, frozenset()), worked.get(name, frozenset())) for name in names}


def _asked(
    learnt: _Learnt,
    opened: pd.DataFrame,
    group: tuple[str, ...],
    lines: pd.DataFrame,
    every: Lines,
    goes_on: Floats,
    left: Flags,
    described: Mapping[str, discovery.Described],
    first_stage: frozenset[str],
) -> tuple[UnderWay, pd.Index]:
    """The open lines of works that are told together, as the analysis asks about them; and where they stand in the frame."""
    at = opened["place"].to_numpy(dtype=np.int64)
    asked = every.take(at)
    people = learnt.calibration.joint.lines.people
    n = len(opened)
    so_far, done, treated, said_at = (opened[name].to_numpy(dtype=float) for name in ("actual_hours", "said_done", "treated", "said_at"))
    last = opened["said_last"].fillna(False).to_numpy(dtype=bool)
    # how much there is to treat is what was quoted, and how much more there usually is
    grown, may_grow = learnt.calibration.joint.growth.of(asked.phase, asked.technique)
    quoted = opened["estimated_quantity"].to_numpy(dtype=float)
    all_over = ((opened["unit"] == "dm2") & (opened["estimated_quantity"] >= _WHOLE * opened["area_dm2"])).to_numpy(dtype=bool)
    grown, may_grow = np.where(all_over, 0.0, grown), np.where(all_over, _AS_MEASURED, may_grow)  # there is no more of it than the whole picture
    measured = np.isnan(done) & (treated > 0) & (quoted > 0)
    whole = measured & last & (treated >= _WHOLE * quoted)
    by_quantity = measured & ~whole
    with np.errstate(divide="ignore", invalid="ignore"):
        still_more = special.ndtr((grown - np.log(treated / quoted * (2 - _WHOLE))) / np.sqrt(may_grow))
    part = np.minimum(np.divide(treated, quoted * np.exp(grown), out=np.full(n, np.nan), where=by_quantity), _AS_GOOD_AS_ALL)
    by_done = (done > 0) & (done < _ALL_DONE)
    shares, sds = zip(learnt.by_done.passed(np.where(by_done, done / _ALL_DONE, 0.5)), learnt.by_quantity.passed(np.where(by_quantity, part, 0.5)), strict=True)
    said = np.where(by_done, shares[0], np.where(by_quantity, shares[1], np.nan))
    said_sd = np.where(by_done, sds[0], np.where(by_quantity, np.sqrt(sds[1] ** 2 + may_grow), np.nan))
    stands_open = np.where(whole, still_more, goes_on[at])
    surely = (by_done & (done < _ALL_DONE * _NEARLY)) | (by_quantity & (part < _NEARLY))
    named = {name: lines[lines["object"] == name] for name in group}
    return UnderWay(
        lines=Lines(people=people, **{one.name: getattr(asked, one.name) for one in fields(Lines) if one.name not in ("people", "shares")}, shares=named_shares(asked.person, people)),
        works={name: described[name] for name in group}, finished_hours={name: float(of.loc[~of["open"], "actual_hours"].sum()) for name, of in named.items()}, so_far=so_far,
        all_done=(done >= _ALL_DONE) & last, said_at=np.where(np.isnan(said), np.nan, said_at), said=said, said_sd=said_sd, goes_on=np.where(surely, 1.0, stands_open), left=left[at], whole=whole, in_estimate=opened["in_estimate"].to_numpy(dtype=bool),
        pinned=np.array([learnt.pinned.get(t, 0.0) for t in asked.technique.tolist()]), bears_on=learnt.bears_on, agreed_in_part=first_stage & frozenset(group),
    ), opened.index  # fmt: skip


def _with_ends(lines: pd.DataFrame, told: list[pd.DataFrame]) -> pd.DataFrame:
    """Lines with where they end: what is finished at what it took."""
    ends = pd.concat(told) if told else pd.DataFrame(columns=[*NAMES, "mean"], dtype=float)
    found = lines.join(ends)
    for name in (*NAMES, "mean"):
        found[name] = found[name].where(found["open"], found["actual_hours"]).astype(float)  # of works without an estimate open lines have none
    return found.assign(all_done=(found["said_done"] >= _ALL_DONE) & found["said_last"].fillna(False).astype(bool) & found["open"])


def _works(on_bench: pd.DataFrame, lines: pd.DataFrame, approved: pd.DataFrame, foretold: Mapping[str, Forecast], studio: Settings) -> pd.DataFrame:
    """One row a work; see `Bench`."""
    rows = []
    for name in on_bench.index:
        ends, of = foretold.get(name), lines[lines["object"] == name]
        about = {
            "object": name, "actual_hours": float(of["actual_hours"].sum()), "commission": on_bench.loc[name, "commission"], "begun": bool(on_bench.loc[name, "begun"]),
            "yardstick": on_bench.loc[name, "yardstick"], "first_stage": False, "first_day": on_bench.loc[name, "first_day"], "last_day": on_bench.loc[name, "last_day"],
        }  # fmt: skip
        if ends is None:  # what is to be done on it nobody has said yet
            rows.append(about)
            continue
        promise, total = approved.loc[name] if name in approved.index else None, ends.totals[name]
        hours = float(promise["approved_hours"]) if promise is not None and pd.notna(promise["approved_hours"]) else np.nan
        even = _break_even(promise, studio)
        above = total[total > hours] - hours if not np.isnan(hours) else np.zeros(0)
        estimated = of["estimated_hours"].to_numpy(dtype=float)
        share = of["said_done"].to_numpy(dtype=float) / _ALL_DONE
        plain = earned.earned(estimated, of["actual_hours"].to_numpy(dtype=float), share, of["finished"].to_numpy(dtype=bool))
        rows.append(about | {
            "approved_hours": hours, **dict(zip(NAMES, np.quantile(total, LEVELS).tolist(), strict=True)),
            "chance_over_approved": chance_over(total, hours) if not np.isnan(hours) else np.nan, "hours_over": hours_over(total, hours) if not np.isnan(hours) else np.nan,
            "over_if": float(np.median(above)) if len(above) else 0.0, "break_even_hours": even, "chance_over_break_even": chance_over(total, even) if not np.isnan(even) else np.nan,
            "luck": ends.luck[name], "earned_hours": earned.at_completion(float(np.nansum(estimated)), plain, float(of["actual_hours"].sum())) if np.nansum(estimated) > 0 else np.nan,
            "first_stage": bool(promise is not None and promise["first_stage"]),
        })  # fmt: skip
    columns = [
        *FORECAST_KEYS,
        "hours_over",
        "over_if",
        "break_even_hours",
        "chance_over_break_even",
        "luck",
        "earned_hours",
        "commission",
        "begun",
        "yardstick",
        "first_stage",
        "first_day",
        "last_day",
    ]
    found = pd.DataFrame(rows, columns=columns)
    numbers = [name for name in columns if name not in _NO_NUMBERS]
    found[numbers] = found[numbers].astype(float)
    return found.sort_values(["hours_over", "object"], ascending=[False, True], na_position="last", ignore_index=True)


def _break_even(promise: pd.Series | None, studio: Settings) -> float:
    """Hours from which the studio works for nothing: what the price leaves after tax and costs, by what an hour must earn; not a number where that is not known."""
    if promise is None or pd.isna(promise["price"]) or promise["currency"] != studio.currency or not (studio.yearly_cost and studio.chargeable_hours):
        return float("nan")
    tax = promise["tax"] if pd.notna(promise["tax"]) else studio.tax_per_cent or 0.0
    earns = float(promise["price"]) / (1 + float(tax) / 100) - (float(promise["costs"]) if pd.notna(promise["costs"]) else 0.0)
    return earns / (studio.yearly_cost / studio.chargeable_hours) if earns > 0 else float("nan")


def _commissions(works: pd.DataFrame, foretold: Mapping[str, Forecast]) -> pd.DataFrame:
    rows = []
    for name, of in works[works["commission"].notna()].groupby("commission"):
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
        works = bench(con, one, memory, only=known_object, draws=HISTORY_DRAWS).works
        rows.append(works[works["object"] == known_object].assign(day=pd.Timestamp(one)))
        progress_of(number + 1, len(days))
    found = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=["day", *FORECAST_KEYS])
    return found.loc[found["p50"].notna(), ["day", *FORECAST_KEYS[1:]]].reset_index(drop=True)
