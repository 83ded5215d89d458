"""Charts held against the schema of their grammar, as altair has it."""

import json

import altair as alt
from streamlit.testing.v1 import AppTest

from dashboard.drawing.grammar import Drawing, Values


def checked(drawing: Drawing) -> Values:
    """The specification with its rows; altair raises SchemaValidationError at what the grammar does not know."""
    spec = drawing.carrying()
    alt.LayerChart.validate(spec)
    return spec


def check_shown(app: AppTest) -> int:
    """The same for every chart that stands on a screen; returns how many there are."""
    specs = [json.loads(element.proto.spec) for element in app.get("vega_lite_chart")]
    for spec in specs:
        alt.LayerChart.validate(spec)
    return len(specs)
