"""The letter: three forms that sum, the words that such a letter must have, nothing of another owner, and
paper that holds it all.
"""

import io
import re
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from html import unescape
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from docx import Document
from PIL import Image

from dashboard import queries
from dashboard.documents import letter_docx, letter_html, letter_pdf, quote_letter
from dashboard.documents.blocks import Block, Letter
from dashboard.services import plan as plan_service
from dashboard.services import plan_new_work, quote_ready
from dashboard.services.plan import Plan
from dashboard.services.quote import Quoted
from dashboard.services.quote_ready import Ready
from dashboard.services.result_cache import ResultCache
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings
from ingest.studio.vocabulary import read_vocabulary
from tests.dashboard.quoting import CANVAS, SHEET, of, quoted_of

FEW = 2_000  # draws: a letter is the same letter whatever its figures are
LONG = (
    "The ferry that did not come back from the far side of the water in the winter of the great frost, with"
    " the bell-ringers of three parishes looking on " * 2
)


def letter(store: Store, quote: Quote, quoted: Quoted | None = None, ready: Ready | None = None) -> Letter:
    return quote_letter.letter(
        quoted or quoted_of(store, quote, draws=FEW),
        quote,
        read_settings(store.cursor()),
        read_vocabulary(store.cursor()),
        ready,
    )


def words(made: Letter) -> str:
    """All that it says."""
    found = [made.studio, *made.letterhead, *made.addressee, made.subject, *made.approvals]
    for block in made.blocks:
        found += [block.text, *block.heads, *(cell for row in block.rows for cell in row)]
    return "\n".join(found)


def tables(made: Letter) -> list[Block]:
    return [block for block in made.blocks if block.kind == "table"]


def facts_of(made: Letter, head: str) -> Sequence[Sequence[str]]:
    """The first block of facts with one of this head."""
    facts = (block.rows for block in made.blocks if block.kind == "facts")
    return next(rows for rows in facts if any(row[0] == head for row in rows))


def pairs(rows: Sequence[Sequence[str]]) -> dict[str, str]:
    """Facts by their heads."""
    return {row[0]: row[1] for row in rows}


def darkest(picture: Image.Image) -> float:
    """The darkest grey of a picture, of 0 to 255."""
    darkest_of_all = picture.getextrema()[0]
    assert isinstance(darkest_of_all, int | float)
    return darkest_of_all


def money(cell: str) -> Decimal:
    return Decimal(re.sub(r"[^\d.-]", "", cell.replace("−", "-")))


@pytest.mark.parametrize("form", quote_letter.FORMS)
def test_each_form_says_what_such_a_letter_must_say(demo: Store, form: str) -> None:
    """American Institute for Conservation, Commentaries to the Guidelines for Practice, no. 26: written plan,
    time estimate, cost, approval, and approval again for significant deviations; no. 24 B: identification.
    """
    quote = of(*SHEET, payments="on approval 30")
    quote.works[0].described |= {"title": "A mill at Marrowby", "maker": "Corin Maybrook"}
    quote.works[0].identified = {"medium": "oil on canvas", "marks": "label on the reverse: 14"}
    quote.letter = {"form": form, "addressee": "Family Brandreth\n3 Long Row", "dots": "yes"}
    made = letter(demo, quote)
    said = words(made)
    for must in (
        "A mill at Marrowby",
        "Corin Maybrook",
        "oil on canvas",
        "label on the reverse: 14",
        "61 × 76 cm",
        "lining removal dry",
        "once it is begun",
        "€",
        "On approval",
        "The rest",
        "approval in writing",
        "This quote holds for 60 days",
        "Storage",
        "keep the work insured",
    ):
        assert must in said, must
    assert "retouching" in said.casefold()
    assert "aution" not in said  # they are for the bench
    assert (
        made.addressee == ["Family Brandreth", "3 Long Row"] and made.approvals and "€" in made.approvals[0]
    )
    dots = next(block for block in made.blocks if block.kind == "dots")
    assert len(dots.dots) == 20 and dots.within == 16 and "16 of them are within" in dots.text
    hours_shown = bool(tables(made))
    assert hours_shown == (form != "one")


