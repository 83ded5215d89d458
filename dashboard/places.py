"""Where a node or a dough stands, as the settings have it, for a line on a card."""

import html
from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from monitor.errors import ConfigError
from monitor.recipe.batch import Batch
from monitor.settings.config import load_config
from monitor.settings.places import Place
from monitor.wire.readings import NodeId


@st.cache_resource(max_entries=4, ttl=60, show_spinner=False)
def places(folder: str) -> Mapping[NodeId, Place]:
    """Node -> place; none where the settings say none, or cannot be read, which is the collector's to complain of."""
    try:
        return load_config(Path(folder), {}).places
    except ConfigError:
        return {}


def of_node(node: NodeId, folder: Path) -> str:
    """Where a node stands within its site, as HTML; empty when nobody has said it."""
    place = places(str(folder)).get(node)
    return "" if place is None else html.escape(place.within_site)


def of_batch(batch: Batch, folder: Path) -> str:
    """Where a dough stands, as HTML: the narrowest place of the nodes it is read from; empty when none is known."""
    known = places(str(folder))
    found = [known[node] for _, node in batch.nodes if node in known]
    return html.escape(max(found, key=lambda place: len(str(place).split("/"))).within_site) if found else ""
