"""The options of ``broker``, ``proxy`` and ``dashboard``. Loads nothing of what they do."""

import argparse
from collections.abc import Callable
from pathlib import Path

Run = Callable[[argparse.Namespace], int]
AddPlace = Callable[[argparse.ArgumentParser], None]

HERE = "127.0.0.1"
USUAL_PORT = 8501


def add_broker(broker: argparse.ArgumentParser, add_place: AddPlace, run: Run) -> None:
    """The actions of ``broker``."""
    actions = broker.add_subparsers(dest="action", required=True, metavar="ACTION")
    configure = actions.add_parser(
        "configure", help="write a mosquitto's settings, passwords and certificate; again: with the nodes there are now"
    )
    _add_listening(configure, "8883", "nodes reach this machine")
    configure.add_argument("--ca", type=Path, metavar="FILE", help="with --certificate: what nodes are to trust")
    site = actions.add_parser("site", help="at a central broker: let a shop's broker in; writes the file that it needs")
    site.add_argument("name", metavar="SITE", help="of the shop, as its config.toml says it")
    bridge = actions.add_parser("bridge", help="at a shop's broker: send everything on to a central one")
    bridge.add_argument("file", type=Path, metavar="FILE", help="that `broker site` wrote at the central one")
    bridge.add_argument(
        "--served-there", action="store_true", help="this shop has no collector: the central one acknowledges"
    )
    for action in (configure, site, bridge):
        add_place(action)
        action.set_defaults(run=run)


def add_proxy(proxy: argparse.ArgumentParser, add_place: AddPlace, run: Run) -> None:
    """The actions of ``proxy``."""
    actions = proxy.add_subparsers(dest="action", required=True, metavar="ACTION")
    configure = actions.add_parser(
        "configure", help="write an nginx's settings that ask for a password before the screens; again: change them"
    )
    _add_listening(configure, "8443", "people open the screens")
    configure.add_argument(
        "--user", action="append", default=[], metavar="NAME", help="let in, with a new password that is shown once"
    )
    configure.add_argument("--remove", action="append", default=[], metavar="NAME", help="let in no more")
    configure.add_argument("--dashboard-port", type=int, metavar="PORT", help=f"of the dashboard ({USUAL_PORT})")
    add_place(configure)
    configure.set_defaults(run=run)


def add_dashboard(dashboard: argparse.ArgumentParser, add_place: AddPlace, run: Run) -> None:
    """The options of ``dashboard``."""
    dashboard.add_argument("--port", type=int, default=USUAL_PORT, help="(%(default)s)")
    dashboard.add_argument(
        "--address", default=HERE, help='to listen on (%(default)s); another needs login = "oidc" and a certificate'
    )
    dashboard.add_argument("--certificate", type=Path, metavar="FILE", help="to speak TLS with (PEM)")
    dashboard.add_argument("--key", type=Path, metavar="FILE", help="of the certificate")
    add_place(dashboard)
    dashboard.set_defaults(run=run)


def _add_listening(configure: argparse.ArgumentParser, port: str, what: str) -> None:
    configure.add_argument("--listen", metavar="ADDRESS", help=f"({HERE}; 0.0.0.0: every network of this machine)")
    configure.add_argument("--port", type=int, help=f"({port})")
    configure.add_argument(
        "--host",
        action="append",
        metavar="NAME",
        help=f"by which {what}, for the certificate; more than one may be given",
    )
    configure.add_argument("--certificate", type=Path, metavar="FILE", help="signed by others (default: by your own)")
    configure.add_argument("--key", type=Path, metavar="FILE", help="of that certificate")
