"""An invented studio that names no technique anywhere: it estimates, logs and finishes whole phases, a part
of one, and some works as a whole.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

from ingest.store import Store
from tests.conftest import bring_into

_PHASES = {"examination": 2.0, "cleaning": 12.0, "filling": 4.0, "retouching": 15.0, "varnishing": 3.0}
_FINISHED = 9
AS_OF = date(2026, 6, 1)
BY_PHASE, AS_A_WHOLE, IN_PARTS, NOT_APPROVED = "26-010", "26-011", "26-012", "26-013"
"""Works under way that were estimated by phase, as a whole, and with a phase on one part; and one that is not
begun.
"""


def _finished_on(number: int) -> date:
    return date(2025, 3, 3) + timedelta(weeks=5 * number)


def files() -> dict[str, str]:
    """The studio as CSV, by the name of the file."""
    objects = ["object,title,kind,shape,height_cm,width_cm,received_on,finished_on"]
    estimates = ["object,version,made_on,approved_on,phase,part,hours"]
    entries = ["object,phase,part,person,date,hours,charge,note"]
    milestones = ["object,phase,part,finished_on"]
    for number in range(1, _FINISHED + 1):
        code, end, size = f"25-{number:03}", _finished_on(number), 0.6 + 0.1 * number
        began = end - timedelta(weeks=4)
        objects.append(
            f"{code},Lock no. {number},easel painting,rectangle,{40 + 5 * number},60,{began},{end}"
        )
        for place, (phase, hours) in enumerate(_PHASES.items()):
            quoted, day = round(hours * size, 1), began + timedelta(days=5 * place)
            took = round(quoted * (0.8 + 0.1 * ((number + 2 * place) % 6)), 2)
            if phase != "filling" or number % 3:  # on some works nobody foresaw it
                estimates.append(f"{code},1,{began},{began},{phase},,{quoted}")
            entries += [
                f"{code},{phase},,Odile,{day},{took / 2},,",
                f"{code},{phase},,Marek,{day},{took - took / 2},,",
            ]
            milestones.append(f"{code},{phase},,{day + timedelta(days=1)}")
    objects += [
        f"{BY_PHASE},Towpath,easel painting,rectangle,50,70,2026-04-01,",
        f"{AS_A_WHOLE},Weir,easel painting,rectangle,30,40,2026-04-01,",
        f"{IN_PARTS},Sluice,easel painting,rectangle,60,60,2026-04-01,",
        f"{NOT_APPROVED},Barge,easel painting,rectangle,60,60,2026-05-20,",
    ]
    estimates += [
        f"{BY_PHASE},1,2026-04-02,2026-04-06,cleaning,,10",
        f"{BY_PHASE},1,2026-04-02,2026-04-06,retouching,,12",
        f"{AS_A_WHOLE},1,2026-04-02,2026-04-06,,,20",
        f"{IN_PARTS},1,2026-04-02,2026-04-06,cleaning,the sky,6",
        f"{IN_PARTS},1,2026-04-02,2026-04-06,cleaning,,8",
        f"{IN_PARTS},1,2026-04-02,2026-04-06,varnishing,,2",
        f"{NOT_APPROVED},1,2026-05-21,,retouching,,9",
    ]
    entries += [
        f"{BY_PHASE},cleaning,,Odile,2026-05-04,7.5,,",
        f"{BY_PHASE},cleaning,,Odile,2026-05-05,5,,stubborn grime",
        f"{BY_PHASE},filling,,Odile,2026-05-06,1.5,,",
        f"{BY_PHASE},framing,,Marek,2026-05-06,1,extra,",
        f"{AS_A_WHOLE},,,Marek,2026-05-07,6,,",
        f"{AS_A_WHOLE},cleaning,,Marek,2026-05-08,3,,",
        f"{AS_A_WHOLE},,,Marek,2026-05-11,0.5,own_cost,",
        f"{IN_PARTS},cleaning,the sky,Odile,2026-05-12,4,,",
        f"{IN_PARTS},varnishing,,Odile,2026-05-13,2.5,,",
        ",studio time,,Marek,2026-05-14,2,,accounts",
    ]
    milestones.append(f"{IN_PARTS},varnishing,,2026-05-14")
    texts = {"objects": objects, "estimates": estimates, "entries": entries, "milestones": milestones}
    return {f"{name}.csv": "\n".join([*rows, ""]) for name, rows in texts.items()}


def fill(store: Store, folder: Path) -> None:
    """Bring the studio into a store; every row of it must be stored."""
    for name, text in files().items():
        report = bring_into(store, folder, name, text)
        assert report.complete, report.problems


def assert_every_name_is_said(words: str) -> None:
    """Nothing that is read has a name that is empty, and no mark that an empty one leaves."""
    left = re.compile(
        r"^,|,\s*$|, ,|: ,|\(\)|(?<=[\w,:(] )None\b|\bnan\b|\bas a whole as a whole\b|: {2,}\(", re.M
    )
    assert not (found := [words[max(0, m.start() - 60) : m.end() + 20] for m in left.finditer(words)]), found
