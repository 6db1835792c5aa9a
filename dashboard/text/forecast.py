"""Sentences about works on the bench: where they end, why, and whether to write to the owner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import pandas as pd

from dashboard.analysis.data.levels import shown_technique
from dashboard.analysis.simulation.completion import RemainingDiscovery
from dashboard.formatting import counted, day, hours, tenths
from dashboard.services.forecast import Bench
from dashboard.text.remembered import works_behind
from ingest.values.line_names import line_name, line_names

Standing = Literal["write", "watch", "fine", "unapproved", "unquoted"]
# chance to end above what was approved, from which the owner is to be written to, or the work is watched
WRITE, WATCH = (0.5, 0.2)
REASONS, MOST_NAMED = 3, 6
_COUNTS = 0.25  # hours below which nothing is a reason
_SLOWER = 1.1  # than such lines are here, before that is said
_PARTS = (
    (1 / 4, "a quarter"),
    (1 / 3, "a third"),
    (1 / 2, "half"),
    (2 / 3, "two thirds"),
    (3 / 4, "three quarters"),
)
_NEAR = 0.04
_ALL_OVER = 0.95  # of the area of the picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why a work ends above what was approved: in words, since when that is so (None: the words say it, or
    since it was quoted), and how many hours it adds on average.
    """

    words: str
    since: date | None
    hours: float


def in_ten(chance: float) -> str:
    """A chance in words: `7 in 10`."""
    if not 0.05 <= chance <= 0.95:
        return "less than 1 in 20" if chance < 0.5 else "more than 19 in 20"
    if not 0.075 <= chance <= 0.925:
        return "1 in 20" if chance < 0.5 else "19 in 20"
    if 0.45 <= chance < 0.55:  # on either side of where the owner is to be written to
        return "even chance" if chance >= WRITE else "a little less than even chance"
    return f"{min(max(round(10 * chance), 1), 9)} in 10"


def standing(work: pd.Series) -> Standing:
    """The action that a work calls for; `work` is a row of `Bench.works`."""
    if work["yardstick"] == "none":
        return "unquoted"
    if pd.isna(work["approved_hours"]):
        return "unapproved"
    return (
        "write"
        if work["chance_over_approved"] >= WRITE
        else "watch"
        if work["chance_over_approved"] >= WATCH
        else "fine"
    )


def ends(work: pd.Series) -> str:
    """The end of a work in hours, and the action it calls for."""
    where = (
        f"Ends at {hours(work['p50'])} h at even chance, within {hours(work['p80'])} h 4 times in 5;"
        f" {hours(work['actual_hours']) + ' h so far' if work['begun'] else 'not begun'}."
    )
    approved = (
        f"{hours(work['approved_hours'])} h approved{' for its first stage' if work['first_stage'] else ''}"
    )
    match standing(work):
        case "unquoted":
            return (
                f"No estimate stands, so nobody can say where it ends: {hours(work['actual_hours'])} h so"
                " far."
            )
        case "unapproved" if work["yardstick"] == "approved":
            return (
                f"{where} Its approved estimate has lines without hours, so there is nothing to hold that"
                " against."
            )
        case "unapproved":
            return f"{where} Its estimate is not approved yet, so there is nothing to hold that against."
        case "write":
            return (
                f"Write to the owner: {in_ten(work['chance_over_approved'])} that it ends above the"
                f" {approved} (if it does, by about {hours(work['over_if'])} h). {where}"
            )
        case "watch":
            return (
                f"Keep an eye on it: {in_ten(work['chance_over_approved'])} that it ends above the"
                f" {approved}. {where}"
            )
        case _:
            return (
                f"Fine: {in_ten(1 - work['chance_over_approved'])} that it ends within the {approved}."
                f" {where}"
            )


def costs_the_studio(work: pd.Series) -> str:
    """The chance that the price of a work does not pay for its hours; empty where price or yearly cost is
    unknown.
    """
    if pd.isna(work["chance_over_break_even"]):
        return ""
    return (
        f"Above {hours(work['break_even_hours'])} h its price no longer pays for the hours:"
        f" {in_ten(work['chance_over_break_even'])}."
    )


