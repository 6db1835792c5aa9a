"""The year, and one person's hours worth a pause, from the record: by hand in small studios, and in the
invented one.
"""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.analysis.report import year as analysis
from dashboard.services import pauses as pauses_service
from dashboard.services import rates as rates_service
from dashboard.services import year as year_service
from dashboard.text import pauses as pauses_text
from dashboard.text import prices as prices_text
from dashboard.text import year as year_text
from ingest.safekeeping.export import export
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests.conftest import CHANGE, Bring, bring_into
from tests.frames import number
from tests.prepared import new_store

ESTIMATES = """object,version,made_on,approved_on,price,currency,phase,technique,hours
24-001,1,2024-01-05,2024-01-08,1190,EUR,,filling,10
24-002,1,2024-01-05,2024-01-08,600,EUR,,retouching,8
24-003,1,2024-01-05,2024-01-08,500,USD,,retouching,5
24-004,1,2024-11-05,2024-11-08,,,,retouching,5
"""
LOG = """object,phase,technique,person,date,hours,charge
24-001,,filling,Ilse,2024-01-10,14,
24-001,,filling,Ilse,2024-02-10,2,own_cost
24-002,,retouching,Ilse,2024-02-11,6,
24-002,,retouching,Bram,2024-02-12,1.5,extra
24-003,,retouching,Ilse,2024-12-31,5,
24-004,,retouching,Ilse,2025-01-01,4,
,,accounts,Ilse,2024-03-01,3,
,,enquiries,Bram,2024-03-02,1,
,,absence,Ilse,2024-04-01,40,
"""
OBJECTS = """object,title,kind,finished_on
24-001,Ferry in snow,easel painting,2024-02-11
24-002,Weir at dusk,easel painting,2024-02-28
24-003,A quay,frame,2024-12-31
24-004,A mill,,2025-01-02
"""


@pytest.fixture
def small(store: Store, bring: Bring) -> Store:
    for name, text in (("o.csv", OBJECTS), ("e.csv", ESTIMATES), ("t.csv", LOG)):
        assert bring(name, text).complete
    with store.writing() as con:
        write_settings(
            con,
            {
                "tax_per_cent": "19",
                "prices_include_tax": "yes",
                "yearly_cost": "3000",
                "hourly_rate": "60",
                "currency": "EUR",
            },
        )
    return store


def test_hours_are_charged_the_studio_s_own_or_studio_time(small: Store) -> None:
    found = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024)
    # absence waits alone: no hours
    assert [found.hours(what) for what in ("chargeable", "own_cost", "studio")] == [14 + 6 + 1.5 + 5, 2, 4]
    assert (found.first, found.last) == (date(2024, 1, 1), date(2024, 12, 31)) and year_service.years(
        small.cursor(), date(2025, 6, 1)
    ) == [2025, 2024]
    later = year_service.of_year(small.cursor(), date(2025, 6, 1), 2025)
    assert (
        later.hours("chargeable") == 4
        and later.works["object"].tolist() == ["24-004"]
        and later.last == date(2025, 6, 1)
    )
    assert "26.5 h were charged, 82% of 32.5 h" in year_text.charged(found)
    then = year_service.of_year(small.cursor(), date(2024, 2, 11), 2024)
    assert then.hours("chargeable") == 20 and then.works["object"].tolist() == ["24-001"]


def test_an_hour_earned_what_its_price_left_by_all_that_was_spent(small: Store) -> None:
    """24-001: 1,190 € with 19 % on top leaves 1,000 € for 14 + 2 hours; 24-002: 600 € leave 504.20 € for 6;
    24-003 is in another currency, and in no sum.
    """
    found = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024)
    of = found.works.set_index("object")
    assert of.loc["24-001", "earned_per_hour"] == pytest.approx(1000 / 16) and of.loc[
        "24-002", "earned_per_hour"
    ] == pytest.approx(600 / 1.19 / 6)
    assert np.isnan(number(of, "24-003", "earned_per_hour")) and found.unpriced == 1
    assert found.kinds.to_dict("records") == [
        {
            "kind": "easel painting",
            "works": 2,
            "spent_hours": 22.0,
            "net": pytest.approx(1000 + 600 / 1.19),
            "earned_per_hour": pytest.approx((1000 + 600 / 1.19) / 22),
        }
    ]
    # 4 h over at 100 € an hour sold, 2 h under at 63.03 €
    quotes = found.quotes
    assert (quotes.thin_works, quotes.thin_hours, quotes.padded_works, quotes.padded_hours) == (1, 4, 1, 2)
    assert quotes.thin_money == pytest.approx(400) and quotes.padded_money == pytest.approx(
        2 * 600 / 1.19 / 8
    )


