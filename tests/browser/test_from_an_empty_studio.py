"""From nothing to the year: a new studio's first quote, a find, its letter of change and what an hour earned,
each figure held against one reckoned by hand.

By hand is: in decimals, from what was typed here and from hours that an earlier page showed, and rounded as
on paper (a half upwards). Nothing of the product is called for it.
"""

import re
from collections.abc import Callable
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

from playwright.sync_api import Page, expect

from ingest.store import Store
from ingest.studio.settings import write_settings
from tests import ready
from tests.browser.conftest import act, keep, settled
from tests.browser.steps import done, go, press, unfold
from tests.browser.test_quote_a_work import add_line, fill, total

CODE = "29-001"
# an hour without tax; per cent on top: nothing comes out round by itself
RATE, TAX = (Decimal("62.35"), Decimal("8.1"))
YEARLY, CHARGEABLE = Decimal(54_000), Decimal(1_200)
OWN = {"surface cleaning aqueous": ("30", "9"), "retouching": ("", "7.5")}  # quantity in dm², her own hours
CLEANING, INLAY, RETOUCHING = (
    (Decimal("5.5"), Decimal("4.75")),
    (Decimal("2.25"), Decimal("1.5")),
    Decimal("8.5"),
)
OWN_COST, STUDIO_TIME = Decimal("1.25"), Decimal("3.75")
SPENT = sum((*CLEANING, *INLAY), RETOUCHING)
TOTAL = re.compile(r"Ends at ([\d.]+) h at even chance, within ([\d.]+) h 4 times in 5; ([\d.]+) h so far\.")


def to(amount: Decimal, step: str) -> Decimal:
    return amount.quantize(Decimal(step), ROUND_HALF_UP)


def hours(value: Decimal) -> str:
    """To a tenth, as every page shows them."""
    return f"{to(value, '0.1'):,.1f}"


def signed(value: Decimal) -> str:
    return f"{'+' if value > 0 else '−' if value < 0 else ''}{hours(abs(value))}"


def euros(amount: Decimal) -> str:
    return f"€{to(amount, '0.01'):,.2f}"


def priced(spent: Decimal) -> tuple[Decimal, Decimal, Decimal]:
    """Net, tax and what the owner pays: each of net and sum rounded once, the tax is what lies between."""
    net, gross = to(spent * RATE, "0.01"), to(spent * RATE * (1 + TAX / 100), "0.01")
    return net, gross - net, gross


def number(cell: str) -> Decimal:
    """The first number of a cell, without its currency."""
    found = re.search(r"[+−]?\d[\d,]*(?:\.\d+)?", cell.replace("€", ""))
    assert found, cell
    return Decimal(found[0].replace(",", "").replace("−", "-"))


def cells(page: Page, table: str, first: str) -> list[str]:
    """The cells of the row of a table that begins so; a row that heads others has none."""
    region = page.get_by_role("region", name=table, exact=True)
    expect(region).to_be_visible()
    (row,) = [
        row
        for row in (
            [cell.strip() for cell in row.locator("td").all_inner_texts()]
            for row in region.locator("tbody tr").all()
        )
        if row and row[0] == first
    ]
    return row


def figures(page: Page) -> dict[str, str]:
    """The figures at the head of a page under their words."""
    return dict(
        zip(
            page.locator("dl.figures dt").all_inner_texts(),
            page.locator("dl.figures dd").all_inner_texts(),
            strict=True,
        )
    )


def expect_sentence(page: Page, sentence: str) -> None:
    expect(page.get_by_text(sentence).first).to_be_visible()


def letter_of(page: Page) -> str:
    with page.expect_download() as given:
        page.get_by_role("button", name="The letter as a page (HTML)").click()
    return Path(given.value.path()).read_text(encoding="utf-8")


def rows_of(letter: str, table: str) -> dict[str, list[str]]:
    """The rows of a table of the letter by their first cell."""
    found = re.search(rf'aria-label="{table}"><table>(.*?)</table>', letter, re.S)
    assert found, table
    rows = [re.findall(r"<td[^>]*>(.*?)</td>", row, re.S) for row in found[1].split("<tr")]
    return {row[0]: row[1:] for row in rows if row}


