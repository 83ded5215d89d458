"""What a distance sensor sees, and where it must hang, in words."""

from monitor.recipe.sight import Sight, Unseen
from monitor.wording.reader import Reader


def unseen_text(found: Unseen, reader: Reader) -> str:
    """Why a vessel cannot be watched as the sensor hangs, and what to do."""
    least, greatest = reader.number(found.sight.least_mm), reader.number(found.sight.greatest_mm)
    if found.mount_mm is None:
        return reader.say(
            "the distance sensor sees nothing beyond {greatest} mm, and the vessel's base lies beyond; hang it lower",
            greatest=greatest,
        )
    return reader.say(
        "the distance sensor sees nothing nearer than {least} mm, and the dough may come to {nearest} mm of it: hang "
        "it at least {mount} mm over the base of the vessel; where its own data sheet says less, `proofing-monitor "
        "node configure NAME --least-distance MM` tells so",
        least=least,
        nearest=reader.number(found.nearest_mm),
        mount=reader.number(found.mount_mm),
    )


def sight_text(sight: Sight, height_mm: float, reader: Reader) -> str:
    """What a sensor sees of a vessel whose base lies so far below it."""
    return reader.say(
        "it sees dough of up to {level} mm over the base, on a spot that is {spot} mm wide at the base",
        level=reader.number(max(0.0, height_mm - sight.least_mm)),
        spot=reader.number(sight.spot_mm(height_mm)),
    )
