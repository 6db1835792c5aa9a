"""A quote computed: each work with its options, their hours, what may turn up, and the price."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from functools import reduce
from typing import Any

import numpy as np
import pandas as pd

from dashboard.analysis.arrays import number_or_nan
from dashboard.analysis.data.levels import marked, shown_technique, whole_of
from dashboard.analysis.data.lines import join
from dashboard.analysis.report import price, reference_class
from dashboard.analysis.report.price import AgreedPrice
from dashboard.analysis.simulation import quote_total, unforeseen, waiting_times
from dashboard.analysis.simulation.discovery_model import WorkFeatures
from dashboard.analysis.simulation.quote_snapshot import LEVELS, NAMES, quote_figures
from dashboard.analysis.simulation.quote_total import QuoteRequest, StartedLines
from dashboard.analysis.simulation.three_point import ThreePointEstimates
from dashboard.analysis.simulation.totals import DRAWS
from dashboard.analysis.simulation.unforeseen import PossibleDiscovery
from dashboard.formatting import counted, text
from dashboard.services import prices
from dashboard.services.quote import Option, Quoted, WorkQuoted
from dashboard.services.quote_checks import check_lines, unknown_words
from dashboard.services.quote_context import QuoteContext
from dashboard.services.quote_lines import in_first_stage, with_quantities
from dashboard.services.quote_request import request_of
from dashboard.services.quote_revision import as_one, in_words, with_the_bench
from dashboard.services.quote_terms import QuoteTerms, read_costs, read_terms
from dashboard.services.rates import works_behind
from ingest.editing.quote_drafts import Quote, QuotedWork, ReadWork
from ingest.studio.settings import Settings
from ingest.values.line_names import line_name
from ingest.values.named_amounts import exact

LETTER_OF_CHANGE = "change"  # the form of the letter that sets what was approved beside what it takes now


def on_the_bench(lines: pd.DataFrame, quote: Quote) -> tuple[str, ...]:
    """Where one of the works of a quote was begun or is approved, that and all works with an open line: what
    open lines say is told of each work by itself, and teaches nothing meanwhile. `lines` of
    `dashboard.queries.overruns`.
    """
    on_bench = (lines["actual_hours"] > 0) | (lines["yardstick"] == "approved")
    quoted_now = {work.object for work in quote.works} & set(lines.loc[on_bench, "object"])
    return (
        tuple(sorted(quoted_now | set(lines.loc[~lines["finished"].astype(bool), "object"])))
        if quoted_now
        else ()
    )


def quoted(
    context: QuoteContext, quote: Quote, reads: list[ReadWork], studio: Settings, draws: int = DRAWS
) -> Quoted:
    """What a quote promises.

    Parameters
    ----------
    context : what the record says.
    reads : how each of its works reads (`ingest.editing.quote_drafts.read_over`).
    """
    terms = read_terms(quote.terms, studio, context.people)
    alone = sum(1 for read in reads if len(read.lines)) == 1
    revises = quote.letter.get("form") == LETTER_OF_CHANGE
    works = tuple(
        _work(context, f"\x1f{number}", draft, read, terms, draws, alone=alone, revises=revises and alone)
        for number, (draft, read) in enumerate(zip(quote.works, reads, strict=True), 1)
    )
    together = None
    if sum(1 for work in works if work.options) > 1:
        requests = [
            request_of(context, f"\x1f{number}", work.draft, work.options[0].lines, work.read)
            for number, work in enumerate(works, 1)
            if work.options
        ]
        together = quote_total.forecast(context.calibration, context.discoveries, _joined(requests), draws)
    return Quoted(works=works, together=together, terms=terms, as_of=context.as_of)


def _joined(requests: list[QuoteRequest]) -> QuoteRequest:
    return QuoteRequest(
        lines=reduce(join, (request.lines for request in requests)),
        ranges=reduce(ThreePointEstimates.join, (request.ranges for request in requests)),
        pinned=np.concatenate([request.pinned for request in requests]),
        works={name: work for request in requests for name, work in request.works.items()},
        left_out=frozenset().union(*(request.left_out for request in requests)),
        bears_on=requests[0].bears_on,
        bench=(
            reduce(
                StartedLines.join,
                (request.bench or StartedLines.none(len(request.lines)) for request in requests),
            )
            if any(request.bench for request in requests)
            else None
        ),
    )


# 84 lines: options, costs and sentences of one work, each with its case
def _work(
    context: QuoteContext,
    name: str,
    quoted_work: QuotedWork,
    read: ReadWork,
    terms: QuoteTerms,
    draws: int,
    *,
    alone: bool,
    revises: bool,
) -> WorkQuoted:
    area = number_or_nan(read.object_row.get("area_dm2"))
    lines = with_quantities(read.lines, area, context.usual_share)
    bench = context.of_bench(quoted_work.object)
    named = [fromkey for fromkey in dict.fromkeys(lines.sort_values("number")["option"]) if fromkey]
    options = named[:1] or [""] if terms.first_stage else named or [""]
    costs, faults = read_costs(quoted_work, terms)
    if alone and terms.travel:
        costs.append(("travel", terms.travel))
    # what is examined is examined for each option
    always = (lines["option"] == "") | (in_first_stage(context, lines) if terms.first_stage else False)
    shown = {option: "" if terms.first_stage else option for option in options}
    built = (
        tuple(
            _option(
                context,
                name,
                quoted_work,
                read,
                with_the_bench(
                    with_quantities(
                        as_one(read.lines[always | (lines["option"] == option)]), area, context.usual_share
                    ),
                    bench,
                    context.positions,
                ),
                shown[option],
                terms,
                costs,
                draws,
            )
            for option in options
        )
        if len(lines)
        else ()
    )
    why_whole = ""
    if revises and (was := agreed_price(context, quoted_work.object, terms)) is not None:
        built = tuple(replace(option, agreed=was) for option in built)
    if revises and not terms.whole_anew and any((option.lines["worked_hours"] > 0).any() for option in built):
        why_whole = _nothing_stays(context, quoted_work.object, terms)
        built = (
            built
            if why_whole
            else tuple(_with_added(context, quoted_work.object, option, costs) for option in built)
        )
    if terms.first_stage and built and all(item.price is None and item.promised == 0 for item in built):
        faults.append(
            "A first stage is asked for, and no line of it is on the sheet: they are in"
            f" {' and '.join(context.first_phases) or 'examination and documentation'}. There is no price."
        )
    beside = with_the_bench(lines, bench, context.positions)
    doubts, notes = check_lines(context, beside[~beside["done"] & (beside["number"] > 0)], area)
    notes += [*in_words(beside), *_of_parts(context, beside), *([why_whole] if why_whole else [])]
    if len(named) > 1 and terms.first_stage:
        notes.append(
            f'The whole treatment is told with the option "{named[0]}"; the first stage is the same for each.'
        )
    if len(named) == 1 and not terms.first_stage:
        notes.append(
            f'There is one option only, "{named[0]}": its lines and those without one are quoted together.'
            " Name another one, and they stand side by side."
        )
    return WorkQuoted(
        draft=quoted_work,
        read=read,
        described=WorkFeatures.of(read.object_row, frozenset(marked(lines).tolist())),
        options=built,
        costs=tuple(costs),
        faults=tuple(faults),
        doubts=(*unknown_words(context, quoted_work, read), *doubts),
        notes=tuple(notes),
    )


# 117 lines: columns of frames, and a record of seventeen fields
def _option(
    context: QuoteContext,
    name: str,
    quoted_work: QuotedWork,
    read: ReadWork,
    lines: pd.DataFrame,
    option: str,
    terms: QuoteTerms,
    costs: list[tuple[str, Decimal]],
    draws: int,
) -> Option:
    request = request_of(context, name, quoted_work, lines, read)
    forecast = quote_total.forecast(context.calibration, context.discoveries, request, draws)
    n, level = forecast.lines, terms.confidence / 100
    of_price = np.ones(len(forecast.hours), dtype=bool)
    if terms.first_stage:
        of_price = np.concatenate(
            [
                in_first_stage(context, lines).to_numpy(dtype=bool),
                np.zeros(len(forecast.discoveries), dtype=bool),
            ]
        )
    figures = quote_figures(forecast.hours, forecast.basis, of_price, level)
    total, promised, spread, hours = figures.total, figures.parts, figures.spread, figures.lines
    in_price = of_price[:n]
    behind = works_behind(context.calibration, lines)
    lines = lines.assign(
        **dict(zip(NAMES, hours[:n].T, strict=True)),
        works=[len(of) for of in behind],
        remembered=[len(context.remembered.intersection(of)) for of in behind],
        without_figure=forecast.without_figure,
        figure_weight=forecast.figure_weight[:n],
        by_hand=forecast.by_hand,
        pinned=context.pinned.shifts(context.calibration, request.lines) != 0,
        promised=promised[:n],
        spread=spread[:n],
        in_price=in_price,
    )
    discoveries = discoveries_frame([discovery for _, discovery in forecast.discoveries]).assign(
        hours_if_found=hours[n:, 1], p80_if_found=hours[n:, 2], promised=promised[n:], spread=spread[n:]
    )
    reasons = context.left_out(quoted_work)
    (described,) = request.works.values()
    usual = sorted(
        unforeseen.usually_done(context.discoveries, described),
        key=lambda item: (context.positions.get(item.phase, len(context.positions)), item.technique),
    )
    left_out = pd.DataFrame(
        {
            "technique": [
                name
                for name in [
                    *(shown_technique(discovery.technique) for _, discovery in forecast.left_out),
                    *(shown_technique(item.technique) for item in usual),
                ]
                if name in reasons
            ]
        },
        dtype=str,
    )
    left_out = left_out.assign(reason=[reasons[item] for item in left_out["technique"]])
    phases = pd.DataFrame(
        [
            {
                "phase": phase,
                **dict(
                    zip(NAMES, np.quantile(forecast.hours[:n][of].sum(axis=0), LEVELS).tolist(), strict=True)
                ),
                "promised": float(promised[:n][of].sum()),
            }
            for phase in dict.fromkeys(lines.loc[in_price, "phase"])
            for of in [(lines["phase"] == phase).to_numpy(dtype=bool) & in_price]
        ],
        columns=["phase", *NAMES, "promised"],
    )
    # what may turn up is one part: nobody in particular does it, and on paper it stands in one row
    parts = [*promised[:n].tolist(), float(promised[n:].sum())]
    charged = (
        price.price(
            parts, [*lines["person"], ""], sum((amount for _, amount in costs), Decimal(0)), terms.pricing
        )
        if sum(parts) > 0
        else None
    )
    waits = in_price & ~lines["done"].to_numpy(dtype=bool)  # what is done waits no more
    days = waiting_times.draw_days(
        context.waits,
        request.lines.technique[waits],
        lines["unattended_hours"].to_numpy(dtype=float)[waits],
        draws,
    )
    own = lines["hours"]
    outside = (
        reference_class.beside(context.lines, float(own.sum()), context.remembered)
        if len(own)
        and own.notna().all()
        and own.sum() > 0
        and not terms.first_stage
        and not lines["done"].any()
        else None
    )
    return Option(
        name=option,
        basis=forecast.basis,
        lines=lines,
        discoveries=discoveries,
        left_out=left_out,
        usual=tuple(item for item in usual if shown_technique(item.technique) not in reasons),
        phases=phases,
        total=total,
        first_stage=figures.charged if terms.first_stage else None,
        days=days,
        promised=figures.promised,
        price=charged,
        tenths=price.tenths(parts),
        outside=outside,
        behind=len(context.finished),
        remembered=context.finished_remembered,
        terms=terms,
    )


def _of_parts(context: QuoteContext, lines: pd.DataFrame) -> list[str]:
    """As how much of the phase each part of a phase as a whole is told of which nobody gave hours."""
    notes = []
    without_hours = lines[
        (lines["technique"] == "") & (lines["part"] != "") & lines["hours"].isna() & ~lines["done"]
    ]
    for phase, part in dict.fromkeys(zip(without_hours["phase"], without_hours["part"], strict=True)):
        name, share = line_name(phase, "", part), context.part_shares.get((whole_of(phase), part))
        notes.append(
            f"{name}: told as {100 * share.share:.0f} % of the phase, as it took on"
            f" {counted(share.works, 'finished work')}."
            if share
            else f"{name}: told like the whole phase, as no finished work says how much of it the part takes."
            " Give its hours if you know them."
        )
    return notes


def _nothing_stays(context: QuoteContext, code: str, terms: QuoteTerms) -> str:
    """Why the whole of a work under way is priced, where it is not said that it is to be; empty where what
    was approved can stay.
    """
    if terms.first_stage:
        return (
            "A first stage is charged by itself, so nothing is added to what was approved: its price is of"
            " the whole first stage."
        )
    if code not in context.approved.index:
        return (
            "Nothing of it is approved yet, so there is nothing to which what was found could be added: the"
            " whole is priced."
        )
    if context.approved.loc[code, "first_stage"]:
        return "What was approved is a first stage, so the rest is no find: the whole is priced."
    if code in context.approved.index[context.approved["approved_hours"].isna()]:
        return (
            "What was approved has lines without hours, so nothing can be added to its hours: the whole is"
            " priced."
        )
    return ""


def agreed_price(context: QuoteContext, code: str, terms: QuoteTerms) -> AgreedPrice | None:
    """Hours and price of the latest approved version of a work; None where none is approved."""
    if code not in context.approved.index:
        return None
    row: dict[Any, Any] = context.approved.loc[code].to_dict()
    lines = context.approved_lines[context.approved_lines["object"] == code]

    def exactly(name: str) -> Decimal | None:
        return None if pd.isna(row[name]) else exact(float(row[name]))

    hours = exactly("approved_hours") or exact(float(lines["hours"].sum()))
    taxed = (
        prices.of_row(row, terms.studio)
        if (text(row["currency"]) or terms.currency) == terms.currency
        else None
    )
    net, gross = (taxed.net, taxed.gross) if taxed else (None, None)
    if taxed and taxed.included and row["price"] == row["reckoned_price"]:
        net = exactly("net") or net  # as it stood on paper
    return AgreedPrice.of(price.rounded(hours, price.TENTH), net, gross, exactly("costs"), terms.pricing.step)


def _with_added(context: QuoteContext, code: str, option: Option, costs: list[tuple[str, Decimal]]) -> Option:
    """An option of a revision in which what was approved stays, and what was found is added: the lines that
    are not in the approved version, with their part in the promise.
    """
    names = ["phase", "technique", "part"]
    approved = context.approved_lines.loc[context.approved_lines["object"] == code, names]
    is_new = (
        option.lines[names]
        .merge(approved, on=names, how="left", indicator=True)["_merge"]
        .eq("left_only")
        .tolist()
    )
    added = tuple(
        price.one_in_tenths(part) if new else None
        for part, new in zip(option.lines["promised"].tolist(), is_new, strict=True)
    )
    people = [person for person, new in zip(option.lines["person"].tolist(), is_new, strict=True) if new]
    assert option.agreed is not None
    change = price.with_added(
        option.agreed,
        [item for item in added if item is not None],
        people,
        sum((amount for _, amount in costs), Decimal(0)),
        option.terms.pricing,
    )
    return replace(option, change=change, added=added, promised=float(change.total_hours), price=change.price)


def discoveries_frame(every: list[PossibleDiscovery]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "technique": pd.Series([shown_technique(item.technique) for item in every], dtype=str),
            "phase": pd.Series([item.phase for item in every], dtype=str),
            "another": np.array([item.another for item in every], dtype=bool),
            "chance": np.array([item.chance for item in every], dtype=float),
            "times": np.array([item.times for item in every], dtype=np.int64),
            "of": np.array([item.of for item in every], dtype=np.int64),
            "things": pd.Series([item.things for item in every], dtype=object),
        }
    )
