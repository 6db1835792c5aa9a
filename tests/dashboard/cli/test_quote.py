"""`bench-hours quote`: its keys, its words, its exit codes and its files."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from dashboard.cli.main import main
from ingest.editing import quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from tests import computed
from tests.dashboard import quoting
from tests.dashboard.quoting import A_WORK, LINES, of, quoted_of


@pytest.fixture
def command(
    demo_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    """`quote` with lines as a file; its exit, and what it said on both streams."""

    def run(text: str | None, *options: str) -> tuple[int, str, str]:
        lines = tmp_path / "lines.csv"
        if text is not None:
            lines.write_text(text)
        code = main(
            [
                "quote",
                "--db",
                str(demo_file),
                *(["--lines", str(lines)] if text is not None else []),
                *options,
            ]
        )
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def test_a_described_work_is_quoted_by_command_with_every_key_others_depend_on(
    command: Callable[..., tuple[int, str, str]], tmp_path: Path
) -> None:
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
    assert (
        set(found) >= {"object", "lines", "discovery", "total", "price", "unattended_days"}
        and found["object"] is None
    )
    for line in found["lines"]:
        assert list(line)[:9] == [
            "phase",
            "technique",
            "part",
            "quantity",
            "unit",
            "p50",
            "p80",
            "p90",
            "works",
        ]
        assert 0 < line["p10"] < line["p50"] < line["p80"] < line["p90"]
    assert {"technique", "chance", "hours_if_found"} <= set(found["discovery"][0]) and all(
        0 < item["chance"] < 1 for item in found["discovery"]
    )
    assert not {item["technique"] for item in found["discovery"]} & {
        line["technique"] for line in found["lines"]
    }
    # what is nearly always done is said, and is nowhere else
    usual = {item["technique"]: (item["works"], item["of"], item["phase"]) for item in found["usually_done"]}
    assert usual["final report"] == (46, 46, "documentation") and "condition report" not in usual
    assert (
        "final report" in err
        and ": on 46 of 46 finished works of the kind easel painting, not on this sheet" in err
    )
    assert not usual.keys() & {item["technique"] for item in found["discovery"]}
    assert "would be ready, behind the works that come before it" in (
        tmp_path / "q.html"
    ).read_text() and zipfile.is_zipfile(tmp_path / "q.docx")
    total, price = found["total"], found["price"]
    assert (
        total["p10"]
        < total["p50"]
        < total["p80"]
        < total["p90"]
        < sum(line["p90"] for line in found["lines"])
    )
    assert (price["confidence"], price["hours"], price["currency"]) == (0.8, total["p80"], "EUR")
    assert (price["tax_included"], price["tax_per_cent"], price["net"]) == (False, 0.0, price["amount"])
    assert price["amount"] == pytest.approx(round(total["p80"], 1) * 68, abs=0.01)
    assert (tmp_path / "q.pdf").read_bytes().startswith(b"%PDF") and (
        tmp_path / "q.html"
    ).read_text().startswith("<!doctype html>")
    frame = pd.read_csv(tmp_path / "q.csv")
    assert (frame["chance"] == 1).sum() == 6 and frame["promised_hours"].sum() == pytest.approx(
        price["hours"]
    )


def test_the_same_quote_gives_the_same_digits_and_more_confidence_costs_more(
    command: Callable[..., tuple[int, str, str]],
) -> None:
    first = json.loads(command(LINES, *A_WORK, "--json")[1])
    computed.forget()
    quoting.forget()
    assert first == json.loads(command(LINES, *A_WORK, "--json")[1])
    assert first["price"]["confidence"] == 0.8
    even, surer = (
        json.loads(command(LINES, *A_WORK, "--json", "--confidence", level)[1])["price"]["amount"]
        for level in ("50", "90")
    )
    prices = [even, first["price"]["amount"], surer]
    assert prices == sorted(prices) and len(set(prices)) == 3


def test_a_held_work_is_quoted_from_its_latest_estimate_or_the_quote_being_written(
    command: Callable[..., tuple[int, str, str]], demo_file: Path
) -> None:
    code, out, _ = command(None, "--object", "26-063", "--json")
    found = json.loads(out)
    assert code == 0 and found["object"] == "26-063" and len(found["lines"]) > 10
    # it is under way: what is done stays as worked, the rest is told with her own figures
    assert all(
        line["p50"] == line["p90"] == line["promised_hours"] if line["done"] else line["own_hours"]
        for line in found["lines"]
    )
    assert 0 < sum(line["done"] for line in found["lines"]) < len(found["lines"])
    assert command(None, "--object", "25-041")[0] == 2
    with Store(demo_file) as store:
        kept = quote_drafts.keep(
            store,
            Quote(
                works=[QuotedWork(object="26-066", lines=[{"technique": "facing"}])],
                terms={"confidence": "90", "tax": "19"},
            ),
            "v",
        )
    found = json.loads(command(None, "--object", "26-066", "--json")[1])
    assert found["price"]["tax_included"] and found["price"]["amount"] == pytest.approx(
        1.19 * found["price"]["net"], abs=0.011
    )
    # what was begun goes on
    assert (
        all(line["worked_hours"] for line in found["lines"] if line["technique"] != "facing")
        and found["price"]["confidence"] == 0.9
    )
    assert sum(line["technique"] == "facing" for line in found["lines"]) == 1 and not any(
        line["own_hours"] for line in found["lines"]
    )
    with Store(demo_file) as store:
        quote_drafts.throw_away(store, kept.number or 0)


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


@pytest.mark.parametrize(
    "text, options, code, complaint",
    [
        (
            "technique,hours\nretuching,2\nfilling,1\n",
            [],
            1,
            'Line 2, technique "retuching": is not a known technique. Did you mean "retouching"?',
        ),
        (
            "technique,quantity\nfilling,99999999\nretouching,\n",
            [],
            1,
            'Line 2, quantity "99999999": cannot be. Write a number of units from 0 to 1,000,000.',
        ),
        (
            "technique,quantity\ncondition report,3\nretouching,\n",
            [],
            1,
            'Line 2, quantity "3": is given, but condition report is not measured.',
        ),
        (
            "technique\nretouching\n",
            ["--kind", "easel painting"],
            0,
            (
                "Line 2, retouching: the size of the work is not known, so it is foretold as a usual one,"
                " with a wider range."
            ),
        ),
        (
            "technique,quantity\nfilling,900\n",
            ["--height", "61", "--width", "76"],
            0,
            "Line 2, filling: 900 dm² is more than the whole work (46.4 dm²).",
        ),
        (
            "technique,quantity\nfilling,900\n",
            [],
            0,
            "Line 2, filling: 900 is far beyond the most that was measured here",
        ),
        (
            "technique,hours,colour\nfilling,2,red\n",
            [],
            1,
            "lines.csv: no columns of a line, and left out: colour",
        ),
        ("technique,hours\nretuching,2\n", [], 2, "there is no line to quote."),
        (
            "technique,hours,part\nretouching,1,5,frame\nfilling\nretouching,2,\n",
            [],
            1,
            "lines.csv, line 2: has 4 cells",
        ),
        ("part\nframe\n", [], 2, 'lines.csv has none of the columns "technique", "phase" and "hours".'),
        ("tecnique,hours\nfilling,2\n", [], 2, 'Perhaps rename "tecnique" to "technique".'),
    ],
)
def test_bad_input_is_said_in_words_and_the_rest_is_quoted(
    command: Callable[..., tuple[int, str, str]], text: str, options: list[str], code: int, complaint: str
) -> None:
    found = command(text, *options)
    assert found[0] == code and complaint in found[2]
    assert bool(found[1]) == (code < 2)


def test_an_earlier_day_knows_no_later_estimate(command: Callable[..., tuple[int, str, str]]) -> None:
    code, out, err = command(None, "--object", "25-041", "--as-of", "2020-01-01")
    assert (code, out) == (2, "") and "25-041 has no lines on 1 January 2020" in err


def test_a_line_that_cannot_be_read_is_counted_as_left_out(
    demo: Store, command: Callable[..., tuple[int, str, str]]
) -> None:
    assert (
        quoted_of(demo, of({"technique": "retuching"}, {"technique": "retouching"}, {}))
        .works[0]
        .read.left_aside
        == 1
    )
    assert (
        "1 line cannot be read: not in these hours, not in the price, and not in the letter."
        in command("technique\nretuching\nretouching\n")[2]
    )
