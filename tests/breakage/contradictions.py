"""Invariant 2: no two statements of one moment contradict each other.

Each check is a function of what was said; it yields a sentence for every contradiction. `CHECKS`
lists them all. Tolerances allow for rounding and for Monte Carlo noise, and are assumed.
"""

import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

from tests.breakage.asking import Said

CHARGE_FRAC = 0.02  # two figures of one charge
NOISE_FRAC = 0.15  # two figures of one distance or power, by separate draws
SURE_FRAC = 0.15  # two figures of one probability, by separate draws
Found = Iterator[str]
Estimate = dict[str, Any]

CELL_KINDS = re.compile(r"^cell")
CABLE_KINDS = re.compile(r"^(lug|cable|joint|contactor)")


def _known(e: Estimate | None) -> bool:
    return bool(e) and None not in (e["low"], e["mid"], e["high"])


def _apart(a: Estimate, b: Estimate) -> bool:
    """Whether two ranges exclude each other."""
    return a["high"] < b["low"] or b["high"] < a["low"]


def _percent(e: Estimate) -> str:
    return f"{100 * e['mid']:.0f} % ({100 * e['low']:.0f} to {100 * e['high']:.0f})"


def charge_is_one_figure(said: Said) -> Found:
    """The charge of `range` and at the end of the newest trip, where that ends now."""
    data, trips = said.data("range"), said.data("trips")
    if not data or not trips or abs(trips[-1]["end_utc_s"] - data["asked_utc_s"]) > 60:
        return
    now, end = data["charge"], trips[-1]["charge_end"]
    if _known(now) and _known(end) and abs(now["mid"] - end["mid"]) > CHARGE_FRAC:
        yield f"charge: range says {_percent(now)}, trips {_percent(end)}"


def time_and_distance_agree(said: Said) -> Found:
    """Distance is speed over ground times duration, as far as the stream of now stays: the speed is
    that of now, and a tide that turns takes up to twice its drift of it. The truth of boats in a
    tide is 20 to 40 % off by its own figures."""
    data = said.data("range")
    if not data or not _known(data["distance"]) or not _known(data["duration"]):
        return
    speed, far = data["speed_ground_mps"], data["distance"]["mid"]
    if speed and far > 500:
        made = speed * data["duration"]["mid"]
        low, high = data["distance"]["low"], data["distance"]["high"]
        drift_mps = (data.get("stream_mps") or {}).get("high") or 0.0
        room = NOISE_FRAC * far + 2 * drift_mps * data["duration"]["mid"]
        if not min(low, far - room) <= made <= max(high, far + room):
            yield f"range: goes {far:.0f} m, but duration times ground speed is {made:.0f} m"


def _on_curve(data: dict[str, Any], name: str) -> Estimate | None:
    """What the curve says at the speed answered for, straight between its points."""
    speed = data["speed_water_mps"]
    for a, b in pairwise(data["curve"] if speed else ()):
        low, high = a["speed_water_mps"], b["speed_water_mps"]
        if low <= speed <= high and _known(a[name]) and _known(b[name]):
            share = (speed - low) / (high - low)
            return {k: a[name][k] + share * (b[name][k] - a[name][k]) for k in a[name]
                    if k in ("low", "mid", "high")}  # fmt: skip
    return None


def headline_lies_on_its_curve(said: Said) -> Found:
    """The headline's distance against the table below it."""
    data = said.data("range")
    curve = _on_curve(data, "distance") if data else None
    if curve is None or not _known(data["distance"]):
        return
    far = data["distance"]
    if not curve["low"] * (1 - NOISE_FRAC) <= far["mid"] <= curve["high"] * (1 + NOISE_FRAC):
        yield f"range: headline {far['mid']:.0f} m, its curve {curve['low']:.0f} to " \
              f"{curve['high']:.0f} m at that speed"  # fmt: skip


