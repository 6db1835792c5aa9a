"""The record as it stood on any day: which lines were finished, with how many hours, held against which figure.

Which record teaches: hours at own cost and studio time do not; of a line's estimates the last version made on or before its first entry, so that a revision that
copies hours already worked is never the yardstick; hours agreed on top are lines of their own without a figure.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from dashboard.analysis.lines import Lines, Names, named_shares
from dashboard.analysis.mixed import Flags, Floats, Integers

_NEVER = 2**31
_VERSIONS = 2**31  # more than any estimate has
_REST_DAYS = 14  # within a line nine rests in ten are shorter, in studios that log by the day (common practice, no source)
RESTS_LONG = 0.1  # share of rests within a line that are longer
_OPEN_DAYS = 30  # that are taken for days of work before there is a record


@dataclass(frozen=True, slots=True, kw_only=True)
class Quoted:
    """Lines that had a figure or a quoted quantity before their first entry.

    Attributes
    ----------
    number : (n,) of each line; version : (n,) by which it is held, made on `made_on` (days since 1970), on which the line is foretold.
    lines : as they could be asked about: hours, quantity and who did it are not known.
    estimated : (n,) hours that stand in that version; `lines.figure` is her own figure alone.
    hours : (all lines of the record,) what each took so far; nought: no entry. finished : likewise, that is all. worked : likewise, there is an entry.
    """

    number: Integers
    version: Integers
    made_on: Integers
    lines: Lines
    estimated: Floats
    hours: Floats
    finished: Flags
    worked: Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """What the estimate had with which each finished work began, and what turned up all the same.

    Attributes
    ----------
    objects, techniques : names of W works (finished, with an estimate) and of T techniques that were ever worked or quoted on them; `phases` (T,) in which mostly.
    quoted : (W, T) the first estimate has it. worked_before : (W, T) it was under way when that was made.
    turned_up : (W, T) not in the estimate and begun after it. another : (W, T) in it, and begun after it on a part or in a phase that is not.
    """

    objects: Names
    techniques: Names
    phases: Names
    quoted: Flags
    worked_before: Flags
    turned_up: Flags
    another: Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What a version says of each line: which one, when it was made, hours by her own figure, hours that stand there, quantity, person; `within`: the line is in it."""

    version: Integers
    made_on: Integers
    hours: Floats
    estimated: Floats
    quantity: Floats
    person: Names
    within: Flags


