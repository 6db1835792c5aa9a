"""What pages say in words."""

from datetime import date, datetime

import pandas as pd

from dashboard import queries
from dashboard.analysis.report.overruns import by_object, by_phase, compare, summed
from dashboard.documents import statement
from dashboard.formatting import ago
from dashboard.text.html_blocks import Link, ledger
from dashboard.text.overruns import forgotten_parts, most_over, most_under, not_used_yet, remarks, took
from dashboard.text.promises import other_yardsticks
from dashboard.text.works import are_finished, state_of_work
from ingest.schema.csv_columns import CAUTIONS
from ingest.store import Store
from ingest.studio.hazards import DEFERRING, WORDS, usual_cautions
from ingest.studio.vocabulary import read_vocabulary
from tests.conftest import LATER, Bring
from tests.frames import row_of

TODAY = date(2024, 3, 1)
NOW = datetime(2024, 3, 1, 12)


def summary_of(store: Store, code: str = "24-001", today: date = TODAY) -> str:
    works = queries.works(store.cursor(), today).set_index("object", drop=False)
    sums = by_object(queries.overruns(store.cursor(), today))
    return state_of_work(row_of(works, code), row_of(sums, code) if code in sums.index else None, today, NOW)


def test_where_a_work_stands_is_a_sentence_from_the_first_day_to_the_last(
    studio: Bring, store: Store
) -> None:
    assert summary_of(store) == "Received 59 days ago, not begun; no estimate yet."
    studio(
        "est.csv",
        "object,version,made_on,approved_on,phase,technique,hours\n24-001,1,2024-01-05,,,facing,2\n24-001,1,2024-01-05,,,pressing,1\n",
    )
    assert summary_of(store) == "Received 59 days ago, not begun; 3.0 h estimated, not approved."
    head = "object,phase,technique,person,started_at,ended_at,mode\n"
    studio(
        "e.csv",
        head + "24-001,,facing,Ilse,2024-02-29 09:00,2024-02-29 12:00,\n24-001,,pressing,Ilse,2024-02-29"
        " 16:00,2024-03-05 09:00,unattended\n",
    )
    studio("o.csv", "object,due_on\n24-001,2024-02-20\n")
    assert (
        summary_of(store) == "On the bench since 29 February 2024, last worked yesterday (pressing); "
        "3.0 h so far of 3.0 h estimated, not approved (+1.0 h on lines over already, 1.0 h not used yet); "
        "waiting until 5 March 2024; was due 10 days ago."
    )
    studio("o.csv", "object,finished_on\n24-001,2024-03-06\n")
    assert (
        summary_of(store, today=date(2024, 4, 1))
        == "Finished on 6 March 2024; 3.0 h of 3.0 h estimated, not approved."
    )


def test_a_work_of_which_every_line_is_finished_is_not_on_the_bench(studio: Bring, store: Store) -> None:
    def finished() -> list[bool]:
        con = store.cursor()
        return are_finished(
            queries.works(con, TODAY).sort_values("object"), by_object(queries.overruns(con, TODAY))
        ).tolist()

    assert not any(finished())  # works, and not a line in the studio
    studio("f.csv", "object,title,finished_on\n24-099,Lock,2024-02-01\n")
    assert finished()[-1] and sum(finished()) == 1
    head = "object,version,made_on,approved_on,phase,technique,hours\n"
    studio(
        "est.csv",
        head + "24-001,1,2024-01-05,2024-01-09,,facing,4.25\n24-001,1,2024-01-05,2024-01-09,,packing,1\n",
    )
    studio(
        "e.csv",
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-20,4.5\n24-001,,packing,Ilse,2024-02-22,0.75\n",
    )
    studio("m.csv", "object,phase,technique,finished_on\n24-001,,facing,2024-02-20\n")
    assert summary_of(store).startswith(
        "On the bench since 20 February 2024, last worked 8 days ago (packing)"
    )
    studio("n.csv", "object,phase,technique,finished_on\n24-001,,packing,2024-02-22\n")
    assert (
        summary_of(store) == "Finished line by line, the last on 22 February 2024; 5.3 h of 5.3 h approved."
    )
    assert finished()[0] and finished()[-1] and sum(finished()) == 2
    assert by_object(queries.overruns(store.cursor(), TODAY))["lines_finished_on"].tolist() == [
        pd.Timestamp("2024-02-22")
    ]


