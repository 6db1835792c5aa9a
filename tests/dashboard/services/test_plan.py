"""The bench plan, from the record to days: in a small studio of one's own and in the invented one; as a
command, and as a calendar.
"""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import icalendar
import numpy as np
import pandas as pd
import pytest
import vobject

from dashboard import queries
from dashboard.cli.main import main
from dashboard.documents import plan_ical
from dashboard.services import forecast as forecast_service
from dashboard.services import plan as plan_service
from dashboard.services import plan_new_work
from dashboard.services.plan import Plan
from dashboard.services.result_cache import ResultCache, content_digest
from dashboard.text import plan as plan_text
from ingest.safekeeping.integrity import sums
from ingest.store import Store
from ingest.studio import people
from ingest.studio.settings import write_settings
from tests import conftest, prepared
from tests.conftest import CHANGE
from tests.dashboard.saved_quotes import bring_into, finish, log

SUNDAY = date(2024, 3, 3)  # the plan begins on the Monday
HEAD = "object,version,made_on,approved_on,phase,technique,person,hours,unattended_hours\n"


def settled(store: Store, **text: str) -> None:
    with store.writing() as con:
        write_settings(con, text)


def plan_of(store: Store, on: date = SUNDAY) -> Plan:
    """The plan as of a day, made once of each content of a database."""
    con = store.cursor()
    key = content_digest(on, sums(con))
    if key not in _plans:
        _plans[key] = plan_service.plan(con, on, ResultCache())
    return _plans[key]


_plans: dict[str, Plan] = {}


@pytest.fixture(scope="module", autouse=True)
def _forgotten_plans() -> Iterator[None]:
    yield
    _plans.clear()


def row(plan: Plan, code: str) -> pd.Series:
    return plan.works[plan.works["object"] == code].iloc[0]


@pytest.fixture
def two() -> Iterator[Store]:
    """Two works with approved estimates; nothing logged, so that people have the usual hours."""
    lines = [
        f"{code},1,2024-02-01,2024-02-05,{line}"
        for code in ("24-001", "24-002")
        for line in (",facing,,8,0", "structural repair,pressing,,1,168", ",filling,,8,0")
    ]

    def make(store: Store, folder: Path) -> None:
        assert conftest.bring_into(store, folder, "estimates.csv", HEAD + "\n".join(lines)).complete
        settled(store, bench_hours_per_week="20")

    with prepared.copied("two works with estimates", make) as opened:
        yield opened


def test_works_are_ready_when_their_hours_and_waits_have_passed(two: Store) -> None:
    """By hand: the same steps and weeks, drawn as they are, and passed through a plain reckoning of one bench
    with five days of so many hours, draw by draw.
    """
    plan = plan_of(two)
    assert (
        plan.first_day == date(2024, 3, 4)
        and plan.people[0].weekly == 20
        and plan.people[0].source == "usual"
    )
    bench = forecast_service.bench(two.cursor(), SUNDAY, ResultCache())
    for code in ("24-001", "24-002"):
        found = bench.works[bench.works["object"] == code].iloc[0]
        assert (
            row(plan, code)["bench_p50"] == found["p50"] - found["actual_hours"]
            and row(plan, code)["bench_p80"] == found["p80"] - found["actual_hours"]
        )
    first = plan.queue[0]
    hours, waits = first.hours.sum(axis=0), first.waits.sum(axis=0)
    assert np.median(waits) == pytest.approx(7, rel=0.1) and np.median(first.hours[1]) > 0
    alone = (row(plan, "24-001")["leaves_p50"] - pd.Timestamp(plan.first_day)).days
    # whole days, and weekends
    assert np.median(hours) / 20 * 7 + 7 - 3 <= alone <= np.median(hours) / 20 * 7 + 7 + 5
    later = row(plan, "24-002")
    assert later["queue_days"] > 0 and later["alone_p50"] == row(plan, "24-001")["alone_p50"]
    assert (
        plan.works[["leaves_p10", "leaves_p50", "leaves_p80", "leaves_p90"]].diff(axis=1).iloc[:, 1:]
        >= pd.Timedelta(0)
    ).all(axis=None)


