"""From a quote as it is written to what it promises: hours, what may turn up, waiting, money."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property, reduce
from typing import Any

import babel.numbers
import duckdb
import numpy as np
import pandas as pd

from dashboard import bench_lines, calibrating, reading
from dashboard.analysis import discovery, price, promise, similar, uplift, waiting
from dashboard.analysis.basis import LEVELS, NAMES, Basis, reckon
from dashboard.analysis.calibration import Calibration
from dashboard.analysis.discovery import GRADES, Described, Discoveries, MayTurnUp, UsuallyDone
from dashboard.analysis.evidence import Evidence
from dashboard.analysis.lines import Lines, join, named_shares
from dashboard.analysis.mixed import Flags, Floats
from dashboard.analysis.price import Price, Terms, YearlyCost
from dashboard.analysis.progress import Saying
from dashboard.analysis.promise import Asked, Promise
from dashboard.analysis.similar import Finished, Like
from dashboard.analysis.totals import DRAWS
from dashboard.analysis.uplift import FromOutside
from dashboard.analysis.waiting import Waits
from dashboard.under_way import as_one, in_words, with_the_bench
from dashboard.words import CONFIDENCES
from ingest import notation
from ingest.amounts import decimal_of, read_named
from ingest.errors import BenchHoursError
from ingest.quotes import COST_COLUMNS, Quote, QuotedWork, ReadWork
from ingest.settings import Settings
from ingest.vocabulary import read_vocabulary

USUAL_CONFIDENCE = 80
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
    pinned : technique to the log of its pinned rate by the record's. bears_on : technique to the number of the condition that bears on it.
    largest : technique to the most that was measured of it; usual_share : to the part of the picture that it
        mostly is, of what is counted by area; phases stand among them, for techniques that were never measured.
    begun_lines : of open works with hours, frame of `dashboard.bench_lines.begun`; empty where none is quoted. sayings : what is meant by so many per cent done, and by so much treated of the whole.
    positions : of phases, in the order of work. rates : frame of `dashboard.calibrating.rate_table`; behind : technique to the finished works with lines of it.
    first_phases : those of a first stage, by the names they have now; later : techniques in them that come only with or after the treatment. people : every way a person is written, folded, to the name.
    """

    as_of: date
    calibration: Calibration
    discoveries: Discoveries
    waits: Waits
    finished: tuple[Finished, ...]
    lines: pd.DataFrame
    pinned: dict[str, float]
    bears_on: dict[str, int]
    begun_lines: pd.DataFrame
    sayings: tuple[Saying, Saying]
    positions: dict[str, int]
    rates: pd.DataFrame
    behind: dict[str, list[str]]
    largest: dict[str, float]
    usual_share: dict[str, float]
    first_phases: tuple[str, ...]
    later: frozenset[str]
    people: dict[str, str]
    words: dict[str, list[str]]
    techniques: dict[str, str]

    def left_out(self, said: QuotedWork) -> dict[str, str]:
        """What was said not to turn up, by the name that it has now, with the reasons."""
        return {self.techniques.get(notation.folded(name), name): reason for name, reason in said.left_out.items()}

    def begun(self, code: str) -> pd.DataFrame:
        """The lines of a work with hours against its estimate, of `lines`."""
        return self.lines[(self.lines["object"] == code) & (self.lines["actual_hours"] > 0)] if code else self.lines.head(0)

    @property
    def finished_lines(self) -> int:
        return int((~self.calibration.joint.lines.is_open).sum())


