"""A line has one name, in Python, for a frame and in SQL."""

import pandas as pd
import pytest

from ingest.store import Store
from ingest.values.line_names import line_cells, line_name, line_names, phase_name, phase_names

LINES = [
    ("cleaning", "surface cleaning dry", "", "surface cleaning dry"),
    ("cleaning", "surface cleaning dry", "frame", "surface cleaning dry, frame"),
    ("cleaning", "", "", "cleaning as a whole"),
    ("cleaning", "", "the sky", "cleaning as a whole, the sky"),
    ("", "", "", "the work as a whole"),
]


@pytest.mark.parametrize("phase, technique, part, name", LINES)
def test_a_line_is_called_by_its_technique_its_phase_as_a_whole_or_the_work_as_a_whole(
    phase: str, technique: str, part: str, name: str
) -> None:
    assert line_name(phase, technique, part) == name
    assert line_cells(phase, technique, part) == (phase or "all phases", name.removesuffix(f", {part}"), part)


def test_a_frame_of_lines_gets_the_same_names_also_where_the_empty_is_null() -> None:
    frame = pd.DataFrame(LINES, columns=["phase", "technique", "part", "name"])
    assert line_names(frame).tolist() == frame["name"].tolist()
    assert line_names(frame.replace("", None)).tolist() == frame["name"].tolist()
    assert line_names(frame[["phase", "technique"]]).tolist() == [
        line_name(phase, technique) for phase, technique, _, _ in LINES
    ]
    assert line_names(frame.head(0)).tolist() == []
    assert phase_names(frame["phase"]).tolist() == [phase_name(phase) for phase, _, _, _ in LINES]
    assert phase_name("") == "the work as a whole"


def test_the_database_calls_lines_the_same(store: Store) -> None:
    names = [
        store.cursor().execute("SELECT line_name(?, ?)", [phase, technique]).fetchall()[0][0]
        for phase, technique, _, _ in LINES
    ]
    assert names == [line_name(phase, technique) for phase, technique, _, _ in LINES]
