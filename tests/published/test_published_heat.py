"""Published values for the warming of dough."""

import numpy as np
import pytest
from fact import Fact, Seen, each

from monitor.dough.heat import dough_temp_from_air, time_constant_s
from monitor.dough.kinetics import GASSING, equivalent_hours


def _cylinder_tau_min(diameter_m: float, film_w_m2k: float) -> float:
    """A kilogram of density 1150 as a cylinder with all its faces in the air. [min]"""
    volume_m3 = 1.0 / 1150.0
    height_m = volume_m3 / (np.pi / 4.0 * diameter_m**2)
    area_mm2 = (np.pi / 2.0 * diameter_m**2 + np.pi * diameter_m * height_m) * 1e6
    return time_constant_s(mass_g=1000.0, area_mm2=area_mm2, film_w_m2k=film_w_m2k) / 60.0


TIME_CONSTANTS = [
    Fact(f"time constant, 1 kg, {diameter_m} m wide, {film} W/m2K [min]",
         lambda diameter_m=diameter_m, film=film: _cylinder_tau_min(diameter_m, film), value, 0.75,
         "m cp/(h A) (1 + Bi/3) with cp 2900, k 0.45, density 1150 (from memory), to the minute", Seen.COMPUTED)
    for diameter_m, row in ((0.10, (204, 132, 92)), (0.14, (184, 119, 83)), (0.20, (125, 80, 55)))
    for film, value in zip((5.0, 8.0, 12.0), row, strict=True)
]  # fmt: skip


def _warmed_c(box_c: float, minutes: float, tau_min: float) -> float:
    return float(dough_temp_from_air([0.0, minutes * 60.0], [box_c, box_c], 27.0, tau_min * 60.0)[-1])


PAN_BREAD = "encyclopedia of baking, table of proofing: high-speed pan bread at 27 C, box 40-46 C, leaves at 33-36 C"
WARM_UP = [
    Fact("pan bread, box 43 C, 60 min, time constant 73 min [C]", lambda: _warmed_c(43.0, 60.0, 73.0), 36.0, 0.05,
         PAN_BREAD, Seen.SEEN),
    Fact("pan bread, box 43 C, 60 min, time constant 128 min [C]", lambda: _warmed_c(43.0, 60.0, 128.0), 33.0, 0.05,
         PAN_BREAD, Seen.SEEN),
    Fact("pan bread, coolest box to coolest dough, 97 min [C]", lambda: _warmed_c(40.0, 60.0, 97.0), 33.0, 0.05,
         PAN_BREAD, Seen.SEEN),
    Fact("pan bread, warmest box to warmest dough, 94 min [C]", lambda: _warmed_c(46.0, 60.0, 94.0), 36.0, 0.05,
         PAN_BREAD, Seen.SEEN),
]  # fmt: skip


@each(TIME_CONSTANTS)
def test_time_constants(fact: Fact):
    fact.check()


@each(WARM_UP)
def test_warm_up(fact: Fact):
    fact.check()


def _proof_min(box_c: float, tau_min: float, hours_needed: float) -> float:
    """Minutes until a dough from 27 C in a box has lived so many equivalent hours; ``inf`` for never within a day."""
    t_s = np.arange(0.0, 86_400.0, 30.0)
    dough = dough_temp_from_air(t_s, np.full(t_s.size, box_c), 27.0, tau_min * 60.0)
    lived = equivalent_hours(t_s, dough, GASSING)
    return float(np.interp(hours_needed, lived, t_s / 60.0)) if lived[-1] >= hours_needed else float("inf")


def _needed_h(tau_min: float) -> float:
    """What 55 min at 43 C amount to, the usual proof (Dubois & Vetter 1987, quoted by Siffring & Bruinsma 1993). [h]"""
    return _lived_h(43.0, 55.0, tau_min)


def _lived_h(box_c: float, minutes: float, tau_min: float) -> float:
    """Equivalent hours of a dough put into a box at 27 C. [h]"""
    t_s = np.linspace(0.0, minutes * 60.0, 400)
    dough_c = dough_temp_from_air(t_s, np.full(t_s.size, box_c), 27.0, tau_min * 60.0)
    return float(equivalent_hours(t_s, dough_c, GASSING)[-1])


@pytest.mark.parametrize("tau_min", [40.0, 60.0, 95.0])
def test_a_warmer_box_proofs_sooner(tau_min: float):
    # Freilich 1949, quoted by Siffring & Bruinsma 1993: proof to constant height in 270 min at 13 C, 36 min at 57 C.
    # Only the trend is asked for: size and first temperature of those doughs are not known.
    times = [_proof_min(box_c, tau_min, _needed_h(tau_min)) for box_c in (13.0, 20.0, 27.0, 35.0, 43.0)]
    assert times == sorted(times, reverse=True)
    assert times[-1] == pytest.approx(55.0, abs=0.5)


@pytest.mark.parametrize("tau_min", [55.0, 95.0])
def test_hot_and_usual_boxes_are_one_work_and_a_cold_box_another(tau_min: float):
    # Freilich 1949 and Dubois & Vetter 1987, both quoted by Siffring & Bruinsma 1993: 36 min at 57 C, 270 min at 13 C,
    # about 55 min at 46 C (read as 43 here, for the box). Equal work would be equal equivalent hours; size and first
    # temperature of those doughs are not known. The hot end is short by a third, the cold end long by up to a factor
    # of 2.2: a card that met both would stand still at 10 C, which others contradict. The card was not bent to it.
    usual_h = _needed_h(tau_min)
    hot_h, cold_h = _lived_h(57.0, 36.0, tau_min), _lived_h(13.0, 270.0, tau_min)
    assert 0.6 < hot_h / usual_h < 0.75
    assert 1.5 < cold_h / usual_h < 2.2
    assert _proof_min(57.0, tau_min, usual_h) < 1.05 * 55.0, "no cliff: a hotter box is about as quick"
