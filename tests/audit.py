"""Known faults of the locked packages: ``python -m tests.audit``.

Asks pip-audit, which asks the package index's list of advisories. Where that list cannot be reached nothing can be
said, which is printed and is no failure; what needs no network is tested in ``tests/unit/test_dependencies.py``.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
LOCKS = ("requirements.lock", "requirements-dev.lock")
ACCEPTED: dict[str, str] = {}
"""Advisories that are looked at and lived with: id -> why it does not concern this program."""


def verdict(report: dict[str, Any]) -> tuple[list[str], int, int]:
    """What is known against the packages of a report, how many were asked about, and how many could not be."""
    packages = report.get("dependencies", [])
    skipped = [package for package in packages if "skip_reason" in package]
    known = [
        f"{package['name']} {package['version']}: {fault['id']}, mended in {', '.join(fault['fix_versions']) or 'none'}"
        for package in packages
        for fault in package.get("vulns", [])
        if not {fault["id"], *fault.get("aliases", [])} & ACCEPTED.keys()
    ]
    return known, len(packages) - len(skipped), len(skipped)


def audit(lock: str) -> int:
    """Audit one lock file; 1 when something is known against it."""
    command = [sys.executable, "-m", "pip_audit", "--requirement", lock, "--require-hashes", "--disable-pip"]
    command += ["--format", "json", "--progress-spinner", "off", "--timeout", "15"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    try:
        known, n_asked, n_skipped = verdict(json.loads(done.stdout))
    except ValueError:
        last = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
        print(f"audit of {lock}: not possible here: {last[:200]}")
        return 0
    if not n_asked:
        print(f"audit of {lock}: not possible here: no list of advisories can be reached")
        return 0
    print(f"audit of {lock}: {n_asked} packages asked about, {n_skipped} not known there, {len(known)} advisories")
    for line in known:
        print(f"  {line}")
    return int(bool(known))


if __name__ == "__main__":
    sys.exit(max(audit(lock) for lock in LOCKS))
