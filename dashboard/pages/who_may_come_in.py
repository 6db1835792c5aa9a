"""Who may come in: devices that are paired, renamed, sent away; events at the door; labels for works."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import segno
import streamlit as st
from markupsafe import Markup

from dashboard import queries, roles
from dashboard.documents import labels as labels_document
from dashboard.formatting import counted, plain
from dashboard.server import state as server_state
from dashboard.server.state import RunningServer
from dashboard.text.devices import SHARED, moment, state, way_to_pair, whose
from dashboard.text.templating import piece
from dashboard.ui import fields, layout, page_data
from ingest.devices import CODE_MINUTES, ROLES, Device, Devices
from ingest.errors import BenchHoursError
from ingest.phone import device_decisions
from ingest.studio.settings import stored_text, write_settings
from ingest.tables.audit_log import utc_now


def body() -> None:
    if page_data.shows_invented():
        st.write("The invented studio is seen on this device only; who may come in is said in your own.")
        return
    if (paired := st.session_state.pop("paired", None)) is not None:
        layout.done(f"Paired: {paired}.")
    opened = server_state.running_server()
    if opened is None or not opened.access.pairing_required:
        st.write(
            "The studio is open to this machine only, and whoever sits at it is the principal. To log hours"
            " at the bench by phone, stop bench-hours and start it as the Guide says under Phones and"
            " devices; then phones, tablets and other laptops are paired here."
        )
    else:
        _pair(opened)
    devices = Devices(page_data.store())
    if (opened and opened.access.pairing_required) or devices.listed():
        _devices(devices)
        _door(devices)
    _labels(opened if opened and opened.access.pairing_required else None)


# --- pairing


def _pair(opened: RunningServer) -> None:
    st.header("Pair a phone or a laptop")
    address = server_state.phone_address(page_data.store(), opened.config)
    if made := st.session_state.get("code"):
        _code(opened, address, *made)
        return
    people = [row["person"] for row in queries.people(page_data.store().cursor()).to_dict("records")]
    with st.form("pair"):
        person = st.selectbox(
            "Whose it is", [*people, SHARED], index=None, format_func=plain, placeholder="Choose"
        )
        role = st.radio("What it may do", ROLES, format_func=roles.WORDS.__getitem__)
        name = st.text_input("What to call it", placeholder="Ilse's phone", max_chars=60)
        make = st.form_submit_button("Make a code", type="primary")
    if make and person is None:
        layout.refuse("No code was made: say whose it is, or that several share it.")
    elif make:
        code = Devices(page_data.store()).admit(
            role=role, person=None if person == SHARED else person, name=name
        )
        st.session_state["code"] = (
            code,
            utc_now() + timedelta(minutes=CODE_MINUTES),
            {item.device for item in Devices(page_data.store()).listed()},
        )
        st.rerun()
    _address(opened, address)


def _code(opened: RunningServer, address: str, code: str, until: datetime, before: set[str]) -> None:
    if utc_now() > until:
        del st.session_state["code"]
        st.write("The code was not used within its time, and is good no more.")
        st.button("Make another code")
        return
    first, second = st.columns(2)
    if opened.authority:
        with first:
            st.subheader("First, once: trust")
            st.html(
                _drawn(f"{address}/certificate", "QR code of the steps by which a device trusts this studio")
            )
            st.write(
                f"Scan this where the device does not know the studio yet, or open {address}/certificate on"
                " it, and compare the fingerprint (SHA-256):"
            )
            st.code(opened.authority.fingerprint, language=None, wrap_lines=True)
    with second if opened.authority else first:
        st.subheader("Then: pair")
        st.html(_drawn(way_to_pair(address, code), "QR code that pairs a device"))
        st.write(f"Scan this with the device, or open {address}/pair on it, and type:")
        st.code(code, language=None)
        st.write(
            f"It is good once, for {CODE_MINUTES} minutes, until"
            f" {until.replace(tzinfo=UTC).astimezone(_zone()):%H:%M}."
        )
    _is_it_paired(before)
    if st.button("Withdraw the code"):
        Devices(page_data.store()).withdraw(code)
        del st.session_state["code"]
        layout.done("The code is good no more.")


@st.fragment(run_every=2)
def _is_it_paired(before: set[str]) -> None:
    """Looks every two seconds whether the code was used."""
    new = [item for item in Devices(page_data.store()).listed() if item.device not in before]
    if new:
        st.session_state.pop("code", None)
        st.session_state["paired"] = new[0].name
        st.rerun()
    st.write("Waiting for the device …")


def _drawn(text: str, words: str) -> Markup:
    address: str = segno.make(text, error="m", micro=False).svg_data_uri(
        scale=6, border=3, dark="#000", light="#fff"
    )
    return piece("picture", address, words)


def _keep_address(opened: RunningServer, text: str) -> None:
    host = stored_text("address_for_phones", text)
    if host and not opened.vouches(host):
        raise BenchHoursError(
            f"the studio's own certificate cannot vouch for {host}",
            "Say a name like studio.local or an address of your network, or serve with a certificate of your"
            " own.",
        )
    with page_data.store().writing(counts=False) as con:
        write_settings(con, {"address_for_phones": host}, page_data.change("set under Who may come in"))
    layout.done(
        "Kept. Codes and labels lead there from now on; the certificate follows within a minute. A device"
        " that was paired at another address is paired anew there."
    )


def _address(opened: RunningServer, address: str) -> None:
    with st.expander(f"Phones reach the studio at {address}"):
        layout.say(
            "Where the network gives this machine another address every so often, ask whoever keeps the"
            " network for a lasting one, or write the name by which phones find it. A browser knows the"
            " studio by its address: at another one, each device has to be paired anew."
        )
        if opened.authority:
            layout.say(
                f"Fingerprint of the certificate to be trusted (SHA-256): {opened.authority.fingerprint}"
            )
        typed = st.text_input(
            "Name or address for phones",
            page_data.settings().address_for_phones,
            placeholder="as this machine finds it",
            key="address for phones",
        )
        if st.button("Keep this address"):
            try:
                _keep_address(opened, typed)
            except BenchHoursError as error:
                layout.refuse(f"Not kept: {error} What you typed is still here.")


# --- devices


def _devices(devices: Devices) -> None:
    st.header("Devices")
    listed = devices.listed()
    moment_now, zone = utc_now(), _zone()
    active = [item for item in listed if item.revoked_at is None]
    if not active:
        st.write("No device is paired.")
    own = page_data.device()
    for item in active:
        _device(
            devices,
            item,
            f"{state(item, moment_now, zone)[0].upper()}{state(item, moment_now, zone)[1:]}",
            is_own=own is not None and own.device == item.device,
        )
    if away := [item for item in listed if item.revoked_at is not None]:
        with st.expander(f"{counted(len(away), 'device')} sent away"):
            layout.list_out(
                [f"{item.name}, {whose(item)}, {item.role}: {state(item, moment_now, zone)}" for item in away]
            )
    _take_back([item for item in listed if item.role != "reviews"], zone)


def _device(devices: Devices, device: Device, text: str, *, is_own: bool) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        st.write(
            plain(
                f"{device.name}: {whose(device)}, {device.role}."
                f" {text}.{' This is the one you are looking at.' if is_own else ''}"
            )
        )
        with st.popover("Rename", key=f"naming {device.device}"):
            name = st.text_input("What to call it", device.name, key=f"name {device.device}", max_chars=60)
            if st.button("Save the name", key=f"rename {device.device}"):
                devices.rename(device.device, name)
                layout.done(f"It is called {' '.join(name.split())} now.")
        # a key of its own, or the box of a device that is gone would stay open for the next
        with st.popover("Send away", key=f"sending {device.device}"):
            st.write(
                "It can no longer come in, and what it has open is closed."
                + (" You would have to pair this device anew." if is_own else "")
            )
            if st.button(plain(f"Send {device.name} away"), key=f"away {device.device}"):
                devices.revoke(device.device)
                layout.done(
                    f"{device.name} is sent away. What it had not sent yet stays on it, and comes in once it"
                    " is paired again for the same person."
                )


def _take_back(listed: list[Device], zone: ZoneInfo) -> None:
    """Take back in one press all that a device did since a moment: it was lost, or somebody else had it."""
    if not listed:
        return
    with st.expander("Take back what a device did", key="take back", on_change="rerun") as opened:
        if not opened.open:
            return
        layout.say(
            "For a device that was lost, or that somebody used who should not have. Entries that it made"
            " are taken out of the record; what it corrected or struck is again what it was before; what"
            " it sent and waits for you is left out. What others said later stands, and the history keeps"
            " it all."
        )
        named = {item.device: item for item in listed}
        chosen = st.selectbox(
            "Which device",
            list(named),
            format_func=lambda item: (
                f"{named[item].name}, {whose(named[item])}{', sent away' if named[item].revoked_at else ''}"
            ),
            key="take back device",
            index=None,
            placeholder="Choose",
        )
        today = page_data.today()
        first, second = st.columns(2)
        with first:
            day = fields.choose_day("Since the day", today, key="take back day", latest=today)
        at = second.time_input("At the time", time(0), key="take back time")
        if chosen is None or day is None or at is None:
            return
        device, since = named[chosen], datetime.combine(day, at, zone).astimezone(UTC).replace(tzinfo=None)
        done = device_decisions.done_since(page_data.store().cursor(), device.device, since)
        layout.say(_done(done))
        if done.anything and st.button(
            plain(f"Take back all that {device.name} did since"), key="take back now", type="primary"
        ):
            done, left = device_decisions.take_back(
                page_data.store(),
                device.device,
                since,
                page_data.change(f"all that {device.name} did since {moment(since, zone)} is taken back"),
            )
            layout.done(
                " ".join(
                    [f"Taken back. {_done(done)}", *(["Not again as before:", *left[:5]] if left else [])]
                )
            )


def _done(done: device_decisions.Done) -> str:
    parts = [
        done.made and f"it made {counted(done.made, 'entry', 'entries')}",
        done.changed and f"it corrected or struck {counted(done.changed, 'entry', 'entries')}",
        done.in_hand and f"it began, finished or struck {counted(done.in_hand, 'spell')} in hand",
        done.waiting
        and f"{counted(done.waiting, 'thing')} that it sent {'waits' if done.waiting == 1 else 'wait'}"
        " still, to be left out",
    ]
    sentence = "; ".join(item for item in parts if item) or "it did nothing since that could be taken back"
    stands = (
        f" {counted(done.stands, 'entry', 'entries')} more {'stands' if done.stands == 1 else 'stand'} as"
        " others said later."
        if done.stands
        else ""
    )
    return f"{sentence[:1].upper()}{sentence[1:]}.{stands}"


def _door(devices: Devices) -> None:
    st.header("What happened at the door")
    events = devices.events()
    if not events:
        st.write("Nothing yet: whoever is paired, or tries a wrong code, stands here.")
        return
    zone = _zone()
    rows = [[moment(event.last_at, zone), event.what, event.about, f"{event.times:,}"] for event in events]
    layout.table(
        "What happened at the door",
        ["last", "what", "which device, or from where", "times"],
        rows,
        words=range(3),
    )


def _zone() -> ZoneInfo:
    return ZoneInfo(page_data.settings().zone)


# --- labels


def _labels(opened: RunningServer | None) -> None:
    st.header("Labels for works")
    st.write(
        "A code to scan that opens the form on the work, and the code of the work: no title, no owner. For a"
        " tray, a folder or the back of a transport frame, never for the work itself."
    )
    works = page_data.works(page_data.today())
    bench = works.loc[works["finished_on"].isna(), "object"].tolist()
    if works.empty:
        st.write("There is no work yet.")
        return
    typed = st.text_input(
        "Address that the labels lead to",
        server_state.phone_address(page_data.store(), opened.config) if opened else "",
        placeholder="https://192.168.1.20:8411",
        key="label address",
    )
    codes = st.multiselect(
        "Works", works["object"].tolist(), default=bench[:200], key="label works", placeholder="Type a code"
    )
    size = fields.choose("Size", list(labels_document.SIZES), "A4", "label size")
    if not typed.strip():
        layout.say("Say first at which address phones reach the studio.")
        return
    try:
        address = labels_document.checked_address(typed)
    except BenchHoursError as error:
        layout.refuse(str(error))
        return
    if codes:
        layout.download(
            f"{counted(len(codes), 'label')} as PDF, {size}",
            lambda: labels_document.sheet(codes, address, size),
            "labels.pdf",
            key="labels",
        )
    else:
        layout.say("Choose the works first.")


layout.show("Who may come in", body)
