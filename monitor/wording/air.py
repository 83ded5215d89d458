"""What the air does to a dough's skin, in words."""

from typing import assert_never

from monitor.alerts.limits import DRYING_STARTS_PA
from monitor.dough.air import Skin, dew_point_c, skin_state
from monitor.wording.phrases import temp_text
from monitor.wording.reader import Reader


def skin_sentence(air_temp_c: float, humidity_pct: float, surface_temp_c: float, reader: Reader) -> str:
    """Dew point against the dough's surface, and what comes of it; empty when that cannot be said.

    Parameters
    ----------
    surface_temp_c
        Of the dough's surface, or of its core as a stand-in. [C]

    >>> from datetime import UTC
    >>> skin_sentence(38.0, 80.0, 27.0, Reader(UTC))
    'dew point 33.9 °C (93.1 °F), above the dough: water settles on it'
    """
    found = skin_state(air_temp_c=air_temp_c, humidity_pct=humidity_pct, surface_temp_c=surface_temp_c)
    if found is None:
        return ""
    dew = temp_text(float(dew_point_c(air_temp_c, humidity_pct)), reader)
    if found.dew_margin_c >= 0.0:
        where = reader.say("dew point {dew}, below the dough", dew=dew)
    else:
        where = reader.say("dew point {dew}, above the dough", dew=dew)
    match found.skin:
        case Skin.CONDENSING:
            effect = reader.say("water settles on it")
        case Skin.STEADY:
            effect = reader.say("its skin stays as it is")
        case Skin.DRYING if found.drying_pa > DRYING_STARTS_PA:
            effect = reader.say("its skin dries, cover it")
        case Skin.DRYING:
            effect = reader.say("its skin dries slowly")
        case _:
            assert_never(found.skin)
    return f"{where}: {effect}"
