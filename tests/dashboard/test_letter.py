"""The letter: three forms that sum, the words that such a letter must have, nothing of another owner, and paper that holds it all."""

import io
import re
from decimal import Decimal
from pathlib import Path

import pytest
from PIL import Image

from dashboard.letter import content, page, paper
from dashboard.letter.blocks import Block, Letter
from dashboard.quoting import Quoted
from ingest.errors import BenchHoursError
from ingest.quotes import Quote, QuotedWork
from ingest.settings import read_settings, write_settings
from ingest.store import Store
from ingest.vocabulary import read_vocabulary
from tests.dashboard.test_quoting import CANVAS, SHEET, demo, demo_file, of, told

__all__ = ["demo", "demo_file"]  # fixtures
LONG = (
    "The ferry that did not come back from the far side of the water in the winter of the great frost, with the bell-ringers of three parishes looking on " * 2
)


def letter(store: Store, quote: Quote, found: Quoted | None = None) -> Letter:
    return content.letter(found or told(store, quote), quote, read_settings(store.cursor()), read_vocabulary(store.cursor()))


def words(made: Letter) -> str:
    """All that it says."""
    found = [made.studio, *made.letterhead, *made.addressee, made.subject, *made.approvals]
    for one in made.blocks:
        found += [one.text, *one.heads, *(cell for row in one.rows for cell in row)]
    return "\n".join(found)


def tables(made: Letter) -> list[Block]:
    return [one for one in made.blocks if one.kind == "table"]


def money(cell: str) -> Decimal:
    return Decimal(re.sub(r"[^\d.-]", "", cell.replace("−", "-")))


@pytest.mark.parametrize("form", content.FORMS)
def test_each_form_says_what_such_a_letter_must_say(demo: Store, form: str) -> None:
    """American Institute for Conservation, Commentaries to the Guidelines for Practice, no. 26: written plan, time estimate, cost, approval, and approval again for significant deviations;
    no. 24 B: identification."""
    quote = of(*SHEET, payments="on approval 30")
    quote.works[0].described |= {"title": "A mill at Marrowby", "maker": "Corin Maybrook"}
    quote.works[0].identified = {"medium": "oil on canvas", "marks": "label on the reverse: 14"}
    quote.letter = {"form": form, "addressee": "Family Brandreth\n3 Long Row", "dots": "yes"}
    made = letter(demo, quote)
    said = words(made)
    for must in ("A mill at Marrowby", "Corin Maybrook", "oil on canvas", "label on the reverse: 14", "61 × 76 cm", "lining removal dry", "retouching", "from beginning to end about".capitalize(), "€", "On approval", "The rest",
                 "approval in writing", "This quote holds for 60 days", "Storage", "keep the work insured", "Usual caution with", "Not safety advice"):  # fmt: skip
        assert must in said, must
    assert made.addressee == ["Family Brandreth", "3 Long Row"] and made.approvals and "€" in made.approvals[0]
    dots = next(one for one in made.blocks if one.kind == "dots")
    assert len(dots.dots) == 20 and dots.within == 16 and "16 of them are within" in dots.text
    hours_shown = bool(tables(made))
    assert hours_shown == (form != "one")


def test_by_phase_hours_and_prices_sum_to_what_stands_below(demo: Store) -> None:
    quote = of(*SHEET, tax="19")
    quote.works[0].costs = [{"what": "framer", "amount": "120.55"}]
    quote.letter = {"form": "phases"}
    found = told(demo, quote)
    made = letter(demo, quote, found)
    table = tables(made)[0]
    *rows, last = table.rows
    assert sum(money(row[1]) for row in rows) == money(last[1]) and sum(money(row[3]) for row in rows) == money(last[3])
    facts = dict(next(one.rows for one in made.blocks if one.kind == "facts" and any(row[0] == "Price without tax" for row in one.rows)))
    assert money(facts["For the hours"]) + money(facts["Framer"]) == money(facts["Price without tax"])
    assert money(facts["Price without tax"]) + money(facts["Tax 19 %"]) == money(facts["Price, tax included"])
    price = found.works[0].options[0].price
    assert price is not None and money(facts["Price, tax included"]) == price.amount
    for row in rows[:-1]:
        low, high = (float(value) for value in re.findall(r"[\d.]+", row[2]))
        assert low < float(row[1]) < high * 1.1


