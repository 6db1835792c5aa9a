"""From a quote as it is written to what it promises: hours, what may turn up, waiting, money."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property, reduce
from typing import Any

import babel.numbers
import duckdb
import numpy as np
import pandas as pd

from dashboard import bench_lines, calibrating, prices, reading
from dashboard.analysis import discovery, price, promise, rates, similar, uplift, waiting
from dashboard.analysis.basis import LEVELS, NAMES, Basis, reckon
from dashboard.analysis.by_hand import Ranges
from dashboard.analysis.calibration import Calibration
from dashboard.analysis.discovery import GRADES, Described, Discoveries, MayTurnUp, UsuallyDone
from dashboard.analysis.lines import ROWS, Lines, join, named_shares
from dashboard.analysis.mixed import Flags, Floats
from dashboard.analysis.price import Agreed, Price, Terms, WithAdded, YearlyCost
from dashboard.analysis.progress import Saying
from dashboard.analysis.promise import Asked, OnTheBench, Promise
from dashboard.analysis.rates import Pins
from dashboard.analysis.similar import Finished, Like
from dashboard.analysis.totals import DRAWS
from dashboard.analysis.uplift import FromOutside
from dashboard.analysis.waiting import Waits
from dashboard.remembered import Memory
from dashboard.under_way import as_one, in_words, with_the_bench
from dashboard.words import CONFIDENCES, UNITS
from ingest import notation
from ingest.amounts import decimal_of, exact, read_named
from ingest.errors import BenchHoursError
from ingest.quotes import COST_COLUMNS, Quote, QuotedWork, ReadWork
from ingest.settings import Settings
from ingest.vocabulary import read_vocabulary

USUAL_CONFIDENCE = 80
WHOLE_ANEW = "whole"  # of the term `revision`
LETTER_OF_CHANGE = "change"  # the form of the letter that sets what was approved beside what it takes now
DOTS = 20
FIRST_PHASES = ("examination", "documentation")  # names at birth of the phases of a first stage
LATER = ("photography during treatment", "photography after treatment", "final report")
_DAYS_A_WEEK = 7.0
_NEARLY_ALL = 0.8
_MORE_THAN_ALL = 1.02  # of a work, with room for how areas are rounded
_LARGEST_SEEN = 3.0  # times the most that was measured of a technique, beyond which a quantity is asked about
_MOST_TERM = Decimal(1_000_000_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the record says on one day, as far as quotes stand on it.

    Attributes
    ----------
    finished : finished works, to find similar ones among. lines : frame of `dashboard.reading.overruns`.
    pinned : the rates that are pinned. bears_on : technique to the number of the condition that bears on it.
    largest : technique to the most that was measured of it; usual_share : to the part of the picture that its own measured lines mostly were, of what is counted by area;
        phase_shares : phase to the parts between which 4 in 5 of its measured lines were, to be said of techniques that were never measured: nothing is reckoned from them.
    sized : techniques of which some line here has a quantity, so that a quantity says something of their hours.
    bench : lines of the works on the bench, frame of `dashboard.bench_lines.known_of` with what the estimate says of each (`as_estimated`) and `person` (who did most of it), in the order of the bench; empty where none of them is quoted.
        on_bench : every line of the record as the bench asks about it. sayings : what is meant by so many per cent done, and by so much treated of the whole.
    approved, approved_lines : what was approved of works, frames of `dashboard.reading.approved_promises` (by `object`) and `approved_lines`.
    positions : of phases, in the order of work. rates : frame of `dashboard.calibrating.rate_table`; behind : technique to the finished works with lines of it.
    first_phases : those of a first stage, by the names they have now; later : techniques in them that come only with or after the treatment. people : every way a person is written, folded, to the name.
    """

    as_of: date
    calibration: Calibration
    discoveries: Discoveries
    waits: Waits
    finished: tuple[Finished, ...]
    lines: pd.DataFrame
    pinned: Pins
    bears_on: dict[str, int]
    bench: pd.DataFrame
    on_bench: Lines
    approved: pd.DataFrame
    approved_lines: pd.DataFrame
    sayings: tuple[Saying, Saying]
    positions: dict[str, int]
    rates: pd.DataFrame
    behind: dict[str, list[str]]
    largest: dict[str, float]
    usual_share: dict[str, float]
    phase_shares: dict[str, tuple[float, float]]
    sized: frozenset[str]
    first_phases: tuple[str, ...]
    later: frozenset[str]
    people: dict[str, str]
    words: dict[str, list[str]]
    techniques: dict[str, str]

    def left_out(self, said: QuotedWork) -> dict[str, str]:
        """What was said not to turn up, by the name that it has now, with the reasons."""
        return {self.techniques.get(notation.folded(name), name): reason for name, reason in said.left_out.items()}

    def of_bench(self, code: str) -> pd.DataFrame:
        """The lines of a work on the bench, of `bench`; none of one that is not there."""
        return self.bench[self.bench["object"] == code].reset_index(drop=True)

    @property
    def finished_lines(self) -> int:
        return int((~self.calibration.joint.lines.is_open).sum())


