"""A work that is quoted while it is under way: what is done stays as worked, the rest is asked about anew."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from dashboard.formatting import counted, hours
from ingest.values.line_names import line_names

_NAME = ["phase", "technique", "part"]
_OF_THE_SHEET = ("hours", "low_hours", "high_hours", "unattended_hours", "filled_in")
_ALL_DONE = 100


# 88 lines: columns of two frames that are put together
def with_the_bench(lines: pd.DataFrame, bench: pd.DataFrame, positions: Mapping[str, int]) -> pd.DataFrame:
    """The lines of a sheet beside what was worked already.

    Parameters
    ----------
    lines : of the sheet, see `ingest.editing.quote_drafts.ReadWork.lines`, with `filled_in`.
    bench : those of the work in its estimate or with hours against it, of
        `dashboard.services.quote_context.QuoteContext.of_bench`.
    positions : of phases, in the order of work.

    Returns
    -------
    The frame with `worked_hours` (so far; nought: not begun), `done` (it stays as it is: it is finished, or
    all done with its last hours) and `place` (its place in `bench`; -1: it is new), in the order of work.
    What was begun and is not on the sheet, as nobody quoted it, stands behind the lines of its phase,
    numbered below 0; of what the version says of a line nothing is filled in.
    """
    bench = bench.reset_index(drop=True).assign(
        place=np.arange(len(bench)),
        all_done=bench["finished"].astype(bool)
        | ((bench["said_done"] >= _ALL_DONE) & bench["said_last"].fillna(False).astype(bool)),
        unworked=bench["finished"].astype(bool) & ~(bench["actual_hours"] > 0),
        measured=bench["actual_quantity"].where(~bench["quantity_incomplete"].astype(bool)),
        did=bench["person"].fillna(""),
    )
    # what was finished without an hour is quoted anew where it is on the sheet
    bench = bench.loc[
        ~bench["unworked"],
        [
            *_NAME,
            "place",
            "actual_hours",
            "in_estimate",
            "estimated_quantity",
            "all_done",
            "measured",
            "did",
            "unit",
        ],
    ]
    if lines.empty:
        return lines.assign(worked_hours=0.0, done=False, place=-1)
    beside = lines.merge(bench.drop(columns="unit"), on=_NAME, how="left")
    done = beside["all_done"].fillna(False).astype(bool)
    person = beside["person"].where(~done | (beside["person"] != ""), beside["did"].fillna(""))
    # she typed none
    as_estimated = beside["in_estimate"].fillna(False).astype(bool) & (
        beside["filled_in"].notna() | beside["quantity"].isna()
    )
    quantity = beside["quantity"].where(~as_estimated, beside["estimated_quantity"])
    on_sheet = lines.assign(
        worked_hours=beside["actual_hours"].astype(float).fillna(0.0).to_numpy(),
        done=done.to_numpy(),
        person=person.to_numpy(),
        place=beside["place"].fillna(-1).astype(int).to_numpy(),
        quantity=quantity.where(~done | beside["measured"].isna(), beside["measured"]).to_numpy(dtype=float),
        filled_in=lines["filled_in"].where(~as_estimated.to_numpy()),
    )
    on_sheet = on_sheet.assign(**{name: on_sheet[name].where(~done.to_numpy()) for name in _OF_THE_SHEET})
    left = bench[bench["actual_hours"] > 0].merge(
        lines[_NAME].drop_duplicates(), on=_NAME, how="left", indicator=True
    )
    left = left[left["_merge"] == "left_only"]
    is_done = left["all_done"].to_numpy(dtype=bool)
    rest = pd.DataFrame(
        {name: left[name].to_numpy() for name in _NAME}
        | {
            "number": -1 - left["place"].to_numpy(dtype=np.int64),
            "option": "",
            "person": left["did"].where(is_done, "").to_numpy(),
            "mark": "",
            "wording": "",
            "note": "",
            "condition": None,
            "unit": left["unit"].fillna("").to_numpy(),
            "quantity": left["measured"].where(is_done, left["estimated_quantity"]).to_numpy(dtype=float),
            "worked_hours": left["actual_hours"].to_numpy(dtype=float),
            "done": is_done,
            "place": left["place"].to_numpy(dtype=np.int64),
            **dict.fromkeys(_OF_THE_SHEET, np.nan),
        }
    )
    every = pd.concat([on_sheet, rest[list(on_sheet.columns)]], ignore_index=True) if len(rest) else on_sheet
    position = every["phase"].map(positions).fillna(max(positions.values(), default=0) + 1)
    order = (
        every.assign(position=position, behind=every["number"] < 0)
        .sort_values(["position", "phase", "behind"], kind="stable")
        .index
    )
    return every.loc[order].reset_index(drop=True)


def as_one(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines of one option: what belongs to it and what belongs to every option may be the same line, and is
    summed. A sum with an unknown in it is unknown.
    """
    if not lines.duplicated(_NAME).any():
        return lines
    rows = []
    for _, of in lines.groupby(_NAME, sort=False):
        row = of.iloc[0].copy()
        for name in ("quantity", "hours", "low_hours", "high_hours", "unattended_hours"):
            row[name] = of[name].sum() if of[name].notna().all() else np.nan
        row["option"] = max(of["option"])
        row["person"] = row["person"] if of["person"].nunique() == 1 else ""
        row["note"] = "; ".join(filter(None, of["note"]))
        rows.append(row)
    return pd.DataFrame(rows, columns=lines.columns).astype(lines.dtypes.to_dict())


def in_words(lines: pd.DataFrame) -> list[str]:
    """That a work was begun, and what that does to its lines; nothing of one that was not."""
    started = lines[lines["worked_hours"] > 0].drop_duplicates(_NAME)
    if started.empty:
        return []
    done, going_on = started[started["done"]], started[~started["done"]]
    sentences = ["This work is under way, so this is a revision of what was promised."]
    if count := len(done):
        sentences.append(
            f"{counted(count, 'line')} with {hours(done['worked_hours'].sum())} h"
            f" {'is' if count == 1 else 'are'} done (finished, or all done), and"
            f" stay{'s' if count == 1 else ''} as worked."
        )
    if count := len(going_on):
        sentences.append(
            f"{counted(count, 'line goes', 'lines go')} on, and cannot end below what"
            f" {'it' if count == 1 else 'they'} took so far; own hours and quantities are of the whole line."
        )
    if count := int((going_on["number"] < 0).sum()):
        sentences.append(
            f"{counted(count, 'of them was', 'of them were')} begun and"
            f" {'is' if count == 1 else 'are'} not on the sheet:"
            f" {', '.join(line_names(going_on.loc[going_on['number'] < 0, ['phase', 'technique']]))}."
            " Set a milestone under Works where such a line is finished, and it stays as worked."
        )
    return [" ".join(sentences)]
