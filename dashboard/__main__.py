"""The screens as a server: ``python -m dashboard --data-dir DIR``; see ``monitor.remote_access.dashboard_server``.

What the screens are made of is imported before anybody asks for them: it takes a second or two, which the first person
to open a page would otherwise wait.
"""

import argparse
import gc
import importlib
import signal
import sys
from pathlib import Path
from types import FrameType

from dashboard.server import application
from monitor.network import DASHBOARD_PORT, LOOPBACK


def serve(arguments: list[str]) -> None:
    """Serve until stopped."""
    parser = argparse.ArgumentParser("dashboard", allow_abbrev=False)
    parser.add_argument("--address", default=LOOPBACK, help="to listen on")
    parser.add_argument("--port", type=int, default=DASHBOARD_PORT, help="to listen on")
    parser.add_argument("--certificate", metavar="FILE", help="to speak TLS with")
    parser.add_argument("--key", metavar="FILE", help="of the certificate")
    parser.add_argument("--login-file", metavar="FILE", help="whom people log in at")
    parser.add_argument("--opened", action="append", default=[], metavar="URL", help="what people open, once for each")
    parser.add_argument("--data-dir", metavar="DIR", help="read by the screens")
    parser.add_argument("--login", help="how people logged in when this was started; read by the screens")
    options = parser.parse_args(arguments)
    for screen in sorted(Path(__file__).parent.glob("*/screen.py")):
        importlib.import_module(f"dashboard.{screen.parent.name}.screen")
    gc.freeze()  # Streamlit collects garbage after each run of a screen: what was imported is none, and it is much
    for stopping in (signal.SIGINT, signal.SIGTERM):  # the server has stopped in order, and hands the signal on
        signal.signal(stopping, _ended)
    settings = {
        "server.address": options.address,
        "server.port": options.port,
        "server.headless": True,
        "server.sslCertFile": options.certificate,
        "server.sslKeyFile": options.key,
        "server.corsAllowedOrigins": options.opened,
        "browser.gatherUsageStats": False,
    }
    if options.login_file is not None:
        settings["secrets.files"] = [options.login_file]
    application(options.opened).run(config=settings)


def _ended(_signal: int, _frame: FrameType | None) -> None:
    sys.exit(0)


if __name__ == "__main__":
    serve(sys.argv[1:])