def test_by_phase_hours_and_prices_sum_to_what_stands_below(demo: Store) -> None:
    quote = of(*SHEET, tax="19")
    quote.works[0].costs = [{"what": "framer", "amount": "120.55"}]
    quote.letter = {"form": "phases"}
    found = quoted_of(demo, quote)
    made = letter(demo, quote, found)
    table = tables(made)[0]
    *rows, last = table.rows
    assert sum(money(row[1]) for row in rows) == money(last[1]) and sum(
        money(row[3]) for row in rows
    ) == money(last[3])
    facts = pairs(facts_of(made, "Price without tax"))
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
            for line, mark in zip(
                SHEET, ("", "incident", "incident", "earlier damage", "agreed extra"), strict=True
            )
        )
    )
    quote.letter = {"form": "full"}
    made = letter(demo, quote)
    table = tables(made)[0]
    assert table.heads == [
        "phase",
        "technique",
        "quantity",
        "hours",
        "rate, EUR",
        "amount, EUR",
        "belongs to",
    ]
    *rows, last = table.rows
    for row in rows:
        assert money(row[3]) * money(row[4]) == pytest.approx(money(row[5]), abs=Decimal("0.01"))
    assert sum(money(row[3]) for row in rows) == money(last[3]) and sum(
        money(row[5]) for row in rows
    ) == money(last[5])
    facts = pairs(facts_of(made, "Of the hours, incident"))
    assert money(facts["Of the hours, incident"]) == sum(
        money(row[5]) for row in rows if row[6] == "incident"
    )


def test_nothing_of_another_owner_is_in_a_letter(demo: Store) -> None:
    with demo.writing() as con:  # the titles of the invented studio repeat
        con.execute("UPDATE objects SET title = 'Ferry by night', maker = NULL WHERE object = '25-041'")
    others = (
        demo.cursor().execute("SELECT object, title, owner FROM objects WHERE object <> '25-041'").fetchall()
    )
    own = demo.cursor().execute("SELECT title, owner FROM objects WHERE object = '25-041'").fetchall()[0]
    for form in quote_letter.FORMS:
        quote = Quote(works=[QuotedWork(object="25-041", lines=SHEET)], letter={"form": form, "dots": "yes"})
        said = words(letter(demo, quote))
        assert own[0] in said and own[1] in said
        for code, title, owner in others:
            assert code not in said and title not in said
            assert owner == own[1] or not owner or owner not in said


def test_an_owner_s_private_lines_come_from_the_work_and_the_letter_can_be_addressed_otherwise(
    demo: Store,
) -> None:
    with demo.writing() as con:
        con.execute(
            "UPDATE objects SET owner = 'Family Brandreth', owner_address = '3 Long Row, Marrowby' WHERE"
            " object = '25-041'"
        )
    quote = Quote(works=[QuotedWork(object="25-041", lines=SHEET)])
    assert letter(demo, quote).addressee == ["Family Brandreth", "3 Long Row", "Marrowby"]
    quote.letter["addressee"] = "The insurer"
    assert letter(demo, quote).addressee == ["The insurer"]


def test_clauses_are_the_studio_s_own_words_this_letter_s_or_none(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(
            con,
            {
                "clause_storage": "Two weeks.\nThen we write.",
                "clause_insurance": "none",
                "letterhead": "4 Lane\nTown",
            },
        )
    quote = of()
    quote.letter = {"clause_validity": "Until Easter."}
    made = letter(demo, quote)
    said = words(made)
    assert (
        "Two weeks.\nThen we write." in said
        and "Until Easter." in said
        and "Insurance" not in said
        and "60 days" not in said
    )
    assert made.letterhead == ["4 Lane", "Town"]


def test_options_and_works_are_approved_each_by_itself(demo: Store) -> None:
    quote = of(
        *SHEET,
        {"technique": "lining", "option": "full treatment"},
        {"technique": "tear bridging", "option": "stabilise only"},
    )
    assert [approval.split(",")[0] for approval in letter(demo, quote).approvals] == [
        "option full treatment",
        "option stabilise only",
    ]
    quote = Quote(
        works=[
            QuotedWork(described=CANVAS | {"title": "A mill"}, lines=SHEET),
            QuotedWork(described=CANVAS | {"title": "A weir"}, lines=SHEET[:2]),
        ],
        terms={"travel_cost": "80"},
    )
    made = letter(demo, quote)
    said = words(made)
    assert "2. A weir" in said and "Travel, for all of them together" in said and "All works together" in said
    together = {
        row[0]: row[1]
        for row in next(table.rows for table in tables(made) if table.text == "All works together")
    }
    assert money(together["A mill"]) + money(together["A weir"]) + money(
        together["Travel, for all of them together"]
    ) == money(together["Together"])
    assert sum(money(approval.rpartition(" ")[2]) for approval in made.approvals) == money(
        together["Together"]
    )
    # what has no lines is not in the letter, and the other bears the travel
    quote.works[1].lines, quote.terms["payments"] = ([], "on approval 50")
    made = letter(demo, quote)
    paid = facts_of(made, "On approval")
    assert sum(money(row[1]) for row in paid) == money(made.approvals[0])


def test_a_first_stage_opens_the_next_quote_and_a_ceiling_is_in_writing(demo: Store) -> None:
    quote = of(*SHEET, first_stage="yes", ceiling="500")
    said = words(letter(demo, quote))
    assert (
        "A first stage: examination and tests" in said
        and "What we find in it opens the next quote" in said
        and "that is no promise yet" in said
    )
    assert "the price does not go beyond €500.00" in said and "retouching" not in said.split("Price")[0]


def test_without_a_rate_the_letter_has_no_price_and_says_so(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "minimum_charge": ""})
    for form in quote_letter.FORMS:
        quote = of()
        quote.letter = {"form": form}
        said = words(letter(demo, quote))
        assert "what an hour costs" in said and "€" not in said and "0.00" not in said


