"""A quote from the record to hours, chance and money: by command, and as the page reckons it."""

import json
import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import forecasting, promising, quoting, reading
from dashboard.analysis import uplift
from dashboard.analysis.similar import Like
from dashboard.command import main
from dashboard.quote_command import as_frame
from dashboard.quote_sentences import came_from, drivers, earns, effect, missing, surprising, things_in_words
from dashboard.quoting import Known, Quoted
from dashboard.remembered import Memory
from ingest import pins, quotes, vocabulary
from ingest.history import Change
from ingest.quotes import Quote, QuotedWork
from ingest.settings import read_settings, write_settings
from ingest.store import Store
from tests.conftest import CHANGE, LATER, Bring

LINES = """technique,quantity,hours,option
condition report,,,
lining removal dry,,,
varnish removal with free solvents,,5,
filling,,,
retouching,,8,
varnishing by spray,,,full treatment
"""
A_WORK = ["--kind", "easel painting", "--support", "canvas", "--height", "61", "--width", "76", "--structure", "2"]
SHEET = [{"technique": name} for name in ("condition report", "lining removal dry", "varnish removal with free solvents", "filling", "retouching")]
CANVAS = {"kind": "easel painting", "support": "canvas", "height_cm": "61", "width_cm": "76", "structure_condition": "2"}


