"""Every field in which a person types a number, found in the code, asks about one that may be a thousand or
one and a bit.
"""

import argparse
import ast
from collections.abc import Iterator
from dataclasses import fields

import pytest

from dashboard.cli import main as cli_main
from dashboard.documents import quote_letter
from dashboard.services import plan_new_work, quote_terms
from dashboard.ui.works import finish_many
from ingest.editing import pinned_rates, quote_drafts
from ingest.editing.quote_drafts import QuotedWork
from ingest.errors import BenchHoursError
from ingest.importing.cell_readers import READERS
from ingest.importing.form_rows import RowsRefused, store_rows
from ingest.schema.csv_columns import FORMS, OBJECTS, Form
from ingest.store import Store
from ingest.studio.settings import NUMBERS, Settings, stored_text
from ingest.values import named_amounts
from tests import ROOT
from tests.conftest import CHANGE, LATER, Bring

DOUBTFUL = ("1.150", "1,150")
ASKED = "may be 1150 or 1.15"
CLEAR = ("1150", "1.15", "1.1500")

# Settings in which no number is typed, and those in which one stands behind each name.
WORDS = {
    "studio",
    "zone",
    "day_order",
    "currency",
    "address_for_phones",
    "tax_name",
    "bench_days",
    "absences",
    "put_first",
    "pauses",
    "blade_until",
    "letterhead",
    "clause_not_included",
    "clause_changes",
    "clause_validity",
    "clause_storage",
    "clause_insurance",
    "demo",
    "prices_include_tax",
    "letter_cautions",
}
NAMED = {"hourly_rates", "payments", "bench_hours_of_people"}

# What else is typed into a field of its own: is it a number? Each that is one has its test below.
OTHER_FIELDS = {
    "'Why it is corrected or taken back (kept with the earlier version)'": False,
    "plan_new_work.HOURS_OF_NEW": True,
    "plan_new_work.DAYS_OF_NEW": True,
    "'Why (may stay empty)'": False,
    # a cell of a file, which goes in as a file
    "head if head.replace('_', '').isalnum() else plain(head)": (False),
    "'Price agreed'": True,
    "f'Hours per {per}'": True,
    "'Why'": False,
    "'Its code'": False,
    "DAYS_WITHOUT_HOURS": True,
    "label": True,  # of the sheets below; and of days
    "'Add a person: name'": False,
    "'Whose hours these are'": False,
    "'Year or month of rows that say none'": False,  # a day or a longer period
    "'Name'": False,
    "'Other spellings, with | between'": False,
    "'Other spellings that are understood, with | between'": False,
    "'Position'": True,
    "'Note'": False,
    "'New name'": False,
    "quote_letter.CLAUSE_HEADS[name]": False,
    "'Address that the labels lead to'": False,
    "'What to call it'": False,
    "'Name or address for phones'": False,
    "'Search code, title, maker, kind, commission'": False,
    "question": True,  # what all rows of a table have, read as its cells are
    "'Left out: rows in which a cell begins with'": False,
    "label(f'Title of the new work \"{word.text}\"')": False,
    "', '.join(named)": False,  # a line of a quote, in the words of the letter
}

# A row of each kind of form without a number.
ROWS: dict[str, dict[str, str]] = {
    "phases": {"phase": "easels", "position": "3"},
    "techniques": {"technique": "steaming", "phase": "cleaning"},
    "objects": {"object": "24-009"},
    "estimates": {
        "object": "24-001",
        "version": "1",
        "made_on": "2026-01-05",
        "phase": "",
        "technique": "facing",
        "hours": "4",
    },
    "time entries": {
        "object": "24-001",
        "phase": "",
        "technique": "facing",
        "person": "Ilse",
        "date": "2026-01-05",
        "hours": "4",
    },
    "milestones": {"object": "24-001", "phase": "", "technique": "facing", "finished_on": "2026-01-05"},
}