def test_what_presses_alone_is_filled_by_the_other_work(two: Store) -> None:
    plan = plan_of(two)
    waited, together = (row(plan, code)["leaves_p50"] for code in ("24-001", "24-002"))
    in_sequence = pd.Timestamp(plan.first_day) + 2 * (waited - pd.Timestamp(plan.first_day))
    assert together < in_sequence - pd.Timedelta(days=5)


def test_due_days_come_before_the_day_of_the_promise_and_what_is_put_first_before_all(
    two: Store, tmp_path: Path
) -> None:
    assert plan_of(two).works["object"].tolist() == ["24-001", "24-002"]
    bring_into(two, tmp_path, "o.csv", "object,title,due_on\n24-002,Weir at dusk,2024-03-12\n")
    plan = plan_of(two)
    assert plan.works["object"].tolist() == ["24-002", "24-001"] and np.isnan(
        row(plan, "24-001")["chance_late"]
    )
    assert row(plan, "24-002")["chance_late"] > 0.5 and "24-002" in plan_text.queue_hurts(plan)[0]
    settled(two, put_first="24-001")
    plan = plan_of(two)
    assert plan.works["object"].tolist() == ["24-001", "24-002"] and plan.works["first"].tolist() == [
        True,
        False,
    ]


def test_absences_and_the_days_of_the_week_are_kept_clear_of(two: Store) -> None:
    before = row(plan_of(two), "24-001")["leaves_p50"]
    settled(two, absences="2024-03-04 to 2024-03-31; ; frost")
    away = plan_of(two)
    assert row(away, "24-001")["leaves_p50"] >= before + pd.Timedelta(days=21)
    assert (
        away.days.loc[away.days["day"] < "2024-04-01", "hours"].sum() == 0
        and away.days["away"].iloc[0] == "everybody"
    )
    settled(two, absences="2024-03-04 to 2024-03-31; Bram")  # nobody here is called so
    assert row(plan_of(two), "24-001")["leaves_p50"] == before
    settled(two, absences="", bench_days="Tue")
    worked = plan_of(two).days
    assert worked.loc[worked["hours"] > 0, "day"].dt.day_name().unique().tolist() == ["Tuesday"]
    settled(two, absences="2024-03-08 to 2025-06-30", bench_days="")  # longer than anybody would look ahead
    closed = row(plan_of(two), "24-001")
    assert pd.Timestamp("2025-07-01") <= closed["leaves_p50"] <= before + pd.Timedelta(days=480 + 14)


def test_who_has_left_has_no_hours_and_names_that_nobody_has_are_said(two: Store) -> None:
    log(
        two,
        *(
            {
                "date": f"{SUNDAY - timedelta(weeks=week + 1)}",
                "technique": "retouching",
                "hours": "12",
                "person": person,
            }
            for week in range(10)
            for person in ("Ilse", "Bram")
        ),
        code="24-001",
    )
    assert [item.person for item in plan_of(two).people] == ["Bram", "Ilse"]
    settled(two, bench_hours_of_people="Odile 60; Ilse 25", absences="2024-03-08; Odil")
    plan = plan_of(two)
    assert [item.person for item in plan.people] == ["Ilse", "Bram"] and plan.unknown_names == (
        "Odile",
        "Odil",
    )
    assert "Odile, Odil: nobody here is called so" in plan_text.apart(plan)[0]
    with two.writing() as con:
        people.leave(con, "Bram", date(2024, 3, 2), CHANGE)
    assert [item.person for item in plan_of(two).people] == ["Ilse"]
    with two.writing() as con:
        people.leave(con, "Ilse", date(2024, 3, 11), CHANGE)
    left = plan_of(two)
    assert (
        left.days.loc[left.days["day"] >= "2024-03-11", "bench_hours"].sum() == 0
        and left.days["bench_hours"].iloc[0] > 0
    )


