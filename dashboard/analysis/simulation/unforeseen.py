"""Work that no estimate foresaw: how likely each technique turns up on a new work, told from what turned up
on finished ones.

The chance of a technique is pooled: its own works towards its phase, the phase towards the studio. What a new
work is, and what is on its sheet, moves it as far as the record bears that out: for each thing that can be
said of a work, and each two, finished works are parted into those of which it holds and those of which it
does not, and the parted accounts weigh beside the unparted one by how well they tell what turned up (Bayesian
model averaging over one split: J. A. Hoeting, D. Madigan, A. E. Raftery, C. T. Volinsky, "Bayesian model
averaging: a tutorial", Statistical Science 14 (1999) 382-417; each account is beta-binomial). What the studio
nearly always does is no discovery: where a sheet lacks it, it is `usually_done`, and no part of what may turn
up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Flags, Floats
from dashboard.analysis.data.levels import is_whole
from dashboard.analysis.data.lines import WHOLE, Lines
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.simulation.discovery_model import (
    _TECHNIQUE,
    DiscoveryModel,
    WorkFeatures,
    beyond_sheet,
    had_technique,
    nearly_always,
    of_its_kind,
    pooled_chance,
)

_UNPARTED, _BY_ONE, _BY_TWO = 0.5, 0.35, 0.15  # what is believed beforehand of no split, of one thing, of two
_FEWEST = 3  # works of which two things hold, before they are looked at together
_WHEN_WORTH = 6.0  # finds that "any time is as likely" is worth
_MARKED = 2.0  # grade from which a condition is marked
# finished works with an estimate, below which it is said that the record is too short to name what may turn
# up
FEW_WORKS = 5

# what can be said of a work, by its kind: ("technique", "tear mending"), ("structure", "marked")
Feature = tuple[str, str]


# features by which finished works are split, no split first; (works, splits but none) where each holds
Splits = tuple[list[tuple[Feature, ...]], Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class PossibleDiscovery:
    """A technique that may turn up.

    Attributes
    ----------
    another : it is on the sheet, and turns up on another part too.
    chance : 0 to 1.
    times, of : on how many finished works it did, of how many of which `things` hold (none: of all) and on
        which it was not quoted.
    """

    technique: str
    phase: str
    another: bool
    chance: float
    times: int
    of: int
    things: tuple[Feature, ...]


def given_progress(
    discoveries: DiscoveryModel, may_turn_up: PossibleDiscovery, passed: float
) -> PossibleDiscovery:
    """What may turn up on a work and has not by now: the less likely the further the work is (`passed`, 0 to
    1).
    """
    share_by_then = float(
        ((discoveries.when <= passed).sum() + _WHEN_WORTH * passed) / (len(discoveries.when) + _WHEN_WORTH)
    )
    return replace(
        may_turn_up,
        chance=may_turn_up.chance * (1 - share_by_then) / (1 - may_turn_up.chance * share_by_then)
        if may_turn_up.chance * share_by_then < 1
        else 0.0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualTechnique:
    """A technique that is missing from a sheet: `works` of the `of` finished works that are looked at, those
    of a `kind` or (empty) all, had it, quoted or not.
    """

    technique: str
    phase: str
    works: int
    of: int
    kind: str


def usually_done(discoveries: DiscoveryModel, work: WorkFeatures) -> list[UsualTechnique]:
    """What is nearly always done on works of its kind, and is neither on the sheet of this one nor begun on
    it; see `_nearly_always`.
    """
    missing = (
        nearly_always(discoveries, work.kind)
        & ~np.isin(discoveries.past.techniques, sorted(work.techniques | work.worked))
        & beyond_sheet(discoveries.past, work)
    )
    past = of_its_kind(discoveries, work.kind)[0].past
    had, kind = had_technique(past).sum(axis=0), work.kind if len(past.objects) < discoveries.works else ""
    return [
        UsualTechnique(
            technique=str(past.techniques[t]),
            phase=str(past.phases[t]),
            works=int(had[t]),
            of=len(past.objects),
            kind=kind,
        )
        for t in np.flatnonzero(missing)
    ]


def possible_discoveries(discoveries: DiscoveryModel, work: WorkFeatures) -> list[PossibleDiscovery]:
    """Everything that may turn up on a new work, the likeliest first; nothing that this studio never did, and
    nothing that it nearly always does.
    """
    if not discoveries.works:
        return []
    everywhere = discoveries.works
    always = nearly_always(discoveries, work.kind)
    discoveries, done = of_its_kind(discoveries, work.kind)
    past = discoveries.past
    done &= beyond_sheet(past, work)
    on_sheet = np.isin(past.techniques, sorted(work.techniques))
    under_way = np.isin(past.techniques, sorted(work.worked))
    # what is nearly always done says nothing of how often others turn up
    at_risk = ~past.quoted & ~past.worked_before & ~always[None, :]
    splits = _splits(discoveries, work)
    discovered = _averaged(
        discoveries, splits, past.turned_up & at_risk, at_risk, ~on_sheet & ~under_way & done, another=False
    )
    discovered += _averaged(discoveries, splits, past.another, past.quoted, on_sheet & done, another=True)
    if discoveries.works < everywhere:  # the works that are told are of its kind alone
        discovered = [replace(item, things=(("kind", work.kind), *item.things)) for item in discovered]
    return sorted(discovered, key=lambda item: (-item.chance, item.technique))


def _averaged(
    discoveries: DiscoveryModel, splits: Splits, turned: Flags, at_risk: Flags, mask: Flags, *, another: bool
) -> list[PossibleDiscovery]:
    past = discoveries.past
    where = np.flatnonzero(mask & at_risk.any(axis=0))
    if not len(where):
        return []
    prior = pooled_chance(turned, at_risk, past.phases)[where]
    turned, at_risk = (turned & at_risk)[:, where], at_risk[:, where]
    a, b = _TECHNIQUE * prior, _TECHNIQUE * (1 - prior)
    things, holds = splits
    everywhere = np.ones((discoveries.works, 1))
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
    # the split that tells most, among those with a case to show
    best = np.where(hit > 0, weight, 0.0).argmax(axis=0)
    return [
        PossibleDiscovery(
            technique=str(past.techniques[t]),
            phase=str(past.phases[t]),
            another=another,
            chance=float(chance[n]),
            times=int(hit[best[n], n]),
            of=int(of[best[n], n]),
            things=things[best[n]],
        )
        for n, t in enumerate(where)
    ]


def _splits(discoveries: DiscoveryModel, work: WorkFeatures) -> Splits:
    """What holds of the new work, singly and in twos, the empty one first; and (works, splits) of which
    finished works each holds.
    """
    place, holds_of = _feature_table(discoveries)
    past = discoveries.described
    singly = _things(work)
    columns = [holds_of[:, place[thing]] if thing in place else np.zeros(len(past)) for thing in singly]
    often = [column.sum() for column in columns]
    useful = [n for n, count in enumerate(often) if 0 < count < len(past)]
    things: list[tuple[Feature, ...]] = [(), *((singly[n],) for n in useful)]
    holds = [columns[n] for n in useful]
    for name in sorted({name for kind, name in place if kind == "technique"} - work.techniques):
        things.append((("without", name),))
        holds.append(1 - holds_of[:, place["technique", name]])
    for first, second in combinations(useful, 2):
        both = columns[first] * columns[second]
        if _FEWEST <= both.sum() < min(often[first], often[second]):
            things.append((singly[first], singly[second]))
            holds.append(both)
    return things, np.stack(holds, axis=1) if holds else np.zeros((len(past), 0))


@lru_cache(maxsize=16)
def _feature_table(discoveries: DiscoveryModel) -> tuple[dict[Feature, int], Floats]:
    """Everything that can be said of some work, and (works, things) of which it holds: the same for all works
    on the bench.
    """
    past = discoveries.described
    features = [_things(item) for item in past]
    place = {
        thing: number for number, thing in enumerate(sorted({thing for item in features for thing in item}))
    }
    holds = np.zeros((len(past), len(place)))
    holds[
        np.repeat(np.arange(len(past)), [len(item) for item in features]),
        [place[thing] for item in features for thing in item],
    ] = 1.0
    return place, holds


def _things(work: WorkFeatures) -> list[Feature]:
    things: list[Feature] = [
        (name, word) for name, word in (("kind", work.kind), ("support", work.support)) if word
    ]
    things += [
        (name, "marked" if grade >= _MARKED else "slight")
        for name, grade in zip(("structure", "paint", "surface"), work.grades, strict=True)
        if not np.isnan(grade)
    ]
    return things + [("technique", name) for name in sorted(work.techniques)]


def _believed(things: Sequence[tuple[Feature, ...]]) -> Floats:
    """What is believed of each split before the record is looked at; what two would have stays with one where
    there are no two.
    """
    size = np.array([len(item) for item in things])
    prior = np.where(
        size == 0,
        _UNPARTED,
        np.where(size == 1, _BY_ONE / max((size == 1).sum(), 1), _BY_TWO / max((size == 2).sum(), 1)),
    )
    share: Floats = prior / prior.sum()
    return share


def as_lines(
    calibration: Calibration,
    discovered: Sequence[tuple[str, PossibleDiscovery]],
    works: Mapping[str, WorkFeatures],
    bears_on: Mapping[str, int],
    people: tuple[str, ...],
) -> Lines:
    """What may turn up on some works, as lines of which nothing is measured; `bears_on`: of each technique
    which of the three conditions bears on it, where one does.
    """
    past = calibration.joint.lines
    units = dict(zip(past.technique.tolist(), past.unit.tolist(), strict=True))
    names = [name for name, _ in discovered]
    techniques = [discovery.technique for _, discovery in discovered]
    grades = [
        works[name].grades[bears_on[t]] if t in bears_on else np.nan
        for name, t in zip(names, techniques, strict=True)
    ]
    n, nothing = len(discovered), np.full(len(discovered), np.nan)
    return Lines(
        object=np.array(names),
        phase=np.array([discovery.phase for _, discovery in discovered]),
        technique=np.array(techniques),
        part=np.full(n, "?"),
        unit=np.where(
            is_whole(techniques), WHOLE, np.array([units.get(t, "") for t in techniques], dtype=str)
        ),
        kind=np.array([works[name].kind for name in names]),
        hours=nothing,
        quantity=nothing,
        quoted=nothing,
        figure=nothing,
        condition=np.array(grades),
        area=np.array([works[name].area for name in names], dtype=float),
        person=np.full(n, ""),
        shares=np.zeros((n, len(people))),
        people=people,
        day=np.full(n, calibration.joint.levels.day),
        is_open=np.ones(n, dtype=bool),
        weight=np.ones(n),
    )