HARD: dict[str, dict[str, Any]] = {
    "40 lines": {"lines": 40},
    "long titles": {"title": LONG, "maker": LONG},
    "no size": {"bare": True},
    "another currency": {"currency": "JPY", "rate": "9875"},
    "marks of layout": {"title": "#strong[x] $y$ <b>bold</b> *a* _b_ `c` \\ // /* */ @z ![p](http://x)"},
}


@pytest.mark.parametrize("form", quote_letter.FORMS)
@pytest.mark.parametrize("case", HARD)
def test_paper_and_page_hold_it_all(demo: Store, tmp_path: Path, form: str, case: str) -> None:
    how = dict(HARD[case])
    techniques = [
        row[0]
        for row in (
            demo.cursor()
            .execute("SELECT technique FROM techniques WHERE phase <> 'studio time' ORDER BY technique")
            .fetchall()
        )
    ]
    lines = [
        {"technique": name, "part": "the second tear from the left"}
        for name in techniques[: how.get("lines", 4)]
    ]
    described = (
        {"kind": "easel painting"}
        if "bare" in how
        else CANVAS | {name: str(how[name]) for name in ("title", "maker") if name in how}
    )
    quote = of(
        *lines, described=described, **{name: str(how[name]) for name in ("currency", "rate") if name in how}
    )
    quote.letter = {
        "form": form,
        "dots": "yes",
        "addressee": str(how.get("title", "Somebody")),
        "opening": str(how.get("title", "")),
    }
    made = letter(demo, quote)
    pictures = letter_pdf.as_pictures(made, 60)
    assert 1 <= len(pictures) <= 6 and letter_pdf.as_pdf(made).startswith(b"%PDF")
    for picture in pictures:
        image = Image.open(io.BytesIO(picture)).convert("L")
        assert image.size == pytest.approx((496, 702), abs=2)
        # nothing runs over the edge of the paper: the outer 12 mm are empty but for the foot
        edge = 28
        assert (
            darkest(image.crop((0, 0, edge, image.height))) > 240
            and darkest(image.crop((image.width - edge, 0, image.width, image.height))) > 240
        )
    html = letter_html.as_page(made)
    assert (
        "<script" not in html
        and "<b>bold</b>" not in html
        and "http://x" not in re.sub(r"!\[p\]\(http://x\)", "", html)
    )
    if "currency" in how:
        assert "JP¥" in html and "€" not in html
    if "bare" in how:
        assert "to be measured" in html
    assert said_in_a_document(letter_docx.as_document(made)) == said_on_a_page(html)