def power_suits_the_speed(said: Said) -> Found:
    """The power said to be drawn now against the curve's at the speed that is named."""
    data = said.data("range")
    curve = _on_curve(data, "power") if data and data["motoring"] else None
    if curve is None or data["power_w"] is None:
        return
    power = data["power_w"]
    low, high = curve["low"] * (1 - NOISE_FRAC) - 50, curve["high"] * (1 + NOISE_FRAC) + 50
    if not low <= power <= high:
        yield f"range: draws {power:.0f} W now, its curve {curve['low']:.0f} to " \
              f"{curve['high']:.0f} W at the named speed"  # fmt: skip


def limits_add_up(said: Said) -> Found:
    """The shares of the limits make one; the named limit is the most frequent."""
    data = said.data("range")
    shares = data["limit_shares"] if data else {}
    if shares and abs(sum(shares.values()) - 1) > 0.02:
        yield f"range: limits add up to {sum(shares.values()):.2f}"
    if shares and shares.get(data["limit"], 0) < max(shares.values()):
        yield f"range: says {data['limit']} ends it, not the most frequent of {shares}"


def nothing_left_below_the_reserve(said: Said) -> Found:
    """Where the charge lies below the reserve as surely as the range says, it goes nowhere."""
    data = said.data("range")
    if not data or not _known(data["charge"]) or not _known(data["distance"]):
        return
    if data["charge"]["high"] <= data["reserve_frac"] and data["distance"]["mid"] > 0:
        yield (
            f"range: charge {_percent(data['charge'])} is below the reserve, goes "
            f"{data['distance']['mid']:.0f} m"
        )


def home_and_plan_agree(said: Said) -> Found:
    """The same way home at the same speed, judged by both."""
    data, plan = said.data("range"), said.data("plan")
    home = data and data["home"]
    if not home or not plan or not home["speed_water_mps"]:
        return
    sure, arrives = home["can_return_frac"], plan["plan"]["arrives_frac"]
    if arrives is not None and abs(sure - arrives) > SURE_FRAC:
        yield f"home {100 * sure:.0f} % sure, plan {100 * arrives:.0f} % sure of the same way"
    there, arrived = home["charge_on_arrival"], plan["plan"]["charge"]
    if _known(there) and _known(arrived) and _apart(there, arrived):
        yield f"charge at home: range {_percent(there)}, plan {_percent(arrived)}"


def refusals_agree(said: Said) -> Found:
    """Home and plan want the charge as the range does: none refuses what another answers."""
    data = said.data("range")
    plan = said.answers.get("plan")
    if not data or plan is None:
        return
    if _known(data["distance"]) and plan.status == 2:
        yield f"range says {data['distance']['mid']:.0f} m, plan refuses: {plan.error.strip()}"
    if not _known(data["charge"]) and plan.status == 0 and plan.data:
        yield "range cannot say the charge, plan answers with one"


def plan_says_what_it_shows(said: Said) -> Found:
    """Enough or not, by the figures that are printed."""
    plan = said.data("plan")
    arrives = plan and plan["plan"]["arrives_frac"]
    if arrives is None:
        return
    shown, wanted = round(100 * arrives), round(100 * plan["sureness_frac"])
    if (shown >= wanted) != plan["enough"]:
        yield f"plan: {shown} % sure, {wanted} % wanted, enough: {plan['enough']}"


def turning_point_is_within_reach(said: Said) -> Found:
    """Nobody turns beyond what the best speed could go at most."""
    data = said.data("range")
    home = data and data["home"]
    far = [p["distance"]["high"] for p in data["curve"] if _known(p["distance"])] if home else []
    if far and _known(home["turn_in"]) and home["turn_in"]["low"] > max(far):
        yield f"turn within {home['turn_in']['low']:.0f} m, reach is {max(far):.0f} m at most"


def home_and_flag_agree(said: Said) -> Found:
    """A flag to turn for home does not stand beside "you are on your way home"."""
    data = said.data("range")
    home = data and data["home"]
    for flag in said.standing if home else ():
        if flag["kind"] == "turn_back" and home["homeward"]:
            yield f"flag: {flag['title']}; range: on the way home"


