"""A power cut at any moment: what was written and not yet synced is lost, or only part of it has reached the disk.

A collector, a downsampling and a backup run once, in a process whose writes, syncs, truncations, renames and deletions
are noted. From these notes the files are made again as a disk may hold them when the power goes after the n-th: what
was synced is there; of the rest nothing, all, some of the writes in any order, or some of their sectors. Then the store
is opened and held against what had been acknowledged by then.

The model: a sync of a file makes its content and its own name last; a sync of a folder makes the renames and deletions
in it last, and without one some first part of them has. That is what POSIX promises, and that a new file's own sync
keeps its name, as ext4 and XFS do. A disk that says "synced" and lies is beyond any program.
"""

import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path

from faults.disk_errors import FILE, WORD, Bakery, TightStore
from faults.shim import RENAME, SYNC, TRUNCATE, UNLINK, WRITE, Deed, Plan, Shim, noted, plan_of_this_process
from faults.table import Line
from harness import START
from made_up import NODE

from monitor.archive.backup import back_up, backups_in, verified
from monitor.errors import StoreError
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

SECTOR = 512
BESIDE = NodeId(f"{NODE}-beside")
N_BESIDE, BESIDE_A_TURN = 60, 12
NOTES = "notes"
HOW = ("nothing", "everything", "some writes", "some sectors")
"""What of the unsynced writes is on the disk."""


@dataclass(slots=True)
class _File:
    """One inode: what is surely there, and what was done to it since its last sync."""

    lasting: bytearray = field(default_factory=bytearray)
    since: list[Deed] = field(default_factory=list)


class Disk:
    """What a disk holds, deed by deed."""

    def __init__(self) -> None:
        self._files: dict[int, _File] = {}
        self._lasting_names: dict[Path, int] = {}
        self._names: dict[Path, int] = {}
        self._moves: list[tuple[Path, dict[Path, int]]] = []  # folder, and the names after it

    def take(self, deed: Deed) -> None:
        """Do one thing more."""
        if deed.kind in (RENAME, UNLINK):
            if deed.path not in self._names:
                return  # it was never written to
            inode = self._names.pop(deed.path)
            if deed.kind == RENAME:
                self._names[Path(os.fsdecode(deed.data))] = inode
            self._moves.append((deed.path.parent, dict(self._names)))
        elif deed.kind == SYNC and deed.inode not in self._files:
            self._moved(deed.path)
        else:
            self._at_work(deed)

    def _at_work(self, deed: Deed) -> None:
        if deed.inode not in self._files:
            self._files[deed.inode] = _File()
            self._names[deed.path] = deed.inode
        file = self._files[deed.inode]
        if deed.kind == SYNC:
            for each in file.since:
                _do(file.lasting, each)
            file.since.clear()
            path = next((path for path, inode in self._names.items() if inode == deed.inode), None)
            if path is not None and deed.inode not in self._lasting_names.values():
                self._lasting_names[path] = deed.inode
        else:
            file.since.append(deed)

    def _moved(self, folder: Path) -> None:
        """A folder was synced: its names are as they are now."""
        here = {path: inode for path, inode in self._names.items() if path.parent == folder}
        others = {path: inode for path, inode in self._lasting_names.items() if path.parent != folder}
        self._lasting_names = others | here
        self._moves = [move for move in self._moves if move[0] != folder]

    def after_a_cut(self, how: str, drawn: random.Random) -> dict[Path, bytes]:
        """The files as they may be when the power goes now."""
        names = self._lasting_names
        n_moves = {"nothing": 0, "everything": len(self._moves)}.get(how, drawn.randint(0, len(self._moves)))
        if n_moves:
            names = self._moves[n_moves - 1][1]
        if how == "everything":
            names = self._names
        return {path: self._content(self._files[inode], how, drawn) for path, inode in names.items()}

    @staticmethod
    def _content(file: _File, how: str, drawn: random.Random) -> bytes:
        content = bytearray(file.lasting)
        for deed in file.since if how != "nothing" else ():
            if how == "everything" or deed.kind == TRUNCATE:
                if how == "everything" or drawn.random() < 0.5:
                    _do(content, deed)
            elif how == "some writes":
                if drawn.random() < 0.5:
                    _do(content, deed)
            else:
                for piece in _sectors(deed):
                    if drawn.random() < 0.5:
                        _do(content, piece)
        return bytes(content)


