"""The studio vouches for its own server, for nobody else's, and not for ever."""

from __future__ import annotations

import re
import socket
import ssl
import stat
import subprocess
import threading
import warnings
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from socketserver import BaseRequestHandler, ThreadingTCPServer

import pytest
import trustme
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.x509.oid import ExtendedKeyUsageOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from dashboard.server import addresses, tls
from dashboard.server import state as server_state
from dashboard.server.certificates import LEAF_DAYS, authority, server_certificate
from ingest.errors import BenchHoursError
from ingest.store import Store as StudioStore
from ingest.studio.settings import write_settings
from tests import conftest
from tests.served import Server, free_port

NAMES = ["localhost", "127.0.0.1", "::1", "192.168.1.20", "fd00::2", "studio", "studio.local"]
NOW = conftest.NOW.replace(tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "studio.duckdb.tls"


def leaf(path: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(path.read_bytes())


def test_the_certificate_names_every_address_and_lasts_at_most_397_days(folder: Path) -> None:
    """397 days: what browsers take at most of public authorities since 2020 (CA/Browser Forum ballot SC31,
    from memory).
    """
    made = leaf(server_certificate(folder, NAMES, NOW))
    said = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert {
        *said.get_values_for_type(x509.DNSName),
        *map(str, said.get_values_for_type(x509.IPAddress)),
    } == set(NAMES)
    assert (
        made.not_valid_after_utc - made.not_valid_before_utc
        <= timedelta(days=LEAF_DAYS)
        == timedelta(days=397)
    )
    assert made.not_valid_before_utc <= NOW < made.not_valid_after_utc
    assert (
        ExtendedKeyUsageOID.SERVER_AUTH
        in made.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    )


@pytest.mark.parametrize("name", NAMES)
def test_another_program_trusts_it_for_each_of_its_names(folder: Path, name: str) -> None:
    """By the verifier of `cryptography`, after RFC 5280 with its name constraints."""
    path = server_certificate(folder, NAMES, NOW)
    trusted = Store([x509.load_der_x509_certificate(authority(folder, NOW).der)])
    try:
        subject: x509.IPAddress | x509.DNSName = x509.IPAddress(ip_address(name))
    except ValueError:
        subject = x509.DNSName(name)
    verifier = PolicyBuilder().store(trusted).time(NOW).build_server_verifier(subject)
    assert verifier.verify(leaf(path), [])
    with pytest.raises(VerificationError):
        PolicyBuilder().store(trusted).time(NOW + timedelta(days=LEAF_DAYS)).build_server_verifier(
            subject
        ).verify(leaf(path), [])


@contextmanager
def speaking(chain: Path) -> Iterator[int]:
    """A server that shows a certificate (PEM with its key) and says nothing."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(chain)

    class Shows(BaseRequestHandler):
        def handle(self) -> None:
            with suppress(OSError):
                context.wrap_socket(self.request, server_side=True).close()

    with ThreadingTCPServer(("127.0.0.1", free_port()), Shows) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1]
        server.shutdown()


def trusts(folder: Path, chain: Path, name: str) -> bool:
    """OpenSSL, told of the studio's authority alone, takes it for a server of this name."""
    context = ssl.create_default_context(cadata=authority(folder, NOW).der)
    with speaking(chain) as port, socket.create_connection(("127.0.0.1", port), timeout=10) as line:
        try:
            context.wrap_socket(line, server_hostname=name).close()
        except ssl.SSLCertVerificationError:
            return False
        return True


@pytest.mark.parametrize(
    ("name", "can"),
    [
        ("studio.local", True),
        ("bank.example", False),
        ("192.168.1.77", True),
        ("8.8.8.8", False),
        ("local.bank.example", False),
    ],
)
def test_whoever_steals_the_key_of_the_authority_can_be_nobody_outside_the_local_network(
    folder: Path, tmp_path: Path, name: str, can: bool
) -> None:
    now = datetime.now(UTC)  # OpenSSL looks at the machine's clock
    server_certificate(folder, NAMES, now)
    stolen = trustme.CA.from_pem(
        (folder / "authority.pem").read_bytes(), (folder / "authority.key").read_bytes()
    )
    chain = tmp_path / "chain.pem"
    made = stolen.issue_cert(name, not_before=now - timedelta(days=1), not_after=now + timedelta(days=30))
    chain.write_bytes(made.private_key_and_cert_chain_pem.bytes())
    assert trusts(folder, chain, name) is can


def test_the_authority_can_vouch_for_servers_only(folder: Path, tmp_path: Path) -> None:
    """`openssl verify`, where it is there: no letters are signed in its name."""
    server_certificate(folder, NAMES, datetime.now(UTC))  # `openssl verify` looks at the machine's clock
    stolen = trustme.CA.from_pem(
        (folder / "authority.pem").read_bytes(), (folder / "authority.key").read_bytes()
    )
    made = stolen.issue_cert("boss@bank.example")
    (tmp_path / "letter.pem").write_bytes(made.cert_chain_pems[0].bytes())
    call = ["openssl", "verify", "-CAfile", str(folder / "authority.pem"), "-purpose"]
    try:
        letters = subprocess.run(
            [*call, "smimesign", tmp_path / "letter.pem"], capture_output=True, check=False
        )
        server = subprocess.run([*call, "sslserver", folder / "server.pem"], capture_output=True, check=False)
    except FileNotFoundError:
        pytest.skip("openssl is not here")
    assert server.returncode == 0 and letters.returncode != 0


def test_old_protocols_and_ciphers_are_refused(tmp_path: Path) -> None:
    """RFC 8996: TLS 1.0 and 1.1 are not to be used; RFC 9325: forward secrecy and authenticated ciphers."""
    studio = Server(tmp_path / "studio.duckdb", "--phones", "--host", "127.0.0.1")
    v = ssl.TLSVersion
    weak = "AES128-SHA:AES256-GCM-SHA384:ECDHE-ECDSA-AES128-SHA256:ECDHE-ECDSA-AES256-SHA"
    try:
        taken = []
        for least, most, ciphers in (
            (v.TLSv1, v.TLSv1_1, "ALL:@SECLEVEL=0"),
            (v.TLSv1_2, v.TLSv1_2, weak),
            (v.TLSv1_2, v.TLSv1_2, "ALL"),
            (v.TLSv1_3, v.TLSv1_3, "ALL"),
        ):
            context = ssl.create_default_context(cadata=authority(tmp_path / "studio.duckdb.tls", NOW).der)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)
                context.minimum_version, context.maximum_version = least, most
            context.set_ciphers(ciphers)
            try:
                with (
                    socket.create_connection(("127.0.0.1", studio.port), timeout=10) as line,
                    context.wrap_socket(line, server_hostname="localhost") as sealed,
                ):
                    taken.append(sealed.cipher())
            except (ssl.SSLError, ConnectionError):
                taken.append(None)
        old, poor, two, three = taken
        assert old is None and poor is None and two and three
        assert re.match(r"ECDHE-.*(GCM|CHACHA20)", two[0]) and three[1] == "TLSv1.3"
    finally:
        studio.discard()


def test_a_server_takes_the_certificate_anew_without_being_stopped(tmp_path: Path) -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    with StudioStore(tmp_path / "studio.duckdb") as store:
        seal = tls.TlsConfig(store, server_state.ServerConfig(phones=True))
        context.load_cert_chain(seal.certificate)
        shown = [fingerprint_shown(context)]
        seal.certificate.unlink()
        seal.renew(context)
        shown.append(fingerprint_shown(context))
        with store.writing() as con:
            write_settings(con, {"address_for_phones": "Other.Local"})
        seal.renew(context)
        shown.append(fingerprint_shown(context))
        seal.renew(context)
        shown.append(fingerprint_shown(context))
        assert seal.vouches("studio.local") and not seal.vouches("studio.example.com")
    assert len(set(shown[:3])) == 3 and shown[2] == shown[3]


def fingerprint_shown(context: ssl.SSLContext) -> str:
    """Of the certificate that a server with this context shows."""
    with ThreadPoolExecutor(1) as pool, socket.create_server(("127.0.0.1", 0)) as server:
        answer = pool.submit(lambda: context.wrap_socket(server.accept()[0], server_side=True).close())
        shown = ssl.get_server_certificate(server.getsockname())
        answer.result()
    return x509.load_pem_x509_certificate(shown.encode()).fingerprint(hashes.SHA256()).hex()


def test_a_certificate_that_is_good_is_kept_and_made_anew_in_time_and_for_a_new_address(folder: Path) -> None:
    first = server_certificate(folder, NAMES, NOW).read_bytes()
    assert server_certificate(folder, NAMES, NOW + timedelta(days=LEAF_DAYS - 32)).read_bytes() == first
    assert server_certificate(folder, NAMES[:3], NOW).read_bytes() == first  # an address fewer
    second = server_certificate(folder, NAMES, NOW + timedelta(days=LEAF_DAYS - 30)).read_bytes()
    assert second != first
    third = server_certificate(
        folder, [*NAMES, "10.0.0.9"], NOW + timedelta(days=LEAF_DAYS - 29)
    ).read_bytes()
    assert third != second and authority(folder, NOW) == authority(folder, NOW)


def test_the_authority_lasts_ten_years_and_its_key_is_for_this_user_alone(folder: Path) -> None:
    one = authority(folder, NOW, NAMES)
    made = x509.load_der_x509_certificate(one.der)
    assert made.not_valid_before_utc <= NOW
    assert timedelta(days=3649) < made.not_valid_after_utc - made.not_valid_before_utc < timedelta(days=3660)
    assert made.extensions.get_extension_for_class(x509.BasicConstraints).value == x509.BasicConstraints(
        ca=True, path_length=0
    )
    server_certificate(folder, NAMES, NOW)
    for file in ("authority.key", "server.pem"):
        assert stat.S_IMODE((folder / file).stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert one.fingerprint.replace(":", "").lower() == made.fingerprint(hashes.SHA256()).hex()


def test_the_fingerprint_is_the_one_that_another_program_shows(folder: Path) -> None:
    """`openssl x509 -fingerprint`, where it is there."""
    one = authority(folder, NOW, NAMES)
    try:
        said = subprocess.run(
            ["openssl", "x509", "-in", folder / "authority.pem", "-noout", "-fingerprint", "-sha256"],
            capture_output=True,
            text=True,
            check=True,
        )
    except FileNotFoundError:
        pytest.skip("openssl is not here")
    assert said.stdout.strip().partition("=")[2] == one.fingerprint


def test_a_machine_with_an_address_of_the_world_can_be_vouched_for_from_the_start_and_later_not(
    folder: Path,
) -> None:
    server_certificate(folder, [*NAMES, "203.0.114.7"], NOW)
    made = leaf(server_certificate(folder, [*NAMES, "203.0.114.7", "203.0.114.8"], NOW))
    listed = {
        str(item)
        for item in made.extensions.get_extension_for_class(
            x509.SubjectAlternativeName
        ).value.get_values_for_type(x509.IPAddress)
    }
    assert "203.0.114.7" in listed and "203.0.114.8" not in listed


def test_what_is_damaged_is_told_with_the_mend(folder: Path) -> None:
    server_certificate(folder, NAMES, NOW)
    (folder / "server.pem").write_bytes(b"x")
    assert leaf(server_certificate(folder, NAMES, NOW))  # the server's own is made anew
    (folder / "authority.pem").write_bytes(b"x")
    with pytest.raises(BenchHoursError, match="Move that folder away"):
        authority(folder, NOW)


def test_this_machine_knows_its_names_and_addresses() -> None:
    """Against what the system itself says (`socket.getaddrinfo`)."""
    told = addresses.of_this_machine()
    assert {"localhost", "127.0.0.1", "::1"} <= set(told) and len(told) == len(set(told))
    assert addresses.reached_at() in [*told]
    for item in addresses.of_the_network():
        assert not ip_address(item).is_loopback
        with socket.socket(socket.AF_INET6 if ":" in item else socket.AF_INET) as probe:
            probe.bind((item, 0))  # only an address of its own can be listened on
    assert (
        addresses.url("::1", 8411, secure=True) == "https://[::1]:8411"
        and addresses.url("studio.local", 80, secure=False) == "http://studio.local:80"
    )
    assert (
        addresses.is_loopback("127.0.0.9")
        and addresses.is_loopback("::1")
        and not addresses.is_loopback("0.0.0.0")
        and not addresses.is_loopback("studio.local")
    )