def beside_it(work: pd.Series) -> str:
    """The luck a work has had, and its end by earned value."""
    sentences = []
    if work["begun"] and abs(work["luck"] - 1) >= 0.05:
        sentences.append(
            f"Its lines take {work['luck']:.1f} times what such lines take here, as far as it has gone."
        )
    if pd.notna(work["earned_hours"]) and work["begun"]:
        sentences.append(
            "If every hour left took as long as those so far, against the estimate, it would end at"
            f" {hours(work['earned_hours'])} h."
        )
    return " ".join(sentences)


def reasons(bench: Bench, work: pd.Series) -> list[Reason]:
    """Reasons for a work to end above what was approved, the largest first."""
    lines = bench.lines[bench.lines["object"] == work["object"]]
    candidates = [_of_line(line, float(work["luck"])) for line in lines.to_dict("records")]
    candidates.append(_of_finds(bench.discoveries.get(work["object"], ())))
    return sorted(
        (item for item in candidates if item is not None and item.hours >= _COUNTS),
        key=lambda item: -item.hours,
    )[:REASONS]


def _of_line(line: Any, luck: float) -> Reason | None:
    """Of a line that ends above its estimate; of one estimated by quantity alone there is nothing to hold it
    against.
    """
    estimated = line["estimated_hours"]
    if pd.isna(line["mean"]) or (line["in_estimate"] and pd.isna(estimated)):
        return None
    if tenths(line["p50"]) <= tenths(float(estimated) if pd.notna(estimated) else 0.0):
        return None  # on average it may end above, at even chance it does not
    words, since = _not_foreseen(line) if not line["in_estimate"] else _above_its_estimate(line, luck)
    return Reason(
        words=f"{line_name(line['phase'], line['technique'], line['part'])}: {words}",
        since=since.date() if isinstance(since, pd.Timestamp) and pd.notna(since) else None,
        hours=float(line["mean"]) - (float(estimated) if pd.notna(estimated) else 0.0),
    )


def _not_foreseen(line: Any) -> tuple[str, Any]:
    onward = (
        ""
        if line["finished"] or line["all_done"] or tenths(line["p50"]) <= tenths(line["actual_hours"])
        else f", {hours(line['p50'])} h in the end"
    )
    return f"not in the estimate, {hours(line['actual_hours'])} h so far{onward}", line["first_day"]


def _above_its_estimate(line: Any, luck: float) -> tuple[str, Any]:
    quoted, so_far, end = hours(line["estimated_hours"]), hours(line["actual_hours"]), line["p50"]
    if line["finished"] or line["all_done"]:
        return f"took {so_far} h against {quoted} h quoted", line["over_on"]
    if not line["begun"]:
        why = (
            f", as lines of this work take {luck:.1f} times what such lines take here"
            if luck >= _SLOWER
            else ""
        )
        return f"not begun, likely to take {hours(end)} h against {quoted} h quoted{why}", None
    if (share := _how_far(line)) and line["estimated_hours"] > 0:
        return (
            (
                f"{share} by {day(line['said_on'])}, taking {end / line['estimated_hours']:.1f} times the"
                " hours quoted"
            ),
            None,
        )
    if pd.notna(line["over_on"]):
        return f"{so_far} h so far against {quoted} h quoted, and not finished", line["over_on"]
    return f"{so_far} h so far, likely {hours(end)} h in the end against {quoted} h quoted", line["first_day"]


def _of_finds(remaining: Sequence[RemainingDiscovery]) -> Reason | None:
    if not remaining:
        return None
    first, total = remaining[0], sum(item.hours for item in remaining)
    name = shown_technique(first.discovery.technique)
    words = (
        f"what may still turn up: {hours(total)} h on average ({name} {in_ten(first.discovery.chance)}, then"
        f" {hours(first.hours_if_found)} h)"
    )
    return Reason(words=words, since=None, hours=total)


