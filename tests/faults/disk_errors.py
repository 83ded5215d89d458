"""A batch over a disk that fails: each n-th write, sync and truncation in turn, once or until the disk is mended.

The collector's own loop, on a real SQLite file, in a process under the shim. At each acknowledgement, and each failure,
what lies on the disk is read by a connection of its own, and once more from a copy of the files, as after a crash.
"""

import errno
import json
import os
import queue
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from datetime import UTC, timedelta
from pathlib import Path

from faults.shim import FOR_EVER, SYNC, TRUNCATE, WRITE, Plan, Shim, plan_of_this_process
from faults.table import Line
from harness import START, SetClock
from made_up import NODE, batch_of
from programs import good_frame

from monitor.alerts.dough import Rules
from monitor.archive.backup import back_up, restore, verified
from monitor.collector.loop import Collector
from monitor.dough.outlook import Outlook, State
from monitor.errors import StoreError
from monitor.recipe.batch import Event, EventKind
from monitor.sources.intake import Frame, Item
from monitor.store.store import Store
from monitor.wording.reader import Reader

WORD = "proofing"  # the shim lets all files alone that have it not in their path
FILE = "proofing.sqlite"
PACKS, PACKS_A_TURN = 12, 3
PATIENCE = 50
WAYS = {  # what fails, with which error, how often
    "disk full": (WRITE, errno.ENOSPC, 1),
    "disk full for long": (WRITE, errno.ENOSPC, FOR_EVER),
    "write": (WRITE, errno.EIO, 1),
    "sync": (SYNC, errno.EIO, 1),
    "sync for long": (SYNC, errno.EIO, FOR_EVER),
    "truncate": (TRUNCATE, errno.EIO, 1),
}


class TightStore(Store):
    """Moves what is in the write-ahead log into the file after every few pages, so that a short batch does it too."""

    def _opened(self, *, is_to_look: bool) -> sqlite3.Connection:
        connection = super()._opened(is_to_look=is_to_look)
        connection.execute("PRAGMA wal_autocheckpoint = 4")
        return connection


def kept(path: Path) -> set[int]:
    """Sequence numbers whose two readings both lie in a file."""
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        found = connection.execute("SELECT seq FROM reading GROUP BY node, boot, seq HAVING count(*) = 2")
        return {row[0] for row in found}
    finally:
        connection.close()


