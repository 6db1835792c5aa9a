"""The record as it stood on any day: which lines were finished, with how many hours, held against which
figure.

Which record teaches: hours at own cost and studio time do not; of a line's estimates the last version made on
or before its first entry, so that a revision that copies hours already worked is never the yardstick; hours
agreed on top are lines of their own without a figure.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data import levels
from dashboard.analysis.data.lines import REMEMBERED, Lines, Names, named_shares
from dashboard.analysis.data.record_arrays import NEVER, RESTS_LONG, VERSIONS, RecordArrays, VersionLines

# a line of a technique that was told from memory says as much as such a part of one that was logged: its
# hours lie apart by 30 per cent more (common practice, no source); of wholes the fit tells it
_FROM_MEMORY = 0.20 / (0.20 + 0.09)
_EVER = NEVER  # a day after all that is in the record


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedLines:
    """Lines that had a figure or a quoted quantity before their first entry, of works that were logged: what
    is told from memory is no promise kept.

    Attributes
    ----------
    number : (n,) of each line;
    version : (n,) by which it is held, made on `made_on` (days since 1970), on which the line is foretold.
    lines : as they could be asked about: hours, quantity and who did it are not known.
    estimated : (n,) hours that stand in that version; `lines.figure` is her own figure alone.
    hours : (all lines of the record,) what each took so far; nought: no entry.
    finished : likewise, that is all.
    worked : likewise, there is an entry.
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
class ForeseenTechniques:
    """What the estimate had with which each finished work began, and what turned up all the same; of works
    told from memory nobody knows that.

    Attributes
    ----------
    objects, techniques : names of W works (finished, with an estimate) and of T techniques that were ever
        worked or quoted on them; `phases` (T,) in which mostly.
    quoted : (W, T) the first estimate has it.
    worked_before : (W, T) it was under way when that was made.
    turned_up : (W, T) not in the estimate and begun after it.
    another : (W, T) in it, and begun after it on a part or in a phase that is not.
    """

    objects: Names
    techniques: Names
    phases: Names
    quoted: Flags
    worked_before: Flags
    turned_up: Flags
    another: Flags


