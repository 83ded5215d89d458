"""Cautions for oven, steam, electricity and food, which defer to local codes, manuals and licensed practice."""

from dataclasses import dataclass

from monitor.translatable import N_


@dataclass(frozen=True, slots=True)
class Caution:
    """One subject and what to mind about it, as source sentences."""

    title: str
    text: str


DEFERENCE = N_(
    "These are reminders, not instructions. Where they differ, your local codes, the manual of the appliance and the "
    "advice of a licensed professional hold. This monitor only advises: it never switches heat, and no part of it may "
    "be used as a safety cut-out."
)

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        N_("Oven and stone"),
        N_(
            "You switch the oven on, and you watch it. Clear it before you heat it. A stone or steel stays hot "
            "enough to burn long after the oven is off. Paper on a peel is made for a limited heat, often 220 to 230 "
            "°C (425 to 450 °F): read its pack, and keep it away from a grill and from bare elements."
        ),
    ),
    Caution(
        N_("Steam"),
        N_(
            "Steam burns before it is seen. Open the door with your face and arms to one side and let it out first. "
            "Water on hot glass or on a hot stone can crack it, and it spatters: use only what the oven's manual "
            "allows."
        ),
    ),
    Caution(
        N_("Electricity in damp places"),
        N_(
            "Keep mains voltage out of a humid cabinet. Feed sensors from a certified low-voltage supply that stands "
            "outside, let every cable hang in a loop below its entry so that drops fall off, and relieve it of pull. "
            "Heat a cabinet only with a complete, certified appliance that has its own thermal cut-out. Sockets near "
            "water need residual-current protection in most places: which, and where, is for your code and a "
            "licensed electrician. A splash rating says nothing about water that condenses inside."
        ),
    ),
    Caution(
        N_("Food"),
        N_(
            "Flour is raw: do not taste raw dough, and wash hands, bench and probes after it. A probe in dough must "
            "be made for food, smooth and washable. Dough with egg, milk or a filling can become unsafe when it "
            "stands warm for long; how cold and how long is for your food code and authority. This monitor judges "
            "volume and warmth. It cannot tell whether food is safe."
        ),
    ),
)
# Sources of the facts above: raw flour and cold holding, notices and food code of the US FDA (seen, in part from
# memory); paper and stones, trade pages (seen) and appliance manuals (from memory); sockets near water, US NEC 210.8
# (seen) and IEC 60364 (from memory); splash ratings, IEC 60529 (seen; that they leave out condensation: from memory).
