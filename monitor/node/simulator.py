"""The command that starts simulated nodes as a process of their own; nothing of the simulator is loaded here."""

import importlib.util
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from monitor.child import child_command
from monitor.errors import ConfigError
from monitor.node.boards import FIRMWARE
from monitor.settings.brokers import mqtt_address


def simulator_command(
    *,
    mqtt: str | None,
    serial: Sequence[Path],
    count: int | None,
    secrets: Path | None,
    speed: float,
    epoch: datetime | None,
    period: timedelta,
    dough: str | None,
    recording: Path | None,
    room: str | None,
    noise: str | None,
    fault: Sequence[str],
    micropython: bool,
    hours: float | None,
    seed: int,
    batches: Path | None,
) -> list[str]:
    """``python -m firmware_sim practice`` with the options of ``node simulate``.

    Raises
    ------
    ConfigError
        When no node could reach anybody, or the simulator is not installed.
    """
    if importlib.util.find_spec(FIRMWARE) is None:
        raise ConfigError("the simulator is not installed; install the whole package: pip install proofing-monitor")
    if mqtt is None and not serial:
        raise ConfigError(
            "name your broker with --mqtt mqtt://host:1883, or a port to make with --serial PATH; then start the "
            "collector on the same"
        )
    command = child_command(FIRMWARE, "practice", "--speed", f"{speed:g}", "--seed", str(seed))
    command += ["--every", f"{period.total_seconds():g}s"]
    if mqtt is not None:
        address = mqtt_address(mqtt)
        if address.scheme != "mqtt":
            raise ConfigError(
                "--mqtt: simulated nodes speak plain mqtt://; let the broker listen on this machine alone"
            )
        if address.user is not None:
            raise ConfigError("--mqtt: leave the user out; each node logs in as its node key, passwords in --secrets")
        command += ["--mqtt", f"{address.host}:{address.port}"]
    for name, value in (
        ("count", count),
        ("secrets", secrets),
        ("epoch", None if epoch is None else epoch.isoformat()),
        ("recording", recording),
        ("dough", (dough or "mixed") if recording is None else None),
        ("room", room),
        ("noise", noise),
        ("hours", hours),
        ("batches", batches),
    ):
        if value is not None:
            command += [f"--{name}", str(value)]
    for path in serial:
        command += ["--serial", str(path)]
    if micropython:
        command.append("--micropython")
    for kind_and_rate in fault:
        command += ["--fault", kind_and_rate]
    return command
