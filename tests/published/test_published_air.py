"""Published values for moist air, and a comparison over a grid with an independent library."""

import numpy as np
import psychrolib
import pytest
from fact import Fact, Seen, each

from monitor.dough.air import (
    Skin,
    dew_point_c,
    humidity_ratio,
    saturation_pressure_pa,
    skin_state,
    standard_pressure_pa,
    vapour_pressure_pa,
)

TABLE_1 = "ASHRAE Fundamentals 2017 ch. 1 table 1, quoted by the PsychroLib tests"
TABLE_2 = "ASHRAE Fundamentals 2017 ch. 1 table 2, quoted by the PsychroLib tests"
TABLE_3 = "ASHRAE Fundamentals 2017 ch. 1 table 3, quoted by the PsychroLib tests"
EXAMPLE_1 = "ASHRAE Fundamentals 2017 ch. 1 example 1 (40 C dry, 20 C wet), quoted by the PsychroLib tests"
MAGNUS = "Magnus form of Sonntag 1990, 611.2 exp(17.62 T/(243.12 + T)) Pa"

# The Magnus form claims 0.4 % against the table from 0 C on and is not made for 100 C, the table's next row.
PRESSURES = [
    Fact("saturation pressure at 5 C [Pa]", lambda: saturation_pressure_pa(5.0), 872.6, 4e-3, TABLE_3, Seen.QUOTED,
         True),
    Fact("saturation pressure at 25 C [Pa]", lambda: saturation_pressure_pa(25.0), 3169.7, 4e-3, TABLE_3, Seen.QUOTED,
         True),
    Fact("saturation pressure at 50 C [Pa]", lambda: saturation_pressure_pa(50.0), 12351.3, 4e-3, TABLE_3, Seen.QUOTED,
         True),
    Fact("the Magnus form itself at 25 C [Pa]", lambda: saturation_pressure_pa(25.0), 3160.1, 0.05, MAGNUS,
         Seen.COMPUTED),
    Fact("vapour pressure at 25 C, 80 % [Pa]", lambda: vapour_pressure_pa(25.0, 80.0), 2535.8, 4e-3, TABLE_3,
         Seen.QUOTED, True),
    Fact("standard pressure at 500 m [Pa]", lambda: standard_pressure_pa(500.0), 95461.0, 1.0, TABLE_1, Seen.QUOTED),
    Fact("standard pressure at 1000 m [Pa]", lambda: standard_pressure_pa(1000.0), 89875.0, 1.0, TABLE_1, Seen.QUOTED),
    Fact("standard pressure at 4000 m [Pa]", lambda: standard_pressure_pa(4000.0), 61640.0, 1.0, TABLE_1, Seen.QUOTED),
    Fact("standard pressure at the sea [Pa]", lambda: standard_pressure_pa(0.0), 101325.0, 0.0,
         "standard atmosphere, by definition", Seen.SEEN),
]  # fmt: skip

# Ideal gases leave out the 0.4 to 0.6 % that the real-gas table adds; fed with the table's own pressures.
RATIOS = [
    Fact("humidity ratio, saturated at 5 C [kg/kg]", lambda: humidity_ratio(872.6), 0.005425, 5e-3, TABLE_2,
         Seen.QUOTED,
         True),
    Fact("humidity ratio, saturated at 25 C [kg/kg]", lambda: humidity_ratio(3169.7), 0.020173, 5e-3, TABLE_2,
         Seen.QUOTED, True),
    Fact("humidity ratio, saturated at 50 C [kg/kg]", lambda: humidity_ratio(12351.3), 0.086863, 1e-2, TABLE_2,
         Seen.QUOTED, True),
    Fact("humidity ratio, 3169.7 Pa in 95461 Pa [kg/kg]", lambda: humidity_ratio(3169.7, 95461.0), 0.0213603998, 1e-6,
         "PsychroLib tests", Seen.SEEN),
    Fact("humidity ratio of example 1 [kg/kg]", lambda: humidity_ratio(vapour_pressure_pa(40.0, 14.0)), 0.0065, 5e-4,
         EXAMPLE_1 + "; its 14 % is good to 1 %", Seen.QUOTED),
]  # fmt: skip

