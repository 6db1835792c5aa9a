"""What may turn up, told from what turned up: pooled, moved by what a work is as far as the record bears it
out, never invented.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dashboard.analysis.data.training_record import ForeseenTechniques
from dashboard.analysis.models import calibration
from dashboard.analysis.simulation import discovery_model, quote_total, unforeseen
from dashboard.analysis.simulation.discovery_model import DiscoveryModel, WorkFeatures
from dashboard.queries import record
from ingest.store import Store
from tests.benchmarks.quotes import one_studio, pooled
from tests.conftest import LATER, Bring
from tests.invented_quotes import BEGUN_UNKNOWN, draw_quoted
from tests.invented_truth import NOW

TECHNIQUES = ["facing", "filling", "lining removal dry", "retouching", "tear mending"]


def studio(works: int, turned: dict[int, list[str]], with_lining: int) -> DiscoveryModel:
    """So many works, each quoted with filling and retouching, the first of them with lining removal too; what
    turned up on each.
    """
    quoted = np.zeros((works, len(TECHNIQUES)), dtype=bool)
    quoted[:, [1, 3]] = True
    quoted[:with_lining, 2] = True
    found = np.zeros_like(quoted)
    for work, names in turned.items():
        for name in names:
            found[work, TECHNIQUES.index(name)] = True
    past = ForeseenTechniques(
        objects=np.array([f"{number:03d}" for number in range(works)]),
        techniques=np.array(TECHNIQUES),
        phases=np.array(["a", "b", "c", "b", "c"]),
        quoted=quoted,
        worked_before=np.zeros_like(quoted),
        turned_up=found,
        another=np.zeros_like(quoted),
    )
    told = pd.DataFrame(
        {
            "object": past.objects,
            "kind": "easel painting",
            "support": "canvas",
            "structure_condition": 1.0,
            "paint_condition": 1.0,
            "surface_condition": 1.0,
        }
    )
    nothing = draw_quoted(1, 6, 2).studio.history
    return discovery_model.learn(
        past, told, calibration.learn(nothing.take(np.zeros(0, dtype=np.int64)), NOW), BEGUN_UNKNOWN
    )


def chances(discoveries: DiscoveryModel, *sheet: str) -> dict[str, unforeseen.PossibleDiscovery]:
    work = WorkFeatures(
        kind="easel painting", support="canvas", grades=(1.0, 1.0, 1.0), techniques=frozenset(sheet)
    )
    return {
        item.technique: item
        for item in unforeseen.possible_discoveries(discoveries, work)
        if not item.another
    }


def test_what_turned_up_where_something_was_quoted_is_likelier_where_it_is_quoted_again_and_the_works_are_told() -> (  # noqa: E501
    None
):
    known = studio(30, {n: ["tear mending"] for n in range(0, 8)}, with_lining=11)
    with_it, without = (
        chances(known, "filling", "retouching", "lining removal dry"),
        chances(known, "filling", "retouching"),
    )
    tear = with_it["tear mending"]
    assert 0.45 < tear.chance < 8 / 11 and without["tear mending"].chance < 0.12
    assert (tear.times, tear.of, tear.things) == (8, 11, (("technique", "lining removal dry"),))


def test_a_few_cases_by_chance_move_nothing_much() -> None:
    known = studio(30, {3: ["tear mending"], 20: ["tear mending"]}, with_lining=11)
    with_it, without = (
        chances(known, "filling", "lining removal dry")["tear mending"],
        chances(known, "filling")["tear mending"],
    )
    assert with_it.chance == pytest.approx(2 / 30, abs=0.05) and without.chance == pytest.approx(
        2 / 30, abs=0.05
    )
    assert (with_it.times, with_it.of, with_it.things) == (2, 30, ())


def test_nothing_is_named_that_the_studio_never_did_and_what_stands_on_the_sheet_is_no_discovery() -> None:
    known = studio(12, {1: ["facing"]}, with_lining=4)
    assert set(chances(known, "filling", "retouching")) <= set(TECHNIQUES) - {"filling", "retouching"}
    assert chances(studio(0, {}, with_lining=0), "filling") == {}


def test_with_little_record_things_turn_up_together_more_so_that_the_range_is_wider() -> None:
    few, many = (
        studio(3, {}, with_lining=1),
        studio(80, {n: ["tear mending"] for n in range(0, 80, 7)}, with_lining=30),
    )
    assert few.together > many.together


def test_what_comes_together_in_the_record_is_taken_to_come_together() -> None:
    together = studio(
        60, {n: ["tear mending", "facing", "lining removal dry"] for n in range(0, 60, 6)}, with_lining=0
    )
    apart = studio(
        60,
        {n: [["tear mending"], ["facing"], ["lining removal dry"]][n % 3] for n in range(0, 60, 2)},
        with_lining=0,
    )
    assert together.together > apart.together + 0.1


def test_the_estimate_a_work_began_with_is_what_counts_and_what_was_charged_extra_is_no_surprise(
    store: Store, studio: Bring
) -> None:
    studio(
        "estimates.csv",
        """object,version,made_on,phase,technique,hours
24-001,1,2024-01-05,,retouching,4
24-001,2,2024-02-01,,retouching,4
24-001,2,2024-02-01,,filling,2
24-002,1,2024-01-05,,retouching,4
""",
    )
    studio(
        "time_entries.csv",
        """object,phase,technique,part,person,date,hours,charge
