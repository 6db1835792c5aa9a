"""When works leave the bench: at each moment everybody takes up the first work in order that is there for
them, and what presses or dries alone leaves the bench to others meanwhile.

The works pass as in a shop with one queue in order (a dispatching rule), where a work that comes back from
waiting is taken up again before those behind it. Time is in days from the beginning of the first day; bench
hours of a day pass evenly between `OPENS` and `CLOSES`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboard.analysis.arrays import Flags, Floats, Integers

WHOEVER = -1
OPENS, CLOSES = 9 / 24, 17 / 24
_NOTHING = 1e-9  # of an hour, or of a day
_DAYS_A_WEEK = 7
_APART = 1e-6  # of a day, by which one looks again behind somebody who is still at it
_NEVER = 1e6  # days
_FAR = 1e7  # hours by which the rows of different draws lie apart in one table


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What is left of a work, step by step.

    Attributes
    ----------
    hours : (steps, draws) at the bench.
    waits : (steps, draws) days that pass alone after each.
    person : (steps,) number of who does it, or `WHOEVER`.
    ready : days from the beginning on which it can be taken up.
    """

    hours: Floats
    waits: Floats
    person: Integers
    ready: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spells:
    """Pieces of work, or of waiting, one after the other: in which draw, of which work; at the bench by whom,
    from and to which of that person's hours; waiting from and to which day.
    """

    draw: Integers
    work: Integers
    person: Integers
    start: Floats
    end: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How it goes: `leaves` (works, draws) in days; `worked` and `waited` of the first draws."""

    leaves: Floats
    worked: Spells
    waited: Spells


class BenchTime:
    """Hours at the bench of each person on each day.

    Parameters
    ----------
    hours : (people, draws, days), of two who are free the first takes up what is there; on which days
        somebody is there at all is the same in each draw.
    usual : (people,) hours of a day behind the last, on average; above 0.
    """

    def __init__(self, hours: Floats, usual: Floats) -> None:
        if hours.ndim != 3 or len(usual) != len(hours) or not (usual > 0).all():
            raise ValueError("everybody needs some hours at the bench")
        self.people, self.draws, self.days = hours.shape
        self._hours = hours.reshape(-1, self.days)
        self._upto = np.concatenate([np.zeros((len(self._hours), 1)), np.cumsum(self._hours, axis=1)], axis=1)
        self._usual = np.repeat(usual, self.draws)
        self._stays = _runs(hours[:, 0] > 0)
        self._flat = (self._upto + _FAR * np.arange(len(self._upto))[:, None]).ravel()

    def passed(self, person: Integers, draw: Integers, when: Floats) -> Floats:
        """Hours that have passed by a time."""
        row = person * self.draws + draw
        day = np.clip(when.astype(np.int64), 0, self.days - 1)
        share = np.clip((when - day - OPENS) / (CLOSES - OPENS), 0.0, 1.0)
        values: Floats = (
            self._upto[row, day]
            + self._hours[row, day] * share
            + np.maximum(when - self.days, 0.0) * self._usual[row]
        )
        return values

    def when(self, person: Integers, draw: Integers, hours: Floats) -> Floats:
        """The first time by which so many hours have passed."""
        row = person * self.draws + draw
        place = np.searchsorted(self._flat, hours - _NOTHING + _FAR * row) - row * (self.days + 1)
        day = np.clip(place - 1, 0, self.days - 1)
        within = np.divide(
            hours - self._upto[row, day],
            self._hours[row, day],
            out=np.zeros(len(row)),
            where=self._hours[row, day] > 0,
        )
        inside = day + OPENS + np.clip(within, 0.0, 1.0) * (CLOSES - OPENS)
        beyond = self.days + (hours - self._upto[row, -1]) / self._usual[row]
        values: Floats = np.where(hours <= _NOTHING, 0.0, np.where(place > self.days, beyond, inside))
        return values

    def begins(self, person: Integers, draw: Integers, when: Floats) -> Floats:
        """The first time from then on at which somebody is at the bench."""
        row = person * self.draws + draw
        day = (
            np.searchsorted(self._flat, self.passed(person, draw, when) + _NOTHING + _FAR * row, side="right")
            - row * (self.days + 1)
            - 1
        )
        values: Floats = np.where(
            when >= self.days, when, np.maximum(when, np.where(day >= self.days, self.days, day + OPENS))
        )
        return values

    def stays(self, person: Integers, when: Floats) -> Floats:
        """Until when somebody who is at the bench stays: the end of the last day before one away, or of a
        week.
        """
        day = np.minimum(when.astype(np.int64), self.days - 1)
        values: Floats = np.where(
            when >= self.days, np.floor(when) + _DAYS_A_WEEK, self._stays[person, day] + CLOSES
        )
        return values

    def by_day(self, worked: Spells, works: int, days: int, draws: int) -> Floats:
        """(works, days) hours on each day, on average over the first draws."""
        row = worked.person * self.draws + worked.draw
        by_work = np.zeros((works, days))
        for day in range(min(days, self.days)):
            hours = np.minimum(worked.end, self._upto[row, day + 1]) - np.maximum(
                worked.start, self._upto[row, day]
            )
            by_work[:, day] = np.bincount(worked.work, np.maximum(hours, 0.0), works)
        return by_work / draws

    def of_day(self, days: int, draws: int) -> Floats:
        """(days,) hours of everybody together on each day, on average over the first draws."""
        hours = self._hours.reshape(self.people, self.draws, self.days)[:, :draws, :days]
        values: Floats = hours.mean(axis=1).sum(axis=0)
        return np.pad(values, (0, max(days - len(values), 0)))


def _runs(mask: Flags) -> Integers:
    """(people, days) the last of the days in a row on which somebody is there, at most a week; of a day away
    the day itself.
    """
    starts = np.tile(np.arange(mask.shape[1]), (len(mask), 1))
    for day in range(mask.shape[1] - 2, -1, -1):
        starts[:, day] = np.where(
            mask[:, day] & mask[:, day + 1], np.minimum(starts[:, day + 1], day + _DAYS_A_WEEK - 1), day
        )
    return starts


def waiting_by_day(waited: Spells, works: int, days: int, draws: int) -> Floats:
    """(works, days) share of the first draws in which a work waits alone at noon of a day."""
    shares = np.zeros((works, days))
    for day in range(days):
        waits = (waited.start <= day + 0.5) & (waited.end > day + 0.5)
        shares[:, day] = np.bincount(waited.work[waits], minlength=works)
    return shares / draws


def course(works: Sequence[Work], bench: BenchTime, shown: int = 0) -> Course:
    """How works go that are in order: the first is taken up before all others.

    Parameters
    ----------
    shown : of so many draws the spells are kept.
    """
    shop = _Shop(works, bench, shown)
    unfinished = np.arange(bench.draws)
    while len(unfinished := unfinished[shop.to_do(unfinished).any(axis=1)]):
        shop.turn(unfinished)
    return Course(leaves=shop.ready.T, worked=shop.worked.all(), waited=shop.waited.all())


class _Shop:
    """All draws at once: of each (draws, works) the step in hand (`at`), the hours `left` of it, whose it is
    (`theirs`), and from when on it is `ready`; and each person's `clock`.
    """

    def __init__(self, works: Sequence[Work], bench: BenchTime, shown: int) -> None:
        self._bench, draws, n = bench, bench.draws, len(works)
        steps = [_joined(work, draws) for work in works]
        most = max((len(step.hours) for step in steps), default=0) + 1
        self._hours, self._waits = np.zeros((n, most, draws)), np.zeros((n, most, draws))
        self._person = np.full((n, most, draws), WHOEVER, dtype=np.int64)
        for number, work_steps in enumerate(steps):
            k = len(work_steps.hours)
            self._hours[number, :k], self._waits[number, :k], self._person[number, :k] = (
                work_steps.hours,
                work_steps.waits,
                work_steps.person,
            )
        self._count = (
            np.stack([step.count for step in steps], axis=1)
            if steps
            else np.zeros((draws, 0), dtype=np.int64)
        )
        self.ready = np.stack([step.ready for step in steps], axis=1) if steps else np.zeros((draws, 0))
        self._at, self._left, self._theirs = (
            np.zeros((draws, n), dtype=np.int64),
            self._hours[:, 0].T.copy(),
            self._person[:, 0].T.copy(),
        )
        self._clock = np.zeros((draws, bench.people))
        self._before = np.arange(n)[None, :]
        self._comes_to = _comes_to(works, bench.people)
        self.worked, self.waited = _Kept(shown), _Kept(shown)

    def to_do(self, some: Integers) -> Flags:
        """Which works of some draws are not finished."""
        mask: Flags = self._at[some] < self._count[some]
        return mask

    def turn(self, some: Integers) -> None:
        """In each of some draws one turn of whoever is the first to be asked: a piece of work, or the time at
        which they are asked again.
        """
        who = np.argmin(self._clock[some], axis=1)
        begins = self._bench.begins(who, some, self._clock[some, who])
        is_free = begins <= self._clock[some, who] + _NOTHING
        self._clock[some, who] = begins
        # who is away is asked again when they are back: meanwhile somebody else is
        some, who, begins = (some[is_free], who[is_free], begins[is_free])
        if not len(some):
            return
        to_do = self.to_do(some)
        open_to = to_do & ((self._theirs[some] == WHOEVER) | (self._theirs[some] == who[:, None]))
        when = np.where(open_to, self.ready[some], np.inf)
        # what is with somebody else and may come to them: not before that one has looked at it again
        left_by = np.maximum(
            self.ready[some], np.take_along_axis(self._clock[some], np.maximum(self._theirs[some], 0), axis=1)
        )
        may_come = np.where(
            to_do & ~open_to & self._comes_to[:, who].T, np.maximum(left_by, begins[:, None]) + _APART, np.inf
        )
        begins_now = when <= begins[:, None] + _NOTHING
        first, any_here = begins_now.argmax(axis=1), begins_now.any(axis=1)
        idle = ~any_here
        self._clock[some[idle], who[idle]] = np.minimum(
            np.minimum(when[idle], may_come[idle]).min(axis=1), _NEVER
        )
        later = np.where(
            (self._before < first[:, None]) & ~begins_now, np.minimum(when, may_come), np.inf
        ).min(axis=1)
        self._work(some[any_here], who[any_here], first[any_here], begins[any_here], later[any_here])

    def _work(self, d: Integers, p: Integers, w: Integers, values: Floats, before: Floats) -> None:
        """In draw d person p works on w, until the step is done or a work that stands before it in order is
        there (`before`).
        """
        begins = self._bench.passed(p, d, values)
        ends = begins + self._left[d, w]
        done_at = self._bench.when(p, d, ends)
        if self._bench.people > 1:  # what is nobody's in particular is left to others by who goes away
            before = np.where(
                self._theirs[d, w] == WHOEVER, np.minimum(before, self._bench.stays(p, values)), before
            )
        broken = before < done_at - _NOTHING
        until = np.maximum(np.where(broken, before, done_at), values)
        ends = np.where(broken, np.clip(self._bench.passed(p, d, until), begins, ends), ends)
        self._clock[d, p] = self.ready[d, w] = until
        self._left[d, w] -= ends - begins
        self.worked.add(d, w, p, begins, ends)
        over = ~broken | (self._left[d, w] <= _NOTHING)
        d, w = d[over], w[over]
        alone = self._waits[w, self._at[d, w], d]
        self.waited.add(d, w, np.zeros(len(d), dtype=np.int64), self.ready[d, w], self.ready[d, w] + alone)
        self.ready[d, w] += alone
        self._at[d, w] += 1
        self._left[d, w], self._theirs[d, w] = (
            self._hours[w, self._at[d, w], d],
            self._person[w, self._at[d, w], d],
        )


def _comes_to(works: Sequence[Work], people: int) -> Flags:
    """(works, people) there is something in a work for somebody."""
    result = np.zeros((len(works), people), dtype=bool)
    for number, work in enumerate(works):
        result[number] = np.isin(np.arange(people), work.person) | (work.person == WHOEVER).any()
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class _Steps:
    """Steps of a work, draw by draw: (steps, draws), of which `count` (draws,) are there."""

    hours: Floats
    waits: Floats
    person: Integers
    count: Integers
    ready: Floats


def _joined(work: Work, draws: int) -> _Steps:
    """Without steps of no hours; those between which nothing waits and nobody changes are one."""
    hours, waits = np.zeros((len(work.hours), draws)), np.zeros((len(work.hours), draws))
    person = np.full((len(work.hours), draws), WHOEVER, dtype=np.int64)
    ready, place, every = np.full(draws, float(work.ready)), np.full(draws, -1), np.arange(draws)
    for step, who in enumerate(work.person.tolist()):
        has_hours = work.hours[step] > _NOTHING
        last = np.maximum(place, 0)
        place = place + (has_hours & ((place < 0) | (waits[last, every] > 0) | (person[last, every] != who)))
        d = every[has_hours]
        hours[place[d], d] += work.hours[step, d]
        person[place[d], d] = who
        is_first = place >= 0
        waits[place[is_first], every[is_first]] += work.waits[step, is_first]
        ready[~is_first] += work.waits[step, ~is_first]
    return _Steps(hours=hours, waits=waits, person=person, count=place + 1, ready=ready)


class _Kept:
    """Spells of the first draws, as they come."""

    def __init__(self, shown: int) -> None:
        self._shown = shown
        self._parts: list[tuple[Integers, Integers, Integers, Floats, Floats]] = []

    def add(self, draw: Integers, work: Integers, person: Integers, start: Floats, end: Floats) -> None:
        its: Flags = (draw < self._shown) & (end > start)
        if its.any():
            self._parts.append((draw[its], work[its], person[its], start[its], end[its]))

    def all(self) -> Spells:
        none = (
            np.zeros(0, dtype=np.int64),
            np.zeros(0, dtype=np.int64),
            np.zeros(0, dtype=np.int64),
            np.zeros(0),
            np.zeros(0),
        )
        draw, work, person, start, end = (
            (np.concatenate(of) for of in zip(*self._parts, strict=True)) if self._parts else none
        )
        return Spells(draw=draw, work=work, person=person, start=start, end=end)
