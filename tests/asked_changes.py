"""Changes that phones ask for and may not make by themselves."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

from ingest.devices import Devices
from ingest.importing.files import import_files
from ingest.phone.inbox import Inbox
from ingest.store import Store
from ingest.studio.settings import write_settings
from ingest.tables.audit_log import utc_now
from tests.conftest import bring_into
from tests.phones import PHONE, action, ms, name


def ask_for_changes(store: Store, folder: Path, old: int) -> None:
    """Entries of Ilse; her phone struck or corrected as many that lie far back, and of this week it struck
    one and made one; a shared one struck another of hers. `folder`: where the files brought in are written.
    """
    now = utc_now()
    with store.writing() as con:
        write_settings(con, {"zone": "UTC"})
    bring_into(store, folder, "objects.csv", "object,title\n24-001,Ferry in snow\n")
    days = [now.date() - timedelta(days=back) for back in (1, *range(20, 21 + old))]
    rows = "".join(f"slip-{n},24-001,,retouching,Ilse,{day},2,the sky\n" for n, day in enumerate(days))
    (folder / "log.csv").write_text(f"entry,object,phase,technique,person,date,hours,note\n{rows}")
    import_files(store, [folder / "log.csv"])
    devices = Devices(store)
    for person, called, entries in (
        ("Ilse", "Ilse's phone", range(old + 1)),
        (None, "the tablet (workshop)", range(1)),
    ):
        made = devices.pair(devices.admit(role="logs", person=person, name=called))
        assert made
        words: list[dict[str, Any]] = []
        for n in entries:
            state, row = (
                ("struck", {})
                if n % 2 == 0
                else (
                    "logged",
                    {"date": f"{days[n]}", "hours": "3½", "note": "the sky and its reflection in the water"},
                )
            )
            words.append(
                {**action(f"{n}", state, at=now, row=row), "entry": f"slip-{n}", "action": name((called, n))}
            )
        if person:
            words.append(action("made", at=now, row={"date": f"{days[0]}", "hours": "1"}))
        else:
            words = [{**word, "entry": f"slip-{old + 1}"} for word in words]
        inbox = Inbox(store)
        inbox.receive({"phone": PHONE, "clock": ms(now), "actions": words}, now, device=made[0])
        assert inbox.catch_up() == 0
