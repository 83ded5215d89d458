"""Calibrations at the tub: what to set up, readings taken of it, the result kept and told."""

import io
import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TextIO

from monitor.errors import ConfigError, SourceError
from monitor.node.live_readings import Ear
from monitor.node.settings import NodeSettings, write_settings
from monitor.node.sights import labelled
from monitor.recipe.calibration import (
    BLOCK_SD_MM,
    EMPTY_SD_MM,
    ICE_C,
    ICE_SD_C,
    LIMITS,
    Calibration,
    Comparison,
    Point,
    one_point,
    settled,
    two_points,
)
from monitor.recipe.sight import out_of_sight
from monitor.store.store import Store
from monitor.translatable import N_, Number
from monitor.wire.readings import Channel, Flag, NodeId
from monitor.wording.reader import Reader
from monitor.wording.sight import sight_text, unseen_text

log = logging.getLogger(__name__)

SET_UP = {
    Comparison.EMPTY: (
        N_("the empty, clean vessel stands under the sensor exactly as it will with dough in it, lid and all")
    ),
    Comparison.BLOCK: (
        N_("a flat block of known height stands in the middle of the empty vessel, about as high as dough will be")
    ),
    Comparison.ICE: (
        N_(
            "the probe hangs in the middle of a glass filled to the top with crushed ice and a little cold water,"
            " stirred, for five minutes now; it touches no glass"
        )
    ),
    Comparison.TWO_POINTS: (
        N_(
            "the probe and a trusted thermometer hang side by side in stirred water of about 40 C; the same probe"
            " was in ice water before"
        )
    ),
    Comparison.REFERENCE: N_("sensor and trusted instrument have been side by side, out of draughts, for ten minutes"),
}


ZERO_READINGS, ZERO_WITHIN = 4, timedelta(minutes=10)  # judgement: two minutes at one each half minute


@dataclass(frozen=True, slots=True)
class Wish:
    """What to calibrate, and against what.

    Attributes
    ----------
    truth, truth_sd
        What the trusted instrument says, the block's height for a block; None: as is usual for ``how``.
    measured
        Values read off before; None: they are heard now.
    depth_mm
        Of the vessel, whose rim the sensor must see; None: not known.
    """

    how: Comparison
    channel: Channel
    truth: float | None = None
    truth_sd: float | None = None
    measured: tuple[float, ...] | None = None
    depth_mm: float | None = None


def heard(
    ear: Ear, node: NodeId, channel: Channel, n: int, since: datetime, until_s: float, out: TextIO, reader: Reader
) -> tuple[float, ...]:
    """Raw values of a node's next ``n`` readings of a channel; what it had kept from before ``since`` is passed over.

    Raises
    ------
    SourceError
        When they have not come in time.
    """
    values: list[float] = []
    others: set[str] = set()
    while len(values) < n:
        readings = ear.hear(until_s)
        if not readings:
            break
        others |= {reading.node for reading in readings if reading.node != node}
        for reading in readings:
            is_asked = (reading.node, reading.channel) == (node, channel) and reading.measured_at >= since
            if is_asked and reading.flag is Flag.OK:
                values.append(reading.value)
                print(
                    "  "
                    + reader.say(
                        "reading {n} of {wanted}: {value} {unit}",
                        n=len(values),
                        wanted=n,
                        value=Number(reading.value, ".4g"),
                        unit=channel.unit,
                    ),
                    file=out,
                    flush=True,
                )
    if len(values) == n:
        return tuple(values)
    if values:
        raise SourceError(
            "only {n} of {wanted} readings came in time; wait longer with --wait 10m", n=len(values), wanted=n
        )
    if others:
        raise SourceError(
            "{others} was heard there, not {node}: name the right node or port",
            others=", ".join(sorted(others)),
            node=node,
        )
    raise SourceError(ear.explanation())


def _point(wish: Wish, settings: NodeSettings | None, values: tuple[float, ...]) -> Point:
    def sd(usual: float) -> float:
        return usual if wish.truth_sd is None else wish.truth_sd

    height_mm = None if settings is None else settings.sensor_height_mm
    if wish.how is Comparison.EMPTY:
        known_mm = wish.truth if wish.truth is not None else height_mm
        # A height that nobody has said yet is what the sensor says itself.
        return Point(
            values, round(settled(wish.channel, values)[0], 1) if known_mm is None else known_mm, sd(EMPTY_SD_MM)
        )
    if wish.how is Comparison.BLOCK:
        if wish.truth is None or height_mm is None:
            raise ConfigError(
                "a block needs its height (--truth MM) and a node whose sensor height is known: do "
                "`calibrate ... empty` first"
            )
        return Point(values, height_mm - wish.truth, sd(BLOCK_SD_MM))
    if wish.how is Comparison.ICE:
        return Point(values, ICE_C, sd(ICE_SD_C))
    if wish.truth is None:
        raise ConfigError("{how}: say what the trusted instrument shows, with --truth VALUE", how=wish.how)
    reference_sd = LIMITS[wish.channel.unit].reference_sd
    if reference_sd is None:
        raise ConfigError("distances are compared with the empty vessel or a block, not with an instrument")
    return Point(values, wish.truth, sd(reference_sd))


