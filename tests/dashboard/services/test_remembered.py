"""Works told from memory are marked wherever they count, and are in nothing that was promised or logged.

Of three finished works with varnish removal two are from memory.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from dashboard import queries
from dashboard.analysis.models.rate_table import FIGURES
from dashboard.analysis.report import reference_class
from dashboard.analysis.report.overruns import compare
from dashboard.cli.main import main
from dashboard.services import prices
from dashboard.services import promises as promises_service
from dashboard.services import rates as rates_service
from dashboard.services import year as year_service
from dashboard.text import remembered as remembered_text
from dashboard.text import year as year_text
from dashboard.text.html_blocks import hours_of
from dashboard.text.overruns import remarks
from dashboard.text.quote import outside
from dashboard.ui.bench import forecast_history
from ingest.editing import remembered_works
from ingest.editing.remembered_sheet import Sheet
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings
from tests.conftest import CHANGE, LATER, Bring
from tests.drawn import cells_of, checked, choose_option, draw, headings, words_of
from tests.prepared import new_store

GEL = "varnish removal with solvent gel"
OBJECTS = """object,title,finished_on,remembered
24-001,,2024-04-10,
M23-001,Mill,2023-06-30,yes
M23-002,Weir,2023-09-30,yes
"""
ESTIMATES = """object,version,made_on,approved_on,price,currency,technique,hours
24-001,1,2024-01-10,2024-01-12,900,EUR,varnish removal with solvent gel,10
M23-001,1,2023-01-01,2023-01-01,800,EUR,varnish removal with solvent gel,9
"""
LOG = """object,technique,person,date,hours,total
24-001,varnish removal with solvent gel,Ilse,2024-04-08,12,
M23-001,varnish removal with solvent gel,Ilse,2023-06,20,
M23-002,varnish removal with solvent gel,Ilse,2023-09,30,
"""


@pytest.fixture
def told(studio: Bring, store: Store) -> Store:
    for name, text in (("objects.csv", OBJECTS), ("estimates.csv", ESTIMATES), ("log.csv", LOG)):
        assert studio(name, text).complete
    return store


def test_a_rate_says_how_many_of_its_works_were_told_from_memory(told: Store) -> None:
    con = told.cursor()
    calibrated = rates_service.calibrated(con, LATER)
    rates = rates_service.rate_table(con, LATER, calibrated).set_index("technique")
    row = rates.loc["varnish removal with solvent gel"]
    assert (row["works"], row["remembered"]) == (3, 2)
    assert rates["remembered"].sum() == 2
    assert set(rates_service.whole_rates(con, LATER, calibrated)["remembered"]) <= {0, 1, 2}


def test_promises_and_what_became_of_versions_are_without_works_from_memory(told: Store) -> None:
    scored = promises_service.scored(told.cursor(), LATER)
    assert scored.works["object"].tolist() == ["24-001"]
    assert set(scored.lines["object"]) == {"24-001"} and set(scored.versions["object"]) == {"24-001"}
    assert (scored.unpromised, scored.remembered) == (0, 2)
    assert remembered_text.left_out(2) == (
        "2 works told from memory are left out: what is told once it is over was no promise."
    )


def test_the_year_says_hours_from_memory_apart(told: Store) -> None:
    year = year_service.of_year(told.cursor(), LATER, 2023)
    assert year.months.empty and year.works.empty
    assert year_text.remembered(year) == (
        "50.0 h on 2 works told from memory are dated in this year, and in none of these figures."
    )
    assert year.logged_since == date(2024, 4, 8)  # what is told is no log
    logged = year_service.of_year(told.cursor(), LATER, 2024)
    assert logged.hours("chargeable") == pytest.approx(12) and year_text.remembered(logged) == ""


def test_a_price_alone_teaches_what_an_hour_earned_and_no_hours_quoted(store: Store) -> None:
    works = [
        {"title": f"Mill {number}", "when": f"20{number}", "taken": f"{number}"} for number in range(10, 20)
    ]

    def learnt(price: str) -> np.ndarray:
        with new_store() as other:
            with other.writing() as con:
                write_settings(con, {"prices_include_tax": "yes", "tax_per_cent": "19"})
            told = [row | {"price": price} for row in works]
            sheet = Sheet(works=told, person="Ilse")
            assert len(remembered_works.save(other, sheet, CHANGE, "")[0]) == len(works)
            con = other.cursor()
            rates = rates_service.whole_rates(con, LATER, rates_service.calibrated(con, LATER))
            told_works = queries.remembered_works(con)
            an_hour = prices.earned(told_works, read_settings(con))
            if price:
                net = 1190 / 1.19
                assert remarks(compare(queries.overruns(con, LATER))) == [
                    "Left out: 10 lines estimated without hours, in quantity or by the price alone."
                ]
                version = queries.versions(con, told_works["object"][0]).to_dict("records")[0]
                assert hours_of(version) == "– and 1 line without hours"
                assert an_hour.tolist() == pytest.approx((net / told_works["hours"]).tolist())
                assert remembered_text.earned(told_works, an_hour, read_settings(con)) == (
                    "An hour of them earned €68.97 without tax, over 10 works with a price."
                )
            else:
                assert an_hour.isna().all()
                assert remembered_text.earned(told_works, an_hour, read_settings(con)) == ""
            assert prices.sold_for(queries.approved_promises(con, LATER), read_settings(con)) == []
            return rates[list(FIGURES)].to_numpy(dtype=float)

    np.testing.assert_array_equal(learnt("1190"), learnt(""))


@pytest.mark.parametrize(
    ("works", "remembered", "word", "words"),
    [
        (14, 9, "", "14, 9 from memory"),
        (14, 0, "", "14"),
        (1, 1, "finished work", "1 finished work, 1 from memory"),
        (2, 0, "work", "2 works"),
    ],
)
def test_one_wording_marks_them_everywhere(works: int, remembered: int, word: str, words: str) -> None:
    assert remembered_text.works_behind(works, remembered, word) == words


def test_where_the_hours_went_counts_them_says_so_and_can_leave_them_out(
    told: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, told, "where_the_hours_went")
    assert "Of these 3 works 2 are from memory." in words_of(page)
    assert "Finished lines of 2 works, 1 from memory." in words_of(page)  # the third has no estimate
    choose_option(page, "Works from memory", "left out")
    assert "from memory" not in words_of(page)


def test_a_studio_with_nothing_from_memory_has_no_choice_and_no_word_of_it(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio("log.csv", "object,technique,person,date,hours\n24-001,retouching,Ilse,2024-04-08,3\n")
    page = draw(monkeypatch, store, "where_the_hours_went")
    assert "memory" not in words_of(page)
    assert not any("memory" in choice.label for choice in page.selectbox)


def test_the_page_of_a_work_says_that_it_is_from_memory_and_draws_no_calendar_of_totals(
    told: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = draw(monkeypatch, told, "one_work", object="M23-001")
    assert remembered_text.OF_ONE_WORK in words_of(page)
    assert "a total, dated to the month" in words_of(page) and "Its calendar" not in headings(page)
    logged = draw(monkeypatch, told, "one_work", object="24-001")
    assert "memory" not in words_of(logged) and "Its calendar" in headings(logged)


def test_our_rates_and_promised_and_kept_mark_them_on_their_pages(
    told: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "on 3 works, 2 from memory" in words_of(draw(monkeypatch, told, "our_rates"))
    assert "2 works told from memory are left out" in words_of(draw(monkeypatch, told, "promised_and_kept"))
    assert "none of these figures" in words_of(draw(monkeypatch, told, "the_year", year="2023"))


def test_the_commands_and_a_letter_mark_them(
    told: Store, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("BENCH_HOURS_DB", str(told.path))
    monkeypatch.chdir(tmp_path)
    with told.writing() as con:
        write_settings(con, {"hourly_rate": "60"})
    told.close()
    assert main(["rates"]) == 0
    assert "3, 2 from memory" in capsys.readouterr().out
    assert main(["rates", "--json"]) == 0
    rows = {row["technique"]: row for row in json.loads(capsys.readouterr().out)}
    assert list(rows["retouching"])[3:5] == ["works", "remembered"]
    assert rows["varnish removal with solvent gel"]["remembered"] == 2
    assert main(["backtest"]) == 0
    assert "2 works told from memory are left out" in capsys.readouterr().out
    Path("lines.csv").write_text("technique,hours\nvarnish removal with solvent gel,12\n")
    assert main(["quote", "--lines", "lines.csv"]) == 0
    printed = capsys.readouterr().out
    assert "on 3 finished works, 2 from memory" in printed and "3, 2 from memory" in printed
    assert main(["quote", "--lines", "lines.csv", "--json", "--form", "full", "--html", "letter.html"]) == 0
    (line,) = json.loads(capsys.readouterr().out)["lines"]
    assert (line["works"], line["remembered"]) == (3, 2)
    assert (
        "from our own record of 3 finished works, 2 from memory, we expect" in Path("letter.html").read_text()
    )


def test_forecasts_and_quotes_say_on_how_many_works_they_rest_and_how_many_are_from_memory(
    told: Store,
    studio: Bring,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    """Of five finished lines one is on a work that goes on, so they are on four works, and three are
    finished; two of them are from memory.
    """
    studio("more.csv", "object,title\n24-003,Sluice\n")
    head = "object,version,made_on,approved_on,technique,hours\n"
    lines = [f"24-003,1,2024-03-10,2024-03-12,{name},5\n" for name in (GEL, "retouching", "facing")]
    studio("on-the-bench.csv", head + "".join(lines))
    spent = f"24-003,{GEL},Ilse,2024-05-02,5\n24-001,facing,Ilse,2024-04-09,2\n"
    studio("entries.csv", f"object,technique,person,date,hours\n{spent}")
    studio("milestones.csv", f"object,phase,technique,finished_on\n24-003,,{GEL},2024-05-03\n")
    rest = "5 finished lines on 4 works, 2 from memory"
    monkeypatch.setattr(forecast_history, "AT_ONCE_S", 60.0)  # the page as it is once all is told
    bench = draw(monkeypatch, told, "on_the_bench")
    assert f"Told from {rest}." in words_of(bench)
    work = draw(monkeypatch, told, "on_the_bench", object="24-003")
    assert cells_of(work, "Lines of this work, and where they end", GEL)[-1] == "4, 2 from memory"
    monkeypatch.setenv("BENCH_HOURS_DB", str(told.path))
    monkeypatch.chdir(tmp_path)
    told.close()
    assert main(["forecast", "--json"]) == 0
    ((forecast,),) = [[row for row in json.loads(capsys.readouterr().out) if row["object"] == "24-003"]]
    of_lines = {row["technique"]: (row["works"], row["remembered"]) for row in forecast["lines"]}
    assert of_lines == {GEL: (4, 2), "retouching": (0, 0), "facing": (1, 0)}
    Path("lines.csv").write_text(f"technique,hours\n{GEL},12\n")
    assert main(["quote", "--lines", "lines.csv"]) == 0
    assert f"hours from {rest}, 3 of them finished" in capsys.readouterr().out
    assert main(["quote", "--lines", "lines.csv", "--json"]) == 0
    quote = json.loads(capsys.readouterr().out)
    counts = {name: quote[name] for name in ("finished_lines", "works", "remembered", "finished_works")}
    assert counts == {"finished_lines": 5, "works": 4, "remembered": 2, "finished_works": 3}
    assert main(["overruns"]) == 0
    # one of those from memory has no estimate, and is held against nothing
    assert "finished lines of 3 works, 1 from memory" in capsys.readouterr().out


def test_what_a_saved_quote_stood_on_says_how_many_works_are_from_memory(
    told: Store, studio: Bring, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    studio("sheet.csv", f"object,version,made_on,technique,hours\n24-002,1,2024-05-10,{GEL},8\n")
    told.close()
    assert (
        main(["quote", "--object", "24-002", "--save", "--reason", "seen again", "--db", str(told.path)]) == 0
    ), capsys.readouterr()
    with Store(told.path) as store:
        page = draw(monkeypatch, store, "estimate", object="24-002")
        page.session_state["lines of 24-002"] = True  # unfolded
        said = words_of(checked(page.run()))
        assert "3 finished lines and 3 finished works, 2 from memory." in said
        rate = words_of(draw(monkeypatch, store, "our_rates", technique=GEL))
    assert "3 works, 2 from memory" in rate.partition("at the rate")[2]  # among the quotes that used it


def test_the_view_from_outside_says_how_many_of_its_works_are_from_memory(told: Store) -> None:
    lines = queries.overruns(told.cursor(), LATER)
    view = reference_class.beside(lines, 10.0, queries.remembered(told.cursor()))
    assert (view.works, view.remembered) == (2, 1)  # the third had no estimate
    assert outside(10.0, view).startswith(
        "Seen from outside: 2 finished works, 1 from memory, ended beside their own first estimates so"
    )


def test_works_from_the_sheet_count_as_remembered(store: Store) -> None:
    remembered_works.save(
        store, Sheet(works=[{"title": "Weir", "taken": "12"}], person="Ilse", when="2025"), CHANGE, ""
    )
    assert queries.remembered(store.cursor()) == {"M25-01"}
    row = rates_service.whole_rates(
        store.cursor(), LATER, rates_service.calibrated(store.cursor(), LATER)
    ).iloc[-1]
    assert (row["phase"], row["works"], row["remembered"]) == ("", 1, 1)


def test_past_promises_are_tried_again_without_works_from_memory(told: Store) -> None:
    assert set(rates_service.retried(told.cursor(), LATER).lines["object"]) == {"24-001"}
    record = queries.record(told.cursor(), LATER)
    before = rates_service.number_of(LATER)
    assert record.compared.foreseen(before).objects.tolist() == ["24-001"]
    taught = record.teaching.as_of(before)
    weight = dict(zip(taught.object.tolist(), taught.weight.tolist(), strict=True))
    assert weight["24-001"] == 1.0 and weight["M23-001"] == pytest.approx(0.69, abs=0.01)