class Record:
    """Frames of the teaching queries, turned into arrays once; any day is then a matter of sums."""

    def __init__(self, *, lines: pd.DataFrame, days: pd.DataFrame, ends: pd.DataFrame, estimates: pd.DataFrame, versions: pd.DataFrame) -> None:
        """
        Parameters
        ----------
        lines : `line`, `object`, `phase`, `technique`, `part`, `unit`, `kind`, `condition`, `area_dm2` (of the picture).
        days : `line`, `person`, `extra`, `day`, `hours`, `quantity`, `first_day`, `last_day`, `last_quantity_at`, `first_done_at`, `all_done_at`.
        ends : `line`, `day`. estimates : `line`, `version`, `made_on`, `ended_on`, `option_approved_on`, `hours`, `estimate_hours`, `quantity`, `person`, `taken_over`.
        versions : `object`, `version`, `made_on`, `ended_on`, `first_stage`, in the order in which they were made. Days are days since 1970.
        """
        number = pd.Series(np.arange(len(lines)), index=lines["line"])
        self.count = len(lines)
        self.names = {name: lines[name].fillna("").to_numpy(dtype=str) for name in ("object", "phase", "technique", "part", "unit", "kind")}
        self.places = {name: np.unique(values, return_inverse=True) for name, values in self.names.items()}
        self.condition = lines["condition"].to_numpy(dtype=float)
        area = lines["area_dm2"].to_numpy(dtype=float)
        self.area = np.where(area > 0, area, np.nan)
        days = days[days["line"].isin(number.index)]  # studio time is on no line of a work
        self.of_day = {
            name: days[name].to_numpy() for name in ("day", "hours", "quantity", "first_day", "last_day", "last_quantity_at", "first_done_at", "all_done_at")
        }
        self.of_day["line"] = number.loc[days["line"]].to_numpy()
        self.of_day["extra"] = days["extra"].to_numpy(dtype=bool)
        people, who = np.unique(days["person"].to_numpy(dtype=str), return_inverse=True)
        self.people, self.of_day["who"] = tuple(people), who
        ends = ends[ends["line"].isin(number.index)]
        self.end_line, self.end_day = number.loc[ends["line"]].to_numpy(), ends["day"].to_numpy(dtype=np.int64)
        self.estimates = estimates.assign(line=number.loc[estimates["line"]].to_numpy())
        self.estimated = {name: self.estimates[name].to_numpy(dtype=float) for name in ("hours", "estimate_hours", "quantity", "option_approved_on")}
        self.estimated_line, self.estimated_version = self.estimates["line"].to_numpy(dtype=np.int64), self.estimates["version"].to_numpy()
        self.to_do, self.to_do_by = np.unique(self.estimates["person"].fillna("").to_numpy(dtype=str), return_inverse=True)
        self.objects, self.object_of = self.places["object"]
        versions = versions[versions["object"].isin(self.objects)]
        self.version_object = np.searchsorted(self.objects, versions["object"].to_numpy(dtype=str))
        self.version_number, self.version_made = versions["version"].to_numpy(dtype=np.int64), versions["made_on"].to_numpy(dtype=np.int64)
        self.version_ended, self.version_whole = versions["ended_on"].to_numpy(dtype=float), ~versions["first_stage"].to_numpy(dtype=bool)
        taken = self.estimates[self.estimates["taken_over"].to_numpy(dtype=bool)]
        revising = self.object_of[taken["line"].to_numpy(dtype=np.int64)] * _VERSIONS + taken["version"].to_numpy(dtype=np.int64)
        self.version_revises = np.isin(self.version_object * _VERSIONS + self.version_number, revising)
        self.taken_over = taken["line"].to_numpy(dtype=np.int64) * _VERSIONS + taken["version"].to_numpy(dtype=np.int64)
        self._summed = lru_cache(maxsize=4)(self._sum_up)  # a day is asked about in several ways, by several threads

    def as_of(self, before: int, *, without_open: Collection[str] = (), without: str | None = None) -> Lines:
        """The lines that teach on what was known before a day: finished ones, and open ones with hours so far.

        Parameters
        ----------
        before : days since 1970; nothing of that day or later counts.
        without_open : lines of these objects stay out while they are open. without : all lines of this one do.
        """
        line, extra, sums = self._summed(before)
        first, last = self._over_line(line, sums["first_day"], np.minimum, _NEVER), self._over_line(line, sums["last_day"], np.maximum, -_NEVER)
        finished_on = self._finished_on(before, last)
        told = self._told(before, np.where(first == _NEVER, -_NEVER, first))
        finished = finished_on[line] < _NEVER
        teaches = (sums["hours"] > 0) & ~(~finished & self._at_rest(line, sums, last))
        if without_open:
            teaches &= finished | ~np.isin(self.names["object"][line], list(without_open))
        if without is not None:
            teaches &= self.names["object"][line] != without
        found = self._lines(line, told)
        measured = sums["quantity"]
        incomplete = self._incomplete(line, sums)
        return Lines(
            **found | {
                "hours": sums["hours"], "quantity": np.where((measured > 0) & ~incomplete[line] & finished, measured, np.nan),
                "figure": np.where(extra, np.nan, found["figure"]), "quoted": np.where(extra, np.nan, found["quoted"]),
                "shares": sums["shares"], "day": np.where(finished, np.minimum(finished_on[line], before), last[line]).astype(np.int64), "is_open": ~finished,
                "weight": np.where(finished, 1.0, self._more_to_come(first, last, finished_on)),
            },
            people=self.people,
        ).with_places(self._placed(line)).take(teaches)  # fmt: skip

    def quoted(self, before: int) -> Quoted:
        """Lines with an estimate, as they could be asked about on the day it was made."""
        line, extra, sums = self._summed(before)
        first, last = self._over_line(line, sums["first_day"], np.minimum, _NEVER), self._over_line(line, sums["last_day"], np.maximum, -_NEVER)
        worked = first < _NEVER
        first_made = self._first_made(before)
        finished = self._finished_on(before, last) < _NEVER
        # A line that was never worked was quoted as it stood when it was first said to be finished; a phase may have been closed before the line was estimated.
        left = np.where(finished, np.minimum(self._finished_on(before, np.where(worked, last, first_made)), before), before)
        told = self._told(before, np.where(worked, first, np.where(first_made < _NEVER, np.maximum(left, first_made), -_NEVER)))
        hours = np.bincount(line[~extra], sums["hours"][~extra], self.count).astype(float)
        at = np.flatnonzero(told.within & (np.nan_to_num(told.estimated) + np.nan_to_num(told.quantity) > 0))
        return Quoted(
            number=at,
            version=told.version[at],
            made_on=told.made_on[at],
            lines=self._asked(at, told),
            estimated=told.estimated[at],
            hours=hours,
            finished=finished,
            worked=worked,
        )

    def as_quoted(self, version: int, known_object: str) -> tuple[Integers, Lines]:
        """The lines of a version as it stood on the day it was made, but for options and for lines begun before: their numbers, and the lines as they could be asked about."""
        number = np.searchsorted(self.objects, known_object)
        of = (self.object_of[self.estimated_line] == number) & (self.objects[number : number + 1] == known_object).any() & (self.estimated_version == version)
        of &= np.isnan(self.estimated["option_approved_on"])
        told = self._said(of, np.zeros(self.count, dtype=np.int64) + int(self.estimates["made_on"].to_numpy()[of].max(initial=0)), np.full(self.count, version))
        begun = np.zeros(self.count, dtype=bool)
        begun[self.of_day["line"][self.of_day["day"] < told.made_on[0]]] = True
        at = np.flatnonzero(told.within & ~begun & (np.nan_to_num(told.estimated) + np.nan_to_num(told.quantity) > 0))
        return at, self._asked(at, told)

    def under_way(self, before: int, versions: Mapping[str, int], begun_on: Floats) -> tuple[Lines, Floats, Flags]:
        """Every line as it could be asked about while it is open, the chance that it stands open because more is to come of it, and whether it was left for weeks while its work went on.

        A line is held by what the version by which its work stands says of it; if that one was made only after the line was begun, or has taken it over from the bench, by the last one from before. Who has worked on it, and how much was treated, is left
        aside, as another hand may finish it, and more may come.

        Parameters
        ----------
        versions : by object, the number of the version by which it stands. begun_on : (lines of the record,) day of the first hours held against the estimate; not a number: none.
        """
        line, _, sums = self._summed(before)
        first, last = self._over_line(line, sums["first_day"], np.minimum, _NEVER), self._over_line(line, sums["last_day"], np.maximum, -_NEVER)
        rows = self.estimates
        version = np.array([versions.get(name, -1) for name in self.objects.tolist()], dtype=np.int64)[self.object_of]
        made = pd.Series(self.version_made, index=self.version_object * _VERSIONS + self.version_number).reindex(self.object_of * _VERSIONS + version)
        approved = rows["option_approved_on"].to_numpy(dtype=float)
        of = (rows["version"].to_numpy() == version[rows["line"].to_numpy(dtype=np.int64)]) & ~(approved >= before)
        now = self._said(of, np.nan_to_num(made.to_numpy(dtype=float), nan=before).astype(np.int64), version)
        earlier = self._told(before, np.where(np.isnan(begun_on), -_NEVER, np.nan_to_num(begun_on)).astype(np.int64))
        too_late = (now.made_on > begun_on) | np.isin(np.arange(self.count) * _VERSIONS + version, self.taken_over)  # no day at all is never earlier
        both = {
            name: np.where(too_late, getattr(earlier, name), getattr(now, name))
            for name in ("version", "made_on", "hours", "estimated", "quantity", "person", "within")
        }
        every = self._asked(np.arange(self.count), _Told(**both))
        goes_on = self._more_to_come(first, last, self._finished_on(before, last))
        left = self._left(last)
        rest = goes_on * RESTS_LONG / (goes_on * RESTS_LONG + 1 - goes_on) if goes_on < 1 else 1.0
        return every, np.where(left, rest, goes_on), left

    def _asked(self, at: Integers, told: _Told) -> Lines:
        nothing = np.full(len(at), np.nan)
        return Lines(
            **self._lines(at, told) | {
                "hours": nothing, "quantity": nothing, "shares": named_shares(told.person[at], self.people), "day": told.made_on[at],
                "is_open": np.ones(len(at), dtype=bool), "weight": np.ones(len(at)),
            },
            people=self.people,
        ).with_places(self._placed(at))  # fmt: skip

    def unneeded(self, before: int) -> Lines:
        """Lines that were quoted, and finished without an entry, before a day."""
        found = self.quoted(before)
        return found.lines.take(found.finished[found.number] & ~found.worked[found.number])

    def foreseen(self, before: int) -> Foreseen:
        """What first estimates foresaw of works that were finished before a day. What was charged extra is no surprise to a promise."""
        line, extra, sums = self._summed(before)
        quoted_hours = (sums["hours"] > 0) & ~extra
        first = self._over_line(line[quoted_hours], sums["first_day"][quoted_hours], np.minimum, _NEVER)
        last = self._over_line(line, sums["last_day"], np.maximum, -_NEVER)
        finished = (self._finished_on(before, last) < _NEVER) | (last == -_NEVER)
        made, version = self._first_sheets(before, self._over_line(line, sums["first_day"], np.minimum, _NEVER), last)
        rows = self.estimates
        estimated = rows["line"].to_numpy(dtype=np.int64)
        counts = (rows["version"].to_numpy() == version[self.object_of[estimated]]) & ~(rows["option_approved_on"].to_numpy(dtype=float) >= before)
        within = np.bincount(estimated[counts], minlength=self.count) > 0
        worked = first < _NEVER
        over = (
            (made < _NEVER)
            & (np.bincount(self.object_of[worked], minlength=len(self.objects)) > 0)
            & (np.bincount(self.object_of[~finished], minlength=len(self.objects)) == 0)
        )
        of = over[self.object_of] & (worked | within)
        techniques, technique = np.unique(self.names["technique"], return_inverse=True)
        shape = (len(self.objects), len(techniques))

        def any_of(which: Flags) -> Flags:
            found = np.zeros(shape, dtype=bool)
            found[self.object_of[of & which], technique[of & which]] = True
            return found

        after = first >= made[self.object_of]
        quoted, before_it = any_of(within), any_of(worked & ~after)
        new = any_of(worked & ~within & after)
        ever = quoted.any(axis=0) | new.any(axis=0) | before_it.any(axis=0)
        pairs, often = np.unique(np.stack([technique[of], np.unique(self.names["phase"], return_inverse=True)[1][of]]), axis=1, return_counts=True)
        mostly = np.zeros(len(techniques), dtype=np.int64)
        for (which, phase), _ in sorted(zip(pairs.T.tolist(), often.tolist(), strict=True), key=lambda one: one[1]):
            mostly[which] = phase
        phases = np.unique(self.names["phase"])[mostly] if self.count else np.zeros(0, dtype=str)
        return Foreseen(
            objects=self.objects[over], techniques=techniques[ever], phases=phases[ever], quoted=quoted[over][:, ever], worked_before=before_it[over][:, ever],
            turned_up=(new & ~quoted & ~before_it)[over][:, ever], another=(new & quoted)[over][:, ever],
        )  # fmt: skip

    def _first_sheets(self, before: int, first: Integers, last: Integers) -> tuple[Integers, Integers]:
        """Of each work the day and the number of the estimate with which its treatment began: the first one, or a later one that was made before anything was logged after it;
        `_NEVER` where there is none. `first`, `last` are days with entries of each line."""
        known = self._standing(before) & self.version_whole
        # a revision of the same day is none, but where it is the first of the whole, after a first stage
        has = np.zeros(len(self.objects), dtype=bool)
        has[self.version_object[known & ~self.version_revises]] = True
        known &= ~self.version_revises | ~has[self.version_object]
        made = np.full(len(self.objects), _NEVER, dtype=np.int64)
        np.minimum.at(made, self.version_object[known], self.version_made[known])
        of_line = made[self.object_of]
        next_entry = np.where(first >= of_line, first, np.where(last >= of_line, last, _NEVER))
        begun = np.full(len(self.objects), _NEVER, dtype=np.int64)
        np.minimum.at(begun, self.object_of, next_entry)
        counts = known & (self.version_made <= np.maximum(begun, made)[self.version_object])
        day, number = np.full(len(self.objects), -_NEVER, dtype=np.int64), np.full(len(self.objects), -1, dtype=np.int64)
        np.maximum.at(day, self.version_object[counts], self.version_made[counts])
        latest = counts & (self.version_made == day[self.version_object])
        np.maximum.at(number, self.version_object[latest], self.version_number[latest])
        return np.where(number < 0, _NEVER, day), np.where(number < 0, _NEVER, number)

    def _sum_up(self, before: int) -> tuple[Integers, Flags, dict[str, Floats]]:
        """Of each line and charge with entries before a day: sums, first and last, and who."""
        rows = self.of_day
        now = rows["day"] < before
        cell = rows["line"][now] * 2 + rows["extra"][now]
        cells, place = np.unique(cell, return_inverse=True)
        sums: dict[str, Floats] = {"hours": np.bincount(place, rows["hours"][now], len(cells)).astype(float)}
        quantity = rows["quantity"][now]
        has = ~np.isnan(quantity)
        sums["quantity"] = np.where(np.bincount(place, has, len(cells)) > 0, np.bincount(place, np.where(has, quantity, 0.0), len(cells)), np.nan)
        for name, how, start in (
            ("first_day", np.minimum, np.inf), ("last_day", np.maximum, -np.inf), ("last_quantity_at", np.maximum, -np.inf), ("first_done_at", np.minimum, np.inf),
            ("all_done_at", np.minimum, np.inf),
        ):  # fmt: skip
            sums[name] = np.full(len(cells), start)
            value = rows[name][now].astype(float)
            how.at(sums[name], place, np.where(np.isnan(value), start, value))
        shares = np.zeros((len(cells), len(self.people)))
        np.add.at(shares, (place, rows["who"][now]), rows["hours"][now])
        sums["shares"] = np.divide(shares, sums["hours"][:, None], out=np.zeros_like(shares), where=sums["hours"][:, None] > 0)
        return cells // 2, (cells % 2).astype(bool), sums

    def _over_line(self, line: Integers, value: Floats | Integers, how: np.ufunc, start: int) -> Integers:
        found = np.full(self.count, start, dtype=np.int64)
        known = np.isfinite(value)
        how.at(found, line[known], value[known].astype(np.int64))
        return found

    def _finished_on(self, before: int, last: Integers) -> Integers:
        """Of each line the first day on which it was said to be finished and after which nothing was logged; `_NEVER` while it is open."""
        known = (self.end_day < before) & (self.end_day >= last[self.end_line])
        found = np.full(self.count, _NEVER, dtype=np.int64)
        np.minimum.at(found, self.end_line[known], self.end_day[known])
        return found

    def _first_made(self, before: int) -> Integers:
        """Of each line the day of the first estimate that has it."""
        made, line = self.estimates["made_on"].to_numpy(dtype=np.int64), self.estimates["line"].to_numpy(dtype=np.int64)
        known = (made < before) & ~(self.estimates["ended_on"].to_numpy(dtype=float) < before)
        return self._over_line(line[known], made[known], np.minimum, _NEVER)

    def _standing(self, before: int) -> Flags:
        """(versions,) made before a day, and neither declined nor withdrawn before it."""
        found: Flags = (self.version_made < before) & ~(self.version_ended < before)
        return found

    def _incomplete(self, line: Integers, sums: dict[str, Floats]) -> Flags:
        """Lines that were not all done at their last quantity; see overruns.sql."""
        last, first, done = np.full(self.count, -np.inf), np.full(self.count, np.inf), np.full(self.count, np.inf)
        np.maximum.at(last, line, sums["last_quantity_at"])
        np.minimum.at(first, line, sums["first_done_at"])
        np.minimum.at(done, line, sums["all_done_at"])
        found: Flags = np.where(np.isfinite(done), done > last, np.isfinite(first) & (first <= last)) & np.isfinite(last)
        return found

    def _at_rest(self, line: Integers, sums: dict[str, Floats], last: Integers) -> Flags:
        """Open lines of which nobody can tell whether more is to come: all done as far as was said, or left for weeks while their work went on. They teach nothing, neither
        "this much" nor "more than this"."""
        found: Flags = self._left(last)[line] | np.isfinite(self._over(line, sums["all_done_at"])[line])
        return found

    def _left(self, last: Integers) -> Flags:
        """(lines,) left for weeks while their work went on."""
        of_work = np.full(len(self.objects), -_NEVER, dtype=np.int64)
        np.maximum.at(of_work, self.object_of, last)
        found: Flags = of_work[self.object_of] - last >= _REST_DAYS
        return found

    def _more_to_come(self, first: Integers, last: Integers, finished_on: Integers) -> float:
        """How likely more is to come of a line that is open and not at rest: of the days on which finished lines stood open after their first entry, the share before
        their last one. Where phases are closed weeks after the work was done this is small, and where each line is closed at once nearly 1."""
        closed = (finished_on < _NEVER) & (first < _NEVER) & (last > -_NEVER)  # with entries that teach
        working = float((last - first)[closed].sum()) + _OPEN_DAYS
        waiting = float(np.minimum((finished_on - last)[closed], _REST_DAYS).sum())
        return working / (working + waiting)

    def _over(self, line: Integers, value: Floats) -> Floats:
        """Of each line the least of its values; infinite where there is none."""
        found = np.full(self.count, np.inf)
        np.minimum.at(found, line, value)
        return found

    def _told(self, before: int, by: Integers) -> _Told:
        """What the last version made on or before a day of each line says of it."""
        known = np.flatnonzero(self._standing(before))
        # Versions lie in order of object and day: the last one not after the line's day is the one before the place where that day would go.
        key = self.version_object[known] * (4 * _NEVER) + self.version_made[known]
        at = np.searchsorted(key, self.object_of * (4 * _NEVER) + by, side="right") - 1
        while True:
            has = (at >= 0) & (by > -_NEVER)
            has &= np.where(has, self.version_object[known][np.maximum(at, 0)] == self.object_of, False) if len(known) else False
            version = np.where(has, self.version_number[known][np.maximum(at, 0)] if len(known) else -1, -1)
            # a version that took the line over from the bench says what was worked, not what was foreseen: the one before it counts
            taken = has & np.isin(np.arange(self.count) * _VERSIONS + version, self.taken_over)
            if not taken.any():
                break
            at[taken] -= 1
        made = np.where(has, self.version_made[known][np.maximum(at, 0)] if len(known) else -1, -1)
        return self._said((self.estimated_version == version[self.estimated_line]) & ~(self.estimated["option_approved_on"] >= before), made, version)

    def _said(self, of: Flags, made: Integers, version: Integers) -> _Told:
        """What some rows of estimates say together of their lines."""
        line = self.estimated_line[of]
        hours, estimated, quantity = (self._sum_known(line, self.estimated[name][of]) for name in ("hours", "estimate_hours", "quantity"))
        person = np.full(self.count, "", dtype=self.to_do.dtype)
        person[line] = self.to_do[self.to_do_by[of]]
        return _Told(
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
        found = np.bincount(line, value, self.count).astype(float)
        found[np.bincount(line, minlength=self.count) == 0] = np.nan
        return found

    def _placed(self, at: Integers) -> dict[str, tuple[Names, Integers]]:
        """The places of lines among the names of the record."""
        return {column: (names, place[at]) for column, (names, place) in self.places.items()}

    def _lines(self, at: Integers, told: _Told) -> dict[str, np.ndarray]:
        return {name: values[at] for name, values in self.names.items()} | {
            "condition": self.condition[at],
            "area": self.area[at],
            "figure": np.where(told.hours[at] > 0, told.hours[at], np.nan),
            "quoted": np.where(told.quantity[at] > 0, told.quantity[at], np.nan),
            "person": told.person[at],
        }
