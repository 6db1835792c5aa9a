"""From the database to when the works on the bench leave: what is left of them, the hours that people have, and what waits meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import duckdb
import numpy as np
import pandas as pd

from dashboard import forecasting, reading
from dashboard.analysis import bench_weeks, forecast, schedule, waiting
from dashboard.analysis.mixed import Floats
from dashboard.analysis.schedule import WHOEVER, BenchTime, Work
from dashboard.bench_lines import LINE
from dashboard.forecasting import Bench
from dashboard.remembered import Memory
from ingest import notation
from ingest.absences import Absence, read_absences
from ingest.amounts import read_named
from ingest.errors import BenchHoursError
from ingest.notation import folded
from ingest.settings import WEEKDAYS, Settings, read_settings

WEEKS_LOOKED_BACK, SHOWN_WEEKS = 26, 26
SHOWN_DRAWS = 200
LEVELS = (0.1, 0.5, 0.8, 0.9)
LEAVES = tuple(f"leaves_p{round(100 * level)}" for level in LEVELS)
_DAY = timedelta(days=1)
_LEAST_DAYS, _MOST_DAYS = 7 * SHOWN_WEEKS, 3_650
_ROOM = 1.6  # of the days that all hours would fill, by which it is looked further ahead
_ENOUGH_WORKS, _USUAL_SPREAD = (
    5,
    0.3,
)  # finished works with an estimate, and what is taken of the log of actual by estimated hours while there are fewer (common practice, no source)
_MOST_SPREAD = 1.0
_FEW_WEEKS = 4
_SEED = 8_414


@dataclass(frozen=True, slots=True, kw_only=True)
class AtTheBench:
    """One person's hours in an ordinary week: as `said` under Studio, as the `record` has them, spread over the weeks since the first where there are `few`, or what is `usual` here; `weeks` of the last half-year have `logged` hours each on
    average (not a number: none); `leaves_on` : from that day on there are none."""

    person: str
    weekly: float
    source: str
    weeks: int
    logged: float
    leaves_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """When works leave the bench.

    Attributes
    ----------
    first_day : the first that is planned, the day behind the one that it is told of.
    works : frame, one row a work in the order in which they are taken up: `object`, `bench_p50`, `bench_p80` (hours still to come), `leaves_p10` … `leaves_p90` (days), `alone_p50` (likewise, were it alone on the
        bench), `queue_days` (that it stands behind others, at even chance), `waiting_days` (alone, at even chance), `due_on`, `chance_late` (null: not due), `first` (put first by hand), `begun`, `waits_until` (on the
        studio's clock; something presses or dries now), `promised_on` (approved, or begun).
    weeks : frame `week` (its Monday), `object`, `hours` (expected), `waiting` (0 to 1: how likely it waits alone in the middle of the week); days : frame `day`, `hours`, `bench_hours` (that people have), `waiting` (works that wait, expected),
        `object` (the one with most hours; empty: none), `away`.
    people : whose hours are planned with. absences : those that are still to come.
    unknown_names : that stand in hours of people or in absences, and nobody here is called so. without_estimate : codes of works that are begun and have no estimate: they are in no plan. spread : of the log of actual by estimated hours of finished works, for a work nobody has measured.
    queue : the works as they stand; bench : the hours of people: for a work more.
    """

    first_day: date
    works: pd.DataFrame
    weeks: pd.DataFrame
    days: pd.DataFrame
    people: tuple[AtTheBench, ...]
    absences: tuple[Absence, ...]
    unknown_names: tuple[str, ...]
    without_estimate: tuple[str, ...]
    spread: float
    queue: tuple[Work, ...]
    bench: BenchTime

    @property
    def free_from(self) -> date | None:
        """Monday of the first week in which half of the bench hours are free, as far as is looked ahead; None where there is none."""
        if self.days.empty:
            return None
        by_week = self.days.groupby(self.days["day"] - pd.to_timedelta(self.days["day"].dt.day_of_week, "D"))[["hours", "bench_hours"]].sum()
        free = by_week[(by_week["bench_hours"] > 0) & (by_week["hours"] <= by_week["bench_hours"] / 2)]
        return None if free.empty else max(free.index[0].date(), self.first_day)


def plan(
    con: duckdb.DuckDBPyConnection, as_of: date, memory: Memory, bench: Bench | None = None, progress_of: Callable[[int, int], None] = lambda _done, _all: None
) -> Plan:
    """When the works on the bench leave, as things stood on a day; from the day behind it on.

    Parameters
    ----------
    bench : where they end, where that is known already.
    """
    bench = bench or forecasting.bench(con, as_of, memory, progress_of=progress_of)
    studio, first_day = read_settings(con), as_of + _DAY
    every_line = reading.overruns(con, as_of)
    told = bench.works[bench.works["p50"].notna()]
    about = reading.works(con, as_of).set_index("object").reindex(told["object"])
    absences = tuple(one for one in read_absences(studio.absences) if one.last >= first_day)
    spellings = reading.spellings(con)
    known = reading.people(con)
    known = known[known["left_on"].isna() | (known["left_on"] > pd.Timestamp(as_of))].set_index("person")
    people, logged = _people(con, as_of, studio, spellings, known["left_on"])
    queue = _queue(told, about, reading.approved_promises(con, as_of).set_index("object"), studio)
    works = _works(con, as_of, bench, queue["object"].tolist(), about, every_line, [one.person for one in people], studio)
    draws = works[0].hours.shape[1] if works else forecast.KEPT
    ahead = _days_ahead(works, people, max(((one.last - first_day).days + 1 for one in absences), default=0))
    time = _bench_time(people, logged, absences, spellings, studio, first_day, ahead, draws)
    course = schedule.course(works, time, SHOWN_DRAWS)
    alone = np.stack([schedule.course([one], time).leaves[0] for one in works]) if works else np.zeros((0, draws))
    codes, shown = queue["object"].tolist(), min(SHOWN_DRAWS, draws)
    hours = time.by_day(course.worked, len(codes), SHOWN_WEEKS * 7, shown)
    waits = schedule.waiting_by_day(course.waited, len(codes), SHOWN_WEEKS * 7, shown)
    return Plan(
        first_day=first_day, works=_told(queue, told, course.leaves, alone, np.stack([one.waits.sum(axis=0) for one in works]) if works else alone, first_day),
        weeks=_weeks(codes, hours, waits, first_day), days=_days(codes, hours, waits, time.of_day(SHOWN_WEEKS * 7, shown), absences, first_day), people=people, absences=absences,
        unknown_names=unknown_names(con, studio.bench_hours_of_people, studio.absences), without_estimate=tuple(bench.works.loc[bench.works["p50"].isna(), "object"]), spread=_spread(every_line), queue=tuple(works), bench=time,
    )  # fmt: skip


MOST_HOURS, MOST_DAYS = 10_000, 3_650  # of a new work that is asked about: at the bench, and waiting alone
HOURS_OF_NEW, DAYS_OF_NEW = "Hours at the bench, even chance", "Days it presses and dries alone"


def read_new_work(hours_said: str, days_said: str) -> tuple[float, float]:
    """Hours and days of a new work as they are typed into the fields of these names; no days are none."""
    return (
        notation.number_called(HOURS_OF_NEW, hours_said.strip(), MOST_HOURS, read=notation.hours),
        notation.number_called(DAYS_OF_NEW, days_said.strip() or "0", MOST_DAYS, or_zero=True),
    )


def with_one_more(known: Plan, hours: float, waiting_days: float, *, first: bool) -> tuple[date, date, date, date]:
    """When a work more would leave that takes about so many hours at even chance and waits so many days alone, at `LEVELS`; behind all that are there, or before them."""
    draws = known.bench.draws
    luck = np.random.default_rng(_SEED).standard_normal((2, draws))
    one = Work(
        hours=np.stack([hours * np.exp(known.spread * luck[0]) / 2] * 2), waits=np.stack([waiting_days * np.exp(waiting.SPREAD * luck[1]), np.zeros(draws)]),
        person=np.full(2, WHOEVER),
    )  # fmt: skip
    works = [one, *known.queue] if first else [*known.queue, one]
    leaves = schedule.course(works, known.bench).leaves[0 if first else -1]
    return _as_days(leaves, known.first_day)


def quoted_work(known: Plan, name: str, hours: Floats, waiting_days: Floats, there_on: date | None = None) -> Work:
    """A work as it is quoted, for a plan.

    Parameters
    ----------
    name : by which its draws are brought into an order of their own. hours, waiting_days : (draws,) equally likely hours at the bench that are still to come, and days that it waits alone.
    there_on : the day on which it comes in, where that is known.
    """
    draws = known.bench.draws
    order = forecast.apart(name, draws)
    to_come = np.maximum(np.resize(hours, draws)[order], 0.0)
    return Work(
        hours=np.stack([to_come / 2] * 2), waits=np.stack([np.resize(waiting_days, draws)[order], np.zeros(draws)]), person=np.full(2, WHOEVER),
        ready=float(max((there_on - known.first_day).days, 0)) if there_on else 0.0,
    )  # fmt: skip


def with_quoted(known: Plan, quoted: Sequence[tuple[str, Work]]) -> tuple[date, date, date, date] | None:
    """When the last of some quoted works leaves, at `LEVELS`; None where it is too far off to be told.

    Parameters
    ----------
    quoted : the code of each, and the work: one that is in the plan keeps its place there, any other stands behind all that are, in this order.
    """
    queue, codes, place = list(known.queue), known.works["object"].tolist(), 0
    for code, work in quoted:
        if code and code in codes:
            place = codes.index(code)
            queue[place] = replace(work, ready=queue[place].ready)
        else:
            place = len(queue)
            queue.append(work)
            codes.append(code)
    weekly = sum(one.weekly for one in known.people)
    hours, waits = (
        sum(float(np.quantile(every.sum(axis=0), LEVELS[-1])) for every in those) for those in ([one.hours for one in queue], [one.waits for one in queue])
    )
    if hours / weekly * bench_weeks.DAYS_A_WEEK + waits > _MOST_DAYS:  # a slip of the pen must not keep a letter waiting either
        return None
    return _as_days(schedule.course(queue, known.bench).leaves[place], known.first_day)


def _as_days(leaves: Floats, first_day: date) -> tuple[date, date, date, date]:
    """The days by which something has left, at `LEVELS`."""
    p10, p50, p80, p90 = (first_day + timedelta(days=int(value)) for value in np.quantile(np.floor(leaves), LEVELS, method="inverted_cdf"))
    return p10, p50, p80, p90


# --- who, and how many hours


def _people(
    con: duckdb.DuckDBPyConnection, as_of: date, studio: Settings, spellings: Mapping[str, str], known: pd.Series
) -> tuple[tuple[AtTheBench, ...], dict[str, Floats]]:
    """Who has hours at the bench, and what each logged in past weeks; `known`: by person who is there, the day on which they leave (null: none)."""
    weeks = reading.bench_weeks(con, as_of, WEEKS_LOOKED_BACK)
    logged = {str(person): of["hours"].to_numpy(dtype=float) for person, of in weeks.groupby("person")}
    since = {str(person): (pd.Timestamp(as_of) - first).days // 7 + 1 for person, first in weeks.groupby("person")["week"].min().items()}
    said = {spellings.get(folded(name), name): float(amount) for name, amount in read_named(studio.bench_hours_of_people, "hours", "Ilse 24")}
    said = {person: hours for person, hours in said.items() if person in known.index or known.empty}
    told = bool(said) or any(len(of) >= bench_weeks.ENOUGH_WEEKS for of in logged.values())
    found = []
    for person in sorted(said.keys() | (logged.keys() & set(known.index))):
        of = logged.get(person, np.zeros(0))
        mean = float(of.mean()) if len(of) else float("nan")
        if person in said:
            weekly, source = said[person], "said"
        elif len(of) >= bench_weeks.ENOUGH_WEEKS:
            weekly, source = mean, "record"
        elif told:  # a visitor of one afternoon is no second bench
            weekly, source = float(of.sum()) / max(since[person], _FEW_WEEKS), "few"
        else:
            weekly, source = studio.bench_hours_per_week, "usual"
        leaves = known.get(person)
        found.append(
            AtTheBench(
                person=person,
                weekly=weekly,
                source=source,
                weeks=len(of),
                logged=mean,
                leaves_on=leaves.date() if leaves is not None and pd.notna(leaves) else None,
            )
        )
    found.sort(key=lambda one: (-one.weekly, one.person))
    return tuple(found) or (AtTheBench(person="", weekly=studio.bench_hours_per_week, source="usual", weeks=0, logged=float("nan"), leaves_on=None),), logged


def _days_ahead(works: Sequence[Work], people: Sequence[AtTheBench], away: int) -> int:
    """Days to be looked ahead: as long as the course of all works is likely to take, once the last of the absences (`away` days) is over."""
    if not works:
        return _LEAST_DAYS + away
    hours = float(sum(one.hours.sum(axis=0).mean() for one in works))
    waits = max(float(one.waits.sum(axis=0).max()) for one in works)
    weekly = sum(one.weekly for one in people)
    return away + int(np.clip(hours / weekly * bench_weeks.DAYS_A_WEEK * _ROOM + waits + bench_weeks.DAYS_A_WEEK, _LEAST_DAYS, _MOST_DAYS))


def _bench_time(
    people: Sequence[AtTheBench],
    logged: Mapping[str, Floats],
    absences: Sequence[Absence],
    spellings: Mapping[str, str],
    studio: Settings,
    first_day: date,
    days: int,
    draws: int,
) -> BenchTime:
    worked = studio.bench_days.split()
    shares = np.array([1 / len(worked) if day in worked else 0.0 for day in WEEKDAYS])
    hours = []
    for number, one in enumerate(people):
        present = np.ones(days)
        for absence in absences:
            if not absence.person or spellings.get(folded(absence.person), absence.person) == one.person:
                present[max((absence.first - first_day).days, 0) : max((absence.last - first_day).days + 1, 0)] = 0.0
        if one.leaves_on:
            present[max((one.leaves_on - first_day).days, 0) :] = 0.0
        hours.append(bench_weeks.draw_days(one.weekly, logged.get(one.person, np.zeros(0)), shares, present, first_day.weekday(), draws, number))
    return BenchTime(np.stack(hours), np.array([one.weekly / bench_weeks.DAYS_A_WEEK for one in people]))


def unknown_names(con: duckdb.DuckDBPyConnection, hours_of_people: str, absences: str) -> tuple[str, ...]:
    """Names that say something of nobody here; none where nobody is known yet. What cannot be read names nobody."""
    spellings = reading.spellings(con)
    try:
        named = [name for name, _ in read_named(hours_of_people, "hours", "Ilse 24")] + [one.person for one in read_absences(absences) if one.person]
    except BenchHoursError:
        return ()
    return tuple(dict.fromkeys(name for name in named if folded(name) not in spellings)) if spellings else ()


# --- what is left


def _queue(told: pd.DataFrame, about: pd.DataFrame, approved: pd.DataFrame, studio: Settings) -> pd.DataFrame:
    """The works in the order in which they are taken up: those put first by hand, then by the day they are due, those that are due on none by the day they were promised."""
    by_hand = {folded(code): place for place, code in enumerate(filter(None, map(str.strip, studio.put_first.split(";"))))}
    found = told[["object", "begun", "first_day"]].assign(due_on=about["due_on"].to_numpy(), waits_until=about["waits_until_there"].to_numpy())
    found["promised_on"] = approved["approved_on"].reindex(found["object"]).fillna(found.set_index("object")["first_day"]).to_numpy()
    found["by_hand"] = [by_hand.get(folded(code), len(by_hand)) for code in found["object"]]
    found["first"] = found["by_hand"] < len(by_hand)
    return found.sort_values(["by_hand", "due_on", "promised_on", "object"], ignore_index=True, na_position="last").drop(columns=["by_hand", "first_day"])


def _works(
    con: duckdb.DuckDBPyConnection,
    as_of: date,
    bench: Bench,
    queue: Sequence[str],
    about: pd.DataFrame,
    every_line: pd.DataFrame,
    people: Sequence[str],
    studio: Settings,
) -> list[Work]:
    """What is left of each work, line by line in the order of work, with what may still turn up behind the lines of its phase."""
    first_day = as_of + _DAY
    open_now = ~bench.lines["finished"].astype(bool) & bench.lines["object"].isin(queue)
    steps = bench.lines.loc[open_now, [*LINE, "position", "actual_hours", "unattended_hours", "all_done"]]
    draws = bench.drawn.shape[1]
    hours = np.maximum(bench.drawn[np.flatnonzero(open_now)].astype(float) - steps["actual_hours"].to_numpy(dtype=float)[:, None], 0.0)
    steps = steps.merge(reading.planned_lines(con, as_of, queue), on=LINE, how="left")
    steps = steps.merge(reading.who_did(con, as_of), on=LINE, how="left", suffixes=("", "_so_far"))
    number = {name: place for place, name in enumerate(people)}
    who = [
        next((number[one] for one in (planned, so_far) if isinstance(one, str) and one in number), WHOEVER)
        for planned, so_far in zip(steps["person"], steps["person_so_far"], strict=True)
    ]
    pairs = [(name, one.found) for name in queue for one in bench.found.get(name, ())]
    positions = {str(phase): int(position) for phase, position in con.execute("SELECT phase, position FROM phases").fetchall()}
    steps = pd.concat([
        steps[["object", "position", "technique", "planned_wait_hours", "unattended_hours", "all_done"]].assign(person=who),
        pd.DataFrame({
            "object": [name for name, _ in pairs], "position": [positions.get(one.phase, 0) + 0.5 for _, one in pairs], "technique": [one.technique for _, one in pairs],
            "planned_wait_hours": np.full(len(pairs), np.nan), "unattended_hours": np.zeros(len(pairs)), "all_done": np.zeros(len(pairs), dtype=bool),
            "person": np.full(len(pairs), WHOEVER),
        }),
    ], ignore_index=True) if pairs else steps.assign(person=who)  # fmt: skip
    hours = np.concatenate([hours, *(bench.found_drawn[name].astype(float) for name in queue if bench.found.get(name))])
    waits = waiting.draw_hours(waiting.learn(every_line), steps["technique"].to_numpy(dtype=str), steps["planned_wait_hours"].to_numpy(dtype=float), draws)
    left = np.maximum(waits - steps["unattended_hours"].to_numpy(dtype=float)[:, None], 0.0)
    left[len(who) :] *= hours[len(who) :] > 0  # what does not turn up does not dry
    zone = ZoneInfo(studio.zone)
    begins = datetime.combine(first_day, datetime.min.time(), zone).astimezone(UTC).replace(tzinfo=None)
    in_hand = reading.waiting_in_hand(con, begins)
    keys = list(bench.lines.loc[open_now, LINE].itertuples(index=False, name=None))
    pressing = {place: (begins - in_hand[key]) / timedelta(hours=1) for place, key in enumerate(keys) if key in in_hand}
    starts = {str(name): row for name, row in about[["received_on", "waits_until_there"]].iterrows()}
    over = steps["all_done"].to_numpy(dtype=bool)
    left[[place for place in np.flatnonzero(over).tolist() if place not in pressing]] = 0.0
    found = []
    for code in queue:
        its = np.flatnonzero((steps["object"] == code).to_numpy())
        its = its[np.argsort(steps["position"].to_numpy(dtype=float)[its], kind="stable")]
        now = np.zeros(draws)
        for place in its.tolist():
            if place in pressing:  # what is in the press is so before anything else is done to the work
                now = np.maximum(now, np.maximum(left[place] - pressing[place], 0.0))
                left[place] = 0.0
        found.append(Work(
            hours=np.concatenate([np.zeros((1, draws)), hours[its]]), waits=np.concatenate([now[None, :], left[its]]) / waiting.HOURS_A_DAY,
            person=np.concatenate([[WHOEVER], steps["person"].to_numpy(dtype=np.int64)[its]]), ready=_ready(starts[code], first_day),
        ))  # fmt: skip
    return found


def _ready(work: pd.Series, first_day: date) -> float:
    """Days from the first on which a work is there, and what was logged as waiting has ended."""
    start = pd.Timestamp(first_day)
    moments = [moment for moment in (work["received_on"], work["waits_until_there"]) if pd.notna(moment)]
    return max([0.0, *(float((moment - start) / pd.Timedelta(days=1)) for moment in moments)])


def _spread(lines: pd.DataFrame) -> float:
    """How far finished works were from their estimates: standard deviation of the log."""
    by_work = lines.groupby("object").agg(finished=("finished", "all"), estimated=("estimated_hours", "sum"), actual=("actual_hours", "sum"))
    done = by_work[by_work["finished"].astype(bool) & (by_work["estimated"] > 0) & (by_work["actual"] > 0)]
    if len(done) < _ENOUGH_WORKS:
        return _USUAL_SPREAD
    return float(min(np.log(done["actual"] / done["estimated"]).std(), _MOST_SPREAD))


# --- as it is told


def _told(queue: pd.DataFrame, told: pd.DataFrame, leaves: Floats, alone: Floats, waits: Floats, first_day: date) -> pd.DataFrame:
    ends = told.set_index("object").loc[queue["object"]]
    day = pd.Timestamp(first_day)
    levels = np.quantile(np.floor(leaves), LEVELS, axis=1, method="inverted_cdf") if len(leaves) else np.zeros((len(LEVELS), 0))
    due = (queue["due_on"] - day) / pd.Timedelta(days=1)
    return queue.assign(
        bench_p50=(ends["p50"] - ends["actual_hours"]).to_numpy(), bench_p80=(ends["p80"] - ends["actual_hours"]).to_numpy(),
        **{name: day + pd.to_timedelta(values, "D") for name, values in zip(LEAVES, levels, strict=True)},
        alone_p50=day + pd.to_timedelta(np.quantile(np.floor(alone), 0.5, axis=1, method="inverted_cdf") if len(alone) else np.zeros(0), "D"),
        queue_days=np.maximum(np.median(leaves - alone, axis=1), 0.0) if len(leaves) else np.zeros(0), waiting_days=np.median(waits, axis=1) if len(waits) else np.zeros(0),
        chance_late=(np.floor(leaves) > due.to_numpy(dtype=float)[:, None]).mean(axis=1) if len(leaves) else np.zeros(0),
    ).assign(chance_late=lambda frame: frame["chance_late"].where(frame["due_on"].notna()))  # fmt: skip


def _weeks(codes: Sequence[str], hours: Floats, alone: Floats, first_day: date) -> pd.DataFrame:
    days = hours.shape[1]
    monday = pd.Timestamp(first_day) + pd.to_timedelta(np.arange(days), "D")
    monday -= pd.to_timedelta(monday.day_of_week, "D")
    frame = pd.DataFrame({
        "week": np.tile(monday, len(codes)), "object": np.repeat(np.array(codes, dtype=object), days), "hours": hours.ravel(), "waiting": alone.ravel()
    })  # fmt: skip
    found = frame.groupby(["week", "object"], as_index=False, sort=False).agg(hours=("hours", "sum"), waiting=("waiting", "mean"))
    return found[(found["hours"] >= 0.05) | (found["waiting"] >= 0.05)].sort_values(["week", "hours"], ascending=[True, False], ignore_index=True)


def _days(codes: Sequence[str], hours: Floats, alone: Floats, bench_hours: Floats, absences: Sequence[Absence], first_day: date) -> pd.DataFrame:
    days = hours.shape[1]
    most = hours.argmax(axis=0) if len(codes) else np.zeros(days, dtype=int)
    day = pd.Timestamp(first_day) + pd.to_timedelta(np.arange(days), "D")
    away = [", ".join(one.person or "everybody" for one in absences if one.first <= when.date() <= one.last) for when in day]
    return pd.DataFrame({
        "day": day, "hours": hours.sum(axis=0), "bench_hours": bench_hours, "waiting": alone.sum(axis=0),
        "object": [codes[one] if len(codes) and hours[one, number] >= 0.05 else "" for number, one in enumerate(most)], "away": away,
    })  # fmt: skip
