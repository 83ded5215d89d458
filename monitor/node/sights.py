"""What is known of nodes by the files in which they are told what they have; what their distance sensors can see."""

from pathlib import Path

from monitor.clock import Clock
from monitor.errors import ConfigError
from monitor.files import bounded_bytes
from monitor.node.settings import FOLDER, LARGEST_BYTES, NodeSettings, settings_from_text
from monitor.recipe.batch import Batch
from monitor.recipe.sight import Sight, unseen
from monitor.wire.readings import Channel, NodeId
from monitor.wording.reader import Reader
from monitor.wording.sight import unseen_text

LOOK_EVERY_S = 30.0  # judgement: a node that is configured while the collector runs is known soon


class Sights:
    """What each configured node sees, read anew when a file has changed."""

    def __init__(self, data_dir: Path, clock: Clock) -> None:
        self._folder = data_dir / FOLDER
        self._clock = clock
        self._looked_s = float("-inf")
        self._seen: list[tuple[Path, int]] = []
        self._of: dict[NodeId, Sight] = {}

    def of(self, node: NodeId) -> Sight | None:
        """What a node sees; None for one that was not configured here, or has no distance sensor."""
        now_s = self._clock.real_s()
        if now_s - self._looked_s >= LOOK_EVERY_S:
            self._looked_s = now_s
            try:
                seen = sorted((path, path.stat().st_mtime_ns) for path in self._folder.glob("*.txt"))
            except OSError:
                seen = self._seen
            if seen != self._seen:
                self._seen = seen
                self._of = _sights([path for path, _ in seen])
        return self._of.get(node)


def sight_of(data_dir: Path, node: NodeId) -> Sight | None:
    """What a node sees now; None for one that was not configured here, or has no distance sensor."""
    return _sights(sorted((data_dir / FOLDER).glob("*.txt"))).get(node)


def labelled(data_dir: Path, node: NodeId) -> tuple[str, NodeSettings] | None:
    """What a node is called here, and its settings; None for one that was not configured here."""
    for path in sorted((data_dir / FOLDER).glob("*.txt")):
        settings = settings_in(path)
        if settings is not None and settings.name == node:
            return path.stem, settings
    return None


def password_of(data_dir: Path, node: NodeId) -> str | None:
    """A node's password, empty for one on a cable; None for one that was not configured here."""
    found = labelled(data_dir, node)
    return None if found is None else found[1].mqtt_password


def require_seen(batch: Batch, data_dir: Path, reader: Reader) -> None:
    """Refuse a batch whose dough its sensor could not see.

    Raises
    ------
    ConfigError
        With the height to hang the sensor at.
    """
    node = batch.node_of(Channel.DISTANCE)
    sight = None if node is None else sight_of(data_dir, node)
    found = None if sight is None else unseen(sight, batch)
    if found is not None:
        raise ConfigError(unseen_text(found, reader))


def _sights(paths: list[Path]) -> dict[NodeId, Sight]:
    found: dict[NodeId, Sight] = {}
    for path in paths:
        settings = settings_in(path)
        sight = None if settings is None else settings.sight
        if settings is not None and sight is not None:
            found[settings.name] = sight
    return found


def settings_in(path: Path) -> NodeSettings | None:
    """The settings in a file; None when they cannot be read, which `node configure` and `copy` tell."""
    try:
        return settings_from_text(bounded_bytes(path, LARGEST_BYTES).decode(), str(path))
    except (ConfigError, OSError, UnicodeDecodeError):
        return None
