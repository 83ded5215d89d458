"""Figures on a page, and the ways to save what they show: as pictures, as tables, or a batch whole.

A part of a screen that is drawn anew every few seconds gives its buttons new files each time, and a touch in between
would ask for one that is gone. So a live figure is kept (:func:`keep`), and its way to be saved stands outside the live
part (:func:`show_live_downloads`), where it stays until the whole page is drawn.
"""

from collections.abc import Mapping
from functools import partial
from itertools import count
from pathlib import Path

import streamlit as st
from streamlit import runtime

from dashboard import queries
from dashboard.access import visitor
from dashboard.drawing.exports import KINDS, Figure, FileKind, file_name
from dashboard.drawing.grammar import Drawing
from dashboard.page import View
from monitor.archive.batch_files import KINDS as BATCH_KINDS
from monitor.archive.batch_files import zipped_batch
from monitor.recipe.batch import Batch, BatchId
from monitor.settings.access import Role
from monitor.translatable import N_

_FIGURES = "figures"  # the live ones of this session's screen, by their keys
ZIP = "application/zip"
MOST_HELD = 32  # judgement: a few for each of some people at once
_turns = count()
_BATCH_WORDS = {"csv": N_("Tables, CSV"), "parquet": N_("Tables, Parquet")}


def forget() -> None:
    """Forget the live figures of the page before."""
    st.session_state[_FIGURES] = {}


def show(view: View, figure: Figure, key: str, *, is_live: bool = False) -> None:
    """A chart with its sentence as text alternative, and the way to save it, which a live one leaves to others."""
    assert figure.draw is not None
    drawn = figure.draw(view.palette)
    assert isinstance(drawn, Drawing)
    spec = {**drawn.spec(), "datasets": drawn.tables()}
    st.vega_lite_chart(spec=spec, width="stretch", theme=None, key=key, alt=figure.sentence)
    if is_live:
        keep(figure, key)
    else:
        _show_download(view, {key: figure}, key)


def keep(figure: Figure, key: str) -> None:
    """Keep what a live part shows now for :func:`show_live_downloads`."""
    st.session_state.setdefault(_FIGURES, {})[key] = figure


def show_live_downloads(view: View) -> None:
    """After the live parts of a screen, the ways to save what they show at the moment of the touch."""
    figures: dict[str, Figure] = st.session_state.setdefault(_FIGURES, {})
    with st.container(horizontal=True, gap="small"):
        for key in list(figures):
            _show_download(view, figures, key)


def _show_download(view: View, figures: Mapping[str, Figure], key: str) -> None:
    """One quiet control: a picture and what is behind it as files, each made only when somebody asks for it.

    Who may look may save: what is shown has been read already, and no more than that is in the files.
    """
    figure, say = figures[key], view.reader.say
    with st.popover(
        say("Save {what}", what=figure.what), icon=":material/download:", type="tertiary", key=f"save-{key}"
    ):
        for ending, kind in KINDS.items():
            if figure.draw is None and kind.is_picture:
                continue
            name = file_name(figure.title, view.now, ending, view.reader.zone)
            st.download_button(
                say(kind.words),
                partial(_made, figures, key, kind, name),
                name,
                kind.mime,
                key=f"save-{key}-{ending}",
                on_click="ignore",  # the page stays as it is
                width="stretch",
            )


def _made(figures: Mapping[str, Figure], key: str, kind: FileKind, name: str) -> bytes:
    return _held(kind.made(figures[key]), name, kind.mime)


def _held(data: bytes, name: str, mime: str) -> bytes:
    """A file that was asked for, held until many others were: the browser may be slow to fetch it.

    Streamlit makes it by a name of its content, and forgets it once any parts of any screen have been drawn twice.
    """
    if runtime.exists():
        place = f"saved {next(_turns) % MOST_HELD}"
        runtime.get_instance().media_file_mgr.add(data, mime, place, name, is_for_static_download=True)
    return data


def show_batch_download(view: View, batch: Batch) -> None:
    """The way to save all of a batch: more than a viewer sees, such as who was called, so none is offered it."""
    if visitor.role(view.store.path.parent) is not Role.BAKER:
        return
    say = view.reader.say
    with st.popover(say("Save all of this batch"), icon=":material/download:", type="tertiary", key="save-batch"):
        st.caption(say("A folder in a ZIP file. Unpacked, proofing-monitor batch import takes it in again."))
        for kind in BATCH_KINDS:
            name = file_name(f"{batch.name} {kind}", view.now, "zip", view.reader.zone)
            st.download_button(
                say(_BATCH_WORDS[kind]),
                partial(_zipped, view.store.path, batch.id, kind, name),
                name,
                ZIP,
                key=f"save-batch-{kind}",
                on_click="ignore",
                width="stretch",
            )


def _zipped(path: Path, batch_id: BatchId, kind: str, name: str) -> bytes:
    with queries.opened_again(path) as store:
        return _held(zipped_batch(store, batch_id, kind), name, ZIP)
