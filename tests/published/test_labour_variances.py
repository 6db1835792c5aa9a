"""Printed labour variances through the real overrun query: hours estimated and logged, parts read out, money
by the printed rates.
"""

from collections.abc import Callable

import pandas as pd
import pytest

from tests.conftest import Bring
from tests.frames import row_of


def _one_line(
    studio: Bring,
    lines: Callable[[], pd.DataFrame],
    *,
    estimated: tuple[float, float],
    actual: tuple[float, float],
) -> pd.Series:
    """A finished line: (quantity, hours) estimated and actual, the actual spread over spells of at most 15
    hours.
    """
    (q0, h0), (q1, h1) = estimated, actual
    studio(
        "estimates.csv",
        f"object,version,made_on,approved_on,phase,technique,quantity,hours\n24-001,1,2000-01-01,2000-01-02,,facing,{q0},{h0}\n",
    )
    spells = int(h1 // 15) + 1
    rows = "".join(
        f"24-001,,facing,P{n % 97},{2001 + n // 9000}-01-01,{h1 / spells!r},{q1 / spells!r},n{n}\n"
        for n in range(spells)
    )
    report = studio("entries.csv", "object,phase,technique,person,date,hours,quantity,note\n" + rows)
    assert report.complete, report.problems.head()
    studio("milestones.csv", "object,phase,technique,finished_on\n24-001,stabilisation,facing,2026-01-01\n")
    return row_of(lines(), 0)


@pytest.mark.parametrize(
    ("made", "standard", "planned", "worked", "rate", "efficiency_variance"),
    [
        # Heisinger & Hoyle, Managerial Accounting (open textbook), section 10.4, Jerry's Ice Cream: 210,000
        # units at 0.10 h and $13; actual 18,900 h: efficiency variance (27,300) favourable. Units are scaled
        # by 1/10 to keep a line below its largest quantity.
        (210_000, 0.10, 210_000, 18_900, 13, -27_300),
        # Warren, Accounting 27e, PE 23-2B: 1,000 units, 3 h at $17; actual 2,800 h: time variance 3,400
        # favourable (inputs as printed, result computed).
        (1_000, 3.0, 1_000, 2_800, 17, -3_400),
        # Warren, Accounting, exercise with printed answer: standard 8,400 h at $23, actual 8,450 h: time
        # variance 1,150 unfavourable.
        (8_400, 1.0, 8_400, 8_450, 23, 1_150),
        # OpenStax, Managerial Accounting 8.3 (from memory): 0.12 h against 0.10 h a box at $8.00: $0.16 a box
        # unfavourable.
        (1_000, 0.10, 1_000, 120, 8, 160),
    ],
)
def test_harder_going_is_the_printed_labour_efficiency_variance(
    studio: Bring,
    lines: Callable[[], pd.DataFrame],
    made: float,
    standard: float,
    planned: float,
    worked: float,
    rate: float,
    efficiency_variance: float,
) -> None:
    row = _one_line(studio, lines, estimated=(planned, planned * standard), actual=(made, worked))
    assert row["slower_hours"] * rate == pytest.approx(efficiency_variance, abs=0.5)
    assert row["more_to_do_hours"] == pytest.approx(0, abs=1e-6)


def test_more_to_treat_is_the_quantity_at_the_estimated_rate_and_the_two_never_mix(
    studio: Bring, lines: Callable[[], pd.DataFrame]
) -> None:
    """The volume part by the rule of the same books: (actual − planned units) × standard hours; efficiency
    from hours allowed for the actual units.
    """
    row = _one_line(studio, lines, estimated=(100, 20), actual=(130, 33.8))
    assert row["more_to_do_hours"] == pytest.approx(30 * 0.2)
    assert row["slower_hours"] == pytest.approx(33.8 - 130 * 0.2)
    assert row["difference_hours"] == pytest.approx(13.8)
