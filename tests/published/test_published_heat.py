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
    t_s = np.linspace(0.0, 55.0 * 60.0, 200)
    return float(equivalent_hours(t_s, dough_temp_from_air(t_s, np.full(200, 43.0), 27.0, tau_min * 60.0), GASSING)[-1])


@pytest.mark.parametrize("tau_min", [40.0, 60.0, 95.0])
def test_a_warmer_box_proofs_sooner(tau_min: float):
    # Freilich 1949, quoted by Siffring & Bruinsma 1993: proof to constant height in 270 min at 13 C, 36 min at 57 C.
    # Only the trend is asked for: size and first temperature of those doughs are not known.
    times = [_proof_min(box_c, tau_min, _needed_h(tau_min)) for box_c in (13.0, 20.0, 27.0, 35.0, 43.0)]
    assert times == sorted(times, reverse=True)
    assert times[-1] == pytest.approx(55.0, abs=0.5)


@pytest.mark.parametrize(("tau_min", "minutes"), [(95.0, 94.0), (40.0, 179.0)])
def test_a_cold_box_is_judged_too_fast(tau_min: float, minutes: float):
    # Computed apart from this program with the same cards. It is 1.5 to 3 times short of Freilich's 270 min at 13 C:
    # a forecast in a cold box rests on the readings, not on this prior.
    assert _proof_min(13.0, tau_min, _needed_h(tau_min)) == pytest.approx(minutes, abs=1.0)


def test_the_gassing_card_must_not_be_used_in_a_box_of_57_c():
    # Freilich saw a proof end in 36 min there; with a hard end at 46 C and 60 min of time constant ours never ends.
    # A known limit, and the reason why GASSING says so beside its numbers.
    assert _proof_min(57.0, 60.0, _needed_h(60.0)) == float("inf")
