"""Studios of which everything is known: lines drawn from true rates, and what an oracle says who knows all
but luck.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dashboard.analysis.data.lines import Lines
from dashboard.analysis.models.calibration import SCORED
from dashboard.analysis.models.factor_levels import FactorLevels

Floats = npt.NDArray[np.float64]
TECHNIQUES, PHASES = 50, 10
PEOPLE = ("Ada", "Bo", "Cy")
NOW = 20_000
_UNITS = np.array(["dm2", "cm", "pcs", ""])
_LUCK = 20_001
# how much larger what is treated is on a picture so much larger: 0.7² / (0.7² + 0.3²)
_BY_PICTURE = 0.49 / 0.58
_LOG_AREA = 3.9  # of a middling picture, dm²: about 60 × 80 cm


@dataclass(frozen=True, slots=True, kw_only=True)
class Studio:
    """A studio and its truth.

    Attributes
    ----------
    history, to_come : finished lines, before the day `NOW` and after.
    oracle : (lines to come, levels) quantiles of their log hours, by one who knows all but the luck of work
        and line.
    level, elasticity, typical : (techniques,) log hours of a line of typical log quantity, how hours grow
        with it, and that quantity.
    pace : (people,) log factors.
    unmeasured : (techniques,) of which nothing in the history was measured.
    truth, sure, log_size, of_work : behind them: what is true, the log hours of each line to come but for
        luck, its log quantity where it has one (log_size), and the luck of each work, past and to come.
    """

    history: Lines
    to_come: Lines
    oracle: Floats
    level: Floats
    elasticity: Floats
    typical: Floats
    pace: Floats
    unmeasured: npt.NDArray[np.bool_]
    truth: Truth
    sure: Floats
    log_size: Floats
    of_work: Floats

    def true_rates(self, usual: Lines, levels: FactorLevels, mix: Floats) -> Floats:
        """Log hours of usual lines of the techniques that the record knows, as the work is shared between
        people.
        """
        number = np.array([int(name.split()[1]) for name in usual.technique])
        by_picture = (
            _BY_PICTURE
            * (np.nan_to_num(np.log(usual.area), nan=_LOG_AREA) - _LOG_AREA)
            * self.truth.measured[number]
        )
        size = np.where(
            usual.quantity > 0,
            np.log(np.where(usual.quantity > 0, usual.quantity, 1.0)) - self.typical[number],
            by_picture,
        )
        pace = sum(
            self.pace[PEOPLE.index(name)] * share for name, share in zip(levels.people, mix, strict=True)
        )
        floats: Floats = self.level[number] + self.elasticity[number] * size + pace
        return floats


def asked(lines: Lines) -> Lines:
    """The same lines before they are done."""
    nothing = np.full(len(lines), np.nan)
    return replace(lines, hours=nothing, quantity=nothing, is_open=np.ones(len(lines), dtype=bool))


class Truth:
    """What is true of a studio, drawn within the bounds that studios are taken to lie in."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.phase = rng.permutation(np.arange(TECHNIQUES) % PHASES)
        self.popularity = 1 / np.arange(1, TECHNIQUES + 1) ** 0.8
        self.unit = rng.choice(4, TECHNIQUES, p=[0.5, 0.15, 0.15, 0.2])
        self.measured = self.unit < 3
        self.typical = np.where(
            self.measured, np.array([3.0, 4.5, 1.5, 0.0])[self.unit] + rng.normal(0, 0.7, TECHNIQUES), 0.0
        )
        self.level = 0.9 + rng.normal(0, 0.35, PHASES)[self.phase] + rng.normal(0, 0.65, TECHNIQUES)
        self.elasticity = np.where(
            self.measured, rng.uniform(0.6, 1.0) + rng.normal(0, 0.08, TECHNIQUES), 0.0
        )
        self.work_sd, self.line_sd = rng.uniform(0.2, 0.4), rng.uniform(0.3, 0.6)
        self.pace = np.array([0.0, *rng.normal(0, 0.15, 2)])
        self.share = rng.dirichlet([6, 3, 2])
        self.by_condition, self.drift = rng.uniform(0, 0.12), rng.uniform(-0.05, 0.05)
        # her own figures: biased by phase, technique and size, noisy, and seeing a part of what is special in
        # a work
        self.off = -0.15 + rng.normal(0, 0.2, PHASES)[self.phase] + rng.normal(0, 0.28, TECHNIQUES)
        self.off_size, self.noise, self.seen = (
            rng.uniform(-0.12, 0.02),
            rng.uniform(0.3, 0.55),
            rng.uniform(0.0, 0.5),
        )
        self.follows = rng.uniform(0.0, 1.0)  # how far her figures follow the drift of pace


def tails(rng: np.random.Generator, n: int) -> Floats:
    """Heavy-tailed luck of lines with standard deviation 1: Student's t with 4 degrees of freedom."""
    luck: Floats = rng.standard_t(4, n) / np.sqrt(2)
    return luck


