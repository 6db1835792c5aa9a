"""Faults by their codes: one catalogue of sentences, which says what a code and its details mean."""

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path
from string import Formatter

import pytest

import ingest
from ingest.errors import NotationError
from ingest.faults import WORDINGS, Wording, sentence
from ingest.importing import csv_file, csv_reader
from ingest.importing.cell_readers import READERS, Context
from ingest.importing.constraints import CONSTRAINTS
from ingest.studio.settings import Settings
from ingest.studio.vocabulary import Technique, Vocabulary

CODE_STANDS_AT = {"NotationError": 0, "ShareError": 2}
HOSTILE = (
    "{",
    "}",
    "{0}",
    "{near}",
    "{near.__class__}",
    "{{near}}",
    "%s",
    "%(near)s",
    "a|b",
    "it's\n{",
    "\\N{DIGIT ONE}",
)


def fields_of(template: str) -> set[str]:
    return {field for _, field, _, _ in Formatter().parse(template) if field is not None}


def details_of(wording: Wording) -> set[str]:
    return fields_of(wording.reason) | fields_of(wording.mend)


def raised() -> Iterator[tuple[str, ast.Call, int]]:
    """Every place in `ingest` where an error is made by a code: where it is, the call, and which argument is
    the code.
    """
    for path in sorted(Path(ingest.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in CODE_STANDS_AT
            ):
                yield f"{path.name}, line {node.lineno}", node, CODE_STANDS_AT[node.func.id]


@pytest.mark.parametrize("code", WORDINGS)
def test_every_wording_is_a_reason_and_a_mend_with_named_details_only(code: str) -> None:
    wording = WORDINGS[code]
    assert code.isidentifier() and code.islower()
    assert all(field.isidentifier() for field in details_of(wording))
    assert wording.reason and not wording.reason.endswith(".")
    assert wording.mend.endswith((".", "?", "{mend}"))


def test_every_error_is_raised_by_a_code_of_the_catalogue_with_the_details_of_its_sentences() -> None:
    codes = set()
    for where, call, place in raised():
        code = call.args[place]
        if isinstance(code, ast.Attribute):  # one error is passed on as another
            assert code.attr == "code" and [ast.unparse(keyword.value) for keyword in call.keywords] == [
                f"{ast.unparse(code.value)}.details"
            ], where
            continue
        assert isinstance(code, ast.Constant) and code.value in WORDINGS, where
        assert {keyword.arg for keyword in call.keywords} == details_of(WORDINGS[code.value]), where
        codes.add(code.value)
    assert {"not_hours", "unknown_phase_near", "thousands_or_decimals", "not_a_share"} <= codes


def test_what_a_column_of_an_export_cannot_say_is_worded_in_the_catalogue() -> None:
    for nonsense in (item for those in CONSTRAINTS.values() for item in those):
        assert details_of(WORDINGS[nonsense.code]) == set(nonsense.details)
        assert sentence(nonsense.code, nonsense.details) == (
            nonsense.reason,
            "Leave the files of an export as they are, or write it again.",
        )


@pytest.mark.parametrize("code", [code for code, wording in WORDINGS.items() if details_of(wording)])
def test_a_detail_that_is_missing_is_an_error_and_never_a_gap_in_a_sentence(code: str) -> None:
    details: Mapping[str, object] = dict.fromkeys(details_of(WORDINGS[code]), 1)
    sentence(code, details)
    for missing in details:
        with pytest.raises(KeyError, match=missing):
            sentence(code, {name: value for name, value in details.items() if name != missing})


@pytest.mark.parametrize(
    ("kind", "cells"),
    [
        ("MISSING COLUMNS", 1),
        ("MISSING COLUMNS", 3),
        ("TOO MANY COLUMNS", 9),
        ("UNQUOTED VALUE", 3),
        ("LINE SIZE OVER MAXIMUM", 3),
        ("CAST", 3),
    ],
)
def test_what_is_said_of_a_line_that_is_no_row_fits_its_sentence(
    kind: str, cells: int, tmp_path: Path
) -> None:
    (tmp_path / "log.csv").write_text("a,b,c,d\n1,2,3,4\n", encoding="utf-8")
    code, details = csv_reader._fault(
        kind, cells, "broken", csv_file.open_csv(tmp_path / "log.csv", tmp_path)
    )
    assert details.keys() >= details_of(WORDINGS[code])
    assert all(sentence(code, details))


def test_an_unknown_code_is_an_error() -> None:
    with pytest.raises(KeyError, match="no_such_code"):
        sentence("no_such_code", {})


@pytest.mark.parametrize("text", HOSTILE)
def test_a_detail_with_braces_in_it_comes_out_as_it_is(text: str) -> None:
    assert sentence("unknown_phase_near", {"near": text}) == (
        "is not a known phase",
        f'Did you mean "{text}"?',
    )
    error = NotationError("technique_in_doubt", technique=text, others="lining")
    assert (error.what, error.mend) == (
        f"is taken for {text}",
        "Kept; if lining was meant, write its whole name.",
    )
    assert error.code == "technique_in_doubt" and error.details == {"technique": text, "others": "lining"}
    assert str(error) == f"{error.what}. {error.mend}"


def test_a_technique_with_braces_in_its_name_is_doubted_by_code_and_read_as_it_is() -> None:
    names = ("lining {strip}", "lining {removal}")
    techniques = {
        name: Technique(name, name, "structure", None, "hands_on", None, (), None) for name in names
    }
    vocabulary = Vocabulary(
        {"structure": 1},
        techniques,
        {"structure": "structure"},
        {**{name: name for name in names}, "lining": names[0]},
    )
    doubt = READERS["technique"].doubt(Context(Settings(), vocabulary), "lining")
    assert doubt is not None
    assert sentence(*doubt) == (
        f"is taken for {names[0]}",
        f"Kept; if {names[1]} was meant, write its whole name.",
    )