def kept_after_a_crash(path: Path, folder: Path) -> set[int]:
    """The same from a copy of the files as they lie there, without what only a living process knows."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for suffix in ("", "-wal"):
        if path.with_name(path.name + suffix).exists():
            shutil.copy(path.with_name(path.name + suffix), folder / ("copy" + suffix))
    connection = sqlite3.connect(folder / "copy")  # not read-only: the log has to be worked in first
    connection.close()
    return kept(folder / "copy")


class Bakery:
    """One batch, its node and its collector, over a store that may fail."""

    def __init__(self, folder: Path, plan: Plan) -> None:
        self.folder = folder
        self.path = folder / FILE
        self.plan = plan
        self.clock = SetClock(START)
        self.inbox: queue.Queue[Item] = queue.Queue()
        self.answered: set[int] = set()
        self.wrong: list[str] = []
        self.failures = 0
        self.store = TightStore(self.path)
        self.batch = self.store.batches.add(batch_of("Hazel loaf"))
        self.clock.put(self.batch.started_at)
        self.collector = Collector(
            self.store, self.inbox, self.clock, self._estimate, rules=Rules(), reader=Reader(UTC)
        )

    @staticmethod
    def _estimate(batch: object, track: object, at: object, *, learned: object = None) -> Outlook:
        return Outlook(at, State.RISING)  # type: ignore[arg-type]

    def _put(self, seq: int) -> None:
        def acknowledge(line: bytes) -> None:
            self.answered.add(seq)
            self._look("acknowledged", kept(self.path))

        self.inbox.put(Frame(good_frame(NODE, seq), self.clock.now(), "line", None, acknowledge))

    def _look(self, when: str, there: set[int]) -> None:
        if not self.answered <= there:
            self.wrong.append(f"{when}, and not there: {sorted(self.answered - there)}")

    def live(self) -> None:
        """Take the packs in, log a fold and the end; whatever fails is tried again as the loop does."""
        for turn in range(PACKS // PACKS_A_TURN):
            for seq in range(turn * PACKS_A_TURN + 1, (turn + 1) * PACKS_A_TURN + 1):
                self._put(seq)
            self._until_it_works(lambda: self.collector.turn(0.0))
            self.clock.advance(minutes=1)
            if turn == 1:
                self._until_it_works(lambda: self._log(EventKind.FOLD))
        self._until_it_works(lambda: self._log(EventKind.END))
        self._until_it_works(lambda: self.collector.turn(0.0))

    def _log(self, kind: EventKind) -> None:
        with Store(self.path) as other:
            other.batches.add_event(self.batch.id, Event(self.clock.now(), kind))

    def _until_it_works(self, act: "object") -> None:
        for attempt in range(PATIENCE):
            try:
                if attempt:
                    self.store.reopen()
                act()  # type: ignore[operator]
            except StoreError:
                self.failures += 1
                self._look("crash at a failure", kept_after_a_crash(self.path, self.folder / "crash"))
                if self.failures == 3:
                    self.plan.disarm()  # somebody made room
            else:
                return
        self.wrong.append("does not recover")

    def close(self) -> list[str]:
        """What is wrong at the end."""
        self.plan.disarm()
        outlooks = len(self.store.outlooks.of(self.batch.id))
        ended = self.store.batches.get(self.batch.id).ended_at
        self.store.close()
        connection = sqlite3.connect(self.path)
        said = connection.execute("PRAGMA integrity_check").fetchone()[0]
        n_rows = connection.execute("SELECT count(*) FROM reading").fetchone()[0]
        connection.close()
        everything = set(range(1, PACKS + 1))
        if said != "ok":
            self.wrong.append(f"integrity: {said}")
        if self.answered != everything or kept(self.path) != everything or n_rows != 2 * PACKS:
            self.wrong.append(f"acknowledged {len(self.answered)}, stored {n_rows} readings")
        if ended is None or outlooks < PACKS // PACKS_A_TURN:
            self.wrong.append(f"{outlooks} outlooks, ended {ended}")
        return self.wrong


def _one(folder: Path, plan: Plan, nth: int, way: str) -> tuple[int, int, list[str]]:
    """Calls seen, calls failed and what was wrong, of one batch whose n-th call fails."""
    kinds, error, times = WAYS[way]
    place = folder / "one"
    shutil.rmtree(place, ignore_errors=True)
    plan.disarm()
    bakery = Bakery(place, plan)
    plan.arm(nth, error, times=times, kinds=kinds)
    bakery.live()
    seen, failed = plan.seen, plan.failed
    return seen, failed, [f"{way}, call {nth}: {wrong}" for wrong in bakery.close()]


def _one_backup(folder: Path, plan: Plan, nth: int, error: int) -> tuple[int, list[str]]:
    """The same of a backup: one that fails leaves nothing that looks like one, and the next is whole."""
    plan.disarm()
    place = folder / "backup"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    bakery = Bakery(folder / "source", plan) if not (folder / "source").exists() else None
    if bakery is not None:
        bakery.live()
        bakery.close()
    plan.arm(nth, error)
    wrong = []
    try:
        back_up(folder / "source" / FILE, place, START)
    except StoreError:
        if left := [each.name for each in place.iterdir()]:
            wrong.append(f"backup, call {nth}: left {left}")
    seen = plan.seen
    plan.disarm()
    again = back_up(folder / "source" / FILE, place, START + timedelta(hours=1))
    if verified(again).readings != 2 * PACKS:
        wrong.append(f"backup, call {nth}: the next one is not whole")
    return seen, wrong


def _one_restore(folder: Path, plan: Plan, nth: int, error: int) -> tuple[int, list[str]]:
    """The same of a restore: one that fails leaves the store as it was, and the next one works."""
    plan.disarm()
    place = folder / "restored"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    path = place / FILE
    with Store(path) as store:
        store.settings.put("which", "the old one")
    backup = folder / "a backup.sqlite"
    if not backup.exists():
        back_up(folder / "source" / FILE, folder, START).rename(backup)
    plan.arm(nth, error)
    wrong, is_done = [], True
    try:
        restore(backup, path, START)
    except StoreError:
        is_done = False
    seen = plan.seen
    plan.disarm()
    with Store(path) as store:
        is_old = store.settings.get("which") == "the old one"
    if is_old is is_done and not kept(path):
        wrong.append(f"restore, call {nth}: neither the old store nor the new one")
    if is_old:
        restore(backup, path, START + timedelta(hours=1))
    if len(kept(path)) != PACKS:
        wrong.append(f"restore, call {nth}: the next one does not work")
    return seen, wrong


def _victim(stride: int) -> None:
    """What runs under the shim: every ``stride``-th call of each way; prints the result as JSON."""
    plan = plan_of_this_process()
    root = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    runs, failed, wrong = 0, 0, []
    with tempfile.TemporaryDirectory(dir=root) as name:
        folder = Path(name)
        for way in WAYS:
            nth, calls = 1, 1
            while nth <= calls:
                calls, n_failed, faults = _one(folder, plan, nth, way)
                runs, failed, wrong = runs + 1, failed + n_failed, wrong + faults
                nth += stride
        for error in (errno.ENOSPC, errno.EIO):
            for act in (_one_backup, _one_restore):
                nth, calls = 1, 1
                while nth <= calls:
                    calls, faults = act(folder, plan, nth, error)
                    runs, wrong = runs + 1, wrong + faults
                    nth += stride
    print(json.dumps({"runs": runs, "failed": failed, "wrong": wrong}))


def run(stride: int = 1) -> Line:
    """Every ``stride``-th call fails in turn."""
    with tempfile.TemporaryDirectory() as folder:
        shim = Shim(Path(folder), WORD)
        done = subprocess.run(
            [sys.executable, "-m", "faults.disk_errors", str(stride)],
            cwd=Path(__file__).parents[1],
            env={**os.environ, **shim.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
            capture_output=True,
            text=True,
            timeout=3600,
        )
    if done.returncode:
        return Line("n-th write, sync or truncation fails", "", done.stderr[-400:], ("the run itself failed",))
    said = json.loads(done.stdout)
    which = "each n" if stride == 1 else f"every {stride}th n"
    return Line(
        "n-th write, sync or truncation fails; disk full",
        f"{which} over a batch, a backup and a restore, once and until mended: {said['runs']} runs",
        f"{said['failed']} calls failed; nothing acknowledged before its commit, all stored once at the end",
        tuple(said["wrong"][:5]),
    )


if __name__ == "__main__":
    _victim(int(sys.argv[1]))
