"""RFC 4180 section 2: the seven rules, each with a file of its own."""

import pytest

from ingest.store import Store
from tests.conftest import Bring, entries

HEAD = "object,phase,technique,person,date,hours,note"


@pytest.mark.parametrize(
    ("rule", "text", "notes"),
    [
        (
            "1, lines end in CRLF",
            f"{HEAD}\r\n24-001,,facing,Ilse,2024-02-01,1,a\r\n24-001,,facing,Ilse,2024-02-02,1,b\r\n",
            ["a", "b"],
        ),
        ("2, the last line may have no break", f"{HEAD}\r\n24-001,,facing,Ilse,2024-02-01,1,a", ["a"]),
        (
            "5, fields may be in quotes",
            f'{HEAD}\r\n"24-001","","facing","Ilse","2024-02-01","1","a"\r\n',
            ["a"],
        ),
        (
            "6, a field with a comma, a quote or a break is in quotes",
            f'{HEAD}\r\n24-001,,facing,Ilse,2024-02-01,1,"a, b\r\nc"\r\n',
            ["a, b\nc"],
        ),
        (
            "7, a quote in a quoted field is doubled",
            f'{HEAD}\r\n24-001,,facing,Ilse,2024-02-01,1,"the ""sky"""\r\n',
            ['the "sky"'],
        ),
    ],
)
def test_the_rules_of_rfc_4180_hold(
    studio: Bring, store: Store, rule: str, text: str, notes: list[str]
) -> None:
    assert studio("e.csv", text).complete
    assert entries(store)["note"].tolist() == notes


def test_rule_4_each_line_has_the_same_number_of_fields(studio: Bring) -> None:
    report = studio(
        "e.csv",
        f"{HEAD}\r\n24-001,,facing,Ilse,2024-02-01,1\r\n24-001,,facing,Ilse,2024-02-02,1,b,c\r\n24-001,,facing,Ilse,2024-02-03,1,d\r\n",
    )
    assert report.problems[["line", "reason"]].to_numpy().tolist() == [
        [2, "has 6 cells where the header has 7"],
        [3, "has 8 cells where the header has 7"],
    ]
    assert report.outcome.stored == 1