class TrainingRecord(RecordArrays):
    """The lines that teach, those that are quoted and those under way, as of any day.

    Where lines are of whole phases or works, `teaching`, `of_wholes` and `compared` are the same record with
    such lines taken together as each needs; where none is, they are this record itself, but for `of_wholes`.
    """

    def known_before(self, day: int) -> TrainingRecord:
        """The record as it stood before a day (days since 1970): which lines teach under which is told from
        what was logged by then. Read with its days; without wholes any day is told from the record itself.
        """
        return TrainingRecord(self.frames.before(day)) if self.frames.has_wholes else self

    @cached_property
    def teaching(self) -> TrainingRecord:
        """Lines that teach rates of techniques, and wholes of which too little is known in parts."""
        if not self.frames.has_wholes:
            return self
        return TrainingRecord(self.frames.under(levels.by_technique(self.frames.lines, self.frames.hours)))

    @lru_cache(maxsize=2)  # noqa: B019  a record lives as long as what is asked of it
    def of_wholes(self, level: int) -> TrainingRecord:
        """Whole phases (level 2) or whole works (3), each the sum of its lines."""
        lines = self.frames.lines
        return TrainingRecord(
            self.frames.under(
                levels.by_work(lines) if level == levels.WORK else levels.by_phase(lines, self.frames.hours)
            )
        )

    @cached_property
    def compared(self) -> TrainingRecord:
        """Lines as they are held against the estimate with which the treatment of each work began."""
        if not self.frames.has_wholes:
            return self
        line, _, sums = self._summed(_EVER)
        first, last = (
            self._over_line(line, sums[name], how, start)
            for name, how, start in (("first_day", np.minimum, NEVER), ("last_day", np.maximum, -NEVER))
        )
        _, version = self._first_sheets(_EVER, first, last)
        return self._compared(version)

    def compared_by(self, versions: Mapping[str, int]) -> TrainingRecord:
        """Lines as they are held against some version of the estimate of each work, by object; works that are
        not named have none.
        """
        if not self.frames.has_wholes:
            return self
        return self._compared(
            np.array([versions.get(name, -1) for name in self.objects.tolist()], dtype=np.int64)
        )

    def _compared(self, version: Integers) -> TrainingRecord:
        line, extra, sums = self._summed(_EVER)
        logged = np.bincount(line[~extra], sums["hours"][~extra], self.count) > 0
        of = self.estimated_version == version[self.object_of[self.estimated_line]]
        estimated = np.bincount(self.estimated_line[of], minlength=self.count) > 0
        lines = self.frames.lines
        heads = levels.LineHierarchy(lines).heads(estimated, logged)
        return TrainingRecord(self.frames.under(lines[levels.NAMES].iloc[heads]))

    def as_of(self, before: int, *, without_open: Collection[str] = (), without: str | None = None) -> Lines:
        """The lines that teach on what was known before a day: finished ones, and open ones with hours so
        far.

        Parameters
        ----------
        before : days since 1970; nothing of that day or later counts.
        without_open : lines of these objects stay out while they are open.
        without : all lines of this one do.
        """
        line, extra, sums = self._summed(before)
        first, last = (
            self._over_line(line, sums["first_day"], np.minimum, NEVER),
            self._over_line(line, sums["last_day"], np.maximum, -NEVER),
        )
        finished_on = self._finished_on(before, last)
        version = self._latest_version(before, np.where(first == NEVER, -NEVER, first))
        finished = finished_on[line] < NEVER
        teaches = (sums["hours"] > 0) & ~(~finished & self._at_rest(line, sums, last))
        if without_open:
            teaches &= finished | ~np.isin(self.names["object"][line], list(without_open))
        if without is not None:
            teaches &= self.names["object"][line] != without
        columns = self._lines(line, version)
        measured = sums["quantity"]
        incomplete = self._incomplete(line, sums)
        return (
            Lines(
                **columns
                | {
                    "hours": sums["hours"],
                    "quantity": np.where((measured > 0) & ~incomplete[line] & finished, measured, np.nan),
                    "figure": np.where(extra, np.nan, columns["figure"]),
                    "quoted": np.where(extra, np.nan, columns["quoted"]),
                    "shares": sums["shares"],
                    "day": (
                        np.where(finished, np.minimum(finished_on[line], before), last[line]).astype(np.int64)
                    ),
                    "is_open": ~finished,
                    "weight": np.where(finished, 1.0, self._more_to_come(first, last, finished_on))
                    * np.where(self.remembered[line] & (columns["unit"] != REMEMBERED), _FROM_MEMORY, 1.0),
                },
                people=self.people,
            )
            .with_places(self._placed(line))
            .take(teaches)
        )

    def quoted(self, before: int) -> QuotedLines:
        """Lines with an estimate, as they could be asked about on the day it was made."""
        line, extra, sums = self._summed(before)
        first, last = (
            self._over_line(line, sums["first_day"], np.minimum, NEVER),
            self._over_line(line, sums["last_day"], np.maximum, -NEVER),
        )
        worked = first < NEVER
        first_made = self._first_made(before)
        finished = self._finished_on(before, last) < NEVER
        # A line that was never worked was quoted as it stood when it was first said to be finished; a phase
        # may have been closed before the line was estimated.
        left = np.where(
            finished,
            np.minimum(self._finished_on(before, np.where(worked, last, first_made)), before),
            before,
        )
        estimate = self._latest_version(
            before,
            np.where(worked, first, np.where(first_made < NEVER, np.maximum(left, first_made), -NEVER)),
        )
        hours = np.bincount(line[~extra], sums["hours"][~extra], self.count).astype(float)
        at = np.flatnonzero(
            estimate.within
            & ~self.remembered
            & (np.nan_to_num(estimate.estimated) + np.nan_to_num(estimate.quantity) > 0)
        )
        return QuotedLines(
            number=at,
            version=estimate.version[at],
            made_on=estimate.made_on[at],
            lines=self._to_predict(at, estimate),
            estimated=estimate.estimated[at],
            hours=hours,
            finished=finished,
            worked=worked,
        )

    def as_quoted(self, version: int, known_object: str) -> tuple[Integers, Lines]:
        """The lines of a version as it stood on the day it was made, but for options and for lines begun
        before: their numbers, and the lines as they could be asked about.
        """
        number = np.searchsorted(self.objects, known_object)
        of = (
            (self.object_of[self.estimated_line] == number)
            & (self.objects[number : number + 1] == known_object).any()
            & (self.estimated_version == version)
        )
        of &= np.isnan(self.estimated["option_approved_on"])
        estimate = self._summed_estimates(
            of,
            np.zeros(self.count, dtype=np.int64)
            + int(self.estimates["made_on"].to_numpy()[of].max(initial=0)),
            np.full(self.count, version),
        )
        is_begun = np.zeros(self.count, dtype=bool)
        is_begun[self.of_day["line"][self.of_day["day"] < estimate.made_on[0]]] = True
        at = np.flatnonzero(
            estimate.within
            & ~is_begun
            & (np.nan_to_num(estimate.estimated) + np.nan_to_num(estimate.quantity) > 0)
        )
        return at, self._to_predict(at, estimate)

    def under_way(
        self, before: int, versions: Mapping[str, int], begun_on: Floats
    ) -> tuple[Lines, Floats, Flags]:
        """Every line as it could be asked about while it is open, the chance that it stands open because more
        is to come of it, and whether it was left for weeks while its work went on.

        A line is held by what the version by which its work stands says of it; if that one was made only
        after the line was begun, or has taken it over from the bench, by the last one from before. Who has
        worked on it, and how much was treated, is left aside, as another hand may finish it, and more may
        come.

        Parameters
        ----------
        versions : by object, the number of the version by which it stands.
        begun_on : (lines of the record,) day of the first hours held against the estimate; not a number:
            none.
        """
        line, _, sums = self._summed(before)
        first, last = (
            self._over_line(line, sums["first_day"], np.minimum, NEVER),
            self._over_line(line, sums["last_day"], np.maximum, -NEVER),
        )
        rows = self.estimates
        version = np.array([versions.get(name, -1) for name in self.objects.tolist()], dtype=np.int64)[
            self.object_of
        ]
        made = pd.Series(
            self.version_made, index=self.version_object * VERSIONS + self.version_number
        ).reindex(self.object_of * VERSIONS + version)
        approved = rows["option_approved_on"].to_numpy(dtype=float)
        of = (rows["version"].to_numpy() == version[rows["line"].to_numpy(dtype=np.int64)]) & ~(
            approved >= before
        )
        current = self._summed_estimates(
            of, np.nan_to_num(made.to_numpy(dtype=float), nan=before).astype(np.int64), version
        )
        earlier = self._latest_version(
            before, np.where(np.isnan(begun_on), -NEVER, np.nan_to_num(begun_on)).astype(np.int64)
        )
        # no day at all is never earlier
        too_late = (current.made_on > begun_on) | np.isin(
            np.arange(self.count) * VERSIONS + version, self.taken_over
        )
        both = {
            name: np.where(too_late, getattr(earlier, name), getattr(current, name))
            for name in ("version", "made_on", "hours", "estimated", "quantity", "person", "within")
        }
        every = self._to_predict(np.arange(self.count), VersionLines(**both))
        goes_on = self._more_to_come(first, last, self._finished_on(before, last))
        left = self._left(last)
        rest = goes_on * RESTS_LONG / (goes_on * RESTS_LONG + 1 - goes_on) if goes_on < 1 else 1.0
        return every, np.where(left, rest, goes_on), left

    def _to_predict(self, at: Integers, version: VersionLines) -> Lines:
        nothing = np.full(len(at), np.nan)
        return Lines(
            **self._lines(at, version)
            | {
                "hours": nothing,
                "quantity": nothing,
                "shares": named_shares(version.person[at], self.people),
                "day": version.made_on[at],
                "is_open": np.ones(len(at), dtype=bool),
                "weight": np.ones(len(at)),
            },
            people=self.people,
        ).with_places(self._placed(at))

    def unneeded(self, before: int) -> Lines:
        """Lines that were quoted, and finished without an entry, before a day."""
        quoted = self.quoted(before)
        return quoted.lines.take(quoted.finished[quoted.number] & ~quoted.worked[quoted.number])

    def foreseen(self, before: int) -> ForeseenTechniques:
        """What first estimates foresaw of works that were finished before a day. What was charged extra is no
        surprise to a promise.
        """
        line, extra, sums = self._summed(before)
        quoted_hours = (sums["hours"] > 0) & ~extra
        first = self._over_line(line[quoted_hours], sums["first_day"][quoted_hours], np.minimum, NEVER)
        last = self._over_line(line, sums["last_day"], np.maximum, -NEVER)
        finished = (self._finished_on(before, last) < NEVER) | (last == -NEVER)
        made, version = self._first_sheets(
            before, self._over_line(line, sums["first_day"], np.minimum, NEVER), last
        )
        rows = self.estimates
        estimated = rows["line"].to_numpy(dtype=np.int64)
        counts = (rows["version"].to_numpy() == version[self.object_of[estimated]]) & ~(
            rows["option_approved_on"].to_numpy(dtype=float) >= before
        )
        within = np.bincount(estimated[counts], minlength=self.count) > 0
        worked = first < NEVER
        over = (
            (made < NEVER)
            & (np.bincount(self.object_of[self.remembered], minlength=len(self.objects)) == 0)
            & (np.bincount(self.object_of[worked], minlength=len(self.objects)) > 0)
            & (np.bincount(self.object_of[~finished], minlength=len(self.objects)) == 0)
        )
        of = over[self.object_of] & (worked | within)
        techniques, technique = np.unique(self.names["technique"], return_inverse=True)
        shape = (len(self.objects), len(techniques))

        def any_of(which: Flags) -> Flags:
            result = np.zeros(shape, dtype=bool)
            result[self.object_of[of & which], technique[of & which]] = True
            return result

        after = first >= made[self.object_of]
        quoted, before_it = any_of(within), any_of(worked & ~after)
        if self.frames.has_wholes:
            quoted, over = self._with_wholes(quoted, techniques, over)
        new = any_of(worked & ~within & after)
        ever = quoted.any(axis=0) | new.any(axis=0) | before_it.any(axis=0)
        pairs, often = np.unique(
            np.stack([technique[of], np.unique(self.names["phase"], return_inverse=True)[1][of]]),
            axis=1,
            return_counts=True,
        )
        mostly = np.zeros(len(techniques), dtype=np.int64)
        for (which, phase), _ in sorted(
            zip(pairs.T.tolist(), often.tolist(), strict=True), key=lambda item: item[1]
        ):
            mostly[which] = phase
        phases = np.unique(self.names["phase"])[mostly] if self.count else np.zeros(0, dtype=str)
        return ForeseenTechniques(
            objects=self.objects[over],
            techniques=techniques[ever],
            phases=phases[ever],
            quoted=quoted[over][:, ever],
            worked_before=before_it[over][:, ever],
            turned_up=(new & ~quoted & ~before_it)[over][:, ever],
            another=(new & quoted)[over][:, ever],
        )

    def _with_wholes(self, quoted: Flags, techniques: Names, over: Flags) -> tuple[Flags, Flags]:
        """What was quoted (works, techniques), where a whole phase stands for all that is in it, and what is
        in it for the whole; and the works (works,) of which something may turn up at all: those that were not
        quoted as a whole.
        """
        phase_of = np.full(len(techniques), "", dtype=self.names["phase"].dtype)
        phase_of[np.unique(self.names["technique"], return_inverse=True)[1]] = self.names["phase"]
        whole = levels.is_whole(techniques)
        of_work = techniques == levels.WHOLE_WORK
        in_phase = (phase_of[:, None] == phase_of[None, :]) & ~of_work[:, None] & ~of_work[None, :]
        stands_for = in_phase & (whole[:, None] | whole[None, :])
        return quoted | ((quoted.astype(float) @ stands_for) > 0), over & ~quoted[:, of_work].any(axis=1)

    def _first_sheets(self, before: int, first: Integers, last: Integers) -> tuple[Integers, Integers]:
        """Of each work the day and the number of the estimate with which its treatment began: the first one,
        or a later one that was made before anything was logged after it; `NEVER` where there is none.
        `first`, `last` are days with entries of each line.
        """
        standing = self._standing(before) & self.version_whole
        # a revision of the same day is none, but where it is the first of the whole, after a first stage
        has = np.zeros(len(self.objects), dtype=bool)
        has[self.version_object[standing & ~self.version_revises]] = True
        standing &= ~self.version_revises | ~has[self.version_object]
        made = np.full(len(self.objects), NEVER, dtype=np.int64)
        np.minimum.at(made, self.version_object[standing], self.version_made[standing])
        of_line = made[self.object_of]
        next_entry = np.where(first >= of_line, first, np.where(last >= of_line, last, NEVER))
        first_entry = np.full(len(self.objects), NEVER, dtype=np.int64)
        np.minimum.at(first_entry, self.object_of, next_entry)
        counts = standing & (self.version_made <= np.maximum(first_entry, made)[self.version_object])
        day, number = (
            np.full(len(self.objects), -NEVER, dtype=np.int64),
            np.full(len(self.objects), -1, dtype=np.int64),
        )
        np.maximum.at(day, self.version_object[counts], self.version_made[counts])
        latest = counts & (self.version_made == day[self.version_object])
        np.maximum.at(number, self.version_object[latest], self.version_number[latest])
        return np.where(number < 0, NEVER, day), np.where(number < 0, NEVER, number)
