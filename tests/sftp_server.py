"""An SFTP server on the loopback, that lets in one user by a key or by a password."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

import asyncssh

USER, PASSWORD = "keeper", "horse-battery"


@dataclass(frozen=True)
class Server:
    """Where it listens, what its host key is, and the private key that it lets in."""

    port: int
    host_key: str
    key_file: Path


class _Door(asyncssh.SSHServer):
    def password_auth_supported(self) -> bool:
        return True

    def validate_password(self, username: str, password: str) -> bool:
        return (username, password) == (USER, PASSWORD)


@contextmanager
def served(folder: Path) -> Iterator[Server]:
    """The server, until the end of the block; its keys lie in a folder."""
    own, theirs = asyncssh.generate_private_key("ssh-ed25519"), asyncssh.generate_private_key("ssh-ed25519")
    theirs.write_private_key(folder / "key")
    theirs.write_public_key(folder / "key.pub")

    async def listen() -> asyncssh.SSHAcceptor:
        return await asyncssh.listen(
            "127.0.0.1",
            server_factory=_Door,
            server_host_keys=[own],
            authorized_client_keys=str(folder / "key.pub"),
            sftp_factory=True,
        )

    loop = asyncio.new_event_loop()
    thread = Thread(target=loop.run_forever)
    thread.start()
    listening = asyncio.run_coroutine_threadsafe(listen(), loop).result(30.0)
    try:
        yield Server(listening.get_port(), own.export_public_key().decode().strip(), folder / "key")
    finally:
        loop.call_soon_threadsafe(listening.close)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()