def test_hours_of_people_are_those_said_else_those_logged_else_the_usual_ones(two: Store) -> None:
    sundays = [SUNDAY - timedelta(weeks=week + 1) for week in range(10)]
    log(
        two,
        *({"date": f"{day}", "technique": "retouching", "hours": "12", "person": "Ilse"} for day in sundays),
        {"date": f"{SUNDAY}", "technique": "retouching", "hours": "4", "person": "Bram"},
        code="24-001",
    )
    log(two, {"date": f"{SUNDAY}", "technique": "teaching", "hours": "9", "person": "Bram"}, code="")
    people = {item.person: item for item in plan_of(two).people}
    assert (people["Ilse"].weekly, people["Ilse"].source, people["Ilse"].weeks) == (12, "record", 10)
    # a visitor of one day is no second bench
    assert (people["Bram"].weekly, people["Bram"].source, people["Bram"].logged) == (1, "few", 4)
    settled(two, bench_hours_of_people="ilse 30")
    people = {item.person: item for item in plan_of(two).people}
    assert (people["Ilse"].weekly, people["Ilse"].source) == (30, "said") and [
        item.person for item in plan_of(two).people
    ] == ["Ilse", "Bram"]
    assert "Ilse 30.0 h a week at the bench (as said under Studio, 12.0 h in the 10 weeks" in plan_text.who(
        plan_of(two)
    )


def test_a_line_waits_for_whom_the_estimate_names(two: Store, tmp_path: Path) -> None:
    settled(two, bench_hours_of_people="Ilse 20; Bram 2")
    free = row(plan_of(two), "24-001")["leaves_p50"]
    lines = [f"24-001,2,2024-02-10,2024-02-11,{line}" for line in (",facing,Bram,8,0", ",filling,,8,0")]
    assert bring_into(two, tmp_path, "e.csv", HEAD + "\n".join(lines)) is not None
    # so that he is known
    log(
        two,
        {"date": "2024-02-20", "technique": "surface cleaning dry", "hours": "1", "person": "Bram"},
        code="24-002",
    )
    assert row(plan_of(two), "24-001")["leaves_p50"] > free + pd.Timedelta(days=14)


def test_what_presses_now_and_what_has_not_come_yet_is_not_taken_up_before(
    two: Store, tmp_path: Path
) -> None:
    log(
        two,
        {
            "started_at": "2024-03-01T12:00",
            "ended_at": "2024-03-15T12:00",
            "technique": "pressing",
            "mode": "unattended",
        },
        code="24-001",
    )
    bring_into(two, tmp_path, "o.csv", "object,title,received_on\n24-002,Weir at dusk,2024-04-08\n")
    plan = plan_of(two)
    assert plan.queue[0].ready == pytest.approx(11.5)
    assert row(plan, "24-001")["waits_until"] == pd.Timestamp("2024-03-15 12:00") and row(plan, "24-001")[
        "leaves_p10"
    ] >= pd.Timestamp("2024-03-15")
    assert plan.queue[1].ready == 35 and row(plan, "24-002")["leaves_p10"] >= pd.Timestamp("2024-04-15")
    # planned were 168 hours and 336 have passed: nothing of it is left
    pressing = row(plan, "24-001")["waiting_days"]
    assert pressing == 0


def test_a_press_that_nobody_has_ended_yet_runs_on_also_where_its_line_is_said_to_be_done(two: Store) -> None:
    """As the phone has it: begun on Friday noon, a week was planned, and the hour beside it is logged with
    "all done".
    """
    with two.writing() as con:
        con.execute(
            "INSERT INTO spells_in_hand (entry, object, phase, technique, part, person, mode, charge,"
            " in_hand_since) VALUES ('p', '24-001', 'structural repair', 'pressing', '', 'Ilse',"
            " 'unattended', 'quoted', '2024-03-01 12:00')"
        )
    log(
        two,
        {
            "date": "2024-03-01",
            "technique": "pressing",
            "phase": "structural repair",
            "hours": "1",
            "done": "100",
        },
        code="24-001",
    )
    pressing = plan_of(two).queue[0].waits[0]  # before anything else is done to it
    assert np.median(pressing) == pytest.approx(7 - 2.5, abs=0.7)
    assert row(plan_of(two), "24-001")["leaves_p10"] >= pd.Timestamp("2024-03-05")