@pytest.mark.parametrize("rate, currency", [("45.25", "EUR"), ("9500.5", "JPY")])
def test_all_that_stands_on_paper_sums_whatever_the_rate(demo: Store, rate: str, currency: str) -> None:
    for own in (1, 3, 5, 7):
        quote = of(
            {"technique": "facing", "hours": f"{own}"},
            {"technique": "retouching"},
            rate=rate,
            currency=currency,
        )
        quote.works[0].costs = [{"what": "framer", "amount": "120.5"}, {"what": "X-ray", "amount": "130.5"}]
        quote.letter = {"form": "full"}
        made = letter(demo, quote)
        *rows, last = tables(made)[0].rows
        assert sum(money(row[5]) for row in rows) == money(last[5]) and sum(
            money(row[3]) for row in rows
        ) == money(last[3])
        step = Decimal(1) if currency == "JPY" else Decimal("0.01")
        for row in rows:
            assert abs(money(row[3]) * money(row[4]) - money(row[5])) <= step
        facts = pairs(facts_of(made, "For the hours"))
        assert money(facts["For the hours"]) == money(last[5])
        assert money(facts["For the hours"]) + money(facts["Framer"]) + money(facts["X-ray"]) == money(
            facts["Price"]
        )


def test_hours_by_phase_sum_without_a_price_too(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "minimum_charge": ""})
    for own in (1, 3, 5, 7):
        quote = of({"technique": "facing", "hours": f"{own}"}, {"technique": "lining", "hours": f"{own}"})
        quote.letter = {"form": "phases"}
        *rows, last = tables(letter(demo, quote))[0].rows
        assert sum(money(row[1]) for row in rows) == money(last[1])


def test_a_letter_is_for_one_owner(demo: Store) -> None:
    two = (
        demo.cursor()
        .execute(
            "SELECT min(object), owner FROM objects WHERE owner IS NOT NULL GROUP BY owner ORDER BY 1 LIMIT 2"
        )
        .fetchall()
    )
    quote = Quote(works=[QuotedWork(object=code, lines=SHEET) for code, _ in two])
    with pytest.raises(BenchHoursError, match="of different owners"):
        letter(demo, quote)
    quote.works[0].lines = []  # what has no lines is not in the letter, nor its owner
    made = letter(demo, quote)
    assert made.addressee[0] == two[1][1] and two[0][1] not in words(made) and two[0][0] not in words(made)


def test_cautions_stand_in_a_letter_where_the_studio_puts_them_and_are_of_every_option_that_is_offered(
    demo: Store,
) -> None:
    with demo.writing() as con:
        assert write_settings(con, {"letter_cautions": "yes"}).letter_cautions
    said = words(
        letter(demo, of({"technique": "facing", "option": "A"}, {"technique": "lining", "option": "B"}))
    )
    assert "heat (lining)" in said and "solvents (facing" in said


W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"


def said_on_a_page(html: str) -> list[str]:
    """Every text of the page in its order: but for what is drawn, which a document has as a picture."""
    body = re.sub(r"<style>.*?</style>|<title>.*?</title>|<svg.*?</svg>", "", html, flags=re.S)
    return [" ".join(unescape(text).split()) for text in re.split(r"<[^>]*>", body) if text.strip()]


def said_in_a_document(file: bytes) -> list[str]:
    """The same of a document, read as what it is, a folder of XML (ISO/IEC 29500-2), by nobody's library for
    such files.
    """
    with zipfile.ZipFile(io.BytesIO(file)) as parts:
        assert parts.testzip() is None
        texts = {
            name: ElementTree.fromstring(parts.read(name))
            for name in parts.namelist()
            if name.endswith((".xml", ".rels"))
        }
    paragraphs = [
        "".join(part.text or "" for part in item.iter(f"{W}t"))
        for item in texts["word/document.xml"].iter(f"{W}p")
    ]
    return [" ".join(text.split()) for text in paragraphs if text.strip()]


