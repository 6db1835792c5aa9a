"""Types of numpy arrays, and numbers from cells of frames."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]


Integers = npt.NDArray[np.int64]


Flags = npt.NDArray[np.bool_]


def number_or_nan(value: Any) -> float:
    """A cell of a frame as a number; not a number where it is unknown."""
    return float("nan") if value is None or pd.isna(value) else float(value)
