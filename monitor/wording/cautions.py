"""Cautions for oven, steam, electricity, dust, jars and food, which defer to local codes and licensed practice.

All of them stand on the Safety screen; the reminder of one stands where its step is, too.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.recipe.batch import Batch, Stage
from monitor.recipe.ingredients import IngredientKind
from monitor.recipe.parts import PartKind, Recipe
from monitor.translatable import N_
from monitor.wording.reader import Reader


@dataclass(frozen=True, slots=True)
class Caution:
    """One subject and what to mind about it, as source sentences; ``reminder`` is the one that stands at its step."""

    title: str
    text: str
    reminder: str = ""


DEFERENCE = N_(
    "These are reminders, not instructions. Where they differ, your local codes, the manual of the appliance and the "
    "advice of a licensed professional hold. This monitor only advises: it never switches heat, and no part of it may "
    "be used as a safety cut-out."
)

OVEN = Caution(
    N_("Oven and stone"),
    N_(
        "You switch the oven on, and you watch it. Clear it before you heat it. A stone or steel stays hot "
        "enough to burn long after the oven is off. Paper on a peel is made for a limited heat, often 220 to 230 "
        "°C (425 to 450 °F): read its pack, and keep it away from a grill and from bare elements. The "
        "manuals of oven and stone come first."
    ),
)
STEAM = Caution(
    N_("Steam"),
    N_(
        "Steam burns before it is seen. Open the door with your face and arms to one side and let it out first. "
        "Water on hot glass or on a hot stone can crack it, and it spatters: use only what the oven's manual "
        "allows."
    ),
    N_("Open the oven door standing aside, face and arms out of the steam."),
)
ELECTRICITY = Caution(
    N_("Electricity in damp places"),
    N_(
        "Keep mains voltage out of a humid cabinet. Feed sensors from a certified low-voltage supply that stands "
        "outside, let every cable hang in a loop below its entry so that drops fall off, and relieve it of pull. "
        "Heat a cabinet only with a complete, certified appliance that has its own thermal cut-out. Sockets near "
        "water need residual-current protection in most places: which, and where, is for your code and a "
        "licensed electrician. A splash rating says nothing about water that condenses inside."
    ),
)
FOOD = Caution(
    N_("Food"),
    N_(
        "Flour is raw: do not taste raw dough, and wash hands, bench and probes after it. A probe in dough must "
        "be made for food, smooth and washable. Dough with egg, milk or a filling can become unsafe when it "
        "stands warm for long; how cold and how long is for your food code and authority. This monitor judges "
        "volume and warmth. It cannot tell whether food is safe."
    ),
    N_("Keep a dough with egg or milk cold while it waits."),
)
OVEN_LEFT_ON = Caution(
    N_("An oven left on"),
    N_(
        "Nobody should light an oven on a forecast and leave. Stay in the building while it heats and bakes, "
        "switch it off after the last load, and do not keep it hot between loads that are hours apart. A call of "
        "this monitor can be late or lost: it is no timer and no guard. Whether an oven may run unattended is for "
        "its manual, your fire code and your insurer."
    ),
    N_("Stay by the oven while it is on, and switch it off after the last load."),
)
JARS = Caution(
    N_("Sealed jars"),
    N_(
        "What ferments in a closed jar can burst it: 200 g of flour can give off a litre of gas, which in half a litre "
        "of room is 1.7 bar above the air outside. Lay the lid on loosely and never clamp or screw it down; leave room "
        "to rise. What vessels may be used for food, and under what pressure, is for your local code and their maker."
    ),
    N_("Lay the lid of a jar on loosely: gas bursts a closed one."),
)
GLASS = Caution(
    N_("Glass above dough"),
    N_(
        "Hang no glass thermometer, lamp or shelf over open dough or flour. When glass breaks, discard all dough "
        "and flour that a splinter may have reached, and clean before you go on. Your food code may ask for "
        "shatterproof covers and a written record."
    ),
)
DUST = Caution(
    N_("Flour dust"),
    N_(
        "Flour in the air harms the lungs, and bakers fall ill with asthma from it. Great Britain, for one, allows "
        "10 mg/m³ over eight hours and 30 mg/m³ over fifteen minutes (HSE, EH40). Pour low and slowly, start "
        "mixers slowly, and take flour up with a vacuum cleaner made for dust instead of sweeping or blowing. A "
        "thick cloud of it can explode. Limits, masks, extraction and ignition are for your code and for licensed "
        "professionals."
    ),
    N_("Pour flour low and slowly, and do not blow or sweep it up: its dust harms the lungs."),
)
ALLERGENS = Caution(
    N_("Allergens"),
    N_(
        "Wheat, rye and barley, egg, milk, nuts, sesame and soya make some people gravely ill. Gluten stays in a "
        "sourdough, and flour in the air reaches what should be free of it. Keep tools apart, clean between "
        "doughs, and write down what is in each bread. What must be declared, and how, is for your law; the "
        "European Union names 14 groups, the United States nine. This monitor knows names of ingredients: it "
        "cannot tell what is safe for anybody."
    ),
    N_("Tell who eats it what is in it: flour is an allergen itself."),
)
STARTER = Caution(
    N_("Mould and starters"),
    N_(
        "Discard a starter or a preferment whole when you see mould or any pink, orange or red: scraping it off is "
        "not enough. Grey liquid on top is harmless. Begin again in a clean jar, with clean hands. Do not taste a "
        "young starter: in its first week it may not be sour enough to be safe. When in doubt, your food "
        "authority's advice holds."
    ),
    N_("Mould, or any pink, orange or red: discard all of it, do not scrape."),
)
SOAKERS = Caution(
    N_("Warm soakers and cooked grain"),
    N_(
        "Cooking does not kill the spores in rice and grain, and they grow while it stands warm. Cool what was "
        "cooked in a flat layer, no deeper than 9 cm, have it in the refrigerator within an hour and a half, and "
        "use it the same day. A soaker that stands warm for hours is food in the same danger. Times and "
        "temperatures are for your food code."
    ),
    N_("Cool cooked rice and grain flat and fast, keep it in the refrigerator, and use it the same day."),
)
CAUTIONS = (OVEN, OVEN_LEFT_ON, STEAM, ELECTRICITY, JARS, GLASS, DUST, ALLERGENS, STARTER, SOAKERS, FOOD)
# Sources of the facts above: raw flour and cold holding, notices and food code of the US FDA (seen, in part from
# memory); paper and stones, trade pages (seen) and appliance manuals (from memory); sockets near water, US NEC 210.8
# (seen) and IEC 60364 (from memory); splash ratings, IEC 60529 (seen; that they leave out condensation: from memory).
# Gas of a jar: 4 g of sugar of 200 g of flour make 1.1 l of carbon dioxide; in half a litre of air that is 1.7 bar with
# 200 g of water, which takes its share: computed. Flour dust: HSE, EH40 (seen). Layers of cooked rice: Journal of Food
# Protection 44, 500 (as quoted); within 1.5 h: a British notice (seen); the same day: judgement. Mould and colours of
# starters: pages of a mill and of the food press (seen); acid in the first week: judgement. Groups of allergens: EU
# 1169/2011 and US FASTER Act (from memory). Glass, ovens left alone: common practice, no source.


def cautions_of_recipe(recipe: Recipe) -> Iterator[Caution]:
    """What to mind at the steps of a recipe, in the order of the day."""
    kinds = {part.kind for part in recipe.parts}
    inside = {each.kind for part in recipe.parts for each in part.ingredients}
    if recipe.total.flour_g > 0.0:
        yield from (DUST, ALLERGENS)
    if kinds & {PartKind.PREFERMENT, PartKind.SOURDOUGH}:
        yield JARS
    if PartKind.SOURDOUGH in kinds or IngredientKind.STARTER in inside:
        yield STARTER
    if PartKind.SOAKER in kinds:
        yield SOAKERS
    if recipe.perishables(recipe.dough):
        yield FOOD
    if recipe.bake is not None:
        if recipe.bake.steam_min:
            yield STEAM
        yield OVEN_LEFT_ON


def cautions_of_batch(batch: Batch) -> Iterator[Caution]:
    """What to mind at the stage of a running batch."""
    is_sour = batch.formula is not None and batch.formula.sourdough_g > 0.0
    if batch.stage is Stage.PREFERMENT:
        yield JARS
        if is_sour:
            yield STARTER
    if batch.preheat_min is not None:
        yield OVEN_LEFT_ON


def reminder_lines(cautions: Iterator[Caution], reader: Reader) -> list[str]:
    """The reminders of some cautions, and last whose word comes first; empty without any."""
    said = [reader.say(caution.reminder) for caution in cautions]
    if not said:
        return []
    return [*said, reader.say("Local codes and licensed professionals come first: see Safety.")]