def sound_is_not_flagged(said: Said) -> Found:
    """What an answer calls sound carries no flag."""
    pairs = (("cells", "No cell is falling behind", CELL_KINDS),
             ("cables", "No cable is hotter", CABLE_KINDS))  # fmt: skip
    for question, sentence, kinds in pairs:
        for flag in said.standing if sentence in said.text(question) else ():
            if kinds.match(flag["kind"]):
                yield f"{question}: {sentence}; flag: {flag['title']}"


def clear_means_measured(said: Said) -> Found:
    """ "No cell falls behind" and "no cable is hotter" want something that measures."""
    check = said.data("check")
    arriving = [row["name"] for row in check["channels"]] if check else None
    pairs = (("cells", "No cell is falling behind", ("cell_", "block_")),
             ("cables", "No cable is hotter", ("probe_",)))  # fmt: skip
    for question, sentence, names in pairs if arriving is not None else ():
        if sentence in said.text(question) and not any(n.startswith(names) for n in arriving):
            yield f"{question}: {sentence}, and nothing that measures it arrives"


def advice_suits_the_state(said: Said) -> Found:
    """ "Go on" is not said without a present speed, below the reserve, or beside a warning."""
    data = said.data("range")
    advice = data["next_action"] if data else ""
    if not re.match(r"(next: )?go on", advice, re.I):
        return
    charge, home = data["charge"], data["home"]
    if not data["motoring"]:
        yield f"advice: {advice}; no steady speed now ({data['doing']})"
    if _known(charge) and charge["mid"] <= data["reserve_frac"]:
        yield f"advice: {advice}; charge {_percent(charge)} is at the reserve"
    for flag in said.standing:
        if flag["level"] in ("warning", "act now"):
            yield f"advice: {advice}; flag: {flag['title']}"
    if home and home["can_return_frac"] < home["sureness_frac"] - 0.01:
        yield f"advice: {advice}; home only {100 * home['can_return_frac']:.0f} % sure"


def check_and_range_agree(said: Said) -> Found:
    """What `check` holds for wrong in the wiring, the range does not pass over."""
    check, data = said.data("check"), said.data("range")
    if not check or not data or not _known(data["distance"]):
        return
    opening = said.answers["range"].opening.lower()
    for finding in check["findings"]:
        names = WRONG_INPUTS.get(finding["kind"])
        if names and not re.search(names, opening):
            yield f"check: {finding['text'][:90]}; range answers without a word of it"


# Findings of `check` about an input of the range, and the words by which the range would own it.
WRONG_INPUTS = {
    "cells_do_not_add_up": r"cells|voltage",
    "voltage_impossible": r"cells|voltage",
    "shunt_reversed": r"shunt|current",
    "current_scale": r"shunt|current",
    "current_noisy": r"shunt|current",
    "charge_opposite": r"shunt|current|gauge|device",
    "charge_disagrees": r"shunt|current|gauge|device|capacity",
    "speed_unit": r"gps|ground speed|speed over ground|position",
}


def answerable_means_answered(said: Said) -> Found:
    """What `check` says can be answered is answered, and the other way round."""
    check, data = said.data("check"), said.data("range")
    rows = [r for r in check["questions"] if r["question"].startswith("How far")] if check else []
    for row in rows if data else ():
        if row["answerable"] and not _known(data["distance"]):
            yield f"check: how far can be answered; range: {data['distance']['reason']}"
        elif not row["answerable"] and _known(data["distance"]):
            yield "check: how far cannot be answered; range answers"


CHECKS: tuple[Callable[[Said], Found], ...] = (
    charge_is_one_figure,
    time_and_distance_agree,
    headline_lies_on_its_curve,
    power_suits_the_speed,
    limits_add_up,
    nothing_left_below_the_reserve,
    home_and_plan_agree,
    refusals_agree,
    plan_says_what_it_shows,
    turning_point_is_within_reach,
    home_and_flag_agree,
    sound_is_not_flagged,
    clear_means_measured,
    advice_suits_the_state,
    check_and_range_agree,
    answerable_means_answered,
)
