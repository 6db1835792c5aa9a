"""The record as frames, and the same record kept more coarsely: hours, estimates and ends of several lines
taken together under one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dashboard.analysis.data.levels import NAMES
from dashboard.analysis.data.lines import REMEMBERED, WHOLE

_PROGRESS = ["quantity", "last_quantity_at", "first_done_at", "all_done_at"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFrames:
    """Frames of the teaching queries; days are days since 1970.

    Attributes
    ----------
    lines : `line`, `object`, `phase`, `technique` (empty: the phase as a whole, without a phase the work),
        `part`, `unit`, `remembered` (the work was told from memory), `kind`, `condition` (that bears on it),
        `whole_condition` (mean of those of the work), `area_dm2` (of the picture).
    days : `line`, `person`, `extra`, `day`, `hours`, `quantity`, `first_day`, `last_day`, `last_quantity_at`,
        `first_done_at`, `all_done_at`.
    ends : `line`, `day`.
    estimates : `line`, `version`, `made_on`, `ended_on`, `option_approved_on`, `hours`, `estimate_hours`,
        `quantity`, `person`, `taken_over`.
    versions : `object`, `version`, `made_on`, `ended_on`, `first_stage`, in the order in which they were
        made.
    """

    lines: pd.DataFrame
    days: pd.DataFrame
    ends: pd.DataFrame
    estimates: pd.DataFrame
    versions: pd.DataFrame

    @property
    def has_wholes(self) -> bool:
        """Some line is of a whole phase or a whole work."""
        return bool((self.lines["technique"] == "").any())

    @property
    def hours(self) -> pd.Series:
        """Hours of each line, by `line`, that are held against an estimate."""
        days = self.days
        return days["hours"].where(~days["extra"].astype(bool), 0.0).groupby(days["line"]).sum()

    def before(self, day: int) -> RecordFrames:
        """What was known before a day (days since 1970), of frames with a row a day: as if nothing had been
        entered since. Lines of which nothing was logged or estimated by then are none.
        """
        days = self.days[self.days["day"] < day]
        estimates = self.estimates[
            (self.estimates["made_on"] < day) & ~(self.estimates["option_approved_on"].astype(float) >= day)
        ]
        versions = self.versions[self.versions["made_on"] < day]
        known = self.lines["line"].isin(days["line"]) | self.lines["line"].isin(estimates["line"])
        lines = self.lines[known].reset_index(drop=True)
        ends = self.ends[(self.ends["day"] < day) & self.ends["line"].isin(lines["line"])]
        return replace(
            self,
            lines=lines,
            days=days,
            ends=ends,
            estimates=_stood(estimates, day),
            versions=_stood(versions, day),
        )

    def under(self, heads: pd.DataFrame) -> RecordFrames:
        """The same record, each line taken under another one.

        Parameters
        ----------
        heads : `object`, `phase`, `technique`, `part` of that line, in the order of `lines`; all null: the
            line is left out.
        """
        heads = heads.reset_index(drop=True)
        in_a_group = heads["object"].notna()
        groups = heads[in_a_group].drop_duplicates().sort_values(NAMES, ignore_index=True)
        group = heads.merge(groups.assign(group=groups.index), on=NAMES, how="left")["group"]
        lines = self.lines.reset_index(drop=True)
        own = (lines[NAMES] == heads[NAMES]).all(axis=1)
        group_of = pd.Series(group.to_numpy(), index=lines["line"]).dropna().astype(np.int64)
        is_whole = groups["technique"].eq("").to_numpy()
        return replace(
            self,
            lines=_lines(lines, group, own, groups),
            days=_days(self.days, group_of, is_whole, frozenset(lines.loc[own, "line"])),
            ends=_ends(self, group_of),
            estimates=_estimates(self.estimates, group_of, is_whole),
        )


def _stood(rows: pd.DataFrame, day: int) -> pd.DataFrame:
    """Versions, or rows of them, of which those that came to nothing on a day or later still stood."""
    ended_on = rows["ended_on"].astype(float)
    return rows.assign(ended_on=ended_on.where(ended_on < day))


def _lines(lines: pd.DataFrame, group: pd.Series, own: pd.Series, groups: pd.DataFrame) -> pd.DataFrame:
    """A row for each group: of one that is a line itself what is known of that."""
    about = lines.assign(line=group).loc[group.notna()]
    first = about[own[group.notna()]].set_index("line")[["unit", "condition"]]
    of_work = about.groupby("line")[["kind", "whole_condition", "area_dm2", "remembered"]].first()
    of_group = groups.join(first).join(of_work)
    whole = of_group["technique"] == ""
    return of_group.assign(
        line=of_group.index,
        unit=of_group["unit"].where(~whole, np.where(of_group["remembered"], REMEMBERED, WHOLE)),
        condition=of_group["condition"].where(~whole, of_group["whole_condition"]).astype(float),
    )


def _days(days: pd.DataFrame, group_of: pd.Series, is_whole: np.ndarray, own: frozenset[int]) -> pd.DataFrame:
    """Hours agreed on top are not of the whole; nothing of it is counted, and how far a technique in it came
    says nothing of how far it is.
    """
    group = days["line"].map(group_of)
    result = days.assign(line=group)[group.notna()].astype({"line": np.int64})
    whole = pd.Series(is_whole[result["line"].to_numpy()], index=result.index)
    result = result[~(whole & result["extra"].astype(bool))]
    whole = whole.loc[result.index]
    of_whole = days.loc[result.index, "line"].isin(own)
    for name in _PROGRESS:
        keep = ~whole | of_whole if name.endswith("done_at") else ~whole
        result[name] = result[name].astype(float).where(keep)
    return result


def _estimates(estimates: pd.DataFrame, group_of: pd.Series, is_whole: np.ndarray) -> pd.DataFrame:
    group = estimates["line"].map(group_of)
    result: pd.DataFrame = estimates.assign(line=group)[group.notna()].astype({"line": np.int64})
    whole = pd.Series(is_whole[result["line"].to_numpy()], index=result.index)
    return result.assign(quantity=result["quantity"].where(~whole))


def _ends(frames: RecordFrames, group_of: pd.Series) -> pd.DataFrame:
    """Days on which all lines of a group that were worked or estimated were finished, as each had ended by
    then and nothing was logged on it since. A whole that was logged and not estimated is finished with what
    was estimated in it, on any of which its hours may have been spent.
    """
    ends = frames.ends[frames.ends["line"].isin(group_of.index)]
    ends = ends.assign(group=ends["line"].map(group_of).astype(np.int64))
    last = frames.days.groupby("line")["last_day"].max()
    first_estimated = frames.estimates.groupby("line")["made_on"].min()
    members = pd.DataFrame({"line": group_of.index, "group": group_of.to_numpy()})
    members = members[members["line"].isin(last.dropna().index.union(first_estimated.index))]
    wholes = frames.lines.loc[frames.lines["technique"] == "", "line"]
    estimated = members["line"].isin(first_estimated.index)
    in_estimated = members["group"].isin(members.loc[estimated, "group"])
    spread = ~estimated & in_estimated & members["line"].isin(wholes)
    spread_of, members = members[spread], members[~spread]
    size = members.groupby("group").size()
    single = ends["group"].map(size).fillna(1) == 1
    candidates = ends.loc[~single, ["group", "day"]].drop_duplicates()
    if candidates.empty:
        return ends.assign(line=ends["group"])[["line", "day"]].drop_duplicates()
    # of each day, and each member: whether it had ended by then and rested since
    ended = candidates.merge(members, on="group").merge(
        ends[["line", "day"]].rename(columns={"day": "ended"}), on="line", how="left"
    )
    ended = ended[ended["ended"] <= ended["day"]]
    latest = ended.groupby(["group", "day", "line"], as_index=False)["ended"].max()
    worked = frames.days[["line", "last_day"]].dropna()
    spread_worked = worked.merge(spread_of, on="line").drop(columns="line").merge(members, on="group")
    worked = pd.concat([worked, spread_worked[["line", "last_day"]]]).drop_duplicates()
    between = latest.merge(worked, on="line", how="left")
    open_again = (between["last_day"] > between["ended"]) & (between["last_day"] <= between["day"])
    rests = ~open_again.groupby([between["group"], between["day"], between["line"]]).any()
    closed = rests.groupby(level=["group", "day"]).sum().rename("closed").reset_index()
    whole = closed[closed["closed"] == closed["group"].map(size)]
    alone = ends.loc[single, ["group", "day"]]
    result: pd.DataFrame = (
        pd.concat([alone, whole[["group", "day"]]])
        .rename(columns={"group": "line"})
        .drop_duplicates()
        .sort_values(["line", "day"], ignore_index=True)
    )
    return result
