"""The method of a recipe in words: the work step by step, the stages it stands in, and the bake."""

from collections.abc import Iterator
from typing import assert_never

from monitor.recipe.events import PLACES
from monitor.recipe.method import Bake, MethodStage, MixUntil, OvenStep, Work, WorkStep
from monitor.recipe.parts import Recipe
from monitor.translatable import N_
from monitor.wording.phrases import in_place_text, oven_text, printable, stage_word, temp_text
from monitor.wording.reader import Reader
from monitor.wording.times import duration_text

TOO_MANY_STEAMS = 6  # judgement: more than this and a sentence is no longer read


def method_lines(recipe: Recipe, reader: Reader) -> Iterator[str]:
    """The whole method, a line for each step and stage in the order of the day; empty for a formula only."""
    for stage in recipe.method:
        part = printable(stage.part)
        during = [step for step in stage.steps if step.work is Work.FOLD]
        yield from (f"{part}: {work_text(step, reader)}" for step in stage.steps if step.work is not Work.FOLD)
        yield f"{part}: {stage_text(stage, reader)}"
        yield from (f"{part}: {work_text(step, reader)}" for step in during)
    if recipe.bake is not None:
        yield reader.say("bake: {how}", how=bake_text(recipe.bake, reader))


def work_word(work: Work, reader: Reader) -> str:
    """What is done."""
    match work:
        case Work.AUTOLYSE:
            return reader.say("flour and water alone (autolyse)")
        case Work.TEMPER:
            return reader.say("let it lose its chill")
        case Work.MIX:
            return reader.say("mix")
        case Work.DIVIDE:
            return reader.say("divide")
        case Work.PRESHAPE:
            return reader.say("preshape")
        case Work.REST:
            return reader.say("bench rest")
        case Work.SHAPE:
            return reader.say("shape")
        case Work.FOLD:
            return reader.say("fold")
        case _:
            assert_never(work)


def work_text(step: WorkStep, reader: Reader) -> str:
    """One step of the work: what, how long, where, and how it is seen to be done."""
    parts = [_work_and_when(step, reader)]
    match step.until:
        case MixUntil.WINDOWPANE:
            parts.append(reader.say("until a windowpane holds"))
        case None:
            pass
        case _:
            assert_never(step.until)
    if step.hands_min > 0.0:
        hands = N_("hands {time} each") if len(step.after_min) > 1 else N_("hands {time}")
        parts.append(reader.say(hands, time=duration_text(step.hands_min)))
    if step.rest_min > 0.0:
        parts.append(reader.say("left alone {time}", time=duration_text(step.rest_min)))
    if step.place:
        is_known = step.place in PLACES
        parts.append(
            in_place_text(step.place, reader) if is_known else reader.say("at the {place}", place=printable(step.place))
        )
    return _with_cue(parts, step.cue, reader)


def _work_and_when(step: WorkStep, reader: Reader) -> str:
    if step.after_min:
        times = ", ".join(f"{at:g}" for at in step.after_min)
        return reader.count(
            len(step.after_min),
            "fold once, {times} min after it begins",
            "fold {n} times, {times} min after it begins",
            times=times,
        )
    word = work_word(step.work, reader)
    if not step.speeds:
        return word
    speeds = ", ".join(
        reader.say("{time} at speed {speed}", time=duration_text(minutes), speed=f"{speed:g}")
        for speed, minutes in step.speeds
    )
    return f"{word}, {speeds}"


def _with_cue(parts: list[str], cue: str, reader: Reader) -> str:
    if cue:
        parts.append(reader.say("done when: {cue}", cue=printable(cue)))
    return "; ".join(parts)


def stage_text(stage: MethodStage, reader: Reader) -> str:
    """Where a part stands, for what, and what it takes beforehand, in words."""
    name, where = stage_word(stage.stage, reader), in_place_text(stage.place, reader)
    if stage.hours is not None:
        goal = reader.say("{stage} for {time}", stage=name, time=_hours_text(stage.hours, stage.longest_h, reader))
    elif stage.target.rise_pct is None:
        goal = reader.say("{stage} to its peak", stage=name)
    else:
        goal = reader.say("{stage} until {rise} % up", stage=name, rise=f"{stage.target.rise_pct:.0f}")
    if stage.cold_h > 0.0:
        cold = duration_text(60.0 * stage.cold_h)
        where = reader.say("first {time} in the refrigerator, then {where}", time=cold, where=where)
    parts = [f"{goal}, {where}"]
    if stage.dough_c is not None:
        parts.append(reader.say("dough at {temp}", temp=temp_text(stage.dough_c, reader)))
    if stage.hands_min > 0.0 and not stage.steps:  # the steps say their own
        hands = duration_text(stage.hands_min)
        if stage.mixer_min > 0.0:
            mixer = duration_text(stage.mixer_min)
            parts.append(reader.say("hands {time} before it, {mixer} of it at the mixer", time=hands, mixer=mixer))
        else:
            parts.append(reader.say("hands {time} before it", time=hands))
    return _with_cue(parts, stage.cue, reader)


def _hours_text(least_h: float, longest_h: float | None, reader: Reader) -> str:
    least = duration_text(60.0 * least_h)
    if longest_h is None:
        return least
    return reader.say("{least} to {longest}", least=least, longest=duration_text(60.0 * longest_h))


def bake_text(bake: Bake, reader: Reader) -> str:
    """The bake in words."""
    oven, preheat = oven_text(bake.oven_c, reader), duration_text(bake.preheat_min)
    parts = [
        reader.say("{time} at {temp}", time=duration_text(bake.minutes), temp=oven),
        reader.say("oven on {time} before loading", time=preheat),
    ]
    if 0 < len(bake.steam_min) <= TOO_MANY_STEAMS:
        times = ", ".join(f"{at:g}" for at in bake.steam_min)
        parts.append(reader.say("steam {times} min after loading", times=times))
    parts += [_oven_step_text(step, reader) for step in bake.steps]
    if bake.at_once is not None:
        parts.append(reader.say("{n} at once", n=bake.at_once))
    if bake.core_c is not None:
        parts.append(reader.say("out at {temp} in the middle", temp=oven_text(bake.core_c, reader)))
    text = _with_cue(parts, bake.cue, reader)
    if bake.cool_min <= 0.0:
        return text
    cool = reader.say("cool {time} before it is cut", time=duration_text(bake.cool_min))
    return f"{text}; {cool}"


def _oven_step_text(step: OvenStep, reader: Reader) -> str:
    after = duration_text(step.after_min)
    if step.oven_c is None:
        return reader.say("let the steam out after {time}", time=after)
    oven = oven_text(step.oven_c, reader)
    if step.vents:
        return reader.say("after {time} to {temp}, and let the steam out", time=after, temp=oven)
    return reader.say("after {time} to {temp}", time=after, temp=oven)
