"""Sentences about promised hours and what works took."""

from __future__ import annotations

import math

import pandas as pd

from dashboard.analysis.validation.promise_scores import GeometricMeanRatio, JeffreysInterval
from dashboard.formatting import CONFIDENCES, counted, day, hours, signed_hours
from dashboard.queries import Row
from dashboard.services.promises import Scored, Taught
from dashboard.text.rounding import difference
from ingest.values.line_names import line_names

_ENOUGH_TO_TELL = 5  # works before the true share is told
_SHOWS = 0.05  # hours
_ENOUGH = 8  # works before it is said whether chances hold


def share_text(share: JeffreysInterval) -> str:
    """A share with its own range, in words."""
    if share.of < _ENOUGH_TO_TELL:
        return f"{share.hits} of {share.of}"
    return (
        f"{share.hits} of {share.of}; the true share lies 4 times in 5 between {100 * share.low:.0f} and"
        f" {100 * share.high:.0f} in 100"
    )


def bias_text(factor: GeometricMeanRatio | Row) -> str:
    """Actual hours by those at even chance: `15 % more (+10 to +21 %)`."""
    value, low, high = (
        (factor.factor, factor.low, factor.high)
        if isinstance(factor, GeometricMeanRatio)
        else (factor["factor"], factor["low"], factor["high"])
    )
    if math.isnan(value):
        return "–"
    percent = _percent(value)
    return (
        percent
        if math.isnan(low)
        else f"{percent} ({100 * (low - 1):+.0f} to {100 * (high - 1):+.0f} %)".replace("-", "−")
    )


def _percent(factor: float) -> str:
    percent = round(100 * (factor - 1))
    return "as promised" if not percent else f"{abs(percent)} % {'more' if percent > 0 else 'less'}"


def other_yardsticks(
    sums: pd.Series, approved: pd.Series | None, began: pd.Series | None, *, finished: bool
) -> list[str]:
    """Against which other hours other pages hold a work, and how far off it is there; nothing where they are
    the same.

    Parameters
    ----------
    sums : row of `dashboard.analysis.report.overruns.by_object`.
    approved, began : rows of `dashboard.queries.approved_promises` and `promises`; None: there is none.
    """
    sentences = []
    actual = float(sums["actual_hours"] + sums["unpriced_hours"])
    latest = float("nan") if approved is None else float(approved["approved_hours"])
    beyond = difference(latest, float(sums["estimated_hours"]))
    if abs(beyond) >= _SHOWS:
        how = (
            f"{hours(beyond)} h of them for what may turn up, which stand on no line"
            if beyond > 0
            else f"its lines add up to {hours(-beyond)} h more"
        )
        there = (
            f"The year holds the work against all of them: {signed_hours(difference(actual, latest))} h."
            if finished
            else "On the bench holds the work against all of them."
        )
        sentences.append(f"Approved were {hours(latest)} h, {how}. {there}")
    first = float("nan") if began is None else float(began["promised_hours"])
    if (
        finished
        and began is not None
        and abs(difference(first, float(sums["estimated_hours"]) if pd.isna(latest) else latest)) >= _SHOWS
    ):
        sentences.append(
            f"It began with a promise of {hours(first)} h (version {began['version']:.0f}), and Promised and"
            f" kept holds it against that: {signed_hours(difference(actual, first))} h."
        )
    return sentences


def share_kept(scored: Scored) -> list[str]:
    """The share that was kept, against the chance that was promised."""
    works, quoted = scored.works, scored.quoted
    sentences = [
        f"Of {counted(len(works), 'finished work')} with a promise {scored.share_kept.hits} ended within the"
        f" hours promised: the true share lies 4 times in 5 between {100 * scored.share_kept.low:.0f} and"
        f" {100 * scored.share_kept.high:.0f} in 100."
    ]
    points = len(works) - len(quoted)
    if points and len(quoted):
        sentences.append(
            f"{counted(points, 'of them was a figure', 'of them were figures')} without a chance, as"
            " estimates were before."
        )
    elif points:
        sentences.append(
            "They were figures without a chance, as estimates were before there were quotes here."
        )
    for chance, share in scored.by_chance.items():
        sentences.append(
            f"Promised at {CONFIDENCES.get(chance, f'{chance} in 100')}: kept on"
            f" {share_text(share)}.{_verdict(share, chance / 100)}"
        )
    if scored.share_inside.of:
        sentences.append(
            f"Ended inside the range from 1 in 10 to 9 in 10: {share_text(scored.share_inside)}; 80 in 100"
            " would be right."
        )
    return sentences


def _verdict(share: JeffreysInterval, chance: float) -> str:
    if share.of < _ENOUGH:
        return (
            f" {counted(share.of, 'work')} {'is' if share.of == 1 else 'are'} too few to say whether that"
            " chance holds."
        )
    if share.high < chance:
        return " That is less than was promised."
    return (
        " That is more than was promised: there is room."
        if share.low > chance
        else " That is what was promised, as far as can be told."
    )


