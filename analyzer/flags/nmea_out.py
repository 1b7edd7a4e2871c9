"""What other displays on board can show: NMEA 0183 sentences of flags, charge, power and range.

Talker "II" (integrated instrumentation). ALR is the standard's alarm sentence, RPM its sentence for
a shaft; figures that no sentence is made for go out as XDR transducers. Sentences only tell;
nothing here commands.
"""

import math
from collections.abc import Mapping
from datetime import UTC, datetime

from logger.boat import Boat
from logger.store.records import FlagRecord

LONGEST = 82  # characters, "$" and CR LF included; source: NMEA 0183
TALKER = "II"
XDR_PER_SENTENCE = 3  # so that none is longer; source: NMEA 0183, its length

# channel -> (transducer type, unit, name on the line, factor, decimals)
XDR = {
    "pack_voltage_v": ("U", "V", "PACK", 1.0, 2),
    "pack_current_a": ("I", "A", "PACK", 1.0, 1),
    "pack_temp_c": ("C", "C", "PACK", 1.0, 1),
    "motor_temp_c": ("C", "C", "MOTOR", 1.0, 1),
    "controller_temp_c": ("C", "C", "CONTROLLER", 1.0, 1),
    "charge_frac": ("G", "", "CHARGE", 1.0, 3),
    "power_w": ("G", "", "POWER_W", 1.0, 0),
    "range_nmi": ("G", "", "RANGE_NMI", 1.0, 1),
    "range_low_nmi": ("G", "", "RANGE_LOW_NMI", 1.0, 1),
}


def told(boat: Boat, figures_s: float, repeat_s: float) -> str:
    """What goes out on the line, as a sentence for people.

    Args:
        figures_s: Between figures. repeat_s: Between reminders of a flag that stands.
    """
    names = [name for _, _, name, _, _ in XDR.values()]
    names += [plain(cable.probe.upper())[:16] for cable in boat.cable if cable.probe]
    return (
        f"ALR for each flag, again every {repeat_s:.0f} s while it stands; every {figures_s:.0f} s "
        f"RPM of the shaft and XDR of {', '.join(dict.fromkeys(names))}, as far as they are known"
    )


def sentence(fields: str) -> str:
    """A whole sentence with its checksum and line end. Source: NMEA 0183 (exclusive or of all
    characters between "$" and "*", as two hexadecimal digits).
    """
    check = 0
    for byte in fields.encode("ascii"):
        check ^= byte
    return f"${fields}*{check:02X}\r\n"


def alert(flag: FlagRecord, number: int, now_utc_s: float) -> str:
    """The alarm sentence of a flag: ALR.

    Args:
        number: Which alarm on this line, 0 to 999.
        now_utc_s: Seconds since 1970.
    Returns:
        One sentence; its text is cut to what the standard's length leaves.
    """
    time = datetime.fromtimestamp(now_utc_s, UTC).strftime("%H%M%S.%f")[:9]
    condition = "V" if flag.cleared_us is not None else "A"
    seen = "A" if flag.seen_us is not None else "V"
    head = f"{TALKER}ALR,{time},{number % 1000:03d},{condition},{seen},"
    text = plain(f"{flag.level.upper()}: {flag.title}")
    return sentence(head + text[: LONGEST - len(head) - 6])


def figures(values: Mapping[str, float], probes: Mapping[str, float] | None = None) -> list[str]:
    """XDR sentences of what is known; a missing or endless value is left out.

    Args:
        values: By the keys of `XDR`.
        probes: Temperature by probe name. [°C]
    """
    parts = []
    for key, (kind, unit, name, factor, decimals) in XDR.items():
        value = values.get(key, math.nan)
        if math.isfinite(value):
            parts.append(f"{kind},{value * factor:.{decimals}f},{unit},{name}")
    for name, value in (probes or {}).items():
        if math.isfinite(value):
            parts.append(f"C,{value:.1f},C,{plain(name.upper())[:16]}")
    return _packed(parts)


def revolutions(shaft_rps: float) -> list[str]:
    """The RPM sentence of the propeller's shaft; none where it is not known.

    Source: NMEA 0183 RPM: source S (shaft), number, revolutions per minute, pitch, status.
    """
    if not math.isfinite(shaft_rps):
        return []
    return [sentence(f"{TALKER}RPM,S,1,{60.0 * shaft_rps:.1f},,A")]


def _packed(parts: list[str]) -> list[str]:
    """As many as fit into each sentence, at most `XDR_PER_SENTENCE`."""
    out: list[list[str]] = []
    for part in parts:
        room = LONGEST - 6 - len(f"{TALKER}XDR")
        fits = out and len(out[-1]) < XDR_PER_SENTENCE
        if fits and sum(len(p) + 1 for p in (*out[-1], part)) <= room:
            out[-1].append(part)
        else:
            out.append([part])
    return [sentence(f"{TALKER}XDR," + ",".join(group)) for group in out]


def plain(text: str) -> str:
    """Characters that a sentence may carry in a text field; the reserved ones become spaces."""
    swap = {"Ω": "ohm", "°": " deg", "µ": "u", "é": "e"}
    text = "".join(swap.get(c, c) for c in text)
    return "".join(c if 32 <= ord(c) < 127 and c not in "$!*,\\^~" else " " for c in text)
