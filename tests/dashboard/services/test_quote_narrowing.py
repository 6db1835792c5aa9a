"""A first quote asks for low, likely and high, and says what would make it surer, and by how much."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dashboard import queries
from dashboard.analysis.models import calibration
from dashboard.analysis.simulation import quote_total
from dashboard.analysis.simulation.narrowing import Narrowing
from dashboard.cli.main import main
from dashboard.services import quote_context, quote_narrowing
from dashboard.services.quote import WorkQuoted
from dashboard.services.quote_request import request_of
from dashboard.text import quote_narrowing as narrowing_text
from ingest.store import Store
from tests.conftest import Bring
from tests.dashboard import quoting

LINES = (
    {"technique": "lining removal dry"},
    {"technique": "retouching", "low_hours": "6", "hours": "9", "high_hours": "20"},
    {"phase": "filling", "hours": "5"},
)


def first_quote(store: Store, *lines: dict[str, str]) -> tuple[quote_context.QuoteContext, WorkQuoted]:
    quote = quoting.of(*(lines or LINES))
    context = quoting.context_of(store.cursor(), queries.today(store.cursor()), quote)
    return context, quoting.quoted_of(store, quote, context).works[0]


def test_a_quote_without_a_finished_work_says_so_and_asks_for_low_likely_and_high(store: Store) -> None:
    context, work = first_quote(store)
    assert quote_narrowing.is_first(context)
    lines = work.options[0].lines
    sentence = narrowing_text.first_quote(len(lines), quote_narrowing.without_range(lines))
    assert sentence.startswith("No finished work stands behind these hours")
    assert sentence.endswith("2 lines of 3 have not all three yet (lining removal dry, filling as a whole).")
    ranged = tuple(line | {"low_hours": "3", "hours": "5", "high_hours": "9"} for line in LINES)
    _, work = first_quote(store, *ranged)
    lines = work.options[0].lines
    assert narrowing_text.first_quote(3, quote_narrowing.without_range(lines)).endswith(
        "Every line has all three."
    )
    # her range is the range of the quote, as nothing else is known
    row = lines.set_index("technique").loc["retouching"]
    assert 3 <= row["p10"] <= row["p50"] <= row["p90"] <= 9 and row["by_hand"] == 1.0


def test_three_things_are_named_that_narrow_it_most_and_what_they_do_is_what_is_reckoned(
    store: Store,
) -> None:
    context, work = first_quote(store)
    things = quote_narrowing.narrowed(context, work)
    assert 1 <= len(things) <= 3
    assert [item.narrower for item in things] == sorted((item.narrower for item in things), reverse=True)
    low, high = work.options[0].at(0.1, 0.9)
    for item in things:
        # 4,000 draws beside 20,000
        assert item.narrower == pytest.approx(1 - (item.high - item.low) / (high - low), abs=0.05)
    # what has a range of its own is asked for no more
    assert not [item for item in things if item.kind == "own hours" and item.technique == "retouching"]
    own = next(item for item in things if item.kind == "own hours")
    assert own.technique == "lining removal dry"
    # and a figure that agrees narrows the quote by that
    request = request_of(context, "\x1fx", work.draft, work.options[0].lines, work.read)
    middle = float(work.options[0].lines.set_index("technique")["p50"]["lining removal dry"])
    figure = np.where(request.lines.technique == "lining removal dry", middle, request.lines.figure)
    again = quote_total.forecast(
        context.calibration,
        context.discoveries,
        replace(request, lines=replace(request.lines, figure=figure)),
    ).total()
    assert np.quantile(again, [0.1, 0.9]) == pytest.approx([own.low, own.high], rel=0.1)


def test_finished_works_narrow_what_is_told_of_their_technique_and_move_no_middle(store: Store) -> None:
    context, work = first_quote(store, {"technique": "retouching"})
    things = {item.kind: item for item in quote_narrowing.narrowed(context, work)}
    assert things["finished works"].narrower > 0
    before = np.mean(np.log(work.options[0].at(0.1, 0.9)))
    after = np.mean(np.log([things["finished works"].low, things["finished works"].high]))
    assert after == pytest.approx(before, abs=0.25)


def test_where_works_enough_are_finished_or_the_work_is_under_way_nothing_is_asked(
    store: Store, studio: Bring
) -> None:
    context, work = first_quote(store)
    assert quote_narrowing.narrowed(context, work)
    many = replace(context, finished=context.finished + 5 * ("a work",))  # type: ignore[operator]
    assert quote_narrowing.narrowed(many, work) == [] and not quote_narrowing.is_first(many)
    under_way = replace(
        work, options=(replace(work.options[0], lines=work.options[0].lines.assign(worked_hours=1.0)),)
    )
    assert quote_narrowing.narrowed(context, under_way) == []


def test_each_thing_is_said_with_its_hours() -> None:
    about = {"phase": "retouching", "technique": "retouching", "part": "", "low": 20.0, "high": 90.04}
    sentences = [
        narrowing_text.narrowing(Narrowing(kind=kind, narrower=0.271, **about))  # type: ignore[arg-type]
        for kind in ("own hours", "finished works", "whole works")
    ]
    assert sentences == [
        "your own hours for retouching: 20.0 to 90.0 h, a range 27 % shorter",
        "two finished works with retouching, logged or from memory: 20.0 to 90.0 h, a range 27 % shorter",
        "two finished works, quoted and taken as a whole, logged or from memory: 20.0 to 90.0 h, a range 27 %"
        " shorter",
    ]


def test_nothing_is_learnt_from_what_was_only_tried(store: Store) -> None:
    context, work = first_quote(store)
    lines = request_of(context, "\x1fx", work.draft, work.options[0].lines, work.read).lines
    before = calibration.predict(context.calibration, lines).table
    quote_narrowing.narrowed(context, work)
    assert (calibration.predict(context.calibration, lines).table == before).all()


def test_the_command_says_and_writes_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = tmp_path / "lines.csv"
    lines.write_text("technique,phase,hours\nlining removal dry,,\n,filling,5\n")
    Store(tmp_path / "studio.duckdb").close()
    command = ["quote", "--db", str(tmp_path / "studio.duckdb"), "--lines", str(lines)]
    assert main(command) == 0
    printed = capsys.readouterr().out
    assert "No finished work stands behind these hours" in printed
    assert "What would narrow that most:\n- " in printed
    assert main([*command, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["finished_works"] == 0 and 1 <= len(answer["narrowing"]) <= 3
    for item in answer["narrowing"]:
        assert narrowing_text.narrowing(Narrowing(**item)) in printed
