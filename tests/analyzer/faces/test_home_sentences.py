"""The way home in words: each speed with its sureness, time, light and turning point."""

from dataclasses import replace

from analyzer.faces import sentences
from tests.support.invented_answers import HOME, estimate

KN = 1852 / 3600


def test_home_at_the_present_speed_stands_beside_the_surest():
    text = sentences.home(HOME)
    assert "going back at 3.0 kn through the water, you are 97 % sure" in text
    assert "That takes 2 h 10 min; before sunset: 93 % sure." in text
    assert "At 4.5 kn it would be 91 % and take 1 h 25 min: turn within 0.60 nmi." in text
    assert text.endswith("To keep 90 % sureness, turn within 2.4 nmi.")


def test_a_stream_is_named_only_where_it_surely_helps_or_hinders():
    # between 0.3 kn against and 0.2 kn with the boat nothing is said of it
    assert "kn of stream" not in sentences.home(HOME)
    foul = replace(HOME, stream_gain=estimate(-0.8 * KN, -1.1 * KN, -0.4 * KN, "m/s"))
    fair = replace(HOME, stream_gain=estimate(0.8 * KN, 0.4 * KN, 1.1 * KN, "m/s"))
    assert "against 0.8 kn of stream" in sentences.home(foul)
    assert "with 0.8 kn of stream behind you" in sentences.home(fair)


def test_by_night_and_on_the_way_home_less_is_said():
    night = replace(HOME, before_dark_frac=None, homeward=True)
    text = sentences.home(night)
    assert "sunset" not in text
    assert "At 4.5 kn it would be 91 % and take 1 h 25 min." in text
    assert "turn within" not in text


def test_one_speed_is_told_once():
    same = replace(HOME, present_speed_water_mps=3.02 * KN)
    assert "it would be" not in sentences.home(same)
