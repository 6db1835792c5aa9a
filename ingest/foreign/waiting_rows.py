"""Lines of estimates that are kept out by others of their version alone, of which it is still to say what
their words mean.
"""

from __future__ import annotations

import json

import numpy as np

from ingest.foreign.convert import NOT_SAID
from ingest.importing.check import Checked
from ingest.importing.estimates import VERSION_HAS_FAULT
from ingest.sql import Connection

_MAY_LACK_LINE = "version_may_lack_line"
KEPT_OUT_BY_OTHERS = (VERSION_HAS_FAULT, _MAY_LACK_LINE)
"""Faults of rows in which nothing is wrong."""


def rows_waiting_for_words(con: Connection, checked: Checked) -> set[int]:
    """The rows, from 0, of an estimate checked last in this connection that come in once words are said."""
    faults = checked.faults.dropna(subset=["row"])
    faults = faults.assign(row=faults["row"].astype("int64"))
    by_others = faults[faults["code"].isin(KEPT_OUT_BY_OTHERS)]
    if by_others.empty:
        return set()
    wrong = set(faults.loc[~faults["code"].isin([NOT_SAID, *KEPT_OUT_BY_OTHERS]), "row"])
    lacking = by_others[by_others["code"] == _MAY_LACK_LINE]
    of_lines = np.array([json.loads(str(details))["line"] for details in lacking["details"]], dtype=np.int64)
    wrong_lines = checked.rows.lines[sorted(wrong)]
    wrong |= set(lacking["row"][np.isin(of_lines, wrong_lines)])
    versions = con.execute('SELECT "row", object, version FROM resolved').df()
    is_wrong = versions["row"].isin(list(wrong)).groupby([versions["object"], versions["version"]])
    kept_out = set(versions.loc[is_wrong.transform("any").eq(True), "row"])
    return set(by_others["row"]) - kept_out
