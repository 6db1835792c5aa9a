"""A saved quote revised while its work is under way, and the letter of change."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from dashboard import queries
from dashboard.documents import assemble, letter_docx, letter_html
from dashboard.documents.blocks import Letter
from dashboard.services import promises as promises_service
from dashboard.services import quote_build, quote_context, quote_continued, quote_recomputed
from dashboard.services import rates as rates_service
from dashboard.text import quote as quote_text
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.errors import BenchHoursError
from ingest.importing import form_rows
from ingest.safekeeping.integrity import faults
from ingest.schema.csv_columns import ESTIMATES
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings
from ingest.studio.vocabulary import read_vocabulary
from tests.conftest import LATER as TODAY
from tests.conftest import Bring
from tests.dashboard.documents.test_quote_letter import said_in_a_document, said_on_a_page
from tests.dashboard.quoting import SHEET, context_of
from tests.dashboard.saved_quotes import CHANGE, again_is_the_same, approve, bring_into, log, of, saved, sheet
from tests.frames import number, row_of


def test_in_a_revision_what_is_done_stays_as_worked_and_the_rest_is_told_anew(mill: Store) -> None:
    con = mill.cursor()
    today = queries.today(con)
    written = sheet()
    next(line for line in written.works[0].lines if line["technique"] == "filling")["wording"] = (
        "making good the losses"
    )
    saved(mill, written, today - timedelta(days=9))
    approve(mill, "26-099", 1, today - timedelta(days=8))
    first = of(mill, "26-099", 1).options[0]
    worked = [
        {
            "technique": "condition report",
            "date": f"{today - timedelta(days=6)}",
            "hours": "3.25",
            "done": "100",
        },
        *(
            {"technique": "filling", "date": f"{today - timedelta(days=5)}", "hours": part}
            for part in ("15", "15", "10")
        ),
        {"technique": "inlay", "date": f"{today - timedelta(days=4)}", "hours": "2", "discovery": "yes"},
    ]
    log(mill, *worked)
    quote = quote_continued.continued_quote(con, "26-099", today)
    assert quote.letter["form"] == "change" and [line["technique"] for line in quote.works[0].lines] == [
        item["technique"] for item in SHEET
    ]
    # the words of a line are kept with its version and go on with it
    assert "making good the losses" in json.dumps(
        of(mill, "26-099", 1).letter
    ) and "making good the losses" in [line.get("wording") for line in quote.works[0].lines]
    with pytest.raises(BenchHoursError, match="does not say yet what was found"):
        saved(mill, quote, today)
    quote.letter["reason"] = "An old fill under the overpaint"
    quote.terms["revision"] = "whole"
    assert saved(mill, quote, today, quote.letter["reason"]) == [("26-099", 2)]
    lines = queries.quoted_lines(mill.cursor(), "26-099", 2).set_index("technique")
    assert (
        row_of(lines, "condition report")[["p50", "p80", "p90", "promised_hours", "worked_hours"]].tolist()
        == [3.25] * 5
    )
    # begun and not finished is under way, whoever foresaw it
    assert 2 < number(lines, "inlay", "p50") < number(lines, "inlay", "p90")
    assert number(lines, "filling", "p50") >= 40 and number(lines, "filling", "p90") > 40
    again = of(mill, "26-099", 2)
    assert again.options[0].p10 > 45.25 and again_is_the_same(mill, version=2)
    approve(mill, "26-099", 2, today)
    overruns = queries.overruns(mill.cursor(), today, "26-099").set_index("technique")
    assert overruns.loc["condition report", "estimated_hours"] == 3.25  # exactly what was worked
    assert overruns["first_approved_hours"].sum() == pytest.approx(
        first.promised_hours - first.stood_on["allowance_hours"], abs=0.11
    )
    assert overruns["first_approved_hours"].isna().sum() == 1 and np.isnan(
        number(overruns, "inlay", "first_approved_hours")
    )
    letter = Letter.from_dict(again.letter or {})
    words = json.dumps(letter.as_dict(), ensure_ascii=False)
    assert said_in_a_document(letter_docx.as_document(letter)) == said_on_a_page(letter_html.as_page(letter))
    assert (
        letter.subject == "A change in the treatment of A mill at Marrowby"
        and "An old fill under the overpaint" in words
        and "inlay" in words
        and len(letter.approvals) == 1
    )
    rows = next(block for block in letter.blocks if block.text == "What was agreed and what it is now").rows[
        0
    ]
    assert (
        "The whole is quoted anew" in words
        and rows[0] == "hours"
        and float(rows[1]) == pytest.approx(first.promised_hours, abs=0.051)
        and float(rows[2]) == pytest.approx(again.options[0].promised_hours, abs=0.051)
    )
    by_phase = next(block for block in letter.blocks if block.text == "By phase")
    assert sum(float(row[4].replace("−", "-")) for row in by_phase.rows[:-1]) == pytest.approx(
        float(rows[2]) - float(rows[1]), abs=0.35
    )


def test_a_letter_of_change_sets_net_beside_net_and_is_not_written_while_nobody_says_what_was_agreed(
    mill: Store,
) -> None:
    """1,000 € without tax were agreed by hand; the revision has 19 % on top."""
    con = mill.cursor()
    today = queries.today(con)
    head = f"26-099,1,{today},{today},1000,EUR,,"
    text = (
        "object,version,made_on,approved_on,price,currency,phase,technique,hours\n"
        f"{head}filling,6\n{head}retouching,9\n"
    )
    with mill.writing() as writing:
        form_rows.put_rows(writing, ESTIMATES, list(csv.DictReader(io.StringIO(text))), CHANGE)
        write_settings(writing, {"tax_per_cent": "19", "tax_name": "VAT"})
    log(mill, {"technique": "filling", "date": f"{today}", "hours": "2"})
    quote = quote_continued.continued_quote(con, "26-099", today)
    quote.letter["reason"] = "An old fill under the overpaint"

    def letter() -> Letter:
        now = context_of(con, today, quote)
        found = quote_build.quoted(
            now,
            quote,
            [quote_drafts.read_over(mill, work, today, {}) for work in quote.works],
            read_settings(con),
        )
        return assemble.letter_of(con, found, quote, read_settings(con), read_vocabulary(con))

    with pytest.raises(BenchHoursError, match="it is not known whether VAT is in the price of version 1"):
        letter()
    with mill.writing() as writing:
        write_settings(writing, {"prices_include_tax": "no"})
    rows = {
        row[0]: [float(re.sub("[^0-9.−]", "", cell).replace("−", "-")) for cell in row[1:]]
        for row in next(
            block for block in letter().blocks if block.text == "What was agreed and what it is now"
        ).rows[1:]
    }
    assert list(rows) == ["net", "VAT", "price, VAT included"]
    assert [row[0] for row in rows.values()] == [1000, 190, 1190]
    for was, now, by in rows.values():
        assert by == pytest.approx(now - was)
    assert rows["VAT"][1] == pytest.approx(0.19 * rows["net"][1], abs=0.011)


def under_way(store: Store, studio: Bring, price: str = "1190,EUR", tax: str = "19") -> Quote:
    """Facing and filling, 16 h, were approved at 1190.00 (1000.00 net, 190.00 tax); facing took 12 h instead
    of 10, and 2.5 h of inlay were found and done, which the sheet does not have. With a framer at 40.00.
    """
    with store.writing() as con:
        write_settings(
            con,
            {
                "hourly_rate": "60",
                "tax_per_cent": tax,
                "prices_include_tax": "yes",
                "currency": "EUR",
                "tax_name": "VAT",
            },
        )
    head = "object,version,made_on,approved_on,price,currency,phase,technique,hours\n"
    assert studio(
        "e.csv",
        head
        + "".join(f"24-001,1,2024-01-05,2024-01-08,{price},,{line}\n" for line in ("facing,10", "filling,6")),
    ).complete
    log(
        store,
        {"technique": "facing", "date": "2024-01-10", "hours": "12"},
        {"technique": "inlay", "date": "2024-01-12", "hours": "2.5"},
        code="24-001",
    )
    assert studio(
        "m.csv", "object,phase,technique,finished_on\n24-001,,facing,2024-01-11\n24-001,,inlay,2024-01-12\n"
    ).complete
    quote = quote_continued.continued_quote(store.cursor(), "24-001", date(2024, 2, 1))
    quote.letter["reason"] = "A loss under the old fill"
    quote.works[0].costs = [{"what": "framer", "amount": "40"}]
    return quote


def compared(store: Store, version: int = 2) -> tuple[dict[str, list[str]], str]:
    """The rows of old and new in the letter of a version, by their names; and all its words."""
    letter = Letter.from_dict(of(store, "24-001", version).letter or {})
    rows = next(block for block in letter.blocks if block.text == "What was agreed and what it is now").rows
    return {row[0]: list(row[1:]) for row in rows}, json.dumps(letter.as_dict(), ensure_ascii=False)


def test_what_was_approved_stays_and_what_was_found_is_added_to_the_cent(store: Store, studio: Bring) -> None:
    """By hand: 2.5 h at 60.00 and 40.00 for the framer are 190.00, with 19 % 226.10; 1190.00 and 226.10 are
    1416.10; 16 h and 2.5 h are 18.5 h. The two hours that facing took more are the studio's.
    """
    on = date(2024, 2, 1)
    saved(store, under_way(store, studio), on, "A loss under the old fill")
    rows, words = compared(store)
    assert rows == {
        "hours": ["16.0", "18.5", "+2.5"],
        "of it outside costs, materials, travel": ["not known", "€40.00", ""],
        "net": ["€1,000.00", "€1,190.00", "+€190.00"],
        "VAT": ["€190.00", "€226.10", "+€36.10"],
        "price, VAT included": ["€1,190.00", "€1,416.10", "+€226.10"],
    }
    # costs are of the net
    assert list(rows) == [
        "hours",
        "net",
        "of it outside costs, materials, travel",
        "VAT",
        "price, VAT included",
    ]
    assert "What was approved stays as it was approved" in words and "4 times in 5" not in words
    by_phase = next(
        item for item in (of(store, "24-001", 2).letter or {})["blocks"] if item["text"] == "By phase"
    )
    assert by_phase["rows"][-1] == ["Together", "16.0", "14.5", "18.5", "+2.5"]
    # the version agrees with the letter, and says the same when it is reckoned again
    option = of(store, "24-001", 2).options[0]
    assert (option.promised_hours, option.price) == (18.5, 1416.1) and quote_recomputed.recompute(
        option
    ).same_as(option)
    approve(store, "24-001", 2, on)
    lines = queries.overruns(store.cursor(), on, "24-001").set_index("technique")
    assert (
        lines["estimated_hours"].to_dict() == {"facing": 10.0, "filling": 6.0, "inlay": 2.5}
        and lines.loc["facing", "difference_hours"] == 2.0
    )
    assert (
        queries.approved_promises(store.cursor(), on)[["approved_hours", "price"]].to_numpy().tolist()
        == [[18.5, 1416.1]]
        and faults(store.cursor()) == []
    )
    # a second revision adds to that, and not twice
    again = quote_continued.continued_quote(store.cursor(), "24-001", on)
    again.letter["reason"] = "Nothing more"
    saved(store, again, on, "Nothing more")
    assert (of(store, "24-001", 3).options[0].promised_hours, of(store, "24-001", 3).options[0].price) == (
        18.5,
        1416.1,
    )


def test_a_price_without_a_currency_is_in_that_of_the_studio_for_what_is_added_too(
    store: Store, studio: Bring
) -> None:
    saved(store, under_way(store, studio, price="1190,"), date(2024, 2, 1), "A loss")
    rows, words = compared(store)
    assert (
        rows["price, VAT included"] == ["€1,190.00", "€1,416.10", "+€226.10"]
        and "no sum is made of both" not in words
    )


def test_the_whole_anew_sets_net_beside_net_and_what_cannot_be_added_is_said(
    store: Store, studio: Bring
) -> None:
    on = date(2024, 2, 1)
    quote = under_way(store, studio)
    quote.terms["revision"] = "whole"
    saved(store, quote, on, "A loss")
    rows, words = compared(store)
    option = of(store, "24-001", 2).options[0]
    net = round(round(option.promised_hours, 1) * 60 + 40, 2)
    assert (
        option.promised_hours > 14.5 + 3
        and option.price == pytest.approx(net * 1.19, abs=0.006)
        and "The whole is quoted anew" in words
    )
    assert rows["net"][:2] == ["€1,000.00", f"€{net:,.2f}"] and rows["price, VAT included"][:2] == [
        "€1,190.00",
        f"€{option.price:,.2f}",
    ]
    # by a ceiling below what was approved nothing is added, and nothing is taken off
    for terms, (amount, hours) in (
        ({"ceiling": "900"}, (1190.0, 18.5)),
        ({"ceiling": "1100"}, (1309.0, 18.5)),
        ({"minimum": "5000"}, (1416.1, 18.5)),
        ({"first_stage": "yes"}, (None, 0.0)),
        ({"currency": "GBP", "rate": "60"}, (None, 18.5)),
    ):
        quote.terms = dict(terms)
        now = context_of(store.cursor(), on, quote)
        found = quote_build.quoted(
            now,
            quote,
            [quote_drafts.read_over(store, work, on, {}) for work in quote.works],
            read_settings(store.cursor()),
        )
        one = found.works[0].options[0]
        assert (float(one.price.amount) if one.price else None, one.promised) == (amount, hours), terms
        assert (" with VAT for 18.5 h" in quote_text.price_words(one)) == (one.price is not None), terms
        said = json.dumps(
            assemble.letter_of(
                store.cursor(), found, quote, read_settings(store.cursor()), read_vocabulary(store.cursor())
            ).as_dict(),
            ensure_ascii=False,
        )
        assert ("no sum is made of both" in said) == ("currency" in terms) and (
            "held at the ceiling" in said
        ) == ("ceiling" in terms)
        assert any("A first stage is charged by itself" in note for note in found.works[0].notes) == (
            "first_stage" in terms
        )


def test_what_was_approved_by_quantity_alone_has_no_hours_to_add_to(store: Store, studio: Bring) -> None:
    assert studio(
        "e.csv",
        "object,version,made_on,approved_on,phase,technique,quantity,hours\n24-001,1,2024-01-05,2024-01-08,,facing,12,\n24-001,1,2024-01-05,2024-01-08,,filling,,6\n",
    ).complete
    log(store, {"technique": "inlay", "date": "2024-01-12", "hours": "2.5"}, code="24-001")
    quote = quote_continued.continued_quote(store.cursor(), "24-001", date(2024, 2, 1))
    quote.letter["reason"] = "A loss"
    saved(store, quote, date(2024, 2, 1), "A loss")
    rows, words = compared(store)
    assert rows["hours"][0] == "6.0" and "The whole is quoted anew" in words


def test_where_no_price_was_agreed_hours_are_added_and_nothing_is_made_up(
    store: Store, studio: Bring
) -> None:
    saved(store, under_way(store, studio, price=","), date(2024, 2, 1), "A loss")
    rows, words = compared(store)
    option = of(store, "24-001", 2).options[0]
    assert (
        rows == {"hours": ["16.0", "18.5", "+2.5"]}
        and "No price stands with what was approved" in words
        and "€226.10" in words
    )
    assert (
        option.price is None
        and option.promised_hours == 18.5
        and quote_recomputed.recompute(option).same_as(option)
    )


def test_what_this_work_has_shown_so_far_moves_the_rest(mill: Store) -> None:
    """Its finished lines took three times what such lines take here: so will the rest, rather more than
    without them.
    """
    con = mill.cursor()
    today = queries.today(con)
    rest = Quote(
        works=[
            QuotedWork(
                object="26-099",
                lines=[
                    {"technique": "retouching", "quantity": "10"},
                    {"technique": "filling", "quantity": "3"},
                ],
            )
        ]
    )

    def told() -> float:
        now = quote_context.load_context(mill.cursor(), today, without_open=("26-099",))
        reads = [quote_drafts.read_over(mill, work, today, {}) for work in rest.works]
        lines = quote_build.quoted(now, rest, reads, read_settings(con)).works[0].options[0].lines
        return float(lines.loc[~lines["done"], "p50"].sum())

    before = told()
    slow = {
        "condition report": "6",
        "surface cleaning dry": "6",
        "unframing": "3",
        "varnish removal with free solvents": "45",
        "lining removal dry": "30",
        "treatment proposal": "7",
    }
    log(
        mill,
        *(
            {"technique": name, "date": f"{today - timedelta(days=2)}", "hours": part}
            for name, hours in slow.items()
            for part in _spells(float(hours))
        ),
    )
    bring = "object,phase,technique,finished_on\n" + "".join(f"26-099,,{name},{today}\n" for name in slow)
    assert bring_into(mill, Path(str(mill.path)).parent, "done.csv", bring).complete
    assert told() > 1.2 * before


def _spells(hours: float) -> Iterator[str]:
    while hours > 0:
        yield f"{min(hours, 15):g}"
        hours -= 15


@pytest.mark.parametrize(
    ("standard", "worked", "rate", "efficiency_variance"),
    [
        # Heisinger & Hoyle, Managerial Accounting (open textbook), section 10.4, Jerry's Ice Cream: standard
        # hours allowed 21,000 at $13, actual 18,900 h: efficiency variance (27,300) favourable; hours by
        # 1/10.
        (2_100, 1_890, 13, -2_730),
        # Warren, Accounting, exercise with printed answer: standard 8,400 h at $23, actual 8,450 h: time
        # variance 1,150 unfavourable; hours by 1/10.
        (840, 845, 23, 115),
    ],
)
def test_printed_labour_variances_hold_across_a_revision(
    store: Store, studio: Bring, standard: float, worked: float, rate: float, efficiency_variance: float
) -> None:
    """The printed variance is that of actual against the first standard. The revision splits it, and loses
    nothing: revised less first, and actual less revised.
    """
    studio(
        "estimates.csv",
        f"object,version,made_on,approved_on,phase,technique,quantity,hours\n24-001,1,2000-01-01,2000-01-02,,facing,1000,{standard}\n",
    )

    def half(n: int) -> None:
        spells = int(worked / 2 // 15) + 1
        rows = "".join(
            (
                f"24-001,,facing,P{item % 97},{2001 + n}-01-{1 + item % 28:02d},{worked / 2 / spells!r},"
                f"{500 / spells!r},n{n}x{item}\n"
            )
            for item in range(spells)
        )
        assert studio(
            f"log{n}.csv", "object,phase,technique,person,date,hours,quantity,note\n" + rows
        ).complete

    half(0)
    quote = quote_continued.continued_quote(store.cursor(), "24-001", date(2001, 6, 1))
    quote.works[0].lines[0]["hours"] = f"{standard * 1.1:g}"
    quote.letter["reason"] = "slower than thought"
    saved(store, quote, date(2001, 6, 1), "slower than thought")
    approve(store, "24-001", 2, date(2001, 6, 2))
    half(1)
    studio("milestones.csv", "object,phase,technique,finished_on\n24-001,stabilisation,facing,2005-01-01\n")
    line = queries.overruns(store.cursor(), TODAY).iloc[0]
    assert (line["actual_hours"] - line["first_approved_hours"]) * rate == pytest.approx(
        efficiency_variance, abs=0.5
    )
    revised = line["estimated_hours"] - line["first_approved_hours"]
    assert revised + line["difference_hours"] == pytest.approx(
        line["actual_hours"] - line["first_approved_hours"]
    )
    assert line[
        ["more_to_do_hours", "slower_hours", "unforeseen_hours", "not_needed_hours"]
    ].sum() == pytest.approx(line["difference_hours"])
    # what teaches, and what is scored, is the first standard: the revision took over what was worked
    taught = queries.record(store.cursor(), TODAY).as_of(rates_service.number_of(TODAY))
    assert taught.figure.tolist() == [standard]
    scored = promises_service.scored(store.cursor(), TODAY)
    assert (scored.works["actual_hours"] - scored.works["promised_hours"]).iloc[0] * rate == pytest.approx(
        efficiency_variance, abs=0.5
    )
    assert (scored.lines["actual_hours"] - scored.lines["promised_hours"]).iloc[0] * rate == pytest.approx(
        efficiency_variance, abs=0.5
    )
