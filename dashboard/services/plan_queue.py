"""The queue of works on the bench, and what is left of each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.data.levels import with_marked
from dashboard.analysis.simulation import waiting_times
from dashboard.analysis.simulation.schedule import WHOEVER, Work
from dashboard.services.forecast import Bench
from dashboard.services.open_lines import LINE
from ingest.sql import Connection
from ingest.studio.settings import Settings
from ingest.values.spelling import folded

_DAY = timedelta(days=1)
# finished works with an estimate; while there are fewer the usual spread of the log of actual by estimated
# hours is taken (common practice, no source)
_ENOUGH_WORKS = 5
_USUAL_SPREAD = 0.3
_MOST_SPREAD = 1.0


def queue_of(
    frame: pd.DataFrame, about: pd.DataFrame, approved: pd.DataFrame, studio: Settings
) -> pd.DataFrame:
    """The works in the order in which they are taken up: those put first by hand, then by the day they are
    due, those that are due on none by the day they were promised.
    """
    by_hand = {
        folded(code): place
        for place, code in enumerate(filter(None, map(str.strip, studio.put_first.split(";"))))
    }
    queue = frame[["object", "begun", "first_day"]].assign(
        due_on=about["due_on"].to_numpy(), waits_until=about["waits_until_there"].to_numpy()
    )
    queue["promised_on"] = (
        approved["approved_on"]
        .reindex(queue["object"])
        .fillna(queue.set_index("object")["first_day"])
        .to_numpy()
    )
    queue["by_hand"] = [by_hand.get(folded(code), len(by_hand)) for code in queue["object"]]
    queue["first"] = queue["by_hand"] < len(by_hand)
    return queue.sort_values(
        ["by_hand", "due_on", "promised_on", "object"], ignore_index=True, na_position="last"
    ).drop(columns=["by_hand", "first_day"])


# 100 lines: hours and waits of lines and discoveries stay in step, row by row
def scheduled_works(
    con: Connection,
    as_of: date,
    bench: Bench,
    queue: Sequence[str],
    about: pd.DataFrame,
    every_line: pd.DataFrame,
    people: Sequence[str],
    studio: Settings,
) -> list[Work]:
    """What is left of each work, line by line in the order of work, with what may still turn up behind the
    lines of its phase.
    """
    first_day = as_of + _DAY
    open_now = ~bench.lines["finished"].astype(bool) & bench.lines["object"].isin(queue)
    steps = bench.lines.loc[open_now, [*LINE, "position", "actual_hours", "unattended_hours", "all_done"]]
    draws = bench.drawn.shape[1]
    hours = np.maximum(
        bench.drawn[np.flatnonzero(open_now)].astype(float)
        - steps["actual_hours"].to_numpy(dtype=float)[:, None],
        0.0,
    )
    steps = steps.merge(queries.planned_lines(con, as_of, queue), on=LINE, how="left")
    steps = steps.merge(queries.who_did(con, as_of), on=LINE, how="left", suffixes=("", "_so_far"))
    number = {name: place for place, name in enumerate(people)}
    who = [
        next(
            (number[item] for item in (planned, so_far) if isinstance(item, str) and item in number), WHOEVER
        )
        for planned, so_far in zip(steps["person"], steps["person_so_far"], strict=True)
    ]
    pairs = [(name, item.discovery) for name in queue for item in bench.discoveries.get(name, ())]
    positions = queries.phase_positions(con)
    steps = with_marked(steps)
    steps = (
        pd.concat(
            [
                steps[
                    ["object", "position", "technique", "planned_wait_hours", "unattended_hours", "all_done"]
                ].assign(person=who),
                pd.DataFrame(
                    {
                        "object": [name for name, _ in pairs],
                        "position": [positions.get(discovery.phase, 0) + 0.5 for _, discovery in pairs],
                        "technique": [discovery.technique for _, discovery in pairs],
                        "planned_wait_hours": np.full(len(pairs), np.nan),
                        "unattended_hours": np.zeros(len(pairs)),
                        "all_done": np.zeros(len(pairs), dtype=bool),
                        "person": np.full(len(pairs), WHOEVER),
                    }
                ),
            ],
            ignore_index=True,
        )
        if pairs
        else steps.assign(person=who)
    )
    hours = np.concatenate(
        [
            hours,
            *(bench.discoveries_drawn[name].astype(float) for name in queue if bench.discoveries.get(name)),
        ]
    )
    waits = waiting_times.draw_hours(
        waiting_times.learn(with_marked(every_line)),
        steps["technique"].to_numpy(dtype=str),
        steps["planned_wait_hours"].to_numpy(dtype=float),
        draws,
    )
    left = np.maximum(waits - steps["unattended_hours"].to_numpy(dtype=float)[:, None], 0.0)
    left[len(who) :] *= hours[len(who) :] > 0  # what does not turn up does not dry
    zone = ZoneInfo(studio.zone)
    begins = datetime.combine(first_day, datetime.min.time(), zone).astimezone(UTC).replace(tzinfo=None)
    in_hand = queries.waiting_in_hand(con, begins)
    keys = list(bench.lines.loc[open_now, LINE].itertuples(index=False, name=None))
    pressing = {
        place: (begins - in_hand[key]) / timedelta(hours=1)
        for place, key in enumerate(keys)
        if key in in_hand
    }
    starts = {str(name): row for name, row in about[["received_on", "waits_until_there"]].iterrows()}
    over = steps["all_done"].to_numpy(dtype=bool)
    left[[place for place in np.flatnonzero(over).tolist() if place not in pressing]] = 0.0
    scheduled = []
    for code in queue:
        its = np.flatnonzero((steps["object"] == code).to_numpy())
        its = its[np.argsort(steps["position"].to_numpy(dtype=float)[its], kind="stable")]
        in_press = np.zeros(draws)
        for place in its.tolist():
            if place in pressing:  # what is in the press is so before anything else is done to the work
                in_press = np.maximum(in_press, np.maximum(left[place] - pressing[place], 0.0))
                left[place] = 0.0
        scheduled.append(
            Work(
                hours=np.concatenate([np.zeros((1, draws)), hours[its]]),
                waits=np.concatenate([in_press[None, :], left[its]]) / waiting_times.HOURS_A_DAY,
                person=np.concatenate([[WHOEVER], steps["person"].to_numpy(dtype=np.int64)[its]]),
                ready=_ready(starts[code], first_day),
            )
        )
    return scheduled


def _ready(work: pd.Series, first_day: date) -> float:
    """Days from the first on which a work is there, and what was logged as waiting has ended."""
    start = pd.Timestamp(first_day)
    moments = [moment for moment in (work["received_on"], work["waits_until_there"]) if pd.notna(moment)]
    return max([0.0, *(float((moment - start) / pd.Timedelta(days=1)) for moment in moments)])


def estimate_spread(lines: pd.DataFrame) -> float:
    """How far finished works were from their estimates: standard deviation of the log."""
    by_work = lines.groupby("object").agg(
        finished=("finished", "all"), estimated=("estimated_hours", "sum"), actual=("actual_hours", "sum")
    )
    done = by_work[by_work["finished"].astype(bool) & (by_work["estimated"] > 0) & (by_work["actual"] > 0)]
    if len(done) < _ENOUGH_WORKS:
        return _USUAL_SPREAD
    return float(min(np.log(done["actual"] / done["estimated"]).std(), _MOST_SPREAD))
