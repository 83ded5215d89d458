"""The command that starts simulated nodes as a process of their own; nothing of the simulator is loaded here."""

import argparse
import importlib.util

from monitor.child import child_command
from monitor.errors import ConfigError
from monitor.node.boards import FIRMWARE
from monitor.settings.brokers import mqtt_address


def simulator_command(args: argparse.Namespace) -> list[str]:
    """``python -m firmware_sim practice`` with the options of ``node simulate``.

    Raises
    ------
    ConfigError
        When no node could reach anybody, or the simulator is not installed.
    """
    if importlib.util.find_spec(FIRMWARE) is None:
        raise ConfigError("the simulator is not installed; install the whole package: pip install proofing-monitor")
    if args.mqtt is None and not args.serial:
        raise ConfigError(
            "name your broker with --mqtt mqtt://host:1883, or a port to make with --serial PATH; then start the "
            "collector on the same"
        )
    command = child_command(FIRMWARE, "practice", "--speed", f"{args.speed:g}", "--seed", str(args.seed))
    command += ["--every", f"{args.period.total_seconds():g}s"]
    if args.mqtt is not None:
        address = mqtt_address(args.mqtt)
        if address.scheme != "mqtt":
            raise ConfigError(
                "--mqtt: simulated nodes speak plain mqtt://; let the broker listen on this machine alone"
            )
        if address.user is not None:
            raise ConfigError("--mqtt: leave the user out; each node logs in as its node key, passwords in --secrets")
        command += ["--mqtt", f"{address.host}:{address.port}"]
    for name, value in (
        ("count", args.count),
        ("secrets", args.secrets),
        ("epoch", None if args.epoch is None else args.epoch.isoformat()),
        ("recording", args.recording),
        ("dough", args.dough if args.recording is None else None),
        ("room", args.room),
        ("noise", args.noise),
        ("hours", args.hours),
        ("batches", args.batches),
    ):
        if value is not None:
            command += [f"--{name}", str(value)]
    for path in args.serial:
        command += ["--serial", str(path)]
    if args.micropython:
        command.append("--micropython")
    for fault in args.fault:
        command += ["--fault", fault]
    return command