def test_a_price_without_a_currency_is_in_that_of_the_studio(small: Store, bring: Bring) -> None:
    assert "1190,EUR," in ESTIMATES
    assert bring(
        "2.csv",
        "object,version,made_on,approved_on,price,currency,phase,technique,hours\n24-003,2,2024-02-28,2024-02-29,1190,,,retouching,5\n",
    ).complete
    found = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024)
    assert found.works.set_index("object").loc["24-003", "net"] == pytest.approx(1000) and found.unpriced == 0


def test_a_price_counts_as_it_says_itself_then_as_the_studio_says_and_not_at_all_where_nobody_does(
    small: Store, bring: Bring
) -> None:
    """Of 14 + 2 hours 24-001, of 6 hours 24-002. 1,190 € with 19 % in them are 1,000 €; 1,081 € with 8.1 %
    are 1,000 €.
    """

    def an_hour(**text: str) -> tuple[Any, Any]:
        with small.writing() as con:
            write_settings(con, text)
        of = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024).works.set_index("object")
        return number(of, "24-001", "earned_per_hour"), number(of, "24-002", "earned_per_hour")

    assert an_hour(prices_include_tax="no") == (1190 / 16, 600 / 6)
    assert an_hour(prices_include_tax="yes", prices_tax_per_cent="8.1") == (
        pytest.approx(1190 / 1.081 / 16),
        pytest.approx(600 / 1.081 / 6),
    )
    # older prices keep theirs
    assert an_hour(tax_per_cent="20") == (pytest.approx(1190 / 1.081 / 16), pytest.approx(600 / 1.081 / 6))
    assert np.isnan(an_hour(prices_include_tax="", prices_tax_per_cent="", tax_per_cent="19")).all()
    found = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024)
    assert (
        (found.unsaid, found.unpriced) == (2, 1)
        and found.kinds.empty
        and found.quotes.padded_money == found.quotes.thin_money == 0
    )
    assert prices_text.ask(found.unsaid, found.studio).startswith(
        "2 prices do not say whether tax is in them, so no money is reckoned with them."
    )
    # no tax: nothing is asked
    assert an_hour(tax_per_cent="") == an_hour(tax_per_cent="0") == (1190 / 16, 600 / 6)
    assert year_service.of_year(small.cursor(), date(2025, 6, 1), 2024).unsaid == 0
    # two say it themselves, by the same file with two columns more
    told = (
        ESTIMATES.replace("currency,", "currency,tax_in_price,tax_per_cent,")
        .replace("1190,EUR,", "1190,EUR,yes,19,")
        .replace("600,EUR,", "600,EUR,no,8.1,")
        .replace("USD,", "USD,,,")
        .replace(",,,retouching", ",,,,,retouching")
    )
    assert bring("e.csv", told).outcome.corrected == 2
    assert an_hour(tax_per_cent="19", tax_name="VAT") == (pytest.approx(1000 / 16), 100)
    found = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024)
    # 1,600 € in 22 h
    assert found.unsaid == 0 and "€72.73 without VAT, over 2 finished works" in year_text.earned(found)
    assert year_text.quotes(found)[-1] == "All these amounts are without VAT."


def test_what_an_hour_would_have_to_earn_is_that_of_the_worked_case() -> None:
    """ "Der Honorarwitz", pons-asini.de, a conservator's page: cost 60,200 €; 2,035 − 475 = 1,560 h present,
    − 250 h of office = 1,310 h chargeable. Recomputed: 45.95 € an hour to break even; chargeable are 84.0 %
    of presence, 64.4 % of what the contract says.
    """
    found = analysis.needed(60_200, 1310, 0, 250, pd.Series([10.0] * 9 + [100.0]))
    assert round(found.hours, 2) == 45.95 and found.present == pytest.approx(60_200 / 1560)
    assert round(1310 / 1560, 3) == 0.84 and round(1310 / 2035, 3) == 0.644
    # ten works: 25 h of the office come with each, and the smallest take 10 h
    assert (
        found.studio_hours_a_work == 25
        and found.a_work == pytest.approx(25 * 60_200 / 1560)
        and found.smallest == pytest.approx(35 * 60_200 / 1560)
    )
    few = analysis.needed(60_200, 1310, 0, 250, pd.Series([10.0] * 4))
    assert np.isnan(few.smallest) and not np.isnan(few.hours)
    assert np.isnan(analysis.needed(60_200, 0, 0, 0, pd.Series(dtype=float)).hours)


