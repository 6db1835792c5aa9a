"""From a quote to the version that is saved of it; from a saved one back to its figures; and how a work that has a version is quoted again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from importlib.metadata import version as version_of
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from dashboard import planning, prices, reading
from dashboard.analysis import price
from dashboard.analysis.basis import NAMES, Basis, reckon
from dashboard.analysis.price import Agreed, Terms
from dashboard.analysis.schedule import Work
from dashboard.letter import change, content
from dashboard.letter.blocks import Letter
from dashboard.letter.change import Before
from dashboard.letter.content import Ready
from dashboard.planning import Plan
from dashboard.quoting import USUAL_CONFIDENCE, Known, Option, Quoted, WorkQuoted, quoted_quantity, similar_works
from ingest import drafts, notation, promises
from ingest.errors import BenchHoursError
from ingest.promises import Promised, PromisedLine, PromisedOption
from ingest.quotes import Quote, QuotedWork
from ingest.settings import Settings, read_settings
from ingest.vocabulary import Vocabulary, read_vocabulary

_PROGRAM = version_of("bench-hours")
_ALIKE = 1e-9
ONCE_BEGUN = "once begun"


def promised(now: Known, found: Quoted, quote: Quote, letter: Letter) -> list[Promised]:
    """What is to be saved of a quote; raises where it cannot be."""
    works = found.works
    strangers = [work.said.called for work in found.works if not work.said.object]
    if strangers:
        raise BenchHoursError(f"{', '.join(strangers)} is not among the works yet", "Give it its code first, or add it under Works.")
    for work in found.works:
        if not work.options:
            raise BenchHoursError(f"{work.said.called} has no lines yet, and would be lost with the quote", "Write its lines, or take it out of the quote.")
        if work.read.left_aside:
            raise BenchHoursError(f"a line of {work.said.called} cannot be read, and would not be in the version", "Mend it first.")
    if found.commercial.faults:
        raise BenchHoursError(found.commercial.faults[0].removesuffix("."), "Mend it first.")
    return [
        Promised(
            object=work.said.object, as_of=found.as_of, program=_PROGRAM, works=len(now.finished), lines=now.finished_lines, first_stage=found.commercial.first_stage,
            written=Quote(works=[work.said], terms=quote.terms, letter=quote.letter).said(), letter=letter.said(), options=[_option(now, work, one) for one in work.options],
        )
        for work in works
    ]  # fmt: skip


def _option(now: Known, work: WorkQuoted, one: Option) -> PromisedOption:
    """An option as it is saved. Where what was approved stays, its lines keep the hours and quantities approved, also those that are done or not on the sheet, and those that were found stand beside them."""
    rates = now.rates.set_index("technique")
    of = now.approved_lines[now.approved_lines["object"] == work.said.object].to_dict("records") if one.change else []
    approved: dict[tuple[str, str, str], dict[Any, Any]] = {(row["phase"], row["technique"], row["part"]): row for row in of}
    in_tenths = one.tenths[:-1] if one.change is None else [told if added is None else added for told, added in zip(one.tenths[:-1], one.added, strict=True)]
    hours = [
        float(one_line["worked_hours"]) if one_line["done"] else float(told) for one_line, told in zip(one.lines.to_dict("records"), in_tenths, strict=True)
    ]
    lines = [
        _line(row, told, rates.loc[row["technique"]] if row["technique"] in rates.index else pd.Series(dtype=object), now.behind.get(row["technique"], []))
        for row, told in zip(one.lines.assign(quoted_quantity=quoted_quantity(one.lines)).to_dict("records"), hours, strict=True)
        if row["in_price"]
    ]
    lines = [
        replace(line, hours=_known(approved[_name(line)]["hours"]), quantity=_known(approved[_name(line)]["quantity"])) if _name(line) in approved else line for line in lines
    ]  # fmt: skip
    there = {_name(line) for line in lines}
    stays = [
        {name: row[name] for name in ("phase", "technique", "part", "person", "note")} | {name: _known(row[name]) for name in ("hours", "quantity", "unattended_hours")}
        for name_of, row in approved.items()
        if name_of not in there
    ]  # fmt: skip
    p10, p50, p80, p90 = one.charged_at(0.1, 0.5, 0.8, 0.9)
    agreed = one.commercial
    return PromisedOption(
        option=one.name, confidence=agreed.confidence, promised_hours=one.promised, p10=p10, p50=p50, p80=p80, p90=p90, price=float(one.price.amount) if one.price else None,
        currency=agreed.currency, lines=lines, stood_on=_stood_on(now, work, one), stays=stays,
    )  # fmt: skip


def _name(line: PromisedLine) -> tuple[str, str, str]:
    return line.phase, line.technique, line.part


def _line(row: Mapping[Any, Any], told: float, rate: pd.Series, works: list[str]) -> PromisedLine:
    pinned = bool(row["pinned"])
    return PromisedLine(
        phase=row["phase"], technique=row["technique"], part=row["part"], person=row["person"] or "", quantity=_known(row["quoted_quantity"]) if row["unit"] and row["quoted_quantity"] > 0 else None, hours=told,
        unattended_hours=_known(row["unattended_hours"]), note=row["note"], **{name: float(row[name]) for name in NAMES}, promised_hours=float(row["promised"]), own_hours=_known(row["hours"]),
        worked_hours=float(row["worked_hours"]), rate=_known(rate.get("pinned_rate" if pinned else "rate")), rate_low=_known(rate.get("rate_low")), rate_high=_known(rate.get("rate_high")),
        unit=_word(rate.get("counted_in" if pinned else "unit")), pinned=pinned, works=works,
    )  # fmt: skip


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def _known(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)


def _stood_on(now: Known, work: WorkQuoted, one: Option) -> dict[str, Any]:
    """Everything that the figures of an option are reckoned from, and on what else it stood."""
    terms, n = one.commercial.terms, len(one.lines)
    charged = np.ones(len(one.basis.table), dtype=bool)
    if one.commercial.first_stage:
        charged = np.concatenate([one.lines["in_price"].to_numpy(dtype=bool), np.zeros(len(charged) - n, dtype=bool)])
    return {
        "basis": one.basis.said(), "lines": n, "charged": np.flatnonzero(charged).tolist(),
        "money": {
            "rates": [str(terms.rate_of(person)) if terms.rate_of(person) is not None else None for person in [*one.lines["person"], ""]],
            "costs": f"{sum((amount for _, amount in work.costs), Decimal(0))}", "step": f"{terms.step}",
            **{name: None if (value := getattr(terms, name)) is None else f"{value}" for name in ("minimum", "ceiling", "tax")},
            "net": f"{one.price.net}" if one.price else None,
        },
        "by_hand": [
            {"place": place, "low": float(row["low_hours"]), "high": float(row["high_hours"])}
            for place, row in enumerate(one.lines[one.lines["in_price"]].to_dict("records"), 1)
            if pd.notna(row["low_hours"]) and row["high_hours"] > 0
        ],
        **_change(one),
        "may_turn_up": [
            {"technique": row["technique"], "phase": row["phase"], "another_part": bool(row["another"]), "chance": float(row["chance"]), "hours_if_found": float(row["hours_if_found"])}
            for row in one.found.to_dict("records")
        ],
        "like_it": [like.object for like in similar_works(now, work)], "allowance_hours": one.allowance,
    }  # fmt: skip


def _change(one: Option) -> dict[str, Any]:
    """What stays of what was approved, and which lines are added to it; nothing where the whole was priced."""
    if one.change is None:
        return {}
    agreed = one.change.agreed
    amounts = {name: None if (value := getattr(agreed, name)) is None else f"{value}" for name in ("hours", "net", "tax", "amount", "costs")}
    return {"approved_stays": amounts, "added": [place for place, hours in enumerate(one.added) if hours is not None]}


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """The figures of an option of a saved quote, reckoned again from what it stood on.

    Attributes
    ----------
    p10, p50, p80, p90, promised_hours, price : as in `PromisedOption`. lines : (n, 4) hours of each line at those levels; parts : (n,) in the promise.
    """

    p10: float
    p50: float
    p80: float
    p90: float
    promised_hours: float
    price: float | None
    lines: np.ndarray
    parts: np.ndarray

    def same_as(self, told: PromisedOption) -> bool:
        """They are those that were saved, to the digit (nine digits, as another machine may round the last ones otherwise)."""
        pairs = [(getattr(self, name), getattr(told, name)) for name in (*NAMES, "promised_hours")]
        return self.price == told.price and all(abs(one - other) <= _ALIKE * max(1.0, abs(other)) for one, other in pairs)


def again(told: PromisedOption) -> Again:
    """Reckon a saved option again; nothing but what is kept with it has any part in that."""
    stood_on = told.stood_on
    basis, n = Basis.kept(stood_on["basis"]), int(stood_on["lines"])
    charged = np.zeros(len(basis.table), dtype=bool)
    charged[stood_on["charged"]] = True
    figures = reckon(basis.hours(), basis, charged, told.confidence / 100)
    money = stood_on["money"]
    rates = [None if one is None else Decimal(one) for one in money["rates"]]
    names = [f"{number}" for number in range(len(rates))]
    terms = Terms(
        rate=None, rates={name: rate for name, rate in zip(names, rates, strict=True) if rate is not None}, step=Decimal(money["step"]),
        **{name: None if money[name] is None else Decimal(money[name]) for name in ("minimum", "ceiling", "tax")},
    )  # fmt: skip
    parts = [*figures.parts[:n].tolist(), float(figures.parts[n:].sum())]
    promised_hours = figures.promised
    if (stays := stood_on.get("approved_stays")) is not None:
        agreed = Agreed(
            hours=Decimal(stays["hours"]), **{name: None if stays[name] is None else Decimal(stays[name]) for name in ("net", "tax", "amount", "costs")}
        )
        change_of = price.with_added(
            agreed,
            [price.one_in_tenths(parts[place]) for place in stood_on["added"]],
            [names[place] for place in stood_on["added"]],
            Decimal(money["costs"]),
            terms,
        )
        charge, promised_hours = change_of.price, float(change_of.total_hours)
    else:
        charge = price.price(parts, names, Decimal(money["costs"]), terms) if sum(parts) > 0 else None
    p10, p50, p80, p90 = (float(value) for value in np.quantile(figures.charged, [0.1, 0.5, 0.8, 0.9]))
    return Again(
        p10=p10,
        p50=p50,
        p80=p80,
        p90=p90,
        promised_hours=promised_hours,
        price=float(charge.amount) if charge else None,
        lines=figures.lines[:n],
        parts=figures.parts[:n],
    )


# --- a work that has a version, quoted again


def before(con: duckdb.DuckDBPyConnection, code: str, as_of: date) -> Before | None:
    """What a revision is held against: the latest version approved by a day, else the latest that stood then; None where there is none, or where it has options and none was taken."""
    yardstick = reading.yardstick(con, as_of, code)
    if yardstick is None:
        return None
    version, approved = yardstick
    rows = reading.versions(con, code)
    row = rows[rows["version"] == version].iloc[-1]
    if pd.notna(row["option"]) and not approved:
        return None
    lines = reading.estimate_lines(con, code, version)
    lines = lines[lines["option"].isna() | (lines["option"] == row["option"])]
    taxed = prices.of_row(row.to_dict(), read_settings(con))
    return Before(
        version=version, made_on=row["made_on"].date(), approved_on=row["approved_on"].date() if approved else None,
        hours=float(row["promised_hours"] if pd.notna(row["promised_hours"]) else row["hours"]), price=None if taxed is None or taxed.gross is None else round(float(taxed.gross), 2), reckoned=_known(row["reckoned_price"]), taxed=taxed,
        currency=row["currency"] if isinstance(row["currency"], str) else None, lines=lines[["phase", "technique", "part", "hours"]].fillna({"hours": 0.0}).reset_index(drop=True),
    )  # fmt: skip


def counts_the_bench(found: Quoted, quote: Quote) -> bool:
    """The letter of a quote says when a work is ready by the plan of the bench: where no day is said on which it is begun, and nobody wants it otherwise."""
    return found.commercial.begin_on is None and quote.letter.get("ready") != ONCE_BEGUN and quote.letter.get("form") != change.FORM


def ready_of(found: Quoted, plan: Plan) -> Ready:
    """When the works of a quote would be ready, each option with the first options of the works before it; what is too far off is left out."""
    ready: dict[tuple[int, str], tuple[date, date]] = {}
    before: list[tuple[str, Work]] = []
    for number, work in enumerate((work for work in found.works if work.options), 1):
        told: list[tuple[str, Work]] = []
        there_on = work.read.held.get("received_on")
        for option in work.options:
            name = f"{number}. {work.said.called}"
            quoted = planning.quoted_work(
                plan, name, option.charged() - option.worked, option.days, pd.Timestamp(there_on).date() if there_on is not None else None
            )
            told.append((work.said.object, quoted))
            if days := planning.with_quoted(plan, [*before, told[-1]]):
                ready[number, option.name] = (days[1], days[2])
        before += told[:1]
    return ready


def letter_of(con: duckdb.DuckDBPyConnection, found: Quoted, quote: Quote, studio: Settings, words: Vocabulary, ready: Ready | None = None) -> Letter:
    """The letter of a quote in the form that it asks for: of a revision, the letter of change. `ready`: see `ready_of`; none: it says what it takes once it is begun."""
    works = [work for work in found.works if work.options]
    agreed = before(con, works[0].said.object, found.as_of) if len(works) == 1 and works[0].said.object else None
    if quote.letter.get("form") == change.FORM:
        if agreed is None:
            raise BenchHoursError(
                "there is nothing agreed, or no single work, to set a change beside", "Choose another form of the letter, or note first which option was taken."
            )
        return change.letter(found, quote, studio, words, agreed)
    return content.letter(found, quote, studio, words, ready)


def goes_on(con: duckdb.DuckDBPyConnection, code: str, as_of: date) -> Quote:
    """The quote of a work as it goes on from its latest version (one that stands, else the last; of options the one approved): what is finished is left to the bench, hours are her own figures alone."""
    version = latest_standing(con, code, as_of) or latest(con, code, as_of)
    if version is None:
        return Quote(works=[QuotedWork(object=code)])
    saved = promises.read(con, code, version)
    quote = (promises.written_again(saved) if saved else None) or Quote(works=[QuotedWork(object=code)])
    quote.works[0].lines = _lines_to_go_on(con, code, version, as_of, quote.works[0].lines)
    quote.letter = {name: text for name, text in quote.letter.items() if name not in ("made_on", "reason", "form")}
    if (reading.overruns(con, as_of, code)["actual_hours"] > 0).any() and before(con, code, as_of) is not None:
        quote.letter["form"] = change.FORM  # a revision of a work under way is told as what changed
    quote.terms = {name: text for name, text in quote.terms.items() if name not in ("first_stage", "begin_on")}
    if saved and saved.written is None and saved.options[0].confidence != USUAL_CONFIDENCE:  # what was typed did not come along
        quote.terms["confidence"] = f"{saved.options[0].confidence}"
    return quote


def latest_standing(con: duckdb.DuckDBPyConnection, code: str, as_of: date) -> int | None:
    """The latest version of an estimate made by a day that was neither declined nor withdrawn by then."""
    found: int | None = con.execute("SELECT max(version) FROM standing_on(?) WHERE object = ?", [as_of, code]).fetchall()[0][0]
    return found


def latest(con: duckdb.DuckDBPyConnection, code: str, as_of: date) -> int | None:
    found: int | None = con.execute("SELECT max(version) FROM estimate_versions WHERE object = ? AND made_on <= ?", [code, as_of]).fetchall()[0][0]
    return found


def _lines_to_go_on(con: duckdb.DuckDBPyConnection, code: str, version: int, as_of: date, typed: list[dict[str, str]]) -> list[dict[str, str]]:
    """Its lines as they are typed on the sheet of a quote: her own figures, ranges and quantities as they were `typed`, nothing that the record told. Those that were typed and had no part in its price (it was of
    a first stage) stand behind them."""
    words = read_vocabulary(con)
    usual = reading.usual_phases(con)

    def name_of(line: dict[str, str]) -> tuple[str, str, str, str]:
        technique = words.technique_spellings.get(notation.folded(line.get("technique", "")), line.get("technique", ""))
        phase = words.phase_spellings.get(notation.folded(line["phase"]), line["phase"]) if line.get("phase") else usual.get(technique, "")
        return phase, technique, line.get("part", ""), line.get("option", "")

    lines = reading.own_figures(con, code, version)
    option = con.execute(
        "SELECT approved_option FROM estimate_versions WHERE object = ? AND version = ? AND approved_on <= ?", [code, version, as_of]
    ).fetchall()
    taken = option[0][0] if option else None
    if taken is not None:
        lines = lines[lines["option"].isna() | (lines["option"] == taken)].assign(option=None)
    names = ["phase", "technique", "part"]
    now = reading.overruns(con, as_of, code)
    finished = set(now.loc[now["finished"].astype(bool), names].itertuples(index=False, name=None))
    of = {name_of(line): line for line in typed}
    rows, seen = [], set()
    for row in drafts.as_typed(lines):
        phase, technique, part, in_option = name_of(row)
        keys = [(phase, technique, part, one) for one in (in_option, taken or "", "")]
        seen.update(keys)
        if (phase, technique, part) in finished:
            continue
        own = next((of[key] for key in keys if key in of), None)
        if own is not None:
            row |= {name: own.get(name, "") for name in ("quantity", "low_hours", "high_hours", "mark", "wording")}
        rows.append({name: cell for name, cell in row.items() if cell and not (name == "phase" and usual.get(technique) == cell)})
    others = [line for key, line in of.items() if key not in seen and (taken is None or key[3] in ("", taken)) and key[:3] not in finished]
    whole = {key[:3] for key in seen}
    return [*rows, *({name: cell for name, cell in line.items() if name != "option" or taken is None} for line in others if name_of(line)[:3] not in whole)]
