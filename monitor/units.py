"""Exact conversions and physical constants, each with its source."""

GAS_CONSTANT_J_MOL_K = 8.314462618  # SI 2019 definition (exact to the digits given)
STANDARD_PRESSURE_PA = 101_325.0  # standard atmosphere, exact by definition
ZERO_CELSIUS_K = 273.15  # exact by definition
GRAMS_PER_OUNCE = 28.349523125  # international avoirdupois ounce, exact by definition


def fahrenheit(temp_c: float) -> float:
    """Temperature in degrees Fahrenheit.

    >>> fahrenheit(25.0)
    77.0
    """
    return temp_c * 9.0 / 5.0 + 32.0


def celsius(temp_f: float) -> float:
    """Temperature in degrees Celsius.

    >>> round(celsius(80.0), 1)
    26.7
    """
    return (temp_f - 32.0) * 5.0 / 9.0


def ounces(mass_g: float) -> float:
    """Mass in avoirdupois ounces."""
    return mass_g / GRAMS_PER_OUNCE


def grams(mass_oz: float) -> float:
    """Mass in grams."""
    return mass_oz * GRAMS_PER_OUNCE
