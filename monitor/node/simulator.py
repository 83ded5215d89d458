"""Simulated nodes: the command that starts them as a process of their own, and what a collector must know of them."""

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import msgspec

from monitor.child import child_command
from monitor.errors import ConfigError
from monitor.files import bounded_bytes
from monitor.node.profiles import FIRMWARE
from monitor.settings.brokers import mqtt_address

PRACTICE_NAME = "practice.json"
LARGEST_PRACTICE_BYTES = 100_000


@dataclass(frozen=True, slots=True)
class Practice:
    """What a collector must know to take in the simulated nodes of a data directory.

    Attributes
    ----------
    serial
        The ports they speak on, as whole paths.
    epoch
        When dough time began to run at ``speed``; None for the machine's own clock.
    """

    serial: tuple[str, ...]
    epoch: datetime | None
    speed: float

    def keep(self, data_dir: Path) -> None:
        """Write it down where ``collect --practice`` looks for it."""
        try:
            data_dir.mkdir(parents=True, exist_ok=True)
            (data_dir / PRACTICE_NAME).write_bytes(msgspec.json.encode(self))
        except OSError as error:
            raise ConfigError(
                "{data_dir}: cannot be written ({why}); name another with --data-dir",
                data_dir=data_dir,
                why=error.strerror,
            ) from error


def practice_in(data_dir: Path) -> Practice:
    """What was noted of the simulated nodes of a data directory.

    Raises
    ------
    ConfigError
        When none were started here.
    """
    try:
        return msgspec.json.decode(bounded_bytes(data_dir / PRACTICE_NAME, LARGEST_PRACTICE_BYTES), type=Practice)
    except (OSError, msgspec.MsgspecError) as error:
        raise ConfigError(
            "{data_dir}: no simulated nodes were started here; run `proofing-monitor node simulate` first",
            data_dir=data_dir,
        ) from error


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
