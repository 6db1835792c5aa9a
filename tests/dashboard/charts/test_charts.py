"""Charts through what they become."""

import ast
from pathlib import Path

import pandas as pd

from dashboard import theme
from dashboard.analysis.report.overruns import CAUSES
from dashboard.charts import forecast as forecast_chart
from dashboard.charts import overruns as overruns_chart
from dashboard.formatting import amount, hours, signed_hours

PHASES = pd.DataFrame(
    {
        "phase": ["cleaning", "retouching"],
        "position": [7, 10],
        "works": [3, 4],
        "lines": [5, 6],
        "estimated_hours": [10.0, 4.0],
        "actual_hours": [8.0, 9.5],
        "difference_hours": [-2.0, 5.5],
        "more_to_do_hours": [0.0, 1.0],
        "slower_hours": [-1.0, 4.5],
        "unforeseen_hours": [0.0, 0.0],
        "not_needed_hours": [-1.0, 0.0],
        "open_lines": [0, 0],
        "unused_hours": [0.0, 0.0],
    }
)


def test_the_estimate_is_a_bar_with_a_tick_and_the_difference_is_written() -> None:
    chart = overruns_chart.estimated_against_actual(PHASES, "phase").to_dict()
    assert [layer["mark"]["type"] for layer in chart["layer"]] == ["bar", "tick", "bar", "text", "text"]
    assert chart["layer"][0]["encoding"]["x"]["scale"]["domain"][1] > 10
    rows = next(iter(chart["datasets"].values()))
    assert [row["said"] for row in rows] == ["−2.0 h", "+5.5 h"]
    assert [row["label"] for row in rows] == [
        "cleaning: took 8.0 h of 10.0 h",
        "retouching: took 9.5 h of 4.0 h",
    ]


def test_a_bar_of_open_lines_says_what_is_not_used_yet_where_its_end_would_mislead() -> None:
    under_way = PHASES.assign(open_lines=[2, 1], unused_hours=[3.5, 0.0], difference_hours=[1.5, 5.5])
    chart = overruns_chart.estimated_against_actual(under_way, "phase").to_dict()
    rows = next(iter(chart["datasets"].values()))
    assert [row["label"] for row in rows] == [
        "cleaning: 8.0 h so far of 10.0 h",
        "retouching: 9.5 h so far of 4.0 h",
    ]
    # 10.0 + 1.5 − 3.5 = 8.0
    assert [row["detail"] for row in rows] == ["+1.5 h finished or over already, 3.5 h not used yet", ""]
    assert [row["said"] for row in rows] == ["", "+5.5 h"] and [row["beyond"] for row in rows] == [
        False,
        True,
    ]
    begun = overruns_chart.estimated_against_actual(
        under_way.assign(actual_hours=[0.0, 9.5], difference_hours=[0.0, 5.5]), "phase"
    ).to_dict()
    assert (
        next(row["label"] for row in next(iter(begun["datasets"].values())))
        == "cleaning: 10.0 h estimated, not begun"
    )


def test_every_axis_of_numbers_is_written_in_one_way() -> None:
    """With as many decimals as its steps need, from quarter hours to thousands; `g` would write 10 as 1e+1
    (d3: the precision of `g` is that of the step).
    """
    assert (theme.NUMBER, theme.SIGNED_NUMBER) == (",~f", "+,~f")
    for file in (Path(overruns_chart.__file__).parent).glob("*.py"):
        for call in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and ast.unparse(call.func) == "alt.Axis":
                said = {keyword.arg: ast.unparse(keyword.value) for keyword in call.keywords}
                if said["title"] == "None" or said["title"].startswith("'week"):  # of days, and of words
                    assert "format" not in said or said["format"].startswith("'%"), (
                        f"{file.name}: {ast.unparse(call)}"
                    )
                else:
                    assert said["format"] in ("theme.NUMBER", "theme.SIGNED_NUMBER"), (
                        f"{file.name}: {ast.unparse(call)}"
                    )


def test_the_causes_keep_the_words_of_the_screens() -> None:
    chart = overruns_chart.causes(PHASES, "phase", CAUSES).to_dict()
    assert chart["layer"][0]["encoding"]["color"]["scale"]["domain"] == [
        "more to treat",
        "harder going than quoted",
        "found on the way",
        "quoted, not needed",
    ]
    assert chart["config"]["axis"]["labelFontSize"] >= 13


def test_hours_are_written_to_a_tenth_with_their_sign_and_unknown_is_a_dash() -> None:
    assert [hours(1234.56), hours(float("nan")), hours(-0.04)] == ["1,234.6", "–", "0.0"]
    assert [signed_hours(1.25), signed_hours(-3.06), signed_hours(0.01), signed_hours(float("nan"))] == [
        "+1.3",
        "−3.1",
        "0.0",
        "–",
    ]
    assert [amount(3.0, "dm2"), amount(2.5, "cm"), amount(None, "cm"), amount(float("nan"), None)] == [
        "3 dm²",
        "2.5 cm",
        "",
        "",
    ]


WORKS = pd.DataFrame(
    {
        "object": ["24-001", "24-002"],
        "approved_hours": [20.0, float("nan")],
        "actual_hours": [8.0, 3.0],
        "p10": [21.0, 5.0],
        "p50": [25.0, 7.0],
        "p90": [32.0, 11.0],
        "chance_over_approved": [0.93, float("nan")],
        "label": ["24-001: 25.0 h of 20.0 h approved", "24-002: 7.0 h"],
    }
)


def test_a_work_on_the_bench_is_a_line_with_a_dot_and_a_tick_only_where_hours_were_approved() -> None:
    chart = forecast_chart.ends(WORKS).to_dict()
    assert [layer["mark"]["type"] for layer in chart["layer"]] == [
        "bar",
        "rule",
        "circle",
        "text",
        "tick",
        "point",
    ]
    assert chart["layer"][0]["encoding"]["x"]["scale"]["domain"][1] > 32
    rows = next(iter(chart["datasets"].values()))
    assert [row["over"] for row in rows] == [True, False] and [row["label"] for row in rows] == WORKS[
        "label"
    ].tolist()
    alone = forecast_chart.ends(WORKS[1:]).to_dict()
    # a layer of nothing is a picture without a name
    assert "tick" not in [layer["mark"]["type"] for layer in alone["layer"]]


def test_how_a_work_was_foretold_is_a_band_with_its_middle_and_steps_of_what_was_approved() -> None:
    history = pd.DataFrame(
        {
            "day": pd.to_datetime(["2024-01-10", "2024-01-12", "2024-01-20"]),
            "approved_hours": [float("nan"), 20.0, 20.0],
            "actual_hours": [2.0, 5.0, 9.0],
            "p10": [14.0, 16.0, 20.0],
            "p50": [22.0, 23.0, 25.0],
            "p90": [36.0, 33.0, 29.0],
        }
    )
    chart = forecast_chart.told_before(history).to_dict()
    assert [layer["mark"]["type"] for layer in chart["layer"]] == [
        "area",
        "line",
        "line",
        "circle",
        "line",
        "text",
        "text",
    ]
    assert chart["layer"][0]["encoding"]["y"]["scale"]["domain"] == [0, 36.0 * 1.06]
    never = forecast_chart.told_before(history.assign(approved_hours=float("nan"))).to_dict()
    assert [layer["mark"]["type"] for layer in never["layer"]] == ["area", "line", "line", "circle", "text"]
