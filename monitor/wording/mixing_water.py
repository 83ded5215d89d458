"""How warm a dough's water must be, in words: what to draw and weigh, or why no water will do."""

from collections.abc import Iterator
from typing import assert_never

from monitor.recipe.heat_balance import WARMEST_WATER_C, Impossible, WaterNeeded
from monitor.translatable import N_
from monitor.wording.phrases import degrees_text, printable, temp_text, weigh_text
from monitor.wording.reader import Reader

LEAST_ICE_G = 0.5  # judgement: less is nothing to weigh


def water_text(needed: WaterNeeded, reader: Reader) -> str:
    """What to draw and weigh: for a cell of a table; a dash where no water will do."""
    if needed.impossible is not None:
        return "\N{EN DASH}"
    if needed.ice_g < LEAST_ICE_G:
        return reader.say(
            "{weight} at {temp}", weight=weigh_text(needed.mass_g, reader), temp=temp_text(needed.temp_c, reader)
        )
    return reader.say(
        "{weight} at {temp} and {ice} of ice",
        weight=weigh_text(needed.mass_g - needed.ice_g, reader),
        temp=temp_text(needed.tap_c, reader),
        ice=weigh_text(needed.ice_g, reader),
    )


def water_sentence(needed: WaterNeeded, reader: Reader, sd_c: float = 0.0) -> str:
    """What water, or why none will do. ``sd_c`` is the doubt of its temperature, one standard deviation. [C]"""
    liquid, dough = printable(needed.name), temp_text(needed.dough_c, reader)
    reached, limit = temp_text(needed.reached_c, reader), temp_text(WARMEST_WATER_C, reader)
    match needed.impossible:
        case None:
            how = water_text(needed, reader)
            if sd_c > 0.0 and needed.ice_g < LEAST_ICE_G:
                how = reader.say("{how}, give or take {doubt}", how=how, doubt=degrees_text(1.645 * sd_c, reader))
            return reader.say("{liquid}: {how}, for a dough of {dough}", liquid=liquid, how=how, dough=dough)
        case Impossible.NO_LIQUID:
            return reader.say(
                "there is no water or milk in it to make warmer or colder; as it is it comes to {reached}",
                reached=reached,
            )
        case Impossible.TOO_HOT:
            why = reader.say(
                "{liquid} would have to be hotter than {limit}, which harms yeast; with {limit} the dough comes to "
                "{reached} and not to {dough}",
                liquid=liquid,
                limit=limit,
                reached=reached,
                dough=dough,
            )
        case Impossible.TOO_COLD:
            why = reader.say(
                "{liquid} cannot be cold enough: at its coldest the dough comes to {reached} and not to {dough}",
                liquid=liquid,
                reached=reached,
                dough=dough,
            )
        case _:
            assert_never(needed.impossible)
    return f"{why}. {_remedy(needed, reader)}"


def _remedy(needed: WaterNeeded, reader: Reader) -> str:
    if needed.remedy:
        what, temp = printable(needed.remedy), temp_text(needed.remedy_c, reader)
        return reader.say("Bring {what} to {temp} first", what=what, temp=temp)
    if needed.impossible is Impossible.TOO_HOT:
        return reader.say("Warm the flour and what else goes in, or want a cooler dough")
    return reader.say("Chill the flour and what else goes in, or mix less")


def balance_lines(needed: WaterNeeded, reader: Reader) -> Iterator[str]:
    """What was counted: everything else that goes in, with its temperature, and the friction."""
    for each in needed.others:
        yield reader.say(
            N_("{weight} {what} at {temp}"),
            weight=weigh_text(each.mass_g, reader),
            what=printable(each.name),
            temp=temp_text(each.temp_c, reader),
        )
