"""What happened to an entry, an estimate, a word, a person stands in the history as a kind of its own,
whatever reason is given.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from dashboard import queries
from ingest.editing import approvals, corrections, estimate_drafts, version_outcomes
from ingest.importing.files import import_files
from ingest.importing.form_rows import put_rows, store_rows
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.schema.csv_columns import MILESTONES, OBJECTS, PHASES, TECHNIQUES
from ingest.store import Store
from ingest.studio import people, vocabulary
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import Change
from tests.conftest import CHANGE, LATER, NOW, Bring
from tests.frames import record
from tests.phones import action, send
from tests.prepared import new_store

LOG = "entry,object,phase,technique,person,date,hours\n"


def events(store: Store, kind: str = "time_entries") -> list[tuple[Any, ...]]:
    return (
        store.cursor()
        .execute("SELECT key, event, reason FROM history WHERE kind = ? ORDER BY number", [kind])
        .fetchall()
    )


def entry_row(store: Store, entry: str) -> dict[str, Any] | None:
    found = store.cursor().execute("SELECT * FROM time_entries WHERE entry = ?", [entry]).df()
    return None if found.empty else record(found)


def written(store: Store, do: Callable[..., object], *values: object) -> None:
    with store.writing() as con:
        do(con, *values)


reasons = st.one_of(
    st.sampled_from(
        [
            "taken back: ",
            "taken back: on the phone",
            "brought in with march.csv",
            "brought in with a file",
            "put back",
            "taken back",
            "",
            "corrected",
            "made",
        ]
    ),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")).flatmap(
        lambda text: st.sampled_from([text, f"taken back: {text}", f"brought in with {text}"])
    ),
)


@settings(max_examples=5)
@example(
    corrected="taken back: it was Bo", withdrawn="brought in with march.csv", back="taken back: on the phone"
)
@given(corrected=reasons, withdrawn=reasons, back=reasons)
def test_an_entry_corrected_taken_back_and_put_back_with_any_reason_is_what_it_is(
    studio: Bring, store: Store, corrected: str, withdrawn: str, back: str
) -> None:
    if entry_row(store, "a") is None:
        studio("log.csv", f"{LOG}a,24-001,,facing,Ilse,2024-02-01,1\n")
    entry = entry_row(store, "a")
    assert entry is not None
    known, times = len(events(store)), int(queries.entries(store.cursor(), LATER, "24-001")["corrected"][0])
    hours = "2" if entry["hours"] == 1 else "1"
    corrections.correct(
        store, "a", {**corrections.as_row(entry), "hours": hours}, replace(CHANGE, reason=corrected)
    )
    assert (
        events(store)[known:] == [("a", "corrected", corrected)]
        and entry_row(store, "a") is not None
        and faults(store.cursor()) == []
    )
    shown = queries.earlier_entries(store.cursor(), "24-001").iloc[0]
    assert (shown["event"], shown["reason"], shown["taken_back"]) == ("corrected", corrected, False)
    assert queries.entries(store.cursor(), LATER, "24-001")["corrected"].tolist() == [times + 1]

    corrections.take_back(store, "a", replace(CHANGE, reason=withdrawn))
    assert (
        events(store)[known + 1 :] == [("a", "taken back", withdrawn)]
        and entry_row(store, "a") is None
        and faults(store.cursor()) == []
    )
    shown = queries.earlier_entries(store.cursor(), "24-001").iloc[0]
    assert (shown["event"], shown["reason"], shown["taken_back"]) == ("taken back", withdrawn, True)
    assert studio("log.csv", f"{LOG}a,24-001,,facing,Ilse,2024-02-01,1\n").outcome.already_held == 1

    corrections.put_back(store, "a", Change(by="Bo", reason=back, at=NOW + timedelta(hours=1)))
    assert events(store)[known + 2 :] == [("a", "put back", back)] and faults(store.cursor()) == []
    again, shown = entry_row(store, "a"), queries.earlier_entries(store.cursor(), "24-001").iloc[0]
    assert again is not None and again["hours"] == float(hours)
    assert (shown["event"], shown["changed_by"], shown["taken_back"], shown["hours"]) == (
        "put back",
        "Bo",
        False,
        float(hours),
    )
    assert queries.entries(store.cursor(), LATER, "24-001")["corrected"].tolist() == [times + 1]


@settings(max_examples=4)
@example(reason="taken back: it was Bo")
@given(reason=reasons)
def test_an_entry_that_vanished_is_a_fault_whatever_reason_its_correction_gave(
    studio: Bring, store: Store, reason: str
) -> None:
    if entry_row(store, "a") is None:
        store.cursor().execute("DELETE FROM history")
        studio("log.csv", f"{LOG}a,24-001,,facing,Ilse,2024-02-01,1\n")
    corrections.correct(
        store,
        "a",
        {**corrections.as_row(entry_row(store, "a") or {}), "hours": "2"},
        replace(CHANGE, reason=reason),
    )
    store.cursor().execute("DELETE FROM spells")
    assert [fault.what for fault in faults(store.cursor())] == [
        "entries that are gone without having been taken back: 1, a among them"
    ]


def test_a_file_says_that_it_brought_in_what_it_changed_and_costs_the_history_nothing_for_what_it_made(
    studio: Bring, store: Store
) -> None:
    studio("words.csv", "technique,phase,unit,mode,aliases\nsponge work,cleaning,dm2,,\n")
    studio("log.csv", f"{LOG}a,24-001,,facing,Ilse,2024-02-01,1\nb,24-001,,facing,Ilse,2024-02-02,1\n")
    studio("est.csv", "object,version,made_on,phase,technique,hours\n24-001,1,2024-01-05,,facing,4\n")
    assert store.cursor().execute("SELECT count(*) FROM history").fetchall() == [(0,)]
    studio("again.csv", f"{LOG}a,24-001,,facing,Ilse,2024-02-01,2\n")
    studio("later.csv", "object,version,made_on,phase,technique,hours\n24-001,1,2024-01-05,,facing,5\n")
    studio("more.csv", "technique,phase,unit,mode,note\nsponge work,cleaning,dm2,,soft ones\n")
    assert store.cursor().execute("SELECT kind, event, reason FROM history ORDER BY number").fetchall() == [
        ("time_entries", "brought in", "brought in with again.csv"),
        ("estimate_versions", "brought in", "brought in with later.csv"),
        ("techniques", "brought in", "brought in with more.csv"),
    ]


def test_what_a_page_makes_is_noted_and_a_work_or_a_word_may_still_come_with_an_export(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    store_rows(
        store,
        TECHNIQUES,
        [{"technique": "sponge work", "phase": "cleaning", "unit": "dm2", "mode": "hands_on"}],
        replace(CHANGE, reason="added"),
    )
    store_rows(store, PHASES, [{"phase": "waiting", "position": "90"}], replace(CHANGE, reason="added"))
    store_rows(store, OBJECTS, [{"object": "24-003", "title": "Pier"}], replace(CHANGE, reason="added"))
    draft = estimate_drafts.Draft(
        version={"made_on": "2024-02-01"}, lines=[{"technique": "facing", "hours": "4"}]
    )
    estimate_drafts.make_version(store, "24-003", draft, replace(CHANGE, reason="written"))
    assert [events(store, kind) for kind in ("techniques", "phases", "objects", "estimate_versions")] == [
        [("sponge work", "made", "added")],
        [("waiting", "made", "added")],
        [("24-003", "made", "added")],
        [("24-003 version 1", "made", "written")],
    ]
    assert faults(store.cursor()) == []
    store_rows(store, OBJECTS, [{"object": "24-003", "title": "Pier at noon"}], CHANGE)
    assert [event[1] for event in events(store, "objects")] == ["made", "corrected"]
    # a word of one's own, and nothing else yet: the export's words still take the place of those planted
    with new_store() as new:
        store_rows(
            new,
            TECHNIQUES,
            [{"technique": "glue test", "phase": "cleaning", "unit": "none", "mode": "hands_on"}],
            CHANGE,
        )
        written(store, vocabulary.rename, "phase", "cleaning", "dirt off", CHANGE)
        export(store, tmp_path / "out", private=True)
        import_files(new, sorted((tmp_path / "out").iterdir()), now=NOW, write_rejects=False)
        known = vocabulary.read_vocabulary(new.cursor())
        assert (
            "dirt off" in known.phases
            and "cleaning" not in known.phases
            and known.techniques["glue test"].phase == "dirt off"
        )


def test_versions_words_people_and_settings_say_what_happened_to_them(studio: Bring, store: Store) -> None:
    day = date(2024, 2, 1)
    studio(
        "est.csv",
        "object,version,made_on,phase,technique,hours,price,currency\n24-001,1,2024-01-05,,facing,4,400,EUR\n",
    )
    written(store, approvals.approve, "24-001", 1, day, None, CHANGE)
    written(store, approvals.take_back_approval, "24-001", 1, CHANGE)
    written(store, approvals.set_tax, "24-001", 1, CHANGE, (True, 19.0))
    assert [event[1] for event in events(store, "estimate_versions")] == [
        "approved",
        "taken back",
        "corrected",
    ]
    written(store, version_outcomes.end, "24-001", 1, "declined", day, LATER, CHANGE)
    written(store, version_outcomes.take_back_end, "24-001", 1, CHANGE)
    written(
        store,
        put_rows,
        MILESTONES,
        [{"object": "24-001", "phase": "stabilisation", "technique": "", "finished_on": "2024-03-01"}],
        CHANGE,
    )
    written(
        store, corrections.take_back_milestone, "24-001", "stabilisation", "", "", date(2024, 3, 1), CHANGE
    )
    assert [event[1] for kind in ("ended_versions", "milestones") for event in events(store, kind)] == [
        "taken back",
        "taken back",
    ]
    written(store, vocabulary.rename, "technique", "facing", "tissue", CHANGE)
    written(store, vocabulary.retire, "technique", "tissue", day, CHANGE)
    written(store, vocabulary.retire, "technique", "tissue", None, CHANGE)
    written(store, vocabulary.set_spellings, "technique", "tissue", ["vorkleben"], CHANGE)
    assert [event[:2] for event in events(store, "techniques")] == [
        ("tissue", event) for event in ("renamed", "retired", "put back", "corrected")
    ]
    for name in ("Ilse", "Ilse B"):
        written(store, people.add, name, NOW)
    written(store, people.join, "Ilse B", "Ilse", CHANGE)
    written(store, people.rename, "Ilse", "Ilse Brandt", CHANGE)
    written(store, people.leave, "Ilse Brandt", day, CHANGE)
    written(store, people.leave, "Ilse Brandt", None, CHANGE)
    assert [event[1] for event in events(store, "people")] == ["joined", "renamed", "retired", "put back"]
    for rate in ("70", "75"):
        written(store, write_settings, {"hourly_rate": rate}, CHANGE)
    assert events(store, "settings") == [("hourly_rate", "corrected", "a test")]


def test_the_price_before_an_approval_is_that_of_the_version_and_not_of_its_making(
    store: Store, studio: Bring
) -> None:
    draft = estimate_drafts.Draft(
        version={"made_on": "2024-02-01", "price": "400", "currency": "EUR"},
        lines=[{"technique": "facing", "hours": "4"}],
    )
    estimate_drafts.make_version(store, "24-001", draft, CHANGE)
    # by a file of before that said so
    store.cursor().execute("UPDATE estimate_versions SET approved_on = '2024-02-02'")
    written(store, approvals.take_back_approval, "24-001", 1, CHANGE)
    assert store.cursor().execute("SELECT price, currency FROM estimate_versions").fetchall() == [
        (400.0, "EUR")
    ]


def test_an_entry_struck_and_said_again_on_a_phone_is_put_back(studio: Bring, store: Store) -> None:
    for turn, (state, hours) in enumerate((("logged", "1"), ("struck", "1"), ("logged", "2"))):
        at = NOW + timedelta(minutes=turn)
        send(store, action("p", state, at=at, row={"date": "2026-05-30", "hours": hours}), now=at)
    assert [event[1:] for event in events(store)] == [
        ("taken back", "on the phone"),
        ("put back", "corrected on the phone"),
    ] and faults(store.cursor()) == []


def test_a_shared_export_names_no_file_and_keeps_reasons_that_people_typed(
    studio: Bring, store: Store, tmp_path: Path
) -> None:
    studio("log.csv", f"{LOG}a,24-001,,facing,Ilse,2024-02-01,1\nb,24-001,,facing,Ilse,2024-02-02,1\n")
    corrections.correct(
        store,
        "a",
        {**corrections.as_row(entry_row(store, "a") or {}), "hours": "3"},
        replace(CHANGE, reason="brought in with care"),
    )
    corrections.take_back(store, "b", CHANGE)
    # taken back, and brought in anew, saying otherwise
    studio("of Ida Marsh.csv", f"{LOG}b,24-001,,facing,Ilse,2024-02-02,4\n")
    assert [event[:2] for event in events(store)] == [
        ("a", "corrected"),
        ("b", "taken back"),
        ("b", "brought in"),
    ] and faults(store.cursor()) == []
    export(store, tmp_path / "shared")
    shared = (tmp_path / "shared" / "history.csv").read_text()
    assert (
        "Ida Marsh" not in shared and "brought in with a file" in shared and "brought in with care" in shared
    )


@pytest.mark.parametrize("reason", ["taken back: by mistake", "why not"])
def test_a_history_from_before_an_event_was_kept_comes_in_by_itself_too(
    studio: Bring, store: Store, tmp_path: Path, reason: str
) -> None:
    """What it cannot tell is a correction; of an entry that is not held, it is told by what the program of
    that time wrote.
    """
    studio("log.csv", f"{LOG}a,24-001,,facing,Ilse,2024-02-01,1\nb,24-001,,facing,Ilse,2024-02-02,1\n")
    corrections.correct(store, "a", {**corrections.as_row(entry_row(store, "a") or {}), "hours": "3"}, CHANGE)
    earlier = str(store.cursor().execute("SELECT earlier FROM history").fetchall()[0][0])
    content = store.cursor().execute("SELECT content FROM history").fetchall()[0][0]
    store.cursor().execute("DELETE FROM history")
    quoted = earlier.replace('"', '""')
    (tmp_path / "history.csv").write_text(
        "kind,key,changed_at,changed_by,reason,earlier,content\ntime_entries,a,2024-05-01"
        f' 10:00:00,Ilse,{reason},"{quoted}",{content}\n'
    )
    import_files(store, [tmp_path / "history.csv"], now=NOW)
    assert events(store) == [("a", "corrected", reason)] and faults(store.cursor()) == []
