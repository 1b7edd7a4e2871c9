"""What the board's page says of the log, on stand-ins."""

from types import SimpleNamespace

import pytest

from analyzer.answers.transfer import status


@pytest.mark.parametrize(("age_s", "says"), [(0, "as new as"), (5, "5 seconds older than")])
def test_the_gps_line_says_how_old_the_position_is(age_s, says):
    newest_us = 10_000_000
    held = {status.POSITION: SimpleNamespace(last_us=newest_us - age_s * 1_000_000)}
    log = SimpleNamespace(channels=lambda: held, span=lambda: (0, newest_us))
    assert says in status._gps(log).text
