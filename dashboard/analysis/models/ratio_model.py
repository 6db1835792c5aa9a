"""What hours came to beside the conservator's own figure: the whole distribution of log(actual / figure),
from the studio down to technique and person.

At each level the nearer evidence replaces a part of the wider: with evidence E it counts E / (E + 15), the
credibility factor of H. Bühlmann and E. Straub, "Glaubwürdigkeit für Schadensätze", Mitteilungen der
Vereinigung schweizerischer Versicherungsmathematiker 70 (1970) 111-133, applied to the weights of past lines
and not to their mean, so that spikes and long tails stay as they are in the record.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.lines import Lines

_HALF_LIFE_DAYS = 730.0
_SIZE_BAND = 0.8  # of log figure
_CREDIBILITY = 15.0  # lines that the wider level is worth
# that a normal shape is worth, and its standard deviation before there is a record
_NORMAL_LINES, _NORMAL_SPREAD = (8.0, 0.5)
_MOST_LINES = 4000  # the latest; older ones hardly count
_AT_ONCE = 12


def credibility_weights(wider: Floats, evidence: Floats, worth: float, out: Floats | None = None) -> Floats:
    """Weights of past lines once nearer evidence is known.

    Parameters
    ----------
    wider : (…, n) weights at the wider level, each row summing to 1.
    evidence : (…, n) how much each line says at the nearer level; nought: it does not belong there.
    worth : how much evidence the wider level stands for; the ratio of the variance within to that between.
    out : where they are put; it may be `wider` itself.
    """
    values: Floats = np.multiply(wider, worth, out=out)
    values += evidence
    values /= evidence.sum(axis=-1, keepdims=True) + worth
    return values


@dataclass(frozen=True, slots=True, kw_only=True)
class CredibilityRatios:
    """Past lines with a figure by log(actual / figure), weighed by credibility.

    Each nearer level with evidence E counts E / (E + 15): H. Bühlmann, E. Straub (1970), see the module.
    Example: `predict(ratios, lines, np.array([0.5]))` is the median log ratio of each line.
    """

    lines: Lines
    log_ratio: Floats
    log_figure: Floats
    recency: Floats
    mostly_by: Integers  # number of the person who did most of each; -1: not known
    place: Integers  # of each among the lines it was learnt from


def learn(lines: Lines, today: int) -> CredibilityRatios:
    """From finished lines with hours and a figure."""
    place = np.flatnonzero(~lines.is_open & (lines.hours > 0) & (lines.figure > 0))
    if len(place) > _MOST_LINES:
        place = np.sort(place[np.argsort(-lines.day[place], kind="stable")[:_MOST_LINES]])
    log_ratio = np.log(lines.hours[place] / lines.figure[place])
    place = place[np.argsort(log_ratio, kind="stable")]
    chosen = lines.take(place)
    return CredibilityRatios(
        lines=chosen,
        log_ratio=np.sort(log_ratio, kind="stable"),
        log_figure=np.log(chosen.figure),
        recency=0.5 ** ((today - chosen.day) / _HALF_LIFE_DAYS),
        mostly_by=np.where(
            chosen.shares.max(axis=1, initial=0.0) > 0,
            chosen.shares.argmax(axis=1) if chosen.people else -1,
            -1,
        ),
        place=place,
    )


def predict(
    ratios: CredibilityRatios, lines: Lines, levels: Floats, *, without_own_work: bool = False
) -> Floats:
    """(n, levels) quantiles of log(actual / figure) of each line that is asked about.

    Parameters
    ----------
    without_own_work : as if the work of each line were not in the record.
    """
    result, targets = np.empty((len(lines), len(levels))), _Targets.of(ratios, lines)
    for begin in range(0, len(lines), _AT_ONCE):  # so many rows of weights stay near the processor
        part = slice(begin, min(begin + _AT_ONCE, len(lines)))
        result[part] = quantiles(
            ratios, _weights(ratios, targets, part, without_own_work=without_own_work), levels
        )
    return result


def weights(ratios: CredibilityRatios, lines: Lines, *, without_own_work: bool = False) -> Floats:
    """(n, past lines) how much each past line says of each line that is asked about; each row sums to 1."""
    return _weights(
        ratios, _Targets.of(ratios, lines), slice(0, len(lines)), without_own_work=without_own_work
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Targets:
    """Lines that are asked about: log figure, and the place of each name among those of the past lines
    (nobody: -2, as -1 is a past line of nobody's).
    """

    log_figure: Floats
    object: Integers
    phase: Integers
    technique: Integers
    person: Integers

    @classmethod
    def of(cls, ratios: CredibilityRatios, lines: Lines) -> _Targets:
        past = ratios.lines
        by_name = {name: lines.codes(name, past.coded(name)[0]) for name in ("object", "phase", "technique")}
        number = {name: place for place, name in enumerate(past.people)}
        person = np.array([number.get(name, -2) for name in lines.person.tolist()], dtype=np.int64)
        with np.errstate(invalid="ignore"):
            return cls(log_figure=np.log(lines.figure), person=person, **by_name)


def _weights(ratios: CredibilityRatios, targets: _Targets, part: slice, *, without_own_work: bool) -> Floats:
    past = ratios.lines

    def same(column: str) -> Flags:
        alike: Flags = getattr(targets, column)[part, None] == past.coded(column)[1][None, :]
        return alike

    n = part.stop - part.start
    recency = (
        np.where(same("object"), 0.0, ratios.recency)
        if without_own_work
        else np.broadcast_to(ratios.recency, (n, len(past)))
    )
    with np.errstate(invalid="ignore"):
        near = (targets.log_figure[part, None] - ratios.log_figure[None, :]) / _SIZE_BAND
        near *= near
        near *= -0.5
        np.exp(near, out=near)
        near *= recency
    # By the person whom the estimate names; where it names nobody, no line is nearer than another.
    same_phase, same_technique, same_person = (
        same("phase"),
        same("technique"),
        targets.person[part, None] == ratios.mostly_by[None, :],
    )
    total = recency.sum(axis=1, keepdims=True)
    values: Floats = np.divide(recency, total, out=np.zeros_like(recency), where=total > 0)
    credibility_weights(values, near, _CREDIBILITY, out=values)
    evidence = np.empty_like(near)
    for level in (same_phase, same_person, same_technique, same_technique & same_person):
        credibility_weights(values, np.multiply(near, level, out=evidence), _CREDIBILITY, out=values)
    return values


def effective_sample_size(weight: Floats) -> Floats:
    """(n,) how many equal lines would say as much (L. Kish, Survey Sampling, 1965, section 11.7)."""
    values: Floats = 1 / np.maximum((weight**2).sum(axis=1), 1e-12)
    return values


def quantiles(ratios: CredibilityRatios, weight: Floats, levels: Floats) -> Floats:
    """(n, levels) quantiles of log(actual / figure): the record's own, and beyond its outermost lines as a
    normal shape goes on from them, as nobody knows how much further the next line lies.
    """
    count = effective_sample_size(weight)[:, None]
    middle = np.cumsum(weight, axis=1) - weight / 2
    plotting_positions = ((count + 1) * levels - 0.5) / count
    own = np.stack(
        [
            np.interp(position, at, ratios.log_ratio)
            for position, at in zip(plotting_positions, middle, strict=True)
        ]
    )
    mean = weight @ ratios.log_ratio
    variance = (weight * (ratios.log_ratio - mean[:, None]) ** 2).sum(axis=1)
    spread = np.sqrt(
        (count[:, 0] * variance + _NORMAL_LINES * _NORMAL_SPREAD**2) / (count[:, 0] + _NORMAL_LINES)
    )[:, None]
    first, last = (special.ndtri((middle[:, [end]] * count + 0.5) / (count + 1)) for end in (0, -1))
    score = special.ndtri(levels)
    values: Floats = own + spread * (np.minimum(score - first, 0.0) + np.maximum(score - last, 0.0))
    return values


def works_needed(chance: float) -> int:
    """How many past works there must be before their own order says anything of a chance: the smallest n with
    ⌈(n + 1)·chance⌉ ≤ n.

    The k-th smallest of n bounds the next one with chance k / (n + 1) (V. Vovk, A. Gammerman, G. Shafer,
    Algorithmic Learning in a Random World, 2005).
    """
    return int(np.ceil(round(chance / (1 - chance), 9)))
