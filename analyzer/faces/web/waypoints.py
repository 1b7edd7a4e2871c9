"""Places typed or drawn on the plan page: text to places, places to text and GPX."""

import re
from collections.abc import Sequence

from analyzer.answers.ahead.passage import Place
from analyzer.faces.web.set_up.forms import FormError

MOST = 200  # places of a route, assumed
_NUMBER = r"(-?\d{1,3}(?:[.,]\d+)?)"
_ANGLE = rf"{_NUMBER}\s*°?\s*(?:(\d{{1,2}}(?:[.,]\d+)?)\s*['′]?\s*)?([NSEWnsew])?"
_ONE = re.compile(rf"\s*{_ANGLE}\s*")
_LINE = re.compile(rf"\s*{_ANGLE}\s*[,;\s]\s*{_ANGLE}\s*(?:[,;:\s]\s*(\S.*))?")
WANTS = "46 16.89 N, 23 52.44 W, or 46.2815, -23.8740"


def places(text: str) -> list[Place]:
    """The places of a text, one a line, in degrees or in degrees and minutes.

    Raises:
        FormError: A line is no place.
    """
    found = [
        _place(number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip()
    ]
    if len(found) > MOST:
        raise FormError(f"a route wants at most {MOST} places, got {len(found)}")
    return found


def _place(number: int, line: str) -> Place:
    match = _LINE.fullmatch(line)
    if not match:
        raise FormError(f"place {number} wants to look like {WANTS}, got {line.strip()[:60]!r}")
    latitude = _degrees(*match.groups()[0:3])
    longitude = _degrees(*match.groups()[3:6])
    kinds = (match[3] or "n").lower(), (match[6] or "e").lower()
    if kinds[0] not in "ns" or kinds[1] not in "ew" or abs(latitude) > 90 or abs(longitude) > 180:
        raise FormError(f"place {number} wants latitude, then longitude, as {WANTS}")
    return latitude, longitude, (match[7] or "").strip()[:60]


def _degrees(whole: str, minutes: str | None, side: str | None) -> float:
    degrees = float(whole.replace(",", "."))
    part = float((minutes or "0").replace(",", "."))
    size = abs(degrees) + part / 60
    south_or_west = whole.startswith("-") or (side or "").lower() in ("s", "w")
    return -size if south_or_west and size else size


def text(found: Sequence[Place]) -> str:
    """Places as the form shows them, in degrees and minutes, one a line."""
    lines = (f"{angle(a, 'NS')}, {angle(b, 'EW')} {name}".rstrip() for a, b, name in found)
    return "\n".join(lines)


def read_angle(written: str, sides: str) -> float | None:
    """An angle in degrees, or in degrees and minutes; None where it is none of these sides.

    Args:
        sides: "NS" or "EW".
    """
    match = _ONE.fullmatch(written)
    if not match or (match[3] and match[3].upper() not in sides):
        return None
    return _degrees(match[1], match[2], match[3])


def angle(degrees: float, sides: str) -> str:
    """An angle in degrees and minutes. "46 16.890 N"."""
    whole, minutes = divmod(round(abs(degrees) * 60_000), 60_000)
    return f"{whole} {minutes / 1000:06.3f} {sides[degrees < 0]}"


def gpx(found: Sequence[Place], name: str = "drawn route") -> str:
    """Places as a GPX 1.1 route."""
    import gpxpy.gpx as form

    document = form.GPX()
    document.creator = "keelwatt"
    route = form.GPXRoute(name=name)
    route.points.extend(
        form.GPXRoutePoint(round(a, 7), round(b, 7), name=label or None) for a, b, label in found
    )
    document.routes.append(route)
    return str(document.to_xml(version="1.1"))