def test_finished_declined_and_unquoted_works_are_in_no_plan(two: Store, tmp_path: Path) -> None:
    bring_into(two, tmp_path, "o.csv", "object,title\n24-003,A quay\n")
    finish(two, "24-002", date(2024, 3, 1))
    log(two, {"date": "2024-03-01", "technique": "retouching", "hours": "4"}, code="24-003")
    plan = plan_of(two)
    assert plan.works["object"].tolist() == ["24-001"] and plan.without_estimate == ("24-003",)
    assert plan_of(two, date(2024, 2, 28)).works["object"].tolist() == [
        "24-001",
        "24-002",
    ]  # as it stood before
    assert plan_of(two, date(2024, 1, 1)).works.empty


def test_a_new_work_stands_behind_all_or_before_all(two: Store) -> None:
    plan = plan_of(two)
    behind, before = (
        plan_new_work.with_one_more(plan, 10, 0, first=False),
        plan_new_work.with_one_more(plan, 10, 0, first=True),
    )
    assert (
        before[1] < row(plan, "24-001")["leaves_p50"].date()
        and behind[1] > before[1]
        and list(behind) == sorted(behind)
    )
    waits = plan_new_work.with_one_more(plan, 10, 14, first=True)
    assert timedelta(days=10) <= waits[1] - before[1] <= timedelta(days=18)
    # on an empty bench
    assert plan_new_work.with_one_more(plan_of(two, date(2024, 1, 1)), 10, 0, first=True)[1] < date(
        2024, 1, 12
    )


