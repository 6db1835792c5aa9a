"""What happened stands in columns: no code tests the text of a message or of a reason, which are for people
to read.
"""

import ast
import re
from collections.abc import Iterator

import pytest

from tests import ROOT

# By its name a value is a sentence. `what` is one as an attribute, of an error; elsewhere it may be a key.
PROSE = {"reason", "mend", "message", "remark", "sentence"}
PROSE_OF_ERRORS = {*PROSE, "what", "msg"}
ERRORS = {"error", "fault", "caught", "refused", "exception"}
TESTS = {
    "startswith",
    "endswith",
    "removeprefix",
    "removesuffix",
    "find",
    "rfind",
    "index",
    "count",
    "partition",
    "rpartition",
    "split",
    "match",
    "fullmatch",
    "search",
    "contains",
    "eq",
    "ne",
    "isin",
}
OF_A_PATTERN = {"match", "fullmatch", "search"}  # the text stands among what they are given

_WORD = rf"(?:\w+\.)?(?:{'|'.join(sorted(PROSE))})\b"
_SUBJECT = rf"(?:(?:coalesce|lower|upper|trim|casefold)\(\s*)*{_WORD}"
SQL_TESTS = (
    re.compile(
        rf"\b(?:starts_with|ends_with|prefix|suffix|contains|instr|strpos|position|regexp_\w+|split_part|substr|substring|left|right|levenshtein)\(\s*{_SUBJECT}",
        re.IGNORECASE,
    ),
    re.compile(
        rf"{_WORD}\s*(?:[^\w\s()]+\s*)?(?:\bnot\s+)?(?:=|<>|!=|~+|\^@|\b(?:like|ilike|glob|similar\s+to|in|is\s+(?:not\s+)?distinct\s+from)\b)\s*\(?\s*(?:'[^']|\?|\$|\{{)",
        re.IGNORECASE,
    ),
    re.compile(rf"'[^']+'\s*(?:=|<>|!=)\s*{_WORD}", re.IGNORECASE),
)

OF_BEFORE = "ingest/migrations/events_of_before.sql"
ALLOWED = {
    (OF_BEFORE, "starts_with(c.reason"): "of rows of before the reason is all there is",
    (OF_BEFORE, "starts_with(reason"): "the same",
    (OF_BEFORE, "c.reason = 'b"): "the same",
    (OF_BEFORE, "reason = 'j"): "the same",
    (OF_BEFORE, "reason = 'r"): "the same",
    (OF_BEFORE, "reason = 't"): "the same",
    (OF_BEFORE, "substr(reason"): "the same",
    (
        "ingest/errors.py",
        "message in text",
    ): "words of the operating system and of DuckDB, turned into plain ones",
    (
        "ingest/store.py",
        "'Could not set lock' in message",
    ): "words of DuckDB: it has no other sign that another process holds the file",
    ("ingest/store.py", "'being used by another process' in message"): "the same",
    ("ingest/store.py", "re.search('PID (\\\\d+)', message)"): "the same",
    ("ingest/store.py", "re.search('held in ([^(]+?) \\\\(PID', message)"): "the same",
    ("ingest/store.py", "word in message"): "the same, of a file that is damaged",
    ("dashboard/server/run.py", "'graceful shutdown' not in str(record.msg)"): "words of uvicorn in its log",
}


def reading_prose(source: str) -> list[str]:
    """Every place of a module that tests the text of a sentence, as it would be written."""
    tree = ast.parse(source)
    from_errors = {name for node in ast.walk(tree) for name in _made_of_an_error(node)}
    return [found for node in ast.walk(tree) for found in _tests(node, from_errors)]


def prose_in_sql(text: str) -> list[str]:
    """The same of a statement."""
    plain = re.sub(r"--[^\n]*", "", text)
    return [found[0].strip() for pattern in SQL_TESTS for found in pattern.finditer(plain)]


def _made_of_an_error(node: ast.AST) -> Iterator[str]:
    """Names that are given the text of an error: `said = str(error)`."""
    if isinstance(node, ast.Assign) and _is_text_of_an_error(node.value):
        yield from (target.id for target in node.targets if isinstance(target, ast.Name))
    if isinstance(node, ast.NamedExpr) and _is_text_of_an_error(node.value):
        yield node.target.id


def _is_text_of_an_error(node: ast.AST) -> bool:
    match node:
        case ast.Call(func=ast.Name(id="str" | "repr"), args=[ast.Name(id=name)]):
            return name in ERRORS
        case ast.Call(func=ast.Name(id="str" | "repr"), args=[ast.Attribute(attr="msg")]):
            return True
        case ast.JoinedStr(values=[ast.FormattedValue(value=ast.Name(id=name))]):
            return name in ERRORS
    return False


def _bare(node: ast.AST) -> ast.AST:
    """A value without what only puts it into another case or shape."""
    match node:
        case (
            ast.Attribute(attr="str" | "values", value=inner) | ast.Subscript(value=inner, slice=ast.Slice())
        ):
            return _bare(inner)
        case ast.Call(
            func=ast.Attribute(
                attr="lower" | "upper" | "casefold" | "strip" | "tolist" | "fillna" | "astype", value=inner
            )
        ):
            return _bare(inner)
        case ast.Call(func=ast.Name(id="text" | "folded"), args=[inner]):
            return _bare(inner)
    return node


def _is_prose(node: ast.AST, from_errors: set[str]) -> bool:
    """A value that is a sentence: by its name, its attribute, its column."""
    match bare := _bare(node):
        case ast.Name(id=name):
            return name in PROSE or name in from_errors
        case ast.Attribute(attr=name):
            return name in PROSE_OF_ERRORS
        case (
            ast.Subscript(slice=ast.Constant(value=str(name)))
            | ast.Call(func=ast.Attribute(attr="get" | "pop"), args=[ast.Constant(value=str(name)), *_])
        ):
            return name in PROSE
    return _is_text_of_an_error(bare)


