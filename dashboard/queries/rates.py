"""What rates are learnt from: the record of finished lines, techniques that can have a rate, pinned rates."""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.analysis.data.levels import shown_technique, whole_of
from dashboard.analysis.data.record_frames import RecordFrames
from dashboard.analysis.data.training_record import TrainingRecord
from dashboard.analysis.simulation.discovery_model import GRADES
from dashboard.queries.base import frame
from dashboard.queries.studio import phase_positions
from ingest.sql import Connection
from ingest.studio.vocabulary import read_vocabulary
from ingest.values.spelling import folded


def record(con: Connection, before: date, *, by_day: bool = False) -> TrainingRecord:
    """What teaches, of what was logged, estimated and finished before a day.

    Parameters
    ----------
    by_day : any earlier day can be told from it too, which costs a row for each day of a line.
    """
    return TrainingRecord(
        RecordFrames(
            lines=frame(con, "teaching_lines"),
            days=frame(con, "teaching_days", before=before, by_day=by_day),
            ends=frame(con, "teaching_ends", before=before),
            estimates=frame(con, "teaching_estimates", before=before),
            versions=frame(con, "teaching_versions", before=before),
        )
    )


def teaching_works(con: Connection) -> pd.DataFrame:
    """The works, with what bears on what may turn up on them: `object`, `kind`, `support`, `area_dm2`,
    `structure_condition`, `paint_condition`, `surface_condition` (0 to 3).
    """
    return frame(con, "teaching_works")


def rated_techniques(con: Connection, as_of: date) -> pd.DataFrame:
    """Techniques that can have a rate, in the order of work: `technique`, `phase`, `unit` (empty: not
    measured), `cautions`, `position`, `retired`.
    """
    return frame(con, "rated_techniques", as_of=as_of)


def pins(con: Connection, as_of: date) -> pd.DataFrame:
    """Rates that stood pinned on a day: `phase`, `technique` (of a technique, `phase` is empty; of a phase as
    a whole `technique`; of the work as a whole both), `pinned_rate` (hours per unit, or per line),
    `pinned_reason`, `pinned_on`, `pinned_by`.
    """
    return frame(con, "pins", as_of=as_of)


def left_out(con: Connection, as_of: date) -> frozenset[tuple[str, str]]:
    """Works and techniques of which it was said, in the quote by which the work stands on a day, that they
    will not turn up; by the names that they have now.
    """
    names = read_vocabulary(con).technique_spellings | {
        folded(shown_technique(whole_of(phase))): whole_of(phase) for phase in phase_positions(con)
    }
    return frozenset(
        (row["object"], names.get(folded(row["technique"]), row["technique"]))
        for row in frame(con, "left_out", as_of=as_of).to_dict("records")
    )


def quotes_of_a_rate(con: Connection, technique: str, phase: str = "") -> pd.DataFrame:
    """Saved quotes that used the rate of a technique, or (`technique` empty) of a phase as a whole or of the
    work as a whole, the latest first: `object`, `version`, `option`,
    `part`, `as_of`, `rate`, `unit`, `pinned`, `works`, `p50`, `p80`, `hours` (in the version), `approved_on`,
    `outcome`.
    """
    return frame(con, "quotes_of_a_rate", technique=technique, phase=phase)


def any_whole_quoted(con: Connection) -> bool:
    """Some line of a saved quote is of a phase or a work as a whole."""
    is_quoted: bool = con.execute("SELECT EXISTS (FROM quoted_lines WHERE technique = '')").fetchall()[0][0]
    return is_quoted


def bears_on(con: Connection) -> dict[str, int]:
    """The place among `GRADES` of the condition that bears on each technique, where one does."""
    rows: list[tuple[str, str]] = con.execute(
        "SELECT technique, condition FROM techniques WHERE condition IS NOT NULL ORDER BY technique"
    ).fetchall()
    return {technique: GRADES.index(name) for technique, name in rows}