def test_the_command_gives_what_the_plan_says(
    demo: Store, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    con = demo.cursor()
    plan = plan_service.plan(con, queries.today(con), ResultCache())
    path = str(demo.path)
    demo.close()
    assert (
        main(
            [
                "plan",
                "--db",
                path,
                "--json",
                "--csv",
                str(tmp_path / "p.csv"),
                "--ics",
                str(tmp_path / "p.ics"),
                "--hours",
                "20",
            ]
        )
        == 0
    )
    given = json.loads(capsys.readouterr().out)
    *works, new = given
    assert (
        [work["object"] for work in works] == plan.works["object"].tolist()
        and new["object"] is None
        and len(new["leaves_on"]) == 4
    )
    for one, (_, work) in zip(works, plan.works.iterrows(), strict=True):
        assert one["bench_hours"] == {"p50": work["bench_p50"], "p80": work["bench_p80"]}
        assert {"p50", "p80"} <= set(one["leaves_on"]) and one["leaves_on"][
            "p80"
        ] == f"{work['leaves_p80'].date()}"
    written = pd.read_csv(tmp_path / "p.csv", dtype={"object": str})
    assert written["leaves_p50"].tolist() == [work["leaves_on"]["p50"] for work in works]
    assert b"VCALENDAR" in (tmp_path / "p.ics").read_bytes()
    assert main(["plan", "--db", path, "--hours", "20", "--waiting-days", "5"]) == 0
    assert "A new work of 20.0 h and 5 days of waiting" in capsys.readouterr().out
    for wrong in (
        ["--hours", "0"],
        ["--waiting-days", "-3", "--hours", "20"],
        ["--waiting-days", "3"],
        ["--before-all"],
        ["--as-of", f"{date.today() + timedelta(days=9)}"],
        ["--ics", str(tmp_path / "no" / "p.ics")],
    ):
        assert main(["plan", "--db", path, *wrong]) == 2
        said = capsys.readouterr().err.splitlines()  # on a slow machine also how far it is
        assert [line.startswith("bench-hours plan: ") for line in said].count(True) == 1 and said[
            -1
        ].startswith("bench-hours plan: ")


def calendar(
    two: Store, zone: str = "Europe/Berlin", moment: datetime = datetime(2024, 3, 4, 8, tzinfo=UTC)
) -> tuple[bytes, dict[str, vobject.base.Component]]:
    """What is written, and as another library reads it, by summary."""
    written = plan_ical.as_icalendar(plan_of(two), zone, moment)
    read = vobject.readOne(written.decode())
    read.validate()
    return written, {event.summary.value: event for event in getattr(read, "vevent_list", [])}


def test_the_calendar_opens_in_a_reference_library_and_keeps_its_names(two: Store, tmp_path: Path) -> None:
    """RFC 5545: read by vobject, and by icalendar; lines end in CRLF and are no longer than 75 octets (3.1),
    an event of whole days ends on the day behind its last (3.6.1).
    """
    bring_into(
        two, tmp_path, "o.csv", "object,title,due_on,owner\n24-002,Weir at dusk,2024-12-31,Family Brandreth\n"
    )
    settled(two, absences="2024-12-24 to 2025-01-06; ; frost\n2024-05-01; Ilse; her knee")
    written, events = calendar(two)
    plan = plan_of(two)
    ready = next(event for words, event in events.items() if words.startswith("24-001 ready"))
    assert ready.dtstart.value == row(plan, "24-001")["leaves_p50"].date() and ready.dtend.value == row(
        plan, "24-001"
    )["leaves_p80"].date() + timedelta(days=1)
    assert events["24-002 due"].dtstart.value == date(2024, 12, 31) and events[
        "24-002 due"
    ].dtend.value == date(2025, 1, 1)  # over the end of a year
    assert (events["studio closed"].dtstart.value, events["studio closed"].dtend.value) == (
        date(2024, 12, 24),
        date(2025, 1, 7),
    )
    assert not any(
        word in written.decode() for word in ("Weir", "Brandreth", "Ilse", "knee", "frost", "Ferry")
    )
    lines = written.split(b"\r\n")
    assert b"\n" not in written.replace(b"\r\n", b"") and max(map(len, lines)) <= 75
    again = icalendar.Calendar.from_ical(written)
    assert len({str(event["uid"]) for event in again.walk("VEVENT")}) == len(events) == 4
    # a calendar that takes it in again moves them
    assert {str(item.uid.value) for item in calendar(two)[1].values()} == {
        str(event["uid"]) for event in again.walk("VEVENT")
    }


@pytest.mark.parametrize(
    "zone, ends, instant",
    [
        ("Europe/Berlin", "2024-03-31T03:30", "2024-03-31T01:30"),
        ("Europe/Berlin", "2024-03-30T23:30", "2024-03-30T22:30"),
        ("Europe/Berlin", "2024-04-01T09:00", "2024-04-01T07:00"),
        ("America/New_York", "2024-03-10T03:30", "2024-03-10T07:30"),
        ("America/New_York", "2024-12-31T23:30", "2025-01-01T04:30"),
    ],
)
def test_when_waiting_ends_is_the_same_instant_on_every_clock(
    tmp_path: Path, bring_new: Callable[[str], Store], zone: str, ends: str, instant: str
) -> None:
    """Around the changes of the clock, and over the end of a year (instants by the tz database)."""
    store = bring_new(zone)
    log(
        store,
        {"started_at": "2024-03-01T12:00", "ended_at": ends, "technique": "pressing", "mode": "unattended"},
        code="24-001",
    )
    _, events = calendar(store, zone)
    found = events["24-001: waiting ends"].dtstart.value
    assert (
        found == datetime.fromisoformat(instant).replace(tzinfo=UTC)
        and f"{found.astimezone(ZoneInfo(zone)):%Y-%m-%dT%H:%M}" == ends
    )
    # once it is over
    assert "24-001: waiting ends" not in calendar(store, zone, found + timedelta(minutes=1))[1]


@pytest.fixture
def bring_new(tmp_path: Path) -> Callable[[str], Store]:
    """A studio in another zone."""

    def new(zone: str) -> Store:
        store = Store(":memory:")
        with store.writing() as con:
            write_settings(con, {"zone": zone})
        bring_into(store, tmp_path, "o.csv", "object,title\n24-001,Ferry in snow\n")
        bring_into(
            store,
            tmp_path,
            "e.csv",
            f"{HEAD}24-001,1,2024-02-01,2024-02-05,,facing,,8,0\n24-001,1,2024-02-01,2024-02-05,structural"
            " repair,pressing,,1,24\n",
        )
        return store

    return new
