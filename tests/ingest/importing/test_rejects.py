"""Rejected rows that wait to be mended: nothing of them is lost, and none comes in otherwise than it was
written.
"""

from pathlib import Path

import pytest

from ingest.importing import pending_rejects
from ingest.importing.check import Checked
from ingest.importing.files import import_files
from ingest.importing.pending_rejects import RejectDraft
from ingest.store import Store
from tests.conftest import NOW, Bring, entries

HEAD = "object,phase,technique,person,date,hours\n"


def take_up(store: Store, report: Checked) -> RejectDraft:
    """Keep what a file has rejected, and take it up again as a page does."""
    assert report.rejected and pending_rejects.keep(store, report.rejected, "a window")
    return pending_rejects.read_drafts(store.cursor())[-1]


def bring_in_mended(store: Store, folder: Path, mending: RejectDraft, cells: list[list[str]]) -> Checked:
    path = folder / mending.rejects.name
    path.write_bytes(mending.as_text(cells).encode())
    report = import_files(store, [path], now=NOW, write_rejects=False, settles_rejects=False)[0]
    pending_rejects.brought_in(store, mending, cells, report.rejected, "a window")
    return report


def test_a_line_with_a_cell_too_many_or_too_few_does_not_come_in_as_something_else(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    report = studio(
        "week.csv",
        HEAD + "24-001,,facing,Ilse,2024-02-02,1,5\n24-001,,facing,Ilse\n24-001,,fasing,Ilse,2024-02-04,2\n",
    )
    mending = take_up(store, report)
    assert mending.cells == [
        ["24-001", "", "facing", "Ilse", "2024-02-02", "1", "5"],
        ["24-001", "", "facing", "Ilse", "", "", ""],
        ["24-001", "", "fasing", "Ilse", "2024-02-04", "2", ""],
    ]
    cells = [list(row) for row in mending.cells]
    cells[2][2] = "facing"
    assert mending.left(cells) == [0, 1]
    assert bring_in_mended(store, tmp_path, mending, cells).outcome.stored == 1
    assert entries(store)["hours"].tolist() == [2.0]
    (still,) = pending_rejects.read_drafts(store.cursor())
    assert [row.line for row in still.rejects.rows] == [2, 3] and still.cells == cells[:2]
    cells = [[*still.cells[0][:5], "1,5", ""], [*still.cells[1][:4], "2024-02-03", "1", ""]]
    assert still.left(cells) == []
    assert bring_in_mended(store, tmp_path, still, cells).outcome.stored == 2
    assert (
        entries(store)["hours"].tolist() == [1.5, 1.0, 2.0]
        and pending_rejects.read_drafts(store.cursor()) == []
    )


def test_rows_that_are_still_wrong_are_kept_again_however_often_they_are_tried(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    mending = take_up(
        store,
        studio("week.csv", HEAD + "24-001,,fasing,Ilse,2024-02-04,2\n24-001,,facing,Ilse,2024-02-05,x\n"),
    )
    for _ in range(3):
        assert bring_in_mended(store, tmp_path, mending, mending.cells).outcome.rejected == 2
        (mending,) = pending_rejects.read_drafts(store.cursor())
        assert [row[2] for row in mending.cells] == ["fasing", "facing"] and [
            row.reason for row in mending.rejects.rows
        ][1] == "cannot be read as hours"
    cells = [mending.cells[0], [*mending.cells[1][:5], "1"]]
    assert bring_in_mended(store, tmp_path, mending, cells).outcome.stored == 1
    (mending,) = pending_rejects.read_drafts(store.cursor())
    # still by its file and the line in it
    assert (mending.rejects.file, [row.line for row in mending.rejects.rows]) == ("week.csv", [2])


def test_what_was_mended_or_left_out_is_not_offered_again_when_its_file_comes_again(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    text = HEAD + "24-001,,fasing,Ilse,2024-02-04,2\n24-001,,pakcing,Ilse,2024-02-05,x\n"
    mending = take_up(store, studio("week.csv", text))
    bring_in_mended(
        store, tmp_path, mending, [[*mending.cells[0][:2], "facing", *mending.cells[0][3:]], mending.cells[1]]
    )
    (mending,) = pending_rejects.read_drafts(store.cursor())
    pending_rejects.leave_out(store, mending, "a window")
    again = studio("week.csv", text + "24-001,,brushing,Ilse,2024-02-06,1\n")
    assert again.rejected and pending_rejects.keep(store, again.rejected, "a window")
    (mending,) = pending_rejects.read_drafts(store.cursor())
    assert [row[2] for row in mending.cells] == ["brushing"] and entries(store)["hours"].tolist() == [2.0]


def test_a_file_that_comes_again_does_not_undo_what_was_mended_of_it(studio: Bring, store: Store) -> None:
    text = HEAD + "24-001,,fasing,Ilse,2024-02-04,2\n"
    mending = take_up(store, studio("week.csv", text))
    cells = [[*mending.cells[0][:2], "facing", *mending.cells[0][3:]]]
    pending_rejects.keep_cells(store, mending, cells, "a window")
    assert (
        take_up(store, studio("week.csv", text)).cells == cells
        and len(pending_rejects.read_drafts(store.cursor())) == 1
    )


@pytest.mark.parametrize(
    "content",
    [
        (HEAD.strip() + ",,,\n24-001,,fasing,Ilse,2024-02-04,2,,,\n").encode(),  # heads without a name
        (HEAD + "24-001,,fasing,Ilse,2024-02-04,2\n").encode("utf-16"),
        (HEAD + "24-001,,fasing,Ilse,2024-02-04,2\n").encode("utf-16-le"),
        (HEAD.replace(",", ";") + "24-001;;fässing;Ilse;2024-02-04;2\n").encode("cp1252"),
        (
            HEAD.replace("hours", "hours,note") + f"24-001,,fasing,Ilse,2024-02-04,2,{'long ' * 40_000}\n"
        ).encode(),
    ],
)
def test_rejected_rows_of_any_form_are_mended_in_their_own(
    studio: Bring, store: Store, tmp_path: Path, content: bytes
) -> None:
    mending = take_up(store, studio("week.csv", content))
    cells = [[*mending.cells[0][:2], "facing", *mending.cells[0][3:]]]
    assert bring_in_mended(store, tmp_path, mending, cells).outcome.stored == 1
    assert entries(store)["hours"].tolist() == [2.0] and pending_rejects.read_drafts(store.cursor()) == []


def test_more_rows_than_can_be_mended_by_hand_are_only_given_back_as_a_file(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    report = studio(
        "week.csv", HEAD + "".join(f"24-001,,fasing,Ilse,2024-02-04,{n}\n" for n in range(1, 12)) * 20
    )
    assert report.rejected and len(report.rejected.rows) == 220
    assert (
        not pending_rejects.keep(store, report.rejected, "a window")
        and pending_rejects.read_drafts(store.cursor()) == []
    )
    path = tmp_path / report.rejected.name
    path.write_text(report.rejected.as_text().replace("fasing", "facing"))
    assert import_files(store, [path], now=NOW)[0].outcome.stored == 220


def test_a_row_that_comes_in_with_its_file_mended_waits_no_more(studio: Bring, store: Store) -> None:
    wrong = HEAD + "24-001,,fasing,Ilse,2024-02-04,2\n24-001,,facing,Ilse,2024-02-05,x\n"
    take_up(store, studio("week.csv", wrong))
    report = studio("week.csv", wrong.replace("fasing", "facing"))
    assert (report.outcome.stored, report.outcome.rejected, report.settled) == (1, 1, 1)
    (left,) = pending_rejects.read_drafts(store.cursor())
    assert [row.line for row in left.rejects.rows] == [3] and left.cells == [left.rejects.rows[0].cells]
    # what was settled is not offered again when the file comes as it was
    assert take_up(store, studio("week.csv", wrong)).what == left.what
    assert studio("week.csv", wrong.replace("fasing", "facing").replace(",x", ",1")).settled == 1
    assert pending_rejects.read_drafts(store.cursor()) == []


def test_a_row_that_comes_in_as_it_was_since_a_word_is_known_waits_no_more(
    studio: Bring, store: Store
) -> None:
    row = "24-001,,fasing,Ilse,2024-02-04,2\n"
    take_up(store, studio("week.csv", HEAD + row))
    studio("techniques.csv", "technique,phase\nfasing,stabilisation\n")
    report = studio("all.csv", HEAD + "24-001,,facing,Ilse,2024-01-04,2\n" + row)
    assert (report.outcome.stored, report.settled) == (2, 1)
    assert pending_rejects.read_drafts(store.cursor()) == []


def test_what_the_next_file_of_that_name_has_on_the_line_is_another_row(studio: Bring, store: Store) -> None:
    take_up(store, studio("week.csv", HEAD + "24-001,,fasing,Ilse,2024-02-04,2\n"))
    assert studio("week.csv", HEAD + "24-001,,facing,Ilse,2024-02-11,2\n").settled == 0
    assert len(pending_rejects.read_drafts(store.cursor())) == 1


def test_rejected_rows_mended_in_the_file_that_was_downloaded_wait_no_more(
    studio: Bring, store: Store
) -> None:
    text = HEAD + "".join(f"24-001,,{word},Ilse,2024-02-04,2\n" for word in ("facing", "fasing", "pakcing"))
    mending = take_up(store, studio("week.csv", text))
    back = mending.rejects.as_text().replace("fasing", "facing")
    assert studio(mending.rejects.name, back).settled == 1
    (left,) = pending_rejects.read_drafts(store.cursor())
    assert [row.cells[2] for row in left.rejects.rows] == ["pakcing"]


def test_a_line_that_was_no_row_waits_no_more_once_its_cells_fit(studio: Bring, store: Store) -> None:
    take_up(store, studio("week.csv", HEAD + "24-001,,facing,Ilse,2024-02-02,1,5\n"))
    assert studio("week.csv", HEAD + '24-001,,facing,Ilse,2024-02-02,"1,5"\n').settled == 1
    assert pending_rejects.read_drafts(store.cursor()) == []


def test_of_equal_rows_as_many_are_settled_as_came_in(studio: Bring, store: Store) -> None:
    row = "24-001,,fasing,Ilse,2024-02-04,2\n"
    take_up(store, studio("week.csv", HEAD + row + row))
    studio("techniques.csv", "technique,phase\nfasing,stabilisation\n")
    assert studio("all.csv", HEAD + row).settled == 1
    assert [len(draft.cells) for draft in pending_rejects.read_drafts(store.cursor())] == [1]
    report = studio("week.csv", HEAD + row + row)
    assert (report.outcome.already_held, report.outcome.held_back, report.settled) == (1, 1, 1)
    assert pending_rejects.read_drafts(store.cursor()) == []


def test_a_row_without_its_day_is_not_taken_for_that_of_the_next_week(studio: Bring, store: Store) -> None:
    mending = take_up(store, studio("week.csv", HEAD + "24-001,,facing,Ilse,2024-02-30,2\n"))
    assert studio("week.csv", HEAD + "24-001,,facing,Ilse,2024-03-08,2\n").settled == 0
    # in the file of rejects it stands with its own line
    back = mending.rejects.as_text().replace("2024-02-30", "2024-02-29")
    assert studio(mending.rejects.name, back).settled == 1
