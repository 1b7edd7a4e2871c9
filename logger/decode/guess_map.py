"""A first column map for a table, guessed from its names and its first rows, to be corrected.

A guess reads words and units in the names, in the languages of English instruments' files; what
it does not know it leaves out, as a line that can be filled in.
"""

import csv
import io
import re
from collections.abc import Sequence
from datetime import datetime

from logger.channels import find
from logger.decode.unit_names import inside, known

# Words in a name -> channel; the first that fits is taken. Common practice, no source.
_WORDS = (
    (r"cell\D*(\d+)\b.*(volt|\bv\b)|(volt|\bv\b).*cell\D*(\d+)", "cell"),
    (r"controller.*volt", "controller_voltage_v"),
    (r"controller.*(current|amp)", "controller_current_a"),
    (r"controller.*temp", "controller_temp_c"),
    (r"motor.*temp", "motor_temp_c"),
    (r"motor.*(rpm|speed|rev)|\brpm\b", "motor_speed_rps"),
    (r"shaft", "shaft_speed_rps"),
    (r"(state.of.charge|\bsoc\b)", "pack_soc_frac"),
    (r"(pack|batt\w*|bank|surface).*temp|temp.*(pack|batt)", "pack_temp_c"),
    (r"(water|sea).*temp", "water_temp_c"),
    (r"(air|ambient|outside).*temp", "ambient_temp_c"),
    (r"(solar|\bpv\b|panel).*(power|watt|\bw\b)", "solar_power_w"),
    (r"(shore|charger|mains).*(power|watt|\bw\b)", "shore_power_w"),
    (r"(hotel|house|domestic).*(power|watt|\bw\b)", "hotel_power_w"),
    (r"(volt|\bv\b)", "pack_voltage_v"),
    (r"(current|amp|\ba\b)", "pack_current_a"),
    (r"\blat", "latitude_deg"),
    (r"\blon", "longitude_deg"),
    (r"(\bcog\b|course)", "course_ground_deg"),
    (r"(\bsog\b|ground.*speed|speed.*ground|gps.*speed)", "speed_ground_mps"),
    (r"(\bstw\b|log.*speed|water.*speed|speed.*water)", "speed_water_mps"),
    (r"speed", "speed_ground_mps"),
    (r"(heading|\bhdg\b|compass)", "heading_magnetic_deg"),
    (r"depth", "depth_m"),
)
_TIME = re.compile(r"time|date|clock|stamp|^t$|^t[_ (]", re.IGNORECASE)
# Forms of dates, the surest first; day before month where both would do.
_DATES = (
    "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p",
    "%Y/%m/%d %H:%M:%S",
)  # fmt: skip
CYCLER_CURRENT = "Current / A"  # the Battery Data Format's name for what a cycler applies
_UNIX_S = (
    3e8  # a number of seconds after this is a date, 1979; of milliseconds a thousand times; assumed
)


