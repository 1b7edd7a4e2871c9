"""Numbers as a sailor reads them: knots, nautical miles, percent, and ranges in words.

Everything comes in with the units used inside and leaves as text. Nothing is worked out here.
"""

import math
from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo

from analyzer.estimation.estimate import Estimate
from analyzer.faces import units
from logger.units import DAY_S, HOUR_S, KN, KW, NMI, RPM, UNDATED_S

UNKNOWN = "not known"
_TIMES_IN_TEN = {5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine"}
_POINTS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)


def missing(value: float | None) -> bool:
    """Whether there is no number to show."""
    return value is None or not math.isfinite(value)


def plain(value: float, size: float | None = None) -> str:
    """About two significant figures: 0.46 below 1, 4.6 below 10, 46 above.

    Args:
        value: Any number.
        size: The magnitude that decides the decimals, so that two ends of a range look alike.
    """
    size = abs(value if size is None else size)
    text = f"{value:.{2 if size < 0.95 else 1 if size < 9.95 else 0}f}"
    return text.lstrip("-") if float(text) == 0 else text


def coverage(frac: float) -> str:
    """0.8 as "eight times in ten"."""
    tenths = frac * 10
    if abs(tenths - round(tenths)) < 0.02 and round(tenths) in _TIMES_IN_TEN:
        return f"{_TIMES_IN_TEN[round(tenths)]} times in ten"
    return f"{frac * 100:.0f} times in a hundred"


def knots(speed_mps: float | None) -> str:
    """A speed. "4.6 kn"."""
    return UNKNOWN if missing(speed_mps) else f"{(speed_mps or 0.0) / KN:.1f} kn"


def miles(distance_m: float | None) -> str:
    """A distance. "13 nmi"."""
    return UNKNOWN if missing(distance_m) else f"{plain((distance_m or 0.0) / NMI)} nmi"


def until(start_utc_s: float, end_utc_s: float, zone: tzinfo | None = None) -> str:
    """When something ended: the clock alone where it was the day on which it began."""
    same = day(start_utc_s, zone).rsplit(" ", 1)[0] == day(end_utc_s, zone).rsplit(" ", 1)[0]
    return clock(end_utc_s, zone) if same else day(end_utc_s, zone)


def duration(seconds: float | None) -> str:
    """A time span. "2 h 40 min", "35 min", "40 s"; whole hours from ten hours on."""
    if seconds is None or not math.isfinite(seconds):
        return UNKNOWN
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes >= 100 * 60:
        return f"{minutes / 1440:.0f} days"
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    if hours >= 10:
        return f"{minutes / 60:.0f} h"
    return f"{hours} h {rest:02d} min" if rest else f"{hours} h"


def percent(frac: float | None) -> str:
    """A share. "64 %"."""
    return UNKNOWN if missing(frac) else f"{(frac or 0.0) * 100:.0f} %"


def sureness(frac: float | None) -> str:
    """A probability; never quite 0 or 100 %, since nothing at sea is."""
    if frac is None or not math.isfinite(frac):
        return UNKNOWN
    return "less than 1 %" if frac < 0.01 else "over 99 %" if frac > 0.99 else percent(frac)


def power(power_w: float | None) -> str:
    """A power. "1.9 kW" from 1 kW on, else "450 W"."""
    if power_w is None or not math.isfinite(power_w):
        return UNKNOWN
    if abs(power_w) < 995:
        return f"{_whole(power_w)} W"
    return f"{power_w / KW:.{1 if abs(power_w) < 9950 else 0}f} kW"


def energy(energy_wh: float | None) -> str:
    """An energy. "3.2 kWh" from 1 kWh on, else "450 Wh"."""
    return UNKNOWN if missing(energy_wh) else power(energy_wh) + "h"


def volts(value_v: float | None) -> str:
    """A voltage; millivolts below a tenth of a volt."""
    if value_v is None or not math.isfinite(value_v):
        return UNKNOWN
    return f"{_whole(value_v * 1e3)} mV" if abs(value_v) < 0.1 else f"{value_v:.2f} V"


def amperes(value_a: float | None) -> str:
    """A current. "85 A"."""
    return UNKNOWN if missing(value_a) else f"{plain(value_a or 0.0)} A"


def celsius(value_c: float | None) -> str:
    """A temperature. "48 °C"."""
    return UNKNOWN if missing(value_c) else f"{_whole(value_c or 0.0)} °C"


