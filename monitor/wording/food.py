"""How long a dough with egg, milk or the like was warm, beside the public guidance: never a verdict."""

from datetime import datetime

from monitor.dough.warmth import WARM_C, WarmTime
from monitor.recipe.batch import Batch
from monitor.translatable import N_
from monitor.wording.phrases import printable, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import duration_text

UNMEASURED_WORTH_MIN = 5.0  # judgement: a minute between the start and the first reading is no news


def guidance_sentence(reader: Reader) -> str:
    """What public guidance says, with its number and its source, and whose rules come first."""
    # The sections were seen as quoted; their numbers are partly from memory.
    return reader.say(
        "Public guidance (FDA Food Code, US): food that needs time or temperature control is held at 5 °C (41 °F) or "
        "below (3-501.16); time alone is used as a control under written conditions, commonly up to 4 h (3-501.19). "
        "Your own food authority's rules come first. This program measures time and temperature; it never says that "
        "food is safe."
    )


def batch_food_sentence(batch: Batch, warm: WarmTime, now: datetime, reader: Reader) -> str:
    """Time above 5 C in this stage, and the guidance; empty for a dough without egg, milk or the like."""
    if not batch.perishable:
        return ""
    what = ", ".join(printable(reader.say(name)) for name in batch.perishable)
    stood_min = ((batch.ended_at or now) - batch.started_at).total_seconds() / 60.0
    if warm.measured_min <= 0.0:
        said = reader.say(
            "It holds {what}, and nothing has measured its warmth for {stood}: count its hours above {limit} yourself.",
            what=what,
            stood=duration_text(stood_min),
            limit=temp_text(WARM_C, reader),
        )
        return f"{said} {guidance_sentence(reader)}"
    by_probe = N_("It holds {what}: {warm} above {limit} in this stage alone, by the probe in the dough.")
    by_air = N_("It holds {what}: {warm} above {limit} in this stage alone, by the air around it.")
    said = reader.say(
        by_probe if warm.is_of_probe else by_air,
        what=what,
        warm=duration_text(warm.warm_min),
        limit=temp_text(WARM_C, reader),
    )
    unmeasured_min = stood_min - warm.measured_min
    if unmeasured_min > UNMEASURED_WORTH_MIN:
        missing = reader.say("{time} of it were not measured.", time=duration_text(unmeasured_min))
        said = f"{said} {missing}"
    return f"{said} {guidance_sentence(reader)}"
