"""Work that no estimate foresaw: how likely each technique turns up on a new work, told from what turned up on finished ones.

The chance of a technique is pooled: its own works towards its phase, the phase towards the studio. What a new work is, and what is on its sheet, moves it as far as the record
bears that out: for each thing that can be said of a work, and each two, finished works are parted into those of which it holds and those of which it does not, and the
parted accounts weigh beside the unparted one by how well they tell what turned up (Bayesian model averaging over one split: J. A. Hoeting, D. Madigan, A. E. Raftery,
C. T. Volinsky, "Bayesian model averaging: a tutorial", Statistical Science 14 (1999) 382-417; each account is beta-binomial).
What the studio nearly always does is no discovery: where a sheet lacks it, it is `usually_done`, and no part of what may turn up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from dashboard.analysis import joint
from dashboard.analysis.calibration import Calibration
from dashboard.analysis.lines import Lines, Names
from dashboard.analysis.mixed import Flags, Floats
from dashboard.analysis.record import Foreseen

_STUDIO = (0.03, 60.0)  # before there is a record: chance that a technique turns up, and the works by techniques that is worth
_PHASE, _TECHNIQUE = 30.0, 6.0  # works by techniques, and works, that the wider level is worth
_UNPARTED, _BY_ONE, _BY_TWO = 0.5, 0.35, 0.15  # what is believed beforehand of no split, of one thing, of two
_FEWEST = 3  # works of which two things hold, before they are looked at together
_TOGETHER = np.linspace(0.0, 0.6, 13)
_BELIEVED = np.array([1.5, 8.0])  # beta: what comes together mostly does so a little
_UNSURE = 0.2  # variance of the common cause where nothing ever turned up; less with each that did
_NODES = 15
GRADES = ("structure", "paint", "surface")  # the conditions of a work, each 0 to 3
_WHEN_WORTH = 6.0  # finds that "any time is as likely" is worth
_SMALLER_WORTH = 8.0
_MARKED = 2.0  # grade from which a condition is marked
OF_A_KIND, ENOUGH_OF_A_KIND = (
    3,
    8,
)  # finished works of its kind: from which on only what was ever done on them may turn up; from which on they alone are looked at
_NEARLY_ALWAYS = 0.9  # of finished works of its kind (common practice, no source), `ENOUGH_OF_A_KIND` at least: what they have is forgotten on a sheet without it, and no discovery
FEW_WORKS = 5  # finished works with an estimate, below which it is said that the record is too short to name what may turn up

Thing = tuple[str, str]
"""What can be said of a work: of which kind, and the word: ("technique", "tear mending"), ("structure", "marked")."""


Splits = tuple[list[tuple[Thing, ...]], Floats]
"""Ways to part finished works by what can be said of them, none first; and (works, splits but none) of which works each holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """A work as far as it bears on what may turn up; unknown is an empty name, or no number. `area` is of the picture, dm²; `techniques` are on its sheet, `worked` was begun
    already: it turned up, if it was not quoted."""

    kind: str = ""
    support: str = ""
    grades: tuple[float, float, float] = (np.nan, np.nan, np.nan)
    area: float = np.nan
    techniques: frozenset[str] = frozenset()
    worked: frozenset[str] = frozenset()

    @classmethod
    def of(cls, held: Mapping[Any, Any], techniques: frozenset[str], worked: frozenset[str] = frozenset()) -> Described:
        """A work by what is held of it, by the names of the objects form."""
        structure, paint, surface = (_known(held.get(f"{name}_condition")) for name in GRADES)
        return cls(
            kind=_word(held.get("kind")), support=_word(held.get("support")), grades=(structure, paint, surface), area=_known(held.get("area_dm2")), techniques=techniques, worked=worked
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Discoveries:
    """What finished works teach of what turns up. Known by itself and not by what it holds, so that what is asked of it for one work after another is kept beside it.

    Attributes
    ----------
    past : what first estimates had, and what turned up. described : the finished works, in the order of `past`.
    when : (k,) rising, 0 to 1: how far finished works were, of their hours, when something turned up on them.
    together : how far things turn up together on one work. smaller : by how much the log hours of what turned up differ from a line of which nothing is measured.
    """

    past: Foreseen
    described: tuple[Described, ...]
    together: float
    smaller: float
    when: Floats

    @property
    def works(self) -> int:
        return len(self.described)

    def looked_at(self, work: Described) -> Foreseen:
        """The finished works that a new one is told from; what is nearly always done has not turned up on them."""
        known = _of_its_kind(self, work.kind)[0]
        return replace(known.past, turned_up=known.past.turned_up & ~_nearly_always(self, work.kind)[None, :])


def learn(past: Foreseen, works: pd.DataFrame, known: Calibration, begun: pd.DataFrame) -> Discoveries:
    """From finished works.

    Parameters
    ----------
    works : frame `object`, `kind`, `support`, `structure_condition`, `paint_condition`, `surface_condition`.
    known : calibrated on the same record.
    begun : frame of lines, `object`, `technique`, `passed`: how far each work was (0 to 1, of its hours) when each line was begun on it.
    """
    rows = works.set_index("object").reindex(past.objects)
    described = tuple(Described.of(row, frozenset(past.techniques[past.quoted[number]].tolist())) for number, row in enumerate(rows.to_dict("records")))
    return Discoveries(past=past, described=described, together=_together(past), smaller=_smaller(past, known), when=when(past, begun))


def _word(value: object) -> str:
    return value if isinstance(value, str) else ""


def _known(value: Any) -> float:
    return np.nan if value is None or pd.isna(value) else float(value)


def when(past: Foreseen, begun: pd.DataFrame) -> Floats:
    """See `Discoveries.when`; `begun` as for `learn`."""
    first = begun.groupby(["object", "technique"], as_index=False).agg(
        turned_up=("passed", "min"), another=("passed", "max")
    )  # another part is the one begun later
    found = []
    for name, happened in (("turned_up", past.turned_up), ("another", past.another)):
        work, technique = np.nonzero(happened)
        pairs = pd.DataFrame({"object": past.objects[work].astype(str), "technique": past.techniques[technique].astype(str)})
        found.append(first.merge(pairs, on=["object", "technique"])[name].to_numpy(dtype=float))
    return np.sort(np.concatenate(found))


def _pooled(turned: Flags, at_risk: Flags, phases: Names) -> Floats:
    """(T,) chance of each technique beforehand: what its phase says, and that as far as the studio says."""
    studio = (turned.sum() + _STUDIO[0] * _STUDIO[1]) / (at_risk.sum() + _STUDIO[1])
    names, phase = np.unique(phases, return_inverse=True)
    hit, of = np.bincount(phase, turned.sum(axis=0), len(names)), np.bincount(phase, at_risk.sum(axis=0), len(names))
    found: Floats = ((hit + studio * _PHASE) / (of + _PHASE))[phase]
    return found


def _together(past: Foreseen) -> float:
    """How far things turn up together: the share of a common cause in a normal copula of what turned up on each work, the mean over what is believed of it given the record."""
    at_risk = ~past.quoted & ~past.worked_before
    turned = past.turned_up
    events = int(turned.sum())
    believed = (_BELIEVED[0] - 1) * np.log(np.maximum(_TOGETHER, 0.01)) + (_BELIEVED[1] - 1) * np.log(1 - _TOGETHER)
    if len(past.objects):
        prior = _pooled(turned, at_risk, past.phases)
        chance = (turned.sum(axis=0) + _TECHNIQUE * prior) / (at_risk.sum(axis=0) + _TECHNIQUE)
        nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
        for number, share in enumerate(_TOGETHER):
            log_yes = special.log_ndtr((special.ndtri(chance)[None, :] + np.sqrt(share) * nodes[:, None]) / np.sqrt(1 - share))
            log_no = special.log_ndtr(-(special.ndtri(chance)[None, :] + np.sqrt(share) * nodes[:, None]) / np.sqrt(1 - share))
            of_node = turned @ log_yes.T + (at_risk & ~turned) @ log_no.T
            believed[number] += special.logsumexp(of_node + np.log(weights / weights.sum()), axis=1).sum()
    weight = np.exp(believed - believed.max())
    share = float((weight * _TOGETHER).sum() / weight.sum())
    odds = share / (1 - share) + _UNSURE / (1 + events)  # how often things turn up at all is less sure the fewer did, and that bears on all of them at once
    return odds / (1 + odds)


def _smaller(past: Foreseen, known: Calibration) -> float:
    """What turned up is often less than a line that was quoted: mean difference in log hours, towards none where there are few."""
    lines = known.joint.lines
    lines = lines.take(~lines.is_open)
    work = {name: number for number, name in enumerate(past.objects.tolist())}
    technique = {name: number for number, name in enumerate(past.techniques.tolist())}
    w = np.array([work.get(name, -1) for name in lines.object.tolist()], dtype=np.int64)
    t = np.array([technique.get(name, -1) for name in lines.technique.tolist()], dtype=np.int64)
    there = (w >= 0) & (t >= 0) & np.isnan(lines.figure) & np.isnan(lines.quoted)
    there[there] = (past.turned_up | past.another)[w[there], t[there]]
    found = lines.take(there)
    if not len(found):
        return 0.0
    mean, _ = joint.alone(known.joint, unmeasured(found))
    return float((np.log(found.hours) - mean).sum() / (len(found) + _SMALLER_WORTH))


def unmeasured(lines: Lines) -> Lines:
    """The same lines with nothing known of size, figure and person."""
    nothing = np.full(len(lines), np.nan)
    return replace(lines, quantity=nothing, quoted=nothing, figure=nothing, person=np.full(len(lines), ""), shares=np.zeros_like(lines.shares))


@dataclass(frozen=True, slots=True, kw_only=True)
class MayTurnUp:
    """A technique that may turn up.

    Attributes
    ----------
    another : it is on the sheet, and turns up on another part too.
    chance : 0 to 1. times, of : on how many finished works it did, of how many of which `things` hold (none: of all) and on which it was not quoted.
    """

    technique: str
    phase: str
    another: bool
    chance: float
    times: int
    of: int
    things: tuple[Thing, ...]


def still(known: Discoveries, one: MayTurnUp, passed: float) -> MayTurnUp:
    """What may turn up on a work and has not by now: the less likely the further the work is (`passed`, 0 to 1)."""
    seen = float(((known.when <= passed).sum() + _WHEN_WORTH * passed) / (len(known.when) + _WHEN_WORTH))
    return replace(one, chance=one.chance * (1 - seen) / (1 - one.chance * seen) if one.chance * seen < 1 else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class UsuallyDone:
    """A technique that is missing from a sheet: `works` of the `of` finished works that are looked at, those of a `kind` or (empty) all, had it, quoted or not."""

    technique: str
    phase: str
    works: int
    of: int
    kind: str


def usually_done(known: Discoveries, work: Described) -> list[UsuallyDone]:
    """What is nearly always done on works of its kind, and is neither on the sheet of this one nor begun on it; see `_nearly_always`."""
    missing = _nearly_always(known, work.kind) & ~np.isin(known.past.techniques, sorted(work.techniques | work.worked))
    past = _of_its_kind(known, work.kind)[0].past
    had, kind = _had(past).sum(axis=0), work.kind if len(past.objects) < known.works else ""
    return [
        UsuallyDone(technique=str(past.techniques[t]), phase=str(past.phases[t]), works=int(had[t]), of=len(past.objects), kind=kind)
        for t in np.flatnonzero(missing)
    ]


def _had(past: Foreseen) -> Flags:
    """(W, T) the finished work had it, on its first estimate or when it was worked."""
    return past.quoted | past.worked_before | past.turned_up


@lru_cache(maxsize=16)
def _nearly_always(known: Discoveries, kind: str) -> Flags:
    """(T,) nine in ten of the finished works that are looked at had it, and there are enough of them; where these are of all kinds, nine in ten of those of its own kind too."""
    own = _of_its_kind(known, kind)[0]
    if own.works < ENOUGH_OF_A_KIND:
        return np.zeros(len(known.past.techniques), dtype=bool)
    always: Flags = _had(own.past).mean(axis=0) >= _NEARLY_ALWAYS
    same = np.array([one.kind == kind for one in known.described], dtype=bool)
    return always & (_had(known.past)[same].mean(axis=0) >= _NEARLY_ALWAYS) if kind and same.any() else always


def expected(known: Discoveries, work: Described) -> list[MayTurnUp]:
    """Everything that may turn up on a new work, the likeliest first; nothing that this studio never did, and nothing that it nearly always does."""
    if not known.works:
        return []
    everywhere = known.works
    always = _nearly_always(known, work.kind)
    known, done = _of_its_kind(known, work.kind)
    past = known.past
    on_sheet = np.isin(past.techniques, sorted(work.techniques))
    under_way = np.isin(past.techniques, sorted(work.worked))
    at_risk = ~past.quoted & ~past.worked_before & ~always[None, :]  # what is nearly always done says nothing of how often others turn up
    splits = _splits(known, work)
    found = _told(known, splits, past.turned_up & at_risk, at_risk, ~on_sheet & ~under_way & done, another=False)
    found += _told(known, splits, past.another, past.quoted, on_sheet & done, another=True)
    if known.works < everywhere:  # the works that are told are of its kind alone
        found = [replace(one, things=(("kind", work.kind), *one.things)) for one in found]
    return sorted(found, key=lambda one: (-one.chance, one.technique))


@lru_cache(maxsize=16)
def _of_its_kind(known: Discoveries, kind: str) -> tuple[Discoveries, Flags]:
    """The finished works to look at, those of its kind where there are enough, and (T,) the techniques that may turn up on such a work: what was never done on its kind does not."""
    past = known.past
    same = np.array([one.kind == kind for one in known.described], dtype=bool)
    if not kind or same.sum() < OF_A_KIND:
        return known, np.ones(len(past.techniques), dtype=bool)
    done = _had(past)[same].any(axis=0)
    if same.sum() < ENOUGH_OF_A_KIND:
        return known, done
    own = replace(
        past, objects=past.objects[same], quoted=past.quoted[same], worked_before=past.worked_before[same], turned_up=past.turned_up[same], another=past.another[same]
    )  # fmt: skip
    return replace(known, past=own, described=tuple(one for one, is_same in zip(known.described, same.tolist(), strict=True) if is_same)), done


def _told(known: Discoveries, splits: Splits, turned: Flags, at_risk: Flags, asked: Flags, *, another: bool) -> list[MayTurnUp]:
    past = known.past
    where = np.flatnonzero(asked & at_risk.any(axis=0))
    if not len(where):
        return []
    prior = _pooled(turned, at_risk, past.phases)[where]
    turned, at_risk = (turned & at_risk)[:, where], at_risk[:, where]
    a, b = _TECHNIQUE * prior, _TECHNIQUE * (1 - prior)
    things, holds = splits
    everywhere = np.ones((known.works, 1))
    of = np.hstack([everywhere, holds]).T @ at_risk.astype(float)  # (1 + splits, techniques)
    hit = np.hstack([everywhere, holds]).T @ turned.astype(float)
    own = special.betaln(a + hit, b + of - hit)
    apart = special.betaln(a + hit[0] - hit, b + (of[0] - of) - (hit[0] - hit)) - special.betaln(a, b)
    weight = np.where(of == 0, -np.inf, own + apart)  # of nothing like it is anything known
    weight[0] = own[0]
    weight += np.log(_believed(things))[:, None]
    weight = np.exp(weight - weight.max(axis=0))
    weight /= weight.sum(axis=0)
    chance = (weight * (hit + a) / (of + a + b)).sum(axis=0)
    best = np.where(hit > 0, weight, 0.0).argmax(axis=0)  # the split that tells most, among those with a case to show
    return [
        MayTurnUp(
            technique=str(past.techniques[t]), phase=str(past.phases[t]), another=another, chance=float(chance[n]), times=int(hit[best[n], n]), of=int(of[best[n], n]),
            things=things[best[n]],
        )
        for n, t in enumerate(where)
    ]  # fmt: skip


def _splits(known: Discoveries, work: Described) -> Splits:
    """What holds of the new work, singly and in twos, the empty one first; and (works, splits) of which finished works each holds."""
    place, told = _held(known)
    past = known.described
    singly = _things(work)
    columns = [told[:, place[thing]] if thing in place else np.zeros(len(past)) for thing in singly]
    often = [column.sum() for column in columns]
    useful = [n for n, count in enumerate(often) if 0 < count < len(past)]
    things: list[tuple[Thing, ...]] = [(), *((singly[n],) for n in useful)]
    holds = [columns[n] for n in useful]
    for name in sorted({name for kind, name in place if kind == "technique"} - work.techniques):
        things.append((("without", name),))
        holds.append(1 - told[:, place["technique", name]])
    for one, other in combinations(useful, 2):
        both = columns[one] * columns[other]
        if _FEWEST <= both.sum() < min(often[one], often[other]):
            things.append((singly[one], singly[other]))
            holds.append(both)
    return things, np.stack(holds, axis=1) if holds else np.zeros((len(past), 0))


@lru_cache(maxsize=16)
def _held(known: Discoveries) -> tuple[dict[Thing, int], Floats]:
    """Everything that can be said of some work, and (works, things) of which it holds: the same for all works on the bench."""
    past = known.described
    told = [_things(one) for one in past]
    place = {thing: number for number, thing in enumerate(sorted({thing for one in told for thing in one}))}
    found = np.zeros((len(past), len(place)))
    found[np.repeat(np.arange(len(past)), [len(one) for one in told]), [place[thing] for one in told for thing in one]] = 1.0
    return place, found


def _things(work: Described) -> list[Thing]:
    found: list[Thing] = [(name, word) for name, word in (("kind", work.kind), ("support", work.support)) if word]
    found += [
        (name, "marked" if grade >= _MARKED else "slight")
        for name, grade in zip(("structure", "paint", "surface"), work.grades, strict=True)
        if not np.isnan(grade)
    ]
    return found + [("technique", name) for name in sorted(work.techniques)]


def _believed(things: Sequence[tuple[Thing, ...]]) -> Floats:
    """What is believed of each split before the record is looked at; what two would have stays with one where there are no two."""
    size = np.array([len(one) for one in things])
    found = np.where(size == 0, _UNPARTED, np.where(size == 1, _BY_ONE / max((size == 1).sum(), 1), _BY_TWO / max((size == 2).sum(), 1)))
    share: Floats = found / found.sum()
    return share


def as_lines(
    known: Calibration, found: Sequence[tuple[str, MayTurnUp]], works: Mapping[str, Described], bears_on: Mapping[str, int], people: tuple[str, ...]
) -> Lines:
    """What may turn up on some works, as lines of which nothing is measured; `bears_on`: of each technique which of the three conditions bears on it, where one does."""
    past = known.joint.lines
    units = dict(zip(past.technique.tolist(), past.unit.tolist(), strict=True))
    names = [name for name, _ in found]
    techniques = [one.technique for _, one in found]
    grades = [works[name].grades[bears_on[t]] if t in bears_on else np.nan for name, t in zip(names, techniques, strict=True)]
    n, nothing = len(found), np.full(len(found), np.nan)
    return Lines(
        object=np.array(names), phase=np.array([one.phase for _, one in found]), technique=np.array(techniques), part=np.full(n, "?"),
        unit=np.array([units.get(t, "") for t in techniques]), kind=np.array([works[name].kind for name in names]), hours=nothing, quantity=nothing, quoted=nothing,
        figure=nothing, condition=np.array(grades), area=np.array([works[name].area for name in names], dtype=float), person=np.full(n, ""), shares=np.zeros((n, len(people))), people=people,
        day=np.full(n, known.joint.levels.now), is_open=np.ones(n, dtype=bool), weight=np.ones(n),
    )  # fmt: skip
