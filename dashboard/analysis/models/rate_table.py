"""What each technique really takes in this studio: rates, with their ranges, and the works behind them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Floats, Integers
from dashboard.analysis.data.levels import is_whole, marked
from dashboard.analysis.data.lines import REMEMBERED, WHOLE, Lines, Names, codes
from dashboard.analysis.models import calibration, hours_model, hours_prediction
from dashboard.analysis.models.calibration import Calibration
from dashboard.analysis.models.hours_model import CredibleInterval
from dashboard.analysis.models.ratio_model import works_needed

_SHOWN = np.array([0.1, 0.5, 0.8, 0.9])
_RATES = ("rate", "rate_low", "rate_high", "reference_quantity", "elasticity")
FIGURES = (*_RATES, "p10", "p50", "p80", "p90", "figure_weight")


@dataclass(frozen=True, slots=True, kw_only=True)
class PinnedRates:
    """What is pinned, by technique, phase as a whole or work as a whole, by the names that models have for
    them: `by_rate`, the log of the pinned rate by the record's, where both are
    hours for the same; `per_unit`, the log of the pinned hours per unit, where the record has hours per line
    alone, as nothing was measured yet.
    """

    by_rate: dict[str, float]
    per_unit: dict[str, float]

    def shifts(self, calibration: Calibration, lines: Lines) -> Floats:
        """(n,) by how much pins move the log hours that the record expects of lines; nought where nothing is
        pinned, or where what is pinned is per unit and no quantity is quoted.
        """
        shifts = np.array([self.by_rate.get(name, 0.0) for name in lines.technique.tolist()])
        straight = np.array([self.per_unit.get(name, np.nan) for name in lines.technique.tolist()]) + np.log(
            np.where(lines.quoted > 0, lines.quoted, np.nan)
        )
        at = np.flatnonzero(~np.isnan(straight))
        if len(at):
            shifts[at] = straight[at] - hours_prediction.level(calibration.joint, lines.take(at))[0]
        return shifts


def pins(table: pd.DataFrame) -> PinnedRates:
    """What is pinned; `table` of `dashboard.services.rates.rate_table`, or the columns `phase`, `technique`,
    `unit`, `counted_in`, `rate`, `pinned_rate` of it.
    """
    pinned = table[table["pinned_rate"].notna()]
    alike = pinned["unit"].notna() | pinned["counted_in"].isna()
    both, of = pinned[alike & (pinned["rate"] > 0)], pinned[~alike]
    return PinnedRates(
        by_rate=dict(
            zip(
                marked(both).tolist(),
                np.log((both["pinned_rate"] / both["rate"]).to_numpy(dtype=float)).tolist(),
                strict=True,
            )
        ),
        per_unit=dict(
            zip(marked(of).tolist(), np.log(of["pinned_rate"].to_numpy(dtype=float)).tolist(), strict=True)
        ),
    )


def person_paces(calibration: Calibration) -> CredibleInterval:
    """Log hours of a usual line of each technique of the record, in order of their names: at middling
    condition, as the work is shared between people now.
    """
    return CredibleInterval.of(
        *hours_prediction.level(
            calibration.joint,
            usual_lines(calibration, np.asarray(calibration.joint.levels.techniques, dtype=str)),
        )
    )


def usual_lines(
    calibration: Calibration, techniques: Names, phases: Names | None = None, units: Names | None = None
) -> Lines:
    """A line of the usual quantity for each technique, in the phase, on the kind of object and on the size of
    picture where it was mostly done; of one that was never measured the quantity is not known.

    Parameters
    ----------
    phases, units : of techniques that the record does not know.
    """
    past, levels = calibration.joint.lines, calibration.joint.levels
    n = len(techniques)
    place = codes(techniques, levels.techniques)
    occurs = place >= 0
    of = codes(past.technique, levels.techniques)
    own = {
        name: np.where(
            occurs, _mostly(getattr(past, name), of, len(levels.techniques), default)[place], default
        )
        for name, default in (("phase", ""), ("unit", ""), ("kind", ""))
    }
    phase = own["phase"] if phases is None else np.where(occurs, own["phase"], phases)
    unit = own["unit"] if units is None else np.where(occurs, own["unit"], units)
    nothing = np.full(n, np.nan)
    # what was quoted and never measured makes no rate per unit
    reference = np.exp(
        np.where(np.append(levels.measured, 0)[place] > 0, levels.reference(techniques), np.nan)
    )
    # pieces are whole
    reference = np.where(unit == "pcs", np.maximum(np.round(reference), 1.0), _two_figures(reference))
    return Lines(
        object=np.full(n, ""),
        phase=phase,
        technique=techniques,
        part=np.full(n, ""),
        unit=unit,
        kind=own["kind"],
        hours=nothing,
        quantity=np.where(unit == "", np.nan, reference),
        quoted=nothing,
        figure=nothing,
        condition=nothing,
        area=np.exp(levels.picture(techniques)),
        person=np.full(n, ""),
        shares=np.zeros((n, len(past.people))),
        people=past.people,
        day=np.full(n, levels.day),
        is_open=np.ones(n, dtype=bool),
        weight=np.ones(n),
    )


def _two_figures(value: Floats) -> Floats:
    """Rounded to two figures, so that a usual quantity can be said and is what is reckoned with."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1)
    values: Floats = np.round(value / step) * step
    return values