def _do(content: bytearray, deed: Deed) -> None:
    if deed.kind == TRUNCATE:
        del content[deed.at :]
        content.extend(bytes(deed.at - len(content)))
        return
    content.extend(bytes(max(0, deed.at - len(content))))
    content[deed.at : deed.at + len(deed.data)] = deed.data


def _sectors(deed: Deed) -> Iterator[Deed]:
    """A write, sector of the disk by sector."""
    begin, end = deed.at, deed.at + len(deed.data)
    while begin < end:
        stop = min(end, (begin // SECTOR + 1) * SECTOR)
        yield replace(deed, at=begin, data=deed.data[begin - deed.at : stop - deed.at])
        begin = stop


class NotingBakery(Bakery):
    """Notes each acknowledgement in a file, so that it stands among what was done to the disk."""

    def __init__(self, folder: Path, plan: Plan) -> None:
        folder.mkdir(parents=True)
        self._notes = os.open(folder / NOTES, os.O_WRONLY | os.O_CREAT)
        self._noted: set[int] = set()
        super().__init__(folder, plan)

    def note(self, what: str, value: object) -> None:
        """Say that something was promised."""
        os.write(self._notes, json.dumps([what, value]).encode() + b"\n")

    def _look(self, when: str, there: set[int]) -> None:
        super()._look(when, there)
        for seq in sorted(self.answered - self._noted):
            self.note("acknowledged", seq)
        self._noted |= self.answered


def _victim(folder: Path, *, is_synced: bool) -> None:
    """What runs under the shim: packs and readings beside the batch, all made small, a backup, a new start."""
    if not is_synced:
        opened = TightStore._opened

        def unsynced(self: TightStore, *, is_to_look: bool) -> sqlite3.Connection:
            connection = opened(self, is_to_look=is_to_look)
            connection.execute("PRAGMA synchronous = OFF")
            return connection

        TightStore._opened = unsynced  # type: ignore[method-assign]
    bakery = NotingBakery(folder, plan_of_this_process())
    bakery.live()
    if wrong := bakery.close():
        raise SystemExit(str(wrong))
    later = START + timedelta(days=90)
    with TightStore(bakery.path) as store:
        for first in range(0, N_BESIDE, BESIDE_A_TURN):
            store.readings.add(map(_beside, range(first, first + BESIDE_A_TURN)))
            bakery.note("beside", first + BESIDE_A_TURN)
        while store.rollups.step(later, later - timedelta(days=30), rows=17)[0]:
            pass
        if not sum(store.blocks.packing(later, later - timedelta(days=30))):
            raise SystemExit("nothing was packed")
        bakery.note("backup", str(back_up(bakery.path, folder, START)))
    with TightStore(bakery.path) as store:
        store.readings.add([_beside(N_BESIDE)])
        bakery.note("beside", N_BESIDE + 1)


def _beside(seq: int) -> Reading:
    at = START + timedelta(seconds=20 * seq)
    return Reading(BESIDE, "0a0a0a0a", seq, Channel.AIR_TEMP, 20.0 + seq % 7, at, at)


def _promised(notes: bytes) -> tuple[set[int], int, list[Path]]:
    """Packs acknowledged, readings kept beside them, backups made, as noted by then."""
    acknowledged, beside, backups = set(), 0, []
    for line in notes.splitlines():
        what, value = json.loads(line)
        if what == "acknowledged":
            acknowledged.add(value)
        elif what == "beside":
            beside = value
        elif what == "backup":
            backups.append(Path(value))
    return acknowledged, beside, backups


def _wrong_with(files: dict[Path, bytes], notes: bytes, place: Path) -> str:
    """What does not hold of the files after a cut; empty when all does."""
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    for path, content in files.items():
        if not path.name.endswith("-shm") and path.name != NOTES:  # the index of the log dies with its processes
            (place / path.name).write_bytes(content)
    acknowledged, beside, backups = _promised(notes)
    try:
        with Store(place / FILE) as store:
            said = store._connection.execute("PRAGMA integrity_check").fetchone()[0]
            span = (START - timedelta(days=9), START + timedelta(days=9))
            found_of = Counter(each.seq for channel in Channel for each in store.readings.between(NODE, channel, *span))
            packs = {seq for seq, n in found_of.items() if n == 2}
            kept = sum(each.n for each in store.readings.five_minutes(BESIDE, Channel.AIR_TEMP, *span))
            gone = store._connection.execute("SELECT coalesce(sum(n), 0) FROM rollup").fetchone()[0]
            told = sum(each.readings for each in store.rollups.history())
            packed, told_packed = store.blocks.held(), sum(each.readings for each in store.blocks.history())
        found = backups_in(place)
        for each in found:
            verified(each)
    except StoreError as error:
        return str(error)
    if said != "ok":
        return f"integrity: {said}"
    if not acknowledged <= packs:
        return f"acknowledged and lost: {sorted(acknowledged - packs)}"
    if not beside <= kept <= beside + BESIDE_A_TURN:
        return f"{kept} readings beside the batch where {beside} were kept"
    if gone != told:
        return f"{gone} readings downsampled where the history says {told}"
    if packed != told_packed:
        return f"{packed} readings packed where the history says {told_packed}"
    if missing := {each.name for each in backups} - {each.name for each in found}:
        return f"backup made and lost: {sorted(missing)}"
    return ""


def cuts(points: int, seed: int, *, is_synced: bool = True) -> tuple[int, int, list[str]]:
    """Cut the power at so many moments (0: at each), in every way of ``HOW``; how many deeds, cuts, what was wrong."""
    drawn = random.Random(seed)
    root = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None  # where inodes are not given twice, too
    with tempfile.TemporaryDirectory() as tools, tempfile.TemporaryDirectory(dir=root, prefix=WORD) as name:
        journal, folder = Path(tools) / "journal", Path(name)
        shim = Shim(Path(tools), WORD)
        done = subprocess.run(
            [sys.executable, "-m", "faults.power", str(folder / "one"), str(int(is_synced))],
            cwd=Path(__file__).parents[1],
            env={**os.environ, **shim.noting(journal), "PYTHONPATH": os.pathsep.join(sys.path)},
            capture_output=True,
            text=True,
            timeout=600,
        )
        if done.returncode:
            return 0, 0, [f"the run itself failed: {done.stderr[-400:]}"]
        deeds = [deed for deed in noted(journal) if deed.path.is_relative_to(folder / "one")]
        chosen = set(range(len(deeds))) if not points else set(drawn.sample(range(len(deeds)), min(points, len(deeds))))
        disk, notes, wrong, n = Disk(), b"", [], 0
        for place, deed in enumerate(deeds):
            if deed.path.name == NOTES:
                notes += deed.data if deed.kind == WRITE else b""
                continue
            disk.take(deed)
            for how in HOW if place in chosen else ():
                n += 1
                if fault := _wrong_with(disk.after_a_cut(how, drawn), notes, folder / "after"):
                    wrong.append(f"cut after deed {place} of {len(deeds)}, {how} unsynced there: {fault}")
        return len(deeds), n, wrong


def run(points: int, seed: int = 1) -> Line:
    """The power cut at so many moments; 0: at each."""
    n_deeds, n_cuts, wrong = cuts(points, seed)
    return Line(
        "power cut; unsynced writes lost, in part or torn between sectors",
        f"after {points or 'any'} of {n_deeds} writes, syncs, truncations, renames and deletions of a "
        f"batch, a downsampling, a packing and a backup, in four ways: {n_cuts:,} cuts",
        "each store opens whole; nothing acknowledged lost, nothing doubled, each backup that has its name whole",
        tuple(wrong[:5]),
    )


if __name__ == "__main__":
    _victim(Path(sys.argv[1]), is_synced=sys.argv[2] == "1")