def known(con: duckdb.DuckDBPyConnection, as_of: date, calibrated: Calibration | None = None, without_open: Collection[str] = ()) -> Known:
    """Everything that quotes of a day stand on. Nothing that is dated later has any part in it; what has no date (names, kinds, conditions, sizes) is as it is now.

    Parameters
    ----------
    without_open : works that are quoted while they are under way: their open lines are what is asked about, and tell nothing.
    """
    before = calibrating.number_of(as_of + timedelta(days=1))
    record = reading.record(con, as_of + timedelta(days=1))
    calibrated = calibrated or calibrating.calibrated(con, as_of, without_open=without_open)
    works = reading.teaching_works(con)
    lines = reading.overruns(con, as_of).merge(reading.who_did(con, as_of), on=["object", "phase", "technique", "part"], how="left")
    table = calibrating.rate_table(con, as_of, calibrated)
    rates = table[table["pinned_rate"].notna() & (table["rate"] > 0)]
    past = calibrated.joint.lines
    past = past.take(~past.is_open)
    measured = past.take(past.quantity > 0)
    bears: list[tuple[str, str]] = con.execute("SELECT technique, condition FROM techniques WHERE condition IS NOT NULL").fetchall()
    said = reading.progress(con, as_of)
    return Known(
        as_of=as_of, calibration=calibrated, begun_lines=bench_lines.begun(con, as_of, record, lines, said, without_open), sayings=bench_lines.sayings(said, past), discoveries=discovery.learn(record.foreseen(before), works, calibrated, reading.found_when(con, as_of)), waits=waiting.learn(lines), finished=_finished(works, lines),
        lines=lines, pinned=dict(zip(rates["technique"], np.log((rates["pinned_rate"] / rates["rate"]).to_numpy(dtype=float)).tolist(), strict=True)),
        bears_on={technique: GRADES.index(name) for technique, name in bears},
        positions={str(phase): int(position) for phase, position in con.execute("SELECT phase, position FROM phases").fetchall()}, rates=table,
        behind={str(name): sorted(set(of)) for name, of in pd.Series(past.object).groupby(past.technique)},
        largest={str(name): float(most) for name, most in pd.Series(measured.quantity).groupby(measured.technique).max().items()}, usual_share=_usual_shares(works, measured),
        first_phases=tuple(row[0] for row in con.execute("SELECT phase FROM phases WHERE list_contains(?::VARCHAR[], key) ORDER BY position", [list(FIRST_PHASES)]).fetchall()),
        words={name: [one for one in works[name].dropna().unique() if one] for name in ("kind", "support")},
        techniques=read_vocabulary(con).technique_spellings,
        later=frozenset(row[0] for row in con.execute("SELECT technique FROM techniques WHERE list_contains(?::VARCHAR[], key)", [list(LATER)]).fetchall()),
        people=reading.spellings(con),
    )  # fmt: skip


def _usual_shares(works: pd.DataFrame, measured: Lines) -> dict[str, float]:
    """Of what is counted by area, the part of the picture that a technique mostly was, and that techniques of a phase mostly were; nearly all of it counts as all."""
    area = works.set_index("object")["area_dm2"].reindex(measured.object).to_numpy(dtype=float)
    by_area = (measured.unit == "dm2") & (area > 0)
    share = pd.Series(measured.quantity[by_area] / area[by_area])
    found: dict[str, float] = {}
    for names in (measured.phase, measured.technique):
        middle = share.groupby(names[by_area]).median()
        found |= {str(name): float(value) for name, value in middle.where(middle < _NEARLY_ALL, 1.0).items()}
    return found


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
    """What the price rests on beside the hours, read from the terms of a quote and the settings of the studio; `faults` are sentences about what could not be read.

    `said_yearly`: the studio has said what a year costs, be it in another currency.
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
    begin_on: date | None
    bench_hours_per_week: float
    said_yearly: bool
    faults: tuple[str, ...]

    @property
    def travel(self) -> Decimal | None:
        """What travel for all works costs together; None where it has hours and nobody said what an hour costs."""
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
            return None if otherwise is None else decimal_of(notation.written(otherwise))
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
        yearly = YearlyCost(cost=decimal_of(notation.written(studio.yearly_cost)), chargeable_hours=decimal_of(notation.written(studio.chargeable_hours)))
    return Commercial(
        confidence=confidence, currency=currency, terms=terms, payments=tuple(stages), tax_name=studio.tax_name or "tax", yearly=yearly,
        travel_hours=read("travel_hours", "Travel, hours", None, Decimal(1000)) or Decimal(0), travel_cost=read("travel_cost", "Travel, cost", None) or Decimal(0),
        first_stage=said.get("first_stage") == "yes", begin_on=begin_on, bench_hours_per_week=studio.bench_hours_per_week,
        said_yearly=bool(studio.yearly_cost and studio.chargeable_hours), faults=tuple(faults),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Option:
    """One option of one work ("" where it has none).

    Attributes
    ----------
    basis : what all its hours are reckoned from.
    lines : frame of `ReadWork.lines` (those that are done on the bench and not on the sheet among them, with numbers below 0) with `worked_hours` (so far), `done` (finished: stays as it is), `filled_in` (1: the quantity is the size of the work; less: that part of it, as is usual here; not a number: it was given), `p10`, `p50`, `p80`, `p90` (hours), `works` behind it, `without_figure` (hours
        at even chance, had no figure been given), `figure_weight`, `by_hand` (0 to 1), `pinned`, `in_price`, `promised` (its hours in the promise), `spread` (its part of what lies between even chance and 4 in 5).
    found : frame `technique`, `phase`, `another`, `chance`, `hours_if_found` (even chance), `p80_if_found`, `promised`, `spread`, `times`, `of`, `things`.
    left_out : what was said not to turn up, with `reason`. usual : what is nearly always done here and is not on the sheet, in the order of work; in no figure, and not left out.
    phases : frame `phase`, `p10`, `p50`, `p80`, `p90`, `promised` of the lines, in the order of work.
    total : (draws,) hours. first_stage : likewise, of the first stage alone, where the price is for that. days : (draws,) waiting. promised : hours at the chosen confidence.
    price : None where nobody said what an hour costs; its parts are the lines and behind them what may turn up; of a first stage only, where that is asked for.
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
        taxed = price.rounded(travel * (1 + (self.commercial.terms.tax or Decimal(0)) / 100), self.commercial.terms.step)
        return sum((one.amount for one in prices if one is not None), Decimal(0)) + taxed