def _says_nothing(node: ast.AST) -> bool:
    """Whether there is a text at all may be asked."""
    return isinstance(node, ast.Constant) and (node.value is None or node.value == "")


def _tests(node: ast.AST, from_errors: set[str]) -> Iterator[str]:
    match node:
        case ast.Call(func=ast.Attribute(attr=name, value=subject), args=[first, *others]) if (
            name in TESTS and not _says_nothing(first)
        ):
            if any(
                _is_prose(item, from_errors)
                for item in (subject, *([first, *others] if name in OF_A_PATTERN else []))
            ):
                yield ast.unparse(node)
        case ast.Compare(left=left, ops=ops, comparators=comparators):
            for one, op, other in zip([left, *comparators], ops, comparators, strict=False):
                if isinstance(op, ast.Is | ast.IsNot) or _says_nothing(one) or _says_nothing(other):
                    continue
                prose = [_is_prose(side, from_errors) for side in (one, other)]
                both = all(prose) and isinstance(op, ast.Eq | ast.NotEq)  # whether two rows say the same
                if any(prose) and not both:
                    yield ast.unparse(node)
        case ast.Match(subject=subject) if _is_prose(subject, from_errors):
            yield f"match {ast.unparse(subject)}"
        case ast.Constant(value=str(text)):
            yield from prose_in_sql(text)
        case ast.JoinedStr(values=parts):
            yield from prose_in_sql(
                "".join(
                    part.value if isinstance(part, ast.Constant) and isinstance(part.value, str) else "{}"
                    for part in parts
                )
            )


def _everywhere() -> Iterator[tuple[str, str]]:
    for folder in ("ingest", "dashboard"):
        for file in sorted((ROOT / folder).rglob("*")):
            if file.suffix in (".py", ".sql"):
                found = (
                    reading_prose(file.read_text(encoding="utf-8"))
                    if file.suffix == ".py"
                    else prose_in_sql(file.read_text(encoding="utf-8"))
                )
                yield from ((file.relative_to(ROOT).as_posix(), item) for item in found)


def test_no_code_tests_the_text_of_a_message_or_a_reason() -> None:
    found = set(_everywhere())
    strangers = sorted(found - set(ALLOWED))
    assert not strangers, f"these read a sentence: {strangers}"
    assert not (gone := sorted(set(ALLOWED) - found)), (
        f"these are there no more, so they need no leave: {gone}"
    )


@pytest.mark.parametrize(
    "snippet",
    [
        "if reason.startswith('taken back'): pass",
        "if change.reason.endswith('x'): pass",
        "told = row['reason'].removeprefix('taken back: ')",
        "if 'taken back' in reason: pass",
        "if 'taken back' not in row['reason']: pass",
        "if reason == 'put back on the page of the work': pass",
        "if SUMMED != error.mend: pass",
        "if error.what in ('is empty', 'is no day'): pass",
        "if 'is full' in str(error): pass",
        "said = str(error)\nif 'is full' in said: pass",
        "if f'{error}'.startswith('no'): pass",
        "rows = report.warnings[report.warnings['reason'].str.endswith('summed')]",
        "found = report.problems['reason'].eq(EITHER_ORDER).any()",
        "found = report.problems.reason.isin(['a', 'b'])",
        "found = report.problems['mend'].str.contains('Studio')",
        "import re\nif re.search('back', remark['reason']): pass",
        "import re\nif re.compile('back').match(message): pass",
        "if row.get('reason', '').strip().casefold() == 'taken back': pass",
        "match error.what:\n    case 'is empty': pass",
        "if reason[:10] == 'taken back': pass",
        "con.execute(\"SELECT * FROM history WHERE starts_with(reason, 'taken back')\")",
        (
            "con.execute(\"SELECT * FROM history AS h WHERE NOT starts_with(coalesce(h.reason, ''), 'taken"
            " back')\")"
        ),
        "con.execute(\"SELECT * FROM history WHERE reason LIKE 'taken back%'\")",
        "con.execute(\"SELECT * FROM problems WHERE reason = 'is empty'\")",
        'con.execute("SELECT * FROM problems WHERE p.mend <> ?", [mend])',
        "con.execute(\"SELECT * FROM problems WHERE reason NOT IN ('is empty')\")",
        'con.execute(f"SELECT * FROM problems WHERE reason = {quoted(said)}")',
        "con.execute(\"SELECT * FROM problems WHERE 'is empty' = reason\")",
        'con.execute("SELECT left(reason, 10) FROM history")',
    ],
)
def test_each_way_of_reading_a_sentence_is_found(snippet: str) -> None:
    assert reading_prose(snippet), snippet


@pytest.mark.parametrize(
    "snippet",
    [
        "if not reason.strip(): pass",
        "if row['reason'] != '': pass",
        "if reason is None: pass",
        "say(f'{reason}. {mend}')",
        "if row['event'] == 'taken back': pass",
        "same = one.reason == other.reason",
        "shown = error.what.capitalize()",
        'con.execute("UPDATE history SET event = t.event, reason = t.reason FROM told AS t")',
        (
            'con.execute("SELECT * FROM versions AS v JOIN new ON v.reason IS NOT DISTINCT FROM new.reason'
            " WHERE reason <> ''\")"
        ),
    ],
)
def test_what_only_shows_a_sentence_or_asks_whether_there_is_one_is_left_alone(snippet: str) -> None:
    assert not reading_prose(snippet), reading_prose(snippet)
