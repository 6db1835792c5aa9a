"""Which column of a table is which: by its head and what is in it, or by what is in it alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ingest.foreign import notations
from ingest.foreign.appearance import (
    MOST,
    WORDS,
    clock_time,
    day_in_any_order,
    is_head_of,
    is_of_a_promise,
    length,
)
from ingest.foreign.looked_at import LookedAt
from ingest.foreign.reading import FROM_TO, RowKind, Source


def guessed_columns(
    table: LookedAt, rows: RowKind, wide: str | None, wide_names: Sequence[str]
) -> dict[str, Source]:
    """By our column, where it seems to come from."""
    columns = _Columns(table, [name for name in table.filled_names() if name not in wide_names])
    {"time entries": columns.entries, "estimates": columns.estimates, "objects": columns.objects}[rows](wide)
    return columns.columns


class _Columns:
    """The columns of a table on their way to ours; `_free` are those that are none of ours yet."""

    def __init__(self, table: LookedAt, free: list[str]) -> None:
        self._contents, self._head, self._studio = table.contents, table.head, table.studio
        self._free = free
        self.columns: dict[str, Source] = {}

    def entries(self, wide: str | None) -> None:
        self._times(wide)
        for column in ("object", "technique", "person", "phase"):
            if column != wide:
                self._take(column, self._contents.share_of_words(column), also_unnamed=True)
        for column in ("object", "technique", "person", "note"):
            if column != wide:
                self._take(column, lambda name: float(self._contents.share(name, length) < MOST))
        for column in ("object", "technique"):  # a work stands before what was done to it
            if (
                column != wide
                and column not in self.columns
                and (repeating := self._contents.repeating(self._free))
            ):
                self._give(column, repeating[0])
        if "person" not in self.columns and wide != "person" and len(people := self._people()) == 1:
            self.columns["person"] = Source(origin="fixed", text=people[0])

    def _times(self, wide: str | None) -> None:
        if wide != "date":
            self._take("date", lambda name: self._contents.share(name, day_in_any_order), also_unnamed=True)
            if "date" not in self.columns:
                self._take("date", self._contents.share_of_serials)
        for column in ("started_at", "ended_at"):
            self._take(column, lambda name: self._contents.share(name, clock_time))
        if self.columns.keys() & {"started_at", "ended_at"} == {"started_at"}:
            del self.columns["started_at"]
        if not wide and "started_at" not in self.columns:
            self._take(FROM_TO, lambda name: self._contents.share(name, notations.from_to), also_unnamed=True)
        if not wide and FROM_TO not in self.columns:
            self._take(
                "hours",
                lambda name: self._contents.share(name, length),
                also_unnamed="started_at" not in self.columns,
            )

    def estimates(self, _: str | None) -> None:
        self._take("hours", lambda name: self._contents.share(name, length))
        if "hours" not in self.columns:  # a column that is called "quoted" and no more
            promised = [name for name in self._free if is_of_a_promise(self._head[name])]
            lengths = [name for name in promised if self._contents.share(name, length) >= MOST]
            if lengths:
                self._give("hours", lengths[0])
        self._take("price", lambda _: 1.0)
        self._days_of_a_promise()
        for column in ("object", "technique", "phase", "note"):
            self._take(column, self._contents.share_of_words(column), also_unnamed=column != "note")
            self._take(column, lambda _: 1.0)
        self.columns["version"] = Source(origin="fixed", text="1")

    def _days_of_a_promise(self) -> None:
        """The day on which it was promised is both, where no other is of an agreement."""

        def share_of_days(name: str) -> float:
            return self._contents.share(name, day_in_any_order)

        agreed = [
            name
            for name in self._free
            if is_head_of(self._head[name], "approved_on") and share_of_days(name) >= MOST
        ]
        self._take("made_on", share_of_days)
        made_on = self.columns.get("made_on")
        if len(agreed) == 1 and made_on is not None and made_on.text == agreed[0]:
            self.columns["approved_on"] = made_on
        else:
            self._take("approved_on", share_of_days)

    def objects(self, _: str | None) -> None:
        for column in ("title", "maker", "owner", "height_cm", "width_cm", "received_on", "note"):
            self._take(column, lambda _: 1.0)
        codes = [name for name in self._free if self._contents.are_codes(name)]
        if codes:
            self.columns["object"] = Source(origin="column", text=codes[0])
        elif "title" in self.columns:
            self.columns["object"] = self.columns["title"]

    def _take(self, column: str, share: Callable[[str], float], *, also_unnamed: bool = False) -> None:
        """Give one of our columns the likeliest that is still free: by its head and what is in it, or by what
        is in it alone.
        """
        if column in self.columns:
            return
        shares = {name: share(name) for name in self._free}
        by_head = [name for name in self._free if column in WORDS and is_head_of(self._head[name], column)]
        for names in (by_head, self._free if also_unnamed else []):
            if names and shares[best := max(names, key=lambda name: shares[name])] >= MOST:
                self._give(column, best)
                return

    def _give(self, column: str, name: str) -> None:
        self.columns[column] = Source(origin="column", text=name)
        self._free.remove(name)

    def _people(self) -> Sequence[str]:
        return sorted(set(self._studio.context.people.values()))
