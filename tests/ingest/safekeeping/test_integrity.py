"""What does not hold together is said, with the remedy."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from ingest.editing import corrections
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from tests import prepared
from tests.conftest import CHANGE, bring_into

BREAKS = {
    "DELETE FROM lines": "time entries that name a line which is not there: 2",
    "DELETE FROM objects": (
        'lines that name a work which is not there: 3, "24-001" among them. Bring the objects file in again.'
    ),
    "DELETE FROM people": (
        'time entries that name a person which is not there: 2, "Ilse" among them. Add the person under'
        " Studio."
    ),
    "DELETE FROM techniques WHERE technique = 'facing'": (
        'lines that name a technique which is not there: 2, "facing" among them.'
    ),
    "DELETE FROM estimated_lines": (
        "versions of estimates without lines: 1, 24-001 version 1 among them. Bring in the estimates file"
        " again."
    ),
    "DELETE FROM estimate_versions": (
        "lines of estimates that belong to no version: 1, 24-001 version 1 among them."
    ),
    "UPDATE estimate_versions SET version = 3": (
        "works with a gap in the versions of their estimate: 1, 24-001 among them."
    ),
    "INSERT INTO lines SELECT 99, object, phase, technique, part FROM lines LIMIT 1": (
        "lines that stand twice: 1, "
    ),
    "UPDATE spells SET entry = 'one'": "names that several entries have: 1, one among them.",
    "UPDATE spells SET hours = 7, counted_hours = 7 WHERE started_at IS NOT NULL": (
        "entries with other hours than their clock: 1"
    ),
    "UPDATE spells SET counted_hours = counted_hours + 1 WHERE mode = 'hands_on'": (
        "entries that count more or less than their hours: 1"
    ),
    "UPDATE spells SET counted_hours = 0 WHERE mode = 'attended'": (
        "attended entries that count otherwise than they should beside other work of the same person: 1"
    ),
    "DELETE FROM spells WHERE mode = 'attended'": "entries that are gone without having been taken back: 1",
    "UPDATE history SET content = uuid()": (
        "earlier entries in the history that do not say what they are known by: 2"
    ),
    "UPDATE settings SET value = 'Europe/Berln' WHERE setting = 'zone'": (
        'of the settings, "Europe/Berln" is not a time zone. Say it again under Studio.'
    ),
    "UPDATE techniques SET mode = 'sideways' WHERE technique = 'facing'": (
        "techniques whose mode is none of hands_on, attended, unattended: 1. Restore the last backup"
    ),
    "UPDATE history SET earlier = '[]'": (
        "changes in the history whose earlier is not what such a row says: 2."
    ),
    "UPDATE estimated_lines SET quantity = 3, unit = 'pcs'": (
        "lines of estimates in another unit than their technique: 1, 24-001 facing among them. Give the"
        " technique its unit"
    ),
    "UPDATE spells SET quantity = 3, unit = 'pcs' WHERE entry = 'a'": (
        "entries in another unit than their technique: 1, a among them."
    ),
    "UPDATE lines SET object = NULL": (
        "entries on no work, in a phase that is not studio time: 2, a among them. Give the phase the position"
        " 0 again"
    ),
    "INSERT INTO change_counter VALUES (3)": "the count of changes stands 3 times and not once.",
}


@pytest.fixture
def whole() -> Iterator[Store]:
    with prepared.copied("whole", _make) as store:
        yield store


def _make(store: Store, folder: Path) -> None:
    bring_into(
        store,
        folder,
        "est.csv",
        "object,version,made_on,phase,technique,hours\n24-001,1,2024-01-05,,facing,4\n",
    )
    log = (
        "entry,object,phase,technique,person,started_at,ended_at,date,hours,mode\n"
        "a,24-001,,facing,Ilse,,,2024-02-01,5,\n"
    )
    bring_into(
        store,
        folder,
        "log.csv",
        log + "b,24-002,,gel poultice,Ilse,2024-02-02 09:00,2024-02-02"
        " 10:30,,,attended\nc,24-002,,facing,Ilse,,,2024-02-03,1,\n",
    )
    bring_into(
        store,
        folder,
        "again.csv",
        "entry,object,phase,technique,person,started_at,ended_at,mode\nb,24-002,,gel poultice,Ilse,2024-02-02"
        " 09:00,2024-02-02 11:00,attended\n",
    )
    corrections.take_back(store, "c", CHANGE)


def test_a_record_that_holds_together_has_no_fault(whole: Store) -> None:
    assert faults(whole.cursor()) == []


@pytest.mark.parametrize("broken, text", BREAKS.items())
def test_each_thing_that_can_break_is_said_with_its_remedy(whole: Store, broken: str, text: str) -> None:
    whole.cursor().execute(broken)
    found = faults(whole.cursor())
    told = [str(fault) for fault in found]
    assert any(item.startswith(text) for item in told), told
    assert all(fault.remedy and len(str(fault).splitlines()) == 1 for fault in found)
