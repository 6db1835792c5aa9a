"""What was said of the texts of other tables, to be offered where they stand in this one."""

from __future__ import annotations

import json

from ingest.foreign.earlier import meaning_now
from ingest.foreign.reading_drafts import ReadingDraft
from ingest.foreign.words import Meaning
from ingest.sql import Connection


def read_said_elsewhere(con: Connection, table_heads: str) -> dict[tuple[str, str], tuple[Meaning, str]]:
    """What texts mean in other tables, said to the end or in part, as it was said last: by our column and the
    text, folded, with the file (and the sheet) of which it was said.
    """
    elsewhere: dict[tuple[str, str], tuple[Meaning, str]] = {}
    for column, spelling, means, file in con.execute(
        """SELECT w.column_name, w.spelling, w.means, t.file FROM foreign_words AS w
        JOIN foreign_tables AS t USING (heads)
        WHERE heads <> ? ORDER BY w.kept_at""",
        [table_heads],
    ).fetchall():
        elsewhere[column, spelling] = meaning_now(json.loads(means)), file
    for draft, file in con.execute(
        """SELECT draft, file FROM foreign_tables
        WHERE heads <> ? AND draft IS NOT NULL ORDER BY kept_at""",
        [table_heads],
    ).fetchall():
        if reading_draft := ReadingDraft.from_draft(json.loads(draft)):
            elsewhere |= {key: (meaning, file) for key, meaning in reading_draft.meanings.items()}
    return elsewhere