def test_every_setting_that_is_a_number_asks_in_its_own_words() -> None:
    assert {
        field.name for field in fields(Settings) if "float" in str(field.type) or "int" in str(field.type)
    } == set(NUMBERS)
    assert {field.name for field in fields(Settings)} == set(
        NUMBERS
    ) | WORDS | NAMED  # a new one says what it is
    for text in DOUBTFUL:
        for name, (what, most) in NUMBERS.items():
            with pytest.raises(BenchHoursError) as caught:
                stored_text(name, text)
            assert str(caught.value) == f'{what} "{text}" {ASKED}. Write 1150 or 1.15.'
            assert [float(stored_text(name, clear)) for clear in CLEAR if float(clear) <= most] == [
                float(clear) for clear in CLEAR if float(clear) <= most
            ]
        for name in NAMED:
            with pytest.raises(BenchHoursError, match=f'"Ilse {text}" {ASKED}'):
                stored_text(name, f"Ilse {text}")


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.kind)
def test_every_column_that_is_a_number_asks_wherever_it_is_typed(
    form: Form, store: Store, bring: Bring
) -> None:
    numeric = {
        column.name for column in form.columns if READERS[column.reading].sql_type in ("DOUBLE", "INTEGER")
    }
    named = {
        column.name
        for column in form.columns
        if column.name.endswith(("hours", "_cm", "_dm2", "_per_cent", "quantity", "price", "done"))
    }
    assert named - {"tax_in_price"} <= numeric  # that is yes or no
    bring("o.csv", "object,title\n24-001,Ferry\n")
    for name in numeric:
        for text in DOUBTFUL:
            with pytest.raises(RowsRefused, match=f'^The field "{text}" {ASKED}') as caught:
                store_rows(store, form, [{**ROWS[form.kind], name: text}], CHANGE, labels={name: "The field"})
            assert caught.value.problems["column"].tolist() == [name]


