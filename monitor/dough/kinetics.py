"""How fast a dough works at a temperature, and the curves that its rise follows.

Rate against temperature is the cardinal model of Rosso; the curves are those of Zwietering and others, in the form
whose parameters a baker can see on a chart: greatest rise, steepest slope, lag.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

REFERENCE_TEMP_C = 27.0  # judgement: the middle of common practice; equivalent hours are hours at this temperature

COLD_FADE_C = 4.0  # judgement: so wide that 4 C leaves some 3 % of the rate at 24 C, the middle of 1 to 10 % said of it
COLD_FADE_SD_C = 1.0  # judgement: so that nearly all of that lies within its doubt
HOT_FADE_C = 2.0  # judgement: gas outlasts growth by some degrees
CARD_STEP_C = 0.5  # by which a card's temperatures are moved to see what they are worth

GOMPERTZ = 0.0  # shape of a growth curve: see richards
LOGISTIC = 1.0

# Beyond this exponent every curve is 0 in double precision, and exp() would overflow a little later.
_LARGEST_EXPONENT = 600.0


@dataclass(frozen=True, slots=True)
class CardinalTemps:
    """Dough temperatures at which an organism begins, works best and stops. [C]

    ``sd_c`` is how far off each of them may be, one standard deviation: judgement, as sources disagree.

    Raises
    ------
    ValueError
        If ``opt_c`` is not between the middle of the limits and ``max_c``; the curve has no single peak then.
    """

    min_c: float
    opt_c: float
    max_c: float
    sd_c: tuple[float, float, float] = (2.0, 2.0, 2.0)

    def __post_init__(self) -> None:
        if not (self.min_c + self.max_c) / 2.0 < self.opt_c < self.max_c:
            raise ValueError(
                f"cardinal temperatures min_c, opt_c, max_c = {self.min_c}, {self.opt_c}, {self.max_c}: "
                "opt_c must lie above the middle of the limits and below max_c"
            )


GASSING = CardinalTemps(3.0, 38.0, 53.0)
"""Gas production of baker's yeast in dough. Judgement between sources that disagree: an optimum of 32-40 C and about
10 % more rate per C at 23-30 C (trade article "The science of fermentation", Bake magazine 2015, seen); a proof over in
36 min in air of 57 C, and practice up to 54 C (Freilich 1949, Pyler 1973, both quoted by Siffring & Bruinsma 1993), so
that short exposures above the 46 C at which yeast stops growing still gas; a virtual standstill below 10 C (culinary
reference, seen) and yet doughs that rise by half in two or three days at 4 C (common practice, no source)."""

GROWTH = CardinalTemps(3.0, 32.3, 45.4)
"""Growth of *S. cerevisiae*: optimum and maximum of Salvado et al. 2011, Appl. Environ. Microbiol. 77, 2292-2302
(abstract seen); the minimum is a judgement within their 1.3-4.3 C for the genus. Not for gas: that peaks 4 C higher."""

SOURDOUGH_YEAST = CardinalTemps(9.0, 27.0, 31.5, (0.8, 0.5, 1.5))
"""*K. humilis* in sourdough: fitted, together with the fading of :func:`relative_rate`, to the growth rates of
Gaenzle, Ehmann & Hammes 1998, Appl. Environ. Microbiol. 64, 2616-2623, at 14 to 30 C (table from memory), to 3 % of the
greatest. At 32 and 34 C it leaves 0.57 and 0.30 where they have growth at 0.48 and 0.12: gas goes on longer."""

LACTIC = CardinalTemps(4.0, 32.5, 41.0)
"""*F. sanfranciscensis*. Same summary (seen): excellent on the cold side, too generous above 37 C."""


def rate_factor(temp_c: ArrayLike, cardinal: CardinalTemps) -> Array:
    """Rate at a dough temperature, relative to the optimum.

    Parameters
    ----------
    temp_c : float or array, any shape
        Dough temperature, not air. [C]
    cardinal : CardinalTemps
        Minimum, optimum, maximum of the organism. [C]

    Returns
    -------
    array, same shape as ``temp_c``
        0 (at and outside the limits) to 1 (at the optimum). [-]  NaN stays NaN.

    Notes
    -----
    Cardinal model with inflection [1]_. Only (T - Tmin) is squared; one manual's plain-text rendering squares the
    whole product, which is wrong. Too generous in the last degrees below ``max_c``.

    References
    ----------
    .. [1] Rosso, Lobry, Flandrois 1993, J. Theor. Biol. 162, 447-463. Form seen in an R manual; the paper not seen.

    Examples
    --------
    >>> round(float(rate_factor(27.0, GASSING)), 3)
    0.738
    >>> rate_factor([3.0, 38.0, 53.0, float("nan")], GASSING)
    array([ 0.,  1.,  0., nan])
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    low, opt, high = cardinal.min_c, cardinal.opt_c, cardinal.max_c
    inside = np.clip(temp, low, high)  # NaN passes; the formula is 0 at both limits
    top = (inside - high) * (inside - low) ** 2
    bottom = (opt - low) * ((opt - low) * (inside - opt) - (opt - high) * (opt + low - 2.0 * inside))
    # The bottom is negative all the way from min_c to max_c because opt_c lies above the middle: no division by zero.
    return np.asarray(top / bottom + 0.0)  # + 0.0 turns -0.0 into 0.0


