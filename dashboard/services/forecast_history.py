"""The forecasts of a work on past days."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pandas as pd

from dashboard import queries
from dashboard.analysis.simulation.totals import DRAWS
from dashboard.services.forecast import bench
from dashboard.services.forecast_works import FORECAST_KEYS
from dashboard.services.result_cache import ResultCache
from ingest.sql import Connection

MOST_DAYS = 40
HISTORY_DRAWS = 8_000


def history(
    con: Connection,
    as_of: date,
    known_object: str,
    memory: ResultCache,
    progress_of: Callable[[int, int], None] = lambda _done, _all: None,
) -> pd.DataFrame:
    """What would have been told of a work on each day on which something was logged on it, from what was
    known on that day alone.

    Returns
    -------
    Frame `day`, `approved_hours`, `actual_hours`, `p10`, `p50`, `p80`, `p90`, `chance_over_approved`, by day;
    of very many days so many, evenly chosen, and always the first and the last.
    """
    logged = queries.hours_by_day(con, as_of, [known_object])
    days = sorted({day.date() for day in logged["day"]} | {as_of})
    if len(days) > MOST_DAYS:
        days = [days[number] for number in np.unique(np.linspace(0, len(days) - 1, MOST_DAYS).astype(int))]
    rows = []
    for number, past_day in enumerate(days):
        works = bench(
            con,
            past_day,
            memory,
            known_object,
            lambda *_, done=number: progress_of(done, len(days)),
            DRAWS if past_day == as_of else HISTORY_DRAWS,
        ).works
        rows.append(works[works["object"] == known_object].assign(day=pd.Timestamp(past_day)))
        progress_of(number + 1, len(days))
    forecasts = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=["day", *FORECAST_KEYS])
    return forecasts.loc[forecasts["p50"].notna(), ["day", *FORECAST_KEYS[1:]]].reset_index(drop=True)


def since(
    con: Connection,
    as_of: date,
    known_object: str,
    memory: ResultCache,
    chance: float,
    progress_of: Callable[[int, int], None] = lambda _done, _all: None,
) -> date | None:
    """The day from which on a work was foretold to end above what was approved with at least such a chance,
    by the days on which it was worked; None where that is not so today.

    Looked for backwards in growing steps and then between them, so that few days are foretold again: what was
    above in between and not at either end is not seen.
    """

    def above(day: date) -> bool:
        progress_of(0, 0)  # how many days it takes nobody knows beforehand
        works = bench(con, day, memory, known_object, progress_of, HISTORY_DRAWS).works
        chances = works.loc[works["object"] == known_object, "chance_over_approved"]
        return bool((chances >= chance).any())

    days = sorted({day.date() for day in queries.hours_by_day(con, as_of, [known_object])["day"]} | {as_of})
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
