"""A quote from the record to hours and chance, as the page reckons it."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.analysis.report import reference_class
from dashboard.analysis.report.similar_works import SimilarWork
from dashboard.cli.main import main
from dashboard.services import forecast as forecast_service
from dashboard.services import quote as quote_service
from dashboard.services import quote_build, quote_context, quote_continued, quote_lines
from dashboard.services.quote import as_frame
from dashboard.services.result_cache import ResultCache
from dashboard.text.quote import drivers, earns, effect, line_sources, missing, surprises, things_in_words
from ingest.editing import pinned_rates
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from ingest.studio import vocabulary
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import Change
from ingest.values.named_amounts import decimal_of
from tests.conftest import CHANGE, LATER, Bring
from tests.dashboard.quoting import CANVAS, SHEET, of, quoted_of
from tests.frames import number


def test_without_a_rate_the_price_is_unknown_and_not_nought(
    demo: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with demo.writing() as con:
        write_settings(con, {"hourly_rate": "", "yearly_cost": ""})
    found = quoted_of(demo, of())
    one = found.works[0].options[0]
    assert one.price is None and found.amount is None and earns(one) == "" and one.nothing_from() is None
    demo.close()
    (tmp_path / "l.csv").write_text("technique\nretouching\n")
    assert (
        main(
            [
                "quote",
                "--db",
                str(demo.path),
                "--lines",
                str(tmp_path / "l.csv"),
                "--json",
                "--pdf",
                str(tmp_path / "l.pdf"),
                "--once-begun",
            ]
        )
        == 0
    )
    price = json.loads(capsys.readouterr().out)["price"]
    assert (
        price["amount"] is None
        and price["net"] is None
        and price["hours"] > 0
        and price["earned_per_hour"] == {"p50": None, "p80": None}
    )


def test_with_no_history_at_all_it_says_so_and_is_wide(store: Store) -> None:
    found = quoted_of(store, of({"technique": "retouching", "hours": "4"}, {"technique": "filling"}))
    one = found.works[0].options[0]
    p10, p50, _, p90 = one.at(0.1, 0.5, 0.8, 0.9)
    assert (
        2 < p50 < 30 and p90 / p10 > 3 and len(one.discoveries) == 0 and one.lines["works"].tolist() == [0, 0]
    )
    assert (
        quote_service.similar_works(
            quote_context.load_context(store.cursor(), queries.today(store.cursor())), found.works[0]
        )
        == []
    )


def test_nothing_that_is_dated_later_has_any_part_in_a_quote(demo: Store) -> None:
    con = demo.cursor()
    then = (pd.Timestamp(queries.today(con)) - pd.Timedelta(days=400)).date()
    before = quoted_of(demo, of(), quote_context.load_context(con, then))
    with demo.writing() as writing:
        for table, column in (
            ("spells", "day"),
            ("milestones", "finished_on"),
            ("estimate_versions", "made_on"),
        ):
            writing.execute(f"DELETE FROM {table} WHERE {column} > ?", [then])
        writing.execute("UPDATE objects SET finished_on = NULL WHERE finished_on > ?", [then])
        writing.execute("UPDATE estimate_versions SET approved_on = NULL WHERE approved_on > ?", [then])
    after = quoted_of(demo, of(), quote_context.load_context(demo.cursor(), then))
    assert (before.works[0].options[0].total == after.works[0].options[0].total).all()
    assert quote_service.similar_works(
        quote_context.load_context(con, then), before.works[0]
    ) == quote_service.similar_works(quote_context.load_context(demo.cursor(), then), after.works[0])


def test_what_is_counted_by_area_is_filled_in_from_the_size_and_a_part_of_it_where_that_is_usual(
    demo: Store,
) -> None:
    lines = quoted_of(demo, of()).works[0].options[0].lines.set_index("technique")
    assert (
        lines.at["lining removal dry", "quantity"] == pytest.approx(46.36)
        and lines.at["lining removal dry", "filled_in"] == 1
    )
    assert 0.5 < number(lines, "filling", "quantity") < 10 and number(lines, "filling", "filled_in") < 0.3
    given = quoted_of(demo, of({"technique": "filling", "quantity": "7"})).works[0].options[0].lines
    assert given["quantity"].tolist() == [7.0] and given["filled_in"].isna().all()


def test_a_figure_of_her_own_moves_a_line_towards_it_and_a_range_counts_where_the_record_knows_little(
    demo: Store,
) -> None:
    def p50(line: dict[str, str]) -> float:
        return float(
            quoted_of(demo, of({"technique": "retouching", "quantity": "5"} | line))
            .works[0]
            .options[0]
            .lines["p50"]
            .iloc[0]
        )

    free = p50({})
    assert p50({"hours": f"{free * 2:.1f}"}) > free > p50({"hours": f"{free / 3:.1f}"})
    strange = quoted_of(
        demo,
        of(
            {"technique": "ornament casting", "low_hours": "2", "hours": "3", "high_hours": "10"},
            {"technique": "retouching", "low_hours": "2", "hours": "3", "high_hours": "4"},
        ),
    )
    lines = strange.works[0].options[0].lines.set_index("technique")
    assert (
        number(lines, "ornament casting", "by_hand") > 0.9
        and 0 < number(lines, "retouching", "by_hand") < 0.3
    )
    assert 2 <= number(lines, "ornament casting", "p50") <= 6


def test_a_pinned_rate_is_used_and_said(demo: Store) -> None:
    before = quoted_of(demo, of({"technique": "filling", "quantity": "4"})).works[0].options[0].lines.iloc[0]
    con = demo.cursor()
    now = quote_context.load_context(con, queries.today(con))
    assert now.pinned.by_rate == {}
    rate = float(np.exp(np.log(before["p50"] / 4)))
    with demo.writing() as writing:
        pinned_rates.pin(
            writing, "filling", rate * 2, queries.today(con), Change(by="principal", reason="slower filler")
        )
    after = quoted_of(demo, of({"technique": "filling", "quantity": "4"})).works[0].options[0].lines.iloc[0]
    assert (
        after["pinned"]
        and after["p50"] > 1.5 * before["p50"]
        and after["p50"]
        # the steps in which log hours are kept
        == pytest.approx(
            before["p50"]
            * np.exp(quote_context.load_context(demo.cursor(), now.as_of).pinned.by_rate["filling"]),
            rel=2e-4,
        )
    )


def test_the_promise_is_made_of_its_lines_and_what_may_turn_up_to_the_digit(demo: Store) -> None:
    one = quoted_of(demo, of()).works[0].options[0]
    assert one.lines["promised"].sum() + one.discoveries["promised"].sum() == pytest.approx(one.promised)
    even, four = one.at(0.5, 0.8)
    assert one.lines["spread"].sum() + one.discoveries["spread"].sum() == pytest.approx(four - even)
    assert drivers(one)["spread"].is_monotonic_decreasing and drivers(one)["line"].iloc[0] == "retouching"
    assert 0 < one.allowance < 0.2 * one.promised
    assert one.price is not None and one.price.hours == decimal_of(f"{one.promised:.1f}")


def test_what_is_said_not_to_turn_up_is_in_no_total_and_keeps_its_reason(demo: Store) -> None:
    quote = of()
    before = quoted_of(demo, quote).works[0].options[0]
    technique = before.discoveries["technique"].iloc[0]
    quote.works[0].left_out[technique] = "it was seen, and is whole"
    after = quoted_of(demo, quote).works[0].options[0]
    assert technique not in after.discoveries["technique"].tolist() and after.left_out[
        ["technique", "reason"]
    ].to_numpy().tolist() == [[technique, "it was seen, and is whole"]]
    assert after.total.mean() < before.total.mean()


def test_similar_works_say_why_and_give_their_quoted_lines_brought_to_this_size(demo: Store) -> None:
    con = demo.cursor()
    now = quote_context.load_context(con, queries.today(con))
    found = quoted_of(demo, of()).works[0]
    likes = quote_service.similar_works(now, found)
    assert (
        1 <= len(likes) <= 5
        and all("easel painting too" in like.why for like in likes)
        and likes[0].share >= likes[-1].share
    )
    of_it = now.lines[now.lines["object"] == likes[0].object]
    assert (
        f"estimated {of_it['first_approved_hours'].sum():,.1f} h, took {of_it['actual_hours'].sum():,.1f} h"
        in surprises(now.lines, likes)[likes[0].object]
    )
    lines = quote_lines.lines_like(now, likes[0].object, found.area, con)
    quoted = now.lines[
        (now.lines["object"] == likes[0].object)
        & now.lines["estimated_hours"].notna()
        & (now.lines["actual_hours"] > 0)
    ]
    assert [line["technique"] for line in lines] == quoted["technique"].tolist() and all(
        "hours" not in line for line in lines
    )
    nothing = quoted_of(demo, of(described={"kind": "stuffed bird", "support": "feathers"})).works[0]
    assert quote_service.similar_works(now, nothing) == []


def test_waiting_is_told_in_days_as_it_was_or_as_it_is_planned(demo: Store) -> None:
    planned = quoted_of(demo, of({"technique": "pressing", "unattended_hours": "240"})).works[0].options[0]
    assert np.median(planned.days) == pytest.approx(10, rel=0.1)
    waits = queries.overruns(demo.cursor(), queries.today(demo.cursor()))
    waited = (
        waits[(waits["unattended_hours"] > 0) & waits["finished"].astype(bool)]["technique"].mode().iloc[0]
    )
    assert np.median(quoted_of(demo, of({"technique": waited})).works[0].options[0].days) > 0
    assert quoted_of(demo, of({"technique": "condition report"})).works[0].options[0].days.max() == 0
    assert planned.weeks(0.8) > planned.weeks(0.5) > 10 / 7


def test_a_line_added_moves_the_total_by_itself_and_not_by_luck(demo: Store) -> None:
    before = quoted_of(demo, of({"technique": "retouching", "quantity": "5"})).works[0].options[0]
    after = (
        quoted_of(demo, of({"technique": "retouching", "quantity": "5"}, {"technique": "unframing"}))
        .works[0]
        .options[0]
    )
    moved = after.at(0.8)[0] - before.at(0.8)[0]
    assert 0 < moved < 1.5
    assert effect(before.at(0.8)[0], after.at(0.8)[0]).startswith("The last change moved it, 4 in 5, by +")
    assert effect(3.0, 3.01) == ""


def test_forty_lines_are_quoted_with_twenty_thousand_draws(demo: Store) -> None:
    """How long that takes is printed by `tests/benchmarks/quotes.py`."""
    techniques = [
        row[0]
        for row in (
            demo.cursor()
            .execute(
                "SELECT technique FROM techniques WHERE phase <> 'studio time' ORDER BY technique LIMIT 40"
            )
            .fetchall()
        )
    ]
    one = quoted_of(demo, of(*({"technique": name} for name in techniques))).works[0].options[0]
    assert len(one.lines) == 40 and len(one.total) >= 20_000


def test_of_which_works_something_holds_is_said_in_words() -> None:
    assert things_in_words(()) == "finished works"
    assert (
        things_in_words((("technique", "lining removal dry"), ("structure", "marked")))
        == "finished works with lining removal dry and whose structure is marked or severe"
    )
    assert things_in_words((("without", "facing"),)) == "finished works without facing"


def test_every_line_and_what_may_turn_up_stand_in_the_csv(demo: Store) -> None:
    one = quoted_of(demo, of()).works[0]
    frame = as_frame(one.options)
    assert (
        len(frame) == len(one.options[0].lines) + len(one.options[0].discoveries)
        and not frame["p50"].isna().any()
    )


def test_a_range_without_width_or_with_nought_is_a_range_all_the_same(demo: Store) -> None:
    for low, hours, high in (("2", "", "2"), ("5", "5", "5"), ("0", "0", "5"), ("0", "", "3")):
        line = {
            name: text
            for name, text in (
                ("technique", "ornament casting"),
                ("low_hours", low),
                ("hours", hours),
                ("high_hours", high),
            )
            if text
        }
        found = quoted_of(demo, of(line)).works[0].options[0]
        assert found.price is not None and float(low) * 0.9 <= found.lines["p50"].iloc[0] <= float(high) * 1.1


def test_figures_that_say_nothing_are_said_to(demo: Store) -> None:
    notes = (
        quoted_of(
            demo,
            of(
                {"technique": "keying out", "quantity": "0"},
                {"technique": "facing", "hours": "0"},
                {"technique": "filling", "high_hours": "30"},
            ),
        )
        .works[0]
        .doubts
    )
    assert [note.split(":")[0] for note in notes] == [
        "Line 2, facing",
        "Line 1, keying out",
        "Line 3, filling",
    ]
    assert "quantity of 0" in notes[1] and "own hours of 0" in notes[0] and "low and high" in notes[2]


def test_what_was_never_done_on_a_kind_of_work_does_not_turn_up_on_it(demo: Store) -> None:
    frame = (
        quoted_of(
            demo,
            of(
                {"technique": "frame cleaning"},
                described={"kind": "frame", "support": "gilded wood", "height_cm": "60", "width_cm": "50"},
            ),
        )
        .works[0]
        .options[0]
    )
    assert (
        "overpaint removal" not in frame.discoveries["technique"].tolist()
        and frame.allowance < 0.1 * frame.promised
    )
    canvas = quoted_of(demo, of()).works[0].options[0]
    likeliest = canvas.discoveries.iloc[0]
    assert likeliest["technique"] == "overpaint removal" and likeliest["of"] < 49  # of easel paintings alone


def test_what_has_turned_up_on_a_work_already_is_no_surprise_any_more(demo: Store) -> None:
    lines = queries.overruns(demo.cursor(), queries.today(demo.cursor()))
    opened = lines[~lines["finished"].astype(bool) & (lines["unforeseen_hours"] > 0)].iloc[0]
    found = (
        quoted_of(demo, Quote(works=[QuotedWork(object=opened["object"], lines=SHEET)]))
        .works[0]
        .options[0]
        .discoveries
    )
    assert opened["technique"] not in found["technique"].tolist()


def test_one_thing_alike_makes_no_similar_work(demo: Store) -> None:
    now = quote_context.load_context(demo.cursor(), queries.today(demo.cursor()))
    # with its techniques
    assert (
        quote_service.similar_works(
            now, quoted_of(demo, of(described={"kind": "easel painting"}), now).works[0]
        )
        != []
    )
    alone = quoted_of(demo, Quote(works=[QuotedWork(described={"kind": "easel painting"})]), now).works[0]
    assert quote_service.similar_works(now, alone) == []


def test_words_and_people_that_nobody_knows_are_asked_about(demo: Store) -> None:
    found = quoted_of(
        demo,
        of(
            {"technique": "retouching", "person": "Nobody"},
            described=CANVAS | {"kind": "easel paintings", "support": "canvass"},
        ),
    ).works[0]
    assert [doubt.partition(":")[0] for doubt in found.doubts] == [
        'Kind "easel paintings"',
        'Support "canvass"',
        "Line 1, retouching",
    ]
    assert (
        'Did you mean "canvas"?' in found.doubts[1] and "Nobody is nobody of this studio" in found.doubts[2]
    )


def test_figures_for_other_lines_that_move_a_line_are_said(demo: Store) -> None:
    one = (
        quoted_of(
            demo,
            of({"technique": "condition report", "hours": "9"}, {"technique": "retouching", "quantity": "5"}),
        )
        .works[0]
        .options[0]
    )
    said = {row["technique"]: line_sources(row) for row in one.lines.to_dict("records")}
    assert (
        "own figure moves it +" in said["condition report"]
        and "figures for other lines move it +" in said["retouching"]
    )


def test_quantities_alone_are_estimates_too(store: Store, studio: Bring) -> None:
    studio(
        "estimates.csv",
        """object,version,made_on,phase,technique,quantity,hours