def _how_far(line: Any) -> str:
    """The progress of a line: a share of the picture first, an area second."""
    if pd.notna(line["said_done"]):
        return f"{part_of(line['said_done'] / 100)} done" if 0 < line["said_done"] < 100 else ""
    if not (line["treated"] > 0 and line["estimated_quantity"] > 0):
        return ""
    share = line["treated"] / line["estimated_quantity"]
    if share >= 1:
        return "all that was quoted treated"
    whole = line["unit"] == "dm2" and line["estimated_quantity"] >= _ALL_OVER * line["area_dm2"]
    return f"{part_of(share)} of {'the picture' if whole else 'it'} done"


def part_of(share: float) -> str:
    """A share as one says it: `two thirds`, `40 %`."""
    near = min(_PARTS, key=lambda item: abs(item[0] - share))
    return near[1] if abs(near[0] - share) <= _NEAR else f"{100 * share:.0f} %"


def reason_sentence(reason: Reason) -> str:
    """A reason with since when."""
    return f"{reason.words}{f' (since {day(reason.since)})' if reason.since else ''}"


def how_they_stand(bench: Bench) -> str:
    """All works on the bench in one sentence."""
    n = [standing(row) for _, row in bench.works.iterrows()]
    parts = [
        f"{n.count(which)} {words}"
        for which, words in (
            ("write", "to write to the owner about"),
            ("watch", "to keep an eye on"),
            ("fine", "fine"),
            ("unapproved", "with nothing approved in hours"),
            ("unquoted", "without an estimate"),
        )
        if which in n
    ]
    return (
        f"{counted(len(n), 'work')} on the bench: {', '.join(parts)}."
        if parts
        else "No work is on the bench."
    )


def apart(bench: Bench) -> list[str]:
    """Works that are open and not in the forecast."""
    sentences = (
        (
            bench.left_out,
            "Not on the bench yet: {}, not begun and with an estimate that is not approved (note the owner’s"
            " word under Estimate).",
        ),
        (bench.declined, "Left out: {}, whose estimate was declined or withdrawn."),
    )
    return [sentence.format(_codes(codes)) for codes, sentence in sentences if codes]


def _codes(codes: Sequence[str]) -> str:
    return ", ".join(codes[:MOST_NAMED]) + (
        f" and {counted(len(codes) - MOST_NAMED, 'more work')}" if len(codes) > MOST_NAMED else ""
    )


def behind(bench: Bench) -> str:
    """The number of finished lines and works behind a forecast."""
    if not bench.behind:
        return (
            "No line is finished here yet, so all this rests on what is believed of any studio, and is far"
            " from sure."
        )
    works = works_behind(bench.behind, bench.behind_remembered, "work")
    return f"Told from {counted(bench.behind_lines, 'finished line')} on {works}."


def since(day_of: date | None, today: date) -> str:
    """Since when a work is foretold to end above what was approved."""
    return "" if day_of is None else f"Foretold so since {'today' if day_of == today else day(day_of)}."


def jumps(history: pd.DataFrame, entries: pd.DataFrame, most: int = 3) -> list[str]:
    """Where a forecast moved most, and what was logged on that day.

    Parameters
    ----------
    history : frame of `dashboard.services.forecast_history.history`.
    entries : frame of `dashboard.queries.entries` of the work.
    """
    moved = history.assign(by=history["p50"].diff())
    moved = moved[moved["by"].abs() >= _COUNTS * 2]
    sentences = []
    for row in (
        moved.loc[moved["by"].abs().sort_values(ascending=False).index[:most]]
        .sort_values("day")
        .to_dict("records")
    ):
        logged = entries[
            (entries["day"] == row["day"].date())
            & (entries["charge"] == "quoted")
            & (entries["mode"] != "unattended")
        ]
        by_line = (
            logged.assign(line=line_names(logged))
            .groupby("line", sort=False)
            .agg(hours=("hours", "sum"), done=("done", "last"))
            .reset_index()
        )
        what = ", ".join(
            f"{row['line']} {hours(row['hours'])} h"
            f"{f', {share:.0f} % done' if pd.notna(share := row['done']) else ''}"
            for row in by_line.to_dict("records")
        )
        sentences.append(
            f"{day(row['day'])}: {'up' if row['by'] > 0 else 'down'} by {hours(abs(row['by']))} h at even"
            f" chance{f', with {what}' if what else ''}."
        )
    return sentences