def bring(db: Path, folder: Path, person: str, *rows: str) -> None:
    """A person's sheet of hours comes in as a file, while the studio is open."""
    file = folder / f"{person}.csv"
    file.write_text(
        "\n".join(
            [
                "object,phase,technique,date,hours,quantity,unit,charge,person",
                *(f"{row},{person}" for row in rows),
            ]
        ),
        encoding="utf-8",
    )
    come = ready.command("import", "--db", str(db), str(file))
    assert come.returncode == 0, come.stdout + come.stderr


def hours_of(page: Page, version: int, technique: str) -> str:
    """Hours of a line of a version, beside its phase and its technique."""
    row = page.get_by_role("region", name=f"Lines of version {version}", exact=True).locator(
        f"tr:has(td:nth-child(2):text-is('{technique}'))"
    )
    return row.locator("td").nth(2).inner_text()


def approve(page: Page, studio: str, version: int, price: str) -> None:
    go(page, f"{studio}/estimate?object={CODE}", "Estimate")
    press(page, "Note the approval")
    done(page, f"Version {version} of {CODE} is approved")
    assert cells(page, "Versions of the estimate", f"{version}")[-1] == f"{price}, VAT included"


def settings(db: Path) -> None:
    """What an hour costs, the tax on it, and what a year costs: before the studio is opened. How settings are
    typed is walked in `tests/dashboard/pages/test_studio.py`.
    """
    with Store(db) as store, store.writing() as con:
        write_settings(
            con,
            {
                "hourly_rate": f"{RATE}",
                "yearly_cost": f"{YEARLY}",
                "chargeable_hours": f"{CHARGEABLE}",
                "tax_per_cent": f"{TAX}",
                "tax_name": "VAT",
            },
        )


def first_quote(page: Page, studio: str) -> Decimal:
    """The first work, its quote and its approval; the hours promised."""
    go(page, f"{studio}/works?add=work", "Works")
    for label, text in (
        ("Code", CODE),
        ("Kind", "easel painting"),
        ("Support", "canvas"),
        ("Height, cm", "50"),
        ("Width, cm", "60"),
    ):
        page.get_by_role("textbox", name=label, exact=True).fill(text)
    press(page, "Save")
    done(page, "The work is added.")
    expect_sentence(page, "Area: 30.0 dm²")  # 5 dm × 6 dm
    go(page, f"{studio}/estimate?object={CODE}", "Estimate")
    press(page, "Quote it from finished works")
    expect(page.get_by_role("heading", name=f"Quote 1: {CODE}")).to_be_visible()
    for technique, (quantity, own) in OWN.items():
        add_line(
            page,
            technique,
            **{"Own hours (may stay empty)": own},
            **({"Quantity, dm²": quantity} if quantity else {}),
        )
    even, promised, nine, price = (number(cell) for cell in total(page))
    net, tax, gross = priced(promised)
    assert even < promised < nine and price == gross and "price, VAT included" in figures(page)
    expect_sentence(
        page, f"Price {euros(gross)} with VAT for {hours(promised)} h (4 in 5), {euros(net)} without VAT."
    )
    # of an hour; what the net price pays for at that is done for nothing from there on
    cost = YEARLY / CHARGEABLE
    expect_sentence(
        page,
        f"An hour costs the studio {euros(cost)} without VAT, so from {hours(net / cost)} h on it works for"
        " nothing",
    )
    keep(page, "walk-quote")
    letter = letter_of(page)
    for name, amount in (("Price without VAT", net), (f"VAT {TAX} %", tax), ("Price, VAT included", gross)):
        assert f"<dt>{name}</dt><dd>{euros(amount)}</dd>" in letter
    press(page, f"Save as version 1 of {CODE}")
    done(page, f"Saved as version 1 of {CODE}")
    approve(page, studio, 1, euros(gross))
    unfold(page, "The lines of a version")
    parts = {technique: hours_of(page, 1, technique) for technique in OWN}
    assert sum(map(number, parts.values())) == promised  # nothing can turn up yet, so it is all in the lines
    assert {
        technique: cells(page, "Lines and the rates they stood on", technique)[3] for technique in OWN
    } == parts
    return promised


