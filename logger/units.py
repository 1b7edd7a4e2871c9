"""The only place with conversion factors: other units to the ones used inside, and back.

Inside: SI, plus °C, Wh and Ah. Multiply by a factor to come in, divide to go out.
Source: the factors without a remark are exact by definition (SI brochure, 9th edition;
the yard and pound agreement of 1959).
"""

# By definition (SI brochure; yard and pound agreement of 1959), where nothing else is said.
KN = 1852 / 3600  # m/s per knot
NMI = 1852.0  # m per nautical mile
KM_H = 1 / 3.6  # m/s per km/h
MPH = 0.44704  # m/s per mile an hour
FT = 0.3048  # m per foot
INCH = 0.0254  # m per inch
LB = 0.45359237  # kg per pound
TONNE = 1000.0  # kg
LONG_TON = 2240 * LB  # kg
HP = 745.6998715822702  # W per mechanical horsepower (550 ft lbf/s)
PS = 735.49875  # W per metric horsepower (75 kgf m/s)
RPM = 1 / 60  # revolutions per second
KW = 1000.0  # W
KWH = 1000.0  # Wh
ZERO_C_IN_K = 273.15
HOUR_S = 3600.0
DAY_S = 86400.0
DAY_US = 86_400_000_000
UNDATED_S = 1e8  # times before 1973 are those of a log without a date, which begins at 0
CMIL_MM2 = 0.0254**2 * 3.141592653589793 / 4  # mm² per circular mil

# Unit as written by a device or a person -> (unit used inside, factor, offset):
# inside = value * factor + offset.
TO_INSIDE: dict[str, tuple[str, float, float]] = {
    "V": ("V", 1.0, 0.0),
    "mV": ("V", 1e-3, 0.0),
    "A": ("A", 1.0, 0.0),
    "mA": ("A", 1e-3, 0.0),
    "W": ("W", 1.0, 0.0),
    "kW": ("W", KW, 0.0),
    "hp": ("W", HP, 0.0),
    "PS": ("W", PS, 0.0),
    "Wh": ("Wh", 1.0, 0.0),
    "kWh": ("Wh", KWH, 0.0),
    "Ah": ("Ah", 1.0, 0.0),
    "mAh": ("Ah", 1e-3, 0.0),
    "degC": ("degC", 1.0, 0.0),
    "°C": ("degC", 1.0, 0.0),
    "C": ("degC", 1.0, 0.0),
    "K": ("degC", 1.0, -ZERO_C_IN_K),
    "degF": ("degC", 5 / 9, -160 / 9),
    "°F": ("degC", 5 / 9, -160 / 9),
    "ohm": ("ohm", 1.0, 0.0),
    "mohm": ("ohm", 1e-3, 0.0),
    "m/s": ("m/s", 1.0, 0.0),
    "kn": ("m/s", KN, 0.0),
    "km/h": ("m/s", KM_H, 0.0),
    "mph": ("m/s", MPH, 0.0),
    "m": ("m", 1.0, 0.0),
    "km": ("m", 1000.0, 0.0),
    "cm": ("m", 1e-2, 0.0),
    "mm": ("m", 1e-3, 0.0),
    "ft": ("m", FT, 0.0),
    "in": ("m", INCH, 0.0),
    "nmi": ("m", NMI, 0.0),
    "kg": ("kg", 1.0, 0.0),
    "lb": ("kg", LB, 0.0),
    "t": ("kg", TONNE, 0.0),
    "deg": ("deg", 1.0, 0.0),
    "rad": ("deg", 180 / 3.141592653589793, 0.0),
    "rps": ("rps", 1.0, 0.0),
    "rpm": ("rps", RPM, 0.0),
    "frac": ("frac", 1.0, 0.0),
    "%": ("frac", 0.01, 0.0),
    "s": ("s", 1.0, 0.0),
    "min": ("s", 60.0, 0.0),
    "h": ("s", HOUR_S, 0.0),
    "Pa": ("Pa", 1.0, 0.0),
    "hPa": ("Pa", 100.0, 0.0),
    "bar": ("Pa", 1e5, 0.0),
    "Nm": ("Nm", 1.0, 0.0),
    "W/m2": ("W/m2", 1.0, 0.0),
    "count": ("count", 1.0, 0.0),
}


def to_inside(value: float, unit: str) -> float:
    """A value in a device's or person's unit, in the unit used inside.

    Args:
        value: Number in `unit`.
        unit: A key of `TO_INSIDE`.
    Returns:
        The number in the unit that `TO_INSIDE[unit][0]` names.
    Raises:
        KeyError: The unit is not known.
    """
    _, factor, offset = TO_INSIDE[unit]
    return value * factor + offset