@pytest.fixture(scope="module")
def demo_file(invented: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("quotes") / "studio.duckdb"
    shutil.copy(invented, path)
    return path


@pytest.fixture
def demo(demo_file: Path, tmp_path: Path) -> Iterator[Store]:
    path = tmp_path / "studio.duckdb"
    shutil.copy(demo_file, path)
    with Store(path) as opened:
        yield opened


@pytest.fixture
def command(demo_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """`quote` with lines as a file; its exit, and what it said on both streams."""

    def run(text: str | None, *options: str) -> tuple[int, str, str]:
        lines = tmp_path / "lines.csv"
        if text is not None:
            lines.write_text(text)
        code = main(["quote", "--db", str(demo_file), *(["--lines", str(lines)] if text is not None else []), *options])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


_known: dict[tuple[str, int, tuple[str, ...]], Known] = {}


def told(store: Store, quote: Quote, now: Known | None = None) -> Quoted:
    con = store.cursor()
    there = quoting.on_the_bench(reading.overruns(con, reading.today(con)), quote)
    stands_for = (str(store.path), store.changes(), there)
    if now is None and stands_for not in _known:
        _known.clear()
        _known[stands_for] = quoting.known(con, reading.today(con), without_open=there)
    now = now or _known[stands_for]
    reads = [quotes.read_over(store, work, now.as_of, {}) for work in quote.works]
    return quoting.quoted(now, quote, reads, read_settings(con))


def of(*lines: dict[str, str], described: dict[str, str] = CANVAS, **terms: str) -> Quote:
    return Quote(works=[QuotedWork(described=dict(described), lines=[dict(line) for line in lines or SHEET])], terms=terms)


def test_a_described_work_is_quoted_by_command_with_every_key_others_depend_on(command: Callable[..., tuple[int, str, str]], tmp_path: Path) -> None:
    code, out, err = command(
        LINES,
        *A_WORK,
        "--json",
        "--csv",
        str(tmp_path / "q.csv"),
        "--pdf",
        str(tmp_path / "q.pdf"),
        "--html",
        str(tmp_path / "q.html"),
        "--docx",
        str(tmp_path / "q.docx"),
    )
    found = json.loads(out)
    assert code == 0 and [line for line in err.splitlines() if line.endswith(": the letter")] == [
        f"{tmp_path}/q.{kind}: the letter" for kind in ("pdf", "html", "docx")
    ]
    assert err.startswith('There is one option only, "full treatment"')
    assert set(found) >= {"object", "lines", "discovery", "total", "price", "unattended_days"} and found["object"] is None
    for line in found["lines"]:
        assert list(line)[:9] == ["phase", "technique", "part", "quantity", "unit", "p50", "p80", "p90", "works"]
        assert 0 < line["p10"] < line["p50"] < line["p80"] < line["p90"]
    assert {"technique", "chance", "hours_if_found"} <= set(found["discovery"][0]) and all(0 < one["chance"] < 1 for one in found["discovery"])
    assert not {one["technique"] for one in found["discovery"]} & {line["technique"] for line in found["lines"]}
    # what is nearly always done is said, and is nowhere else
    usual = {one["technique"]: (one["works"], one["of"], one["phase"]) for one in found["usually_done"]}
    assert usual["final report"] == (46, 46, "documentation") and "condition report" not in usual
    assert "final report" in err and ": on 46 of 46 finished works of the kind easel painting, not on this sheet" in err
    assert not usual.keys() & {one["technique"] for one in found["discovery"]}
    assert "would be ready, behind the works that come before it" in (tmp_path / "q.html").read_text() and zipfile.is_zipfile(tmp_path / "q.docx")
    total, price = found["total"], found["price"]
    assert total["p10"] < total["p50"] < total["p80"] < total["p90"] < sum(line["p90"] for line in found["lines"])
    assert (price["confidence"], price["hours"], price["currency"]) == (0.8, total["p80"], "EUR")
    assert (price["tax_included"], price["tax_per_cent"], price["net"]) == (False, 0.0, price["amount"])
    assert price["amount"] == pytest.approx(round(total["p80"], 1) * 68, abs=0.01)
    assert (tmp_path / "q.pdf").read_bytes().startswith(b"%PDF") and (tmp_path / "q.html").read_text().startswith("<!doctype html>")
    frame = pd.read_csv(tmp_path / "q.csv")
    assert (frame["chance"] == 1).sum() == 6 and frame["promised_hours"].sum() == pytest.approx(price["hours"])


def test_the_same_quote_gives_the_same_digits_and_more_confidence_costs_more(command: Callable[..., tuple[int, str, str]]) -> None:
    one, again = (json.loads(command(LINES, *A_WORK, "--json")[1]) for _ in range(2))
    assert one == again
    prices = [json.loads(command(LINES, *A_WORK, "--json", "--confidence", level)[1])["price"]["amount"] for level in ("50", "80", "90")]
    assert prices == sorted(prices) and len(set(prices)) == 3


def test_a_held_work_is_quoted_from_its_latest_estimate_or_the_quote_being_written(command: Callable[..., tuple[int, str, str]], demo_file: Path) -> None:
    code, out, _ = command(None, "--object", "26-063", "--json")
    found = json.loads(out)
    assert code == 0 and found["object"] == "26-063" and len(found["lines"]) > 10
    # it is under way: what is done stays as worked, the rest is told with her own figures
    assert all(line["p50"] == line["p90"] == line["promised_hours"] if line["done"] else line["own_hours"] for line in found["lines"])
    assert 0 < sum(line["done"] for line in found["lines"]) < len(found["lines"])
    assert command(None, "--object", "25-041")[0] == 2
    with Store(demo_file) as store:
        kept = quotes.keep(store, Quote(works=[QuotedWork(object="26-066", lines=[{"technique": "facing"}])], terms={"confidence": "90", "tax": "19"}), "v")
    found = json.loads(command(None, "--object", "26-066", "--json")[1])
    assert found["price"]["tax_included"] and found["price"]["amount"] == pytest.approx(1.19 * found["price"]["net"], abs=0.011)
    assert (
        all(line["worked_hours"] for line in found["lines"] if line["technique"] != "facing") and found["price"]["confidence"] == 0.9
    )  # what was begun goes on
    assert sum(line["technique"] == "facing" for line in found["lines"]) == 1 and not any(line["own_hours"] for line in found["lines"])
    with Store(demo_file) as store:
        quotes.throw_away(store, kept.number or 0)


def test_the_command_says_in_words_what_it_found(command: Callable[..., tuple[int, str, str]]) -> None:
    code, out, _ = command(LINES.replace(",full treatment", ","), *A_WORK)
    assert code == 0
    for words in (
        "own figure moves it",
        "it turned up on 7 of",
        "What may turn up is",
        "Together: even chance",
        "for",
        "An hour earns",
        "An hour costs the studio €47.29",
        "Like 25-",
        "took",
    ):
        assert words in out


@pytest.mark.parametrize("text, options, code, complaint", [
    ("technique,hours\nretuching,2\nfilling,1\n", [], 1, 'Line 2, technique "retuching": is not a known technique. Did you mean "retouching"?'),
    ("technique,quantity\nfilling,99999999\nretouching,\n", [], 1, 'Line 2, quantity "99999999": cannot be. Write a number of units from 0 to 1,000,000.'),
    ("technique,quantity\ncondition report,3\nretouching,\n", [], 1, "Line 2, quantity \"3\": is given, but condition report is not measured."),
    ("technique\nretouching\n", ["--kind", "easel painting"], 0, "Line 2, retouching: the size of the work is not known, so it is foretold as a usual one, with a wider range."),
    ("technique,quantity\nfilling,900\n", ["--height", "61", "--width", "76"], 0, "Line 2, filling: 900 dm² is more than the whole work (46.4 dm²)."),
    ("technique,quantity\nfilling,900\n", [], 0, "Line 2, filling: 900 is far beyond the most that was measured here"),
    ("technique,hours,colour\nfilling,2,red\n", [], 1, "lines.csv: no columns of a line, and left out: colour"),
    ("technique,hours\nretuching,2\n", [], 2, "there is no line to quote."),
    ("technique,hours,part\nretouching,1,5,frame\nfilling\nretouching,2,\n", [], 1, "lines.csv, line 2: has 4 cells"),
    ("hours\n2\n", [], 2, 'lines.csv lacks the column "technique".'),
])  # fmt: skip
def test_bad_input_is_said_in_words_and_the_rest_is_quoted(
    command: Callable[..., tuple[int, str, str]], text: str, options: list[str], code: int, complaint: str
) -> None:
    found = command(text, *options)
    assert found[0] == code and complaint in found[2]
    assert bool(found[1]) == (code < 2)


def test_without_a_rate_the_price_is_unknown_and_not_nought(demo: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "yearly_cost": ""})
    found = told(demo, of())
    one = found.works[0].options[0]
    assert one.price is None and found.amount is None and earns(one) == "" and one.nothing_from() is None
    demo.close()
    (tmp_path / "l.csv").write_text("technique\nretouching\n")
    assert main(["quote", "--db", str(demo.path), "--lines", str(tmp_path / "l.csv"), "--json", "--pdf", str(tmp_path / "l.pdf")]) == 0
    price = json.loads(capsys.readouterr().out)["price"]
    assert price["amount"] is None and price["net"] is None and price["hours"] > 0 and price["earned_per_hour"] == {"p50": None, "p80": None}


def test_with_no_history_at_all_it_says_so_and_is_wide(store: Store) -> None:
    found = told(store, of({"technique": "retouching", "hours": "4"}, {"technique": "filling"}))
    one = found.works[0].options[0]
    p10, p50, _, p90 = one.at(0.1, 0.5, 0.8, 0.9)
    assert 2 < p50 < 30 and p90 / p10 > 3 and len(one.found) == 0 and one.lines["works"].tolist() == [0, 0]
    assert quoting.similar_works(quoting.known(store.cursor(), reading.today(store.cursor())), found.works[0]) == []


def test_nothing_that_is_dated_later_has_any_part_in_a_quote(demo: Store) -> None:
    con = demo.cursor()
    then = (pd.Timestamp(reading.today(con)) - pd.Timedelta(days=400)).date()
    before = told(demo, of(), quoting.known(con, then))
    with demo.writing() as writing:
        for table, column in (("spells", "day"), ("milestones", "finished_on"), ("estimate_versions", "made_on")):
            writing.execute(f"DELETE FROM {table} WHERE {column} > ?", [then])
        writing.execute("UPDATE objects SET finished_on = NULL WHERE finished_on > ?", [then])
        writing.execute("UPDATE estimate_versions SET approved_on = NULL WHERE approved_on > ?", [then])
    after = told(demo, of(), quoting.known(demo.cursor(), then))
    assert (before.works[0].options[0].total == after.works[0].options[0].total).all()
    assert quoting.similar_works(quoting.known(con, then), before.works[0]) == quoting.similar_works(quoting.known(demo.cursor(), then), after.works[0])


def test_what_is_counted_by_area_is_filled_in_from_the_size_and_a_part_of_it_where_that_is_usual(demo: Store) -> None:
    lines = told(demo, of()).works[0].options[0].lines.set_index("technique")
    assert lines.at["lining removal dry", "quantity"] == pytest.approx(46.36) and lines.at["lining removal dry", "filled_in"] == 1
    assert 0.5 < lines.at["filling", "quantity"] < 10 and lines.at["filling", "filled_in"] < 0.3
    given = told(demo, of({"technique": "filling", "quantity": "7"})).works[0].options[0].lines
    assert given["quantity"].tolist() == [7.0] and given["filled_in"].isna().all()


def test_a_figure_of_her_own_moves_a_line_towards_it_and_a_range_counts_where_the_record_knows_little(demo: Store) -> None:
    def p50(line: dict[str, str]) -> float:
        return float(told(demo, of({"technique": "retouching", "quantity": "5"} | line)).works[0].options[0].lines["p50"].iloc[0])

    free = p50({})
    assert p50({"hours": f"{free * 2:.1f}"}) > free > p50({"hours": f"{free / 3:.1f}"})
    strange = told(
        demo,
        of(
            {"technique": "ornament casting", "low_hours": "2", "hours": "3", "high_hours": "10"},
            {"technique": "retouching", "low_hours": "2", "hours": "3", "high_hours": "4"},
        ),
    )
    lines = strange.works[0].options[0].lines.set_index("technique")
    assert lines.at["ornament casting", "by_hand"] > 0.9 and 0 < lines.at["retouching", "by_hand"] < 0.3
    assert 2 <= lines.at["ornament casting", "p50"] <= 6


def test_a_pinned_rate_is_used_and_said(demo: Store) -> None:
    before = told(demo, of({"technique": "filling", "quantity": "4"})).works[0].options[0].lines.iloc[0]
    con = demo.cursor()
    now = quoting.known(con, reading.today(con))
    assert now.pinned.by_rate == {}
    rate = float(np.exp(np.log(before["p50"] / 4)))
    with demo.writing() as writing:
        pins.pin(writing, "filling", rate * 2, reading.today(con), Change(by="principal", reason="slower filler"))
    after = told(demo, of({"technique": "filling", "quantity": "4"})).works[0].options[0].lines.iloc[0]
    assert (
        after["pinned"]
        and after["p50"] > 1.5 * before["p50"]
        and after["p50"]
        == pytest.approx(
            before["p50"] * np.exp(quoting.known(demo.cursor(), now.as_of).pinned.by_rate["filling"]), rel=2e-4
        )  # the steps in which log hours are kept
    )


def test_options_stand_side_by_side_and_lines_without_one_belong_to_all(demo: Store) -> None:
    found = told(demo, of(*SHEET, {"technique": "lining", "option": "full treatment"}, {"technique": "tear bridging", "option": "stabilise only"})).works[0]
    assert [one.name for one in found.options] == ["full treatment", "stabilise only"]
    assert [len(one.lines) for one in found.options] == [6, 6]
    assert found.options[0].at(0.5)[0] > found.options[1].at(0.5)[0]
    may = [set(one.found.loc[~one.found["another"], "technique"]) for one in found.options]
    assert may[0].isdisjoint(found.options[0].lines["technique"]) and may[1].isdisjoint(found.options[1].lines["technique"])


def test_works_of_a_commission_have_a_price_each_share_travel_and_do_not_all_run_over_at_once(demo: Store) -> None:
    quote = Quote(
        works=[QuotedWork(described=CANVAS, lines=SHEET), QuotedWork(object="25-041", lines=SHEET)],
        terms={"travel_hours": "3", "travel_cost": "40.50", "tax": "10"},
    )
    found = told(demo, quote)
    first, second = (work.options[0] for work in found.works)
    assert first.price is not None and second.price is not None
    assert found.amount == first.price.amount + second.price.amount + round((3 * 68 + quoting.decimal_of("40.50")) * quoting.decimal_of("1.1"), 2)
    four = float(np.quantile(found.total, 0.8))
    assert four < first.at(0.8)[0] + second.at(0.8)[0] + 3
    even = float(np.median(found.total))
    assert even == pytest.approx(first.at(0.5)[0] + second.at(0.5)[0] + 3, rel=0.06)
    # what is not known of rates bears on both, so they are not as if apart
    together = found.together
    assert together is not None
    one, other = (together.hours[together.work == number].sum(axis=0) for number in (0, 1))
    assert np.corrcoef(one, other)[0, 1] > 0.01


def test_a_first_stage_is_priced_alone_and_the_rest_is_no_promise(demo: Store) -> None:
    everything, first = told(demo, of()).works[0].options[0], told(demo, of(first_stage="yes")).works[0].options[0]
    assert first.price is not None and everything.price is not None and first.price.hours < everything.price.hours
    assert first.lines.loc[first.lines["promised"] > 0, "phase"].unique().tolist() == ["documentation"] and first.found["promised"].sum() == 0
    assert (first.total == everything.total).all() and first.promised == pytest.approx(np.quantile(first.first_stage, 0.8))  # type: ignore[arg-type]


def test_the_promise_is_made_of_its_lines_and_what_may_turn_up_to_the_digit(demo: Store) -> None:
    one = told(demo, of()).works[0].options[0]
    assert one.lines["promised"].sum() + one.found["promised"].sum() == pytest.approx(one.promised)
    even, four = one.at(0.5, 0.8)
    assert one.lines["spread"].sum() + one.found["spread"].sum() == pytest.approx(four - even)
    assert drivers(one)["spread"].is_monotonic_decreasing and drivers(one)["line"].iloc[0] == "retouching"
    assert 0 < one.allowance < 0.2 * one.promised
    assert one.price is not None and one.price.hours == quoting.decimal_of(f"{one.promised:.1f}")


def test_who_does_a_line_is_charged_at_her_own_rate(demo: Store) -> None:
    cheap, dear = (told(demo, of({"technique": "retouching", "quantity": "5", "person": name})).works[0].options[0].price for name in ("Bram", "Ilse"))
    assert cheap is not None and dear is not None and cheap.parts[0].rate == 45 and dear.parts[0].rate == 68


def test_what_is_said_not_to_turn_up_is_in_no_total_and_keeps_its_reason(demo: Store) -> None:
    quote = of()
    before = told(demo, quote).works[0].options[0]
    technique = before.found["technique"].iloc[0]
    quote.works[0].left_out[technique] = "it was seen, and is whole"
    after = told(demo, quote).works[0].options[0]
    assert technique not in after.found["technique"].tolist() and after.left_out[["technique", "reason"]].to_numpy().tolist() == [
        [technique, "it was seen, and is whole"]
    ]
    assert after.total.mean() < before.total.mean()


def test_terms_that_cannot_be_read_are_said_and_the_studio_s_stand(demo: Store) -> None:
    found = told(demo, of(rate="much", ceiling="-3", currency="XQX", payments="a 70; b 60", begin_on="soon", tax="900"))
    assert [fault.split(" ")[0] for fault in found.commercial.faults] == ["Currency", "Payments", "Begin", "Rate", "Ceiling", "Tax"]
    assert found.commercial.currency == "EUR"
    yen = told(demo, of(currency="JPY")).works[0].options[0]
    assert yen.price is None  # the studio's rate is in another currency
    yen = told(demo, of(currency="JPY", rate="9875")).works[0].options[0]
    assert yen.price is not None and yen.price.amount == yen.price.amount.to_integral_value()


def test_similar_works_say_why_and_give_their_quoted_lines_brought_to_this_size(demo: Store) -> None:
    con = demo.cursor()
    now = quoting.known(con, reading.today(con))
    found = told(demo, of()).works[0]
    likes = quoting.similar_works(now, found)
    assert 1 <= len(likes) <= 5 and all("easel painting too" in one.why for one in likes) and likes[0].share >= likes[-1].share
    of_it = now.lines[now.lines["object"] == likes[0].object]
    assert f"estimated {of_it['first_approved_hours'].sum():,.1f} h, took {of_it['actual_hours'].sum():,.1f} h" in surprising(now.lines, likes)[likes[0].object]
    lines = quoting.lines_like(now, likes[0].object, found.area, con)
    quoted = now.lines[(now.lines["object"] == likes[0].object) & now.lines["estimated_hours"].notna() & (now.lines["actual_hours"] > 0)]
    assert [line["technique"] for line in lines] == quoted["technique"].tolist() and all("hours" not in line for line in lines)
    nothing = told(demo, of(described={"kind": "stuffed bird", "support": "feathers"})).works[0]
    assert quoting.similar_works(now, nothing) == []


def test_waiting_is_told_in_days_as_it_was_or_as_it_is_planned(demo: Store) -> None:
    planned = told(demo, of({"technique": "pressing", "unattended_hours": "240"})).works[0].options[0]
    assert np.median(planned.days) == pytest.approx(10, rel=0.1)
    waits = reading.overruns(demo.cursor(), reading.today(demo.cursor()))
    waited = waits[(waits["unattended_hours"] > 0) & waits["finished"].astype(bool)]["technique"].mode().iloc[0]
    assert np.median(told(demo, of({"technique": waited})).works[0].options[0].days) > 0
    assert told(demo, of({"technique": "condition report"})).works[0].options[0].days.max() == 0
    assert planned.weeks(0.8) > planned.weeks(0.5) > 10 / 7


def test_a_line_added_moves_the_total_by_itself_and_not_by_luck(demo: Store) -> None:
    before = told(demo, of({"technique": "retouching", "quantity": "5"})).works[0].options[0]
    after = told(demo, of({"technique": "retouching", "quantity": "5"}, {"technique": "unframing"})).works[0].options[0]
    moved = after.at(0.8)[0] - before.at(0.8)[0]
    assert 0 < moved < 1.5
    assert effect(before.at(0.8)[0], after.at(0.8)[0]).startswith("The last change moved it, 4 in 5, by +")
    assert effect(3.0, 3.01) == ""


def test_forty_lines_are_quoted_with_twenty_thousand_draws(demo: Store) -> None:
    """How long that takes is printed by `tests/benchmarks/quotes.py`."""
    techniques = [
        row[0] for row in demo.cursor().execute("SELECT technique FROM techniques WHERE phase <> 'studio time' ORDER BY technique LIMIT 40").fetchall()
    ]
    one = told(demo, of(*({"technique": name} for name in techniques))).works[0].options[0]
    assert len(one.lines) == 40 and len(one.total) >= 20_000


def test_of_which_works_something_holds_is_said_in_words() -> None:
    assert things_in_words(()) == "finished works"
    assert (
        things_in_words((("technique", "lining removal dry"), ("structure", "marked")))
        == "finished works with lining removal dry and whose structure is marked or severe"
    )
    assert things_in_words((("without", "facing"),)) == "finished works without facing"


def test_every_line_and_what_may_turn_up_stand_in_the_csv(demo: Store) -> None:
    one = told(demo, of()).works[0]
    frame = as_frame(one.options)
    assert len(frame) == len(one.options[0].lines) + len(one.options[0].found) and not frame["p50"].isna().any()


def test_a_range_without_width_or_with_nought_is_a_range_all_the_same(demo: Store) -> None:
    for low, hours, high in (("2", "", "2"), ("5", "5", "5"), ("0", "0", "5"), ("0", "", "3")):
        line = {name: text for name, text in (("technique", "ornament casting"), ("low_hours", low), ("hours", hours), ("high_hours", high)) if text}
        found = told(demo, of(line)).works[0].options[0]
        assert found.price is not None and float(low) * 0.9 <= found.lines["p50"].iloc[0] <= float(high) * 1.1


def test_figures_that_say_nothing_are_said_to(demo: Store) -> None:
    notes = (
        told(demo, of({"technique": "keying out", "quantity": "0"}, {"technique": "facing", "hours": "0"}, {"technique": "filling", "high_hours": "30"}))
        .works[0]
        .doubts
    )
    assert [note.split(":")[0] for note in notes] == ["Line 2, facing", "Line 1, keying out", "Line 3, filling"]
    assert "quantity of 0" in notes[1] and "own hours of 0" in notes[0] and "low and high" in notes[2]


def test_travel_of_one_work_is_one_of_its_costs_and_payments_sum_to_what_is_approved(demo: Store) -> None:
    found = told(demo, of(travel_hours="4", travel_cost="50"))
    price = found.works[0].options[0].price
    assert price is not None and price.costs == 4 * 68 + 50 and found.amount == price.amount


def test_a_ceiling_below_the_minimum_charge_holds_and_that_is_said(demo: Store) -> None:
    found = told(demo, of(minimum="2000", ceiling="1000"))
    price = found.works[0].options[0].price
    assert price is not None and (price.net, price.limited) == (1000, "ceiling") and "the ceiling holds" in found.commercial.faults[0]
    nothing = of(ceiling="500")
    nothing.works[0].costs = [{"what": "X-ray", "amount": "900"}]
    one = told(demo, nothing).works[0].options[0]
    assert earns(one) == "The ceiling does not even pay the outside costs and materials: not an hour is paid." and one.nothing_from() is None


def test_a_first_stage_leaves_out_what_comes_after_treatment_and_costs_that_are_not_its_own(demo: Store) -> None:
    quote = of({"technique": "condition report"}, {"technique": "final report"}, {"technique": "retouching"}, first_stage="yes")
    quote.works[0].costs = [{"what": "framer", "amount": "300"}, {"what": "X-ray", "amount": "90", "first_stage": "yes"}]
    one = told(demo, quote).works[0].options[0]
    assert one.lines.loc[one.lines["in_price"], "technique"].tolist() == ["condition report"] and one.price is not None and one.price.costs == 90
    assert (one.dots() <= one.promised).sum() == 16 and one.weeks(0.8) < 1
    none = told(demo, of({"technique": "retouching"}, first_stage="yes")).works[0]
    assert none.options[0].price is None and "no line of it is on the sheet" in none.faults[0]


def test_an_earlier_day_knows_no_later_estimate(command: Callable[..., tuple[int, str, str]]) -> None:
    code, out, err = command(None, "--object", "25-041", "--as-of", "2020-01-01")
    assert (code, out) == (2, "") and "25-041 has no lines on 1 January 2020" in err


def test_what_was_never_done_on_a_kind_of_work_does_not_turn_up_on_it(demo: Store) -> None:
    frame = (
        told(demo, of({"technique": "frame cleaning"}, described={"kind": "frame", "support": "gilded wood", "height_cm": "60", "width_cm": "50"}))
        .works[0]
        .options[0]
    )
    assert "overpaint removal" not in frame.found["technique"].tolist() and frame.allowance < 0.1 * frame.promised
    canvas = told(demo, of()).works[0].options[0]
    likeliest = canvas.found.iloc[0]
    assert likeliest["technique"] == "overpaint removal" and likeliest["of"] < 49  # of easel paintings alone


def test_what_has_turned_up_on_a_work_already_is_no_surprise_any_more(demo: Store) -> None:
    lines = reading.overruns(demo.cursor(), reading.today(demo.cursor()))
    opened = lines[~lines["finished"].astype(bool) & (lines["unforeseen_hours"] > 0)].iloc[0]
    found = told(demo, Quote(works=[QuotedWork(object=opened["object"], lines=SHEET)])).works[0].options[0].found
    assert opened["technique"] not in found["technique"].tolist()


def test_options_stand_in_the_order_of_the_sheet(demo: Store) -> None:
    found = told(
        demo, of({"technique": "retouching", "option": "stabilise only", "hours": "5"}, {"technique": "facing", "option": "full treatment", "hours": "20"})
    ).works[0]
    assert [one.name for one in found.options] == ["stabilise only", "full treatment"]
    views = [one.outside for one in found.options]
    assert views[0] is not None and views[1] is not None and views[1].hours[0] == pytest.approx(4 * views[0].hours[0])


def test_an_unread_currency_waits_with_the_price_and_odd_terms_break_nothing(demo: Store) -> None:
    found = told(demo, of(currency="ZZZ", confidence="abc"))
    assert found.amount is None and found.commercial.confidence == 80 and "Until then there is no price" in found.commercial.faults[0]
    assert quotes.of_said({"works": [], "terms": None}).works[0].lines == []


def test_one_thing_alike_makes_no_similar_work(demo: Store) -> None:
    now = quoting.known(demo.cursor(), reading.today(demo.cursor()))
    assert quoting.similar_works(now, told(demo, of(described={"kind": "easel painting"}), now).works[0]) != []  # with its techniques
    alone = told(demo, Quote(works=[QuotedWork(described={"kind": "easel painting"})]), now).works[0]
    assert quoting.similar_works(now, alone) == []


def test_words_and_people_that_nobody_knows_are_asked_about(demo: Store) -> None:
    found = told(demo, of({"technique": "retouching", "person": "Nobody"}, described=CANVAS | {"kind": "easel paintings", "support": "canvass"})).works[0]
    assert [doubt.partition(":")[0] for doubt in found.doubts] == ['Kind "easel paintings"', 'Support "canvass"', "Line 1, retouching"]
    assert 'Did you mean "canvas"?' in found.doubts[1] and "Nobody is nobody of this studio" in found.doubts[2]


def test_a_line_that_cannot_be_read_is_counted_as_left_out(demo: Store, command: Callable[..., tuple[int, str, str]]) -> None:
    assert told(demo, of({"technique": "retuching"}, {"technique": "retouching"}, {})).works[0].read.left_aside == 1
    assert "1 line cannot be read: not in these hours, not in the price, and not in the letter." in command("technique\nretuching\nretouching\n")[2]


def test_figures_for_other_lines_that_move_a_line_are_said(demo: Store) -> None:
    one = told(demo, of({"technique": "condition report", "hours": "9"}, {"technique": "retouching", "quantity": "5"})).works[0].options[0]
    said = {row["technique"]: came_from(row) for row in one.lines.to_dict("records")}
    assert "own figure moves it +" in said["condition report"] and "figures for other lines move it +" in said["retouching"]


def test_a_first_stage_is_one_whatever_is_chosen_then_and_its_payments_are_its_own(demo: Store) -> None:
    found = told(demo, of({"technique": "condition report"}, {"technique": "lining", "option": "A"}, {"technique": "facing", "option": "B"}, first_stage="yes"))
    assert len(found.works[0].options) == 1 and found.commercial.payments == ()


def test_quantities_alone_are_estimates_too(store: Store, studio: Bring) -> None:
    studio("estimates.csv", """object,version,made_on,phase,technique,quantity,hours
24-001,1,2024-01-05,,facing,,2
24-001,1,2024-01-05,,retouching,10,
24-002,1,2024-01-05,,facing,,2
24-002,2,2024-01-09,,facing,,2
24-002,2,2024-01-09,,retouching,,30
""")  # fmt: skip
    studio("time_entries.csv", """object,phase,technique,person,date,hours
24-001,,facing,Ilse,2024-01-10,2
24-001,,retouching,Ilse,2024-01-11,12
24-002,,facing,Ilse,2024-01-10,2
24-002,,retouching,Ilse,2024-01-11,12
""")  # fmt: skip
    studio("objects.csv", "object,title,finished_on\n24-001,,2024-03-01\n24-002,,2024-03-01\n")
    now = quoting.known(store.cursor(), LATER)
    assert [line["technique"] for line in quoting.lines_like(now, "24-001", 0.0, store.cursor())] == ["facing", "retouching"]
    assert uplift.of_works(now.lines).tolist() == [14 / 32]  # of the other its first estimate has no hours to hold it against
    likes = [Like(object="24-001", share=1.0, compared=3.0, why=())]
    assert surprising(now.lines, likes)["24-001"] == "; estimated 2.0 h and 1 line by quantity, took 14.0 h; nothing surprised"
    # a revision made before anything was done is what the work began with
    assert not now.discoveries.past.turned_up.any()


def test_what_is_left_out_stays_out_when_its_technique_is_renamed(demo: Store) -> None:
    quote = of()
    quote.works[0].left_out["overpaint removal"] = "it was seen"
    with demo.writing() as con:
        vocabulary.rename(con, "technique", "overpaint removal", "removal of old overpaint", CHANGE)
    one = told(demo, quote).works[0].options[0]
    assert one.left_out["technique"].tolist() == ["removal of old overpaint"] and "removal of old overpaint" not in one.found["technique"].tolist()


def test_examination_of_any_option_is_in_the_first_stage(demo: Store) -> None:
    found = told(
        demo,
        of(
            {"technique": "retouching", "option": "A"},
            {"technique": "condition report", "option": "B"},
            {"technique": "lining", "option": "B"},
            first_stage="yes",
        ),
    ).works[0]
    one = found.options[0]
    assert one.price is not None and one.lines.loc[one.lines["in_price"], "technique"].tolist() == ["condition report"] and found.faults == ()


def test_whoever_has_a_rate_of_her_own_needs_no_other(demo: Store) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "hourly_rates": "Ilse 70", "minimum_charge": ""})
    found = told(demo, of({"technique": "condition report", "person": "Ilse"}, first_stage="yes")).works[0].options[0]
    assert found.price is not None and found.price.net == 70 * found.price.hours


