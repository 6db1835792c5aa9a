"""Discoveries learnt from finished works: beta-binomial chances, pooled by phase and studio."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from dashboard.analysis.arrays import Flags, Floats, number_or_nan
from dashboard.analysis.data.levels import WHOLE_WORK, is_whole, marked_techniques, with_marked
from dashboard.analysis.data.lines import Lines, Names
from dashboard.analysis.data.training_record import ForeseenTechniques
from dashboard.analysis.models import hours_prediction
from dashboard.analysis.models.calibration import Calibration
from dashboard.formatting import text

# before there is a record: chance that a technique turns up, and the works by techniques that is worth
_STUDIO = (0.03, 60.0)
_PHASE = 30.0  # works by techniques that the studio is worth against a phase
_TECHNIQUE = 6.0  # works that the phase is worth against a technique
_TOGETHER = np.linspace(0.0, 0.6, 13)
_BELIEVED = np.array([1.5, 8.0])  # beta: what comes together mostly does so a little
_UNSURE = 0.2  # variance of the common cause where nothing ever turned up; less with each that did
_NODES = 15
GRADES = ("structure", "paint", "surface")  # the conditions of a work, each 0 to 3
_SMALLER_WORTH = 8.0
OF_A_KIND = 3  # finished works of its kind from which on only what was ever done on them may turn up
ENOUGH_OF_A_KIND = 8  # from which on they alone are looked at
# of finished works of its kind (common practice, no source), `ENOUGH_OF_A_KIND` at least: what they have is
# forgotten on a sheet without it, and no discovery
_NEARLY_ALWAYS = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkFeatures:
    """A work as far as it bears on what may turn up; unknown is an empty name, or no number. `area` is of the
    picture, dm²; `techniques` are on its sheet, `worked` was begun already: it turned up, if it was not
    quoted.
    """

    kind: str = ""
    support: str = ""
    grades: tuple[float, float, float] = (np.nan, np.nan, np.nan)
    area: float = np.nan
    techniques: frozenset[str] = frozenset()
    worked: frozenset[str] = frozenset()

    @classmethod
    def of(
        cls, row: Mapping[Any, Any], techniques: frozenset[str], worked: frozenset[str] = frozenset()
    ) -> WorkFeatures:
        """A work by what is held of it, by the names of the objects form."""
        structure, paint, surface = (number_or_nan(row.get(f"{name}_condition")) for name in GRADES)
        return cls(
            kind=text(row.get("kind")),
            support=text(row.get("support")),
            grades=(structure, paint, surface),
            area=number_or_nan(row.get("area_dm2")),
            techniques=techniques,
            worked=worked,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DiscoveryModel:
    """What finished works teach of what turns up. Known by itself and not by what it holds, so that what is
    asked of it for one work after another is kept beside it.

    Attributes
    ----------
    past : what first estimates had, and what turned up.
    described : the finished works, in the order of `past`.
    when : (k,) rising, 0 to 1: how far finished works were, of their hours, when something turned up on them.
    together : how far things turn up together on one work.
    smaller : by how much the log hours of what turned up differ from a line of which nothing is measured.
    """

    past: ForeseenTechniques
    described: tuple[WorkFeatures, ...]
    together: float
    smaller: float
    when: Floats

    @property
    def works(self) -> int:
        return len(self.described)

    def looked_at(self, work: WorkFeatures) -> ForeseenTechniques:
        """The finished works that a new one is told from; what is nearly always done has not turned up on
        them.
        """
        own_kind = of_its_kind(self, work.kind)[0]
        return replace(
            own_kind.past, turned_up=own_kind.past.turned_up & ~nearly_always(self, work.kind)[None, :]
        )


def learn(
    past: ForeseenTechniques, works: pd.DataFrame, calibration: Calibration, first_entries: pd.DataFrame
) -> DiscoveryModel:
    """From finished works.

    Parameters
    ----------
    works : frame `object`, `kind`, `support`, `structure_condition`, `paint_condition`, `surface_condition`.
    calibration : calibrated on the same record.
    first_entries : frame of lines, `object`, `technique`, `passed`: the share of the work's hours (0 to 1)
        spent when each line was begun on it.
    """
    rows = works.set_index("object").reindex(past.objects)
    described = tuple(
        WorkFeatures.of(row, frozenset(past.techniques[past.quoted[number]].tolist()))
        for number, row in enumerate(rows.to_dict("records"))
    )
    return DiscoveryModel(
        past=past,
        described=described,
        together=_together(past),
        smaller=_smaller(past, calibration),
        when=discovery_times(past, first_entries),
    )


def discovery_times(past: ForeseenTechniques, first_entries: pd.DataFrame) -> Floats:
    """See `Discoveries.when`; `first_entries` as for `learn`."""
    # another part is the one begun later
    if (first_entries["technique"] == "").any():
        first_entries = with_marked(first_entries)
    first = first_entries.groupby(["object", "technique"], as_index=False).agg(
        turned_up=("passed", "min"), another=("passed", "max")
    )
    times = []
    for name, happened in (("turned_up", past.turned_up), ("another", past.another)):
        work, technique = np.nonzero(happened)
        pairs = pd.DataFrame(
            {"object": past.objects[work].astype(str), "technique": past.techniques[technique].astype(str)}
        )
        times.append(first.merge(pairs, on=["object", "technique"])[name].to_numpy(dtype=float))
    return np.sort(np.concatenate(times))


def pooled_chance(turned: Flags, at_risk: Flags, phases: Names) -> Floats:
    """(T,) chance of each technique beforehand: what its phase says, and that as far as the studio says."""
    studio = (turned.sum() + _STUDIO[0] * _STUDIO[1]) / (at_risk.sum() + _STUDIO[1])
    names, phase = np.unique(phases, return_inverse=True)
    hit, of = (
        np.bincount(phase, turned.sum(axis=0), len(names)),
        np.bincount(phase, at_risk.sum(axis=0), len(names)),
    )
    values: Floats = ((hit + studio * _PHASE) / (of + _PHASE))[phase]
    return values


def _together(past: ForeseenTechniques) -> float:
    """How far things turn up together: the share of a common cause in a normal copula of what turned up on
    each work, the mean over what is believed of it given the record.
    """
    at_risk = ~past.quoted & ~past.worked_before
    turned = past.turned_up
    events = int(turned.sum())
    believed = (_BELIEVED[0] - 1) * np.log(np.maximum(_TOGETHER, 0.01)) + (_BELIEVED[1] - 1) * np.log(
        1 - _TOGETHER
    )
    if len(past.objects):
        prior = pooled_chance(turned, at_risk, past.phases)
        chance = (turned.sum(axis=0) + _TECHNIQUE * prior) / (at_risk.sum(axis=0) + _TECHNIQUE)
        nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
        for number, share in enumerate(_TOGETHER):
            log_yes = special.log_ndtr(
                (special.ndtri(chance)[None, :] + np.sqrt(share) * nodes[:, None]) / np.sqrt(1 - share)
            )
            log_no = special.log_ndtr(
                -(special.ndtri(chance)[None, :] + np.sqrt(share) * nodes[:, None]) / np.sqrt(1 - share)
            )
            of_node = turned @ log_yes.T + (at_risk & ~turned) @ log_no.T
            believed[number] += special.logsumexp(of_node + np.log(weights / weights.sum()), axis=1).sum()
    weight = np.exp(believed - believed.max())
    share = float((weight * _TOGETHER).sum() / weight.sum())
    # how often things turn up at all is less sure the fewer did, and that bears on all of them at once
    odds = share / (1 - share) + _UNSURE / (1 + events)
    return odds / (1 + odds)


def _smaller(past: ForeseenTechniques, calibration: Calibration) -> float:
    """What turned up is often less than a line that was quoted: mean difference in log hours, towards none
    where there are few.
    """
    lines = calibration.joint.lines
    lines = lines.take(~lines.is_open)
    work = {name: number for number, name in enumerate(past.objects.tolist())}
    technique = {name: number for number, name in enumerate(past.techniques.tolist())}
    w = np.array([work.get(name, -1) for name in lines.object.tolist()], dtype=np.int64)
    t = np.array([technique.get(name, -1) for name in lines.technique.tolist()], dtype=np.int64)
    is_discovery = (w >= 0) & (t >= 0) & np.isnan(lines.figure) & np.isnan(lines.quoted)
    is_discovery[is_discovery] = (past.turned_up | past.another)[w[is_discovery], t[is_discovery]]
    discovered = lines.take(is_discovery)
    if not len(discovered):
        return 0.0
    mean, _ = hours_prediction.predict_alone(calibration.joint, unmeasured(discovered))
    return float((np.log(discovered.hours) - mean).sum() / (len(discovered) + _SMALLER_WORTH))


def unmeasured(lines: Lines) -> Lines:
    """The same lines with nothing known of size, figure and person."""
    nothing = np.full(len(lines), np.nan)
    return replace(
        lines,
        quantity=nothing,
        quoted=nothing,
        figure=nothing,
        person=np.full(len(lines), ""),
        shares=np.zeros_like(lines.shares),
    )


def beyond_sheet(past: ForeseenTechniques, work: WorkFeatures) -> Flags:
    """(T,) what is not within a whole phase of the sheet, or the work as a whole, nor is a whole phase of
    which the sheet has a part.
    """
    sheet = sorted(work.techniques)
    whole = is_whole(sheet)
    names = np.array(sheet, dtype=str)
    phases_of_wholes = names[whole]
    own = marked_techniques(past.phases, np.full(len(past.phases), ""))
    within = np.isin(own, phases_of_wholes) | (WHOLE_WORK in phases_of_wholes)
    parts = past.phases[np.isin(past.techniques, names[~whole])]
    partly = is_whole(past.techniques) & np.isin(past.phases, parts)
    outside: Flags = ~within & ~partly
    return outside


def had_technique(past: ForeseenTechniques) -> Flags:
    """(W, T) the finished work had it, on its first estimate or when it was worked."""
    return past.quoted | past.worked_before | past.turned_up


@lru_cache(maxsize=16)
def nearly_always(discoveries: DiscoveryModel, kind: str) -> Flags:
    """(T,) nine in ten of the finished works that are looked at had it, and there are enough of them; where
    these are of all kinds, nine in ten of those of its own kind too.
    """
    own = of_its_kind(discoveries, kind)[0]
    if own.works < ENOUGH_OF_A_KIND:
        return np.zeros(len(discoveries.past.techniques), dtype=bool)
    always: Flags = had_technique(own.past).mean(axis=0) >= _NEARLY_ALWAYS
    same = np.array([item.kind == kind for item in discoveries.described], dtype=bool)
    return (
        always & (had_technique(discoveries.past)[same].mean(axis=0) >= _NEARLY_ALWAYS)
        if kind and same.any()
        else always
    )


@lru_cache(maxsize=16)
def of_its_kind(discoveries: DiscoveryModel, kind: str) -> tuple[DiscoveryModel, Flags]:
    """The finished works to look at, those of its kind where there are enough, and (T,) the techniques that
    may turn up on such a work: what was never done on its kind does not.
    """
    past = discoveries.past
    same = np.array([item.kind == kind for item in discoveries.described], dtype=bool)
    if not kind or same.sum() < OF_A_KIND:
        return discoveries, np.ones(len(past.techniques), dtype=bool)
    done = had_technique(past)[same].any(axis=0)
    if same.sum() < ENOUGH_OF_A_KIND:
        return discoveries, done
    own = replace(
        past,
        objects=past.objects[same],
        quoted=past.quoted[same],
        worked_before=past.worked_before[same],
        turned_up=past.turned_up[same],
        another=past.another[same],
    )
    return (
        replace(
            discoveries,
            past=own,
            described=tuple(
                features
                for features, is_same in zip(discoveries.described, same.tolist(), strict=True)
                if is_same
            ),
        ),
        done,
    )
