"""Where a line may not break: inside a number and its unit, a duration, a date."""

import re

NO_BREAK = "\u00a0"  # a space at which no line ends (Unicode, NO-BREAK SPACE)
_UNITS = (
    "%|°C|°F|K|nmi|km|km/h|kn|m|mm|mm²|ft|V|mV|A|Ah|W|kW|Wh|kWh|Wh/nmi|Wh/km|mΩ|Ω|ohm|Hz|bit/s|"
    "h|min|s|days?|hours?|months?|years?|trips?|cells?|legs?|nautical|miles?|knots|kilometres|UTC|"
    "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
)
_TIES = re.compile(
    rf"(?<=\d) (?=(?:{_UNITS})(?![\w/]))"
    r"|(?<=\bnautical) (?=miles?\b)"
    r"|(?<=\d h) (?=\d{2} min\b)"
    r"|(?<=\d (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)) (?=\d{4}\b)"
)
# What stands in a tag, or is typed and sent again, stays as it is.
_LEFT_ALONE = re.compile(
    r"(<(script|style|textarea|pre|option|title)\b.*?</\2>|<[^>]*>)", re.DOTALL
)


def tied(text: str) -> str:
    """A text whose numbers stay with their units."""
    return _TIES.sub(NO_BREAK, text)


def tied_page(html: str) -> str:
    """A page whose numbers stay with their units; what browsers send back is left alone."""
    made, end = [], 0
    for found in _LEFT_ALONE.finditer(html):
        made += [tied(html[end : found.start()]), found[0]]
        end = found.end()
    return "".join([*made, tied(html[end:])])