def guess(text: str) -> str:
    """A column map in TOML for the beginning of a table.

    Args:
        text: Its first lines.
    Raises:
        ValueError: It has no line of names with numbers below it.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    comment = "#" if any(line.lstrip().startswith("#") for line in lines) else ""
    lines = [line for line in lines if not (comment and line.lstrip().startswith("#"))]
    between = max(",;\t", key=lambda sign: min((line.count(sign) for line in lines[:5]), default=0))
    table = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=between))
    if len(table) < 2 or len(table[0]) < 2:
        raise ValueError("wants a line of names, and rows of numbers below it")
    header, rows = [name.strip() for name in table[0]], table[1:]
    decimal = "," if between != "," and _has_comma(rows) else "."
    head = [f'delimiter = "{between}"'.replace("\t", r"\t")] if between != "," else []
    head += [f'decimal = "{decimal}"'] if decimal != "." else []
    head += [f'comment = "{comment}"'] if comment else []
    time, used = _time(header, rows, decimal)
    columns = _columns([name for name in header if name not in used])
    return "\n".join([*head, *time, *columns]) + "\n"


def _has_comma(rows: Sequence[Sequence[str]]) -> bool:
    return any(re.fullmatch(r"-?\d+,\d+", cell.strip()) for row in rows[:20] for cell in row)


def _time(
    header: Sequence[str], rows: Sequence[Sequence[str]], decimal: str
) -> tuple[list[str], list[str]]:
    """The map's part about time, and the columns it takes."""
    named = [name for name in header if _TIME.search(name)]
    for several in ([named[:2]] if len(named) > 1 else []) + [[name] for name in named]:
        form = _form(header, rows, several)
        if form:
            names = f"[{', '.join(map(_text, several))}]"
            where = f"column = {_text(several[0])}" if len(several) == 1 else f"columns = {names}"
            return ["[time]", where, f"format = {_text(form)}", '# zone = "Europe/Lisbon"'], several
    if not named:
        return ["[time]", "step_s = 1.0  # seconds from row to row: please check"], []
    name = next((name for name in named if "unix" in name.lower()), named[0])
    unit = _time_unit(name, rows[0][header.index(name)].replace(decimal, "."))
    return ["[time]", f"column = {_text(name)}", f'unit = "{unit}"'], [name]


def _form(header: Sequence[str], rows: Sequence[Sequence[str]], names: Sequence[str]) -> str:
    """The first form of dates that every row has; empty where there is none."""
    places = [header.index(name) for name in names]
    whole = [row for row in rows if len(row) > max(places)]
    texts = [" ".join(row[place].strip() for place in places) for row in whole]
    return next((form for form in _DATES if texts and all(_fits(t, form) for t in texts)), "")


def _fits(text: str, form: str) -> bool:
    try:
        datetime.strptime(text, form)
    except ValueError:
        return False
    return True


def _time_unit(name: str, first: str) -> str:
    if re.match(r"\d{4}-\d\d-\d\dT", first):
        return "iso"
    try:
        number = float(first)
    except ValueError:
        return "iso"
    if number > _UNIX_S:
        return "unix_s" if number < 1000 * _UNIX_S else "unix_ms"
    told = re.search(r"\b(us|ms|min|h)\b|_(us|ms|min|h)$", name)
    return (told[1] or told[2]) if told else "s"


def _columns(header: Sequence[str]) -> list[str]:
    lines: list[str] = []
    taken: set[str] = set()
    for name in header:
        channel = channel_of(name)
        lead = ["sign = -1  # charging counts positive there"] if name == CYCLER_CURRENT else []
        told = "".join(f"\n{line}" for line in [*_unit(name, channel), *lead]) if channel else ""
        entry = f"[[column]]\ncolumn = {_text(name)}\nchannel = "
        if channel and channel not in taken:
            taken.add(channel)
            lines.append(f'{entry}"{channel}"{told}')
        elif name:
            lines.append("# " + f'{entry}"other_..."'.replace("\n", "\n# "))
    return lines


def channel_of(name: str) -> str:
    """The channel that a name's words speak for; empty where they speak for none."""
    words = re.sub(r"[_()\[\]/:-]+", " ", name.lower())
    for pattern, channel in _WORDS:
        found = re.search(pattern, words)
        if found and channel == "cell":
            number = next(part for part in found.groups() if part and part.isdecimal())
            return f"cell_{int(number):02d}_voltage_v"
        if found:
            return channel
    return ""


def _unit(name: str, channel: str) -> list[str]:
    """The line of the unit, where the name tells one that fits and is another."""
    kind = find(channel)
    for word in reversed(re.findall(r"[^\s_()\[\],]+", name)):
        unit = known(word)
        if unit and kind and inside(unit)[0] == kind.unit:
            return [f'unit = "{unit}"'] if unit != kind.unit else []
    return []


def _text(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
