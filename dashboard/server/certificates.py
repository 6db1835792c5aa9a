"""The studio's own certificate authority, and the certificate of its server, in a folder beside the database.

The authority is made once, for ten years, and can vouch for nothing but servers at names and addresses of a
local network, and this machine's own address (name constraints, RFC 5280 section 4.2.1.10): whoever steals
its key can pass himself off as nobody else's server. The server's certificate lasts 397 days at most and is
made anew before it ends, and when the machine has another address. Neither leaves with a backup or an export.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from ingest.errors import BenchHoursError, why
from ingest.safekeeping.atomic_folder import write_private

LEAF_DAYS = 397
RENEWED_DAYS = 30
_AUTHORITY_YEARS = 10
_LOCAL_NETWORKS = (
    *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "169.254.0.0/16"),
    *("127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128"),
)
"""Addresses of local networks: RFC 1918, 6598, 3927, 1122, 4193, 4291."""
_LOCAL_NAMES = ("localhost", "local", "lan", "internal", "home.arpa")
"""Domains of local networks: RFC 6761, 6762, 8375; `internal` reserved by ICANN in 2024 (from memory); `lan`
common practice, no source."""


@dataclass(frozen=True, slots=True)
class Authority:
    """The studio's own authority: its certificate (DER), and its SHA-256 as people compare it."""

    der: bytes
    fingerprint: str


def authority(folder: Path, now: datetime, names: Sequence[str] = ()) -> Authority:
    """The authority of a folder, made where there is none, and good from `now` (UTC); `names` of this machine
    are among what a new one may vouch for.
    """
    return _shown(_authority(folder, names, now))


def server_certificate(folder: Path, names: Sequence[str], now: datetime) -> Path:
    """The server's certificate with its key (PEM): the one that is there while it is good, else a new one.

    Parameters
    ----------
    names : host names and addresses that it must vouch for; those that the authority may not speak of are
        left out.
    now : UTC; both certificates are good from this moment.
    """
    signer = _authority(folder, names, now)
    wanted = [name for name in names if _may_vouch(signer.certificate, name)]
    place = folder / "server.pem"
    if not _is_good(place, signer.certificate, wanted, now):
        write_private(
            place,
            _new_server_certificate(signer, wanted, now)
            + signer.certificate.public_bytes(serialization.Encoding.PEM),
        )
    return place


def vouches_for(folder: Path, name: str, now: datetime) -> bool:
    """The authority of a folder, made `now` (UTC) where there is none, may speak for a host name or an
    address.
    """
    return _may_vouch(_authority(folder, (), now).certificate, name)


def _shown(item: _Authority) -> Authority:
    digest = item.certificate.fingerprint(hashes.SHA256()).hex(":").upper()
    return Authority(item.certificate.public_bytes(serialization.Encoding.DER), digest)


@dataclass(frozen=True, slots=True)
class _Authority:
    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey


def _authority(folder: Path, names: Sequence[str], now: datetime) -> _Authority:
    public, private = folder / "authority.pem", folder / "authority.key"
    try:
        if not (public.exists() and private.exists()):
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            key, certificate = _new_authority(names, now)
            write_private(private, key)
            write_private(public, certificate)
        certificate, key = public.read_bytes(), private.read_bytes()
    except OSError as error:
        raise BenchHoursError(
            f"the studio's certificate cannot be read or written in {folder} ({why(error)})",
            "See that the folder may be written.",
        ) from error
    try:
        signer = serialization.load_pem_private_key(key, None)
        if not isinstance(signer, ec.EllipticCurvePrivateKey):
            raise TypeError("another kind of key")
        return _Authority(x509.load_pem_x509_certificate(certificate), signer)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise BenchHoursError(
            f"the studio's certificate in {folder} is damaged",
            "Move that folder away: a new one is made, and each device has to trust it anew.",
        ) from error


def _new_authority(names: Sequence[str], now: datetime) -> tuple[bytes, bytes]:
    """Key and certificate, PEM."""
    key = ec.generate_private_key(ec.SECP256R1())
    # of a name with dots it could vouch for the world's
    own = [name for name in names if not _network(name) and name not in _LOCAL_NAMES and "." not in name]
    issuer = _name(f"bench-hours of {own[0] if own else 'this studio'}")
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in dict.fromkeys([*_LOCAL_NAMES, *own])]
    local = [ipaddress.ip_network(network) for network in _LOCAL_NETWORKS]
    addresses = [address for name in names if (address := _network(name))]
    # of a network with addresses of the world
    local += [
        ipaddress.ip_network(address)
        for address in addresses
        if not any(address in network for network in local)
    ]
    permitted += [x509.IPAddress(network) for network in local]
    made = _builder(issuer, issuer, key.public_key(), now, timedelta(days=365 * _AUTHORITY_YEARS))
    made = made.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    made = made.add_extension(_usage(signs_certificates=True), critical=True)
    # for no letters and no programs
    made = made.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    made = made.add_extension(
        x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True
    )
    return _pem(key), made.sign(key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)


def _new_server_certificate(item: _Authority, names: Sequence[str], now: datetime) -> bytes:
    """Key and certificate, PEM."""
    key = ec.generate_private_key(ec.SECP256R1())
    spoken = [
        x509.IPAddress(address) if (address := _network(name)) else x509.DNSName(name) for name in names
    ]
    signer = item.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    made = _builder(
        _name("the studio's server"),
        item.certificate.subject,
        key.public_key(),
        now,
        timedelta(days=LEAF_DAYS),
    )
    made = made.add_extension(x509.SubjectAlternativeName(spoken), critical=False)
    made = made.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    made = made.add_extension(_usage(signs_certificates=False), critical=True)
    made = made.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    made = made.add_extension(
        x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(signer), critical=False
    )
    return _pem(key) + made.sign(item.key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, lasts: timedelta
) -> x509.CertificateBuilder:
    """Begin either certificate; valid from a day earlier, as a phone’s clock may be behind."""
    begins = now - timedelta(days=1)
    made = x509.CertificateBuilder(issuer, subject, key, x509.random_serial_number(), begins, begins + lasts)
    return made.add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _name(common: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "bench-hours"),
            x509.NameAttribute(NameOID.COMMON_NAME, common[:64]),
        ]
    )


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _network(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def _may_vouch(certificate: x509.Certificate, name: str) -> bool:
    permitted = (
        certificate.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    )
    address = _network(name)
    if address is not None:
        return any(isinstance(item, x509.IPAddress) and address in item.value for item in permitted)  # type: ignore[operator]
    return any(
        isinstance(item, x509.DNSName) and (name == item.value or name.endswith(f".{item.value}"))
        for item in permitted
    )


def _is_good(place: Path, authority: x509.Certificate, names: Sequence[str], now: datetime) -> bool:
    try:
        current = x509.load_pem_x509_certificate(place.read_bytes())
        current.verify_directly_issued_by(authority)
        alternative_names = current.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return False
    listed = {
        *alternative_names.get_values_for_type(x509.DNSName),
        *(str(item) for item in alternative_names.get_values_for_type(x509.IPAddress)),
    }
    return (
        set(names) <= listed
        and current.not_valid_before_utc <= now
        and current.not_valid_after_utc - now > timedelta(days=RENEWED_DAYS)
    )
