"""Ends with 0 when what answers at a URL is well (``python -P -m monitor.health.probe URL``), else not.

For whoever restarts what is not well.

A collector's ``/metrics`` answers from a thread of its own, so the number it gives for its loop is looked at too.
"""

import re
import sys
import urllib.error
import urllib.request

from monitor.health.checks import LOOP_S
from monitor.health.metrics import PREFIX

TIMEOUT_S = 5.0
_SILENT = re.compile(rf"^{PREFIX}loop_silent_seconds ([0-9.e+-]+)$", re.MULTILINE)


def fault_at(url: str) -> str:
    """Why what answers at an address is not well; empty when it is."""
    try:
        with urllib.request.urlopen(url, timeout=TIMEOUT_S) as answer:
            text = answer.read(1_000_000).decode(errors="replace")
    except (OSError, ValueError) as error:  # URLError and HTTPError are OSErrors
        return f"{url}: {error}"
    silent = _SILENT.search(text)
    if silent is not None and float(silent[1]) > LOOP_S:
        return f"{url}: the loop has not turned for {float(silent[1]):.0f} s"
    return ""


def main() -> int:
    """Look once; the process's exit status comes back."""
    fault = fault_at(sys.argv[1]) if len(sys.argv) == 2 else "usage: python -P -m monitor.health.probe URL"
    if fault:
        print(fault, file=sys.stderr)
    return 1 if fault else 0


if __name__ == "__main__":
    sys.exit(main())