def test_the_full_statement_multiplies_out_line_by_line_and_says_what_belongs_to_what(demo: Store) -> None:
    quote = of(
        *(
            {"technique": line["technique"], "mark": mark}
            for line, mark in zip(SHEET, ("", "incident", "incident", "earlier damage", "agreed extra"), strict=True)
        )
    )
    quote.letter = {"form": "full"}
    made = letter(demo, quote)
    table = tables(made)[0]
    assert table.heads == ["phase", "technique", "quantity", "hours", "rate, EUR", "amount, EUR", "belongs to"]
    *rows, last = table.rows
    for row in rows:
        assert money(row[3]) * money(row[4]) == pytest.approx(money(row[5]), abs=Decimal("0.01"))
    assert sum(money(row[3]) for row in rows) == money(last[3]) and sum(money(row[5]) for row in rows) == money(last[5])
    facts = dict(next(one.rows for one in made.blocks if one.kind == "facts" and any("incident" in row[0] for row in one.rows)))
    assert money(facts["Of the hours, incident"]) == sum(money(row[5]) for row in rows if row[6] == "incident")


def test_nothing_of_another_owner_is_in_a_letter(demo: Store) -> None:
    with demo.writing() as con:  # the titles of the invented studio repeat
        con.execute("UPDATE objects SET title = 'Ferry by night', maker = NULL WHERE object = '25-041'")
    others = demo.cursor().execute("SELECT object, title, owner FROM objects WHERE object <> '25-041'").fetchall()
    own = demo.cursor().execute("SELECT title, owner FROM objects WHERE object = '25-041'").fetchall()[0]
    for form in content.FORMS:
        quote = Quote(works=[QuotedWork(object="25-041", lines=SHEET)], letter={"form": form, "dots": "yes"})
        said = words(letter(demo, quote))
        assert own[0] in said and own[1] in said
        for code, title, owner in others:
            assert code not in said and title not in said
            assert owner == own[1] or not owner or owner not in said


def test_an_owner_s_private_lines_come_from_the_work_and_the_letter_can_be_addressed_otherwise(demo: Store) -> None:
    with demo.writing() as con:
        con.execute("UPDATE objects SET owner = 'Family Brandreth', owner_address = '3 Long Row, Marrowby' WHERE object = '25-041'")
    quote = Quote(works=[QuotedWork(object="25-041", lines=SHEET)])
    assert letter(demo, quote).addressee == ["Family Brandreth", "3 Long Row", "Marrowby"]
    quote.letter["addressee"] = "The insurer"
    assert letter(demo, quote).addressee == ["The insurer"]


def test_clauses_are_the_studio_s_own_words_this_letter_s_or_none(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(con, {"clause_storage": "Two weeks.\nThen we write.", "clause_insurance": "none", "letterhead": "4 Lane\nTown"})
    quote = of()
    quote.letter = {"clause_validity": "Until Easter."}
    made = letter(demo, quote)
    said = words(made)
    assert "Two weeks.\nThen we write." in said and "Until Easter." in said and "Insurance" not in said and "60 days" not in said
    assert made.letterhead == ["4 Lane", "Town"]


def test_options_and_works_are_approved_each_by_itself(demo: Store) -> None:
    quote = of(*SHEET, {"technique": "lining", "option": "full treatment"}, {"technique": "tear bridging", "option": "stabilise only"})
    assert [one.split(",")[0] for one in letter(demo, quote).approvals] == ["option full treatment", "option stabilise only"]
    quote = Quote(
        works=[QuotedWork(described=CANVAS | {"title": "A mill"}, lines=SHEET), QuotedWork(described=CANVAS | {"title": "A weir"}, lines=SHEET[:2])],
        terms={"travel_cost": "80"},
    )
    made = letter(demo, quote)
    said = words(made)
    assert "2. A weir" in said and "Travel, for all of them together" in said and "All works together" in said
    together = {row[0]: row[1] for row in next(one.rows for one in tables(made) if one.text == "All works together")}
    assert money(together["A mill"]) + money(together["A weir"]) + money(together["Travel, for all of them together"]) == money(together["Together"])
    assert sum(money(one.rpartition(" ")[2]) for one in made.approvals) == money(together["Together"])
    quote.works[1].lines, quote.terms["payments"] = [], "on approval 50"  # what has no lines is not in the letter, and the other bears the travel
    made = letter(demo, quote)
    paid = next(one.rows for one in made.blocks if one.kind == "facts" and any(row[0] == "On approval" for row in one.rows))
    assert sum(money(row[1]) for row in paid) == money(made.approvals[0])


def test_a_first_stage_opens_the_next_quote_and_a_ceiling_is_in_writing(demo: Store) -> None:
    quote = of(*SHEET, first_stage="yes", ceiling="500")
    said = words(letter(demo, quote))
    assert "A first stage: examination and tests" in said and "What we find in it opens the next quote" in said and "that is no promise yet" in said
    assert "the price does not go beyond €500.00" in said and "retouching" not in said.split("Price")[0].replace("Usual caution", "")


def test_without_a_rate_the_letter_has_no_price_and_says_so(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "minimum_charge": ""})
    for form in content.FORMS:
        quote = of()
        quote.letter = {"form": form}
        said = words(letter(demo, quote))
        assert "what an hour costs" in said and "€" not in said and "0.00" not in said


