"""Hours of a phase that nobody promised, beside a promise that took none."""

from datetime import date

import pytest

from dashboard import queries
from dashboard.analysis.report.phase_names import overdue_works, promised_under_another
from dashboard.cli.main import main
from dashboard.text.overruns import two_names
from ingest.store import Store
from tests.conftest import Bring
from tests.drawn import draw, words_of

TODAY = date(2024, 3, 1)
ESTIMATES = "object,version,made_on,approved_on,phase,technique,part,hours\n"
ENTRIES = "object,phase,technique,part,person,date,hours,discovery\n"
ONE_PROMISE = (
    ESTIMATES
    + "24-001,1,2024-01-05,2024-01-06,documentation,,,3\n24-001,1,2024-01-05,2024-01-06,varnish,,,6\n"
)
FINISHED = "object,finished_on\n24-001,2024-02-25\n"
MEND = (
    "If it is the same work, correct the phase in the estimate or of the entries; where a table has a word of"
    " its own for the phase, say under Bring in logs what it means."
)
PHASES = "phase,position\ndocumentation,1\ncleaning,2\nvarnish,3\nframing,4\n"


def said(store: Store) -> list[str]:
    con = store.cursor()
    lines = queries.overruns(con, TODAY)
    return two_names(promised_under_another(lines, overdue_works(queries.works(con, TODAY), TODAY)))


def test_hours_of_a_phase_nobody_promised_beside_a_promise_that_took_none_may_be_one_work(
    studio: Bring, store: Store
) -> None:
    studio("phases.csv", PHASES)
    studio("est.csv", ONE_PROMISE)
    entries = "24-001,documentation,,,Ilse,2024-02-01,3,\n24-001,cleaning,,,Ilse,2024-02-02,6.5,\n"
    studio("e.csv", ENTRIES + entries)
    assert said(store) == []  # the work goes on: the varnish may still come
    studio("f.csv", FINISHED)
    assert said(store) == [
        (
            "6.5 h were logged under cleaning, which nobody promised, and none of the 6.0 h promised for"
            " varnish: the same work under two names?"
        ),
        MEND,
    ]
    # under a tenth of the promise is hardly any, a tenth of it is not (the rule of the docstring)
    studio("more.csv", ENTRIES + "24-001,varnish,,,Ilse,2024-02-03,0.5,\n")
    assert "and only 0.5 h of the 6.0 h promised for varnish" in said(store)[0]
    studio("enough.csv", ENTRIES + "24-001,varnish,,,Ilse,2024-02-04,0.1,\n")
    assert said(store) == []


@pytest.mark.parametrize(
    ("entry", "likely"),
    [
        ("cleaning,,,Ilse,2024-02-02,3,", True),
        ("cleaning,,,Ilse,2024-02-02,12,", True),
        ("cleaning,,,Ilse,2024-02-02,2.9,", False),  # less than half of what was promised
        ("cleaning,,,Ilse,2024-02-02,12.1,", False),  # more than twice
        ("cleaning,,,Ilse,2024-02-02,6,yes", False),  # found on the way, and noted so
        ("cleaning,,frame,Ilse,2024-02-02,6,", False),  # of a part that was opened afterwards
        ("documentation,,,Ilse,2024-02-02,6,", False),  # of a promised phase
    ],
)
def test_only_what_is_likely_one_work_is_asked_about(
    entry: str, likely: bool, studio: Bring, store: Store
) -> None:
    studio("phases.csv", PHASES)
    studio("est.csv", ONE_PROMISE)
    studio("f.csv", FINISHED)
    studio("e.csv", f"{ENTRIES}24-001,documentation,,,Ilse,2024-02-01,3,\n24-001,{entry}\n")
    assert bool(said(store)) == likely


def test_a_work_past_its_day_is_asked_about_though_it_is_not_finished(studio: Bring, store: Store) -> None:
    studio("phases.csv", PHASES)
    studio("est.csv", ONE_PROMISE)
    studio("e.csv", ENTRIES + "24-001,cleaning,,,Ilse,2024-02-02,6,\n")
    studio("due.csv", f"object,due_on\n24-001,{TODAY}\n")
    assert said(store) == []  # due on the very day
    studio("due.csv", "object,due_on\n24-001,2024-02-29\n")
    assert "none of the 6.0 h promised for varnish" in said(store)[0]


def test_a_promise_is_paired_with_the_phase_of_the_nearest_hours_alone(studio: Bring, store: Store) -> None:
    studio("phases.csv", PHASES)
    studio("est.csv", ONE_PROMISE)
    studio("f.csv", FINISHED)
    studio("e.csv", ENTRIES + "24-001,cleaning,,,Ilse,2024-02-02,8,\n24-001,framing,,,Ilse,2024-02-03,6.5,\n")
    assert [sentence[:29] for sentence in said(store)] == ["6.5 h were logged under frami", MEND[:29]]


def test_pages_and_the_command_ask_by_the_works(
    studio: Bring, store: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    studio("phases.csv", PHASES)
    studio("est.csv", ONE_PROMISE + "24-002,1,2024-01-05,2024-01-06,varnish,,,4\n")
    studio("f.csv", FINISHED + "24-002,2024-02-25\n")
    studio(
        "e.csv", ENTRIES + "24-001,cleaning,,,Ilse,2024-02-02,6.5,\n24-002,cleaning,,,Ilse,2024-02-03,5,\n"
    )
    of_both = " 11.5 h were logged under cleaning, which nobody promised, and none of the 10.0 h promised"
    hours = words_of(draw(monkeypatch, store, "where_the_hours_went"))
    assert f"On 2 works (24-001 Ferry in snow, 24-002 Weir at dusk){of_both}" in hours
    assert MEND in hours
    work = words_of(draw(monkeypatch, store, "one_work", object="24-002"))
    assert "5.0 h were logged under cleaning, which nobody promised" in work
    store.close()
    assert main(["overruns", "--db", str(store.path)]) == 0
    assert f"On 2 works (24-001, 24-002){of_both}" in capsys.readouterr().out
    assert main(["overruns", "--object", "24-001", "--db", str(store.path)]) == 0
    assert "6.5 h were logged under cleaning, which nobody promised" in capsys.readouterr().out
