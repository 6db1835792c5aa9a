"""Objects, vocabulary and milestones: one row a key."""

import pytest

from ingest.errors import BenchHoursError
from ingest.importing.form_rows import RowsRefused, store_rows
from ingest.schema.csv_columns import TECHNIQUES
from ingest.store import Store
from ingest.studio.vocabulary import Vocabulary, read_vocabulary, rename
from tests.conftest import CHANGE, Bring, faults


def test_an_object_is_corrected_its_earlier_version_kept_and_empty_cells_say_nothing(
    studio: Bring, store: Store
) -> None:
    assert studio("o.csv", "object,title,owner\n24-001,Ferry in deep snow,\n").outcome.corrected == 1
    assert store.cursor().execute(
        "SELECT title, height_cm FROM objects WHERE object = '24-001'"
    ).fetchall() == [("Ferry in deep snow", 60.0)]
    assert store.cursor().execute("SELECT key, earlier->>'title' FROM history").fetchall() == [
        ("24-001", "Ferry in snow")
    ]
    assert studio("o.csv", "object,title\n24-001,Ferry in snow\n").outcome.already_held == 1


def test_two_rows_of_one_object_that_differ_are_refused(studio: Bring) -> None:
    report = studio("o.csv", "object,title\n24-005,A\n24-005,B\n24-005,A\n")
    assert faults(report) == ["3 object: stands already on an earlier line of this file with other contents"]
    assert (report.outcome.stored, report.outcome.already_held) == (1, 1)


def test_faults_of_objects_are_told(studio: Bring) -> None:
    report = studio(
        "o.csv",
        "object,height_cm,shape,structure_condition,received_on,finished_on,returned_from\n24-005,-4,square,4,2024-01-05,2024-01-01,24-099\n24-006,24"
        " in,oval,1.5,,,24-006\n",
    )
    assert faults(report) == [
        "2 shape: is not a shape",
        "2 height_cm: cannot be",
        "2 structure_condition: cannot be",
        "2 finished_on: is before the work was received",
        "2 returned_from: is not a known object",
        "3 structure_condition: is not a whole number",
        "3 returned_from: is the object itself",
    ]


def test_a_studio_adds_techniques_with_spellings_of_its_own(studio: Bring, store: Store) -> None:
    assert studio("p.csv", "phase,position\nloan preparation,14\n").complete
    assert studio(
        "t.csv",
        "technique,phase,unit,mode,aliases,cautions\nglass fibre bridge,structural repair,cm,,bridging|fibre"
        " bridge,blade|dust\n",
    ).complete
    vocabulary = read_vocabulary(store.cursor())
    assert vocabulary.technique("Fibre-Bridge") == "glass fibre bridge"
    assert vocabulary.techniques["glass fibre bridge"].mode == "hands_on"
    assert list(vocabulary.phases)[-1] == "loan preparation"


def test_a_technique_named_by_another_spelling_of_a_word_is_asked_about_and_may_be_had(
    studio: Bring, store: Store
) -> None:
    """As in a phase of works of its own: teaching, out of studio time, must not move there."""

    def words() -> Vocabulary:
        return read_vocabulary(store.cursor())

    assert (
        words().technique("Training") == "teaching" and words().techniques["teaching"].phase == "studio time"
    )
    report = studio("t.csv", "technique,phase,unit\nTraining,handover,\nTRAINING,handover,\n")
    asked = "technique: is another spelling of teaching: is that meant, or a technique of its own"
    assert faults(report) == [f"2 {asked}", f"3 {asked}"]
    assert (
        report.problems["mend"].tolist()[0]
        == 'To change teaching, write "teaching". For a technique of its own, write "TRAINING" among its'
        " aliases too."
    )
    assert words().techniques["teaching"].phase == "studio time" and "Training" not in words().techniques
    # either is had by the mend
    assert studio("a.csv", "technique,phase,note\nteaching,studio time,of others\n").outcome.corrected == 1
    assert studio("b.csv", "technique,phase,aliases\nTraining,handover,training|Coaching\n").complete
    assert (
        words().techniques["teaching"].phase == "studio time"
        and words().techniques["Training"].phase == "handover"
    )
    assert (
        words().technique("training") == words().technique("coaching") == "Training"
        and words().technique("supervising") == "teaching"
    )
    again = studio("b.csv", "technique,phase,aliases\nTraining,handover,training|Coaching\n")
    assert (again.outcome.already_held, again.outcome.rows) == (1, 1)
    # what is typed on a page is asked about in its own words
    with pytest.raises(
        RowsRefused, match='For a technique of its own, write "Supervising" among its other spellings too'
    ):
        store_rows(
            store, TECHNIQUES, [{"technique": "Supervising", "phase": "handover", "aliases": ""}], CHANGE
        )
    # and neither can be had by renaming another
    with (
        pytest.raises(
            BenchHoursError, match=r'"course" is another spelling of teaching\. Take it away there first'
        ),
        store.writing() as con,
    ):
        rename(con, "technique", "packing", "course", CHANGE)


@pytest.mark.parametrize(
    ("kind", "old", "new", "head"),
    [
        ("technique", "facing", "tissue facing", "technique,phase,note"),
        ("phase", "filling", "fills", "phase,position,note"),
    ],
)
def test_a_row_under_the_name_that_a_word_once_had_changes_nothing_unasked(
    studio: Bring, store: Store, kind: str, old: str, new: str, head: str
) -> None:
    place = "stabilisation" if kind == "technique" else "9"
    held = f"{head}\n{old},{place},as before\n"
    assert studio("w.csv", held).complete
    with store.writing() as con:
        rename(con, kind, old, new, CHANGE)
    again = studio("w.csv", held)  # an old file is known
    assert (again.outcome.already_held, again.outcome.rows) == (1, 1)
    report = studio("n.csv", f"{head}\n{old},{'handover' if kind == 'technique' else '3'},\n")
    assert faults(report) == [f"2 {kind}: was once the name of {new}, and this would change it"]
    assert report.problems["mend"].tolist() == [
        f'To change it, write "{new}". A {kind} of its own needs another name, as old files mean {new} by'
        " this one."
    ]
    assert studio("m.csv", f"{head}\n{new},{place},otherwise\n").outcome.corrected == 1


def test_a_technique_in_use_keeps_its_unit(studio: Bring, store: Store) -> None:
    studio("e.csv", "object,phase,technique,person,date,hours,quantity\n24-001,,facing,Ilse,2024-02-01,1,4\n")
    report = studio("t.csv", "technique,phase,unit\nfacing,stabilisation,pcs\n")
    assert faults(report) == [
        "2 unit: would change the unit of facing from dm2; entries measured in it: 1, lines of estimates: 0"
    ]


def test_milestones_are_held_once(studio: Bring, store: Store) -> None:
    text = (
        "object,phase,technique,part,finished_on\n"
        "24-001,stabilisation,,,2024-03-01\n"
        "24-001,stabilisation,facing,,2024-03-01\n"
        "24-001,stabilisation,,,2024-03-01\n"
    )
    assert [
        (r.outcome.stored, r.outcome.already_held) for r in (studio("m.csv", text), studio("m.csv", text))
    ] == [(2, 1), (0, 3)]
