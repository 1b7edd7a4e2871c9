"""Every invariant finds a made-up answer that violates it, and passes one that does not."""

import math
from types import SimpleNamespace

import pytest

from tests.breakage import contradictions, physics, statements
from tests.breakage.asking import Answer, Said, sentences
from tests.breakage.made_up import answers, estimate, flag, said
from tests.breakage.statements import Stated

TRUTH = SimpleNamespace(
    hull_speed_mps=4.9, pack_wh=7000.0, steady=True, motoring=True, speed_mps=2.1,
    energy_out_wh=lambda covered: 2000.0, soc_frac=0.6,
)  # fmt: skip

# What is spoilt: a path into the answers and the value put there.
SPOILT = [
    (contradictions.charge_is_one_figure, "trips.0.charge_end", estimate(0.4, 0.42, 0.44)),
    (contradictions.time_and_distance_agree, "range.duration", estimate(3e3, 4e3, 5e3)),
    (contradictions.headline_lies_on_its_curve, "range.distance", estimate(6e4, 7e4, 8e4)),
    (contradictions.power_suits_the_speed, "range.power_w", 4000.0),
    (contradictions.limits_add_up, "range.limit_shares", {"reserve": 0.5}),
    (contradictions.nothing_left_below_the_reserve, "range.charge", estimate(0.1, 0.15, 0.19)),
    (contradictions.home_and_plan_agree, "plan.plan.arrives_frac", 0.6),
    (contradictions.home_and_plan_agree, "plan.plan.charge", estimate(0.2, 0.3, 0.4)),
    (contradictions.refusals_agree, "range.charge", estimate(0.1, 0.2, 0.3) | {"mid": None}),
    (contradictions.plan_says_what_it_shows, "plan.enough", False),
    (contradictions.turning_point_is_within_reach, "range.home.turn_in", estimate(4e4, 5e4, 6e4)),
    (contradictions.sound_is_not_flagged, "flags", [flag("cell_resistance")]),
    (contradictions.sound_is_not_flagged, "flags", [flag("lug_heating")]),
    (contradictions.clear_means_measured, "check.channels", [{"name": "pack_voltage_v"}]),
    (contradictions.advice_suits_the_state, "range.motoring", False),
    (contradictions.advice_suits_the_state, "range.charge", estimate(0.1, 0.15, 0.19)),
    (contradictions.advice_suits_the_state, "flags", [flag("controller_fault")]),
    (contradictions.advice_suits_the_state, "range.home.can_return_frac", 0.5),
    (contradictions.check_and_range_agree, "check.findings",
     [{"kind": "speed_unit", "text": "The speed is 1.9 times that of the position."}]),
    (contradictions.answerable_means_answered, "check.questions.0.answerable", False),
]  # fmt: skip

BEYOND = [
    (physics.numbers_are_finite, "range.power_w", math.nan),
    (physics.numbers_are_finite, "range.distance.high", math.inf),
    (physics.ranges_are_in_order, "range.distance", estimate(2e4, 1e4, 3e4)),
    (physics.shares_lie_between_none_and_all, "plan.plan.arrives_frac", 1.2),
    (physics.shares_lie_between_none_and_all, "range.charge", estimate(0.9, 1.0, 1.1)),
    (physics.lengths_are_not_negative, "range.distance", estimate(-3.0, -2.0, -1.0)),
    (physics.lengths_are_not_negative, "trips.0.energy_out_wh", -5.0),
    (physics.speeds_suit_the_hull, "range.speed_ground_mps", 44.0),
    (physics.speeds_suit_the_hull, "range.speed_water_mps", 6.0),
    (physics.energy_fits_the_pack, "range.curve.1.power", estimate(4e3, 5e3, 6e3)),
    (physics.energy_fits_the_pack, "trips.0.energy_out_wh", 30_000.0),
    (physics.temperatures_are_of_this_world, "cables.rows.0.settles_at",
     estimate(800.0, 900.0, 950.0, "degC")),
]  # fmt: skip


