"""What quantity, technique, person and condition say of the hours of a line, and what the conservator's own
figure says beside them: one model of both.

    log hours  = level of phase and technique + size, or else picture + condition + kind + person
                 + drift + year + luck of the work + luck of the line
    log figure = the same without drift and year + how far figures are off, by phase, technique, size,
                 condition, person, drift + the same two of its own

Both lucks are correlated between the two, so that a figure that saw more than the record knows moves the
hours with it, as far as figures did before. Effects are shrunk: a technique towards its phase, a phase
towards the studio (see `dashboard.analysis.models.mixed_model`). A line whose hours repeat its figure to the
digit says nothing of hours; how often that happens is told apart (`calibration.Chances`). The size of hours
is what was treated; the size of a figure is what was quoted, and before the work is done what was quoted and
how much more there usually is (`growth`).

A size is held against the usual one of its own technique, from that technique's own lines alone. Of a line
that nobody measured the size is unknown: its hours are those of a usual line, scaled by the picture as far as
the record bears that out ("picture"), with a spread of their own; where other lines of the technique were
measured, how far the usual line of the unmeasured ones is from theirs is an effect too ("usual size"). A
technique that was never measured nor quoted by quantity has no usual size: a quantity says nothing of its
hours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dashboard.analysis.arrays import Floats
from dashboard.analysis.data.lines import DAYS_A_YEAR, Lines, Names, codes
from dashboard.analysis.models import quantity_growth, variance_blocks
from dashboard.analysis.models.factor_levels import FactorLevels
from dashboard.analysis.models.hours_design import GROUPED_PRIORS, DesignLayout, design_rows, known_shares
from dashboard.analysis.models.mixed_data import MixedModelData, MixedModelFit, Prior
from dashboard.analysis.models.mixed_model import fit, with_fitted_variances
from dashboard.analysis.models.quantity_growth import QuantityGrowth

_STEPS = 8
_VARIANCES_KEPT = 64  # of blocks of long records: a few numbers each
Z_80 = 1.2815515655446004  # standard deviations to either side hold 4 in 5


@dataclass(frozen=True, slots=True, kw_only=True)
class BivariateMixedModel:
    """Bivariate linear mixed model of log hours and log figure, fitted to a record.

    (log hours, log figure) = X b + Z u + e, with u ~ N(0, G) for works, e ~ N(0, R) for lines: C. R.
    Henderson, "Best linear unbiased estimation and prediction under a selection model", Biometrics 31 (1975).
    Example: `hours_model.learn(lines, today).effects("person")` are log factors on hours, one a person.

    Attributes
    ----------
    levels, layout, fitted : what it knows by name, where that lies, and what is believed of it.
    works : names of the works it has learnt from, in order.
    mix : (people,) how the work is shared between people of late.
    rows : the lines it has learnt from, as the model sees them, and `lines` themselves.
    growth : how much more there is to treat than was quoted.
    """

    levels: FactorLevels
    layout: DesignLayout
    fitted: MixedModelFit
    works: tuple[str, ...]
    mix: Floats
    rows: MixedModelData
    lines: Lines
    growth: QuantityGrowth

    @property
    def between_people(self) -> float:
        """How far paces of people lie apart where it is not known who will do it; variance of log hours."""
        pace = self.effects("person")
        return float(self.mix @ pace**2 - (self.mix @ pace) ** 2)

    def effects(self, name: str) -> Floats:
        start = self.layout.starts[name]
        return self.fitted.effects[start : start + self.layout.sizes[name]]

    def variance(self, name: str) -> float:
        """The fitted variance between effects of one kind."""
        return (
            float(self.fitted.variance[self.layout.starts[name]])
            if self.layout.sizes[name]
            else GROUPED_PRIORS[name][0] ** 2
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CredibleInterval:
    """Equal-tailed interval that holds a normal log effect 4 times in 5: middle ± z sd, with z = `Z_80`.

    A. Gelman et al., "Bayesian Data Analysis" (2013), section 2.3. Example: with middle 0 and sd 0.1 the
    factor on hours is 1, and lies between 0.88 and 1.14.

    Attributes
    ----------
    middle, low, high : (n,) logs of hours, or of factors on them.
    """

    middle: Floats
    low: Floats
    high: Floats

    @classmethod
    def of(cls, middle: Floats, sd: Floats) -> CredibleInterval:
        return cls(middle=middle, low=middle - Z_80 * sd, high=middle + Z_80 * sd)


def learn(lines: Lines, today: int, *, of_wholes: bool = False) -> BivariateMixedModel:
    """Fit the model.

    Parameters
    ----------
    lines : finished ones, and open ones with hours so far; each has hours.
    today : the day for which it is asked (days since 1970).
    of_wholes : whole phases or works will be asked about.
    """
    grown = quantity_growth.learn(lines)
    levels = FactorLevels.of(lines, today, grown, of_wholes=of_wholes)
    layout = DesignLayout.of(levels)
    works, work = lines.coded("object")
    rows, _ = design_rows(lines, levels, layout, work, grown)
    if len(lines) > variance_blocks.MOST_LINES:  # variances are learnt on a part, effects on all
        fitted = fit(rows, _with_variances(lines, rows, layout, today), steps=2, learning=False)
    else:
        fitted = fit(rows, layout.prior, steps=_STEPS)
    recent = 0.5 ** ((today - lines.day) / DAYS_A_YEAR)
    mix = recent @ known_shares(lines, levels)
    return BivariateMixedModel(
        levels=levels,
        layout=layout,
        fitted=fitted,
        works=tuple(works),
        mix=mix / mix.sum() if mix.sum() else mix,
        rows=rows,
        lines=lines,
        growth=grown,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Variances:
    """What a block of finished works taught: variance between the effects of each group that it had any of,
    and what works and lines have to themselves.
    """

    groups: dict[int, float]
    shared: Floats
    residual: Floats


_taught = variance_blocks.ContentCache[_Variances](_VARIANCES_KEPT)


def _with_variances(lines: Lines, rows: MixedModelData, layout: DesignLayout, today: int) -> Prior:
    """The prior of a long record, with its variances as whole works that are over taught them; where most of
    it is under way, as the latest lines did.
    """
    prior = layout.prior
    over = variance_blocks.lines_of_whole_works(lines, today)
    if over is None:
        latest = np.sort(np.argsort(-lines.day, kind="stable")[: variance_blocks.MOST_LINES])
        return with_fitted_variances(fit(rows.take(latest), prior, steps=_STEPS), prior)
    taught = _taught.by(lines.take(over), _variances)
    variance = prior.variance.copy()
    for group, value in taught.groups.items():
        variance[prior.group == group] = value
    # a block without a whole knows nothing of how far wholes lie apart
    residual = np.concatenate([taught.residual, prior.residual[len(taught.residual) :]])
    return replace(prior, variance=variance, shared=taught.shared, residual=residual)


def _variances(lines: Lines) -> _Variances:
    """Learnt from some lines as if they were the record of the day on which the last of them was finished:
    nothing that comes later moves them.
    """
    grown, today = quantity_growth.learn(lines), int(lines.day.max())
    levels = FactorLevels.of(lines, today, grown)
    layout = DesignLayout.of(levels)
    rows, _ = design_rows(lines, levels, layout, lines.coded("object")[1], grown)
    fitted, group = fit(rows, layout.prior, steps=_STEPS), layout.prior.group
    return _Variances(
        groups={
            number: float(fitted.variance[group == number][0])
            for number in range(len(layout.groups))
            if (group == number).any()
        },
        shared=fitted.shared,
        residual=fitted.residual,
    )


def work_effect(joint: BivariateMixedModel, work: str) -> tuple[float, float]:
    """What is known of the luck of a work from its finished lines: by how much their log hours lie above
    those of such lines, and how sure that is (standard deviation).
    """
    at = int(codes(np.array([work]), joint.works)[0])
    if at < 0:
        return 0.0, float(np.sqrt(joint.fitted.shared[0, 0]))
    return float(joint.fitted.of_work[at][0]), float(np.sqrt(joint.fitted.with_work(at)[0][0, 0]))


def own_share(joint: BivariateMixedModel, technique: Names) -> Floats:
    """(n,) how far what is believed of a technique rests on its own lines: 0 not at all, towards 1 the more
    there are.
    """
    start = joint.layout.starts["technique"]
    place = codes(technique, joint.levels.techniques)
    left = np.append(
        np.diag(joint.fitted.covariance)[start : start + len(joint.levels.techniques)],
        joint.variance("technique"),
    )
    values: Floats = np.clip(1 - left[place] / joint.variance("technique"), 0.0, 1.0)
    return values


def person_effects(joint: BivariateMixedModel) -> CredibleInterval:
    """How each person's hours stand to those of the studio as it shares its work now; by their places in the
    levels.
    """
    start, n = joint.layout.starts["person"], len(joint.levels.people)
    against = np.eye(n) - joint.mix
    middle = against @ joint.effects("person")
    covariance = joint.fitted.covariance[start : start + n, start : start + n]
    return CredibleInterval.of(middle, np.sqrt(np.einsum("ij,jk,ik->i", against, covariance, against)))


def drift(joint: BivariateMixedModel) -> tuple[float, float, float]:
    """Change of log hours with each year, and the range that holds the true one 4 times in 5."""
    place = joint.layout.starts["drift"]
    middle, spread = (
        float(joint.fitted.effects[place]),
        Z_80 * float(np.sqrt(joint.fitted.covariance[place, place])),
    )
    return middle, middle - spread, middle + spread