def bearing(direction_deg: float | None) -> str:
    """A direction. "075° (east)"."""
    if direction_deg is None or not math.isfinite(direction_deg):
        return UNKNOWN
    turn = round(direction_deg) % 360
    return f"{turn:03d}° ({_POINTS[round(turn / 45) % 8]})"


_SHOWN = {  # unit used inside -> divisor, long name, short name
    "m": (NMI, "nautical miles", "nmi"),
    "m/s": (KN, "knots", "kn"),
    "frac": (0.01, "%", "%"),
    "W": (KW, "kW", "kW"),
    "Wh": (KW, "kWh", "kWh"),
    "Wh/m": (1 / NMI, "Wh/nmi", "Wh/nmi"),
    "V": (1.0, "V", "V"),
    "A": (1.0, "A", "A"),
    "ohm": (1e-3, "mΩ", "mΩ"),
    "degC": (1.0, "°C", "°C"),
    "K": (1.0, "K", "K"),
    "deg": (1.0, "°", "°"),
}


def _scale(estimate: Estimate) -> tuple[float, str, str]:
    """Divisor, long and short unit that suit the size of the estimate."""
    divisor, long, short = _SHOWN.get(estimate.unit, (1.0, estimate.unit, estimate.unit))
    size = max(abs(v) for v in (estimate.mid, estimate.low, estimate.high, 0.0) if v is not None)
    if estimate.unit in ("W", "Wh") and size < 995:
        return 1.0, estimate.unit, estimate.unit
    if estimate.unit == "V" and size < 0.1:
        return 1e-3, "mV", "mV"
    return divisor, long, short


def value(estimate: Estimate) -> str:
    """The middle of an estimate with its short unit; "not known" where there is none."""
    if estimate.mid is None or not math.isfinite(estimate.mid):
        return UNKNOWN
    if estimate.unit == "s":
        return duration(estimate.mid)
    divisor, _, short = _scale(estimate)
    return f"{_number(estimate, estimate.mid, divisor)} {short}"


def band(estimate: Estimate, long: bool = False, size: float | None = None) -> str:
    """The range of an estimate. "11 to 15 nmi", or long "between 11 and 15 nautical miles".

    Args:
        size: The magnitude that decides the decimals; None: the range's own.
    """
    low, high = estimate.low, estimate.high
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return value(estimate)
    if estimate.unit == "s":
        return _join(duration(low), duration(high), "", long)
    divisor, long_unit, short_unit = _scale(estimate)
    unit = long_unit if long else short_unit
    size = max(abs(low), abs(high)) if size is None else size
    low_text, high_text = (_number(estimate, v, divisor, size) for v in (low, high))
    return _join(low_text, high_text, unit, long)


