"""`forms` and `words` as commands: the columns of the CSV forms, and the words of the studio."""

from __future__ import annotations

import argparse

import pandas as pd

from dashboard import queries
from dashboard.cli import options
from dashboard.cli.caller import write_out
from dashboard.cli.output import write_csv, write_json
from dashboard.text import csv_forms, vocabulary
from ingest.schema.csv_columns import FORMS
from ingest.store import Store


def add_commands(commands: options.Commands) -> None:
    of_forms, of_words = commands.add("forms", forms, "nothing"), commands.add("words", words, "memory")
    for parser in (of_forms, of_words):
        options.add_flags(parser, json="print JSON")
    options.add_files(of_words, csv="write the techniques in use as a file to bring in")


def forms(args: argparse.Namespace) -> int:
    """The columns of each CSV form, which mark its kind (*), and what a cell may be."""
    if args.json:
        write_json([csv_forms.as_data(form) for form in FORMS])
    else:
        write_out("\n\n".join(f"### {form.kind}\n\n{csv_forms.table(form)}" for form in FORMS))
    return 0


def words(args: argparse.Namespace, store: Store) -> int:
    """The phases and techniques of the studio, with unit, mode, cautions and other spellings."""
    con = store.cursor()
    phases, techniques = queries.phases(con), queries.vocabulary_use(con)
    if args.csv:
        write_csv(pd.DataFrame(vocabulary.as_form(techniques)), args.csv)
    if args.json:
        write_json(vocabulary.as_data(phases, techniques))
    elif not args.csv:
        write_out(vocabulary.tables(phases, techniques))
    return 0
