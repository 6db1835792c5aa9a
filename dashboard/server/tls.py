"""TLS: the certificate of the server, and its renewal while it runs."""

from __future__ import annotations

import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dashboard.server import addresses, certificates
from dashboard.server.certificates import Authority
from dashboard.server.state import ServerConfig
from ingest.errors import BenchHoursError, why
from ingest.store import Store
from ingest.studio.settings import read_settings

_RENEWAL_CHECK_S = 30
# Below TLS 1.3: forward secrecy and authenticated ciphers only (RFC 9325).
_CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"


class TlsConfig:
    """The certificate of the server, external or issued by the studio's own authority.

    Attributes
    ----------
    authority : the studio's own; None where the certificate is external.
    certificate : file (PEM).
    """

    def __init__(self, store: Store, config: ServerConfig) -> None:
        self._store, self._config = store, config
        self.authority: Authority | None = None
        self._folder = Path(store.path).with_name(f"{Path(store.path).name}.tls")
        self.certificate = self._external_certificate() or self._own_certificate()

    def _external_certificate(self) -> Path | None:
        certificate, reason = self._config.certificate, "certificate and key do not fit, or are none"
        if certificate is None:
            return None
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, self._config.key)
        except OSError as error:  # ssl.SSLError is one
            raise BenchHoursError(
                f"{certificate} cannot be used ({reason if isinstance(error, ssl.SSLError) else why(error)})",
                "Name a certificate and its key in PEM.",
            ) from error
        return certificate

    def _own_certificate(self) -> Path:
        configured = read_settings(self._store.cursor()).address_for_phones
        host = "" if self._config.host in ("0.0.0.0", "::") else self._config.host
        hosts = [*addresses.of_this_machine(), *filter(None, (configured, host))]
        names, now = list(dict.fromkeys(map(addresses.canonical, hosts))), datetime.now(UTC)
        self.authority = certificates.authority(self._folder, now, names)
        return certificates.server_certificate(self._folder, names, now)

    def vouches(self, name: str) -> bool:
        """Whether the certificate may hold for a host name or an address; an external one is not asked."""
        return self._config.certificate is not None or certificates.vouches_for(
            self._folder, addresses.canonical(name), datetime.now(UTC)
        )

    def options(self) -> dict[str, Any]:
        """Keyword arguments of the server for TLS."""
        return {"ssl_certfile": self.certificate, "ssl_keyfile": self._config.key, "ssl_ciphers": _CIPHERS}

    def renew(self, context: ssl.SSLContext) -> None:
        """Load the certificate again, which may have been renewed or hold for another address now."""
        self.certificate = self._external_certificate() or self._own_certificate()
        context.load_cert_chain(self.certificate, self._config.key)


@contextmanager
def renewing(tls: TlsConfig | None, config: Any, report: Callable[[str], None]) -> Iterator[None]:
    """Renew the certificate of a uvicorn `config` where needed, in a thread, until the block ends."""
    stopped = threading.Event()

    def work() -> None:
        while not stopped.wait(_RENEWAL_CHECK_S):
            try:
                if tls and config.ssl:
                    tls.renew(config.ssl)
            except (BenchHoursError, OSError) as error:
                report(f"the certificate could not be looked at: {error}")

    threading.Thread(target=work, daemon=True, name="certificate").start()
    try:
        yield
    finally:
        stopped.set()