def found_on_the_bench(page: Page, studio: str) -> tuple[Decimal, Decimal]:
    """Begun, with something that nobody quoted, is under way: even chance and 4 in 5 of the whole."""
    go(page, f"{studio}/on-the-bench?object={CODE}", "On the bench")
    told = TOTAL.search(page.get_by_text(TOTAL).first.inner_text())
    assert told and told[3] == hours(CLEANING[0] + INLAY[0])
    inlay = cells(page, "Lines of this work, and where they end", "inlay")
    assert inlay[1:4] == ["begun", hours(INLAY[0]), "–"] and number(inlay[4]) > INLAY[0]
    expect_sentence(page, f"inlay: not in the estimate, {hours(INLAY[0])} h so far, {inlay[4]} h in the end")
    keep(page, "walk-bench")
    return Decimal(told[1]), Decimal(told[2])


def letter_of_change(page: Page, studio: str, promised: Decimal, bench: tuple[Decimal, Decimal]) -> Decimal:
    """What was approved stays, and what was found is added; the whole anew is a look; saved and approved. The
    hours that were added.
    """
    begun = (
        "surface cleaning aqueous",
        "inlay",
        # what is not begun may not be needed after all: with that chance there, and here as it is if it is
        # done
    )
    there = {
        technique: cells(page, "Lines of this work, and where they end", technique)[4:7]
        for technique in begun
    }
    press(page, f"Quote the rest of {CODE} anew")
    expect(page.get_by_role("heading", name=f"Quote 2: {CODE}")).to_be_visible()
    settled(page)
    assert tuple(map(number, total(page)[:2])) == bench
    assert {technique: cells(page, "Lines of the quote", technique)[1:4] for technique in there} == there
    fill(page, "What was found: why there is another version", "A hole behind the stretcher bar")
    stays = re.search(
        r"Found and added: ([\d.]+) h", page.get_by_text("What was approved stays: ").first.inner_text()
    )
    assert stays
    found = Decimal(stays[1])
    old, added = priced(promised), priced(found)
    new = [before + more for before, more in zip(old, added, strict=True)]
    assert number(total(page)[3]) == new[2] and found > INLAY[0]
    expect_sentence(
        page,
        f"What was approved stays: {hours(promised)} h, {euros(old[2])}. Found and added: {hours(found)} h,"
        f" {euros(added[2])} (VAT included in both).",
    )
    expect_sentence(
        page, f"Price {euros(new[2])} with VAT for {hours(promised + found)} h, of both together."
    )
    keep(page, "walk-revision")
    letter = letter_of(page)
    assert "What was approved stays as it was approved" in letter and "The whole is quoted anew" not in letter
    prices = zip(("net", "VAT", "price, VAT included"), old, new, added, strict=True)
    assert rows_of(letter, "What was agreed and what it is now") == {
        "hours": [hours(promised), hours(promised + found), signed(found)],
        **{name: [euros(before), euros(after), f"+{euros(more)}"] for name, before, after, more in prices},
    }
    assert rows_of(letter, "By phase") == {
        "Structural repair": ["0.0", hours(INLAY[0]), hours(found), signed(found)],
        "All others": [hours(promised), hours(CLEANING[0]), hours(promised), "0.0"],
        "Together": [hours(promised), hours(INLAY[0] + CLEANING[0]), hours(promised + found), signed(found)],
    }
    # the whole anew is for the hours that the bench says, 4 in 5
    act(page, page.get_by_text("The whole anew", exact=True).click)
    expect(page.get_by_text("What was approved stays: ")).to_have_count(0)
    settled(page)
    whole = priced(bench[1])
    assert number(total(page)[3]) == whole[2]
    letter = letter_of(page)
    assert (
        "The whole is quoted anew" in letter
        and "What was approved stays" not in letter
        and "finished works of our own" not in letter
    )
    changes = rows_of(letter, "What was agreed and what it is now")
    assert changes["hours"] == [hours(promised), hours(bench[1]), signed(bench[1] - promised)]
    for name, before, after in zip(("net", "VAT", "price, VAT included"), old, whole, strict=True):
        assert changes[name] == [
            euros(before),
            euros(after),
            f"{'+' if after >= before else '−'}{euros(abs(after - before))}",
        ]
    by_phase = rows_of(letter, "By phase")
    together = by_phase.pop("Together")
    assert [
        hours(sum((number(row[column]) for row in by_phase.values()), Decimal(0))) for column in (0, 2)
    ] == [together[0], together[2]]
    act(page, page.get_by_text("What was approved stays, and what was found is added", exact=True).click)
    expect_sentence(page, "What was approved stays: ")
    settled(page)
    press(page, f"Save as version 2 of {CODE}")
    done(page, f"Saved as version 2 of {CODE}")
    approve(page, studio, 2, euros(new[2]))
    unfold(page, "The lines of a version")
    parts = {technique: hours_of(page, 2, technique) for technique in (*OWN, "inlay")}
    assert sum(map(number, parts.values())) == promised + found and parts["inlay"] == hours(found)
    assert {
        technique: cells(page, "Lines and the rates they stood on", technique)[3] for technique in parts
    } == parts
    return found