def relative_rate(temp_c: ArrayLike, cardinal: CardinalTemps = GASSING) -> Array:
    """Rate at a dough temperature, relative to that at the reference of 27 C. [-]  Never 0: it fades at both limits.

    The card is read at a temperature that nears its limits without reaching them. No source has gas end at a degree:
    at 4 C they leave 1 to 10 % of the rate at 24 C.

    >>> round(float(relative_rate(24.0)), 3)
    0.833
    >>> relative_rate([4.0, 57.0]).round(3)
    array([0.029, 0.054])
    """
    return np.asarray(_faded(temp_c, cardinal) / _faded(REFERENCE_TEMP_C, cardinal))


def _faded(temp_c: ArrayLike, cardinal: CardinalTemps, cold_fade_c: float = COLD_FADE_C) -> Array:
    """The card read at a temperature that nears its limits without reaching them."""
    temp = np.asarray(temp_c, dtype=np.float64)
    warm = cardinal.min_c + _from_zero(temp - cardinal.min_c, cold_fade_c)
    return rate_factor(cardinal.max_c - _from_zero(cardinal.max_c - warm, HOT_FADE_C), cardinal)


def _from_zero(x: Array, width: float) -> Array:
    """x where it is large, fading to 0 below it: a softplus.  NaN stays NaN."""
    return np.maximum(x, 0.0) + width * np.log1p(np.exp(-np.abs(x) / width))


def card_doubts(temp_c: ArrayLike, cardinal: CardinalTemps) -> Array:
    """What is not known of a card, as shifts of ln of the rate relative to 27 C: one row for each cause.

    Parameters
    ----------
    temp_c : array, shape (n,)
        Dough temperature. [C]
    cardinal : CardinalTemps
        Of the organism. [C]

    Returns
    -------
    array, shape (4, n)
        What one standard deviation of ``min_c``, ``opt_c``, ``max_c`` and of the fading in the cold is worth. [-]

    Examples
    --------
    >>> np.sqrt(np.sum(card_doubts([4.0, 20.0, 27.0, 48.0], GASSING) ** 2, axis=0)).round(2)
    array([0.66, 0.09, 0.  , 0.27])
    """

    def worth(sd_c: float, below: Array, above: Array) -> Array:
        return sd_c * (np.log(above) - np.log(below)) / (2.0 * CARD_STEP_C)

    steps_c = (-CARD_STEP_C, CARD_STEP_C)
    rows = []
    for name, sd_c in zip(("min_c", "opt_c", "max_c"), cardinal.sd_c, strict=True):
        moved = (replace(cardinal, **{name: getattr(cardinal, name) + step_c}) for step_c in steps_c)
        rows.append(worth(sd_c, *(relative_rate(temp_c, card) for card in moved)))
    rows.append(worth(COLD_FADE_SD_C, *(_faded(temp_c, cardinal, COLD_FADE_C + step_c) for step_c in steps_c)))
    return np.stack(rows)


