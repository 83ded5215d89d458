"""What is about to be begun: a line for each part, which opens its editor, and *Begin*, which stays in sight."""

import html
from collections.abc import Callable

import streamlit as st

from dashboard.drawing import markup
from dashboard.start import editors
from dashboard.start.bench import Bench
from dashboard.start.draft import Draft
from dashboard.start.vessels import measures, vessel_word
from monitor.translatable import N_
from monitor.wording.phrases import in_place_text, own_temp_text, stage_word

_OPEN = "start line"
_Line = tuple[str, Callable[[Bench], None], Callable[[Bench], tuple[str, str]]]


def _name(bench: Bench) -> tuple[str, str]:
    named = bench.draft.name.strip() or bench.reader.say("not named yet")
    return named, stage_word(bench.draft.stage, bench.reader)


def _vessel(bench: Bench) -> tuple[str, str]:
    return vessel_word(bench.draft.vessel, bench.reader), measures(bench.vessel, bench.reader)


def _target(bench: Bench) -> tuple[str, str]:
    if bench.draft.target.rise_pct is None:
        return bench.reader.say("to its peak"), ""
    return bench.reader.say("{rise} % risen", rise=f"{bench.draft.target.rise_pct:.0f}"), ""


def _warmth(bench: Bench) -> tuple[str, str]:
    reader, dough_c = bench.reader, bench.draft.dough_c
    return reader.say("meant to be {temp}", temp=own_temp_text(dough_c, reader)), ""


def _place(bench: Bench) -> tuple[str, str]:
    draft, reader = bench.draft, bench.reader
    where = reader.say("not said") if draft.place is None else in_place_text(draft.place, reader)
    return where, reader.say(N_("covered") if draft.is_covered else N_("not covered"))


def _watcher(bench: Bench) -> tuple[str, str]:
    draft, reader = bench.draft, bench.reader
    if draft.node is not None:
        is_zeroed = bench.vessel.sensor_to_base_mm is not None
        return bench.sensors[draft.node], "" if is_zeroed else reader.say("not set to zero")
    if draft.level_mm is None:
        return reader.say("you; no sensor"), reader.say("tell where the dough stands now")
    return reader.say("you; no sensor"), reader.say("stands at {n} mm now", n=f"{draft.level_mm:.0f}")


LINES: dict[str, _Line] = {
    "name": (N_("Name"), editors.name, _name),
    "watcher": (N_("Watched by"), editors.watcher, _watcher),
    "vessel": (N_("Stands in"), editors.vessel, _vessel),
    "target": (N_("Band"), editors.target, _target),
    "warmth": (N_("Dough"), editors.warmth, _warmth),
    "place": (N_("Place"), editors.place, _place),
}


def open_line(line: str | None) -> None:
    """Open the editor of a line, and no other."""
    st.session_state[_OPEN] = line


def show(bench_of: Callable[[], Bench]) -> Draft:
    """The lines, the one that is open with its editor; the draft comes back as its editor has left it.

    The editor is drawn before the words of the lines, which tell what it has changed.
    """
    opened = st.session_state.get(_OPEN, "watcher" if bench_of().draft.node is None else None)
    rows = {}
    for line, (_, editor, _) in LINES.items():
        rows[line] = st.container(key=f"line-{line}{'-open' if line == opened else ''}")
        if line == opened:
            with st.container(key=f"editor-{line}"):
                editor(bench_of())
    bench = bench_of()
    for line, (label, _, words_of) in LINES.items():
        said, below = words_of(bench)
        shown = html.escape(bench.reader.say(label))
        words = f"<span>{shown}</span><b>{html.escape(said)}</b><small>{html.escape(below)}</small>"
        with rows[line]:
            st.html(f'<p class="line">{words}</p>')
            st.button(
                markup.plain(f"{bench.reader.say(label)}: {said}"),
                key=f"open-{line}",
                on_click=open_line,
                args=(None if line == opened else line,),
            )
    return bench.draft