def the_year(page: Page, studio: str, today: date, approved: Decimal, net: Decimal) -> None:
    """What was charged, and what an hour earned: without tax, by all hours held against it and the studio's
    own.
    """
    go(page, f"{studio}/the-year?year={today.year}", "The year")
    earned = euros(net / (SPENT + OWN_COST))
    head = figures(page)
    assert (
        head["charged"],
        head["at the studio’s own cost"],
        head["an hour earned without VAT, of works finished"],
    ) == (f"{hours(SPENT)} h", f"{hours(OWN_COST)} h", earned)
    expect_sentence(page, f"An hour earned {earned} without VAT, over 1 finished work with a price")
    expect_sentence(
        page,
        f"an hour that is charged would have to earn {euros(YEARLY / SPENT)}; each hour of presence costs"
        f" {euros(YEARLY / (SPENT + OWN_COST))}.",
    )
    work = cells(page, "What an hour earned, work by work", CODE)
    assert work == [
        CODE,
        earned,
        hours(SPENT),
        signed(SPENT - approved),
        hours(approved),
        hours(OWN_COST),
        euros(net),
        "easel painting",
    ]
    assert cells(page, "What an hour earned, by kind", "easel painting")[1:] == [
        "1",
        hours(SPENT + OWN_COST),
        euros(net),
        earned,
    ]
    expect_sentence(
        page,
        f"1 work took less than was approved: its quote carried {hours(approved - SPENT)} h that were not"
        " needed",
    )
    keep(page, "walk-year")


def rates(page: Page, studio: str, promised: Decimal) -> None:
    """What was never measured has hours per line; one measured line made a rate. Both say what quotes that
    used them have for them.
    """
    go(page, f"{studio}/our-rates?technique=retouching", "Our rates")
    assert "hours per line" in figures(page) and not [
        name for name in figures(page) if "dm²" in name and "hours per" in name
    ]
    expect_sentence(page, "None of it was measured yet, so hours are per line")
    expect_sentence(page, "One measured line makes a rate per dm².")
    assert cells(page, "Lines behind the rate, the latest", CODE)[2:4] == [hours(RETOUCHING), "not measured"]
    measured = cells(page, "Rates of all techniques", "surface cleaning aqueous")
    assert measured[1] == "1" and measured[5:7] == ["dm²", "30 dm²"]
    assert cells(page, "Rates of all techniques", "retouching")[5:7] == ["line", "a line on 30 dm²"]
    first, second = (
        number(cells(page, "Quotes that used this rate", f"{CODE}, version {version}")[5])
        for version in (1, 2)
    )
    assert first == second  # what was approved stayed
    for version in (1, 2):
        assert cells(page, "Quotes that used this rate", f"{CODE}, version {version}")[-1] == "approved"
    keep(page, "rates-used-by")
    go(page, f"{studio}/our-rates?technique=surface+cleaning+aqueous", "Our rates")
    assert first + number(cells(page, "Quotes that used this rate", f"{CODE}, version 1")[5]) == promised
    assert "hours per dm²" in figures(page)
    assert cells(page, "Lines behind the rate, the latest", CODE)[2:5] == [
        hours(sum(CLEANING, Decimal(0))),
        "30 dm²",
        hours(sum(CLEANING, Decimal(0))),
    ]


