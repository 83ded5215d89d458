"""What was learned from finished batches, in a baker's words."""

from typing import assert_never

from monitor.dough.learning import Pace, RecipeExperience
from monitor.translatable import N_
from monitor.wording.reader import Reader


def learned_sentence(learned: RecipeExperience, reader: Reader, *, has_formula: bool) -> str:
    """What the finished batches of a recipe taught, as one sentence without its full stop.

    ``has_formula``: whether the batch it is about says what was weighed, which is then what the pace is held against.
    """
    pace = _pace(learned, reader, has_formula=has_formula)
    if learned.n_batches == 0:
        return reader.say("learned from the stage before: {pace}", pace=pace)
    parts = [
        reader.count(
            learned.n_batches,
            "learned from {n} batch: {pace}",
            "learned from {n} batches: {pace}",
            pace=pace,
        )
    ]
    if learned.knows_stage_before:
        parts.append(reader.say("the stage before counts too"))
    if learned.n_odd and learned.n_batches > 1:
        parts.append(
            reader.count(
                learned.n_odd,
                "one batch was odd and hardly counts",
                "{n} batches were odd and hardly count",
            )
        )
    if learned.n_intervals:
        held = N_("forecasts held {held} of {all} times")
        parts.append(reader.say(held, held=learned.n_held, all=learned.n_intervals))
    return "; ".join(parts)


def _pace(learned: RecipeExperience, reader: Reader, *, has_formula: bool) -> str:
    match learned.pace:
        case Pace.UNLIKE:
            return reader.say(
                N_("rises unlike what the formula says") if has_formula else N_("rises unlike other doughs")
            )
        case Pace.SAME:
            return reader.say(N_("rises as the formula says") if has_formula else N_("rises as doughs usually do"))
        case Pace.FASTER:
            faster = (
                N_("rises {pct} % faster than the formula says")
                if has_formula
                else N_("rises {pct} % faster than doughs usually do")
            )
            return reader.say(faster, pct=round(100.0 * (learned.speed - 1.0)))
        case Pace.SLOWER:
            longer = (
                N_("takes {pct} % longer than the formula says")
                if has_formula
                else N_("takes {pct} % longer than doughs usually do")
            )
            return reader.say(longer, pct=round(100.0 * (1.0 / learned.speed - 1.0)))
        case _:
            assert_never(learned.pace)