def test_a_document_is_what_the_standard_allows_names_nobody_and_is_the_same_each_time(demo: Store) -> None:
    """ISO/IEC 29500-1, 17.4.60 and A.1: order of what is said of a table; 17.15.1.95: a zoom has its per
    cent; ISO/IEC 29500-2, 8: relationships lead to parts that are there.
    """
    quote = of(*SHEET, payments="on approval 30")
    quote.works[0].described |= {"title": "A mill\x0b at <Marrowby>"}
    quote.letter = {"form": "phases", "dots": "yes", "addressee": "Family Brandreth\n3 Long Row"}
    made = letter(demo, quote)
    file = letter_docx.as_document(made)
    assert file == letter_docx.as_document(made)
    with zipfile.ZipFile(io.BytesIO(file)) as parts:
        names = set(parts.namelist())
        assert names.isdisjoint({"docProps/app.xml", "docProps/thumbnail.jpeg"})
        for name in [name for name in names if name.endswith(".rels")]:
            folder = name.replace("_rels/", "").rpartition("/")[0]
            for item in ElementTree.fromstring(parts.read(name)):
                target = item.get("Target") or ""
                assert (
                    f"{folder}/{target}".lstrip("/") if not target.startswith("/") else target[1:]
                ) in names, (name, target)
        types = {
            item.get("PartName") or item.get("Extension")
            for item in ElementTree.fromstring(parts.read("[Content_Types].xml"))
        }
        assert all(
            f"/{name}" in types or name.rpartition(".")[2] in types
            for name in names
            if name != "[Content_Types].xml"
        )
        about = parts.read("docProps/core.xml").decode()
        settings = ElementTree.fromstring(parts.read("word/settings.xml"))
        body = ElementTree.fromstring(parts.read("word/document.xml"))
    assert settings.find(f"{W}zoom").get(f"{W}percent") == "100"  # type: ignore[union-attr]
    order = [
        "tblStyle",
        "tblW",
        "jc",
        "tblInd",
        "tblBorders",
        "tblLayout",
        "tblCellMar",
        "tblLook",
        "tblCaption",
    ]
    for item in body.iter(f"{W}tblPr"):
        places = [order.index(part.tag.removeprefix(W)) for part in item]
        assert places == sorted(places)
    for cells in body.iter(f"{W}tcPr"):
        assert [part.tag.removeprefix(W) for part in cells] in (
            ["tcW"],
            ["tcW", "tcBorders", "vAlign"],
            ["tcW", "vAlign"],
        )
    read = Document(io.BytesIO(file))
    told_of = read.core_properties
    assert (told_of.title, told_of.language, told_of.author, told_of.last_modified_by) == (
        "Quote for the treatment of A mill at <Marrowby>",
        "en-GB",
        "",
        "",
    )
    assert "python" not in about.casefold()
    ledger = next(table for table in read.tables if table.rows[0].cells[0].text == "phase and what is done")
    assert [[cell.text for cell in row.cells] for row in ledger.rows] == [
        list(map(str, row)) for table in tables(made) for row in [table.heads, *table.rows]
    ]
    (picture,) = read.inline_shapes
    assert "16 of them are within" in (picture._inline.docPr.get("descr") or "")
    assert [
        paragraph.text
        for paragraph in read.paragraphs
        if paragraph.style is not None and paragraph.style.name == "Heading 1"
    ] == [told_of.title]


def test_a_line_stands_in_the_letter_in_the_words_written_for_it_and_a_phase_and_its_technique_of_one_name_are_said_once(  # noqa: E501
    demo: Store,
) -> None:
    lines = [
        {"technique": "lining removal dry", "wording": "Taking off the old lining"},
        {"technique": "filling"},
        {"technique": "retouching", "part": "the sky"},
        {"technique": "retouching"},
        {"technique": "facing", "part": "upper left"},
    ]
    for form in quote_letter.FORMS:
        quote = of(*lines)
        quote.letter = {"form": form}
        made = letter(demo, quote)
        said = words(made)
        assert (
            "Taking off the old lining" in said
            and "lining removal dry" not in said
            and "facing (upper left)" in said
        )
        if form == "full":
            assert [row[:2] for row in tables(made)[0].rows if row[0] in ("filling", "retouching")] == [
                ["filling", "filling"],
                ["retouching", "retouching (the sky)"],
                ["retouching", "retouching"],
            ]
        elif form == "phases":
            cells = [row[0] for row in tables(made)[0].rows]
            assert (
                "Filling" in cells
                and "Retouching, also the sky" in cells
                and "Old lining and repairs: Taking off the old lining" in cells
            )
        else:
            facts = pairs(made.blocks[2].rows)
            assert (facts["Filling"], facts["Retouching"]) == ("as a whole", "also the sky")