def test_what_is_nearly_always_done_can_be_said_not_to_be_and_lacks_in_the_option_that_lacks_it(demo: Store) -> None:
    quote = of({"technique": "retouching"}, {"technique": "final report", "option": "A"}, {"technique": "facing", "option": "B"})
    quote.works[0].left_out = {"packing": "it stays in its crate"}
    a, b = told(demo, quote).works[0].options
    assert (
        "packing" not in {one.technique for one in (*a.usual, *b.usual)}
        and dict(zip(a.left_out["technique"], a.left_out["reason"], strict=True)) == quote.works[0].left_out
    )
    assert {one.technique for one in b.usual} - {one.technique for one in a.usual} == {"final report"}
    both, apart = missing(told(demo, quote).works[0])
    assert "Final report" not in both and apart.startswith("Option B: final report: on 46 of 46 finished works")


def test_what_a_work_under_way_lacks_is_said_alike_on_the_bench_and_in_its_revision_and_is_in_no_figure_of_either(demo: Store) -> None:
    con, code = demo.cursor(), "26-062"
    with demo.writing() as writing:
        writing.execute("DELETE FROM estimated_lines WHERE line IN (SELECT line FROM lines WHERE object = ? AND technique = 'final report')", [code])
    today = reading.today(con)
    bench = forecasting.bench(con, today, Memory(), only=code)
    quote = promising.goes_on(con, code, today)
    now = quoting.known(con, today, without_open=quoting.on_the_bench(reading.overruns(con, today), quote))
    one = told(demo, quote, now).works[0].options[0]
    assert [usual.technique for usual in one.usual] == ["final report"] and bench.usual == {code: one.usual}
    (row,) = bench.works.to_dict("records")
    assert one.at(0.1, 0.5, 0.8, 0.9) == pytest.approx([row[level] for level in ("p10", "p50", "p80", "p90")], rel=1e-9)
    assert "final report" not in {*one.found["technique"], *(still.found.technique for still in bench.found[code])}