def equivalent_hours(t_s: ArrayLike, temp_c: ArrayLike, cardinal: CardinalTemps = GASSING) -> Array:
    """Hours at 27 C that would have brought the dough as far. [h]

    Parameters
    ----------
    t_s : array, shape (n,)
        Times, ascending. [s]
    temp_c : array, shape (n,) or (..., n)
        Dough temperature at these times, straight between them. [C]
    cardinal : CardinalTemps
        Of the organism. [C]

    Returns
    -------
    array, same shape as ``temp_c``
        Running integral of gamma(T)/gamma(27) by trapezoids, 0 at the first time. [h]  From a NaN on, NaN.

    Raises
    ------
    ValueError
        When the times do not ascend, or are not as many as the temperatures.

    Notes
    -----
    Rests on temperature changing only the pace of one and the same course ("degree-hour" principle). A lag that
    answers to temperature in its own way breaks it.

    Examples
    --------
    An hour at 27 C, then one warming to 30 C:

    >>> equivalent_hours([0.0, 3600.0, 7200.0], [27.0, 27.0, 30.0]).round(3)
    array([0.   , 1.   , 2.074])
    """
    times = np.asarray(t_s, dtype=np.float64)
    temps = np.asarray(temp_c, dtype=np.float64)
    if times.ndim != 1 or temps.shape[-1:] != times.shape:
        raise ValueError(f"t_s and temp_c must match: shapes {times.shape} and {temps.shape}")
    if times.size == 0:
        return np.zeros(temps.shape)
    steps_h = np.diff(times) / 3600.0
    if np.any(steps_h < 0.0):
        raise ValueError("t_s must ascend")
    pace = relative_rate(temps, cardinal)
    hours = np.zeros(temps.shape)
    hours[..., 0] = pace[..., 0] * 0.0  # NaN from the very first on, if it is unknown
    hours[..., 1:] = hours[..., :1] + np.cumsum((pace[..., 1:] + pace[..., :-1]) / 2.0 * steps_h, axis=-1)
    return hours


def gompertz(t_h: ArrayLike, max_frac: ArrayLike, rate_per_h: ArrayLike, lag_h: ArrayLike) -> Array:
    """Rise over the start volume by the modified Gompertz curve. [-]

    Parameters
    ----------
    t_h : float or array
        Time, or equivalent time. [h]
    max_frac : float or array
        Greatest rise V/V0 - 1, above 0. [-]
    rate_per_h : float or array
        Steepest slope, above 0. [1/h]
    lag_h : float or array
        Where the tangent at the steepest point meets the time axis. [h]

    Returns
    -------
    array of the broadcast shape

    Notes
    -----
    y = A exp(-exp(mu e/A (lambda - t) + 1)); 0.066 A at the lag, A/e at the steepest point lambda + A/(mu e).
    Zwietering, Jongenburger, Rombouts, van 't Riet 1990, Appl. Environ. Microbiol. 56, 1875-1881; form seen in R
    manuals. Romano et al. 2007, J. Food Eng. 83, 142-148, found it the best description of a dough's rise (abstract
    seen).

    Examples
    --------
    >>> gompertz([0.5, 3.0, 100.0], 2.5, 1.2, 0.5).round(4)
    array([0.165 , 2.2527, 2.5   ])
    """
    return richards(t_h, max_frac, rate_per_h, lag_h, GOMPERTZ)