@pytest.mark.parametrize(
    "title, maker, kind, called",
    [
        ("A mill", "Corin Maybrook", "easel painting", "A mill by Corin Maybrook"),
        ("A mill", "Attributed to Corin Maybrook", "easel painting", "A mill, attributed to Corin Maybrook"),
        ("A mill", "circle of Corin Maybrook", "", "A mill, circle of Corin Maybrook"),
        ("A mill", "After Corin Maybrook", "", "A mill, after Corin Maybrook"),
        ("After the storm", "", "easel painting", "“After the storm”"),
        ("unknown lady", "Corin Maybrook", "", "“unknown lady” by Corin Maybrook"),
        ("A mill", "unknown", "", "A mill, maker unknown"),
        ("A mill", "Unknown, 19th century", "", "A mill, maker unknown, 19th century"),
        ("A mill", "Unknown northern master", "", "A mill by an unknown northern master"),
        (
            "",
            "attributed to Corin Maybrook",
            "easel painting",
            "an easel painting attributed to Corin Maybrook",
        ),
        (
            "attributed to Corin Maybrook",
            "",
            "panel painting",
            "a panel painting attributed to Corin Maybrook",
        ),
        ("", "Corin Maybrook", "", "a work by Corin Maybrook"),
        ("", "anonymous", "frame", "a frame by an unknown maker"),
        ("", "", "easel painting", "an easel painting"),
        ("", "", "", "a work"),
    ],
)
def test_a_work_is_named_in_the_run_of_a_sentence(
    one_quoted: Quoted, demo: Store, title: str, maker: str, kind: str, called: str
) -> None:
    described = {name: text for name, text in (("title", title), ("maker", maker), ("kind", kind)) if text}
    quote = of({"technique": "facing", "hours": "2"}, described=described)
    read = quote_drafts.read_over(demo, quote.works[0], one_quoted.as_of, {})
    work = replace(one_quoted.works[0], draft=quote.works[0], read=read)
    made = letter(demo, quote, replace(one_quoted, works=(work,)))
    assert made.subject == f"Quote for the treatment of {called}"


@pytest.fixture(scope="module")
def one_quoted(invented_studios: Callable[[], Store]) -> Quoted:
    """A quote of one line, to be made that of any work."""
    return quoted_of(invented_studios(), of({"technique": "facing", "hours": "2"}), draws=FEW)


@pytest.fixture(scope="module")
def plan(invented_studios: Callable[[], Store]) -> Plan:
    """The plan of the invented studio of today."""
    con = invented_studios().cursor()
    return plan_service.plan(con, queries.today(con), ResultCache())


def test_when_it_is_ready_counts_the_works_on_the_bench_or_is_told_from_the_day_it_is_begun(
    demo: Store, plan: Plan
) -> None:
    quote = Quote(
        works=[
            QuotedWork(described=CANVAS | {"title": name}, lines=[{"technique": "lining"}])
            for name in ("A mill", "A weir")
        ]
    )
    found = quoted_of(demo, quote)
    assert plan.first_day == found.as_of + timedelta(days=1)
    ready = quote_ready.ready_of(found, plan)
    # the second stands behind the first
    assert set(ready) == {(1, ""), (2, "")} and ready[1, ""] < ready[2, ""]
    even, likely = ready[1, ""]
    one = found.works[0].options[0]
    alone = found.as_of + timedelta(weeks=one.weeks(0.5))
    assert alone < even < likely
    # as a new work of so many hours stands behind all that are planned
    hours, days = one.at(0.5)[0], float(np.median(one.days))
    about = plan_new_work.with_one_more(plan, hours, days, first=False)
    assert about[0] < even < about[3]
    said = words(letter(demo, quote, found, ready))
    assert (
        f"If you approve it now, it would be ready, behind the works that come before it, by {even.day}"
        f" {even:%B %Y} (even chance)"
        in said
        and "once it is begun" not in said
    )
    without = words(letter(demo, quote, found))
    assert "once it is begun" in without and "would be ready" not in without
    begun = Quote(works=quote.works, terms={"begin_on": "2027-02-01"})
    found = quoted_of(demo, begun)
    assert not quote_ready.counts_the_bench(
        found, begun
    ) and "Begun on 1 February 2027, it would be ready by" in words(letter(demo, begun, found, ready))


def test_a_work_that_is_on_the_bench_keeps_its_place_in_the_queue(plan: Plan) -> None:
    first = plan.works["object"].iloc[0]
    work = plan_new_work.quoted_work(plan, "a quote", np.full(10, 5.0), np.zeros(10))
    stays, behind = (
        plan_new_work.with_quoted(plan, [(first, work)]),
        plan_new_work.with_quoted(plan, [("", work)]),
    )
    assert stays is not None and behind is not None and stays[1] < behind[1]
    assert (
        plan_new_work.with_quoted(
            plan, [("", plan_new_work.quoted_work(plan, "a quote", np.full(10, 1e6), np.zeros(10)))]
        )
        is None
    )