24-001,,solvent tests,,Ilse,2024-01-03,1,
24-001,,retouching,,Ilse,2024-01-10,4,
24-001,,retouching,second tear,Ilse,2024-01-11,1,
24-001,,filling,,Ilse,2024-02-03,2,
24-001,,facing,,Ilse,2024-02-04,1,extra
24-001,,gilding,,Ilse,2024-02-05,1,own_cost
24-002,,retouching,,Ilse,2024-01-10,4,
""",
    )
    studio("objects.csv", "object,title,finished_on\n24-001,,2024-03-01\n")
    past = record(store.cursor(), LATER).foreseen(NOW * 2)
    assert past.objects.tolist() == ["24-001"]  # the other is not finished
    # a revision had it; the first estimate had not
    assert past.techniques[past.turned_up[0]].tolist() == ["filling"]
    assert past.techniques[past.another[0]].tolist() == ["retouching"]
    assert past.techniques[past.worked_before[0]].tolist() == ["solvent tests"]


def test_totals_with_what_may_turn_up_are_as_wide_as_works_have_been() -> None:
    """Known truth: two studios, 40 works quoted after 40 of history; the campaign
    (`tests/benchmarks/quotes.py`) runs 20.
    """
    found = pooled([one_studio(seed, draws=2000) for seed in (4002, 4003)])
    assert 0.70 <= found["inside 80"] <= 0.90 and found["as if apart"] < found["inside 80"] - 0.1
    assert found["bias"] == pytest.approx(1.0, abs=0.10)


def test_what_is_left_out_is_in_no_total_and_the_same_quote_gives_the_same_digits() -> None:
    quoted = draw_quoted(5, 30, 4)
    known = calibration.learn(quoted.studio.history, NOW)
    discoveries = quoted.discoveries(known)
    name = next(iter(quoted.totals))
    asked = quoted.asked(name)
    told, again = (
        quote_total.forecast(known, discoveries, asked),
        quote_total.forecast(known, discoveries, asked),
    )
    assert (told.hours == again.hours).all() and told.hours.shape[1] >= 20_000
    likeliest = told.discoveries[0][1].technique
    without = quote_total.forecast(
        known, discoveries, replace(asked, left_out=frozenset({(name, likeliest)}))
    )
    assert [one.technique for _, one in without.left_out] == [likeliest] and likeliest not in [
        one.technique for _, one in without.discoveries
    ]
    assert without.total().mean() < told.total().mean()
    assert without.total(without_found=True) == pytest.approx(told.total(without_found=True), rel=1e-9)
    # a line that can be found is there as often as its chance says
    at = told.lines
    assert (told.hours[at] > 0).mean() == pytest.approx(told.discoveries[0][1].chance, abs=0.01)


def test_of_a_kind_with_works_enough_they_alone_are_told_from() -> None:
    known = studio(20, {n: ["tear mending"] for n in range(0, 6)}, with_lining=0)
    mixed = replace(
        known,
        described=tuple(
            replace(one, kind="frame") if n >= 10 else one for n, one in enumerate(known.described)
        ),
    )
    painting = chances(mixed, "filling", "retouching")["tear mending"]
    assert (painting.times, painting.of, painting.things) == (6, 10, (("kind", "easel painting"),))
    frame = unforeseen.possible_discoveries(
        mixed, WorkFeatures(kind="frame", techniques=frozenset({"filling"}))
    )
    assert "tear mending" not in [item.technique for item in frame]  # it was never done on one


def test_what_is_nearly_always_done_is_said_where_a_sheet_lacks_it_and_is_no_part_of_what_may_turn_up() -> (
    None
):
    # 58 of 61 works had a report: mostly nobody quoted it
    often = studio(61, {n: ["tear mending"] for n in range(58)} | {60: ["lining removal dry"]}, with_lining=0)
    work = WorkFeatures(kind="easel painting", techniques=frozenset({"filling", "retouching"}))
    (missing,) = unforeseen.usually_done(often, work)
    assert (missing.technique, missing.works, missing.of, missing.kind) == ("tear mending", 58, 61, "")
    found = chances(often, "filling", "retouching")
    assert "tear mending" not in found
    # nor does it make anything else likelier
    rarely = studio(61, {60: ["lining removal dry"]}, with_lining=0)
    assert found["lining removal dry"].chance == pytest.approx(
        chances(rarely, "filling", "retouching")["lining removal dry"].chance, rel=0.05
    )
    assert not often.looked_at(work).turned_up[:, list(often.past.techniques).index("tear mending")].any()
    # on the sheet, or begun already, it is missed by nobody
    for beside in (
        replace(work, techniques=work.techniques | {"tear mending"}),
        replace(work, worked=frozenset({"tear mending"})),
    ):
        assert unforeseen.usually_done(often, beside) == []
    # of fewer than nine in ten, or of fewer than eight works, nothing is said: it may turn up
    for known in (
        studio(61, {n: ["tear mending"] for n in range(54)}, with_lining=0),
        studio(7, {n: ["tear mending"] for n in range(7)}, with_lining=0),
    ):
        assert unforeseen.usually_done(known, work) == [] and "tear mending" in chances(
            known, "filling", "retouching"
        )
    # what is usual on paintings is not for that usual on frames
    mixed = replace(
        often,
        described=tuple(
            replace(one, kind="frame") if n >= 57 else one for n, one in enumerate(often.described)
        ),
    )
    assert [item.of for item in unforeseen.usually_done(mixed, work)] == [57]
    assert unforeseen.usually_done(mixed, replace(work, kind="frame")) == []
