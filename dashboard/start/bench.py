"""What the lines of the summary and their editors work with."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from dashboard.page import View
from dashboard.start import zero
from dashboard.start.draft import Draft
from monitor.recipe.vessel import Vessel
from monitor.wire.readings import NodeId
from monitor.wording.reader import Reader


@dataclass(frozen=True, slots=True)
class Bench:
    """The draft, what there is to choose from, and how a choice is kept.

    Attributes
    ----------
    sensors
        The sensors that were heard, each with what it is called.
    """

    draft: Draft
    vessels: dict[str, Vessel]
    sensors: dict[NodeId, str]
    keep: Callable[[Draft], None]
    view: View

    @property
    def reader(self) -> Reader:
        return self.view.reader

    @property
    def vessel(self) -> Vessel:
        """The vessel chosen, as the sensor chosen sees it."""
        draft = self.draft
        found = self.vessels[draft.vessel]
        return replace(found, sensor_to_base_mm=zero.zero_mm(draft.vessel, found, draft.node))

    def change(self, **changes: object) -> None:
        """Keep a part of the draft that was changed."""
        self.keep(replace(self.draft, **changes))  # type: ignore[arg-type]