def draw(
    seed: int, works: int, *, later: int = 12, echo: float = 0.0, measured: float = 0.88, never: float = 0.0
) -> Studio:
    """One studio.

    Parameters
    ----------
    works : how many are in its history; `later`: how many are to come.
    echo : share of lines whose hours repeat the figure.
    measured : share of lines of measured techniques whose quantity is known; of the works to come what was
        quoted is.
    never : share of what is counted by area, length or piece of which no line in the history was measured.
    """
    rng = np.random.default_rng(seed)
    truth, total = Truth(rng), works + later
    count = rng.integers(6, 19, total)
    work, n = np.repeat(np.arange(total), count), int(count.sum())
    chance = truth.popularity / truth.popularity.sum()
    technique = np.concatenate([rng.choice(TECHNIQUES, of, replace=False, p=chance) for of in count])
    day = np.concatenate(
        [np.sort(NOW - rng.integers(1, int(365 * max(1.5, works / 25)), works)), np.full(later, NOW)]
    )[work]
    # mostly one person a work
    who = np.where(
        rng.random(n) < 0.7, rng.choice(3, total, p=truth.share)[work], rng.choice(3, n, p=truth.share)
    )
    grade = rng.integers(0, 4, total)[work].astype(float)
    size_of_work = rng.normal(0, 0.7, total)
    size = np.where(truth.measured[technique], size_of_work[work] + rng.normal(0, 0.4, n), 0.0)
    sure = (
        truth.level[technique]
        + truth.elasticity[technique] * size
        + truth.by_condition * (grade - 1.5)
        + truth.pace[who]
    )
    drifted = -truth.drift * (NOW - day) / 365.25
    luck_of_work = rng.normal(0, truth.work_sd, total)
    of_work = luck_of_work[work]
    log_figure = (
        sure
        + truth.follows * drifted
        + truth.off[technique]
        + truth.off_size * size
        + truth.seen * of_work
        + rng.normal(0, truth.noise, n)
    )
    figure = np.maximum(np.round(np.exp(log_figure) * 4) / 4, 0.25)
    hours = np.where(
        rng.random(n) < echo, figure, np.exp(sure + drifted + of_work + truth.line_sd * tails(rng, n))
    )
    quantity = np.where(
        (rng.random(n) < measured) & truth.measured[technique],
        np.exp(truth.typical[technique] + size),
        np.nan,
    )
    beside = np.random.default_rng([seed, 29])  # what was drawn before these were thought of stays as it was
    area = np.exp(_LOG_AREA + size_of_work + beside.normal(0, 0.3, total))[work]
    past = work < works
    unmeasured = beside.permutation(TECHNIQUES) < never * TECHNIQUES
    if never:
        quantity = np.where(unmeasured[technique], np.nan, quantity)
    lines = Lines(
        object=np.array([f"W{w:04d}" for w in range(total)])[work],
        phase=np.array([f"phase {p:02d}" for p in range(PHASES)])[truth.phase[technique]],
        technique=np.array([f"technique {t:02d}" for t in range(TECHNIQUES)])[technique],
        part=np.full(n, ""),
        unit=_UNITS[truth.unit[technique]],
        kind=np.full(n, "easel painting"),
        hours=hours,
        quantity=quantity,
        quoted=quantity,
        figure=np.where(rng.random(n) < 0.05, np.nan, figure),
        condition=grade,
        area=area,
        person=np.array(PEOPLE)[who],
        shares=np.eye(3)[who],
        people=PEOPLE,
        day=day,
        is_open=np.zeros(n, dtype=bool),
        weight=np.ones(n),
    )
    luck = np.sort(truth.work_sd * rng.standard_normal(_LUCK) + truth.line_sd * tails(rng, _LUCK))
    oracle = _oracle(luck, sure[~past], np.log(figure[~past]), echo)
    return Studio(
        history=lines.take(past),
        to_come=lines.take(~past),
        oracle=oracle,
        level=truth.level,
        elasticity=truth.elasticity,
        typical=truth.typical,
        pace=truth.pace,
        unmeasured=unmeasured & truth.measured,
        truth=truth,
        sure=sure[~past],
        log_size=np.where(truth.measured[technique], truth.typical[technique] + size, np.nan)[~past],
        of_work=luck_of_work,
    )


def _oracle(luck: Floats, sure: Floats, log_figure: Floats, echo: float) -> Floats:
    """Quantiles of what is sure and luck, with the chance of an echo of the figure."""
    below = np.searchsorted(luck, log_figure - sure) / len(luck)
    low, high = ((1 - echo) * below)[:, None], ((1 - echo) * below + echo)[:, None]
    level = np.where(low > SCORED, SCORED, SCORED - echo) / (1 - echo)
    floats: Floats = np.where(
        (low <= SCORED) & (high >= SCORED),
        log_figure[:, None],
        sure[:, None] + np.quantile(luck, np.clip(level, 0, 1)),
    )
    return floats if echo else sure[:, None] + np.quantile(luck, SCORED)