def bias_sentence(scored: Scored) -> str:
    """The bias of promises to one side."""
    bias = scored.bias
    if not bias.of:
        return ""
    if bias.of == 1:
        return (
            f"That work took {_percent(bias.factor)} than was said at even chance."
            if round(100 * (bias.factor - 1))
            else "That work took what was said at even chance."
        )
    plain = " (a figure without a chance is taken as one)" if len(scored.quoted) < len(scored.works) else ""
    between = (
        f"(4 times in 5 between {100 * (bias.low - 1):+.0f} and {100 * (bias.high - 1):+.0f} %)".replace(
            "-", "−"
        )
    )
    if bias.low <= 1 <= bias.high:
        return f"Works took what was said at even chance{plain}, as far as can be told {between}."
    return f"Works took {_percent(bias.factor)} than was said at even chance{plain} {between}."


def outcomes(scored: Scored) -> str:
    """Every version that was made, by what became of it; none is left out."""
    versions = scored.versions
    if versions.empty:
        return ""
    counts = versions["outcome"].value_counts()
    parts = [
        f"{counts[name]} {name}"
        for name in ("approved", "superseded", "declined", "withdrawn", "waiting for a word", "no word noted")
        if name in counts
    ]
    return (
        f"{counted(len(versions), 'version')} of estimates on"
        f" {counted(versions['object'].nunique(), 'work')}: {', '.join(parts)}. What was declined or"
        " withdrawn is counted here, and teaches no rate."
    )


def one_promise(row: Row) -> str:
    """Promised and actual hours of one finished work."""
    words: str = (
        f" ({CONFIDENCES.get(int(row['confidence']), '')})"
        if pd.notna(row["confidence"])
        else " (a figure without a chance)"
    )
    over = row["actual_hours"] - row["promised_hours"]
    sentence = f"Promised {hours(row['promised_hours'])} h{words}, took {hours(row['actual_hours'])} h: " + (
        "kept" if row["kept"] else f"over by {hours(over)} h"
    )
    if pd.notna(row["inside"]):
        where = "inside" if row["inside"] else "below" if row["actual_hours"] < row["p10"] else "above"
        sentence += (
            f", {'and ' if row['kept'] else ''}{where} the range of {hours(row['p10'])} to"
            f" {hours(row['p90'])} h"
        )
    if pd.notna(row["revised_hours"]):
        sentence += (
            f". Revised on the way to {hours(row['revised_hours'])} h, which is not scored: it took over what"
            " was worked already"
        )
    return f"{sentence}."


def not_worked(lines: pd.DataFrame) -> str:
    """The promised lines that were never worked; empty where all were. `lines` of the work, of
    `dashboard.services.promises.Scored.lines`.
    """
    idle = lines[~(lines["actual_hours"] > 0)]
    if idle.empty:
        return ""
    return (
        f"{counted(len(idle), 'promised line')} of {len(lines)} {'was' if len(idle) == 1 else 'were'} never"
        f" worked ({hours(idle['promised_hours'].sum())} h of the promise): not needed, or the treatment was"
        " stopped."
    )


def apart(versions: pd.DataFrame) -> list[str]:
    """Of each version that was saved from a quote, what of its promise stands in its lines, against which
    hours are held, and what is for what may turn up. `versions` of `dashboard.queries.versions`.
    """
    sentences = []
    for row in versions[versions["promised_hours"].notna()].to_dict("records"):
        rest = row["promised_hours"] - row["hours"]
        if rest >= 0.05:
            option = f", option {row['option']}," if isinstance(row["option"], str) else ""
            sentences.append(
                f"Version {row['version']}{option} promised {hours(row['promised_hours'])} h:"
                f" {hours(row['hours'])} h in its lines, against which hours are held, and {hours(rest)} h"
                " for what may turn up."
            )
    return sentences


def learned(taught: Taught) -> str:
    """In one sentence: `varnish removal up 6 %, lining removal unchanged`."""
    rates = taught.rates.assign(line=line_names(taught.rates[["phase", "technique"]]))
    compared = rates[rates["change"].notna()]
    moved = (
        compared[~compared["unchanged"].astype(bool)]
        .assign(size=lambda frame: frame["change"].abs())
        .sort_values("size", ascending=False, kind="stable")
    )
    parts = [
        f"{row['line']} {'up' if row['change'] > 0 else 'down'} {100 * abs(row['change']):.0f} %"
        for row in moved.head(4).to_dict("records")
    ]
    if len(moved) > 4:
        parts.append(f"{counted(len(moved) - 4, 'other rate')} by less")
    if same := int(compared["unchanged"].sum()):
        parts.append(
            f"{compared.loc[compared['unchanged'].astype(bool), 'line'].iloc[0]} unchanged"
            if same == 1
            else f"{same} unchanged"
        )
    new = rates[rates["change"].isna() & rates["rate_after"].notna()]
    if len(new):
        parts.append(f"a first rate for {', '.join(new['line'])}")
    return (
        f"{'; '.join(parts)[0].upper()}{'; '.join(parts)[1:]}."
        if parts
        else "No rate was moved by it: none of its lines teaches one."
    )


def turned_up(taught: Taught) -> str:
    """Work that no estimate foresaw, for the chances of works to come."""
    if taught.turned_up.empty:
        return "Nothing turned up that the estimate with which it began had not foreseen."
    named = ", ".join(
        f"{row['technique']} ({hours(row['hours'])} h)" for row in taught.turned_up.to_dict("records")
    )
    return f"Turned up unquoted: {named}. The next quote of such a work counts that among its chances."


def since(scored: Scored) -> str:
    """From when to when."""
    works = scored.works
    return f"{day(works['finished_on'].min())} to {day(works['finished_on'].max())}"
