"""What the baker has set about looking after the monitor itself: the table ``[upkeep]`` of ``config.toml``.

.. code-block:: toml

    [upkeep]
    backup_dir = "/media/stick/proofing"   # absent: no backups are made by themselves
    backup_every_h = 24
    backups_kept = 7
    metrics_port = 9464                    # absent: no metrics are served; always on this machine alone
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.translatable import N_, Number, Translatable

KEYS = ("backup_dir", "backup_every_h", "backups_kept", "metrics_port")


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
    """

    backup_dir: Path | None = None
    backup_every_h: float = 24.0  # judgement: a baker's day
    backups_kept: int = 7  # judgement: a week, so that damage found late can still be undone
    metrics_port: int | None = None


def upkeep_from(table: object, folder: Path) -> tuple[Upkeep, list[str]]:
    """The settings of a parsed table, and every fault of it; a path that is not absolute begins in ``folder``."""
    if not isinstance(table, Mapping):
        return Upkeep(), [Translatable("upkeep must be a table: [upkeep] with one setting a line")]
    faults: list[str] = [
        Translatable("{key} is not a setting; known here: {known}", key=f"upkeep.{key}", known=", ".join(KEYS))
        for key in table
        if key not in KEYS
    ]
    backup_dir = table.get("backup_dir")
    if backup_dir is not None and not (isinstance(backup_dir, str) and backup_dir.strip()):
        faults.append(Translatable("upkeep.backup_dir must be a text in quotes, the path of a folder"))
        backup_dir = None
    usual = Upkeep()
    every_h = _number(table, "backup_every_h", usual.backup_every_h, (0.01, 8760.0), faults)
    kept = _number(table, "backups_kept", usual.backups_kept, (1, 10_000), faults)
    port = None
    if "metrics_port" in table:
        port = int(_number(table, "metrics_port", 0, (1, 65_535), faults))
    return Upkeep(None if backup_dir is None else folder / backup_dir, every_h, int(kept), port), faults


def _number(table: Mapping[str, Any], key: str, usual: float, limits: tuple[float, float], faults: list[str]) -> float:
    value = table.get(key, usual)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and limits[0] <= value <= limits[1] and (isinstance(usual, float) or value == int(value)):
        return float(value)
    faults.append(
        Translatable(
            N_("upkeep.{key} = {value!r} must be a number from {least} to {most}")
            if isinstance(usual, float)
            else N_("upkeep.{key} = {value!r} must be a whole number from {least} to {most}"),
            key=key,
            value=value,
            least=Number(limits[0], "g"),
            most=Number(limits[1], "g"),
        )
    )
    return usual