def _found(wish: Wish, node: NodeId, point: Point, store: Store, at: datetime) -> Calibration:
    try:
        if wish.how is Comparison.TWO_POINTS:
            cold = next((one for one in store.calibrations.all(node) if one.channel is wish.channel), None)
            if cold is None or cold.how is not Comparison.ICE:
                raise ConfigError("two points: calibrate {node} in ice water first, then in warm water", node=node)
            return two_points(cold, point, at)
        return one_point(node, wish.channel, point, at, wish.how)
    except ValueError as err:
        raise ConfigError("not calibrated: {why}", why=err) from err


def calibrate(
    wish: Wish,
    node: NodeId,
    label: str,
    settings: NodeSettings | None,
    store: Store,
    data_dir: Path,
    at: datetime,
    hear: Callable[[], tuple[float, ...]],
    out: TextIO,
    reader: Reader,
) -> Calibration:
    """Calibrate one channel of a node, keep the result, and say what it means.

    Raises
    ------
    ConfigError, SourceError
        When something is missing, nothing is heard, or the readings cannot be right; nothing is kept then.
    """
    if wish.how in (Comparison.BLOCK, Comparison.TWO_POINTS, Comparison.REFERENCE):
        _point(wish, settings, (0.0,))  # what is missing is said before anybody waits for readings
    print(f"{wish.how.value}: {reader.say(SET_UP[wish.how])}", file=out, flush=True)
    values = hear() if wish.measured is None else wish.measured
    try:
        point = _point(wish, settings, values)
    except ValueError as err:
        raise ConfigError("not calibrated: {why}", why=err) from err
    sight = None if settings is None or wish.how is not Comparison.EMPTY else settings.sight
    if sight is not None:
        hidden = out_of_sight(sight, point.truth, wish.depth_mm or 0.0)
        if hidden is not None:
            raise ConfigError("not calibrated: {why}", why=unseen_text(hidden, reader))
        print(sight_text(sight, point.truth, reader), file=out)
    calibration = _found(wish, node, point, store, at)
    store.calibrations.add(calibration)
    unit = wish.channel.unit
    print(
        reader.say(
            "{node} {channel}: {offset} {unit} is added to every reading, give or take {doubt} {unit}",
            node=node,
            channel=wish.channel.value,
            offset=Number(calibration.offset, "+.2f"),
            unit=unit,
            doubt=Number(2 * calibration.sd, ".2f"),
        ),
        file=out,
    )
    if wish.how is Comparison.EMPTY:
        print(
            reader.say(
                "batches in this vessel: write sensor_to_base_mm = {truth} under [vessel]",
                truth=Number(point.truth, "g"),
            ),
            file=out,
        )
        if settings is not None and settings.sensor_height_mm != point.truth:
            write_settings(data_dir, label, replace(settings, sensor_height_mm=point.truth))
    return calibration


def set_to_zero(node: NodeId, store: Store, data_dir: Path, at: datetime, reader: Reader) -> bool:
    """Take what a node's distance sensor has just seen for its empty vessel; False when that cannot be right.

    Refused while a batch is read by it (its levels would all move), for a node that was not configured here, and when
    it did not hold still.
    """
    if any(batch.node_of(Channel.DISTANCE) == node for batch in store.batches.running()):
        return False
    known = labelled(data_dir, node)
    readings = store.readings.between(node, Channel.DISTANCE, at - ZERO_WITHIN, at)
    values = tuple(each.value for each in readings if each.flag is Flag.OK)[-ZERO_READINGS:]
    if known is None or not values:
        return False
    wish = Wish(Comparison.EMPTY, Channel.DISTANCE, measured=values)
    try:
        calibrate(wish, node, *known, store, data_dir, at, lambda: values, io.StringIO(), reader)
    except ConfigError as err:
        log.warning("node=%s zero=refused reason=%s", node, err)
        return False
    return True


def listed(calibrations: list[Calibration], out: TextIO, reader: Reader) -> None:
    """Print calibrations, one a line."""
    if not calibrations:
        print(reader.say("never calibrated: see `proofing-monitor node calibrate --help` for the ways"), file=out)
    for one in calibrations:
        print(
            reader.say(
                "{at} UTC  {node}  {channel}  {offset} give or take {doubt} {unit}  ({how})",
                at=f"{one.at:%Y-%m-%d %H:%M}",
                node=one.node,
                channel=one.channel.value,
                offset=Number(one.offset, "+.2f"),
                doubt=Number(2 * one.sd, ".2f"),
                unit=one.channel.unit,
                how=one.how.value,
            ),
            file=out,
        )
