"""A work that has a version, quoted again: the version before, and the quote that goes on from it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from dashboard import queries
from dashboard.services import prices
from dashboard.services.prices import TaxedPrice
from dashboard.services.quote_build import LETTER_OF_CHANGE
from dashboard.services.quote_terms import USUAL_CONFIDENCE
from dashboard.services.saved_quote import _known
from ingest.editing import estimate_drafts, saved_quotes
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.sql import Connection
from ingest.studio.settings import read_settings
from ingest.studio.vocabulary import read_vocabulary
from ingest.values import spelling


def previous_version(con: Connection, code: str, as_of: date) -> PreviousVersion | None:
    """What a revision is held against: the latest version approved by a day, else the latest that stood then;
    None where there is none, or where it has options and none was taken.
    """
    yardstick = queries.yardstick(con, as_of, code)
    if yardstick is None:
        return None
    version, approved = yardstick
    rows = queries.versions(con, code)
    row = rows[rows["version"] == version].iloc[-1]
    if pd.notna(row["option"]) and not approved:
        return None
    lines = queries.estimate_lines(con, code, version)
    lines = lines[lines["option"].isna() | (lines["option"] == row["option"])]
    taxed = prices.of_row(row.to_dict(), read_settings(con))
    return PreviousVersion(
        version=version,
        made_on=row["made_on"].date(),
        approved_on=row["approved_on"].date() if approved else None,
        hours=float(row["promised_hours"] if pd.notna(row["promised_hours"]) else row["hours"]),
        price=None if taxed is None or taxed.gross is None else round(float(taxed.gross), 2),
        reckoned=_known(row["reckoned_price"]),
        taxed=taxed,
        currency=row["currency"] if isinstance(row["currency"], str) else None,
        lines=lines[["phase", "technique", "part", "hours"]].fillna({"hours": 0.0}).reset_index(drop=True),
    )


def continued_quote(con: Connection, code: str, as_of: date) -> Quote:
    """The quote of a work as it goes on from its latest version (one that stands, else the last; of options
    the one approved): what is finished is left to the bench, hours are her own figures alone.
    """
    version = queries.latest_standing(con, code, as_of) or queries.latest_version(con, code, as_of)
    if version is None:
        return Quote(works=[QuotedWork(object=code)])
    saved = saved_quotes.read(con, code, version)
    quote = (saved_quotes.written_again(saved) if saved else None) or Quote(works=[QuotedWork(object=code)])
    quote.works[0].lines = _lines_to_go_on(con, code, version, as_of, quote.works[0].lines)
    quote.letter = {
        name: text for name, text in quote.letter.items() if name not in ("made_on", "reason", "form")
    }
    if (queries.overruns(con, as_of, code)["actual_hours"] > 0).any() and previous_version(
        con, code, as_of
    ) is not None:
        quote.letter["form"] = LETTER_OF_CHANGE  # a revision of a work under way is told as what changed
    quote.terms = {
        name: text for name, text in quote.terms.items() if name not in ("first_stage", "begin_on")
    }
    # what was typed did not come along
    if saved and saved.written is None and saved.options[0].confidence != USUAL_CONFIDENCE:
        quote.terms["confidence"] = f"{saved.options[0].confidence}"
    return quote


# 64 lines: one rule after the other for the same rows
def _lines_to_go_on(
    con: Connection, code: str, version: int, as_of: date, typed: list[dict[str, str]]
) -> list[dict[str, str]]:
    """Its lines as they are typed on the sheet of a quote: her own figures, ranges and quantities as they
    were `typed`, nothing that the record told. Those that were typed and had no part in its price (it was of
    a first stage) stand behind them.
    """
    words = read_vocabulary(con)
    usual = queries.usual_phases(con)

    def name_of(line: dict[str, str]) -> tuple[str, str, str, str]:
        technique = words.technique_spellings.get(
            spelling.folded(line.get("technique", "")), line.get("technique", "")
        )
        phase = (
            words.phase_spellings.get(spelling.folded(line["phase"]), line["phase"])
            if line.get("phase")
            else usual.get(technique, "")
        )
        return phase, technique, line.get("part", ""), line.get("option", "")

    lines = queries.own_figures(con, code, version)
    approved_option = queries.approved_option(con, code, version, as_of)
    if approved_option is not None:
        lines = lines[lines["option"].isna() | (lines["option"] == approved_option)].assign(option=None)
    names = ["phase", "technique", "part"]
    current = queries.overruns(con, as_of, code)
    finished = set(current.loc[current["finished"].astype(bool), names].itertuples(index=False, name=None))
    of = {name_of(line): line for line in typed}
    rows, used = [], set()
    for row in estimate_drafts.as_typed(lines):
        phase, technique, part, in_option = name_of(row)
        keys = [(phase, technique, part, item) for item in (in_option, approved_option or "", "")]
        used.update(keys)
        if (phase, technique, part) in finished:
            continue
        own = next((of[key] for key in keys if key in of), None)
        if own is not None:
            row |= {
                name: own.get(name, "") for name in ("quantity", "low_hours", "high_hours", "mark", "wording")
            }
        rows.append(
            {
                name: cell
                for name, cell in row.items()
                if cell and not (name == "phase" and usual.get(technique) == cell)
            }
        )
    others = [
        line
        for key, line in of.items()
        if key not in used
        and (approved_option is None or key[3] in ("", approved_option))
        and key[:3] not in finished
    ]
    whole = {key[:3] for key in used}
    return [
        *rows,
        *(
            {name: cell for name, cell in line.items() if name != "option" or approved_option is None}
            for line in others
            if name_of(line)[:3] not in whole
        ),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviousVersion:
    """What was agreed before: the version, with the `hours` that it promised and the price agreed (as the
    owner pays it, tax included; None where that is not known); `reckoned`: the price that it had as it was
    quoted, if it was.

    Attributes
    ----------
    taxed : the price agreed as it stands in the record, with what it includes; None where there is none.
    lines : frame `phase`, `technique`, `part`, `hours`.
    """

    version: int
    made_on: date
    approved_on: date | None
    hours: float
    price: float | None
    taxed: TaxedPrice | None
    reckoned: float | None
    currency: str | None
    lines: pd.DataFrame
