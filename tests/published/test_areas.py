"""Areas of objects against plane geometry, by numerical integration of the outline."""

import numpy as np
import pytest

from dashboard import queries
from ingest.store import Store
from tests.conftest import Bring


def _ellipse_dm2(height: float, width: float) -> float:
    """The area under half an ellipse's outline, twice, by the trapezoidal rule (numpy)."""
    # closer steps where the outline is steep
    x = np.sin(np.linspace(-np.pi / 2, np.pi / 2, 20_001)) * width / 2
    y = height / 2 * np.sqrt(np.maximum(0, 1 - (2 * x / width) ** 2))
    return 2 * float(np.trapezoid(y, x)) / 100


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("rectangle,60,80,", 48.0),
        (",60,24 in,", 60 * 60.96 / 100),
        ("oval,40,30,", _ellipse_dm2(40, 30)),
        ("round,50,50,", _ellipse_dm2(50, 50)),
        ("round,50,,", _ellipse_dm2(50, 50)),
        ("irregular,50,40,", None),
        ("irregular,50,40,17.5", 17.5),
        ("rectangle,60,80,46", 46.0),
        ("rectangle,60,,", None),
    ],
)
def test_the_area_of_an_object_follows_its_shape_and_what_was_said_wins(
    bring: Bring, store: Store, row: str, expected: float | None
) -> None:
    assert bring("o.csv", f"object,shape,height_cm,width_cm,area_dm2\n24-001,{row}\n").complete
    found = queries.area_dm2(store.cursor(), "24-001")
    assert found == (None if expected is None else pytest.approx(expected, rel=1e-6))
