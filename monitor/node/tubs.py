"""Several tubs on one board: each is a node of its own, called as the board's first tub with ``_2``, ``_3`` or ``_4``.

Each has its own file of settings, numbers and acknowledgements, so batches, calibration and places know nothing of
the board. What they share is checked here: pins, buses, serial lines and memory.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path

from monitor.errors import ConfigError
from monitor.node.profiles import Job, listed, profile_of
from monitor.node.settings import FOLDER, NodeSettings, Probe, Ranger
from monitor.node.sights import settings_in
from monitor.translatable import Translatable, joined
from monitor.wire.frames import PLACES, first_tub
from monitor.wire.readings import NodeId

MOST_PACKS = 2000  # judgement: 60 kB of a board's memory
_BUS = (Job.SDA, Job.SCL)
_OF_THE_BOARD = (Job.BATTERY, Job.LIGHT, Job.BUZZER, Job.BUTTON)


def tubs_on(data_dir: Path, node: NodeId) -> dict[str, NodeSettings]:
    """Every tub on the board of a node, by what the baker calls it; the first one first."""
    found = {path.stem: settings_in(path) for path in sorted((data_dir / FOLDER).glob("*.txt"))}
    board = first_tub(node)
    tubs = {label: each for label, each in found.items() if each is not None and first_tub(each.name) == board}
    return dict(sorted(tubs.items(), key=lambda item: item[1].name))


def next_name(tubs: Mapping[str, NodeSettings]) -> NodeId:
    """The name of one tub more.

    Raises
    ------
    ConfigError
        When the board has as many as it can.
    """
    names = [tub.name for tub in tubs.values()]
    for place in PLACES:
        if f"{names[0]}_{place}" not in names:
            return NodeId(f"{names[0]}_{place}")
    raise ConfigError(
        "{labels}: hang on this board already, and it can have {n}; take another board",
        labels=", ".join(tubs),
        n=len(names),
    )


def board_with(data_dir: Path, label: str, settings: NodeSettings) -> dict[str, NodeSettings]:
    """Every tub on the board of a node as it will be once the node has these settings; the first one first.

    Raises
    ------
    ConfigError
        When the tubs are in each other's way: every fault, one a line.
    """
    tubs = {**tubs_on(data_dir, settings.name), label: settings}
    tubs = dict(sorted(tubs.items(), key=lambda item: item[1].name))
    first = next(iter(tubs.values()))
    if first_tub(first.name) != first.name:
        raise ConfigError(
            "{label}: the first tub of its board ({name}) was never configured here",
            label=label,
            name=first_tub(first.name),
        )
    tubs = {each: tub if tub is first else tub.on_board_of(first) for each, tub in tubs.items()}
    faults = list(_faults(tubs))
    if faults:
        raise ConfigError(joined(faults, "\n"))
    return tubs


def _faults(tubs: Mapping[str, NodeSettings]) -> Iterator[str]:
    """What of several tubs is in each other's way, each as a sentence with what would do."""
    labels = list(tubs)
    rangers = [label for label in labels if tubs[label].distance is Ranger.VL53L1X]
    for at, label in enumerate(labels):
        tub = tubs[label]
        for job in _OF_THE_BOARD if at else ():
            if job in tub.pins():
                yield Translatable(
                    "{label}: pin_{job} is the board's; give it to {first}", label=label, job=job, first=labels[0]
                )
        if label in rangers and len(rangers) > 1 and tub.pin_shut is None:
            yield Translatable(
                "{label}: several rangers on one bus wake at the same address; lead its XSHUT to a pin of its own and "
                "name it: --pin shut=GPIO",
                label=label,
            )
        for other in labels[:at]:
            yield from _between(label, tub, other, tubs)
    packs = sum(tub.room for tub in tubs.values())
    if packs > MOST_PACKS:
        yield Translatable(
            "room: the tubs of one board keep {packs} packs together; at most {most}", packs=packs, most=MOST_PACKS
        )


def _between(label: str, tub: NodeSettings, other: str, tubs: Mapping[str, NodeSettings]) -> Iterator[str]:
    """What is wrong between two tubs."""
    before, used = tubs[other], {pin for each in tubs.values() for pin in each.pins().values()}
    if tub.distance is before.distance is Ranger.TOF and tub.bus("uart") == before.bus("uart"):
        yield Translatable(
            "{label}: serial line {number} is that of {other}; the {board} has {known}, each for one ranger",
            label=label,
            number=tub.bus("uart"),
            other=other,
            board=profile_of(tub.board).title,
            known=listed(profile_of(tub.board).uarts),
        )
    for job, pin in tub.pins().items():
        theirs = next((each for each, taken in before.pins().items() if taken == pin), None)
        if theirs is None or (job is theirs and job in _BUS):
            continue
        if job is theirs is Job.PROBE:
            if not tub.probe_id or not before.probe_id or tub.probe_id == before.probe_id:
                yield Translatable(
                    "{label}: its probe hangs on the wire of that of {other}; say which is which with --probe-id "
                    "(`proofing-monitor node probes {other}` shows them), or take a pin of its own",
                    label=label,
                    other=other,
                )
            continue
        free = profile_of(tub.board).free(job, tub.bus("i2c"), tub.bus("uart"), used)
        yield Translatable(
            "{label}: pin_{job}: GPIO {pin} is wired for {other} already; free ones are {free}",
            label=label,
            job=job,
            pin=pin,
            other=other,
            free=listed(free),
        )


def probe_pins(tubs: Mapping[str, NodeSettings]) -> list[int]:
    """The pins at which a board's probes hang."""
    return sorted({pin for tub in tubs.values() if tub.dough is not Probe.NONE for pin in tub.pins_of("dough")})
