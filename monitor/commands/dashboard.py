"""``dashboard``: the screens."""

import os
from contextlib import suppress
from pathlib import Path

import click

from monitor.commands.parameters import FILE, PORT
from monitor.commands.terminal import data_dir, examples
from monitor.network import DASHBOARD_PORT, LOOPBACK


@click.command("dashboard", epilog=examples("dashboard", "dashboard --data-dir practice --port 8502"))
@click.option(
    "--port",
    type=PORT,
    default=DASHBOARD_PORT,
    show_default=True,
    help="Port to listen on.",
)
@click.option(
    "--address",
    default=LOOPBACK,
    metavar="ADDRESS",
    show_default=True,
    help='Address to listen on. Another needs login = "oidc" and a certificate.',
)
@click.option("--certificate", type=FILE, metavar="FILE", help="Certificate (PEM) to speak TLS with.")
@click.option("--key", type=FILE, metavar="FILE", help="Key of the certificate.")
@data_dir
def command(port: int, address: str, certificate: Path | None, key: Path | None, data_dir: Path) -> None:
    """Show every batch in a browser.

    It listens on this machine alone unless --address says otherwise.
    """
    from monitor.remote_access.dashboard_server import dashboard_command
    from monitor.settings.data_dir import usual_data_dir

    if data_dir == usual_data_dir(os.environ):  # nobody has mistyped it, so it may be made
        with suppress(OSError):
            data_dir.mkdir(parents=True, exist_ok=True)
    words, folder = dashboard_command(data_dir, port, address, certificate, key)
    scheme = "http" if certificate is None else "https"
    click.echo(f"dashboard: {scheme}://{address}:{port}  (data in {data_dir}; Ctrl-C ends it)")
    os.chdir(folder)
    os.execv(words[0], words)  # this process becomes the dashboard: nothing is left behind when it ends
