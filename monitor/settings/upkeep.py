"""What the baker has set about looking after the monitor itself: the table ``[upkeep]`` of ``config.toml``.

.. code-block:: toml

    [upkeep]
    backup_dir = "/media/stick/proofing"   # absent: no backups are made by themselves
    backup_every_h = 24
    backups_kept = 7
    metrics_port = 9464                    # absent: no metrics are served; always on this machine alone
    keep_whole_days = 30                   # absent: readings stay whole for ever
    pack_after_days = 14                   # absent: those of old batches are not packed
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.settings.toml_file import number_in, unknown_keys
from monitor.translatable import Translatable

KEYS = ("backup_dir", "backup_every_h", "backups_kept", "metrics_port", "keep_whole_days", "pack_after_days")
LEAST_WHOLE_DAYS = 14  # judgement: twice as long as a node may hold what it measured


@dataclass(frozen=True, slots=True)
class Upkeep:
    """The settings in force.

    Attributes
    ----------
    backup_dir
        Where the collector puts a backup every ``backup_every_h`` hours; None: nowhere.
    backups_kept
        The newest so many stay.
    metrics_port
        Where ``/metrics`` is served on the loopback; None: not at all.
    keep_whole_days
        After so many days readings outside batches are replaced by five-minute values; None: never, since nothing that
        was measured goes unless a keeper says so.
    pack_after_days
        So many days after a batch has ended its readings are packed, every bit of them; None: never.
    """

    backup_dir: Path | None = None
    backup_every_h: float = 24.0  # judgement: a baker's day
    backups_kept: int = 7  # judgement: a week, so that damage found late can still be undone
    metrics_port: int | None = None
    keep_whole_days: int | None = None
    pack_after_days: int | None = None


def upkeep_from(table: Mapping[str, Any], folder: Path) -> tuple[Upkeep, list[str]]:
    """The settings of a parsed table, and every fault of it; a path that is not absolute begins in ``folder``."""
    faults = unknown_keys(table, KEYS, "upkeep.")
    backup_dir = table.get("backup_dir")
    if backup_dir is not None and not (isinstance(backup_dir, str) and backup_dir.strip()):
        faults.append(Translatable("upkeep.backup_dir must be a text in quotes, the path of a folder"))
        backup_dir = None
    usual = Upkeep()
    every_h = number_in(table, "backup_every_h", usual.backup_every_h, (0.01, 8760.0), faults, "upkeep.")
    kept = number_in(table, "backups_kept", usual.backups_kept, (1, 10_000), faults, "upkeep.")
    port = None
    if "metrics_port" in table:
        port = int(number_in(table, "metrics_port", 0, (1, 65_535), faults, "upkeep."))
    days: dict[str, int | None] = dict.fromkeys(("keep_whole_days", "pack_after_days"))
    for name in days.keys() & table.keys():
        days[name] = int(number_in(table, name, LEAST_WHOLE_DAYS, (LEAST_WHOLE_DAYS, 36_500), faults, "upkeep."))
    return Upkeep(None if backup_dir is None else folder / backup_dir, every_h, int(kept), port, **days), faults
