"""What was learned from finished batches, in a baker's words."""

import math

from monitor.bakery.manner import Manner
from monitor.dough.learning import Learned

SAME_PACE = 0.05  # judgement: a pace that differs by less is the same pace


def learned_sentence(learned: Learned, manner: Manner, *, has_formula: bool) -> str:
    """What the finished batches of a recipe taught, as one sentence without its full stop.

    ``has_formula``: whether the batch it is about says what was weighed, which is then what the pace is held against.
    """
    n = learned.n_batches
    parts = [f"learned from {n} batch{'es' if n > 1 else ''}: {_pace(learned.speed, has_formula, manner)}"]
    if learned.n_odd and n > 1:
        is_one = learned.n_odd == 1
        parts.append(
            f"{'one batch was' if is_one else f'{learned.n_odd} batches were'} odd and hardly count{'s' * is_one}"
        )
    if learned.n_intervals:
        parts.append(f"forecasts held {learned.n_held} of {learned.n_intervals} times")
    return "; ".join(parts)


def _pace(speed: float, has_formula: bool, manner: Manner) -> str:
    norm = "the formula says" if has_formula else "doughs usually do"
    if not math.isfinite(speed):
        return f"rises unlike what {norm}" if has_formula else "rises unlike other doughs"
    if abs(speed - 1.0) < SAME_PACE:
        return f"rises as {norm}"
    if speed > 1.0:
        return f"rises {round(100.0 * (speed - 1.0))} % faster than {norm}"
    return f"takes {round(100.0 * (1.0 / speed - 1.0))} % longer than {norm}"
