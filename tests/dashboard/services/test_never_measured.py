"""What was never measured is not known: through no other technique's quantities, and with a spread."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.analysis.data.lines import Lines, join
from dashboard.analysis.models import calibration, hours_prediction
from dashboard.analysis.models import rate_table as rate_tables
from dashboard.cli.main import main
from dashboard.services import forecast as forecast_service
from dashboard.services import quote as quote_service
from dashboard.services import quote_build, quote_context, quote_lines
from dashboard.services import rates as rates_service
from dashboard.services.quote import WorkQuoted
from dashboard.services.result_cache import ResultCache
from dashboard.text.quote import surprises
from dashboard.text.rates import rate_explained
from ingest.editing import pinned_rates, quote_drafts
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from ingest.studio.settings import read_settings
from ingest.tables.audit_log import Change
from tests import prepared
from tests.benchmarks.unmeasured import one_studio, pooled
from tests.conftest import Bring, bring_into
from tests.frames import number, record, row_of
from tests.invented_truth import NOW

PICTURE = {"kind": "easel painting", "support": "canvas", "width_cm": "100"}
AS_OF = date(2026, 6, 1)
OBJECTS = "object,title,kind,support,height_cm,width_cm,finished_on\n"
ENTRIES = "object,technique,phase,person,date,hours,quantity,unit\n"
FIRST = OBJECTS + "26-001,Mill pond,easel painting,canvas,70,100,2026-03-01\n"
FIRST_HOURS = ENTRIES + "26-001,retouching,,Ilse,2026-02-20,7.75,,\n26-001,retouching,,Ilse,2026-02-21,8,,\n"


def quoted(store: Store, *lines: dict[str, str], height_cm: str = "70") -> WorkQuoted:
    """Lines on a picture, 100 cm wide, as they are quoted."""
    work = QuotedWork(described=PICTURE | {"height_cm": height_cm}, lines=list(lines))
    reads = [quote_drafts.read_over(store, work, AS_OF, {})]
    return quote_build.quoted(
        quote_context.load_context(store.cursor(), AS_OF),
        Quote(works=[work]),
        reads,
        read_settings(store.cursor()),
    ).works[0]


def p50(store: Store, line: dict[str, str], height_cm: str = "70") -> float:
    return float(quoted(store, line, height_cm=height_cm).options[0].lines["p50"].iloc[0])


def rate_of(store: Store, technique: str) -> dict[str, Any]:
    table = rates_service.rate_table(store.cursor(), AS_OF, rates_service.calibrated(store.cursor(), AS_OF))
    return record(table[table["technique"] == technique])


@pytest.fixture(scope="module")
def one_work_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("one work")
    path = folder / "studio.duckdb"
    with prepared.new_studio() as store:
        bring_into(store, folder, "objects.csv", FIRST)
        bring_into(store, folder, "hours.csv", FIRST_HOURS)
        store.cursor().execute("CHECKPOINT")
        shutil.copy(store.path, path)
    return path


@pytest.fixture
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A studio without works; with `one_work`, that one."""
    if "one_work" not in request.fixturenames:
        with prepared.new_studio() as opened:
            yield opened
        return
    shutil.copy(request.getfixturevalue("one_work_file"), tmp_path / "studio.duckdb")
    with Store(tmp_path / "studio.duckdb") as opened:
        yield opened


@pytest.fixture
def one_work(store: Store) -> Store:
    """One finished work of 70 × 100 cm, its retouching 15.75 h that nobody measured."""
    return store


@pytest.mark.parametrize("hours", [3.0, 9.5, 18.0])
def test_a_measured_line_of_another_technique_moves_what_was_never_measured_by_less_than_a_quarter(
    one_work: Store, bring: Bring, hours: float
) -> None:
    before = p50(one_work, {"technique": "retouching", "quantity": "8"})
    bring("more.csv", OBJECTS + "26-002,Harbour,easel painting,canvas,74,80,2026-05-01\n")
    bring(
        "cleaning.csv",
        ENTRIES
        + "".join(
            f"26-002,surface cleaning aqueous,,Ilse,2026-04-{day},{hours / 2},29.6,dm2\n" for day in (20, 21)
        ),
    )
    after = p50(one_work, {"technique": "retouching", "quantity": "8"})
    assert 0.75 < after / before < 1.25
    row = rate_of(one_work, "retouching")
    assert (
        row["unit"] is None
        and row["counted_in"] == "dm2"
        and np.isnan(float(row["reference_quantity"]))
        and 5 < float(row["rate"]) < 16
    )
    assert rate_of(one_work, "surface cleaning aqueous")["unit"] == "dm2"


