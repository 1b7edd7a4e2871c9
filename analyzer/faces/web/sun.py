"""Whether it is dark where the boat is: what the look "by the sun" goes by."""

from datetime import UTC, datetime

TWILIGHT_DEG = -6.0  # below it a lamp is needed: end of civil twilight, the usual definition


def dark(latitude_deg: float, longitude_deg: float, utc_s: float) -> bool:
    """Whether the sun stands lower than civil twilight.

    Args:
        latitude_deg, longitude_deg: North and east positive.
        utc_s: Seconds since 1970.
    """
    from astral import Observer
    from astral.sun import elevation

    moment = datetime.fromtimestamp(utc_s, UTC)
    return elevation(Observer(latitude_deg, longitude_deg), moment) < TWILIGHT_DEG