DEW_POINTS = [
    Fact(f"dew point at {temp_c} C, {humidity_pct} % [C]",
         lambda temp_c=temp_c, humidity_pct=humidity_pct: dew_point_c(temp_c, humidity_pct), value, 0.02, MAGNUS,
         Seen.COMPUTED)
    for temp_c, humidity_pct, value in (
        (27, 80, 23.25), (30, 75, 25.08), (35, 85, 32.10), (38, 80, 33.94), (43, 85, 39.93), (20, 50, 9.26),
        (25, 80, 21.31),
    )
] + [
    Fact("dew point of example 1 [C]", lambda: dew_point_c(40.0, 14.0), 7.0, 0.5, EXAMPLE_1, Seen.QUOTED),
]  # fmt: skip


@each(PRESSURES)
def test_pressures(fact: Fact):
    fact.check()


@each(RATIOS)
def test_humidity_ratios(fact: Fact):
    fact.check()


@each(DEW_POINTS)
def test_dew_points(fact: Fact):
    fact.check()


@pytest.mark.parametrize(
    ("air_c", "humidity_pct", "verdict"),
    # A dough at 27 C; computed from the Magnus form and a water activity of 0.96 (from memory).
    [(38.0, 80.0, Skin.CONDENSING), (43.0, 85.0, Skin.CONDENSING), (27.0, 80.0, Skin.DRYING)],
)
def test_dough_at_27_c(air_c: float, humidity_pct: float, verdict: Skin):
    state = skin_state(air_temp_c=air_c, humidity_pct=humidity_pct, surface_temp_c=27.0)
    assert state is not None
    assert state.skin is verdict


def test_a_warmed_dough_dries_in_the_cabinet_that_wetted_it():
    # Dew point of 38 C, 80 % is 33.94 C (computed above): behind it, and the 0.7 C of the water activity, it dries.
    state = skin_state(air_temp_c=38.0, humidity_pct=80.0, surface_temp_c=35.0)
    assert state is not None
    assert state.skin is Skin.DRYING


@pytest.fixture
def hyland_wexler():
    """The library PsychroLib (equations of Hyland and Wexler, as in ASHRAE Fundamentals 2017), in SI units."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib


TEMPS_C = np.arange(0.0, 61.0, 2.5)
HUMIDITIES_PCT = np.arange(10.0, 101.0, 7.5)


def test_saturation_pressure_over_a_grid(hyland_wexler):
    theirs = [hyland_wexler.GetSatVapPres(float(temp)) for temp in TEMPS_C]
    np.testing.assert_allclose(saturation_pressure_pa(TEMPS_C), theirs, rtol=4e-3)


def test_dew_point_over_a_grid(hyland_wexler):
    # 0.4 % of pressure is at most 0.1 C of dew point above 0 C; below it ours is over water, theirs over ice.
    for temp in TEMPS_C:
        for humidity in HUMIDITIES_PCT:
            theirs = hyland_wexler.GetTDewPointFromRelHum(float(temp), float(humidity) / 100.0)
            if theirs >= 0.0:
                assert float(dew_point_c(temp, humidity)) == pytest.approx(theirs, abs=0.1)


def test_humidity_ratio_over_a_grid(hyland_wexler):
    for vapour_pa in np.arange(100.0, 20_000.0, 700.0):
        for pressure_pa in (61_640.0, 89_875.0, 101_325.0):
            theirs = hyland_wexler.GetHumRatioFromVapPres(float(vapour_pa), pressure_pa)
            assert float(humidity_ratio(vapour_pa, pressure_pa)) == pytest.approx(theirs, rel=1e-5)


def test_standard_pressure_over_a_grid(hyland_wexler):
    altitudes = np.arange(-400.0, 5001.0, 300.0)
    theirs = [hyland_wexler.GetStandardAtmPressure(float(altitude)) for altitude in altitudes]
    np.testing.assert_allclose(standard_pressure_pa(altitudes), theirs, rtol=1e-6)
