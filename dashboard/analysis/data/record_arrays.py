"""The record as arrays: entries, estimates and versions of all lines, and their sums before any day."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.levels import marked_techniques
from dashboard.analysis.data.lines import Names
from dashboard.analysis.data.record_frames import RecordFrames

NEVER = 2**31
VERSIONS = 2**31  # more than any estimate has
# within a line nine rests in ten are shorter, in studios that log by the day (common practice, no source)
_REST_DAYS = 14
RESTS_LONG = 0.1  # share of rests within a line that are longer
_OPEN_DAYS = 30  # that are taken for days of work before there is a record


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionLines:
    """What a version says of each line: which one, when it was made, hours by her own figure, hours that
    stand there, quantity, person; `within`: the line is in it.
    """

    version: Integers
    made_on: Integers
    hours: Floats
    estimated: Floats
    quantity: Floats
    person: Names
    within: Flags


class RecordArrays:
    """Frames of the teaching queries, turned into arrays once; any day is then a matter of sums."""

    # 75 lines: each column of five frames is turned into an array once
    def __init__(self, frames: RecordFrames) -> None:
        lines, days, ends = frames.lines, frames.days, frames.ends
        estimates, versions = frames.estimates, frames.versions
        self.frames = frames
        number = pd.Series(np.arange(len(lines)), index=lines["line"])
        self.count = len(lines)
        self.names = {
            name: lines[name].fillna("").to_numpy(dtype=str)
            for name in ("object", "phase", "technique", "part", "unit", "kind")
        }
        if frames.has_wholes:
            self.names["technique"] = marked_techniques(self.names["phase"], self.names["technique"])
        self.places = {name: np.unique(values, return_inverse=True) for name, values in self.names.items()}
        self.remembered = lines["remembered"].to_numpy(dtype=bool)
        self.condition = lines["condition"].to_numpy(dtype=float)
        area = lines["area_dm2"].to_numpy(dtype=float)
        self.area = np.where(area > 0, area, np.nan)
        days = days[days["line"].isin(number.index)]  # studio time is on no line of a work
        self.of_day = {
            name: days[name].to_numpy()
            for name in (
                *("day", "hours", "quantity", "first_day", "last_day"),
                *("last_quantity_at", "first_done_at", "all_done_at"),
            )
        }
        self.of_day["line"] = number.loc[days["line"]].to_numpy()
        self.of_day["extra"] = days["extra"].to_numpy(dtype=bool)
        people, who = np.unique(days["person"].to_numpy(dtype=str), return_inverse=True)
        self.people, self.of_day["who"] = tuple(people), who
        ends = ends[ends["line"].isin(number.index)]
        self.end_line, self.end_day = (
            number.loc[ends["line"]].to_numpy(),
            ends["day"].to_numpy(dtype=np.int64),
        )
        self.estimates = estimates.assign(line=number.loc[estimates["line"]].to_numpy())
        self.estimated = {
            name: self.estimates[name].to_numpy(dtype=float)
            for name in ("hours", "estimate_hours", "quantity", "option_approved_on")
        }
        self.estimated_line, self.estimated_version = (
            self.estimates["line"].to_numpy(dtype=np.int64),
            self.estimates["version"].to_numpy(),
        )
        self.to_do, self.to_do_by = np.unique(
            self.estimates["person"].fillna("").to_numpy(dtype=str), return_inverse=True
        )
        self.objects, self.object_of = self.places["object"]
        versions = versions[versions["object"].isin(self.objects)]
        self.version_object = np.searchsorted(self.objects, versions["object"].to_numpy(dtype=str))
        self.version_number, self.version_made = (
            versions["version"].to_numpy(dtype=np.int64),
            versions["made_on"].to_numpy(dtype=np.int64),
        )
        self.version_ended, self.version_whole = (
            versions["ended_on"].to_numpy(dtype=float),
            ~versions["first_stage"].to_numpy(dtype=bool),
        )
        taken_over = self.estimates[self.estimates["taken_over"].to_numpy(dtype=bool)]
        revising = self.object_of[taken_over["line"].to_numpy(dtype=np.int64)] * VERSIONS + taken_over[
            "version"
        ].to_numpy(dtype=np.int64)
        self.version_revises = np.isin(self.version_object * VERSIONS + self.version_number, revising)
        self.taken_over = taken_over["line"].to_numpy(dtype=np.int64) * VERSIONS + taken_over[
            "version"
        ].to_numpy(dtype=np.int64)
        # a day is asked about in several ways, by several threads
        self._summed = lru_cache(maxsize=4)(self._sum_up)

    def _sum_up(self, before: int) -> tuple[Integers, Flags, dict[str, Floats]]:
        """Of each line and charge with entries before a day: sums, first and last, and who."""
        rows = self.of_day
        counts = rows["day"] < before
        cell = rows["line"][counts] * 2 + rows["extra"][counts]
        cells, place = np.unique(cell, return_inverse=True)
        sums: dict[str, Floats] = {
            "hours": np.bincount(place, rows["hours"][counts], len(cells)).astype(float)
        }
        quantity = rows["quantity"][counts]
        has = ~np.isnan(quantity)
        sums["quantity"] = np.where(
            np.bincount(place, has, len(cells)) > 0,
            np.bincount(place, np.where(has, quantity, 0.0), len(cells)),
            np.nan,
        )
        for name, how, start in (
            ("first_day", np.minimum, np.inf),
            ("last_day", np.maximum, -np.inf),
            ("last_quantity_at", np.maximum, -np.inf),
            ("first_done_at", np.minimum, np.inf),
            ("all_done_at", np.minimum, np.inf),
        ):
            sums[name] = np.full(len(cells), start)
            value = rows[name][counts].astype(float)
            how.at(sums[name], place, np.where(np.isnan(value), start, value))
        shares = np.zeros((len(cells), len(self.people)))
        np.add.at(shares, (place, rows["who"][counts]), rows["hours"][counts])
        sums["shares"] = np.divide(
            shares, sums["hours"][:, None], out=np.zeros_like(shares), where=sums["hours"][:, None] > 0
        )
        return cells // 2, (cells % 2).astype(bool), sums

    def _over_line(self, line: Integers, value: Floats | Integers, how: np.ufunc, start: int) -> Integers:
        result = np.full(self.count, start, dtype=np.int64)
        finite = np.isfinite(value)
        how.at(result, line[finite], value[finite].astype(np.int64))
        return result

    def _finished_on(self, before: int, last: Integers) -> Integers:
        """Of each line the first day on which it was said to be finished and after which nothing was logged;
        `NEVER` while it is open.
        """
        counts = (self.end_day < before) & (self.end_day >= last[self.end_line])
        day = np.full(self.count, NEVER, dtype=np.int64)
        np.minimum.at(day, self.end_line[counts], self.end_day[counts])
        return day

    def _first_made(self, before: int) -> Integers:
        """Of each line the day of the first estimate that has it."""
        made, line = (
            self.estimates["made_on"].to_numpy(dtype=np.int64),
            self.estimates["line"].to_numpy(dtype=np.int64),
        )
        counts = (made < before) & ~(self.estimates["ended_on"].to_numpy(dtype=float) < before)
        return self._over_line(line[counts], made[counts], np.minimum, NEVER)

    def _standing(self, before: int) -> Flags:
        """(versions,) made before a day, and neither declined nor withdrawn before it."""
        mask: Flags = (self.version_made < before) & ~(self.version_ended < before)
        return mask

    def _incomplete(self, line: Integers, sums: dict[str, Floats]) -> Flags:
        """Lines that were not all done at their last quantity; see overruns.sql."""
        last, first, done = (
            np.full(self.count, -np.inf),
            np.full(self.count, np.inf),
            np.full(self.count, np.inf),
        )
        np.maximum.at(last, line, sums["last_quantity_at"])
        np.minimum.at(first, line, sums["first_done_at"])
        np.minimum.at(done, line, sums["all_done_at"])
        mask: Flags = np.where(
            np.isfinite(done), done > last, np.isfinite(first) & (first <= last)
        ) & np.isfinite(last)
        return mask

    def _at_rest(self, line: Integers, sums: dict[str, Floats], last: Integers) -> Flags:
        """Open lines of which nobody can tell whether more is to come: all done as far as was said, or left
        for weeks while their work went on. They teach nothing, neither "this much" nor "more than this".
        """
        mask: Flags = self._left(last)[line] | np.isfinite(self._over(line, sums["all_done_at"])[line])
        return mask

    def _left(self, last: Integers) -> Flags:
        """(lines,) left for weeks while their work went on."""
        of_work = np.full(len(self.objects), -NEVER, dtype=np.int64)
        np.maximum.at(of_work, self.object_of, last)
        mask: Flags = of_work[self.object_of] - last >= _REST_DAYS
        return mask

    def _more_to_come(self, first: Integers, last: Integers, finished_on: Integers) -> float:
        """How likely more is to come of a line that is open and not at rest: of the days on which finished
        lines stood open after their first entry, the share before their last one. Where phases are closed
        weeks after the work was done this is small, and where each line is closed at once nearly 1.
        """
        closed = (finished_on < NEVER) & (first < NEVER) & (last > -NEVER)  # with entries that teach
        working = float((last - first)[closed].sum()) + _OPEN_DAYS
        waiting = float(np.minimum((finished_on - last)[closed], _REST_DAYS).sum())
        return working / (working + waiting)

    def _over(self, line: Integers, value: Floats) -> Floats:
        """Of each line the least of its values; infinite where there is none."""
        least = np.full(self.count, np.inf)
        np.minimum.at(least, line, value)
        return least

    def _latest_version(self, before: int, by: Integers) -> VersionLines:
        """What the last version made on or before a day of each line says of it."""
        standing = np.flatnonzero(self._standing(before))
        # Versions lie in order of object and day: the last one not after the line's day is the one before the
        # place where that day would go.
        key = self.version_object[standing] * (4 * NEVER) + self.version_made[standing]
        at = np.searchsorted(key, self.object_of * (4 * NEVER) + by, side="right") - 1
        while True:
            has = (at >= 0) & (by > -NEVER)
            has &= (
                np.where(has, self.version_object[standing][np.maximum(at, 0)] == self.object_of, False)
                if len(standing)
                else False
            )
            version = np.where(
                has, self.version_number[standing][np.maximum(at, 0)] if len(standing) else -1, -1
            )
            # a version that took the line over from the bench says what was worked, not what was foreseen:
            # the one before it counts
            taken_over = has & np.isin(np.arange(self.count) * VERSIONS + version, self.taken_over)
            if not taken_over.any():
                break
            at[taken_over] -= 1
        made = np.where(has, self.version_made[standing][np.maximum(at, 0)] if len(standing) else -1, -1)
        return self._summed_estimates(
            (self.estimated_version == version[self.estimated_line])
            & ~(self.estimated["option_approved_on"] >= before),
            made,
            version,
        )

    def _summed_estimates(self, of: Flags, made: Integers, version: Integers) -> VersionLines:
        """What some rows of estimates say together of their lines."""
        line = self.estimated_line[of]
        hours, estimated, quantity = (
            self._sum_known(line, self.estimated[name][of])
            for name in ("hours", "estimate_hours", "quantity")
        )
        person = np.full(self.count, "", dtype=self.to_do.dtype)
        person[line] = self.to_do[self.to_do_by[of]]
        return VersionLines(
            version=version,
            made_on=made,
            hours=hours,
            estimated=estimated,
            quantity=quantity,
            person=person,
            within=np.bincount(line, minlength=self.count) > 0,
        )

    def _sum_known(self, line: Integers, value: Floats) -> Floats:
        """Sums by line; not known where a part is not, or where there is none."""
        total = np.bincount(line, value, self.count).astype(float)
        total[np.bincount(line, minlength=self.count) == 0] = np.nan
        return total

    def _placed(self, at: Integers) -> dict[str, tuple[Names, Integers]]:
        """The places of lines among the names of the record."""
        return {column: (names, place[at]) for column, (names, place) in self.places.items()}

    def _lines(self, at: Integers, version: VersionLines) -> dict[str, np.ndarray]:
        return {name: values[at] for name, values in self.names.items()} | {
            "condition": self.condition[at],
            "area": self.area[at],
            "figure": np.where(version.hours[at] > 0, version.hours[at], np.nan),
            "quoted": np.where(version.quantity[at] > 0, version.quantity[at], np.nan),
            "person": version.person[at],
        }