24-001,1,2024-01-05,,facing,,2
24-001,1,2024-01-05,,retouching,10,
24-002,1,2024-01-05,,facing,,2
24-002,2,2024-01-09,,facing,,2
24-002,2,2024-01-09,,retouching,,30
""",
    )
    studio(
        "time_entries.csv",
        """object,phase,technique,person,date,hours
24-001,,facing,Ilse,2024-01-10,2
24-001,,retouching,Ilse,2024-01-11,12
24-002,,facing,Ilse,2024-01-10,2
24-002,,retouching,Ilse,2024-01-11,12
""",
    )
    studio("objects.csv", "object,title,finished_on\n24-001,,2024-03-01\n24-002,,2024-03-01\n")
    now = quote_context.load_context(store.cursor(), LATER)
    assert [line["technique"] for line in quote_lines.lines_like(now, "24-001", 0.0, store.cursor())] == [
        "facing",
        "retouching",
    ]
    # of the other its first estimate has no hours to hold it against
    assert reference_class.of_works(now.lines).tolist() == [14 / 32]
    likes = [SimilarWork(object="24-001", share=1.0, compared=3.0, why=())]
    assert (
        surprises(now.lines, likes)["24-001"]
        == "; estimated 2.0 h and 1 line without hours, took 14.0 h; nothing surprised"
    )
    # a revision made before anything was done is what the work began with
    assert not now.discoveries.past.turned_up.any()


def test_what_is_left_out_stays_out_when_its_technique_is_renamed(demo: Store) -> None:
    quote = of()
    quote.works[0].left_out["overpaint removal"] = "it was seen"
    with demo.writing() as con:
        vocabulary.rename(con, "technique", "overpaint removal", "removal of old overpaint", CHANGE)
    one = quoted_of(demo, quote).works[0].options[0]
    assert (
        one.left_out["technique"].tolist() == ["removal of old overpaint"]
        and "removal of old overpaint" not in one.discoveries["technique"].tolist()
    )


def test_what_is_nearly_always_done_can_be_said_not_to_be_and_lacks_in_the_option_that_lacks_it(
    demo: Store,
) -> None:
    quote = of(
        {"technique": "retouching"},
        {"technique": "final report", "option": "A"},
        {"technique": "facing", "option": "B"},
    )
    quote.works[0].left_out = {"packing": "it stays in its crate"}
    a, b = quoted_of(demo, quote).works[0].options
    assert (
        "packing" not in {item.technique for item in (*a.usual, *b.usual)}
        and dict(zip(a.left_out["technique"], a.left_out["reason"], strict=True)) == quote.works[0].left_out
    )
    assert {item.technique for item in b.usual} - {item.technique for item in a.usual} == {"final report"}
    both, apart = missing(quoted_of(demo, quote).works[0])
    assert "Final report" not in both and apart.startswith(
        "Option B: final report: on 46 of 46 finished works"
    )


def test_what_a_work_under_way_lacks_is_said_alike_on_the_bench_and_in_its_revision_and_is_in_no_figure_of_either(  # noqa: E501
    demo: Store,
) -> None:
    con, code = demo.cursor(), "26-062"
    with demo.writing() as writing:
        writing.execute(
            "DELETE FROM estimated_lines WHERE line IN (SELECT line FROM lines WHERE object = ? AND technique"
            " = 'final report')",
            [code],
        )
    today = queries.today(con)
    bench = forecast_service.bench(con, today, ResultCache(), only=code)
    quote = quote_continued.continued_quote(con, code, today)
    now = quote_context.load_context(
        con, today, without_open=quote_build.on_the_bench(queries.overruns(con, today), quote)
    )
    one = quoted_of(demo, quote, now).works[0].options[0]
    assert [usual.technique for usual in one.usual] == ["final report"] and bench.usual == {code: one.usual}
    (row,) = bench.works.to_dict("records")
    assert one.at(0.1, 0.5, 0.8, 0.9) == pytest.approx(
        [row[level] for level in ("p10", "p50", "p80", "p90")], rel=1e-9
    )
    assert "final report" not in {
        *one.discoveries["technique"],
        *(still.discovery.technique for still in bench.discoveries[code]),
    }
