"""What a page reads is of the store it stands on, and of now."""

from functools import partial
from pathlib import Path

import pytest

from dashboard.ui import page_data
from ingest.store import Store
from tests.conftest import LATER, bring_into


def test_two_studios_with_as_many_writes_never_show_each_other_s_figures(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Store(tmp_path / "a.duckdb") as one, Store(tmp_path / "b.duckdb") as other:
        for store, code in ((one, "A1"), (other, "B1")):
            bring = partial(bring_into, store, tmp_path)
            bring("o.csv", f"object\n{code}\n")
            bring("e.csv", f"object,phase,technique,person,date,hours\n{code},,facing,Ilse,2024-02-01,1\n")
        assert one.changes() == other.changes()
        for store, code in ((one, "A1"), (other, "B1")):
            monkeypatch.setattr(page_data, "store", lambda store=store: store)
            assert page_data.overruns(LATER)["object"].tolist() == [code]


def test_a_write_is_seen_at_the_next_look(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with Store(tmp_path / "c.duckdb") as store:
        bring = partial(bring_into, store, tmp_path)
        monkeypatch.setattr(page_data, "store", lambda: store)
        bring("o.csv", "object\nC1\n")
        assert page_data.overruns(LATER).empty
        bring("e.csv", "object,phase,technique,person,date,hours\nC1,,facing,Ilse,2024-02-01,1\n")
        assert page_data.overruns(LATER)["actual_hours"].tolist() == [1.0]