def logistic(t_h: ArrayLike, max_frac: ArrayLike, rate_per_h: ArrayLike, lag_h: ArrayLike) -> Array:
    """Rise over the start volume by the logistic curve; parameters as in :func:`gompertz`. [-]

    y = A / (1 + exp(4 mu/A (lambda - t) + 2)) (Zwietering et al. 1990, form seen in a manual); 0.119 A at the lag, A/2
    at the steepest point lambda + A/(2 mu).
    """
    return richards(t_h, max_frac, rate_per_h, lag_h, LOGISTIC)


def richards(t_h: ArrayLike, max_frac: ArrayLike, rate_per_h: ArrayLike, lag_h: ArrayLike, shape: ArrayLike) -> Array:
    """Rise over the start volume by the Richards curve; parameters as in :func:`gompertz`. [-]

    ``shape`` (nu, 0 or more) sets how late the steepest point comes: 0 is the Gompertz curve, 1 the logistic one.
    y = A (1 + nu exp(1 + nu + mu/A (1 + nu)^(1 + 1/nu) (lambda - t)))^(-1/nu) (Zwietering et al. 1990, form seen in a
    manual).

    >>> richards(1.7, 2.5, 1.2, 0.5, [0.0, 1e-9, 1.0]).round(4)
    array([1.4167, 1.4167, 1.4386])
    """
    top, nu = np.asarray(max_frac, dtype=np.float64), np.asarray(shape, dtype=np.float64)
    steepness = np.asarray(rate_per_h, dtype=np.float64) / top * _steepness_factor(nu)
    exponent = 1.0 + nu + steepness * (np.asarray(lag_h, dtype=np.float64) - np.asarray(t_h, dtype=np.float64))
    power = np.exp(np.minimum(exponent, _LARGEST_EXPONENT))
    safe_nu = np.where(nu == 0.0, 1.0, nu)
    return np.asarray(top * np.exp(-np.where(nu == 0.0, power, np.log1p(safe_nu * power) / safe_nu)))


def richards_time_h(
    rise_frac: ArrayLike, max_frac: ArrayLike, rate_per_h: ArrayLike, lag_h: ArrayLike, shape: ArrayLike
) -> Array:
    """When a growth curve reaches a rise: the inverse of :func:`richards`. [h]

    Returns
    -------
    array of the broadcast shape
        ``inf`` where the rise is never reached, ``-inf`` where it is 0 or less.

    Examples
    --------
    >>> richards_time_h([0.0, 1.0, 2.5], 2.5, 1.2, 0.5, GOMPERTZ).round(4)
    array([  -inf, 1.3334,    inf])
    """
    top, nu = np.asarray(max_frac, dtype=np.float64), np.asarray(shape, dtype=np.float64)
    part = np.asarray(rise_frac, dtype=np.float64) / top
    inside = np.where((part > 0.0) & (part < 1.0), part, 0.5)  # a stand-in where there is no finite answer
    safe_nu = np.where(nu == 0.0, 1.0, nu)
    depth = -np.log(inside)
    exponent = np.log(np.where(nu == 0.0, depth, np.expm1(safe_nu * depth) / safe_nu))
    steepness = np.asarray(rate_per_h, dtype=np.float64) / top * _steepness_factor(nu)
    time = np.asarray(lag_h, dtype=np.float64) + (1.0 + nu - exponent) / steepness
    time = np.where(part <= 0.0, -np.inf, np.where(part >= 1.0, np.inf, time))
    return np.asarray(np.where(np.isnan(part), np.nan, time))


def _steepness_factor(nu: Array) -> Array:
    """(1 + nu)^(1 + 1/nu), which is e at 0. [-]"""
    safe_nu = np.where(nu == 0.0, 1.0, nu)
    return np.asarray(np.where(nu == 0.0, np.e, np.exp((1.0 + 1.0 / safe_nu) * np.log1p(safe_nu))))