def test_what_twelve_months_would_have_to_earn_needs_twelve_months(small: Store) -> None:
    found = year_service.of_year(small.cursor(), date(2024, 6, 1), 2024)
    assert found.needed is None and "twelve months" in year_text.needed(found)[0]
    whole = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024)
    assert whole.needed is None and whole.logged_since == date(2024, 1, 10)  # nine days are missing
    later = year_service.of_year(small.cursor(), date(2025, 1, 10), 2025)
    # 366 days before it were in the leap year
    assert later.twelve_from == date(2024, 1, 12) and later.needed is not None
    assert later.needed.hours == pytest.approx(3000 / (6 + 1.5 + 5 + 4)) and np.isnan(later.needed.smallest)
    with small.writing() as con:
        write_settings(con, {"yearly_cost": ""})
    assert (
        "Nobody has said yet what a year costs"
        in year_text.needed(year_service.of_year(small.cursor(), date(2025, 6, 1), 2024))[0]
    )


def test_work_agreed_on_top_after_handover_leaves_a_work_in_its_year(small: Store, bring: Bring) -> None:
    assert bring(
        "x.csv", "object,phase,technique,person,date,hours,charge\n24-001,,packing,Ilse,2025-03-03,5,extra\n"
    ).complete
    found = year_service.of_year(small.cursor(), date(2025, 6, 1), 2024)
    assert (
        "24-001" in found.works["object"].tolist()
        and found.works.set_index("object").loc["24-001", "extra_hours"] == 5
    )


def test_an_empty_studio_has_a_year_too(store: Store) -> None:
    found = year_service.of_year(store.cursor(), date(2026, 6, 1), 2026)
    assert (
        found.logged_since is None
        and found.works.empty
        and found.months.empty
        and year_text.charged(found) == "Nothing was logged in this year."
    )
    assert year_text.experience(
        year_service.with_experience(rates_service.calibrated(store.cursor(), date(2026, 6, 1)))
    )[0].startswith("Not enough to say")


def test_the_years_of_the_invented_studio_add_up_to_its_record(demo: Store) -> None:
    con = demo.cursor()
    today = queries.today(con)
    years = [year_service.of_year(con, today, year) for year in year_service.years(con, today)]
    spent = con.execute("SELECT sum(counted_hours) FROM spells").fetchall()[0][0]
    assert sum(
        year.hours(what) for year in years for what in ("chargeable", "own_cost", "studio")
    ) == pytest.approx(spent)
    lines = queries.overruns(con, today)
    done = lines.groupby("object").agg(finished=("finished", "all"), hours=("actual_hours", "sum"))
    # a return at the studio's own cost alone is no work that earns
    assert sum(len(year.works) for year in years) == int((done["finished"] & (done["hours"] > 0)).sum())
    assert years[0].needed is not None and "would have to earn" in " ".join(year_text.needed(years[0]))


# --- hours worth a pause

PAUSES = """object,phase,technique,person,started_at,ended_at,mode
24-001,,microscopy,Ilse,2024-03-04T09:00,2024-03-04T10:00,
24-001,,microscopy,Ilse,2024-03-04T10:05,2024-03-04T10:40,
24-001,,microscopy,Ilse,2024-03-04T10:50,2024-03-04T11:20,
24-001,,microscopy,Bram,2024-03-04T09:00,2024-03-04T13:00,
24-001,,facing,Ilse,2024-03-05T09:00,2024-03-05T12:00,
24-001,,facing,Ilse,2024-03-08T09:00,2024-03-08T11:00,
24-001,,inlay,Ilse,2024-03-06T16:30,2024-03-06T17:45,
24-001,,pressing,Ilse,2024-03-06T09:00,2024-03-07T17:45,unattended
"""


@pytest.fixture
def pressed(store: Store, studio: Bring) -> Callable[..., pauses_service.PauseReport]:
    found = studio("t.csv", PAUSES)
    assert found.complete, found.problems.to_string()
    assert studio(
        "d.csv",
        "object,phase,technique,person,date,hours\n24-001,,microscopy,Ilse,2024-03-05,2.5\n24-002,,microscopy,Ilse,2024-03-05,2.5\n",
    ).complete

    def told(
        person: str = "Ilse", weeks: int = 1, on: date = date(2024, 3, 8), **text: str
    ) -> pauses_service.PauseReport:
        with store.writing() as con:
            write_settings(con, text)
        return pauses_service.worth_a_pause(store.cursor(), on, person, weeks)

    return told


def test_stretches_of_handwork_are_each_person_s_own_and_by_the_studio_s_limits(
    pressed: Callable[..., pauses_service.PauseReport],
) -> None:
    found = pressed()
    # 9:00 to 10:40, with five minutes in between
    assert found.stretches == 2 and found.handwork["minutes"].tolist()[0] == 100
    assert f"{found.handwork['begins'].iloc[0]:%H:%M}" == "09:00" and found.without_clock_hours == 5
    assert pressed("Bram").handwork["minutes"].tolist() == [240]
    assert pressed(handwork_minutes="120").handwork.empty
    assert pressed(handwork_minutes="100", pause_minutes="15").handwork["minutes"].tolist() == [140]
    assert pressed("Nobody").stretches == 0


