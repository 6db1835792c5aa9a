"""Two accounts of the record and a referee: the joint model of quantity and figure, and past ratios of actual
to figure, weighed by what each was worth.

Each account foretells the record's own lines as if their work had not been done; the referee takes the mix of
both that would have lost least, shrunk towards even where there are few lines, by phase where the record is
long enough.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from dashboard.analysis import parallel
from dashboard.analysis.arrays import Flags, Floats, Integers
from dashboard.analysis.data.levels import PHASE, WORK
from dashboard.analysis.data.lines import Lines, Names, codes
from dashboard.analysis.models import case_deletion, hours_design, hours_model, hours_prediction, ratio_model
from dashboard.analysis.models.hours_model import BivariateMixedModel
from dashboard.analysis.models.ratio_model import CredibilityRatios
from dashboard.analysis.models.scoring_rules import pinball, span

SCORED = np.array([0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95])
NORMAL_SCORES = np.linspace(-3.5, 3.5, 141)
LEVELS = special.ndtr(NORMAL_SCORES)
_NORMAL_LINES = 60.0  # lines that the normal shape is worth against the record's own
_MOST_OF_ONE_WORK = 20.0  # lines that a work of more counts for in the shape
_JUDGED = 300  # lines that the referee looks at, the latest
_EVEN_LINES = 1.0
_PHASE_LINES = 4.0
_CHANCE_LINES = 15.0  # that the chance at the wider level is worth
# before there is a record: chance, and the lines that is worth
_REPEATS, _UNNEEDED = ((0.03, 30.0), (0.02, 50.0))
_MIXES = np.linspace(0, 1, 21)
# phases and techniques of lines: names in order, and the place of each line's
Coded = tuple[tuple[Names, Integers], tuple[Names, Integers]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShrunkenProportions:
    """How often something happens to a line: at the studio, by phase, by technique within it."""

    studio: float
    phases: dict[str, float]
    techniques: dict[tuple[str, str], float]

    @classmethod
    def of(
        cls, lines: Coded, happened: Coded, prior: tuple[float, float], *, beside: bool = False
    ) -> ShrunkenProportions:
        """From the phases and techniques of lines, and of those to which it happened, which are among them or
        (`beside`) others; `prior`: a chance, and how many lines that is worth.
        """
        phase_names, technique_names = (
            np.union1d(names[0], other[0]) for names, other in zip(lines, happened, strict=True)
        )
        shape = len(phase_names), len(technique_names)
        hit, count = (
            np.bincount(
                codes(phases, phase_names)[phase] * shape[1] + codes(techniques, technique_names)[technique],
                minlength=shape[0] * shape[1],
            ).reshape(shape)
            for (phases, phase), (techniques, technique) in (happened, lines)
        )
        count += hit * beside
        chance, worth = prior
        studio = float((hit.sum() + chance * worth) / (count.sum() + worth))
        by_phase = (hit.sum(axis=1) + studio * _CHANCE_LINES) / (count.sum(axis=1) + _CHANCE_LINES)
        by_technique = (hit + by_phase[:, None] * _CHANCE_LINES) / (count + _CHANCE_LINES)
        techniques = {
            (str(phase_names[p]), str(technique_names[t])): float(by_technique[p, t])
            for p, t in zip(*np.nonzero(count), strict=True)
        }
        return cls(
            studio=studio,
            phases=dict(zip(phase_names.tolist(), by_phase.tolist(), strict=True)),
            techniques=techniques,
        )

    def chance(self, lines: Lines) -> Floats:
        """(n,) of each line; its phase's where the technique is new, else the studio's."""
        pairs = zip(lines.phase.tolist(), lines.technique.tolist(), strict=True)
        return np.array(
            [self.techniques.get((p, t), self.phases.get(p, self.studio)) for p, t in pairs], dtype=float
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What the record teaches on one day.

    Attributes
    ----------
    joint, ratios : the two accounts.
    repeats : how often hours repeat their figure to the digit.
    unneeded : how often a quoted line is not worked at all.
    shape : (141,) quantiles of a standardised line at the normal scores from -3.5 to 3.5.
    weight : by phase, the share of the joint model in the mix; "" is the studio's.
    of_wholes : what it teaches of whole phases (2) and whole works (3), by that level; None: what this one
        knows of them itself.
    """

    joint: BivariateMixedModel
    ratios: CredibilityRatios
    shape: Floats
    repeats: ShrunkenProportions
    unneeded: ShrunkenProportions
    weight: dict[str, float]
    of_wholes: Callable[[int], Calibration] | None = None

    def of_level(self, level: int) -> Calibration:
        """What tells lines of a level."""
        return self if level == 0 or self.of_wholes is None else self.of_wholes(level)

    def chance_unneeded(self, lines: Lines) -> Floats:
        """(n,) how likely each quoted line is not worked at all."""
        chance = np.empty(len(lines))
        for level, at in _by_level(lines):
            chance[at] = self.of_level(level).unneeded.chance(lines.take(at))
        return chance

    def own_share(self, lines: Lines) -> Floats:
        """(n,) how far what is believed of each rests on lines of its own technique, phase or work."""
        share = np.empty(len(lines))
        for level, at in _by_level(lines):
            share[at] = hours_model.own_share(self.of_level(level).joint, lines.technique[at])
        return share


