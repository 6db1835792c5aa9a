"""Lines of a quote's sheet as the simulation takes them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import Flags, number_or_nan
from dashboard.analysis.data import part_shares
from dashboard.analysis.data.levels import marked
from dashboard.analysis.data.lines import ROWS, WHOLE, Lines, named_shares
from dashboard.analysis.simulation.discovery_model import GRADES, WorkFeatures
from dashboard.analysis.simulation.quote_total import QuoteRequest, StartedLines
from dashboard.analysis.simulation.three_point import ThreePointEstimates
from dashboard.formatting import text
from dashboard.services import open_lines
from dashboard.services import rates as rates_service
from dashboard.services.quote_context import QuoteContext
from dashboard.services.quote_lines import _positive, quoted_quantity
from ingest.editing.quote_drafts import QuotedWork, ReadWork


def request_of(
    context: QuoteContext, name: str, quoted_work: QuotedWork, lines: pd.DataFrame, read: ReadWork
) -> QuoteRequest:
    """Lines of a sheet as the analysis asks about them; those of a work on the bench as they are asked about
    there, but for what is said of them now.
    """
    people_known = context.calibration.joint.lines.people
    n, nothing = len(lines), np.full(len(lines), np.nan)
    work = quoted_work.object or name
    grades = {grade: number_or_nan(read.object_row.get(f"{grade}_condition")) for grade in GRADES}
    known = [grade for grade in grades.values() if not np.isnan(grade)]
    whole = (lines["technique"] == "").to_numpy()
    low, high, hours = (
        lines[column].to_numpy(dtype=float) for column in ("low_hours", "high_hours", "hours")
    )
    person = lines["person"].to_numpy(dtype=str)
    arrays = Lines(
        object=np.full(n, work),
        phase=lines["phase"].to_numpy(dtype=str),
        technique=marked(lines),
        part=lines["part"].to_numpy(dtype=str),
        unit=np.where(whole, WHOLE, lines["unit"].to_numpy(dtype=str)),
        kind=np.full(n, text(read.object_row.get("kind"))),
        hours=nothing,
        quantity=nothing,
        quoted=_positive(quoted_quantity(lines)),
        figure=_positive(lines["hours"]),
        condition=np.where(
            whole,
            np.mean(known) if known else np.nan,
            np.array([grades.get(text(line), np.nan) for line in lines["condition"]], dtype=float),
        ),
        area=np.full(n, number_or_nan(read.object_row.get("area_dm2"))),
        person=person,
        shares=named_shares(person, people_known),
        people=people_known,
        day=np.full(n, rates_service.number_of(context.as_of)),
        is_open=np.ones(n, dtype=bool),
        weight=np.ones(n),
    )
    bench = context.of_bench(quoted_work.object)
    techniques = frozenset(marked(lines).tolist())
    beside: StartedLines | None = None
    if len(bench):
        arrays = _as_on_the_bench(context, lines, bench, arrays)
        beside = _beside(context, lines, bench, area_dm2=number_or_nan(read.object_row.get("area_dm2")))
        # what is finished is not on the sheet any more, and was foreseen all the same; what was begun and
        # nobody quoted was not
        techniques = frozenset(marked(lines[lines["number"] > 0]).tolist()) | frozenset(
            marked(bench[bench["in_estimate"] & ~bench["open"]]).tolist()
        )
    ranges = ThreePointEstimates.of(low, np.where(np.isnan(arrays.figure), hours, arrays.figure), high)
    arrays = replace(
        arrays,
        figure=np.where(np.isnan(arrays.figure) & (ranges.likeliest > 0), ranges.likeliest, arrays.figure),
    )
    return QuoteRequest(
        lines=arrays,
        ranges=ranges,
        pinned=context.pinned.shifts(context.calibration, arrays)
        + part_shares.shifts(context.part_shares, arrays),
        works={work: WorkFeatures.of(read.object_row, techniques, _worked(context, quoted_work.object))},
        left_out=frozenset((work, context.marked(name)) for name in context.left_out(quoted_work)),
        bears_on=context.bears_on,
        bench=beside,
    )


def _as_on_the_bench(context: QuoteContext, lines: pd.DataFrame, bench: pd.DataFrame, arrays: Lines) -> Lines:
    """Lines of a sheet (`arrays`), where they are on the bench as it asks about them; what is said of them
    now, figure, quantity or person, stands where the version says otherwise.
    """
    at = np.flatnonzero(lines["place"] >= 0)
    row = bench.iloc[lines["place"].to_numpy()[at]]
    on_bench = context.on_bench.take(row["place"].to_numpy(dtype=np.int64))
    of_sheet = _is_said(lines)[at]

    def same(values: np.ndarray, estimated: pd.Series) -> Flags:
        known_values = estimated.to_numpy()
        mask: Flags = ~of_sheet | (values == known_values) | (pd.isna(values) & pd.isna(known_values))
        return mask

    values = {name: getattr(arrays, name).copy() for name in ROWS if name != "shares"}
    for name in ("condition", "area", "kind", "day"):
        values[name][at] = getattr(on_bench, name)
    for name, estimated in (
        ("figure", _positive(row["own_hours"])),
        ("quoted", _positive(row["own_quantity"])),
        ("person", row["own_person"].to_numpy(dtype=str)),
    ):
        from_sheet = values[name][at]
        values[name] = values[name].astype(object) if name == "person" else values[name]
        values[name][at] = np.where(
            same(from_sheet, pd.Series(estimated)), getattr(on_bench, name), from_sheet
        )
    values["person"] = values["person"].astype(str)
    return Lines(**values, shares=named_shares(values["person"], arrays.people), people=arrays.people)


def _is_said(lines: pd.DataFrame) -> Flags:
    """(n,) what the sheet says of a line counts: it is on it, and is not done."""
    mask: Flags = ((lines["number"] > 0) & ~lines["done"]).to_numpy(dtype=bool)
    return mask


def _beside(context: QuoteContext, lines: pd.DataFrame, bench: pd.DataFrame, area_dm2: float) -> StartedLines:
    """What is known of lines of a sheet of a work on the bench; what is new there stands behind what is on
    it, in the order of the sheet.
    """
    place = lines["place"].to_numpy(dtype=np.int64)
    is_new = place < 0
    bench_rows = bench.iloc[np.maximum(place, 0)].reset_index(drop=True)
    of_sheet = bench_rows.assign(
        phase=lines["phase"],
        technique=lines["technique"],
        unit=lines["unit"],
        estimated_quantity=np.where(
            _is_said(lines), quoted_quantity(lines), bench_rows["estimated_quantity"]
        ),
        area_dm2=area_dm2,
    )
    of_sheet["actual_hours"] = bench_rows["actual_hours"].where(~is_new, 0.0)
    of_sheet["goes_on"] = bench_rows["goes_on"].where(~is_new, 1.0)
    of_sheet["left"] = bench_rows["left"].astype(bool) & ~is_new
    of_sheet["said_last"] = bench_rows["said_last"].fillna(False).astype(bool) & ~is_new
    for name in ("said_done", "treated", "said_at"):
        of_sheet[name] = bench_rows[name].where(~is_new)
    finished = ~is_new & ~bench_rows["open"].to_numpy(dtype=bool)
    order = np.argsort(np.where(is_new, len(bench) + np.arange(len(lines)), place), kind="stable")
    return StartedLines(
        observations=open_lines.observations(context.calibration.joint.growth, context.sayings, of_sheet),
        finished=finished,
        in_estimate=is_new
        | bench_rows["in_estimate"].to_numpy(dtype=bool)
        | bool((bench["yardstick"] == "none").all()),
        order=order[~finished[order]],
    )


def _worked(context: QuoteContext, code: str) -> frozenset[str]:
    """Techniques that were begun on a work already."""
    of = (
        context.lines[
            (context.lines["object"] == code)
            & ((context.lines["actual_hours"] > 0) | (context.lines["extra_hours"] > 0))
        ]
        if code
        else context.lines.head(0)
    )
    return frozenset(marked(of).tolist())
