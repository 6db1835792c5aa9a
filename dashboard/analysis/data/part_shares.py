"""How much of a phase one part of a work takes, as finished works tell it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Floats
from dashboard.analysis.data.levels import PHASE, whole_of
from dashboard.analysis.data.lines import Lines
from dashboard.analysis.data.training_record import TrainingRecord


@dataclass(frozen=True, slots=True)
class PartShare:
    """The hours of a part by those of the phase of the whole work (0 to 1), on so many finished works."""

    share: float
    works: int


def learn(record: TrainingRecord, before: int) -> dict[tuple[str, str], PartShare]:
    """By phase, as models name it as a whole, and part: on the works on which that phase is finished and the
    part was worked in it, be it by technique or as a whole.

    Parameters
    ----------
    before : days since 1970, of the day before which the record was read.
    """
    lines = record.frames.lines
    parts = lines[lines["part"] != ""]
    if parts.empty:
        return {}
    phases = record.of_wholes(PHASE).as_of(before)
    phases = phases.take(~phases.is_open & (phases.phase != ""))
    all_hours = pd.DataFrame({"object": phases.object, "phase": phases.phase, "all_hours": phases.hours})
    hours = parts.assign(hours=parts["line"].map(record.frames.hours).fillna(0.0))
    of_work = hours.groupby(["object", "phase", "part"], as_index=False)["hours"].sum()
    of_work = of_work[of_work["hours"] > 0].merge(all_hours, on=["object", "phase"])
    sums = of_work.groupby(["phase", "part"]).agg(
        hours=("hours", "sum"), all_hours=("all_hours", "sum"), works=("object", "size")
    )
    return {
        (whole_of(phase), part): PartShare(float(row.hours / row.all_hours), int(row.works))
        for (phase, part), row in zip(sums.index.tolist(), sums.itertuples(), strict=True)
    }


def shifts(shares: Mapping[tuple[str, str], PartShare], lines: Lines) -> Floats:
    """(n,) by how much the log hours of parts of phases as a whole lie below those of the phase, which models
    tell of them; nought of all else, and of parts of which no share is known.
    """
    log_shares = {name: math.log(part.share) for name, part in shares.items()}
    return np.array(
        [
            log_shares.get(name, 0.0)
            for name in zip(lines.technique.tolist(), lines.part.tolist(), strict=True)
        ],
        dtype=float,
    )