def where_they_went(page: Page, studio: str, promised: Decimal, decimal: Decimal) -> None:
    """Actual less estimated is the difference that is shown, line by line and in all."""
    went = {
        "surface cleaning aqueous": sum(CLEANING, Decimal(0)),
        "retouching": RETOUCHING,
        "inlay": sum(INLAY, Decimal(0)),
    }
    approved = promised + decimal
    go(page, f"{studio}/one-work?object={CODE}", "One work")
    for technique, took in went.items():
        line = cells(page, "Lines of this work", technique)
        assert (
            line[2] == hours(took)
            and line[3] == signed(to(took, "0.1") - number(line[1]))
            and line[-1] == "finished"
        )
        assert sum(map(number, line[4:8])) == number(line[3])
    head = figures(page)
    assert (head["estimated"], head["actual"], head["difference"]) == (
        f"{hours(approved)} h",
        f"{hours(SPENT)} h",
        f"{signed(SPENT - approved)} h",
    )
    expect_sentence(
        page, f"First approved {hours(promised)} h, latest approved {hours(approved)} h; 1 line changed."
    )
    expect_sentence(
        page,
        f"It began with a promise of {hours(promised)} h (version 1), and Promised and kept holds it against"
        f" that: {signed(SPENT - promised)} h.",
    )
    keep(page, "walk-one-work")
    go(page, f"{studio}/where-the-hours-went", "Where the hours went")
    assert cells(page, "Hours by phase", "all phases")[1:4] == ["1", hours(approved), hours(SPENT)]
    assert cells(page, "Hours by phase", "all phases")[4] == signed(SPENT - approved)
    assert cells(page, "Hours by phase", "structural repair")[2:5] == [
        hours(decimal),
        hours(went["inlay"]),
        signed(to(went["inlay"], "0.1") - decimal),
    ]


def test_from_an_empty_studio_to_the_year_every_figure_is_the_one_reckoned_by_hand(
    serve_here: Callable[..., str], laptop: Page, tmp_path: Path
) -> None:
    db, today = tmp_path / "studio.duckdb", date.today()
    settings(db)
    studio = serve_here(db)
    promised = first_quote(laptop, studio)
    bring(
        db,
        tmp_path,
        "Rosa",
        f"{CODE},,surface cleaning aqueous,{today},{CLEANING[0]},12,dm2,",
        f"{CODE},,inlay,{today},{INLAY[0]},,,",
        # so that the log goes back over twelve months
        f",,teaching,{today - timedelta(days=365)},{STUDIO_TIME},,,",
    )
    bench = found_on_the_bench(laptop, studio)
    found = letter_of_change(laptop, studio, promised, bench)
    bring(
        db,
        tmp_path,
        "Otto",
        f"{CODE},,surface cleaning aqueous,{today},{CLEANING[1]},18,dm2,",
        f"{CODE},,inlay,{today},{INLAY[1]},,,",
        f"{CODE},,retouching,{today},{RETOUCHING},,,",
        f"{CODE},,retouching,{today},{OWN_COST},,,own_cost",
    )
    go(laptop, f"{studio}/works?object={CODE}", "Works")
    laptop.get_by_role("textbox", name="Finished on", exact=True).fill(f"{today}")
    press(laptop, "Save")
    done(laptop, "Saved; what was said before is kept in the history.")
    where_they_went(laptop, studio, promised, found)
    rates(laptop, studio, promised)
    laptop.set_viewport_size({"width": 360, "height": 800})
    the_year(laptop, studio, today, promised + found, priced(promised)[0] + priced(found)[0])