def under_way(lines: pd.DataFrame, quote: Quote) -> tuple[str, ...]:
    """Where one of the works of a quote is under way, all works that are: what their open lines say is told of each work by itself, and teaches nothing meanwhile. `lines` of `dashboard.reading.overruns`."""
    begun = sorted(set(lines.loc[(lines["actual_hours"] > 0) & ~lines["finished"].astype(bool), "object"]))
    return tuple(begun) if {work.object for work in quote.works} & set(begun) else ()


def quoted(now: Known, quote: Quote, reads: list[ReadWork], studio: Settings, draws: int = DRAWS) -> Quoted:
    """What a quote promises.

    Parameters
    ----------
    now : what the record says. reads : how each of its works reads (`ingest.quotes.read_over`).
    """
    agreed = commercial(quote.terms, studio, now.people)
    alone = sum(1 for read in reads if len(read.lines)) == 1
    works = tuple(
        _work(now, f"\x1f{number}", said, read, agreed, draws, alone=alone) for number, (said, read) in enumerate(zip(quote.works, reads, strict=True), 1)
    )
    together = None
    if sum(1 for work in works if work.options) > 1:
        asked = [_asked(now, f"\x1f{number}", work.said, work.options[0].lines, work.read) for number, work in enumerate(works, 1) if work.options]
        together = promise.foretell(now.calibration, now.discoveries, _joined(asked), draws)
    return Quoted(works=works, together=together, commercial=agreed, as_of=now.as_of)


def _joined(asked: list[Asked]) -> Asked:
    low, likeliest, high, pinned, done, finished = (
        np.concatenate([getattr(one, name) for one in asked]) for name in ("low", "likeliest", "high", "pinned", "done", "finished")
    )
    return Asked(
        lines=reduce(join, (one.lines for one in asked)), low=low, likeliest=likeliest, high=high, pinned=pinned, begun=reduce(Evidence.join, (one.begun for one in asked)), done=done, finished=finished, works={name: work for one in asked for name, work in one.works.items()},
        left_out=frozenset().union(*(one.left_out for one in asked)), bears_on=asked[0].bears_on,
    )  # fmt: skip