def bands(estimates: Sequence[Estimate]) -> list[str]:
    """The ranges of a column, all with as many decimals as its middle row."""
    ends = sorted(
        max(abs(e.low), abs(e.high)) for e in estimates if e.low is not None and e.high is not None
    )
    middle = ends[len(ends) // 2] if ends else None
    return [band(e, size=middle) for e in estimates]


def _number(estimate: Estimate, number: float, divisor: float, size: float | None = None) -> str:
    scaled = number / divisor
    if estimate.unit in ("frac", "degC", "K", "deg") or (
        estimate.unit in ("W", "Wh") and divisor == 1.0
    ):
        return _whole(scaled)
    return plain(scaled, None if size is None else size / divisor)


def _join(low: str, high: str, unit: str, long: bool) -> str:
    tail = f" {unit}" if unit else ""
    if low == high:
        return f"about {low}{tail}" if long else f"{low}{tail}"
    return f"between {low} and {high}{tail}" if long else f"{low} to {high}{tail}"


def _whole(number: float) -> str:
    text = f"{number:.0f}"
    return "0" if text == "-0" else text


def clock(utc_s: float | None, zone: tzinfo | None = None) -> str:
    """Time of day in the board's own time zone (or the given one). "14:05"."""
    return UNKNOWN if utc_s is None else local(utc_s, zone).strftime("%H:%M")


def day(utc_s: float | None, zone: tzinfo | None = None) -> str:
    """Date and time of day. "3 Jun 2024 14:05"; in a log without dates "day 1 14:05 undated"."""
    if utc_s is None:
        return UNKNOWN
    if utc_s < UNDATED_S:
        return f"day {int(utc_s // DAY_S) + 1} {clock(utc_s, UTC)} undated"
    moment = local(utc_s, zone)
    return f"{moment.day} {moment.strftime('%b %Y %H:%M')}"


def date(utc_s: float) -> str:
    """A day without its time. "3 Jun 2024"; in a log without dates "day 1, undated"."""
    if utc_s < UNDATED_S:
        return f"day {int(utc_s // DAY_S) + 1}, undated"
    moment = local(utc_s)
    return f"{moment.day} {moment:%b %Y}"


def month(utc_s: float) -> str:
    """ "June 2024"; "undated" in a log without dates."""
    return "undated" if utc_s < UNDATED_S else f"{local(utc_s):%B %Y}"


def moments(estimate: Estimate, zone: tzinfo | None = None) -> str:
    """A range of times with its date, and that of the later where it is another day's."""
    low, high = estimate.low or 0.0, estimate.high or 0.0
    return f"{day(low, zone)} to {until(low, high, zone)}"


def course(deg: float) -> str:
    """A course or bearing in three figures. "005°"."""
    return f"{round(deg) % 360:03d}°"


def zone_name(utc_s: float, zone: tzinfo | None = None) -> str:
    """The zone that `clock` and `day` show. "UTC", "CEST"."""
    if utc_s < UNDATED_S:
        return "own clock"
    return local(utc_s, zone).tzname() or "UTC"


def local(utc_s: float, zone: tzinfo | None = None) -> datetime:
    """A moment in a zone; None: in UTC where a page's reader wants that, else in the board's."""
    wanted = UTC if zone is None and units.now().utc else zone
    return datetime.fromtimestamp(utc_s, UTC).astimezone(wanted)


def age(seconds: float | None) -> str:
    """How long ago. "just now", "40 s ago", "3 h ago"."""
    if seconds is None:
        return UNKNOWN
    return "just now" if seconds < 5 else f"{duration(seconds)} ago"


def moment(utc_s: float, age_s: float | None) -> str:
    """A moment and how long ago it was; with its date where that is not today's and known.

    Args:
        utc_s: 0 where nothing was recorded yet.
    """
    if not utc_s:
        return "nothing recorded yet"
    if utc_s < UNDATED_S:
        return "date not known" if age_s is None else f"{age(age_s)}, date not known"
    when = clock(utc_s) if age_s is not None and age_s < 12 * HOUR_S else day(utc_s)
    return f"{when} {zone_name(utc_s)}, {age(age_s)}"


def count(number: int, one: str, many: str | None = None) -> str:
    """1 trip, 2 trips."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def consumption(wh_per_m: float | None) -> str:
    """Watt-hours per nautical mile."""
    return UNKNOWN if missing(wh_per_m) else f"{_whole((wh_per_m or 0.0) * NMI)} Wh/nmi"


def capital(text: str) -> str:
    """First letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """First letter large, a full stop at the end."""
    text = capital(text.strip())
    return text if not text or text[-1] in ".!?" else text + "."


def hours(seconds: float) -> float:
    """Seconds as hours."""
    return seconds / HOUR_S


# Units used inside -> how a sailor says them: the word, and how many of it make one inside.
_SAID = {
    "degC": ("°C", 1.0),
    "count": ("", 1.0),
    "deg": ("°", 1.0),
    "rps": ("turns a minute", 1 / RPM),
    "m/s": ("kn", 1 / KN),
}


def reading(number: float | None, unit: str) -> str:
    """A channel's value as it came, in a sailor's unit."""
    if number is None or not math.isfinite(number):
        return "no value"
    if unit == "frac":
        return percent(number)
    shown, times = _SAID.get(unit, (unit, 1.0))
    value = number * times
    digits = ".0f" if abs(value) >= 1e5 else ".5g"  # never 1e+05
    return f"{value:{digits}} {shown}".strip()


def rate(rate_hz: float | None, age_s: float | None = None) -> str:
    """How often something comes, and that it has stopped where it is much later than usual."""
    if rate_hz is None or rate_hz <= 0:
        often = ""
    else:
        often = f"{rate_hz:.2g} a second" if rate_hz >= 0.95 else f"every {1 / rate_hz:.2g} s"
    late_s = max(10.0, 5.0 / rate_hz) if rate_hz else 10.0
    if age_s is None or age_s < late_s:
        return often
    silent = f"silent for {duration(age_s)}"
    return f"{often}, {silent}" if often else silent
