"""Names in code are terms of the field: words that could mean anything name nothing."""

import ast
from collections.abc import Iterator

import pytest

from tests import ROOT

VAGUE = {"said", "found", "told", "asked", "kept", "given", "one", "fate", "held", "seen", "called"}


def identifiers(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """Every name that a module binds or reads as an attribute, with its line."""
    for node in ast.walk(tree):
        match node:
            case ast.Name(id=name, ctx=ast.Store()) | ast.arg(arg=name) | ast.Attribute(attr=name):
                yield name.strip("_"), node.lineno
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name) | ast.AsyncFunctionDef(name=name):
                yield name.strip("_"), node.lineno


@pytest.mark.parametrize("folder", ["dashboard", "ingest", "demo_logs"])
def test_no_name_in_the_code_is_a_word_that_could_mean_anything(folder: str) -> None:
    vague = [
        f"{path.relative_to(ROOT)}:{line} {name}"
        for path in sorted((ROOT / folder).rglob("*.py"))
        for name, line in identifiers(ast.parse(path.read_text(encoding="utf-8")))
        if name in VAGUE
    ]
    assert vague == []


def test_a_vague_name_is_noticed_wherever_it_stands() -> None:
    code = "def told(said):\n    one = said.found\n    return one\nclass Kept:\n    held: int\n"
    assert {name for name, _ in identifiers(ast.parse(code))} >= {"told", "said", "one", "found", "held"}
