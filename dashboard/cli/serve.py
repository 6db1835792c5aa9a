"""The commands `serve` and `demo`: the pages of the studio, or of an invented one."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from dashboard import queries
from dashboard.cli import backup as backup_command
from dashboard.cli import options, remote
from dashboard.cli.caller import write_err
from dashboard.cli.overruns import print_overruns
from dashboard.server import addresses
from dashboard.server import run as server_run
from dashboard.server.state import ServerConfig
from dashboard.services import demo, jobs
from ingest.errors import BenchHoursError
from ingest.store import Store, demo_path


def add_commands(commands: options.Commands) -> None:
    shown, served = commands.add("demo", _demo, "nothing"), commands.add("serve", _serve, "nothing")
    for parser in (shown, served):
        parser.add_argument("--port", type=options.port, default=8411, help="port to listen on (8411)")
    options.add_flags(shown, no_serve="print only")
    options.add_flags(
        served,
        phones="let paired phones and laptops of the local network in, over TLS",
        plain="with --phones: without TLS, so that whoever is in the network can read along",
    )
    served.add_argument(
        "--host", help="address to listen on (127.0.0.1, or with --phones every address of this machine)"
    )
    options.add_files(
        served,
        tls_cert="with --phones: a certificate made elsewhere (PEM), in place of the studio's own",
        tls_key="its key (PEM)",
    )


def _demo(args: argparse.Namespace) -> int:
    """Set up an invented studio in a database of its own, print its overruns, and serve its pages."""
    path = args.db or demo_path()
    _check_not_served(path)
    with demo.fresh(path, progress=write_err) as store:
        con = store.cursor()
        as_of = queries.today(con)
        print_overruns(queries.overruns(con, as_of), as_of, remembered=queries.remembered(con))
        if not args.no_serve:
            sys.stdout.flush()
            with server_run.until_stopped():
                _serve_store(args, store, ServerConfig(port=args.port))
    return 0


def _serve(args: argparse.Namespace) -> int:
    """Serve the pages of the studio to a browser on this machine, or to the phones of the network."""
    config = _server_config(args)
    _check_not_served(options.database(args))
    with server_run.until_stopped(), Store(options.database(args)) as store:
        backup_command.print_state(store)
        _serve_store(args, store, config)
    write_err("stopped; the record is closed, and everything in it is kept")
    return 0


def _server_config(args: argparse.Namespace) -> ServerConfig:
    """Address and TLS of the server; raises where options contradict each other."""
    if not args.phones:
        for name in ("plain", "tls_cert", "tls_key"):
            if getattr(args, name):
                raise BenchHoursError(
                    f"--{name.replace('_', '-')} is about phones", "Add --phones, or leave it out."
                )
        if args.host and not addresses.is_loopback(args.host):
            raise BenchHoursError(
                f"{args.host} is open to the network, and whoever came that way would be the principal",
                "Add --phones: then only paired devices come in.",
            )
    if bool(args.tls_cert) != bool(args.tls_key):
        raise BenchHoursError("a certificate and its key go together", "Give both --tls-cert and --tls-key.")
    if args.plain and args.tls_cert:
        raise BenchHoursError(
            "--plain is without TLS, and so without a certificate", "Leave one of the two out."
        )
    host = args.host or ("0.0.0.0" if args.phones else "127.0.0.1")
    return ServerConfig(
        host=host,
        port=args.port,
        phones=args.phones,
        plain=args.plain,
        certificate=args.tls_cert,
        key=args.tls_key,
    )


def _serve_store(args: argparse.Namespace, store: Store, config: ServerConfig) -> None:
    with remote.listening(Path(store.path), config.here, args.run_for(store)):
        try:
            server_run.serve(store, config, report=write_err)
        finally:
            jobs.stop()


def _check_not_served(path: Path) -> None:
    if server := remote.server_of(path):
        raise BenchHoursError(
            f"the pages of {path} are open already, at {server.pages}",
            "Use them there, or stop that one first with Ctrl-C in its window.",
        )
