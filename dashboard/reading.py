"""Questions put to the database: each gives a frame, computed from what is stored."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime
from typing import Any

import duckdb
import pandas as pd

from dashboard.analysis.discovery import GRADES
from dashboard.analysis.record import Record
from ingest.errors import BenchHoursError
from ingest.notation import folded, look_alike, nearest_code
from ingest.records import OBJECTS
from ingest.settings import read_settings
from ingest.sql import statement
from ingest.vocabulary import read_vocabulary

QUERIES = "dashboard.queries"

# Keys of `overruns` that others depend on, in their order; more stand behind.
OVERRUN_KEYS = (
    "object", "phase", "technique", "part", "estimated_hours", "first_approved_hours", "actual_hours", "difference_hours",
    "more_to_do_hours", "slower_hours", "unforeseen_hours", "not_needed_hours", "finished",
)  # fmt: skip


_WAITING = """
SELECT v.object, max(v.version) AS version FROM standing_on($as_of) AS v JOIN yardsticks($as_of) AS y ON y.object = v.object
WHERE NOT y.approved OR v.version > y.version GROUP BY v.object
"""
_WAITING_IN_HAND = """
SELECT object, phase, technique, part, min(in_hand_since) AS since FROM spells_in_hand WHERE mode = 'unattended' AND object IS NOT NULL AND in_hand_since < $moment GROUP BY ALL ORDER BY ALL
"""
_ON_THE_BENCH = """
SELECT EXISTS (
    SELECT 1 FROM objects AS o WHERE (o.finished_on IS NULL OR o.finished_on > $as_of) AND (
        EXISTS (SELECT 1 FROM yardsticks($as_of) AS y WHERE y.object = o.object AND y.approved)
        OR EXISTS (SELECT 1 FROM spells AS s JOIN lines AS l ON l.line = s.line WHERE l.object = o.object AND s.charge = 'quoted' AND s.day <= $as_of)
    )
)
"""


def _frame(con: duckdb.DuckDBPyConnection, query: str, **values: object) -> pd.DataFrame:
    """The answer to one of our queries. By way of Arrow: a fifth faster than DuckDB's own frames, and the same types."""
    frame: pd.DataFrame = con.sql(statement(QUERIES, query), params=values).to_arrow_table().to_pandas()
    return frame


def overruns(con: duckdb.DuckDBPyConnection, as_of: date, known_object: str | None = None) -> pd.DataFrame:
    """Estimated against actual hours of every line as things stood on a day.

    Parameters
    ----------
    con : a cursor of the store.
    as_of : entries, versions, approvals and milestones after this day are left out.
    known_object : only this object; its code as held (see `known`).

    Returns
    -------
    Frame with `OVERRUN_KEYS` and `yardstick` (approved, made, none), `yardstick_version` (its number), `extra_hours`, `own_cost_hours`,
    `unattended_hours` (elapsed), `unit`, `estimated_quantity`, `actual_quantity`, `quantity_incomplete`, `done`
    (per cent), `discovery`, `entries`, `position` (of the phase), `finished_on` (timestamps; null while open), `last_day` (of the last entry that
    keeps it open). Hours are decimal; unknown is null.
    """
    frame = _frame(con, "overruns", as_of=as_of)
    return frame if known_object is None else frame[frame["object"] == known_object].reset_index(drop=True)


def record(con: duckdb.DuckDBPyConnection, before: date, *, by_day: bool = False) -> Record:
    """What teaches, of what was logged, estimated and finished before a day.

    Parameters
    ----------
    by_day : any earlier day can be told from it too, which costs a row for each day of a line.
    """
    return Record(
        lines=_frame(con, "teaching_lines"),
        days=_frame(con, "teaching_days", before=before, by_day=by_day),
        ends=_frame(con, "teaching_ends", before=before),
        estimates=_frame(con, "teaching_estimates", before=before),
        versions=_frame(con, "teaching_versions", before=before),
    )