def _by_level(lines: Lines) -> list[tuple[int, Integers]]:
    """The levels that lines have (0, whole phases, whole works), and the places of those of each."""
    whole = lines.is_whole
    if not whole.any():
        return [(0, np.arange(len(lines)))]
    level = np.where(whole, np.where(lines.phase == "", WORK, PHASE), 0)
    return [(int(each), np.flatnonzero(level == each)) for each in np.unique(level)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictiveQuantiles:
    """What lines quoted together will take: log hours at the normal scores of `NORMAL_SCORES` (n, 141), how
    lines hang together (n, n), how far the own figure moves each (n,), and how each hangs together with the
    luck of its work (n,).
    """

    table: Floats
    correlation: Floats
    figure_weight: Floats
    with_luck: Floats

    @classmethod
    def plain(cls, table: Floats, correlation: Floats) -> PredictiveQuantiles:
        """Of which no more is known or asked than quantiles and how lines hang together."""
        nothing = np.zeros(len(table))
        return cls(table=table, correlation=correlation, figure_weight=nothing, with_luck=nothing)

    def quantiles(self, levels: Floats) -> Floats:
        """(n, levels) hours."""
        return np.exp(at_levels(self.table, levels))

    def beyond(self, spent: Floats) -> PredictiveQuantiles:
        """What lines will take that have taken so many hours (n,) already, and go on: what is left of each
        distribution above them.
        """
        log_spent = np.log(np.maximum(spent, 1e-9))
        _, below = span(log_spent, self.table, LEVELS)
        left = below[:, None] + (1 - below)[:, None] * LEVELS
        # beyond the end of the table the tail falls off as that of a normal distribution does there: its mean
        # excess is 1/z of a step of one
        step = (self.table[:, -1] - self.table[:, -2]) / (NORMAL_SCORES[-1] - NORMAL_SCORES[-2])
        tail = log_spent[:, None] + np.maximum(step, 1e-6)[:, None] / NORMAL_SCORES[-1] * -np.log1p(-LEVELS)
        within = at_scores(self.table, special.ndtri(np.clip(left, 1e-12, 1 - 1e-12)))
        table = np.where(
            (log_spent >= self.table[:, -1])[:, None], tail, np.maximum(within, log_spent[:, None])
        )
        return replace(self, table=table)


def at_levels(table: Floats, levels: Floats) -> Floats:
    """(n, levels) quantiles, from those at `NORMAL_SCORES`."""
    return at_scores(table, np.broadcast_to(special.ndtri(levels), (len(table), len(levels))))


def at_scores(table: Floats, scores: Floats) -> Floats:
    """(n, m) quantiles at the normal scores (n, m) of each line, between those of its row of the table;
    beyond its ends the outermost.
    """
    place = np.clip(
        (scores - NORMAL_SCORES[0]) / (NORMAL_SCORES[1] - NORMAL_SCORES[0]), 0, len(NORMAL_SCORES) - 1
    )
    left = np.minimum(place.astype(np.int64), len(NORMAL_SCORES) - 2)
    row = np.arange(len(table))[:, None]
    low = table[row, left]
    values: Floats = low + (place - left) * (table[row, left + 1] - low)
    return values


def learn(
    lines: Lines,
    today: int,
    unneeded: Lines | None = None,
    *,
    of_wholes: Callable[[int], Calibration] | None = None,
    wholes: bool = False,
) -> Calibration:
    """Calibrate on a record.

    Parameters
    ----------
    lines : finished lines and open ones with hours so far; each has hours. None at all is no error: what is
        said then is what is believed of any studio.
    today : the day for which it is asked (days since 1970).
    unneeded : lines that were quoted, and finished without an entry.
    of_wholes : what the record teaches of whole phases and works, learnt when it is asked for.
    wholes : the lines are themselves of whole phases or works.
    """
    with parallel.blas.limit(limits=1, user_api="blas"):
        in_order = np.lexsort(
            (*(lines.coded(column)[1] for column in ("part", "technique", "phase", "object")), lines.day)
        )
        learnt = _learn(lines.take(in_order), today, unneeded, wholes=wholes)
    return replace(learnt, of_wholes=of_wholes)


def _learn(lines: Lines, today: int, unneeded: Lines | None, *, wholes: bool) -> Calibration:
    repeats = _repeats(lines)
    model, past = hours_model.learn(lines, today, of_wholes=wholes), ratio_model.learn(lines, today)
    places, mean, sd = case_deletion.leave_works_out(model, _judged(model))
    shape = _shape(
        (model.rows.answers[places, 0] - mean) / sd,
        lines.is_open[places],
        lines.weight[places] * _of_one_work(model.rows.work[places]),
    )
    return Calibration(
        joint=model,
        ratios=past,
        shape=shape,
        repeats=repeats,
        unneeded=_not_worked(lines, unneeded),
        weight=_mixture_weights(lines, places, mean, sd, shape, past, repeats),
    )


def _not_worked(lines: Lines, unneeded: Lines | None) -> ShrunkenProportions:
    none = lines.take(np.zeros(0, dtype=np.int64)) if unneeded is None else unneeded
    return ShrunkenProportions.of(
        _coded(lines, ~lines.is_open & ((lines.figure > 0) | (lines.quoted > 0))),
        _coded(none),
        _UNNEEDED,
        beside=True,
    )


def _of_one_work(work: Integers) -> Floats:
    """Weights of lines, so that a work of very many lines, which share its luck, does not make the shape of
    all.
    """
    count = np.bincount(work) if len(work) else np.zeros(1)
    values: Floats = np.minimum(1.0, _MOST_OF_ONE_WORK / np.maximum(count[work], 1))
    return values


def _judged(model: BivariateMixedModel) -> Integers:
    """The works whose lines are looked at again: the latest, until there are enough lines."""
    work = model.rows.work
    latest = np.full(len(model.works), -(2**40))
    np.maximum.at(latest, work, model.lines.day)
    in_order = np.lexsort((np.arange(len(latest)), -latest))
    upto = np.searchsorted(np.cumsum(np.bincount(work, ~model.lines.is_open)[in_order]), _JUDGED) + 1
    return np.sort(in_order[:upto])


def _shape(standardised: Floats, more_than: Flags, weight: Floats) -> Floats:
    """Quantiles of a standardised line at `NORMAL_SCORES`: the record's own, beside so many lines of the
    normal shape.

    Of an open line it is known only that it ends beyond: product-limit estimate (E. L. Kaplan, P. Meier,
    "Nonparametric estimation from incomplete observations", Journal of the American Statistical Association
    53 (1958) 457-481). Beyond the last finished line, and where there is none, the normal shape stands.
    """
    chance = kaplan_meier(standardised, more_than, weight)
    finished = ~more_than
    n = float(weight[finished].sum())
    if not n:
        return NORMAL_SCORES
    value, level = chance
    own = np.interp(LEVELS, level, value)
    beyond = level[-1] < LEVELS
    if beyond.any():
        own = np.where(beyond, value[-1] + (NORMAL_SCORES - special.ndtri(min(level[-1], 1 - 1e-9))), own)
    values: Floats = (n * own + _NORMAL_LINES * NORMAL_SCORES) / (n + _NORMAL_LINES)
    return values


def kaplan_meier(value: Floats, more_than: Flags, weight: Floats) -> tuple[Floats, Floats]:
    """The product-limit estimate: values that were reached, rising, and the chance of ending by each (the
    middle of its step).

    Parameters
    ----------
    value : (n,) where a line ended, or how far it is known to have come.
    more_than : (n,) it did not end there.
    weight : (n,) how many lines it counts for.
    """
    order = np.lexsort((more_than, value))
    value, more_than, weight = value[order], more_than[order], weight[order]
    at_risk = np.cumsum(weight[::-1])[::-1]
    left = np.cumprod(1 - np.where(more_than, 0.0, weight) / at_risk)
    before = np.concatenate([[1.0], left[:-1]])
    finished = ~more_than
    return value[finished], 1 - (before + left)[finished] / 2


def _repeats(lines: Lines) -> ShrunkenProportions:
    with_figure = ~lines.is_open & (lines.figure > 0)
    return ShrunkenProportions.of(
        _coded(lines, with_figure), _coded(lines, with_figure & hours_design.repeats_figure(lines)), _REPEATS
    )


def _coded(lines: Lines, which: Flags | None = None) -> Coded:
    """Phases and techniques of some lines; to take all that is known of them would be slow."""
    return lines.coded_of("phase", which), lines.coded_of("technique", which)


def _with_repeats(table: Floats, log_figure: Floats, chance: Floats) -> Floats:
    """Quantiles where the hours are the figure with some chance, and else as the table says."""
    below, _ = span(log_figure, table, LEVELS)
    rest, low = (1 - chance)[:, None], ((1 - chance) * below)[:, None]
    high = low + chance[:, None]
    inner = np.where(low > LEVELS, LEVELS, LEVELS - chance[:, None]) / rest
    moved = at_scores(table, special.ndtri(np.clip(inner, 1e-9, 1 - 1e-9)))
    return np.where((low <= LEVELS) & (high >= LEVELS), log_figure[:, None], moved)


def _mixture_weights(
    lines: Lines,
    places: Integers,
    mean: Floats,
    sd: Floats,
    shape: Floats,
    past: CredibilityRatios,
    repeats: ShrunkenProportions,
) -> dict[str, float]:
    """The share of the joint model that would have lost least on the lines it looks at."""
    judged = lines.take(places)
    figured = (judged.figure > 0) & ~judged.is_open
    if not figured.any():
        return {"": 0.5}
    judged, mean, sd = judged.take(figured), mean[figured], sd[figured]
    log_figure = np.log(judged.figure)
    by_model = _with_repeats(mean[:, None] + sd[:, None] * shape, log_figure, repeats.chance(judged))
    by_model = at_levels(by_model, SCORED)
    by_ratio = log_figure[:, None] + ratio_model.predict(past, judged, SCORED, without_own_work=True)
    actual = np.log(judged.hours)
    # (mixes, lines)
    lost = np.stack([pinball(actual, w * by_model + (1 - w) * by_ratio, SCORED).mean(axis=1) for w in _MIXES])
    studio = float(_MIXES[np.argmin(lost.sum(axis=1) + _EVEN_LINES * (_MIXES - 0.5) ** 2)])
    shares = {"": studio}
    for phase in np.unique(judged.phase):
        of = judged.phase == phase
        shares[str(phase)] = float(
            _MIXES[np.argmin(lost[:, of].sum(axis=1) + _PHASE_LINES * (_MIXES - studio) ** 2)]
        )
    return shares


def predict(calibration: Calibration, lines: Lines) -> PredictiveQuantiles:
    """What lines that are quoted together will take, be they of one work or of several; of a line without a
    figure the joint model alone says it.
    """
    with parallel.blas.limit(limits=1, user_api="blas"):
        levels = _by_level(lines)
        if len(levels) == 1:
            return _predict(calibration.of_level(levels[0][0]), lines)
        return _together(
            lines, [(at, _predict(calibration.of_level(level), lines.take(at))) for level, at in levels]
        )


def _together(lines: Lines, parts: list[tuple[Integers, PredictiveQuantiles]]) -> PredictiveQuantiles:
    """What lines of several levels will take, each told by what is known of its level: of one work they hang
    together as far as each does with the luck of the work.
    """
    n = len(lines)
    table, weight, luck = np.empty((n, len(NORMAL_SCORES))), np.empty(n), np.empty(n)
    for at, part in parts:
        table[at], weight[at], luck[at] = part.table, part.figure_weight, part.with_luck
    work = lines.coded("object")[1]
    correlation = np.where(work[:, None] == work[None, :], np.outer(luck, luck), 0.0)
    for at, part in parts:
        correlation[np.ix_(at, at)] = part.correlation
    np.fill_diagonal(correlation, 1.0)
    return PredictiveQuantiles(table=table, correlation=correlation, figure_weight=weight, with_luck=luck)


def _predict(calibration: Calibration, lines: Lines) -> PredictiveQuantiles:
    expected = hours_prediction.conditional(calibration.joint, lines)
    sd = np.sqrt(np.diag(expected.covariance))
    table = expected.mean[:, None] + sd[:, None] * calibration.shape
    figured = np.flatnonzero(lines.figure > 0)
    together = np.ones(len(lines))
    weight = expected.of_figure.copy()
    if len(figured):
        some = lines.take(figured)
        log_figure = np.log(some.figure)
        chance = calibration.repeats.chance(some)
        table[figured] = _with_repeats(table[figured], log_figure, chance)
        # a line that repeats its figure shares no luck with the others
        together[figured] = np.sqrt(1 - chance)
        if len(calibration.ratios.place):
            share = np.array([calibration.weight.get(phase, calibration.weight[""]) for phase in some.phase])
            other = log_figure[:, None] + ratio_model.predict(calibration.ratios, some, LEVELS)
            table[figured] = share[:, None] * table[figured] + (1 - share[:, None]) * other
            weight[figured] = share * weight[figured] + (1 - share)
    correlation = expected.covariance / np.outer(sd / together, sd / together)
    np.fill_diagonal(correlation, 1.0)
    return PredictiveQuantiles(
        table=table,
        correlation=correlation,
        figure_weight=weight,
        with_luck=expected.with_luck / (sd / together),
    )
