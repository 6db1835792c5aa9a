"""A work that is quoted while it is under way: what is done stays as worked, the rest is asked about anew."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from dashboard.words import counted, hours

_NAME = ["phase", "technique", "part"]
_OF_THE_SHEET = ("hours", "low_hours", "high_hours", "unattended_hours", "filled_in")
_ALL_DONE = 100


def with_the_bench(lines: pd.DataFrame, begun: pd.DataFrame, positions: Mapping[str, int]) -> pd.DataFrame:
    """The lines of a sheet beside what was worked already.

    Parameters
    ----------
    lines : of the sheet, see `ingest.quotes.ReadWork.lines`, with `filled_in`. begun : those of the work with hours against its estimate, of `dashboard.quoting.Known.begun`.
    positions : of phases, in the order of work.

    Returns
    -------
    The frame with `worked_hours` (so far; nought: not begun) and `done` (it stays as it is: it is finished, or all done, or was worked and is not on the sheet), in the order of work; what is not on
    the sheet stands behind the lines of its phase, numbered below 0.
    """
    begun = begun.assign(
        all_done=begun["finished"].astype(bool) | (begun["done"] >= _ALL_DONE), measured=begun["actual_quantity"].where(~begun["quantity_incomplete"].astype(bool)), did=begun["person"].fillna("")
    )[[*_NAME, "actual_hours", "all_done", "measured", "did", "unit"]]  # fmt: skip
    if lines.empty:
        return lines.assign(worked_hours=0.0, done=False)
    beside = lines.merge(begun.drop(columns="unit"), on=_NAME, how="left")
    done = beside["all_done"].fillna(False).astype(bool)
    person = beside["person"].where(~done | (beside["person"] != ""), beside["did"].fillna(""))
    on_sheet = lines.assign(
        worked_hours=beside["actual_hours"].astype(float).fillna(0.0).to_numpy(), done=done.to_numpy(), person=person.to_numpy(),
        quantity=beside["quantity"].where(~done | beside["measured"].isna(), beside["measured"]).to_numpy(dtype=float),
        **{name: lines[name].where(~done.to_numpy()) for name in _OF_THE_SHEET},
    )  # fmt: skip
    left = begun.merge(lines[_NAME].drop_duplicates(), on=_NAME, how="left", indicator=True)
    left = left[left["_merge"] == "left_only"]
    rest = pd.DataFrame(
        {name: left[name].to_numpy() for name in _NAME} | {
            "number": -1 - np.arange(len(left)), "option": "", "person": left["did"].to_numpy(), "mark": "", "wording": "", "note": "", "condition": None, "unit": left["unit"].fillna("").to_numpy(),
            "quantity": left["measured"].to_numpy(dtype=float), "worked_hours": left["actual_hours"].to_numpy(dtype=float), "done": True, **dict.fromkeys(_OF_THE_SHEET, np.nan),
        }
    )  # fmt: skip
    every = pd.concat([on_sheet, rest[list(on_sheet.columns)]], ignore_index=True) if len(rest) else on_sheet
    position = every["phase"].map(positions).fillna(max(positions.values(), default=0) + 1)
    order = every.assign(position=position, behind=every["number"] < 0).sort_values(["position", "phase", "behind"], kind="stable").index
    return every.loc[order].reset_index(drop=True)


def as_one(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines of one option: what belongs to it and what belongs to every option may be the same line, and is summed. A sum with an unknown in it is unknown."""
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
    begun = lines[lines["worked_hours"] > 0].drop_duplicates(_NAME)
    if begun.empty:
        return []
    done = begun[begun["done"]]
    said = ["This work is under way, so this is a revision of what was promised."]
    if one := len(done):
        said.append(
            f"{counted(one, 'line')} with {hours(done['worked_hours'].sum())} h {'is' if one == 1 else 'are'} done (finished, all done, or no longer on the sheet), and stay{'s' if one == 1 else ''} as worked."
        )
    if going_on := len(begun) - one:
        said.append(
            f"{counted(going_on, 'line goes', 'lines go')} on, and cannot end below what {'it' if going_on == 1 else 'they'} took so far; own hours and quantities are of the whole line."
        )
    return [" ".join(said)]