def _work(now: Known, name: str, said: QuotedWork, read: ReadWork, agreed: Commercial, draws: int, *, alone: bool) -> WorkQuoted:
    area = _number(read.held.get("area_dm2"))
    lines = _with_quantities(read.lines, area, now.usual_share)
    begun = now.begun(said.object)
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
    if agreed.first_stage and told and all(one.price is None and one.promised == 0 for one in told):
        faults.append(
            f"A first stage is asked for, and no line of it is on the sheet: they are in {' and '.join(now.first_phases) or 'examination and documentation'}. There is no price."
        )
    beside = with_the_bench(lines, begun, now.positions)
    doubts, notes = _doubts(now, beside[~beside["done"]], area)
    notes += in_words(beside)
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
    """Lines that are counted by area and of which no quantity is given are of so much of the work as is usual here; of a technique that was never measured as is usual in its phase, else of all of it."""
    to_fill = lines["quantity"].isna() & (lines["unit"] == "dm2") & (area > 0)
    share = pd.Series(
        [usual_share.get(t, usual_share.get(p, 1.0)) for t, p in zip(lines["technique"], lines["phase"], strict=True)], index=lines.index, dtype=float
    )
    return lines.assign(quantity=lines["quantity"].where(~to_fill, np.where(share < 1, np.round(area * share, 1), area)), filled_in=share.where(to_fill))


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
        elif line["unit"] and pd.isna(line["quantity"]):
            how = "the size of the work is not known" if line["unit"] == "dm2" else "no quantity is given"
            notes.append(f"{at}: {how}, so it is foretold as a usual one, with a wider range.")
        if line["hours"] == 0:
            doubts.append(f"{at}: own hours of 0 are taken as not said. Take the line away if there is nothing to do.")
        if pd.isna(line["low_hours"]) != pd.isna(line["high_hours"]):
            doubts.append(f"{at}: a range needs low and high; one of them alone counts for nothing.")
        if line["person"] and notation.folded(line["person"]) not in now.people:
            doubts.append(f"{at}: {line['person']} is nobody of this studio, and is taken for somebody new, at the studio's pace.")
    return doubts, notes


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
    """Lines of a sheet as the analysis asks about them."""
    people_known = now.calibration.joint.lines.people
    done = lines["done"].to_numpy(dtype=bool)
    n, nothing = len(lines), np.full(len(lines), np.nan)
    work = said.object or name
    grades = {grade: _number(read.held.get(f"{grade}_condition")) for grade in GRADES}
    low, high, hours = (lines[column].to_numpy(dtype=float) for column in ("low_hours", "high_hours", "hours"))
    ranged = ~np.isnan(low) & (high > 0)
    likeliest = np.where(np.isnan(hours), (low + high) / 2, hours)
    hours = np.where(np.isnan(hours) & ranged, likeliest, hours)
    person = lines["person"].to_numpy(dtype=str)
    arrays = Lines(
        object=np.full(n, work), phase=lines["phase"].to_numpy(dtype=str), technique=lines["technique"].to_numpy(dtype=str), part=lines["part"].to_numpy(dtype=str),
        unit=lines["unit"].to_numpy(dtype=str), kind=np.full(n, _word(read.held.get("kind"))), hours=nothing, quantity=nothing, quoted=np.where(done, np.nan, _positive(lines["quantity"])),
        figure=np.where(hours > 0, hours, np.nan), condition=np.array([grades.get(_word(one), np.nan) for one in lines["condition"]], dtype=float), person=person,
        shares=named_shares(person, people_known), people=people_known, day=np.full(n, calibrating.number_of(now.as_of)), is_open=np.ones(n, dtype=bool), weight=np.ones(n),
    )  # fmt: skip
    return Asked(
        lines=arrays, low=np.where(ranged, low, np.nan), likeliest=np.where(ranged, likeliest, np.nan), high=np.where(ranged, high, np.nan), pinned=np.array([now.pinned.get(t, 0.0) for t in arrays.technique.tolist()]),
        works={work: Described.of(read.held, frozenset(lines["technique"]), _worked(now, said.object))}, begun=_begun(now, said.object, lines, area_dm2=_number(read.held.get("area_dm2"))), done=done, finished=_finished_lines(now, said.object, lines),
        left_out=frozenset((work, technique) for technique in now.left_out(said)), bears_on=now.bears_on,
    )  # fmt: skip


def _begun(now: Known, code: str, lines: pd.DataFrame, area_dm2: float) -> Evidence:
    """What is known of lines of a sheet by the hours that were worked on them."""
    if not len(now.begun_lines):
        return replace(Evidence.none(len(lines)), so_far=lines["worked_hours"].to_numpy(dtype=float))
    names = ["phase", "technique", "part"]
    of = now.begun_lines[now.begun_lines["object"] == code]
    beside = lines[[*names, "unit"]].merge(of[[*names, "said_done", "treated", "said_at", "said_last", "goes_on", "left"]], on=names, how="left")
    beside = beside.assign(
        goes_on=beside["goes_on"].fillna(1.0),
        actual_hours=lines["worked_hours"].to_numpy(dtype=float),
        estimated_quantity=lines["quantity"].to_numpy(dtype=float),
        area_dm2=area_dm2,
    )
    return bench_lines.evidence(now.calibration.joint.growth, now.sayings, beside)


def _finished_lines(now: Known, code: str, lines: pd.DataFrame) -> Flags:
    """Which lines of a sheet are finished."""
    names = ["phase", "technique", "part"]
    of = now.lines.loc[(now.lines["object"] == code) & now.lines["finished"].astype(bool), names] if code else now.lines.head(0)[names]
    return lines[names].merge(of, on=names, how="left", indicator=True)["_merge"].eq("both").to_numpy(dtype=bool)


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
    waits = in_price & ~asked.done  # what is done waits no more
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
