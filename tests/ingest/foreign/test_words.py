"""Each different text once, with how often it stands there and its likeliest match; none is unasked."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.foreign.new_codes import new_codes
from ingest.foreign.preview import words_in
from ingest.foreign.sheets import read_book
from ingest.foreign.words import Meaning, Word, a_new_work, a_phase, a_technique, a_work
from ingest.store import Store
from tests.conftest import Bring, entries
from tests.ingest.foreign.example_tables import bring as bring_table
from tests.ingest.foreign.example_tables import column, diary, say


def words(store: Store, path: Path, **meanings: object) -> list[Word]:
    sheet = read_book(path).sheets[0]
    reading = diary(columns={**diary().columns, "person": column("who")})
    said = {("object", text): meaning for text, meaning in meanings.items()}
    return words_in(store.cursor(), [(sheet, 0)], reading, said)  # type: ignore[arg-type]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "diary.csv"
    file.write_text(
        "Date;Job;What;Time;Who\n5.2.2024;Ferry in snow;retuching;1;Ilse\n"
        "6.2.2024;ferry in the snow;retuching;1;Ilse\n"
        "7.2.2024;Weir at  dusk;facing;1;ILSE\n8.2.2024;24-002;clean;1;Ils\n9.2.2024;mill;Retuching;1;Ilse\n"
    )
    return file


def test_each_text_stands_once_with_its_rows_and_likely_matches(
    studio: Bring, store: Store, path: Path
) -> None:
    studio("log.csv", "object,phase,technique,person,date,hours\n24-001,,facing,Ilse,2024-01-09,1\n")
    by_text = {(word.column, word.text): word for word in words(store, path)}
    assert {key: word.rows for key, word in by_text.items() if word.open} == {
        ("object", "ferry in the snow"): 1,
        ("object", "mill"): 1,
        ("technique", "retuching"): 3,
        ("technique", "clean"): 1,
        ("person", "Ils"): 1,
    }
    known = {key: word.known.values for key, word in by_text.items() if word.known}
    assert known == {
        ("object", "Ferry in snow"): {"object": "24-001"},  # the title of one work alone
        ("object", "Weir at  dusk"): {"object": "24-002"},
        ("object", "24-002"): {"object": "24-002"},
        ("technique", "facing"): {"technique": "facing"},
        ("person", "Ilse"): {"person": "Ilse"},
    }
    likely = by_text["object", "ferry in the snow"].likely[0]
    assert (likely.shown, likely.meaning) == ("24-001 Ferry in snow", a_work("24-001"))
    assert by_text["technique", "retuching"].likely[0].meaning == a_technique("retouching")
    # a text may mean a phase alone: it is offered among the techniques
    assert a_phase("cleaning") in [match.meaning for match in by_text["technique", "clean"].likely]
    assert by_text["person", "Ils"].likely[0].shown == "Ilse"


def test_a_match_shares_a_telling_word_or_is_near_as_a_whole(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    file = tmp_path / "diary.csv"
    table = "Date;Job;What;Time;Who\n"
    texts = ("off with the old", "work with the gel", "varnish off", "retuching", "of the losses")
    file.write_text(table + "".join(f"5.2.2024;24-001;{text};1;Ilse\n" for text in texts))
    likely = {word.text: [match.shown for match in word.likely] for word in words(store, file)}
    assert likely["off with the old"] == []
    assert likely["retuching"][0] == "retouching"
    assert likely["varnish off"] and all("varnish" in shown for shown in likely["varnish off"])
    assert all("gel" in shown.split() for shown in likely["work with the gel"])


def test_a_title_that_two_works_have_is_neither(studio: Bring, store: Store, path: Path) -> None:
    studio("more.csv", "object,title\n24-009,Ferry in Snow\n")
    assert "Ferry in snow" in [word.text for word in words(store, path) if word.open]


def test_what_was_said_stands_with_its_word(studio: Bring, store: Store, path: Path) -> None:
    meaning = a_new_work("24-003", "Mill by night")
    mill = next(word for word in words(store, path, mill=meaning) if word.text == "mill")
    assert mill.meaning == meaning and not mill.open


def test_a_person_of_a_foreign_table_is_nobody_until_it_is_said(
    studio: Bring, store: Store, path: Path
) -> None:
    say(store, path, diary(columns={**diary().columns, "person": column("who")}), {})
    report = bring_table(store, path)[0]
    assert set(report.faults["column"]) == {"object", "technique", "person"}
    assert report.new_people == [] and entries(store).empty


@pytest.mark.parametrize(
    ("held", "years", "codes"),
    [
        ([], [2024, 2024], ["24-001", "24-002"]),
        (["24-001", "24-014", "23-110"], [2024, 2023, 2019], ["24-015", "23-111", "19-001"]),
        (["2023/7", "2024/9"], [2024, 2025], ["2024/10", "2025/1"]),
        (["W 007", "W 012"], [2024, 2020], ["W 013", "W 014"]),
        (["17", "18"], [2024], ["19"]),
        (["A24.05-x", "A24.06-x"], [2024], ["A24.07-x"]),
    ],
)
def test_new_works_get_codes_of_the_kind_of_the_studio(
    held: list[str], years: list[int], codes: list[str], store: Store, bring: Bring
) -> None:
    if held:
        bring("works.csv", "object,title\n" + "".join(f"{code},work {code}\n" for code in held))
    assert new_codes(store.cursor(), years) == codes
    assert new_codes(store.cursor(), years[:1], taken=codes[:1]) != codes[:1]


def test_the_stem_of_a_name_ranks_before_what_merely_contains_it(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    file = tmp_path / "diary.csv"
    file.write_text("Date;Job;What;Time;Who\n5.2.2024;24-001;varnish;1;Ilse\n")
    (likely,) = [word.likely for word in words(store, file) if word.text == "varnish"]
    assert likely[0].shown == "varnishing by brush"


def test_a_title_that_a_text_begins_is_its_likeliest_match_however_long(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    studio(
        "more.csv", "object,title\n24-009,Quay (a harbour at evening with boats coming in before the storm)\n"
    )
    file = tmp_path / "diary.csv"
    file.write_text("Date;Job;What;Time;Who\n5.2.2024;Quay;facing;1;Ilse\n")
    (quay,) = [word for word in words(store, file) if word.text == "Quay"]
    assert quay.likely[0].meaning == a_work("24-009")


def test_what_was_said_of_the_same_text_in_another_table_is_offered_first(
    studio: Bring, store: Store, path: Path, tmp_path: Path
) -> None:
    other = tmp_path / "log.csv"
    other.write_text("Day;Object;Did;Hours\n5.2.2024;mill;retuching;1\n")
    columns = {"date": column("day"), "object": column("object"), "technique": column("did")}
    reading = diary(columns={**diary().columns, **columns, "hours": column("hours")})
    meanings = {("object", "mill"): a_work("24-002"), ("technique", "retuching"): a_phase("cleaning")}
    say(store, other, reading, meanings)
    first = {word.text: word.likely[0] for word in words(store, path) if word.text in ("mill", "retuching")}
    assert (first["mill"].meaning, first["mill"].said_in) == (a_work("24-002"), "log.csv")
    assert (first["retuching"].meaning, first["retuching"].said_in) == (a_phase("cleaning"), "log.csv")


@pytest.mark.parametrize(
    ("head", "others", "first"),
    [
        ("What", ("facing", "lining"), a_technique("retouching")),
        ("What", ("cleaning", "stabilisation", "facing"), a_phase("retouching")),
        ("Phase", ("facing", "lining"), a_phase("retouching")),
    ],
)
def test_the_name_of_a_phase_and_a_technique_is_what_the_others_of_its_column_are(
    head: str, others: tuple[str, ...], first: Meaning, studio: Bring, store: Store, tmp_path: Path
) -> None:
    file = tmp_path / "diary.csv"
    rows = "".join(f"5.2.2024;24-001;{text};1;Ilse\n" for text in ("retouching", *others))
    file.write_text(f"Date;Job;{head};Time;Who\n{rows}")
    reading = diary(columns={**diary().columns, "technique": column(head.casefold())})
    words = words_in(store.cursor(), [(read_book(file).sheets[0], 0)], reading, {})
    (retouching,) = [word for word in words if word.text == "retouching"]
    assert retouching.either and retouching.likely[0].meaning == first