def test_a_work_held_against_other_hours_elsewhere_says_why(store: Store) -> None:
    sums = pd.Series(
        {"estimated_hours": 62.0, "actual_hours": 38.25, "unpriced_hours": 0.0, "difference_hours": -23.75}
    )
    approved, began = (
        pd.Series({"approved_hours": 65.5, "version": 2}),
        pd.Series({"promised_hours": 65.5, "version": 2}),
    )
    assert other_yardsticks(sums, approved, began, finished=True) == [
        "Approved were 65.5 h, 3.5 h of them for what may turn up, which stand on no line. The year holds the"
        " work against all of them: −27.2 h."
    ]
    began["promised_hours"], began["version"] = 50.0, 1
    assert (
        other_yardsticks(sums, approved, began, finished=True)[1]
        == "It began with a promise of 50.0 h (version 1), and Promised and kept holds it against that:"
        " −11.7 h."
    )
    assert other_yardsticks(sums, approved, None, finished=False) == [
        "Approved were 65.5 h, 3.5 h of them for what may turn up, which stand on no line. On the bench holds"
        " the work against all of them."
    ]
    approved["approved_hours"] = began["promised_hours"] = 62.0
    assert (
        other_yardsticks(sums, approved, began, finished=True) == []
        and other_yardsticks(sums, None, None, finished=True) == []
    )


def test_the_hours_of_a_work_under_way_add_up_on_their_face(studio: Bring, store: Store) -> None:
    head = "object,version,made_on,approved_on,phase,technique,hours\n"
    studio(
        "est.csv",
        head
        + "".join(
            f"24-001,1,2024-01-05,2024-01-09,,{technique},{h}\n"
            for technique, h in (("facing", 4), ("packing", 3), ("filling", 8))
        ),
    )
    head = "object,phase,technique,person,date,hours\n"
    studio(
        "e.csv",
        head
        + "".join(
            f"24-001,,{technique},Ilse,2024-02-20,{h}\n"
            for technique, h in (("facing", 2.5), ("packing", 6), ("filling", 1.5))
        ),
    )
    studio("m.csv", "object,phase,technique,finished_on\n24-001,,facing,2024-02-20\n")
    # 15.0 − 1.5 + 3.0 − 6.5 = 10.0
    assert (
        "10.0 h so far of 15.0 h approved (−1.5 h on finished lines, +3.0 h on lines over already, 6.5 h not"
        " used yet)" in summary_of(store)
    )
    comparison = compare(queries.overruns(store.cursor(), TODAY))
    assert (
        remarks(comparison)[0]
        == "Still open: 2 lines of 1 work, 7.5 h so far of 11.0 h estimated; +3.0 h over already, 6.5 h not"
        " used yet."
    )
    phases = by_phase(comparison)
    assert most_over(phases) == "No phase ran over its estimate."
    assert (
        most_under(phases) == "Most under: stabilisation, −1.5 h on 1 work, mostly easier going than quoted."
    )


def test_a_finished_work_with_a_line_opened_again_and_a_saving_not_begun_are_told(
    studio: Bring, store: Store
) -> None:
    head = "object,version,made_on,approved_on,phase,technique,hours\n"
    studio(
        "est.csv",
        head
        + (
            "24-001,1,2024-01-05,2024-01-09,,facing,4\n"
            "24-001,1,2024-01-05,2024-01-09,,packing,8\n"
            "24-001,1,2024-01-05,2024-01-09,,travel,6\n"
        ),
    )
    studio("o.csv", "object,finished_on\n24-001,2024-02-10\n")
    studio(
        "e.csv",
        "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,7\n24-001,,packing,Ilse,2024-02-20,1\n",
    )
    # 18.0 − 3.0 − 7.0 = 8.0
    assert (
        summary_of(store)
        == "Finished on 10 February 2024, but worked on again until 20 February 2024: 1 line open; 8.0 h of"
        " 18.0 h approved (−3.0 h on finished lines, 7.0 h not used yet)."
    )
    comparison = compare(queries.overruns(store.cursor(), TODAY))
    sums = summed(
        pd.concat([comparison.finished, comparison.open]).query("phase == 'handover'"), ["phase"]
    ).iloc[0]
    assert took(sums) == "1.0 h so far of 14.0 h"
    assert not_used_yet(sums) == "−6.0 h finished or over already, 7.0 h not used yet"
    sums = sums.copy()
    sums["actual_hours"] = 0.0
    assert took(sums) == "0.0 h so far of 14.0 h"  # not "not begun": a part of it was saved


