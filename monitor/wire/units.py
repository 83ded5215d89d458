"""Units on the wire, by the tables of SenML: each with the one it is turned into. Pure."""

# RFC 8428 section 12.1 (m, K, Cel, %RH, V, dBW, count, "/") and RFC 8798 (mm, cm, mV, dBm, "/100"), from memory.
# degF is in neither, and F is the farad: degrees Fahrenheit are 5/9 of a kelvin wide, 32 of them are 0 C. A share of 1
# is 100 %RH only where a humidity is asked for, which is the only share that is measured here.
_INTO: dict[str, tuple[str, float, float]] = {  # unit -> the one it becomes, factor, offset added after that
    "mm": ("m", 1e-3, 0.0),
    "cm": ("m", 1e-2, 0.0),
    "K": ("Cel", 1.0, -273.15),
    "degF": ("Cel", 5.0 / 9.0, -160.0 / 9.0),
    "/": ("%RH", 100.0, 0.0),
    "/100": ("%RH", 1.0, 0.0),
    "mV": ("V", 1e-3, 0.0),
    "dBm": ("dBW", 1.0, -30.0),
}


def converted(value: float, unit: str | None, wanted: str) -> float | None:
    """A value in the unit that is wanted; None when its own cannot become that.

    >>> converted(212.4, "mm", "m")
    0.2124
    >>> converted(21.0, "V", "Cel") is None
    True
    """
    if unit == wanted:
        return value
    into, factor, offset = _INTO.get(unit or "", ("", 0.0, 0.0))
    return value * factor + offset if into == wanted else None


def units_for(wanted: str) -> tuple[str, ...]:
    """The units that can become the one that is wanted, itself first.

    >>> units_for("m")
    ('m', 'mm', 'cm')
    """
    return (wanted, *(unit for unit, (into, _, _) in _INTO.items() if into == wanted))