def test_what_another_technique_measured_moves_nothing_of_what_was_never_measured(
    one_work: Store, bring: Bring
) -> None:
    bring("more.csv", OBJECTS + "26-002,Harbour,easel painting,canvas,74,80,2026-05-01\n")
    bring(
        "cleaning.csv",
        "entry," + ENTRIES + "C,26-002,surface cleaning aqueous,,Ilse,2026-04-20,9.5,59.2,dm2\n",
    )
    unmeasured = (
        {"technique": "retouching", "quantity": "8"},
        {"technique": "retouching"},
        {"technique": "filling"},
    )
    before = [p50(one_work, line) for line in unmeasured]
    bring(
        "again.csv", "entry," + ENTRIES + "C,26-002,surface cleaning aqueous,,Ilse,2026-04-20,9.5,1.5,dm2\n"
    )
    after = [p50(one_work, line) for line in unmeasured]
    assert after == pytest.approx(before, rel=1e-9)


def test_a_quantity_moves_a_technique_only_once_a_line_of_it_was_measured(
    one_work: Store, bring: Bring
) -> None:
    assert (
        p50(one_work, {"technique": "retouching", "quantity": "8"})
        == p50(one_work, {"technique": "retouching", "quantity": "40"})
        == p50(one_work, {"technique": "retouching"})
    )
    bring("more.csv", OBJECTS + "26-002,Harbour,easel painting,canvas,74,80,2026-05-01\n")
    bring("measured.csv", ENTRIES + "26-002,retouching,,Ilse,2026-04-20,6,10,dm2\n")
    assert p50(one_work, {"technique": "retouching", "quantity": "40"}) > 2 * p50(
        one_work, {"technique": "retouching", "quantity": "8"}
    )
    row = rate_of(one_work, "retouching")
    assert (
        row["unit"] == "dm2"
        and float(row["reference_quantity"]) == 10
        and row["measured"] == 1
        and row["lines"] == 2
    )


def test_what_is_filled_in_comes_from_the_techniques_own_measured_lines_alone(
    one_work: Store, bring: Bring
) -> None:
    bring("more.csv", OBJECTS + "26-002,Harbour,easel painting,canvas,50,60,2026-05-01\n")
    bring(
        "measured.csv",
        ENTRIES + "26-002,filling,,Ilse,2026-04-20,2,3,dm2\n26-002,varnish removal with solvent"
        " gel,,Ilse,2026-04-21,6,30,dm2\n",
    )
    work = quoted(
        one_work,
        *({"technique": name} for name in ("filling", "varnish removal with solvent gel", "retouching")),
    )
    lines = work.options[0].lines.set_index("technique")
    # a tenth of 70 dm²
    assert lines.at["filling", "quantity"] == 7 and lines.at["filling", "filled_in"] == pytest.approx(0.1)
    assert (
        lines.at["varnish removal with solvent gel", "quantity"] == 70
        and lines.at["varnish removal with solvent gel", "filled_in"] == 1
    )
    assert np.isnan(number(lines, "retouching", "quantity")) and np.isnan(
        number(lines, "retouching", "filled_in")
    )
    assert any("retouching: no line of it was measured here yet" in note for note in work.notes)
    assert quote_lines.quoted_quantity(work.options[0].lines).notna().tolist() == [
        name.startswith("varnish") for name in work.options[0].lines["technique"]
    ]


def test_of_a_work_like_it_without_an_estimate_nothing_is_said_to_have_turned_up(one_work: Store) -> None:
    now, work = (
        quote_context.load_context(one_work.cursor(), AS_OF),
        quoted(one_work, {"technique": "retouching"}),
    )
    assert surprises(now.lines, quote_service.similar_works(now, work)) == {
        "26-001": "; took 15.8 h; it had no estimate to hold that against"
    }


def test_a_larger_picture_takes_longer_where_nothing_was_measured(one_work: Store) -> None:
    small, same, large = (
        p50(one_work, {"technique": "retouching"}, height) for height in ("35", "70", "140")
    )
    assert small < same < large


def test_the_page_and_the_command_say_that_one_measured_line_makes_a_rate(
    one_work: Store,
    bring: Bring,
    tmp_path_factory: pytest.TempPathFactory,
    capsys: pytest.CaptureFixture[str],
) -> None:
    table = rates_service.rate_table(
        one_work.cursor(), AS_OF, rates_service.calibrated(one_work.cursor(), AS_OF)
    ).set_index("technique", drop=False)
    assert "One measured line makes a rate per dm²" in rate_explained(row_of(table, "retouching"))[0]
    folder = tmp_path_factory.mktemp("never")
    for name, text in (("objects.csv", FIRST), ("hours.csv", FIRST_HOURS)):
        (folder / name).write_text(text)
    db = ["--db", str(folder / "studio.duckdb")]
    assert main(["import", str(folder / "objects.csv"), str(folder / "hours.csv"), *db]) == 0
    capsys.readouterr()
    assert main(["rates", "--technique", "retouching", "--json", *db]) == 0
    [told] = json.loads(capsys.readouterr().out)
    assert (
        told["unit"] is None
        and told["reference_quantity"] is None
        and told["elasticity"] is None
        and told["rate_low"] < told["rate"] < told["rate_high"]
    )
    assert main(["rates", *db]) == 0
    assert "a line on 70 dm²" in capsys.readouterr().out


