"""What a distance sensor can see: from how near, how far, how wide a spot; and whether a vessel's dough lies in it."""

from dataclasses import dataclass
from math import ceil, radians, tan

from monitor.recipe.batch import Batch
from monitor.recipe.vessel import level_mm

STEP_MM = 10.0  # a height to mount at is said in whole centimetres


@dataclass(frozen=True, slots=True)
class Sight:
    """The limits of one distance sensor.

    Attributes
    ----------
    least_mm, greatest_mm
        Nearer and farther it sees nothing, or says what is not so.
    view_deg
        Its field of view, from edge to edge.
    """

    least_mm: float
    greatest_mm: float
    view_deg: float

    def spot_mm(self, distance_mm: float) -> float:
        """How wide the spot is that it sees at a distance.

        >>> round(Sight(20.0, 1000.0, 25.0).spot_mm(300.0))
        133
        """
        return 2.0 * distance_mm * tan(radians(self.view_deg / 2.0))


@dataclass(frozen=True, slots=True)
class Unseen:
    """A vessel that a sensor cannot watch as it hangs.

    Attributes
    ----------
    nearest_mm
        From the sensor to the highest that the dough may come to.
    mount_mm
        How high over the base it must hang at least; None when it hangs too high already.
    """

    sight: Sight
    nearest_mm: float
    mount_mm: float | None


def unseen(sight: Sight, batch: Batch) -> Unseen | None:
    """What keeps a sensor from seeing a dough from the base to the rim and the target; None when nothing does.

    A vessel whose sensor's height is not known is not judged.
    """
    vessel, rise_pct = batch.vessel, batch.target.rise_pct
    height_mm = vessel.sensor_to_base_mm
    if height_mm is None:
        return None
    highest_mm = vessel.depth_mm
    if rise_pct is not None and batch.start_volume_ml is not None:
        full_ml = batch.start_volume_ml * (1.0 + rise_pct / 100.0)
        highest_mm = max(highest_mm, float(level_mm(vessel, full_ml)))
    return out_of_sight(sight, height_mm, highest_mm)


def out_of_sight(sight: Sight, height_mm: float, highest_mm: float) -> Unseen | None:
    """What keeps a sensor at a height over the base from seeing all from there to the highest; None: nothing."""
    nearest_mm = height_mm - highest_mm
    if height_mm > sight.greatest_mm:
        return Unseen(sight, nearest_mm, None)
    if nearest_mm < sight.least_mm:
        return Unseen(sight, nearest_mm, STEP_MM * ceil((highest_mm + sight.least_mm) / STEP_MM))
    return None
