"""A part of a phase as a whole is told by its share of the phase where finished works tell that.

Common practice, no source: a frame is cleaned beside its painting, and its hours are written down apart.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest

from dashboard import queries
from dashboard.analysis.data import part_shares
from dashboard.analysis.data.levels import whole_of
from dashboard.services import forecast as forecast_service
from dashboard.services import rates as rates_service
from dashboard.services.result_cache import ResultCache
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.store import Store
from tests import prepared
from tests.conftest import LATER, bring_into
from tests.dashboard.quoting import quoted_of
from tests.frames import number

WORKS = 8


def filled(store: Store, folder: Path, parts: bool) -> None:
    """Works of which a fifth of the cleaning is of the frame, said or not."""
    objects, log = ["object,kind,height_cm,width_cm,finished_on"], ["object,phase,part,person,date,hours"]
    for item in range(1, WORKS + 1):
        day = date(2025, 1, 6) + timedelta(weeks=4 * item)
        hours = 8 + (item * 5) % 7
        objects.append(f"25-{item:03},easel painting,{50 + item},60,{day}")
        log.append(f"25-{item:03},cleaning,,Odile,{day - timedelta(days=3)},{0.8 * hours:.2f}")
        log.append(f"25-{item:03},cleaning,{'frame' if parts else ''},Odile,{day},{0.2 * hours:.2f}")
    objects.append("26-001,easel painting,55,60,")
    for name, rows in (("objects.csv", objects), ("log.csv", log)):
        assert bring_into(store, folder, name, "\n".join([*rows, ""])).complete


def quoted(store: Store, *lines: dict[str, str]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    quote = Quote(works=[QuotedWork(object="26-001", lines=list(lines))])
    work = quoted_of(store, quote).works[0]
    return work.options[0].lines, work.notes


@pytest.mark.parametrize("parts", [True, False], ids=["told apart", "never told"])
def test_a_part_without_hours_takes_its_share_of_the_phase_where_finished_works_tell_it(
    tmp_path: Path, parts: bool
) -> None:
    with prepared.new_studio(works=False) as store:
        filled(store, tmp_path, parts)
        con = store.cursor()
        today = queries.today(con)
        record = queries.record(con, today + timedelta(days=1))
        shares = part_shares.learn(record, rates_service.number_of(today) + 1)
        whole, _ = quoted(store, {"phase": "cleaning"})
        part, notes = quoted(store, {"phase": "cleaning", "part": "frame"})
        by_share = number(part, 0, "p50") / number(whole, 0, "p50")
        assert not part["pinned"].any()
        if parts:
            assert list(shares) == [(whole_of("cleaning"), "frame")]
            share = shares[whole_of("cleaning"), "frame"]
            assert share.share == pytest.approx(0.2, abs=0.002) and share.works == WORKS
            assert by_share == pytest.approx(share.share, rel=2e-3)
            assert (
                "cleaning as a whole, frame: told as 20 % of the phase, as it took on 8 finished works."
                in notes
            )
        else:
            assert not shares and by_share == pytest.approx(1.0)
            assert any("told like the whole phase, as no finished work says" in note for note in notes)
        _, notes = quoted(store, {"phase": "cleaning", "part": "frame", "hours": "3"})
        assert not any("as a whole, frame" in note for note in notes)


def test_a_part_on_the_bench_ends_by_its_share_of_the_phase(tmp_path: Path) -> None:
    ends = []
    for parts in (True, False):
        with prepared.new_studio(works=False) as store:
            filled(store, tmp_path, parts)
            made = f"26-001,1,{LATER - timedelta(days=2)},retouching,,5"
            head = "object,version,made_on,phase,part,hours"
            assert bring_into(store, tmp_path, "estimates.csv", f"{head}\n{made}\n").complete
            log = f"object,phase,part,person,date,hours\n26-001,cleaning,frame,Odile,{LATER},0.25\n"
            assert bring_into(store, tmp_path, "new.csv", log).complete
            con = store.cursor()
            lines = forecast_service.bench(con, LATER, ResultCache()).lines
            ends.append(float(lines.loc[lines["part"] == "frame", "p50"].iloc[0]))
    assert ends[0] < 0.4 * ends[1]
