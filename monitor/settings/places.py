"""Where things stand: site / cabinet / shelf / vessel, and the settings that say which node stands where.

.. code-block:: toml

    site = "high-street"                            # top level; the name of this shop, "home" unless said otherwise
    serves = ["station", "harbour"]                 # at a central broker: shops that have no collector of their own

    [places]                                        # node = where it stands within the site
    "urn:dev:mac:020000fffe5e0001" = "cabinet-2/shelf-3"
    "urn:dev:mac:020000fffe5e0002" = "cabinet-2"    # air of the whole cabinet
"""

import re
from collections.abc import Mapping, Set
from dataclasses import dataclass
from typing import Any

from monitor.errors import ConfigError
from monitor.translatable import N_, Translatable
from monitor.wire.readings import SENSOR_CHANNELS, Channel, NodeId

USUAL_SITE = "home"
NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")
"""What every part of a place is called: it becomes part of a topic, a file's name and a tag."""
NAME_WORDS = Translatable("small letters, digits and hyphens, 32 at most, the first no hyphen")
PARTS = ("site", "cabinet", "shelf", "vessel")


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A site, or a cabinet, shelf or vessel in it; what is not said is empty.

    >>> str(Place("high-street", "cabinet-2", "shelf-3"))
    'high-street/cabinet-2/shelf-3'

    Raises
    ------
    ConfigError
        When a part has no such name, or a wider one is left out.
    """

    site: str
    cabinet: str = ""
    shelf: str = ""
    vessel: str = ""

    def __post_init__(self) -> None:
        parts = (self.site, self.cabinet, self.shelf, self.vessel)
        n_parts = sum(1 for part in parts if part)
        for kind, part in zip(PARTS, parts[: max(n_parts, 1)], strict=False):
            if not NAME.fullmatch(part):
                raise ConfigError("{what} {part!r}: {rule}", what=kind, part=part, rule=NAME_WORDS)

    def __str__(self) -> str:
        return "/".join(part for part in (self.site, self.cabinet, self.shelf, self.vessel) if part)

    @property
    def within_site(self) -> str:
        """``cabinet-2/shelf-3``: the place as people of that site name it; empty for the site itself."""
        return str(self).partition("/")[2]

    def holds(self, other: "Place") -> bool:
        """True when ``other`` is this place or lies in it.

        >>> Place("home", "cabinet-2").holds(Place("home", "cabinet-2", "shelf-3"))
        True
        """
        return f"{other}/".startswith(f"{self}/")


def place_of(text: str) -> Place:
    """The place that a full name says.

    >>> place_of("high-street/cabinet-2").cabinet
    'cabinet-2'

    Raises
    ------
    ConfigError
        When the text names none.
    """
    parts = text.strip().split("/")
    if len(parts) > len(PARTS):
        raise ConfigError("place {text!r}: write {parts}, as far as it is known", text=text, parts="/".join(PARTS))
    if not all(parts):
        raise ConfigError(
            "place {text!r}: a part of it is empty; write {parts}, as far as it is known",
            text=text,
            parts="/".join(PARTS),
        )
    return Place(*parts)


def place_within(site: str, text: str) -> Place:
    """The place that people of a site name without it.

    >>> str(place_within("home", "cabinet-2/shelf-3"))
    'home/cabinet-2/shelf-3'

    Raises
    ------
    ConfigError
        When the text names none.
    """
    if not text.strip():
        raise ConfigError("place '': write cabinet/shelf/vessel, as far as it is known")
    return place_of(f"{site}/{text.strip()}")


def site_from(value: object) -> tuple[str, list[str]]:
    """The name of this site from the settings' ``site`` (None: not said), and what is wrong with it."""
    if value is None:
        return USUAL_SITE, []
    if isinstance(value, str) and NAME.fullmatch(value):
        return value, []
    return USUAL_SITE, [Translatable("site = {value!r}: {rule}", value=value, rule=NAME_WORDS)]


def serves_from(value: object, site: str) -> tuple[tuple[str, ...], list[str]]:
    """The other sites this collector serves, from the settings' ``serves``, and what is wrong with it."""
    if not isinstance(value, list) or not all(isinstance(each, str) and NAME.fullmatch(each) for each in value):
        wanted = N_('serves must be a list of sites, such as serves = ["station"]; each {rule}')
        return (), [Translatable(wanted, rule=NAME_WORDS)]
    if site in value:
        return (), [Translatable("serves: {site!r} is this site itself; name only others", site=site)]
    return tuple(dict.fromkeys(value)), []


def places_from(table: Mapping[str, Any], site: str) -> tuple[dict[NodeId, Place], list[str]]:
    """Node -> where it stands, of a settings file's table ``[places]``, and what is wrong with it."""
    found: dict[NodeId, Place] = {}
    faults: list[str] = []
    for node, text in table.items():
        if not node.startswith("urn:dev:"):  # RFC 9039
            faults.append(Translatable("places: {node!r} is no node's name, which begins with urn:dev:", node=node))
        elif not isinstance(text, str):
            faults.append(
                Translatable(
                    'places: {node} = {text!r} must be a text in quotes, such as "cabinet-2/shelf-3"',
                    node=node,
                    text=text,
                )
            )
        else:
            try:
                found[NodeId(node)] = place_within(site, text)
            except ConfigError as err:
                faults.append(Translatable("places: {node}: {why}", node=node, why=err))
    return found, faults


def nodes_at(
    at: Place, places: Mapping[NodeId, Place], measured: Mapping[NodeId, Set[Channel]]
) -> dict[Channel, NodeId]:
    """Which node a batch at a place is read from, by channel; a channel that nothing measures there is left out.

    Air is the same for all that stand in it: the nearest node at the place or at a wider one tells it. Height and
    dough are this tub's own: only a node at the place itself, or in it, tells them.

    Parameters
    ----------
    measured
        What each node has been heard to measure.

    Raises
    ------
    ConfigError
        When two nodes could tell the same.
    """
    found = {}
    for channel in SENSOR_CHANNELS:
        is_air = channel in (Channel.AIR_TEMP, Channel.HUMIDITY)
        near = {
            node: abs(len(str(place).split("/")) - len(str(at).split("/")))
            for node, place in places.items()
            if channel in measured.get(node, ()) and (at.holds(place) or (is_air and place.holds(at)))
        }
        nearest = [node for node, steps in near.items() if steps == min(near.values())]
        if len(nearest) > 1:
            raise ConfigError(
                "--at {within_site}: {nearest} both measure {value} there; say which with --node {value}=URN",
                within_site=at.within_site,
                nearest=" and ".join(sorted(nearest)),
                value=channel.value,
            )
        if nearest:
            found[channel] = nearest[0]
    return found
