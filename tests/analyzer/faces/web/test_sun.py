"""Dark or not, from the symmetry of the equinox and the polar day and night."""

from datetime import UTC, datetime

import pytest

from analyzer.faces.web import page


@pytest.mark.parametrize(
    ("place", "moment", "dark"),
    [
        # Equator at Greenwich, equinox 20 March 2024: by symmetry the sun rises near 06:10 and
        # sets near 18:10 UTC (equation of time 7.5 min), civil twilight about 21 min further.
        ((0.0, 0.0), (2024, 3, 20, 12, 0), False),
        ((0.0, 0.0), (2024, 3, 20, 18, 20), False),
        ((0.0, 0.0), (2024, 3, 20, 18, 50), True),
        ((0.0, 0.0), (2024, 3, 20, 5, 30), True),
        # Beyond the arctic circle the midsummer sun stays up and the midwinter sun stays down.
        ((75.0, 20.0), (2024, 6, 21, 23, 0), False),
        ((75.0, 20.0), (2024, 12, 21, 22, 0), True),
        # 90° of longitude are six hours.
        ((0.0, 90.0), (2024, 3, 20, 12, 50), True),
    ],
)
def test_dark_is_beyond_civil_twilight(place, moment, dark):
    assert page.dark(*place, datetime(*moment, tzinfo=UTC).timestamp()) is dark
