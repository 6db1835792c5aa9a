"""The trade's words: shipped, renamed, retired."""

from datetime import date

import pytest

from ingest.errors import BenchHoursError, NotationError
from ingest.schema.csv_columns import CAUTIONS, CONDITIONS, MODES, UNITS
from ingest.store import Store
from ingest.studio.vocabulary import read_vocabulary, rename, retire, set_spellings
from ingest.values.spelling import folded
from tests.conftest import CHANGE, Bring, entries

# Exact matches of treatment terms in the Getty AAT, by the ids printed in the linked-conservation-data
# alignments of 2020-05-18 (CC BY 4.0; Library of Congress, Stanford, Smithsonian): what a conservator calls
# these, this vocabulary must understand.
AAT_TERMS = {
    300053027: "surface cleaning",
    300219637: "dry cleaning",
    300219960: "consolidation",
    300226345: "flattening",
    300226357: "humidification",
    300053092: "filling",
    300053723: "inpainting",
    300053725: "facing",
    300162124: "lining",
    300136723: "retouching",
}


def test_the_shipped_vocabulary_is_whole_and_of_known_kinds(store: Store) -> None:
    vocabulary = read_vocabulary(store.cursor())
    assert len(vocabulary.techniques) >= 60 and 12 <= len(vocabulary.phases) <= 16
    for technique in vocabulary.techniques.values():
        assert technique.phase in vocabulary.phases
        assert (
            technique.unit in (*UNITS, None)
            and technique.mode in MODES
            and technique.condition in (*CONDITIONS, None)
        )
        assert set(technique.cautions) <= set(CAUTIONS)
    assert list(vocabulary.phases.values()) == sorted(vocabulary.phases.values())


def test_terms_of_the_getty_thesaurus_are_understood(store: Store) -> None:
    vocabulary = read_vocabulary(store.cursor())
    assert {term: vocabulary.technique(term) for term in AAT_TERMS.values()} == {
        "surface cleaning": "surface cleaning aqueous",
        "dry cleaning": "surface cleaning dry",
        "consolidation": "consolidation",
        "flattening": "flattening by moisture",
        "humidification": "flattening by moisture",
        "filling": "filling",
        "inpainting": "retouching",
        "facing": "facing",
        "lining": "lining",
        "retouching": "retouching",
    }


def test_the_usual_caution_stands_where_the_work_can_hurt(store: Store) -> None:
    """Hazards of paintings studios: Rossol, McGinn, Townsend in Conservation of Easel Paintings, 2nd ed. 2020
    (abstract): solvents, dust, mould, old pigments.
    """
    techniques = read_vocabulary(store.cursor()).techniques
    assert "solvent" in techniques["varnish removal with free solvents"].cautions
    assert {"blade", "dust"} <= set(techniques["lining removal dry"].cautions)
    assert "heat" in techniques["flattening on the heated table"].cautions
    assert "mould" in techniques["mould treatment"].cautions
    assert "old_pigment" in techniques["overpaint removal mechanically"].cautions


def test_a_renamed_technique_keeps_its_entries_and_old_files_change_nothing(
    studio: Bring, store: Store
) -> None:
    text = "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-02-01,1\n"
    studio("e.csv", text)
    with store.writing() as con:
        rename(con, "technique", "facing", "tissue cover", CHANGE)
        rename(con, "phase", "stabilisation", "making safe", CHANGE)
    assert entries(store)[["phase", "technique"]].to_numpy().tolist() == [["making safe", "tissue cover"]]
    assert studio("e.csv", text).outcome.already_held == 1
    with store.writing() as con, pytest.raises(BenchHoursError) as caught:
        rename(con, "technique", "tissue cover", "Lining", CHANGE)
    assert str(caught.value) == '"Lining" already names another technique. Choose another name.'


def test_retiring_orphans_nothing_and_a_later_use_is_warned_about(studio: Bring, store: Store) -> None:
    head = "object,phase,technique,person,date,hours\n"
    studio("e.csv", head + "24-001,,facing,Ilse,2024-02-01,1\n")
    with store.writing() as con:
        retire(con, "technique", "facing", date(2024, 3, 1), CHANGE)
    report = studio("f.csv", head + "24-001,,facing,Ilse,2024-03-02,1\n24-002,,facing,Ilse,2024-02-02,1\n")
    assert report.complete and report.warnings["line"].tolist() == [2]
    assert len(entries(store)) == 3


def test_an_unknown_word_comes_with_the_nearest_known_one(store: Store) -> None:
    vocabulary = read_vocabulary(store.cursor())
    for typed, near in (
        ("varnish remval with gel", "varnish removal"),
        ("consolidaton", "consolidation"),
        ("strip linning", "strip lining"),
    ):
        with pytest.raises(NotationError) as caught:
            vocabulary.technique(typed)
        assert near in caught.value.mend
    assert folded("Œuvre-à  CÔTÉ") == "œuvre a cote"


def test_a_spelling_of_signs_alone_is_none(store: Store) -> None:
    with store.writing() as con:
        set_spellings(con, "technique", "facing", ["/", "-", "face up"], CHANGE)
    assert store.cursor().execute("SELECT count(*) FROM spellings WHERE spelling = ''").fetchall() == [(0,)]
