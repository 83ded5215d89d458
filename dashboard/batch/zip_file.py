"""Everything the store holds of one batch, as a ZIP file of tables made when somebody asks for it; for bakers."""

from functools import partial
from pathlib import Path

import streamlit as st

from dashboard import queries
from dashboard.access import visitor
from dashboard.drawing.exports import file_name
from dashboard.page import Scene
from monitor.archive.batch_files import KINDS, zipped_batch
from monitor.recipe.batch import Batch, BatchId
from monitor.settings.access import Role
from monitor.store.batch_transfer import BatchRows
from monitor.translatable import N_

_WORDS = {"csv": N_("Tables, CSV"), "parquet": N_("Tables, Parquet")}


def put_whole(scene: Scene, batch: Batch) -> None:
    """The way to take a batch whole: more than a viewer sees, such as who was called, so a viewer is not offered it."""
    if visitor.role(scene.store.path.parent) is not Role.BAKER:
        return
    say = scene.reader.say
    with st.popover(say("Save all of this batch"), icon=":material/download:", type="tertiary", key="save-whole"):
        st.caption(say("A folder in a ZIP file. Unpacked, proofing-monitor batch import takes it in again."))
        for kind in KINDS:
            st.download_button(
                say(_WORDS[kind]),
                partial(_zipped, scene.store.path, batch.id, kind),
                file_name(f"{batch.name} {kind}", scene.now, "zip", scene.reader.zone),
                "application/zip",
                key=f"save-whole-{kind}",
                on_click="ignore",
                width="stretch",
            )


def _zipped(path: Path, batch_id: BatchId, kind: str) -> bytes:
    with queries.opened_again(BatchRows, path) as store:
        return zipped_batch(store, batch_id, kind)