def test_hours_without_the_part_that_was_estimated_are_pointed_out(studio: Bring, store: Store) -> None:
    studio(
        "est.csv",
        "object,version,made_on,phase,technique,part,hours\n24-001,1,2024-01-05,,filling,frame,2\n24-001,1,2024-01-05,,packing,,1\n",
    )
    head = "object,phase,technique,part,person,date,hours,discovery\n"
    report = studio(
        "e.csv",
        head
        + (
            "24-001,,filling,,Ilse,2024-02-20,1,\n"
            "24-001,,filling,,Ilse,2024-02-21,1,\n"
            "24-001,,packing,,Ilse,2024-02-20,1,\n"
        ),
    )
    assert report.warnings[["line", "column", "reason"]].to_numpy().tolist() == [
        [2, "part", 'leaves it on no line of the estimate of 24-001, which has filling with part "frame"']
    ]
    assert studio(
        "f.csv", head + "24-001,,filling,reverse,Ilse,2024-02-22,1,yes\n"
    ).warnings.empty  # said to be found on the way
    # the yardstick alone counts
    studio(
        "v.csv",
        "object,version,made_on,approved_on,phase,technique,part,hours\n24-001,2,2024-02-01,2024-02-02,,filling,,2\n",
    )
    assert (
        forgotten_parts(queries.overruns(store.cursor(), TODAY)) == []
        and studio("g.csv", head + "24-001,,filling,,Ilse,2024-02-23,1,\n").warnings.empty
    )
    assert studio("h.csv", head + "24-001,,packing,lid,Ilse,2024-02-23,1,\n").warnings.empty
    studio(
        "w.csv",
        "object,version,made_on,approved_on,phase,technique,part,hours\n24-001,3,2024-02-03,2024-02-04,,filling,frame,2\n",
    )
    assert forgotten_parts(queries.overruns(store.cursor(), TODAY)) == [
        (
            "Filling without a part is in no estimate, but filling, frame is. If it is that work, correct the"
            " part of its entries."
        )
    ]


def test_how_long_ago_is_said_as_people_say_it() -> None:
    assert [
        ago(day, TODAY)
        for day in (
            TODAY,
            date(2024, 2, 29),
            date(2024, 2, 20),
            date(2023, 1, 1),
            date(2024, 3, 2),
            date(2024, 3, 9),
        )
    ] == ["today", "yesterday", "10 days ago", "on 1 January 2023", "tomorrow", "in 8 days"]


def test_every_caution_class_has_words_and_the_usual_caution_defers(store: Store) -> None:
    assert set(WORDS) == set(CAUTIONS)
    words = read_vocabulary(store.cursor())
    said = usual_cautions(words, ["varnish removal with solvent gel", "packing"])
    assert (
        "solvents (varnish removal with solvent gel)" in said
        and said.endswith(DEFERRING)
        and "safe." not in said.replace("safety", "")
    )
    assert usual_cautions(words, ["quoting"]) == ""


def test_the_statement_stands_alone_escapes_what_is_written_and_sums_exact_hours(
    studio: Bring, store: Store
) -> None:
    studio(
        "e.csv",
        "object,phase,technique,part,person,date,hours,note\n24-001,,facing,<b>left</b>,Ilse,2024-02-01,0:20,seen"
        " by A. Vane\n24-001,,facing,,Ilse,2024-02-02,0:20,\n24-001,,facing,,Ilse,2024-02-03,0:20,\n",
    )
    frame = queries.dated_hours(store.cursor(), LATER, "24-001")
    page = statement.as_page("24-001", "A & B", LATER, 48.0, frame.drop(columns="note"), with_notes=False)
    assert "&lt;b&gt;left&lt;/b&gt;" in page and "<b>" not in page and "A &amp; B, 48.0 dm²" in page
    assert "Vane" not in page and "Ilse" not in page and "http" not in page
    assert '<tr><td>all</td><td class="n">1.0</td></tr>' in page
    bare = statement.as_page("24-001", "", LATER, None, frame, with_notes=True)
    assert "seen by A. Vane" in bare and "<p>Dated hours, to 1 June 2026." in bare


def test_the_phases_of_a_statement_stand_in_the_order_of_a_treatment(studio: Bring, store: Store) -> None:
    studio(
        "e.csv",
        "object,phase,technique,person,date,hours\n24-001,,packing,Ilse,2024-02-01,1\n24-001,,facing,Ilse,2024-02-02,1\n",
    )
    page = statement.as_page(
        "24-001", "", LATER, None, queries.dated_hours(store.cursor(), LATER, "24-001"), with_notes=False
    )
    assert page.index("<td>stabilisation</td><td class") < page.index("<td>handover</td><td class")


def test_a_table_escapes_its_cells_and_leads_where_it_says() -> None:
    table = ledger(
        "T <1>",
        ["a & b", "h"],
        ["group <i>", [Link("24-001", "/one-work?object=24-001&studio=invented"), "1<2"]],
    )
    assert (
        "<i>" not in table
        and "a &amp; b" in table
        and 'href="/one-work?object=24-001&amp;studio=invented"' in table
        and "1&lt;2" in table
    )
    assert '<th scope="rowgroup" colspan="2">group &lt;i&gt;</th>' in table