def _mostly(names: Names, of: Integers, count: int, default: str) -> Names:
    """The commonest name of each of so many groups; of two equally common the first by the alphabet."""
    words, word = np.unique(names, return_inverse=True)
    if not len(words):
        return np.full(count + 1, default)
    often = np.zeros((count, len(words)), dtype=np.int64)
    np.add.at(often, (of, word), 1)
    return np.append(words[often.argmax(axis=1)], default) if count else np.full(1, default)


# 96 lines: the columns of one frame
def table(calibration: Calibration, vocabulary: pd.DataFrame, *, of_wholes: bool = False) -> pd.DataFrame:
    """Every technique of the vocabulary and of the record, with what it takes; or (`of_wholes`) every whole
    phase or work, by the names that models have for them.

    Parameters
    ----------
    calibration : calibrated on the record of a day.
    vocabulary : `technique`, `phase`, `unit` (empty: not measured), one row a technique.

    Returns
    -------
    Frame with `technique`, `phase`, `unit` (null: hours are per line, as nothing of it is counted or none of
    it was measured yet), `counted_in` (the unit of the vocabulary, null where it has none), `measured`
    (finished lines whose quantity is known), `works`, `lines` (finished), `open_lines`, `rate`, `rate_low`,
    `rate_high` (hours per unit, or per line), `reference_quantity` and `elasticity` (null without a unit),
    `usual_area` (dm² of the usual picture; null: not known), `p10`, `p50`, `p80`, `p90` (hours of the next
    line of the reference quantity, or on the usual picture), `figure_weight` (0 to 1), `own_share` (0 to 1:
    how far the rate rests on the technique's own lines), `rests_on` (technique, phase, studio, nothing) and
    `reach` (the highest of the chances 0.8 and 0.9 that its own works alone would reach; null: neither). All
    figures are null while nothing at all is finished.
    """
    past = calibration.joint.lines
    known = np.asarray(calibration.joint.levels.techniques, dtype=str)
    known = known[is_whole(known) == of_wholes]
    extra = vocabulary[~vocabulary["technique"].isin(known)]
    techniques = np.concatenate([known, extra["technique"].to_numpy(dtype=str)])
    padding = [""] * len(known)
    lines = usual_lines(
        calibration,
        techniques,
        np.array(padding + extra["phase"].tolist(), dtype=str),
        np.array(padding + extra["unit"].fillna("").tolist(), dtype=str),
    )
    finished = past.take(~past.is_open)
    count = (
        pd.DataFrame({"technique": finished.technique, "object": finished.object})
        .groupby("technique")["object"]
        .agg(["size", "nunique"])
    )
    opened = pd.Series(past.technique[past.is_open], dtype=object).value_counts()
    pace = CredibleInterval.of(*hours_prediction.level(calibration.joint, lines))
    measured = ~np.isnan(lines.quantity)
    reference = np.where(measured, lines.quantity, 1.0)
    levels, place = calibration.joint.levels, codes(techniques, calibration.joint.levels.techniques)
    hours = _next_line(calibration, lines)
    frame = pd.DataFrame(
        {
            "technique": techniques,
            "phase": lines.phase,
            "unit": pd.Series(lines.unit, dtype=object).where(measured, None),
            "counted_in": pd.Series(lines.unit, dtype=object).where(
                ~np.isin(lines.unit, ["", WHOLE, REMEMBERED]), None
            ),
            "measured": np.append(levels.measured, 0)[place],
            "usual_area": np.where(place >= 0, lines.area, np.nan),
            "works": count["nunique"].reindex(techniques, fill_value=0).to_numpy(),
            "lines": count["size"].reindex(techniques, fill_value=0).to_numpy(),
            "open_lines": opened.reindex(techniques, fill_value=0).to_numpy(),
            "rate": np.exp(pace.middle) / reference,
            "rate_low": np.exp(pace.low) / reference,
            "rate_high": np.exp(pace.high) / reference,
            "reference_quantity": np.where(measured, reference, np.nan),
            "elasticity": np.where(
                measured, hours_prediction.elasticity(calibration.joint, techniques), np.nan
            ),
            **dict(zip(("p10", "p50", "p80", "p90"), hours.T, strict=True)),
            "figure_weight": _figure_weight(calibration, lines),
            "own_share": hours_model.own_share(calibration.joint, techniques),
        }
    )
    known_phase = np.isin(lines.phase, finished.phase)
    frame["rests_on"] = np.where(
        not len(finished),
        "nothing",
        np.where(frame["lines"] > 0, "technique", np.where(known_phase, "phase", "studio")),
    )
    frame["reach"] = np.select(
        [frame["works"] >= works_needed(0.9), frame["works"] >= works_needed(0.8)], [0.9, 0.8], np.nan
    )
    if not len(finished):
        frame[[*FIGURES, "own_share"]] = np.nan
    return frame


def _next_line(known: Calibration, lines: Lines) -> Floats:
    """(n, 4) hours that the next line of the usual quantity will take at most, at 1 in 10, even chance, 4 in
    5 and 9 in 10; each as if on a work of its own.
    """
    mean, sd = hours_prediction.predict_alone(known.joint, lines)
    return np.exp(calibration.at_levels(mean[:, None] + sd[:, None] * known.shape, _SHOWN))


def _figure_weight(calibration: Calibration, lines: Lines) -> Floats:
    """How far the conservator's own figure would move the line, if she gave one."""
    mixed = np.array(
        [calibration.weight.get(phase, calibration.weight[""]) for phase in lines.phase], dtype=float
    )
    values: Floats = mixed * hours_prediction.weight_of_figure(calibration.joint, lines) + (1 - mixed)
    return values