def spoil(path, value):
    """The sound answers with one entry replaced."""
    data = answers()
    *way, last = (int(key) if key.isdigit() else key for key in path.split("."))
    place = data
    for key in way:
        place = place[key]
    place[last] = value
    return data


@pytest.mark.parametrize("check", contradictions.CHECKS)
def test_what_agrees_is_no_contradiction(check):
    assert not list(check(said()))


@pytest.mark.parametrize(("check", "path", "value"), SPOILT)
def test_a_contradiction_is_found(check, path, value):
    assert list(check(said(spoil(path, value))))


def test_every_contradiction_has_its_test():
    tested = {row[0] for row in SPOILT} | {contradictions.home_and_flag_agree}
    assert tested == set(contradictions.CHECKS)


def test_a_flag_to_turn_beside_a_boat_on_its_way_home():
    data = spoil("range.home.homeward", True)
    data["flags"] = [flag("turn_back", "notice")]
    assert list(contradictions.home_and_flag_agree(said(data)))


def test_a_plan_that_refuses_what_the_range_answers():
    whole = said().answers | {"plan": Answer(2, None, "", "keelwatt: the charge is not known\n")}
    assert list(contradictions.refusals_agree(Said(whole)))


def test_a_range_that_owns_what_check_found_does_not_contradict_it():
    data = spoil("check.findings", [{"kind": "speed_unit", "text": "Twice as fast."}])
    owned = "The ground speed cannot be right. At 4.1 kn you can go between 9 and 11 nmi."
    assert not list(contradictions.check_and_range_agree(said(data, range=owned)))


@pytest.mark.parametrize("law", physics.PHYSICS)
def test_what_is_possible_passes(law):
    assert not list(law(said(), TRUTH))


@pytest.mark.parametrize(("law", "path", "value"), BEYOND)
def test_what_is_beyond_physics_is_found(law, path, value):
    assert list(law(said(spoil(path, value)), TRUTH))


@pytest.mark.parametrize("share", ["112 %", "112.3 % (90 to 130 %)"])
def test_more_than_all_is_found_in_words(share):
    text = f"Cell 4 has {share} less capacity than the others."
    assert list(physics.nothing_is_less_by_more_than_all(said(cells=text), TRUTH))


def test_every_law_has_its_test():
    tested = {row[0] for row in BEYOND} | {physics.nothing_is_less_by_more_than_all}
    assert tested == set(physics.PHYSICS)


@pytest.mark.parametrize(("name", "before"), [
    ("charge", estimate(0.88, 0.9, 0.92)), ("distance", estimate(1e4, 8e4, 9e4)),
])  # fmt: skip
def test_a_leap_within_a_minute_is_found(name, before):
    now = said()
    earlier = Answer(0, spoil(f"range.{name}", before)["range"], "")
    whole = spoil(f"range.{name}", now.data("range")[name])
    same = Answer(0, whole["range"], "")
    jumped = list(physics.leaps(Said(now.answers, earlier), TRUTH))
    assert bool(jumped) == (name == "charge")  # a range as wide as the leap owns it
    assert not list(physics.leaps(Said(now.answers, same), TRUTH))


def test_an_answer_of_a_log_that_had_ended_is_no_leap():
    ended = spoil("range.charge", estimate(0.88, 0.9, 0.92))["range"]
    ended["asked_utc_s"] -= 600.0
    assert not list(physics.leaps(Said(said().answers, Answer(0, ended, "")), TRUTH))


def test_manners():
    assert not list(physics.manners("range", Answer(0, {}, "Yes.")))
    assert not list(physics.manners("plan", Answer(2, None, "", "keelwatt: no charge: say it.\n")))
    assert list(physics.manners("range", Answer(0, None, "", "", "Traceback\nKeyError: 'x'")))
    assert list(physics.manners("range", Answer(1, None, "")))
    assert list(physics.manners("range", Answer(2, None, "", "keelwatt: one.\nkeelwatt: two.\n")))
    both = "keelwatt: boat.toml: a wants 1; got 2.\nboat.toml: b wants 3; got 4.\n"
    assert not list(physics.manners("range", Answer(2, None, "", both)))
    assert list(physics.manners("range", Answer(0, {}, "Yes.", "RuntimeWarning: divide\n")))