def _options() -> Iterator[tuple[str, argparse.Action]]:
    (commands,) = (
        action for action in cli_main._parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    for name, parser in commands.choices.items():
        yield from (
            (name, action) for action in parser._actions if action.nargs != 0 and action.option_strings
        )


def test_every_option_of_a_command_asks_or_takes_no_such_number(capsys: pytest.CaptureFixture[str]) -> None:
    # more that a command cannot do without
    wants = {
        "import": ["f"],
        "check": ["f"],
        "export": ["d"],
        "restore": ["f"],
        "labels": ["f"],
        "statement": ["--object", "24-001"],
    }
    asking = set()
    for name, action in _options():
        for text in DOUBTFUL:
            try:
                said = cli_main._parser().parse_args(
                    [name, *wants.get(name, []), action.option_strings[0], text]
                )
            except SystemExit:
                asking |= {action.option_strings[0]} if ASKED in capsys.readouterr().err else set()
            else:
                assert not isinstance(getattr(said, action.dest), (int, float)), (
                    f"{name} {action.option_strings[0]} takes {text} for a number"
                )
    assert asking == {"--hours", "--waiting-days"}


def test_what_describes_a_work_to_be_quoted_asks(store: Store, bring: Bring) -> None:
    numeric = {
        column.name for column in OBJECTS.columns if READERS[column.reading].sql_type in ("DOUBLE", "INTEGER")
    }
    for text in DOUBTFUL:
        for name in numeric:
            assert name in quote_drafts.DESCRIBED
            read = quote_drafts.read_over(
                store,
                QuotedWork(described={name: text}, lines=[{"technique": "facing"}]),
                LATER,
                {name: "the field"},
            )
            assert (
                read.about == [f'The field "{text}": {ASKED}. Write 1150 or 1.15.']
                and read.object_row[name] is None
            )
        for name in ("quantity", "hours", "low_hours", "high_hours", "unattended_hours"):
            read = quote_drafts.read_over(
                store, QuotedWork(lines=[{"technique": "facing", name: text}]), LATER, {name: "the field"}
            )
            assert read.problems == [f'Line 1, the field "{text}": {ASKED}. Write 1150 or 1.15.']


def _fields_of_terms() -> set[str]:
    """The terms of a quote for which its page has a field."""
    page = ast.parse((ROOT / "dashboard/ui/quote/terms.py").read_text(encoding="utf-8"))
    calls = (
        node
        for node in ast.walk(page)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "field"
    )
    return {
        call.args[0].value
        for call in calls
        if isinstance(call.args[0], ast.Constant) and isinstance(call.args[0].value, str)
    }


def test_every_term_and_cost_of_a_quote_asks() -> None:
    terms = _fields_of_terms() - {"currency", "begin_on"}
    assert {"rate", "ceiling", "minimum", "tax", "travel_hours", "travel_cost", "payments"} <= terms
    for text in DOUBTFUL:
        for name in terms:
            (fault,) = quote_terms.read_terms(
                {name: f"at handover {text}" if name == "payments" else text}, Settings(), {}
            ).faults
            assert f'{text}" {ASKED}' in fault
        costs, (fault,) = quote_terms.read_costs(
            QuotedWork(costs=[{"what": "analysis", "amount": text}]),
            quote_terms.read_terms({}, Settings(), {}),
        )
        assert costs == [] and fault.startswith(f'Cost 1, "{text}": {ASKED}')


def test_a_rate_of_ones_own_and_a_price_agreed_ask() -> None:
    for text in DOUBTFUL:
        with pytest.raises(BenchHoursError, match=f'^Hours per dm² "{text}" {ASKED}'):
            pinned_rates.read_rate("dm²", text)
        with pytest.raises(BenchHoursError, match=f"^{ASKED}"):
            named_amounts.decimal_of(text)
    assert pinned_rates.read_rate("dm²", "20 min") == pytest.approx(1 / 3)
    assert pinned_rates.read_rate("dm²", "0.125") == 0.125
    with pytest.raises(BenchHoursError, match=r"^Hours per dm² cannot be 0"):
        pinned_rates.read_rate("dm²", "0")


def test_how_long_works_had_no_hours_asks() -> None:
    for text in DOUBTFUL:
        with pytest.raises(BenchHoursError, match=f'^No hours for so many days "{text}" {ASKED}'):
            finish_many.read_days(text)
    assert [finish_many.read_days(text) for text in ("0", " 60 ", "1150")] == [0, 60, 1150]


def test_a_new_work_that_the_bench_plan_is_asked_about_asks() -> None:
    for text in DOUBTFUL:
        with pytest.raises(BenchHoursError, match=f'^Hours at the bench, even chance "{text}" {ASKED}'):
            plan_new_work.read_new_work(text, "")
        with pytest.raises(BenchHoursError, match=f'^Days it presses and dries alone "{text}" {ASKED}'):
            plan_new_work.read_new_work("40", text)
    assert plan_new_work.read_new_work("1:30", "") == (1.5, 0) and plan_new_work.read_new_work(
        " 40 ", "2,5"
    ) == (40, 2.5)
    with pytest.raises(
        BenchHoursError,
        match=r"^Hours at the bench, even chance cannot be 0. Write a number above 0, at most 10,000",
    ):
        plan_new_work.read_new_work("0", "")


def test_no_field_of_a_page_takes_a_number_past_the_reader() -> None:
    """A field whose number the browser or the library reads is none of ours; a new field of text says here
    whether a number is typed into it.
    """
    known = {column.name for form in FORMS for column in form.columns} | {
        field.name for field in fields(Settings)
    }
    others = set()
    for file in sorted((ROOT / "dashboard").rglob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        above = {below: node for node in ast.walk(tree) for below in ast.iter_child_nodes(node)}
        for call in (
            node
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        ):
            name = call.func.attr  # type: ignore[attr-defined]
            assert name not in ("number_input", "slider", "select_slider", "NumberColumn"), (
                f"{file.name}: a field that reads numbers in its own way"
            )
            if name in ("text_input", "text_area") and stored_as(call, above[call]) not in known:
                others.add(ast.unparse(call.args[0]))
    assert others == set(OTHER_FIELDS)
    for file in [*(ROOT / "ingest/phone/static").rglob("*.*"), *(ROOT / "dashboard").rglob("*.py")]:
        text = file.read_text(encoding="utf-8")
        assert not any(
            way in text
            for way in ("parseFloat(", "Number(", "valueAsNumber", 'type: "number"', 'type="number"')
        ), file.name
    assert set(quote_letter.CLAUSE_HEADS) <= WORDS


def stored_as(call: ast.Call, above: ast.AST) -> str:
    """The column or the setting as which a page stores what is typed, or nothing."""
    key: ast.AST | None = None
    if isinstance(above, ast.Dict):
        key = above.keys[above.values.index(call)]
    elif isinstance(above, ast.Assign) and isinstance(above.targets[0], ast.Subscript):
        key = above.targets[0].slice
    return str(key.value) if isinstance(key, ast.Constant) else ""
