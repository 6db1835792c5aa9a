"""Objects, vocabulary and milestones: one row a key."""

from ingest.store import Store
from ingest.vocabulary import read_vocabulary
from tests.conftest import Bring, faults


def test_an_object_is_corrected_its_earlier_version_kept_and_empty_cells_say_nothing(studio: Bring, store: Store) -> None:
    assert studio("o.csv", "object,title,owner\n24-001,Ferry in deep snow,\n").outcome.corrected == 1
    assert store.cursor().execute("SELECT title, height_cm FROM objects WHERE object = '24-001'").fetchall() == [("Ferry in deep snow", 60.0)]
    assert store.cursor().execute("SELECT key, earlier->>'title' FROM history").fetchall() == [("24-001", "Ferry in snow")]
    assert studio("o.csv", "object,title\n24-001,Ferry in snow\n").outcome.already_held == 1


def test_two_rows_of_one_object_that_differ_are_refused(studio: Bring) -> None:
    report = studio("o.csv", "object,title\n24-005,A\n24-005,B\n24-005,A\n")
    assert faults(report) == ["3 object: stands already on an earlier line of this file with other contents"]
    assert (report.outcome.stored, report.outcome.already_held) == (1, 1)


def test_faults_of_objects_are_told(studio: Bring) -> None:
    report = studio(
        "o.csv",
        "object,height_cm,shape,structure_condition,received_on,finished_on,returned_from\n24-005,-4,square,4,2024-01-05,2024-01-01,24-099\n24-006,24 in,oval,1.5,,,24-006\n",
    )
    assert faults(report) == [
        "2 shape: is not a shape", "2 height_cm: cannot be", "2 structure_condition: cannot be", "2 finished_on: is before the work was received",
        "2 returned_from: is not a known object", "3 structure_condition: is not a whole number", "3 returned_from: is the object itself",
    ]  # fmt: skip


def test_a_studio_adds_techniques_with_spellings_of_its_own(studio: Bring, store: Store) -> None:
    assert studio("p.csv", "phase,position\nloan preparation,14\n").complete
    assert studio("t.csv", "technique,phase,unit,mode,aliases,cautions\nglass fibre bridge,structural repair,cm,,bridging|fibre bridge,blade|dust\n").complete
    vocabulary = read_vocabulary(store.cursor())
    assert vocabulary.technique("Fibre-Bridge") == "glass fibre bridge"
    assert vocabulary.techniques["glass fibre bridge"].mode == "hands_on"
    assert list(vocabulary.phases)[-1] == "loan preparation"


def test_a_technique_in_use_keeps_its_unit(studio: Bring, store: Store) -> None:
    studio("e.csv", "object,phase,technique,person,date,hours,quantity\n24-001,,facing,Ilse,2024-02-01,1,4\n")
    report = studio("t.csv", "technique,phase,unit\nfacing,stabilisation,pcs\n")
    assert faults(report) == ["2 unit: would change the unit of facing from dm2; entries measured in it: 1, lines of estimates: 0"]


def test_milestones_are_held_once(studio: Bring, store: Store) -> None:
    text = "object,phase,technique,part,finished_on\n24-001,stabilisation,,,2024-03-01\n24-001,stabilisation,facing,,2024-03-01\n24-001,stabilisation,,,2024-03-01\n"
    assert [(r.outcome.stored, r.outcome.already_held) for r in (studio("m.csv", text), studio("m.csv", text))] == [(2, 1), (0, 3)]