def known(
    con: duckdb.DuckDBPyConnection, as_of: date, calibrated: Calibration | None = None, without_open: Collection[str] = (), memory: Memory | None = None
) -> Known:
    """Everything that quotes of a day stand on. Nothing that is dated later has any part in it; what has no date (names, kinds, conditions, sizes) is as it is now.

    Parameters
    ----------
    without_open : works on the bench, where one of them is quoted (see `on_the_bench`): it is told as it is there, so no open line teaches. memory : of what was reckoned for the bench before.
    """
    before = calibrating.number_of(as_of + timedelta(days=1))
    record = reading.record(con, as_of + timedelta(days=1))
    said = reading.progress(con, as_of)
    if without_open:
        calibrated = bench_lines.learn(con, as_of, record, tuple(without_open), said, memory or Memory()).calibration
    calibrated = calibrated or calibrating.calibrated(con, as_of)
    works = reading.teaching_works(con)
    lines = bench_lines.marked(reading.overruns(con, as_of)).merge(reading.who_did(con, as_of), on=["object", "phase", "technique", "part"], how="left")
    table = calibrating.rate_table(con, as_of, calibrated)
    past = calibrated.joint.lines
    past = past.take(~past.is_open)
    measured = past.take(past.quantity > 0)
    bench, on_bench = bench_lines.known_of(con, as_of, record, lines[lines["object"].isin(list(without_open)) & lines["counts"]].reset_index(drop=True), said)
    return Known(
        as_of=as_of, calibration=calibrated, bench=bench.join(bench_lines.as_estimated(record, bench)), on_bench=on_bench, approved=reading.approved_promises(con, as_of).set_index("object"), approved_lines=reading.approved_lines(con, as_of), sayings=bench_lines.sayings(said, past), discoveries=discovery.learn(record.foreseen(before), works, calibrated, reading.found_when(con, as_of)), waits=waiting.learn(lines), finished=_finished(works, lines),
        lines=lines, pinned=rates.pins(table),
        bears_on=reading.bears_on(con),
        positions={str(phase): int(position) for phase, position in con.execute("SELECT phase, position FROM phases").fetchall()}, rates=table,
        behind={str(name): sorted(set(of)) for name, of in pd.Series(past.object).groupby(past.technique)},
        largest={str(name): float(most) for name, most in pd.Series(measured.quantity).groupby(measured.technique).max().items()}, **_shares(measured), sized=calibrated.joint.levels.has_size,
        first_phases=tuple(row[0] for row in con.execute("SELECT phase FROM phases WHERE list_contains(?::VARCHAR[], key) ORDER BY position", [list(FIRST_PHASES)]).fetchall()),
        words={name: [one for one in works[name].dropna().unique() if one] for name in ("kind", "support")},
        techniques=read_vocabulary(con).technique_spellings,
        later=frozenset(row[0] for row in con.execute("SELECT technique FROM techniques WHERE list_contains(?::VARCHAR[], key)", [list(LATER)]).fetchall()),
        people=reading.spellings(con),
    )  # fmt: skip


def _shares(measured: Lines) -> dict[str, Any]:
    """`usual_share` and `phase_shares` of `Known`; nearly all of the picture counts as all."""
    by_area = (measured.unit == "dm2") & (measured.area > 0)
    share = pd.Series(measured.quantity[by_area] / measured.area[by_area])
    middle = share.groupby(measured.technique[by_area]).median()
    low, high = (share.groupby(measured.phase[by_area]).quantile(level) for level in (0.1, 0.9))
    return {
        "usual_share": {str(name): float(value) for name, value in middle.where(middle < _NEARLY_ALL, 1.0).items()},
        "phase_shares": {str(name): (float(low[name]), min(float(high[name]), 1.0)) for name in low.index},
    }


def _finished(works: pd.DataFrame, lines: pd.DataFrame) -> tuple[Finished, ...]:
    """Works that were worked on, and of which every line is finished."""
    done = lines.groupby("object").agg(finished=("finished", "all"), techniques=("technique", frozenset), hours=("actual_hours", "sum"))
    done = done[done["finished"].astype(bool) & (done["hours"] > 0)]
    told = works[works["object"].isin(done.index)]
    techniques = {str(name): frozenset(of) for name, of in done["techniques"].items()}
    return tuple(
        Finished(object=row["object"], work=Described.of(row, techniques[row["object"]]), area=_number(row["area_dm2"])) for row in told.to_dict("records")
    )


def _word(value: object) -> str:
    return value if isinstance(value, str) else ""


