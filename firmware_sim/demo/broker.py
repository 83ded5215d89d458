"""The embedded MQTT broker of the demo: loopback only, passwords, and each node kept to its own topics."""

import asyncio
import os
import signal
import tempfile
from pathlib import Path
from typing import Any

from amqtt.broker import Broker
from amqtt.errors import AMQTTError
from pwdlib.hashers.argon2 import Argon2Hasher

from firmware_sim.demo.fleet import read_passwords

HOST = "127.0.0.1"
COLLECTOR = "collector"  # the one user who may read every node and answer it


def access(users: list[str]) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """Which topics each user may publish to, and subscribe to."""
    may_publish, may_subscribe = {}, {}
    for user in users:
        if user == COLLECTOR:
            may_publish[user] = ["proofing/+/ack"]
            may_subscribe[user] = ["proofing/#"]
        else:
            may_publish[user] = [f"proofing/{user}/pack", f"proofing/{user}/status"]
            may_subscribe[user] = [f"proofing/{user}/ack"]
    return may_publish, may_subscribe


def _settings(port: int, passwords: dict[str, str], password_file: Path) -> dict[str, Any]:
    may_publish, may_subscribe = access(list(passwords))
    return {
        "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{port}"}},
        "plugins": {
            "amqtt.plugins.authentication.FileAuthPlugin": {"password_file": str(password_file)},
            "amqtt.plugins.topic_checking.TopicAccessControlListPlugin": {
                "publish_acl": may_publish,
                "acl": may_subscribe,
            },
        },
    }


async def _serve(port: int, passwords: dict[str, str]) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    hasher = Argon2Hasher()
    with tempfile.TemporaryDirectory() as folder:  # made with mode 0700; the broker reads the file only at its start
        password_file = Path(folder) / "passwords"
        with os.fdopen(os.open(password_file, os.O_WRONLY | os.O_CREAT, 0o600), "w", encoding="utf-8") as file:
            file.writelines(f"{user}:{hasher.hash(password)}\n" for user, password in passwords.items())
        broker = Broker(_settings(port, passwords, password_file))
        await broker.start()
    try:
        await stop.wait()
    finally:
        await broker.shutdown()


def serve(port: int, secrets: Path) -> None:
    """Serve until SIGTERM or SIGINT.

    Parameters
    ----------
    secrets
        JSON object: user name -> password.

    Raises
    ------
    OSError, ValueError
        When the secrets cannot be read or the port cannot be had.
    """
    try:
        asyncio.run(_serve(port, read_passwords(secrets)))
    except AMQTTError as err:
        raise OSError(f"the broker cannot serve on {HOST}:{port} ({err}); is the port free?") from err