def test_hours_with_solvents_are_counted_by_day_and_week_and_told_beyond_the_studio_s_own_limit(
    pressed: Callable[..., pauses_service.PauseReport],
) -> None:
    found = pressed()
    assert found.solvents[["hours", "most_hours", "over_week", "over_day"]].values.tolist() == [
        [5, 3, False, False]
    ]
    assert found.solvents["week"].iloc[0] == pd.Timestamp("2024-03-04") and found.solvents["most_on"].iloc[
        0
    ] == pd.Timestamp("2024-03-05")
    told = pressed(solvent_hours_a_day="2.5", solvent_hours_a_week="5").solvents
    assert told[["over_week", "over_day"]].values.tolist() == [[False, True]]
    assert (
        pressed(on=date(2024, 3, 15)).solvents.empty
        and len(pressed(on=date(2024, 3, 15), weeks=2).solvents) == 1
    )


def test_blade_work_after_the_time_said_is_late(pressed: Callable[..., pauses_service.PauseReport]) -> None:
    assert pressed().blades["hours"].tolist() == [0.75]
    assert pressed(blade_until="18:00").blades.empty and pressed(blade_until="08:00").blades[
        "hours"
    ].tolist() == [1.25]


def test_blade_work_in_the_night_is_late_and_its_length_is_true_over_a_change_of_the_clock(
    store: Store, studio: Bring
) -> None:
    """In Berlin the clock goes back on 2024-10-27 at three: from 23:00 to 04:00 are six hours."""
    rows = [
        "24-001,,inlay,Ilse,2024-10-26T23:00,2024-10-27T04:00",
        "24-001,,inlay,Ilse,2024-10-29T00:30,2024-10-29T02:30",
        "24-001,,inlay,Ilse,2024-10-30T04:30,2024-10-30T06:00",
    ]
    assert studio("n.csv", "object,phase,technique,person,started_at,ended_at\n" + "\n".join(rows)).complete
    assert pauses_service.worth_a_pause(store.cursor(), date(2024, 11, 3), "Ilse", 2).blades[
        "hours"
    ].tolist() == [6, 2, 0.5]


def test_somebody_without_any_such_hours_is_told_so(store: Store, studio: Bring) -> None:
    assert pauses_service.worth_a_pause(store.cursor(), date(2024, 3, 8), "Ilse", 4).stretches == 0
    assert studio(
        "p.csv", "object,phase,technique,person,date,hours\n24-001,,packing,Maud,2024-03-05,2\n"
    ).complete
    found = pauses_service.worth_a_pause(store.cursor(), date(2024, 3, 8), "Maud", 4)
    assert (
        found.handwork.empty
        and found.solvents.empty
        and found.blades.empty
        and found.without_clock_hours == 0
    )


def test_why_somebody_is_away_is_in_no_export_that_others_may_see(
    store: Store, studio: Bring, tmp_path: Path
) -> None:
    for said in ("2024-05-01; Ilse; her knee", "2024-05-01 to 2024-05-04; Ilse; her knee"):
        with store.writing() as con:
            write_settings(con, {"absences": said, "bench_days": "Mon"}, None)
    with store.writing() as con:
        write_settings(con, {"absences": "2024-06-01; Bram; a course"}, CHANGE)
    export(store, tmp_path / "shared")
    written = "".join(file.read_text() for file in sorted((tmp_path / "shared").iterdir()))
    assert "bench_days" in written and not any(word in written for word in ("knee", "a course", "absences"))
    export(store, tmp_path / "own", private=True)
    with new_store() as new:
        for name in ("settings", "history"):
            assert bring_into(
                new, tmp_path, f"{name}.csv", (tmp_path / "own" / f"{name}.csv").read_text()
            ).complete
        held = dict(new.cursor().execute("SELECT setting, value FROM settings").fetchall())
    assert held["absences"] == "2024-06-01; Bram; a course"


def test_hours_of_which_no_technique_is_known_are_in_no_figure_of_pauses_and_said(
    pressed: Callable[..., pauses_service.PauseReport], studio: Bring
) -> None:
    assert pauses_text.without_technique(pressed()) == ""
    studio(
        "w.csv",
        "object,phase,technique,person,date,hours,mode\n24-001,cleaning,,Ilse,2024-03-05,3,\n"
        "24-001,,,Ilse,2024-03-06,1.5,\n24-001,cleaning,,Ilse,2024-03-07,9,unattended\n"
        "24-001,cleaning,,Bram,2024-03-05,7,\n,studio time,,Ilse,2024-03-05,2,\n",
    )
    report = pressed()
    assert report.without_technique_hours == 4.5 and report.without_clock_hours == 5
    assert pauses_text.without_technique(report) == (
        "4.5 h were logged on a phase or a work as a whole: with which techniques nobody has said, so they"
        " are in none of these figures."
    )
