"""Promises against what came of them: known truth, scores, and the page for a client."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.documents import letter_docx, letter_html, track_record
from dashboard.services import promises as promises_service
from dashboard.services import quote_continued
from dashboard.services import rates as rates_service
from dashboard.text.promises import learned, one_promise, share_kept
from ingest.editing import saved_quotes
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.editing.saved_quotes import PromisedLine
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings
from tests import promises
from tests.conftest import LATER as TODAY
from tests.conftest import Bring
from tests.dashboard.documents.test_quote_letter import said_in_a_document, said_on_a_page
from tests.dashboard.saved_quotes import CHANGE, approve, bring_into, finish, log, of, saved, sheet
from tests.dashboard.services.test_quote_revision import _spells
from tests.frames import number
from tests.prepared import new_store


def _line(technique: str, hours: float, own: float | None, worked: float) -> PromisedLine:
    return promises.line("stabilisation", technique, hours, own_hours=own, worked_hours=worked)


def _revise(store: Store, code: str, on: date, lines: list[PromisedLine]) -> None:
    total = sum(line.hours or 0.0 for line in lines)
    promised = promises.promised(code, on, [promises.option(total, lines)])
    saved_quotes.save(store, [promised], None, "found", CHANGE)


def _studio(folder: Path, *, revises: bool) -> tuple[pd.DataFrame, pd.DataFrame, Any]:
    """Works of which every line takes half as long again as her figure, by the same luck; one studio revises
    each of them every evening on which it worked, with hours copied from the bench.
    """
    rng = np.random.default_rng(7)
    techniques = ("facing", "consolidation", "facing removal", "local facing")
    with new_store() as store:
        codes = [f"25-{n:03d}" for n in range(_WORKS)]
        text = "object,kind\n" + "".join(f"{code},easel painting\n" for code in codes)
        assert bring_into(store, folder, "objects.csv", text).complete
        first = pd.Timestamp("2020-01-06")
        figures = rng.uniform(2, 8, (_WORKS, 4)).round(2)
        actual = (figures * 1.5 * np.exp(rng.normal(0, 0.3, (_WORKS, 4)))).clip(0.5, 15).round(2)
        made = [first + pd.Timedelta(days=40 * n) for n in range(_WORKS)]
        rows = "".join(
            f"{code},1,{made[n]:%Y-%m-%d},{made[n]:%Y-%m-%d},,{t},{figures[n, k]}\n"
            for n, code in enumerate(codes)
            for k, t in enumerate(techniques)
        )
        assert bring_into(
            store,
            folder,
            "estimates.csv",
            "object,version,made_on,approved_on,phase,technique,hours\n" + rows,
        ).complete
        days = [[made[n] + pd.Timedelta(days=1 + k) for k in range(4)] for n in range(_WORKS)]
        for k, technique in enumerate(techniques):
            entries = "".join(
                f"{code},,{technique},Ilse,{days[n][k]:%Y-%m-%d},{actual[n, k]}\n"
                for n, code in enumerate(codes)
            )
            assert bring_into(
                store, folder, f"log{k}.csv", "object,phase,technique,person,date,hours\n" + entries
            ).complete
            for n, code in enumerate(codes if revises else []):
                lines = [
                    _line(
                        t,
                        float((actual if j <= k else figures)[n, j]),
                        float(figures[n, j]),
                        float(actual[n, j]) if j <= k else 0.0,
                    )
                    for j, t in enumerate(techniques)
                ]
                _revise(store, code, days[n][k].date(), lines)
                approve(store, code, 2 + k, days[n][k].date())
        done = "object,finished_on\n" + "".join(
            f"{code},{made[n] + pd.Timedelta(days=6):%Y-%m-%d}\n" for n, code in enumerate(codes)
        )
        assert bring_into(store, folder, "done.csv", done).complete
        con = store.cursor()
        as_of = (first + pd.Timedelta(days=40 * (_WORKS + 1))).date()
        known = rates_service.calibrated(con, as_of)
        scored = promises_service.scored(con, as_of)
        return (
            rates_service.rate_table(con, as_of, known).drop(columns=["pinned_on"]),
            scored.works,
            (scored, known, queries.overruns(con, as_of)),
        )


def test_a_studio_that_revises_every_evening_gets_no_flattering_rates_and_no_flattering_score(
    tmp_path: Path,
) -> None:
    plain, plain_works, _ = _studio(tmp_path, revises=False)
    revised, revised_works, (scored, known, overruns) = _studio(tmp_path, revises=True)
    pd.testing.assert_frame_equal(plain, revised)  # to the digit, ranges and what a figure moves too
    pd.testing.assert_frame_equal(
        plain_works.drop(columns=["approvals", "revised_hours"]),
        revised_works.drop(columns=["approvals", "revised_hours"]),
    )
    # by the latest yardstick every line is on the mark; by what was promised they took half as long again,
    # which is true
    assert overruns["difference_hours"].abs().max() < 1e-9
    assert (
        scored.bias.low > 1.3
        and scored.bias.high < 1.7
        and scored.share_kept.share < 0.2
        and (scored.works["approvals"] == 5).all()
    )
    facing = known.joint.lines.take(known.joint.lines.technique == "facing")
    assert np.exp(np.log(facing.hours / facing.figure).mean()) == pytest.approx(1.5, rel=0.12)


def test_hours_of_a_quote_that_are_copied_into_a_version_by_hand_are_no_figure_either(
    mill: Store, tmp_path: Path
) -> None:
    today = queries.today(mill.cursor())
    saved(mill, sheet({"technique": "lining", "hours": "9"}), today - timedelta(days=2))
    lines = queries.estimate_lines(mill.cursor(), "26-099", 1)
    rows = "".join(
        (
            f"26-099,2,{today - timedelta(days=1)},{row['phase']},{row['technique']},"
            f"{row['quantity'] if pd.notna(row['quantity']) else ''},"
            f"{row['hours'] if row['technique'] != 'facing' else 3}\n"
        )
        for row in lines.to_dict("records")
    )
    rows += f"26-099,2,{today - timedelta(days=1)},,facing,,7\n"
    assert bring_into(
        mill, tmp_path, "by_hand.csv", "object,version,made_on,phase,technique,quantity,hours\n" + rows
    ).complete
    log(
        mill,
        *({"technique": name, "date": f"{today}", "hours": "1"} for name in ("filling", "lining", "facing")),
    )
    taught = queries.record(mill.cursor(), today + timedelta(days=1)).as_of(
        rates_service.number_of(today) + 1
    )
    mine = {
        t: f for t, f, o in zip(taught.technique, taught.figure, taught.object, strict=True) if o == "26-099"
    }
    assert (mine["lining"], mine["facing"]) == (9.0, 7.0) and np.isnan(mine["filling"])


def test_a_first_stage_overlooks_nothing(store: Store, studio: Bring) -> None:
    """What is not on the sheet of a first stage did not turn up: nobody had looked for it."""
    with store.writing() as con:
        write_settings(con, {"hourly_rate": "60"})
    day = date(2026, 1, 10)
    saved(
        store,
        Quote(
            works=[
                QuotedWork(
                    object="24-001", lines=[{"technique": "condition report"}, {"technique": "lining"}]
                )
            ],
            terms={"first_stage": "yes"},
        ),
        day,
    )
    assert (
        queries.estimate_lines(store.cursor(), "24-001", 1)["technique"].tolist() == ["condition report"]
        and of(store, "24-001", 1).first_stage
    )
    log(store, {"technique": "condition report", "date": "2026-01-11", "hours": "2"}, code="24-001")
    quote = quote_continued.continued_quote(store.cursor(), "24-001", date(2026, 1, 20))
    quote.works[0].lines = [{"technique": "condition report"}, {"technique": "lining"}]
    quote.letter["reason"] = "the first stage is done"
    saved(store, quote, date(2026, 1, 20), "the first stage is done")
    log(
        store,
        {"technique": "lining", "date": "2026-01-22", "hours": "6"},
        {"technique": "facing", "date": "2026-01-23", "hours": "1"},
        code="24-001",
    )
    studio("objects.csv", "object,finished_on\n24-001,2026-02-01\n")
    foreseen = queries.record(store.cursor(), TODAY).foreseen(rates_service.number_of(TODAY))
    assert foreseen.techniques[foreseen.turned_up[0]].tolist() == ["facing"]
    assert promises_service.scored(
        store.cursor(), TODAY
    ).works.empty  # the first stage promised nothing of the whole
    approve(store, "24-001", 2, date(2026, 1, 21))
    # the first promise of it there was
    assert promises_service.scored(store.cursor(), TODAY).works["version"].tolist() == [2]


def test_a_finished_quote_is_scored_with_its_chance_and_its_range(mill: Store) -> None:
    today = queries.today(mill.cursor())
    saved(mill, sheet(confidence="90"), today - timedelta(days=20))
    approve(mill, "26-099", 1, today - timedelta(days=19))
    told = of(mill, "26-099", 1).options[0]
    hours = told.p80  # between p10 and p90, and within what was promised 9 in 10
    log(
        mill,
        *(
            {"technique": "retouching", "date": f"{today - timedelta(days=3 + n)}", "hours": part}
            for n, part in enumerate(_spells(hours))
        ),
    )
    before = promises_service.scored(mill.cursor(), today)
    finish(mill, "26-099", today)
    scored = promises_service.scored(mill.cursor(), today)
    row = scored.works.set_index("object").loc["26-099"]
    assert len(scored.works) == len(before.works) + 1 and scored.unpromised == before.unpromised
    assert (row["confidence"], row["promised_hours"], row["kept"], row["inside"]) == (
        90,
        told.promised_hours,
        True,
        1.0,
    ) and row["actual_hours"] == pytest.approx(hours, abs=0.01)
    assert {chance: (one.hits, one.of) for chance, one in scored.by_chance.items()} == {90: (1, 1)}
    assert "Promised at 9 in 10: kept on 1 of 1" in " ".join(
        share_kept(scored)
    ) and "too few to say" in " ".join(share_kept(scored))
    assert one_promise(row.to_dict()).startswith(f"Promised {told.promised_hours:.1f} h (9 in 10), took")
    taught = promises_service.taught(mill.cursor(), "26-099", today)
    assert (
        taught.rates["technique"].tolist() == ["retouching"]
        and taught.rates["change"].iloc[0] > 0.005
        and learned(taught).startswith("Retouching up")
    )
    # what it taught is the difference that it makes to the rates of that evening
    table = rates_service.rate_table(
        mill.cursor(), today, rates_service.calibrated(mill.cursor(), today)
    ).set_index("technique")
    assert (
        taught.rates["rate_after"].iloc[0] == table.loc["retouching", "rate"]
        and taught.rates["works_before"].iloc[0] == number(table, "retouching", "works") - 1
    )


def test_the_page_for_a_client_names_nobody_and_is_not_had_of_a_few(
    mill: Store, store: Store, studio: Bring
) -> None:
    today = queries.today(mill.cursor())
    made = track_record.sheet(
        promises_service.scored(mill.cursor(), today), read_settings(mill.cursor()), today
    )
    words = json.dumps(made.as_dict(), ensure_ascii=False)
    assert said_in_a_document(letter_docx.as_document(made)) == said_on_a_page(letter_html.as_page(made))
    con = mill.cursor()
    for column, table in (
        ("object", "objects"),
        ("title", "objects"),
        ("owner", "objects"),
        ("person", "people"),
        ("technique", "techniques"),
    ):
        named = [
            row[0]
            for row in con.execute(
                f"SELECT DISTINCT {column} FROM {table} WHERE {column} IS NOT NULL"
            ).fetchall()
        ]
        assert [name for name in named if name in words] == [], column
    assert (
        "€" not in words
        and made.approvals == ()
        and all(
            int(row[1]) >= track_record.FEWEST
            for block in made.blocks
            if block.kind == "table"
            for row in block.rows
        )
    )
    with pytest.raises(BenchHoursError, match="too few to show"):
        track_record.sheet(
            promises_service.scored(store.cursor(), TODAY), read_settings(store.cursor()), TODAY
        )


def test_figures_that_went_by_way_of_a_version_by_hand_do_not_become_hers(
    mill: Store, tmp_path: Path
) -> None:
    today = queries.today(mill.cursor())
    quote = sheet()
    quote.works[0].lines = [
        {"technique": "condition report"},
        {"technique": "retouching", "hours": "8"},
        {
            "technique": "retouching",
            "phase": "cleaning",
            "hours": "50",
            "low_hours": "40",
            "high_hours": "90",
        },
    ]
    saved(mill, quote, today - timedelta(days=3))
    lines = queries.estimate_lines(mill.cursor(), "26-099", 1)
    rows = "".join(
        f"26-099,2,{today - timedelta(days=2)},{row['phase']},{row['technique']},{row['hours']!r}\n"
        for row in lines.to_dict("records")
    )
    assert bring_into(
        mill, tmp_path, "by_hand.csv", "object,version,made_on,phase,technique,hours\n" + rows
    ).complete
    typed = {
        (line.get("phase", ""), line["technique"]): line.get("hours")
        for line in quote_continued.continued_quote(mill.cursor(), "26-099", today).works[0].lines
    }
    assert typed == {
        ("", "condition report"): None,
        ("", "retouching"): "8",
        ("cleaning", "retouching"): "50",
    }


def test_a_revision_is_no_promise_where_there_was_one_before(mill: Store) -> None:
    today = queries.today(mill.cursor())
    saved(mill, sheet(), today - timedelta(days=9))
    log(mill, {"technique": "filling", "date": f"{today - timedelta(days=8)}", "hours": "12"})
    again = quote_continued.continued_quote(mill.cursor(), "26-099", today - timedelta(days=7))
    again.letter["reason"] = "harder going"
    saved(mill, again, today - timedelta(days=7), "harder going")
    approve(mill, "26-099", 2, today - timedelta(days=6))
    told = queries.promises(mill.cursor(), today).set_index("object").loc["26-099"]
    assert (
        told["version"] == 1
        and told["promised_hours"] == of(mill, "26-099", 1).options[0].promised_hours
        and told["revised_hours"] == of(mill, "26-099", 2).options[0].promised_hours
    )
    early = queries.promises(mill.cursor(), today - timedelta(days=8)).set_index("object").loc["26-099"]
    assert pd.isna(early["revised_hours"]) and pd.isna(early["approved_on"])


_WORKS = 8