def _number(value: Any) -> float:
    return float("nan") if value is None or pd.isna(value) else float(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Commercial:
    """What the price rests on beside the hours, read from the terms of a quote and the settings of the studio; `faults` are sentences about what could not be read, `doubts` about what can hardly be meant.

    `whole_anew`: of a work under way all is priced anew. `studio`: by which prices are read that do not say whether tax is in them. `said_yearly`: the studio has said what a year costs, be it in another currency.
    """

    confidence: int
    currency: str
    terms: Terms
    payments: tuple[tuple[str, Decimal], ...]
    tax_name: str
    yearly: YearlyCost | None
    travel_hours: Decimal
    travel_cost: Decimal
    first_stage: bool
    whole_anew: bool
    studio: Settings
    begin_on: date | None
    bench_hours_per_week: float
    said_yearly: bool
    faults: tuple[str, ...]
    doubts: tuple[str, ...]

    @property
    def without_tax(self) -> str:
        """What stands behind a net amount: ` without VAT`; nothing where there is no tax."""
        return f" without {self.tax_name}" if self.terms.tax else ""

    @property
    def tax_included(self) -> str:
        """What stands behind an amount that the owner pays: `, VAT included`; nothing where there is no tax."""
        return f", {self.tax_name} included" if self.terms.tax else ""

    @property
    def travel(self) -> Decimal | None:
        """What travel for all works costs together, without tax; None where it has hours and nobody said what an hour costs."""
        if self.travel_hours and self.terms.rate is None:
            return None
        return price.rounded(self.travel_hours * (self.terms.rate or Decimal(0)) + self.travel_cost, self.terms.step)


def confidence_of(said: Mapping[str, str]) -> int:
    """The chance to end within the hours of the price, of `CONFIDENCES`."""
    return next((one for one in CONFIDENCES if f"{one}" == said.get("confidence")), USUAL_CONFIDENCE)


def commercial(said: Mapping[str, str], studio: Settings, known_people: Mapping[str, str]) -> Commercial:
    """Read the terms of a quote; where one is not said the studio's stands, and what cannot be read is said and left out."""
    faults: list[str] = []

    def read(name: str, words: str, otherwise: float | None, most: Decimal = _MOST_TERM) -> Decimal | None:
        text = said.get(name, "").strip()
        if not text:
            return None if otherwise is None else exact(otherwise)
        try:
            value = decimal_of(text)
        except BenchHoursError as error:
            faults.append(f'{words} "{text}" {error}')
            return None
        if not 0 <= value <= most:
            faults.append(f'{words} "{text}" cannot be. Write a number from 0 to {most:,}.')
            return None
        return value

    currency, unread = studio.currency, False
    if text := said.get("currency", "").strip():
        try:
            currency = notation.currency(text)
        except BenchHoursError as error:
            faults.append(f'Currency "{text}" {error} Until then there is no price.')
            unread = True
    stages: list[tuple[str, Decimal]] = []
    try:
        usual = "" if said.get("first_stage") == "yes" else studio.payments  # they are of a whole treatment
        stages = read_named(said.get("payments", "") or usual, "Payments", "on approval 30; at handover 40")
        if sum(share for _, share in stages) > 100:
            faults.append("Payments come to more than 100 per cent. Write what each of them is of the whole.")
            stages = []
    except BenchHoursError as error:
        faults.append(str(error))
    begin_on = None
    if text := said.get("begin_on", "").strip():
        try:
            begin_on = notation.day(text, studio.day_order)
        except BenchHoursError as error:
            faults.append(f'Begin on "{text}" {error}')
    confidence = confidence_of(said)
    rate = read("rate", "Rate per hour", studio.hourly_rate if currency == studio.currency else None)
    if unread:
        rate = None
    same = currency == studio.currency and not unread  # amounts of the studio are in its own currency
    rates = (
        {known_people.get(notation.folded(name), name): amount for name, amount in read_named(studio.hourly_rates, "Rates per hour", "Ilse 70")} if same else {}
    )
    minimum, ceiling = read("minimum", "Minimum charge", studio.minimum_charge if same else None), read("ceiling", "Ceiling", None)
    if minimum and ceiling and minimum > ceiling:
        faults.append(f"The minimum charge, {minimum:,}, is above the ceiling, {ceiling:,}: the ceiling holds. Mend one of the two.")
    tax = read("tax", "Tax", studio.tax_per_cent, Decimal(100))
    terms = Terms(
        rate=rate, rates={} if said.get("rate", "").strip() else rates, step=Decimal(1).scaleb(-babel.numbers.get_currency_precision(currency)),
        minimum=minimum or None, ceiling=ceiling or None, tax=tax or None,
    )  # fmt: skip
    yearly = None
    if same and studio.yearly_cost and studio.chargeable_hours:
        yearly = YearlyCost(cost=exact(studio.yearly_cost), chargeable_hours=exact(studio.chargeable_hours))
    return Commercial(
        confidence=confidence, currency=currency, terms=terms, payments=tuple(stages), tax_name=prices.tax_of(studio), yearly=yearly,
        travel_hours=read("travel_hours", "Travel, hours", None, Decimal(1000)) or Decimal(0), travel_cost=read("travel_cost", "Travel, cost", None) or Decimal(0),
        first_stage=said.get("first_stage") == "yes", whole_anew=said.get("revision") == WHOLE_ANEW, studio=studio, begin_on=begin_on, bench_hours_per_week=studio.bench_hours_per_week,
        said_yearly=bool(studio.yearly_cost and studio.chargeable_hours), faults=tuple(faults),
        doubts=tuple(prices.absurd_terms(said, rate, minimum, studio if same else None, currency)),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Option:
    """One option of one work ("" where it has none).

    Attributes
    ----------
    basis : what all its hours are reckoned from.
    lines : frame of `ReadWork.lines` (those that were begun on the bench and are not on the sheet among them, with numbers below 0) with `worked_hours` (so far), `done` (finished: stays as it is), `filled_in` (1: the quantity is the size of the work; less: that part of it, as is usual here; not a number: it was given), `p10`, `p50`, `p80`, `p90` (hours), `works` behind it, `without_figure` (hours
        at even chance, had no figure been given), `figure_weight`, `by_hand` (0 to 1), `pinned`, `in_price`, `promised` (its hours in the promise), `spread` (its part of what lies between even chance and 4 in 5).
    found : frame `technique`, `phase`, `another`, `chance`, `hours_if_found` (even chance), `p80_if_found`, `promised`, `spread`, `times`, `of`, `things`.
    left_out : what was said not to turn up, with `reason`. usual : what is nearly always done here and is not on the sheet, in the order of work; in no figure, and not left out.
    phases : frame `phase`, `p10`, `p50`, `p80`, `p90`, `promised` of the lines, in the order of work.
    total : (draws,) hours. first_stage : likewise, of the first stage alone, where the price is for that. days : (draws,) waiting. promised : hours at the chosen confidence.
    price : None where nobody said what an hour costs; its parts are the lines and behind them what may turn up; of a first stage only, where that is asked for.
    agreed : what was approved, where this is a revision. change : what was approved and stays, and what was found and is added, where this is a revision that is priced so; then `price` and `promised` are of both together, and the price has no parts; None: the whole is priced.
        added : of each line that is added its hours, in tenths; None of the others.
    tenths : the hours of those parts as they stand on paper. outside : the view from outside, where every line has a figure of her own. behind : how many finished works it stands on.
    """

    name: str
    basis: Basis
    lines: pd.DataFrame
    found: pd.DataFrame
    left_out: pd.DataFrame
    usual: tuple[UsuallyDone, ...]
    phases: pd.DataFrame
    total: Floats
    first_stage: Floats | None
    days: Floats
    promised: float
    price: Price | None
    tenths: list[Decimal]
    outside: FromOutside | None
    behind: int
    commercial: Commercial
    agreed: Agreed | None = None
    change: WithAdded | None = None
    added: tuple[Decimal | None, ...] = ()

    def at(self, *levels: float) -> list[float]:
        """Hours of the whole at some levels."""
        return [float(value) for value in np.quantile(self.total, levels)]

    def charged_at(self, *levels: float) -> list[float]:
        """Hours of what the price is for at some levels."""
        return [float(value) for value in np.quantile(self.charged(), levels)]

    @property
    def allowance(self) -> float:
        """What may turn up adds so many hours to the promise."""
        return float(self.found["promised"].sum())

    def charged(self) -> Floats:
        """(draws,) the hours that the price is for."""
        return self.total if self.first_stage is None else self.first_stage

    def earned_per_hour(self, level: float) -> float | None:
        """What the studio earns per hour where the hours come to a level: what is left of the price after costs, by the hours."""
        hours = round(float(np.quantile(self.charged(), level)), 1)  # as it is shown, so that price, hours and this agree
        return float(self.price.for_hours) / hours if self.price is not None and hours > 0 else None

    def nothing_from(self) -> float | None:
        """Hours from which the studio works for nothing; None where price or yearly cost is not known."""
        yearly = self.commercial.yearly
        return None if self.price is None or yearly is None or self.price.for_hours <= 0 else float(yearly.works_for_nothing_from(self.price.for_hours))

    @property
    def worked(self) -> float:
        """Hours of what the price is for that were worked already."""
        return float(self.lines.loc[self.lines["in_price"], "worked_hours"].sum())

    def weeks(self, level: float) -> float:
        """From beginning (of a work under way, from now) to end of what the price is for, at the hours at the bench of an ordinary week, with the waiting."""
        return float(np.quantile((self.charged() - self.worked) / self.commercial.bench_hours_per_week + self.days / _DAYS_A_WEEK, level))

    def chance_over(self, hours: float) -> float:
        """How likely the hours that the price is for come to more than so many."""
        return float((self.charged() > hours).mean())

    def dots(self) -> Floats:
        """(DOTS,) hours of what the price is for, each equally likely."""
        found: Floats = np.quantile(self.charged(), (np.arange(DOTS) + 0.5) / DOTS)
        return found


@dataclass(frozen=True, kw_only=True)
class WorkQuoted:
    """One work: how it was read, and each of its options. `faults` keep something out, `doubts` are what can hardly be meant, `notes` what is good to know."""

    said: QuotedWork
    read: ReadWork
    described: Described
    options: tuple[Option, ...]
    costs: tuple[tuple[str, Decimal], ...]
    faults: tuple[str, ...]
    doubts: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def under_way(self) -> bool:
        """It was begun, so this is a revision of what was promised."""
        return any(bool((option.lines["worked_hours"] > 0).any()) for option in self.options)

    @property
    def area(self) -> float:
        return _number(self.read.held.get("area_dm2"))


@dataclass(frozen=True, kw_only=True)
class Quoted:
    """A quote: its works, and the first options of all of them together."""

    works: tuple[WorkQuoted, ...]
    together: Promise | None
    commercial: Commercial
    as_of: date

    @cached_property
    def total(self) -> Floats:
        """(draws,) hours that the prices of all works are for, each with its first option."""
        if self.together is not None and not self.commercial.first_stage:
            return self.together.total()
        return sum((work.options[0].charged() for work in self.works if work.options), np.zeros(1))

    @property
    def owners(self) -> list[str]:
        """The owners of the works that have lines, as far as they are known: more than one are more than a letter may have."""
        return sorted({owner for work in self.works if work.options and (owner := _word(work.read.held.get("owner")).strip())})

    @property
    def amount(self) -> Decimal | None:
        """The price of all works, each with its first option, and travel (which of a single work is one of its costs), tax included; None where one of them has none."""
        prices = [work.options[0].price for work in self.works if work.options]
        travel = Decimal(0) if len(prices) == 1 else self.commercial.travel
        if not prices or travel is None or any(one is None for one in prices):
            return None
        return sum((one.amount for one in prices if one is not None), Decimal(0)) + price.with_tax(travel, self.commercial.terms)


def on_the_bench(lines: pd.DataFrame, quote: Quote) -> tuple[str, ...]:
    """Where one of the works of a quote was begun or is approved, that and all works with an open line: what open lines say is told of each work by itself, and teaches nothing meanwhile. `lines` of `dashboard.reading.overruns`."""
    there = (lines["actual_hours"] > 0) | (lines["yardstick"] == "approved")
    quoted_now = {work.object for work in quote.works} & set(lines.loc[there, "object"])
    return tuple(sorted(quoted_now | set(lines.loc[~lines["finished"].astype(bool), "object"]))) if quoted_now else ()


def quoted(now: Known, quote: Quote, reads: list[ReadWork], studio: Settings, draws: int = DRAWS) -> Quoted:
    """What a quote promises.

    Parameters
    ----------
    now : what the record says. reads : how each of its works reads (`ingest.quotes.read_over`).
    """
    agreed = commercial(quote.terms, studio, now.people)
    alone = sum(1 for read in reads if len(read.lines)) == 1
    revises = quote.letter.get("form") == LETTER_OF_CHANGE
    works = tuple(
        _work(now, f"\x1f{number}", said, read, agreed, draws, alone=alone, revises=revises and alone)
        for number, (said, read) in enumerate(zip(quote.works, reads, strict=True), 1)
    )
    together = None
    if sum(1 for work in works if work.options) > 1:
        asked = [_asked(now, f"\x1f{number}", work.said, work.options[0].lines, work.read) for number, work in enumerate(works, 1) if work.options]
        together = promise.foretell(now.calibration, now.discoveries, _joined(asked), draws)
    return Quoted(works=works, together=together, commercial=agreed, as_of=now.as_of)


def _joined(asked: list[Asked]) -> Asked:
    return Asked(
        lines=reduce(join, (one.lines for one in asked)), ranges=reduce(Ranges.join, (one.ranges for one in asked)), pinned=np.concatenate([one.pinned for one in asked]), works={name: work for one in asked for name, work in one.works.items()},
        left_out=frozenset().union(*(one.left_out for one in asked)), bears_on=asked[0].bears_on,
        bench=reduce(OnTheBench.join, (one.bench or OnTheBench.none(len(one.lines)) for one in asked)) if any(one.bench for one in asked) else None,
    )  # fmt: skip


def _work(now: Known, name: str, said: QuotedWork, read: ReadWork, agreed: Commercial, draws: int, *, alone: bool, revises: bool) -> WorkQuoted:
    area = _number(read.held.get("area_dm2"))
    lines = _with_quantities(read.lines, area, now.usual_share)
    begun = now.of_bench(said.object)
    named = [one for one in dict.fromkeys(lines.sort_values("number")["option"]) if one]
    options = named[:1] or [""] if agreed.first_stage else named or [""]
    costs, faults = _costs(said, agreed)
    if alone and agreed.travel:
        costs.append(("travel", agreed.travel))
    always = (lines["option"] == "") | (_early(now, lines) if agreed.first_stage else False)  # what is examined is examined for each option
    shown = {one: "" if agreed.first_stage else one for one in options}
    told = (
        tuple(
            _option(
                now,
                name,
                said,
                read,
                with_the_bench(_with_quantities(as_one(read.lines[always | (lines["option"] == one)]), area, now.usual_share), begun, now.positions),
                shown[one],
                agreed,
                costs,
                draws,
            )
            for one in options
        )
        if len(lines)
        else ()
    )
    why_whole = ""
    if revises and (was := agreed_price(now, said.object, agreed)) is not None:
        told = tuple(replace(option, agreed=was) for option in told)
    if revises and not agreed.whole_anew and any((option.lines["worked_hours"] > 0).any() for option in told):
        why_whole = _nothing_stays(now, said.object, agreed)
        told = told if why_whole else tuple(_with_added(now, said.object, option, costs) for option in told)
    if agreed.first_stage and told and all(one.price is None and one.promised == 0 for one in told):
        faults.append(
            f"A first stage is asked for, and no line of it is on the sheet: they are in {' and '.join(now.first_phases) or 'examination and documentation'}. There is no price."
        )
    beside = with_the_bench(lines, begun, now.positions)
    doubts, notes = _doubts(now, beside[~beside["done"] & (beside["number"] > 0)], area)
    notes += [*in_words(beside), *([why_whole] if why_whole else [])]
    if len(named) > 1 and agreed.first_stage:
        notes.append(f'The whole treatment is told with the option "{named[0]}"; the first stage is the same for each.')
    if len(named) == 1 and not agreed.first_stage:
        notes.append(
            f'There is one option only, "{named[0]}": its lines and those without one are quoted together. Name another one, and they stand side by side.'
        )
    return WorkQuoted(
        said=said, read=read, described=Described.of(read.held, frozenset(lines["technique"])), options=told, costs=tuple(costs), faults=tuple(faults),
        doubts=(*_strange_words(now, said, read), *doubts), notes=tuple(notes),
    )  # fmt: skip


def _early(now: Known, lines: pd.DataFrame) -> pd.Series:
    """Lines of a first stage."""
    return lines["phase"].isin(now.first_phases) & ~lines["technique"].isin(now.later)


def _strange_words(now: Known, said: QuotedWork, read: ReadWork) -> list[str]:
    """Of a described work, a kind or a support that no work here is called, and that is near to one: nothing would be known of it."""
    found = []
    for name, used in now.words.items():
        word = "" if said.object else _word(read.held.get(name))
        near = notation.nearest(word, {notation.folded(one): one for one in used}) if word and word not in used else None
        if near:
            found.append(f'{name.capitalize()} "{word}": no work here is called so, and nothing is known of such. Did you mean "{near}"?')
    return found


def _with_quantities(lines: pd.DataFrame, area: float, usual_share: Mapping[str, float]) -> pd.DataFrame:
    """Lines that are counted by area and of which no quantity is given are of so much of the work as the technique's own measured lines were; of a technique that was never measured nobody knows how much."""
    share = lines["technique"].map(usual_share).astype(float).where(lines["quantity"].isna() & (lines["unit"] == "dm2") & (area > 0))
    return lines.assign(quantity=lines["quantity"].where(share.isna(), np.where(share < 1, np.round(area * share, 1), area)), filled_in=share)


def quoted_quantity(lines: pd.DataFrame) -> pd.Series:
    """The quantities of lines (`Option.lines`) that are quoted: those that were given, and whole pictures. A part of one that is filled in is what is usual, and how much it will be is not known."""
    return lines["quantity"].where(lines["filled_in"].isna() | (lines["filled_in"] >= 1))


def _doubts(now: Known, lines: pd.DataFrame, area: float) -> tuple[list[str], list[str]]:
    """What is read, and can hardly be meant; and what is good to know of the others."""
    doubts, notes = [], []
    for line in lines.to_dict("records"):
        at = f"Line {line['number']}, {line['technique']}"
        if line["quantity"] == 0:
            doubts.append(f"{at}: a quantity of 0 is taken as not said. Take the line away if there is nothing to do.")
        elif line["unit"] == "dm2" and line["quantity"] > _MORE_THAN_ALL * area > 0:
            doubts.append(f"{at}: {line['quantity']:,.10g} dm² is more than the whole work ({area:,.1f} dm²).")
        elif line["quantity"] > _LARGEST_SEEN * now.largest.get(line["technique"], float("inf")):
            doubts.append(
                f"{at}: {line['quantity']:,.10g} is far beyond the most that was measured here ({now.largest[line['technique']]:,.10g}), so its range is no more than a guess."
            )
        elif line["unit"]:
            notes += [f"{at}: {one}" for one in _of_its_size(now, line, area)]
        if line["hours"] == 0:
            doubts.append(f"{at}: own hours of 0 are taken as not said. Take the line away if there is nothing to do.")
        if pd.isna(line["low_hours"]) != pd.isna(line["high_hours"]):
            doubts.append(f"{at}: a range needs low and high; one of them alone counts for nothing.")
        if line["person"] and notation.folded(line["person"]) not in now.people:
            doubts.append(f"{at}: {line['person']} is nobody of this studio, and is taken for somebody new, at the studio's pace.")
    return doubts, notes


def _of_its_size(now: Known, line: Mapping[Hashable, Any], area: float) -> list[str]:
    """What is good to know of a line whose quantity is not known, or says nothing yet."""
    technique, unit = line["technique"], UNITS[line["unit"]]
    scaled = "scaled by the picture as far as the record bears that out" if area > 0 else "and the size of the picture is not known either"
    if technique not in now.sized and technique in now.behind:
        said = f"no line of it was measured here yet, so it is foretold by the hours of its lines before, {scaled}"
        if pd.notna(line["quantity"]):
            said += f", and the quantity moves nothing. One measured line makes a rate per {unit}"
        elif line["unit"] == "dm2" and line["phase"] in now.phase_shares:
            low, high = now.phase_shares[line["phase"]]
            said += f". Measured lines of {line['phase']} were {_per_cent(low, high)} of the picture, 4 in 5 of them; nothing is reckoned from that"
        return [f"{said}."]
    if technique not in now.sized:
        moves = ", and the quantity moves nothing until a line of it is measured" if pd.notna(line["quantity"]) else ""
        return [f"it was never done here, so it is foretold by its phase and the studio, {scaled}{moves}."]
    if pd.isna(line["quantity"]):
        return [
            f"{'the size of the work is not known' if line['unit'] == 'dm2' else 'no quantity is given'}, so it is foretold as a usual one, with a wider range."
        ]
    return []


def _per_cent(low: float, high: float) -> str:
    """Two shares, as `8 to 100 %`."""
    return f"{100 * low:.0f} to {100 * high:.0f} %" if round(100 * low) < round(100 * high) else f"{100 * low:.0f} %"


def _costs(said: QuotedWork, agreed: Commercial) -> tuple[list[tuple[str, Decimal]], list[str]]:
    """Outside costs and materials in whole steps of the currency; of a first stage those that belong to it."""
    found, faults = [], []
    for number, row in enumerate(said.costs, 1):
        what, amount, first = (row.get(name, "").strip() for name in COST_COLUMNS)
        if not what and not amount:
            continue
        try:
            value = decimal_of(amount) if amount else None
            belongs = notation.yes_or_no(first) if first else False
        except BenchHoursError as error:
            faults.append(f'Cost {number}, "{amount}"{f", first stage {first!r}" if first else ""}: {error}')
            continue
        if value is None or not 0 <= value <= _MOST_TERM:
            faults.append(
                f"Cost {number}, {what or 'without a word for it'}: {'its amount cannot be' if amount else 'it has no amount'}. Write it like 120 or 120.50."
            )
        elif belongs or not agreed.first_stage:
            found.append((what or "outside cost", price.rounded(value, agreed.terms.step)))
    return found, faults


def _asked(now: Known, name: str, said: QuotedWork, lines: pd.DataFrame, read: ReadWork) -> Asked:
    """Lines of a sheet as the analysis asks about them; those of a work on the bench as they are asked about there, but for what is said of them now."""
    people_known = now.calibration.joint.lines.people
    n, nothing = len(lines), np.full(len(lines), np.nan)
    work = said.object or name
    grades = {grade: _number(read.held.get(f"{grade}_condition")) for grade in GRADES}
    low, high, hours = (lines[column].to_numpy(dtype=float) for column in ("low_hours", "high_hours", "hours"))
    person = lines["person"].to_numpy(dtype=str)
    arrays = Lines(
        object=np.full(n, work), phase=lines["phase"].to_numpy(dtype=str), technique=lines["technique"].to_numpy(dtype=str), part=lines["part"].to_numpy(dtype=str),
        unit=lines["unit"].to_numpy(dtype=str), kind=np.full(n, _word(read.held.get("kind"))), hours=nothing, quantity=nothing, quoted=_positive(quoted_quantity(lines)),
        figure=_positive(lines["hours"]), condition=np.array([grades.get(_word(one), np.nan) for one in lines["condition"]], dtype=float), area=np.full(n, _number(read.held.get("area_dm2"))), person=person,
        shares=named_shares(person, people_known), people=people_known, day=np.full(n, calibrating.number_of(now.as_of)), is_open=np.ones(n, dtype=bool), weight=np.ones(n),
    )  # fmt: skip
    bench = now.of_bench(said.object)
    techniques = frozenset(lines["technique"])
    beside: OnTheBench | None = None
    if len(bench):
        arrays = _as_on_the_bench(now, lines, bench, arrays)
        beside = _beside(now, lines, bench, area_dm2=_number(read.held.get("area_dm2")))
        # what is finished is not on the sheet any more, and was foreseen all the same; what was begun and nobody quoted was not
        techniques = frozenset(lines.loc[lines["number"] > 0, "technique"]) | frozenset(bench.loc[bench["in_estimate"] & ~bench["open"], "technique"])
    ranges = Ranges.of(low, np.where(np.isnan(arrays.figure), hours, arrays.figure), high)
    arrays = replace(arrays, figure=np.where(np.isnan(arrays.figure) & (ranges.likeliest > 0), ranges.likeliest, arrays.figure))
    return Asked(
        lines=arrays, ranges=ranges, pinned=now.pinned.shifts(now.calibration, arrays),
        works={work: Described.of(read.held, techniques, _worked(now, said.object))}, left_out=frozenset((work, technique) for technique in now.left_out(said)), bears_on=now.bears_on, bench=beside,
    )  # fmt: skip


def _as_on_the_bench(now: Known, lines: pd.DataFrame, bench: pd.DataFrame, arrays: Lines) -> Lines:
    """Lines of a sheet (`arrays`), where they are on the bench as it asks about them; what is said of them now, figure, quantity or person, stands where the version says otherwise."""
    at = np.flatnonzero(lines["place"] >= 0)
    row = bench.iloc[lines["place"].to_numpy()[at]]
    there = now.on_bench.take(row["place"].to_numpy(dtype=np.int64))
    of_sheet = _is_said(lines)[at]

    def same(said: np.ndarray, estimated: pd.Series) -> Flags:
        told = estimated.to_numpy()
        found: Flags = ~of_sheet | (said == told) | (pd.isna(said) & pd.isna(told))
        return found

    values = {name: getattr(arrays, name).copy() for name in ROWS if name != "shares"}
    for name in ("condition", "area", "kind", "day"):
        values[name][at] = getattr(there, name)
    for name, estimated in (
        ("figure", _positive(row["own_hours"])),
        ("quoted", _positive(row["own_quantity"])),
        ("person", row["own_person"].to_numpy(dtype=str)),
    ):
        said = values[name][at]
        values[name] = values[name].astype(object) if name == "person" else values[name]
        values[name][at] = np.where(same(said, pd.Series(estimated)), getattr(there, name), said)
    values["person"] = values["person"].astype(str)
    return Lines(**values, shares=named_shares(values["person"], arrays.people), people=arrays.people)


def _is_said(lines: pd.DataFrame) -> Flags:
    """(n,) what the sheet says of a line counts: it is on it, and is not done."""
    found: Flags = ((lines["number"] > 0) & ~lines["done"]).to_numpy(dtype=bool)
    return found


def _beside(now: Known, lines: pd.DataFrame, bench: pd.DataFrame, area_dm2: float) -> OnTheBench:
    """What is known of lines of a sheet of a work on the bench; what is new there stands behind what is on it, in the order of the sheet."""
    place = lines["place"].to_numpy(dtype=np.int64)
    is_new = place < 0
    found = bench.iloc[np.maximum(place, 0)].reset_index(drop=True)
    of_sheet = found.assign(
        phase=lines["phase"], technique=lines["technique"], unit=lines["unit"], estimated_quantity=np.where(_is_said(lines), quoted_quantity(lines), found["estimated_quantity"]), area_dm2=area_dm2,
    )  # fmt: skip
    of_sheet["actual_hours"] = found["actual_hours"].where(~is_new, 0.0)
    of_sheet["goes_on"] = found["goes_on"].where(~is_new, 1.0)
    of_sheet["left"] = found["left"].astype(bool) & ~is_new
    of_sheet["said_last"] = found["said_last"].fillna(False).astype(bool) & ~is_new
    for name in ("said_done", "treated", "said_at"):
        of_sheet[name] = found[name].where(~is_new)
    finished = ~is_new & ~found["open"].to_numpy(dtype=bool)
    order = np.argsort(np.where(is_new, len(bench) + np.arange(len(lines)), place), kind="stable")
    return OnTheBench(
        begun=bench_lines.evidence(now.calibration.joint.growth, now.sayings, of_sheet), finished=finished, in_estimate=is_new | found["in_estimate"].to_numpy(dtype=bool) | bool((bench["yardstick"] == "none").all()),
        order=order[~finished[order]],
    )  # fmt: skip


def _worked(now: Known, code: str) -> frozenset[str]:
    """Techniques that were begun on a work already."""
    of = now.lines[(now.lines["object"] == code) & ((now.lines["actual_hours"] > 0) | (now.lines["extra_hours"] > 0))] if code else now.lines.head(0)
    return frozenset(of["technique"])


def _positive(values: pd.Series) -> Floats:
    found = values.to_numpy(dtype=float)
    return np.where(found > 0, found, np.nan)


def _option(
    now: Known, name: str, said: QuotedWork, read: ReadWork, lines: pd.DataFrame, option: str, agreed: Commercial, costs: list[tuple[str, Decimal]], draws: int
) -> Option:
    asked = _asked(now, name, said, lines, read)
    told = promise.foretell(now.calibration, now.discoveries, asked, draws)
    n, level = told.lines, agreed.confidence / 100
    of_price = np.ones(len(told.hours), dtype=bool)
    if agreed.first_stage:
        of_price = np.concatenate([_early(now, lines).to_numpy(dtype=bool), np.zeros(len(told.found), dtype=bool)])
    figures = reckon(told.hours, told.basis, of_price, level)
    total, promised, spread, hours = figures.total, figures.parts, figures.spread, figures.lines
    in_price = of_price[:n]
    lines = lines.assign(
        **dict(zip(NAMES, hours[:n].T, strict=True)), works=[len(now.behind.get(one, ())) for one in lines["technique"]], without_figure=told.without_figure,
        figure_weight=told.figure_weight[:n], by_hand=told.by_hand, pinned=asked.pinned != 0, promised=promised[:n], spread=spread[:n], in_price=in_price,
    )  # fmt: skip
    found = _found([one for _, one in told.found]).assign(hours_if_found=hours[n:, 1], p80_if_found=hours[n:, 2], promised=promised[n:], spread=spread[n:])
    reasons = now.left_out(said)
    (described,) = asked.works.values()
    usual = sorted(discovery.usually_done(now.discoveries, described), key=lambda one: (now.positions.get(one.phase, len(now.positions)), one.technique))
    left_out = pd.DataFrame(
        {"technique": [name for name in [*(one.technique for _, one in told.left_out), *(one.technique for one in usual)] if name in reasons]}, dtype=str
    )
    left_out = left_out.assign(reason=[reasons[one] for one in left_out["technique"]])
    phases = pd.DataFrame(
        [
            {"phase": phase, **dict(zip(NAMES, np.quantile(told.hours[:n][of].sum(axis=0), LEVELS).tolist(), strict=True)), "promised": float(promised[:n][of].sum())}
            for phase in dict.fromkeys(lines.loc[in_price, "phase"])
            for of in [(lines["phase"] == phase).to_numpy(dtype=bool) & in_price]
        ],
        columns=["phase", *NAMES, "promised"],
    )  # fmt: skip
    # what may turn up is one part: nobody in particular does it, and on paper it stands in one row
    parts = [*promised[:n].tolist(), float(promised[n:].sum())]
    charged = price.price(parts, [*lines["person"], ""], sum((amount for _, amount in costs), Decimal(0)), agreed.terms) if sum(parts) > 0 else None
    waits = in_price & ~lines["done"].to_numpy(dtype=bool)  # what is done waits no more
    days = waiting.draw_days(now.waits, asked.lines.technique[waits], lines["unattended_hours"].to_numpy(dtype=float)[waits], draws)
    own = lines["hours"]
    outside = (
        uplift.beside(now.lines, float(own.sum()))
        if len(own) and own.notna().all() and own.sum() > 0 and not agreed.first_stage and not lines["done"].any()
        else None
    )
    return Option(
        name=option, basis=told.basis, lines=lines, found=found, left_out=left_out, usual=tuple(one for one in usual if one.technique not in reasons), phases=phases, total=total, first_stage=figures.charged if agreed.first_stage else None, days=days,
        promised=figures.promised, price=charged, tenths=price.tenths(parts), outside=outside,
        behind=len(now.finished), commercial=agreed,
    )  # fmt: skip


def _nothing_stays(now: Known, code: str, agreed: Commercial) -> str:
    """Why the whole of a work under way is priced, where it is not said that it is to be; empty where what was approved can stay."""
    if agreed.first_stage:
        return "A first stage is charged by itself, so nothing is added to what was approved: its price is of the whole first stage."
    if code not in now.approved.index:
        return "Nothing of it is approved yet, so there is nothing to which what was found could be added: the whole is priced."
    if now.approved.loc[code, "first_stage"]:
        return "What was approved is a first stage, so the rest is no find: the whole is priced."
    if code in now.approved.index[now.approved["approved_hours"].isna()]:
        return "What was approved has lines without hours, so nothing can be added to its hours: the whole is priced."
    return ""


def agreed_price(now: Known, code: str, agreed: Commercial) -> Agreed | None:
    """Hours and price of the latest approved version of a work; None where none is approved."""
    if code not in now.approved.index:
        return None
    row: dict[Any, Any] = now.approved.loc[code].to_dict()
    lines = now.approved_lines[now.approved_lines["object"] == code]

    def exactly(name: str) -> Decimal | None:
        return None if pd.isna(row[name]) else exact(float(row[name]))

    hours = exactly("approved_hours") or exact(float(lines["hours"].sum()))
    taxed = prices.of_row(row, agreed.studio) if (_word(row["currency"]) or agreed.currency) == agreed.currency else None
    net, gross = (taxed.net, taxed.gross) if taxed else (None, None)
    if taxed and taxed.included and row["price"] == row["reckoned_price"]:
        net = exactly("net") or net  # as it stood on paper
    return Agreed.of(price.rounded(hours, price.TENTH), net, gross, exactly("costs"), agreed.terms.step)


def _with_added(now: Known, code: str, option: Option, costs: list[tuple[str, Decimal]]) -> Option:
    """An option of a revision in which what was approved stays, and what was found is added: the lines that are not in the approved version, with their part in the promise."""
    names = ["phase", "technique", "part"]
    approved = now.approved_lines.loc[now.approved_lines["object"] == code, names]
    is_new = option.lines[names].merge(approved, on=names, how="left", indicator=True)["_merge"].eq("left_only").tolist()
    added = tuple(price.one_in_tenths(part) if new else None for part, new in zip(option.lines["promised"].tolist(), is_new, strict=True))
    people = [person for person, new in zip(option.lines["person"].tolist(), is_new, strict=True) if new]
    assert option.agreed is not None
    change = price.with_added(
        option.agreed, [one for one in added if one is not None], people, sum((amount for _, amount in costs), Decimal(0)), option.commercial.terms
    )
    return replace(option, change=change, added=added, promised=float(change.total_hours), price=change.price)


def _found(every: list[MayTurnUp]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "technique": pd.Series([one.technique for one in every], dtype=str), "phase": pd.Series([one.phase for one in every], dtype=str),
            "another": np.array([one.another for one in every], dtype=bool), "chance": np.array([one.chance for one in every], dtype=float),
            "times": np.array([one.times for one in every], dtype=np.int64), "of": np.array([one.of for one in every], dtype=np.int64),
            "things": pd.Series([one.things for one in every], dtype=object),
        }
    )  # fmt: skip


def similar_works(now: Known, work: WorkQuoted) -> list[Like]:
    """Finished works like one that is quoted."""
    return similar.similar(work.described, work.area, [one for one in now.finished if one.object != work.said.object])


def lines_like(now: Known, code: str, new_area: float, con: duckdb.DuckDBPyConnection) -> list[dict[str, str]]:
    """The lines of a finished work as the start of a sheet: those that were quoted and worked. What turned up is left to chance, and hours to the record; areas are brought to the new size."""
    lines = now.lines[(now.lines["object"] == code) & (now.lines["actual_hours"] > 0) & ~(now.lines["unforeseen_hours"] > 0)]
    area = reading.area_dm2(con, code)
    found = []
    for line in lines.to_dict("records"):
        quantity = line["actual_quantity"] if pd.notna(line["actual_quantity"]) and not line["quantity_incomplete"] else line["estimated_quantity"]
        row = {"technique": line["technique"], "phase": line["phase"], "part": line["part"]}
        if pd.notna(quantity) and quantity > 0:
            if line["unit"] != "dm2":
                row["quantity"] = notation.written(float(quantity))
            elif area and quantity < 0.9 * area:  # a part of it: as large a part of the new one
                row["quantity"] = notation.written(round(float(quantity) * (new_area / area if new_area > 0 else 1.0), 1))
            elif not area:
                row["quantity"] = notation.written(float(quantity))
        found.append({name: text for name, text in row.items() if text})
    return found
