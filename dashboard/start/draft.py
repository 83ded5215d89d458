"""What is about to be begun: one thing chosen per line, changed line by line, and made a batch of at the end. Pure."""

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from dashboard.start.templates import Template
from monitor.alerts.limits import place_of
from monitor.recipe.batch import DEFAULT_PREHEAT_MIN, Batch, BatchId, Stage, Target, placed_and_covered
from monitor.recipe.toml_tables import LONGEST_NAME
from monitor.recipe.vessel import Vessel
from monitor.translatable import harmless
from monitor.wire.readings import SENSOR_CHANNELS, Channel, NodeId


@dataclass(frozen=True, slots=True)
class Draft:
    """A batch that is about to be begun.

    Attributes
    ----------
    like
        Key of what it is like.
    vessel
        What its vessel is called.
    node
        The sensor that looks at it; None: levels are read by eye.
    place
        Where it stands; None: nobody has said.
    level_mm
        Where the dough stands at the wall as it is begun, read by eye; None: nobody has said.
    perishable
        What in it does not keep.
    """

    like: str
    name: str
    stage: Stage
    target: Target
    vessel: str
    dough_c: float
    node: NodeId | None
    place: str | None
    is_covered: bool = False
    level_mm: float | None = None
    perishable: tuple[str, ...] = ()


def draft_of(
    template: Template, name: str, vessels: Mapping[str, Vessel], nodes: Container[NodeId | None], taken: Iterable[str]
) -> Draft:
    """What is proposed for something like a template.

    Parameters
    ----------
    name
        What it is called; a number is added when a dough of that name is running.
    taken
        Names of the doughs that are running.
    """
    model = template.batch
    same = (called for called, vessel in vessels.items() if template.has_vessel and _is_same(vessel, model.vessel))
    usual_node = model.node_of(Channel.DISTANCE)
    return Draft(
        like=template.key,
        name=_free_name(name, set(taken)),
        stage=model.stage,
        target=model.target,
        vessel=next(same, next(iter(vessels))),
        dough_c=template.dough_c,
        node=usual_node if usual_node in nodes else None,
        place=place_of(model, model.started_at) if not model.id else None,
        perishable=model.perishable,
    )


def _is_same(vessel: Vessel, other: Vessel) -> bool:
    """Whether two are one vessel, whatever sensor looks into it."""
    return replace(vessel, sensor_to_base_mm=None, sensor_sd_mm=0.0) == replace(
        other, sensor_to_base_mm=None, sensor_sd_mm=0.0
    )


def _free_name(name: str, taken: set[str]) -> str:
    """A name that no running dough has; its recipe is still what stands before the first comma.

    >>> _free_name("Rye, tub 1", {"Rye, tub 1", "Rye, tub 1, 2"})
    'Rye, tub 1, 3'
    """
    number, free = 1, name
    while free in taken:
        number += 1
        free = f"{name[: LONGEST_NAME - 5]}, {number}"
    return free


def batch_of(draft: Draft, template: Template, vessel: Vessel, now: datetime) -> Batch:
    """The batch that is begun now."""
    model = template.batch
    usual_preheat = DEFAULT_PREHEAT_MIN if draft.stage is Stage.FINAL_PROOF else None
    new = Batch(
        BatchId(0),
        harmless(draft.name).strip(),
        draft.stage,
        now,
        vessel,
        draft.target,
        formula=model.formula,
        recipe=model.recipe,
        nodes=_nodes(model, draft.node),
        preheat_min=model.preheat_min if model.stage is draft.stage else usual_preheat,
        folds_min=model.folds_min if model.stage is draft.stage else (),
        perishable=draft.perishable,
    )
    return placed_and_covered(new, draft.place, is_covered=draft.is_covered)


def _nodes(model: Batch, node: NodeId | None) -> tuple[tuple[Channel, NodeId], ...]:
    """The channels as the batch it is like has them, when that node looks at it again; else all from the one node."""
    if node is None:
        return ()
    if model.node_of(Channel.DISTANCE) == node:
        return model.nodes
    return tuple((channel, node) for channel in SENSOR_CHANNELS)
