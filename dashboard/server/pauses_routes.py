"""A person's own hours worth a pause, on a device of that person: a plain document, that the phone form leads
to.
"""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboard import queries
from dashboard.formatting import day, hours
from dashboard.server import public_pages
from dashboard.server.access_control import AccessControl
from dashboard.services import pauses as pauses_service
from dashboard.text import pauses as pauses_text
from ingest.devices import DEVICE_HEADER
from ingest.store import Store
from ingest.studio.settings import read_settings

PATH = "/pauses"
WEEKS = 4
_MOST = 60
_OFF = ("hours worth a pause are not told in this studio", "Whoever wants them asks the principal.")
_NOBODYS = (
    "these hours are for each person alone, and this device is nobody’s in particular",
    "On a device of your own they are shown.",
)


def routes(store: Store, access: AccessControl) -> list[Route]:
    """The page of a person’s own hours, on a device of that person."""

    async def page(request: Request) -> Response:
        device = access.devices.of_name(request.headers.get(DEVICE_HEADER, ""))
        return await run_in_threadpool(_page, store, device.person if device else None)

    return [Route(PATH, page, methods=["GET"])]


def _page(store: Store, person: str | None) -> Response:
    con = store.cursor()
    if not read_settings(con).pauses:
        return public_pages.answer(public_pages.refusal(*_OFF, of_the_form=False, status=403), 404)
    if person is None:
        return public_pages.answer(public_pages.refusal(*_NOBODYS, of_the_form=False, status=403), 404)
    pauses = pauses_service.worth_a_pause(con, queries.today(con), person, WEEKS)
    handwork = [
        f"{day(row['begins'])}, {row['begins']:%H:%M} to {row['ends']:%H:%M}: {row['minutes']:,.0f} minutes,"
        f" {row['techniques']}"
        for row in pauses.handwork.iloc[::-1].to_dict("records")
    ]
    solvents = [
        f"week of {day(row['week'])}: {hours(row['hours'])} h, most on {day(row['most_on'])},"
        f" {hours(row['most_hours'])} h"
        for row in pauses.solvents.iloc[::-1].to_dict("records")
    ]
    blades = [
        f"{day(row['day'])}, until {row['ends']:%H:%M}: {hours(row['hours'])} h, {row['technique']}"
        for row in pauses.blades.iloc[::-1].to_dict("records")
    ]
    parts = [
        ("Handwork without a break", pauses_text.handwork(pauses), _most(handwork)),
        ("With solvents", pauses_text.solvents(pauses), _most(solvents)),
        ("Blades late in the day", pauses_text.blades(pauses), _most(blades)),
    ]
    body = public_pages.document(
        "own_hours",
        period=pauses_text.period(pauses),
        not_measured=pauses_text.NOT_MEASURED,
        parts=parts,
        without_clock=pauses_text.without_clock(pauses),
        without_technique=pauses_text.without_technique(pauses),
    )
    return public_pages.answer(body)


def _most(rows: list[str]) -> list[str]:
    return [*rows[:_MOST], f"and {len(rows) - _MOST} more"] if len(rows) > _MOST else rows
