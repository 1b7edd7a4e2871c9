"""What stands beside "how far": the charge, the sails, the stream and what would narrow it."""

from dataclasses import replace

import numpy as np

from analyzer.answers.snapshot import Here
from analyzer.environment import sails
from analyzer.environment.stream import Stream
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import RangeAnswer
from analyzer.pack.soc import PackPosterior
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.reach import ReachResult, middle, reach
from analyzer.range.sample import sample
from logger.boat import Boat


def charge(known: PackPosterior | None, given: ReachInput, result: ReachResult) -> Estimate:
    """The charge as it is known, where no what-if changes it: draws of it scatter by a point."""
    if known is None or given.changes:
        return middle(result.soc, "frac")
    low, mid, high = (known.quantile_frac(share) for share in (0.1, 0.5, 0.9))
    return Estimate(mid, low, high, "frac")


def with_sails(answer: RangeAnswer, given: ReachInput, k: int) -> RangeAnswer:
    """The answer with how likely sails help the motor now, and how far it goes without them.

    Args:
        k: Index of the speed that the answer is about.
    """
    if given.point is None:
        return answer
    sailed = sample(given).draws.sailed
    answer = replace(answer, sails_frac=float(sailed.mean()))
    if k != given.as_now or not sailed.mean() > sails.LIKELY:
        return answer
    alone = reach(replace(given, speeds_mps=given.speeds_mps[[k]], as_now=None))
    far = middle(alone.distance_m[sailed, 0], "m", used=answer.distance.used)
    return replace(answer, without_sails=far)


def stream_speed(stream: Stream) -> Estimate:
    """Drift now. [m/s]"""
    if not stream.known:
        return cannot_say(stream.reason, "m/s")
    east, north = stream.draws(2000, np.random.default_rng(1))
    return replace(middle(np.hypot(east, north), "m/s", stream.reason), used=stream.used)


def stream_toward(stream: Stream) -> Estimate:
    """Set now, true; not where the stream is too weak to have one. [deg]"""
    if not stream.known:
        return cannot_say(stream.reason, "deg")
    half = Z80 * stream.toward_sd_deg
    if half >= 90.0:
        return cannot_say("the stream is too weak for its direction to be known", "deg")
    mid = stream.toward_deg
    return Estimate(mid, mid - half, mid + half, "deg", reason=stream.reason, used=stream.used)


def missing(here: Here) -> tuple[str, ...]:
    """What one more sensor would buy."""
    wants = (
        ("speed_ground_mps", "a GPS would tie the range to the speed over ground"),
        ("heading_magnetic_deg", "a compass would let the stream be told from the boat"),
        ("speed_water_mps", "a water-speed log would sharpen the stream and the power curve"),
        ("pack_temp_c", "a temperature probe on the pack would sharpen its resistance"),
    )
    there = set(here.used) | {ground.channel for ground in here.grounds if ground.broken}
    if "heading_true_deg" in there:
        there.add("heading_magnetic_deg")
    return tuple(text for name, text in wants if name not in there)


def unmeasured_flows(boat: Boat, here: Here) -> tuple[str, ...]:
    """Flows into and out of the pack that no meter shows, beside the motor's."""
    flows = []
    if boat.hotel.measured_in_pack_current and "hotel_power_w" not in here.used:
        flows.append("the hotel load")
    if boat.solar.peak_w > 0 and "solar_power_w" not in here.used:
        flows.append("the panels' power")
    return tuple(flows)