def test_sentences_are_told_apart():
    text = "At 5.2 kn you can go\nfar; most likely 3.1 nmi. That is an hour. Next: Slow down."
    assert sentences(text)[:2] == [
        "At 5.2 kn you can go far; most likely 3.1 nmi.", "That is an hour.",
    ]  # fmt: skip


@pytest.mark.parametrize(("text", "why"), [
    ("At 4 kn you can go 9 nmi. That is 2 h.", ""),
    ("How far cannot be said: no current arrives. Next: look.", "cannot say"),
    ("If the pack is full, 40 nmi. That is 9 h.", "about something else"),
    ("The shunt is silent since 10:04. 3 to 9 nmi.", "names the input"),
    ("At 4 kn you can go 9 nmi. That is 2 h. The shunt is silent.", ""),
])  # fmt: skip
def test_an_answer_excuses_itself_in_its_first_two_sentences(text, why):
    assert statements.excuse(Answer(0, {}, text), "shunt") == why


def test_far_outside_is_beyond_chance():
    assert Stated("x", 8, 10, 12, 11).held
    assert not Stated("x", 8, 10, 12, 13).far
    assert Stated("x", 8, 10, 12, 17).far


def test_a_speed_the_boat_does_not_do_and_energy_that_was_not_used():
    named = list(statements.wrong_figures(said(spoil("range.speed_water_mps", 1.0)), ROAD, ""))
    assert len(named) == 1
    assert "another speed" in named[0]
    used = list(statements.wrong_figures(said(spoil("trips.0.energy_out_wh", 400.0)), ROAD, ""))
    assert used == ["trips: used 400 Wh, truly 2000 Wh"]
    assert not list(statements.wrong_figures(said(), ROAD, ""))


ROAD = SimpleNamespace(**vars(TRUTH), home=lambda speed: SimpleNamespace(
    home=True, soc_frac=0.5, above_reserve=True))  # fmt: skip


def test_home_said_surely_and_it_came_otherwise():
    late = SimpleNamespace(**vars(TRUTH), home=lambda speed: SimpleNamespace(
        home=False, soc_frac=0.05, above_reserve=False))  # fmt: skip
    (found,) = statements.wrong_figures(said(), late, "")
    assert "not home at all" in found


@pytest.mark.parametrize(("about", "speed_mps"), [
    ("present", 2.1), ("power", 2.1), ("asked", 2.3), ("furthest", 2.3),
])  # fmt: skip
def test_an_answer_about_now_is_held_against_what_the_throttle_does_and_one_at_a_speed_against_that(
    about, speed_mps
):
    """The boat does 2.1 m/s by the truth; the answer names 2.3. Far is 10 km for each m/s."""
    came = {"limit": ["reserve"], "duration_s": [1e4]}
    road = SimpleNamespace(
        **vars(ROAD),
        soc_before=lambda ago_s: 0.6,
        ahead=lambda speed: SimpleNamespace(**came, distance_m=[1e4 * speed]),
    )
    data = answers()
    data["range"] |= {"about": about, "speed_water_mps": 2.3}
    (distance,) = (
        s for s in statements.stated(said(data), road, "") if s.what == "range: distance"
    )
    assert distance.truth == pytest.approx(1e4 * speed_mps)


@pytest.mark.parametrize(("drift_mps", "found"), [(None, 1), (0.1, 1), (0.4, 0)])
def test_a_tide_that_turns_makes_another_distance_of_the_speed_of_now(drift_mps, found):
    """12 km in 2.5 h at 2.1 m/s now, 0.8 m/s less in the mean: a stream of 0.4 with the boat that
    turns takes as much, one of 0.1 does not."""
    spoilt = answers()
    spoilt["range"]["distance"] = estimate(11_000, 12_000, 13_000, "m")
    spoilt["range"]["stream_mps"] = estimate(0.0, 0.0, drift_mps, "m/s")
    assert len(list(contradictions.time_and_distance_agree(said(spoilt)))) == found