HARD = {
    "40 lines": {"lines": 40}, "long titles": {"title": LONG, "maker": LONG}, "no size": {"bare": True}, "another currency": {"currency": "JPY", "rate": "9875"},
    "marks of layout": {"title": "#strong[x] $y$ <b>bold</b> *a* _b_ `c` \\ // /* */ @z ![p](http://x)"},
}  # fmt: skip


@pytest.mark.parametrize("form", content.FORMS)
@pytest.mark.parametrize("case", HARD)
def test_paper_and_page_hold_it_all(demo: Store, tmp_path: Path, form: str, case: str) -> None:
    how = dict(HARD[case])
    techniques = [row[0] for row in demo.cursor().execute("SELECT technique FROM techniques WHERE phase <> 'studio time' ORDER BY technique").fetchall()]
    lines = [{"technique": name, "part": "the second tear from the left"} for name in techniques[: how.get("lines", 4)]]  # type: ignore[misc]
    described = {"kind": "easel painting"} if "bare" in how else CANVAS | {name: str(how[name]) for name in ("title", "maker") if name in how}
    quote = of(*lines, described=described, **{name: str(how[name]) for name in ("currency", "rate") if name in how})
    quote.letter = {"form": form, "dots": "yes", "addressee": str(how.get("title", "Somebody")), "opening": str(how.get("title", ""))}
    made = letter(demo, quote)
    pictures = paper.as_pictures(made, 60)
    assert 1 <= len(pictures) <= 6 and paper.as_pdf(made).startswith(b"%PDF")
    for picture in pictures:
        image = Image.open(io.BytesIO(picture)).convert("L")
        assert image.size == pytest.approx((496, 702), abs=2)
        # nothing runs over the edge of the paper: the outer 12 mm are empty but for the foot
        edge = 28
        assert (
            image.crop((0, 0, edge, image.height)).getextrema()[0] > 240
            and image.crop((image.width - edge, 0, image.width, image.height)).getextrema()[0] > 240
        )
    html = page.as_page(made)
    assert "<script" not in html and "<b>bold</b>" not in html and "http://x" not in re.sub(r"!\[p\]\(http://x\)", "", html)
    if "currency" in how:
        assert "JP¥" in html and "€" not in html
    if "bare" in how:
        assert "to be measured" in html


@pytest.mark.parametrize("rate, currency", [("45.25", "EUR"), ("9500.5", "JPY")])
def test_all_that_stands_on_paper_sums_whatever_the_rate(demo: Store, rate: str, currency: str) -> None:
    for own in range(1, 8):
        quote = of({"technique": "facing", "hours": f"{own}"}, {"technique": "retouching"}, rate=rate, currency=currency)
        quote.works[0].costs = [{"what": "framer", "amount": "120.5"}, {"what": "X-ray", "amount": "130.5"}]
        quote.letter = {"form": "full"}
        made = letter(demo, quote)
        *rows, last = tables(made)[0].rows
        assert sum(money(row[5]) for row in rows) == money(last[5]) and sum(money(row[3]) for row in rows) == money(last[3])
        step = Decimal(1) if currency == "JPY" else Decimal("0.01")
        for row in rows:
            assert abs(money(row[3]) * money(row[4]) - money(row[5])) <= step
        facts = dict(next(one.rows for one in made.blocks if one.kind == "facts" and any(row[0] == "For the hours" for row in one.rows)))
        assert money(facts["For the hours"]) == money(last[5])
        assert money(facts["For the hours"]) + money(facts["Framer"]) + money(facts["X-ray"]) == money(facts["Price"])


def test_hours_by_phase_sum_without_a_price_too(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "minimum_charge": ""})
    for own in range(1, 8):
        quote = of({"technique": "facing", "hours": f"{own}"}, {"technique": "lining", "hours": f"{own}"})
        quote.letter = {"form": "phases"}
        *rows, last = tables(letter(demo, quote))[0].rows
        assert sum(money(row[1]) for row in rows) == money(last[1])


def test_a_letter_is_for_one_owner(demo: Store) -> None:
    two = demo.cursor().execute("SELECT min(object), owner FROM objects WHERE owner IS NOT NULL GROUP BY owner ORDER BY 1 LIMIT 2").fetchall()
    quote = Quote(works=[QuotedWork(object=code, lines=SHEET) for code, _ in two])
    with pytest.raises(BenchHoursError, match="of different owners"):
        letter(demo, quote)
    quote.works[0].lines = []  # what has no lines is not in the letter, nor its owner
    made = letter(demo, quote)
    assert made.addressee[0] == two[1][1] and two[0][1] not in words(made) and two[0][0] not in words(made)


def test_cautions_are_of_every_option_that_is_offered(demo: Store) -> None:
    said = words(letter(demo, of({"technique": "facing", "option": "A"}, {"technique": "lining", "option": "B"})))
    assert "heat (lining)" in said and "solvents (facing" in said