def teaching_works(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The works, with what bears on what may turn up on them: `object`, `kind`, `support`, `area_dm2`, `structure_condition`, `paint_condition`, `surface_condition` (0 to 3)."""
    return _frame(con, "teaching_works")


def rated_techniques(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """Techniques that can have a rate, in the order of work: `technique`, `phase`, `unit` (empty: not measured), `cautions`, `position`, `retired`."""
    return _frame(con, "rated_techniques", as_of=as_of)


def pins(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """Rates that stood pinned on a day: `technique`, `pinned_rate` (hours per unit, or per line), `pinned_reason`, `pinned_on`, `pinned_by`."""
    return _frame(con, "pins", as_of=as_of)


def dated_hours(con: duckdb.DuckDBPyConnection, as_of: date, known_object: str) -> pd.DataFrame:
    """The dated hours of one object: `day`, `position` (of the phase), `phase`, `technique`, `part`, `charge`, `hours`, `unattended_hours`, `quantity`, `unit`, `note`."""
    return _frame(con, "statement", as_of=as_of, object=known_object)


def area_dm2(con: duckdb.DuckDBPyConnection, known_object: str) -> float | None:
    """Area of an object in dm², as said or by its shape and size; None where neither is known."""
    found: float | None = con.execute("SELECT area_dm2 FROM object_areas WHERE object = ?", [known_object]).fetchall()[0][0]
    return found


def known(con: duckdb.DuckDBPyConnection, text: str) -> str:
    """The held code of the object that a text names; raises with a suggestion."""
    codes: list[str] = [row[0] for row in con.execute("SELECT object FROM objects ORDER BY object").fetchall()]
    found = {folded(code): code for code in codes}.get(folded(text))
    if found is None:
        near = nearest_code(text, {look_alike(code): code for code in codes})
        raise BenchHoursError(f'there is no object "{text}"', f'Did you mean "{near}"?' if near else "Bring in objects first: bench-hours import objects.csv")
    return found


def holdings(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """How much is held: `objects`, `entries`, `versions`, `held_back` (open questions)."""
    row = con.execute(
        """SELECT (SELECT count(*) FROM objects), (SELECT count(*) FROM time_entries), (SELECT count(*) FROM estimate_versions),
        (SELECT count(*) FROM held_back WHERE decided IS NULL)"""
    ).fetchall()[0]
    return dict(zip(("objects", "entries", "versions", "held_back"), map(int, row), strict=True))


def today(con: duckdb.DuckDBPyConnection) -> date:
    """The present day on the studio's own calendar."""
    zone = con.execute("SELECT coalesce(max(value), 'UTC') FROM settings WHERE setting = 'zone'").fetchall()[0][0]
    found: date = con.execute("SELECT timezone(?, now())::DATE", [zone]).fetchall()[0][0]
    return found


def waiting_versions(con: duckdb.DuckDBPyConnection, as_of: date) -> dict[str, int]:
    """Of each work the latest version of its estimate that waits for the owner's word, later than the one that was approved."""
    return dict(con.execute(_WAITING, {"as_of": as_of}).fetchall())


def owners(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """The owners of works, as far as they are known: private."""
    return dict(con.execute("SELECT object, owner FROM objects WHERE owner IS NOT NULL").fetchall())


def anything_on_the_bench(con: duckdb.DuckDBPyConnection, as_of: date) -> bool:
    """Some work is not finished, and is begun or has an approved estimate."""
    found: bool = con.execute(_ON_THE_BENCH, {"as_of": as_of}).fetchall()[0][0]
    return found


def works(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """Every object, those on the bench first, the latest first.

    Returns
    -------
    Frame with the columns of the objects form (without the private ones), `versions`, `approved_version`,
    `approved_on`, `entries`, `first_day`, `last_day`, `last_technique`, `waits_until` (UTC, and `waits_until_there`, on the studio's clock), `has_draft`. Days are timestamps at midnight.
    """
    return _frame(con, "works", as_of=as_of, zone=read_settings(con).zone)


def work(con: duckdb.DuckDBPyConnection, known_object: str) -> dict[str, Any]:
    """One object as it is held, private columns included."""
    frame: pd.DataFrame = con.sql("SELECT * FROM objects WHERE object = ?", params=[known_object]).to_arrow_table().to_pandas()
    return {str(name): None if pd.isna(value) else value for name, value in frame.iloc[0].items()}


def of_owner(con: duckdb.DuckDBPyConnection, owner: str) -> list[str]:
    """Works that are of an owner, or of whom nobody has said of whom they are."""
    return [row[0] for row in con.execute("SELECT object FROM objects WHERE owner IS NULL OR owner = ? ORDER BY object", [owner]).fetchall()]


def person_hours(con: duckdb.DuckDBPyConnection, as_of: date, person: str) -> pd.DataFrame:
    """The lines on which a person has worked: `object`, `phase`, `technique`, `part`, and the counted `hours` of that person held against the estimate."""
    return _frame(con, "person_hours", as_of=as_of, person=person)


def progress(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """What was said along the way of lines, in order: `object`, `phase`, `technique`, `part`, `day`, `done` (per cent), `quantity` (treated by then), `hours` (by then), `all_hours`, `last` (nothing was logged on it
    since)."""
    return _frame(con, "progress", as_of=as_of)


def found_when(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """How far each work was, of its hours by that day, when each line of it was begun: `object`, `phase`, `technique`, `part`, `passed` (0 to 1)."""
    return _frame(con, "found_when", as_of=as_of)


def approved_promises(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """What the latest approved version of each work promises: `object`, `version`, `approved_on`, `approved_hours` (null: a line of it has no hours), `price`, `currency`, `costs` (without tax),
    `tax_in_price` and `tax_per_cent` (null: the version does not say, see `dashboard.prices`), `first_stage` (it is of a first stage alone)."""
    return _frame(con, "approved_promises", as_of=as_of)


def approved_lines(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """The lines of the latest approved version of each work: `object`, `phase`, `technique`, `part`, `hours`, `quantity` (null: not known), `person` (empty: nobody in particular), `unattended_hours`, `note`."""
    return _frame(con, "approved_lines", as_of=as_of)


def left_out(con: duckdb.DuckDBPyConnection, as_of: date) -> frozenset[tuple[str, str]]:
    """Works and techniques of which it was said, in the quote by which the work stands on a day, that they will not turn up; by the names that they have now."""
    names = read_vocabulary(con).technique_spellings
    return frozenset((row["object"], names.get(folded(row["technique"]), row["technique"])) for row in _frame(con, "left_out", as_of=as_of).to_dict("records"))


def ranges_by_hand(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """Lines with a range by hand in the version by which their work stands on a day: `object`, `phase`, `technique`, `part`, `low_hours`, `high_hours`."""
    return _frame(con, "ranges_by_hand", as_of=as_of)


def hours_by_day(con: duckdb.DuckDBPyConnection, as_of: date, objects: Collection[str]) -> pd.DataFrame:
    """Hours of each line of some works held against the estimate, day by day: `object`, `phase`, `technique`, `part`, `day`, `hours` (by that day, in all)."""
    return _frame(con, "hours_by_day", as_of=as_of, objects=list(objects))


def promises(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """What was promised of each work when it began: `object`, `version`, `made_on`, `approved_on`, `quoted`, `confidence` (in 100; null: a point), `p10`, `p50`, `p80`, `p90`, `promised_hours`,
    `approvals`, `revised_hours` (by the latest approved version, where that is a later one)."""
    return _frame(con, "promises", as_of=as_of)


def outcomes(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """Every version of every estimate, the latest first: `object`, `version`, `made_on`, `quote` (its number), `quoted`, `outcome`, `on_day`, `reason`."""
    return _frame(con, "outcomes", as_of=as_of)


def quotes_of_a_rate(con: duckdb.DuckDBPyConnection, technique: str) -> pd.DataFrame:
    """Saved quotes that used the rate of a technique, the latest first: `object`, `version`, `option`, `part`, `as_of`, `rate`, `unit`, `pinned`, `works`, `p50`, `p80`, `hours` (in the version), `approved_on`, `outcome`."""
    return _frame(con, "quotes_of_a_rate", technique=technique)


def line_history(con: duckdb.DuckDBPyConnection, as_of: date, known_object: str) -> pd.DataFrame:
    """What each version of an estimate, made by a day, said of each line: `phase`, `technique`, `part`, `version`, `option`, `made_on`, `approved_on`, `outcome`, `hours`, `quantity`, `worked_hours` (taken over from the bench; null: written by hand)."""
    return _frame(con, "line_history", as_of=as_of, object=known_object)


def quoted_lines(con: duckdb.DuckDBPyConnection, known_object: str, version: int) -> pd.DataFrame:
    """The lines of a saved quote as they were told: `option`, `phase`, `technique`, `part`, `p50`, `p80`, `p90`, `promised_hours`, `own_hours`, `worked_hours`, `rate`, `rate_low`, `rate_high`, `unit`, `pinned`, `works` (codes), `hours` (in the version; `promised_hours`: unrounded, of the whole promise)."""
    return _frame(con, "quoted_lines", object=known_object, version=version)


def who_did(con: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """Who did most of each line that was begun on works not finished yet: `object`, `phase`, `technique`, `part`, `person`."""
    return _frame(con, "who_did", as_of=as_of)


def planned_lines(con: duckdb.DuckDBPyConnection, as_of: date, objects: Collection[str]) -> pd.DataFrame:
    """What the yardsticks of works say of each line beside its hours.

    Frame with `object`, `phase`, `technique`, `part`, `planned_wait_hours` (null: nobody said), `person` (null: nobody in particular).
    """
    return _frame(con, "planned_lines", as_of=as_of, objects=list(objects))


def waiting_in_hand(con: duckdb.DuckDBPyConnection, moment: datetime) -> dict[tuple[str, str, str, str], datetime]:
    """Lines on which something waits alone that nobody has ended yet: object, phase, technique, part, and since when (UTC)."""
    return {(row[0], row[1], row[2], row[3]): row[4] for row in con.execute(_WAITING_IN_HAND, {"moment": moment}).fetchall()}


def spellings(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Every way in which a person is written, folded, to the name."""
    return dict(con.execute("SELECT spelling, person FROM person_spellings").fetchall())


def bench_weeks(con: duckdb.DuckDBPyConnection, as_of: date, weeks: int) -> pd.DataFrame:
    """Hours of each person of the studio on works in the whole weeks behind a day: `person`, `week` (its Monday), `hours`."""
    return _frame(con, "bench_weeks", as_of=as_of, weeks=weeks)


def cautioned(con: duckdb.DuckDBPyConnection, as_of: date, person: str, since: date) -> pd.DataFrame:
    """One person's entries on techniques that carry a caution: `day`, `started_at`, `ended_at` (UTC), `begins`, `ends` (on the studio's clock; null: entered without), `technique`, `cautions`, `mode`, `hours`, `counted_hours`."""
    return _frame(con, "cautioned", as_of=as_of, person=person, since=since, zone=read_settings(con).zone)


def hours_of_months(con: duckdb.DuckDBPyConnection, first: date, last: date) -> pd.DataFrame:
    """Hours between two days by `month`, `what` they were (chargeable, own_cost, studio) and `technique` (of studio time): `hours`."""
    return _frame(con, "hours_of_months", first=first, last=last)


def bears_on(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Of each technique on which a condition of the work bears, the place of that condition among `GRADES`."""
    rows: list[tuple[str, str]] = con.execute("SELECT technique, condition FROM techniques WHERE condition IS NOT NULL ORDER BY technique").fetchall()
    return {technique: GRADES.index(name) for technique, name in rows}


def usual_phases(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Each technique's usual phase."""
    return dict(con.execute("SELECT technique, phase FROM techniques").fetchall())


def entries(con: duckdb.DuckDBPyConnection, as_of: date, known_object: str) -> pd.DataFrame:
    """The time entries of one object, with `begins` and `ends` on the studio's clock and `corrected` (times)."""
    return _frame(con, "entries", as_of=as_of, object=known_object, zone=read_settings(con).zone)


def earlier_entries(con: duckdb.DuckDBPyConnection, known_object: str) -> pd.DataFrame:
    """What entries of one object said before, and what happened then (`event`); `taken_back` marks those that are in the record no more."""
    return _frame(con, "earlier_entries", object=known_object)


def versions(con: duckdb.DuckDBPyConnection, known_object: str) -> pd.DataFrame:
    """The versions of an estimate, one row each, or one for each option while none is approved (`option`): sums of `hours`, `low_hours`, `high_hours`,
    `unattended_hours` over its `lines`; `unpriced` of them have a quantity only; `approved_stays`: what was approved before stays in it, and what was found is added."""
    return _frame(con, "versions", object=known_object)


def yardstick(con: duckdb.DuckDBPyConnection, as_of: date, known_object: str) -> tuple[int, bool] | None:
    """The version by which a work stands on a day, and whether it was approved by then; None where none stands."""
    found: list[tuple[int, bool]] = con.execute("SELECT version, approved FROM yardsticks(?) WHERE object = ?", [as_of, known_object]).fetchall()
    return found[0] if found else None


def own_figures(con: duckdb.DuckDBPyConnection, known_object: str, version: int) -> pd.DataFrame:
    """The lines of one version as `estimate_lines` gives them, with `hours` only where they are a figure of who made it, and not what the record told or the bench."""
    return _frame(con, "own_figures", object=known_object, version=version)


def estimate_lines(con: duckdb.DuckDBPyConnection, known_object: str, version: int) -> pd.DataFrame:
    """The lines of one version, columns of the estimates form."""
    return _frame(con, "estimate_lines", object=known_object, version=version)


def milestones(con: duckdb.DuckDBPyConnection, known_object: str) -> list[tuple[str, str, str, date]]:
    """Phase, technique (empty: the whole phase), part and day of each milestone, by day."""
    return con.execute(
        "SELECT phase, technique, part, finished_on FROM milestones WHERE object = ? ORDER BY finished_on, phase, technique, part", [known_object]
    ).fetchall()


def vocabulary_use(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Techniques in the order of work, with `spellings` (`|` between) and the `works`, `entries` and `estimates` that name each."""
    return _frame(con, "vocabulary")


def phases(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Phases in their order, with the `techniques`, `works` and `entries` that name each."""
    return _frame(con, "phases")


def people(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The people of the studio: `person`, `left_on`, `entries`, `hours`, `first_day`, `last_day`, `spellings`."""
    return _frame(con, "people")


def held_back(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Rows that wait for a word, each beside the entry that it resembles (`held_…`)."""
    return _frame(con, "held_back")


def said_before(con: duckdb.DuckDBPyConnection, column: str) -> list[str]:
    """What the studio's objects say in a free column (kind, support, commission), the commonest first, as suggestions."""
    if column not in OBJECTS.names:
        raise ValueError(column)
    return [
        row[0] for row in con.execute(f"SELECT {column} FROM objects WHERE {column} IS NOT NULL GROUP BY {column} ORDER BY count(*) DESC, {column}").fetchall()
    ]
