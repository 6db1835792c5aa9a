"""How a query is asked: a file of SQL, values bound to it, a frame back."""

from __future__ import annotations

import warnings
from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from ingest.sql import Connection, statement

QUERIES = "dashboard.queries.sql"
# DuckDB would have Arrow asked of a relation, for which each statement is bound once more: of a question of
# forty milliseconds that is a seventh, and the copy of its rows that it saves is none that can be measured.
warnings.filterwarnings("ignore", "Arrow output on a DB-API result", UserWarning)


def frame(con: Connection, query: str, **values: object) -> pd.DataFrame:
    """The answer to one of our queries. By way of Arrow: a fifth faster than DuckDB's own frames, and the
    same types.
    """
    answer = con.execute(statement(QUERIES, query), values).to_arrow_table()
    assert answer is not None  # it is a query, so it has one
    frame: pd.DataFrame = answer.to_pandas()
    return frame


Row = Mapping[Hashable, Any]  # of a frame, by column
