"""A person's own hours worth a pause, on a device of that person: a plain document, that the phone form leads to."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboard import doorway, pausing, reading
from dashboard import pause_sentences as said
from dashboard.guard import Door
from dashboard.words import day, hours
from ingest.devices import TOLD
from ingest.settings import read_settings
from ingest.store import Store

PATH = "/pauses"
WEEKS = 4
_MOST = 60
_OFF = ("hours worth a pause are not told in this studio", "Whoever wants them asks the principal.")
_NOBODYS = ("these hours are for each person alone, and this device is nobody’s in particular", "On a device of your own they are shown.")


def routes(store: Store, door: Door) -> list[Route]:
    """Where a device of one person shows that person's own hours."""

    async def page(request: Request) -> Response:
        device = door.devices.of_name(request.headers.get(TOLD, ""))
        return await run_in_threadpool(_page, store, device.person if device else None)

    return [Route(PATH, page, methods=["GET"])]


def _page(store: Store, person: str | None) -> Response:
    con = store.cursor()
    if not read_settings(con).pauses:
        return doorway.answer(doorway.refusal(*_OFF, of_the_form=False, status=403), 404)
    if person is None:
        return doorway.answer(doorway.refusal(*_NOBODYS, of_the_form=False, status=403), 404)
    found = pausing.worth_a_pause(con, reading.today(con), person, WEEKS)
    handwork = [f"{day(row['begins'])}, {row['begins']:%H:%M} to {row['ends']:%H:%M}: {row['minutes']:,.0f} minutes, {row['techniques']}" for row in found.handwork.iloc[::-1].to_dict("records")]  # fmt: skip
    solvents = [f"week of {day(row['week'])}: {hours(row['hours'])} h, most on {day(row['most_on'])}, {hours(row['most_hours'])} h" for row in found.solvents.iloc[::-1].to_dict("records")]  # fmt: skip
    blades = [f"{day(row['day'])}, until {row['ends']:%H:%M}: {hours(row['hours'])} h, {row['technique']}" for row in found.blades.iloc[::-1].to_dict("records")]  # fmt: skip
    parts = [
        ("Handwork without a break", said.handwork(found), _most(handwork)),
        ("With solvents", said.solvents(found), _most(solvents)),
        ("Blades late in the day", said.blades(found), _most(blades)),
    ]
    told = doorway.document("own_hours", period=said.period(found), not_measured=said.NOT_MEASURED, parts=parts, without_clock=said.without_clock(found))
    return doorway.answer(told)


def _most(rows: list[str]) -> list[str]:
    return [*rows[:_MOST], f"and {len(rows) - _MOST} more"] if len(rows) > _MOST else rows
