"""SQL stands in the queries alone: import contracts cannot see a call."""

import ast
from pathlib import Path

import pytest

DASHBOARD = Path(__file__).parents[3] / "dashboard"


@pytest.mark.parametrize("layer", ["services", "pages", "ui", "text", "charts", "cli"])
def test_only_queries_run_sql(layer: str) -> None:
    calls = [
        f"{path.name}:{node.lineno}"
        for path in sorted((DASHBOARD / layer).glob("**/*.py"))
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        if node.func.attr in ("execute", "executemany", "sql", "query")
    ]
    assert calls == []