def test_hours_per_unit_that_are_pinned_hold_where_nothing_was_measured(one_work: Store) -> None:
    free = p50(one_work, {"technique": "retouching", "quantity": "8"})
    with one_work.writing() as con:
        pinned_rates.pin(con, "retouching", 0.5, AS_OF, Change(by="Ilse", reason="a new palette"))
    # the middle of its lines is not quite that of the rate
    assert p50(one_work, {"technique": "retouching", "quantity": "8"}) == pytest.approx(4.0, rel=0.05)
    assert p50(one_work, {"technique": "retouching", "quantity": "16"}) == pytest.approx(8.0, rel=0.05)
    # per dm² of nobody knows how many
    assert p50(one_work, {"technique": "retouching"}) == pytest.approx(free, rel=1e-9)
    known = rates_service.calibrated(one_work.cursor(), AS_OF)
    assert rate_tables.pins(rates_service.rate_table(one_work.cursor(), AS_OF, known)).by_rate == {}


def _lines(technique: str, hours: list[float], quantity: list[float], area: list[float], first: int) -> Lines:
    n, nothing = len(hours), np.full(len(hours), np.nan)
    return Lines(
        object=np.array([f"W{first + number}" for number in range(n)]),
        phase=np.full(n, "retouching"),
        technique=np.full(n, technique),
        part=np.full(n, ""),
        unit=np.full(n, "dm2"),
        kind=np.full(n, ""),
        hours=np.array(hours),
        quantity=np.array(quantity),
        quoted=nothing,
        figure=nothing,
        condition=nothing,
        area=np.array(area),
        person=np.full(n, ""),
        shares=np.ones((n, 1)),
        people=("Ilse",),
        day=np.full(n, NOW - 10),
        is_open=np.zeros(n, dtype=bool),
        weight=np.ones(n),
    )


@given(
    hours=st.lists(st.floats(0.25, 60), min_size=1, max_size=6),
    quantity=st.floats(0.1, 5000),
    other=st.floats(0.1, 5000),
)
def test_sizes_of_another_technique_say_nothing(hours: list[float], quantity: float, other: float) -> None:
    never = _lines("retouching", hours, [np.nan] * len(hours), [70.0] * len(hours), 0)

    def told(size: float) -> np.ndarray:
        known = calibration.learn(join(never, _lines("cleaning", [9.5], [size], [59.2], 100)), NOW)
        one = replace(
            never.take(np.zeros(1, dtype=np.int64)),
            object=np.array(["new"]),
            hours=np.full(1, np.nan),
            quoted=np.array([8.0]),
        )
        return np.concatenate(hours_prediction.predict_alone(known.joint, one))

    assert told(quantity) == pytest.approx(told(other), rel=1e-9)


def test_studios_that_measure_little_are_told_within_their_ranges_and_better_than_by_their_own_medians() -> (
    None
):
    found = pooled([one_studio(seed, 10, 0.4, "quantity") for seed in (15000, 15001, 15002, 15003)])
    assert 0.7 < found["inside 80"] < 0.9 and found["off"] < found["scaled"]


def test_what_was_measured_on_a_line_under_way_weighs_where_three_works_are_all_there_is(
    bring: Bring, store: Store
) -> None:
    works, technique = range(1, 5), "surface cleaning aqueous"
    bring(
        "o.csv",
        "object,height_cm,width_cm,finished_on\n"
        + "".join(f"26-00{n},74,80,{f'2026-03-0{n}' if n < 4 else ''}\n" for n in works),
    )
    bring(
        "e.csv",
        "object,version,made_on,approved_on,phase,technique,quantity,unit,hours\n"
        + "".join(
            f"26-00{n},1,2026-01-0{n},2026-01-0{n},,{technique},59.2,dm2,{14 if n < 4 else 16}\n"
            for n in works
        ),
    )
    done = [
        (1, "02-01", 12, 59.2),
        (2, "02-02", 14, 59.2),
        (3, "02-03", 15, 59.2),
        (4, "05-20", 8.5, 14),
        (4, "05-21", 9, 14),
    ]
    bring(
        "t.csv",
        "object,phase,technique,person,date,hours,quantity,unit\n"
        + "".join(
            f"26-00{n},,{technique},Ilse,2026-{day},{hours},{dm2},dm2\n" for n, day, hours, dm2 in done
        ),
    )
    line = (
        forecast_service.bench(store.cursor(), AS_OF, ResultCache()).lines.set_index("object").loc["26-004"]
    )
    straight = 17.5 / (28 / 59.2)  # 37.0 h, at the pace so far
    assert 17.5 < line["p10"] < 26.5 < line["p90"]  # what such a line took
    assert line["p50"] > (14 + straight) / 2 and line["p90"] > 0.95 * straight
