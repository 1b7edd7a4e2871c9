"""Cables from trip to trip: is a joint's heating rising, and what is it to be held against?

Each trip leaves its rise at the reference load with a standard deviation; the trend is their
weighted line over time, and its sureness allows for what a place differs from day to day.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.thermal import joints
from analyzer.thermal.cables import CAUTION
from logger.boat import Cable

DAY_S = 86400.0  # by definition
DAY_SD_SHARE, DAY_SD_K = 0.15, 0.7  # from day to day: wind, hatch, load; no source
# A trend is told from three trips on, by which two may disagree, and where it is this sure and has
# grown by this share of the first rise. Assumed.
LEAST_TRIPS, SURE, LEAST_GROWTH = 3, 0.98, 0.3


@dataclass(frozen=True)
class Kept:
    """One trip's finding about one cable; time in seconds since 1970."""

    t_s: float
    rise_k: float
    sd_k: float

    @property
    def var(self) -> float:
        """With what differs from day to day. [K²]"""
        return self.sd_k**2 + (DAY_SD_SHARE * self.rise_k) ** 2 + DAY_SD_K**2


def base_k(history: Sequence[Kept]) -> float | None:
    """Highest rise at the reference load that is still as before; None with no trip. [K]

    The weighted mean of the earlier trips and one standard deviation of a new day.
    """
    if not history:
        return None
    # What differs from day to day is in the weights, so that one sure trip does not rule.
    weight = [1 / k.var for k in history]
    mean = sum(w * k.rise_k for w, k in zip(weight, history, strict=True)) / sum(weight)
    day = (DAY_SD_SHARE * mean) ** 2 + DAY_SD_K**2
    return max(mean, 0.0) + math.sqrt(1 / sum(weight) + day)


def trend(cable: Cable, history: Sequence[Kept]) -> Detection | None:
    """What the trips together say of a cable; None while nothing is rising for sure."""
    if len(history) < LEAST_TRIPS:
        return None
    weight = [1 / k.var for k in history]
    total = sum(weight)
    mid_t = sum(w * k.t_s for w, k in zip(weight, history, strict=True)) / total
    mean = sum(w * k.rise_k for w, k in zip(weight, history, strict=True)) / total
    power = sum(w * (k.t_s - mid_t) ** 2 for w, k in zip(weight, history, strict=True))
    # All at one time: there is no line through them.
    if power <= 0:
        return None
    slope = sum(
        w * (k.t_s - mid_t) * (k.rise_k - mean) for w, k in zip(weight, history, strict=True)
    )
    slope, slope_sd = slope / power, math.sqrt(1 / power)
    sure = 0.5 * (1 + math.erf(slope / slope_sd / math.sqrt(2)))
    span_s = history[-1].t_s - history[0].t_s
    # A rise of nothing has no share to grow by.
    first = max(mean + slope * (history[0].t_s - mid_t), 1.0)
    if sure < SURE or slope * span_s < max(LEAST_GROWTH * first, 2.0):
        return None
    return _finding(cable, slope * span_s, slope_sd * span_s, span_s, len(history), sure)


def with_trends(findings: list[Detection], trends: list[Detection]) -> list[Detection]:
    """Findings with those of the trends: of one joint a trend only adds a sentence, no size."""
    heating = {one.subject: one for one in findings if one.kind == "lug_heating"}
    grown = {one.subject: one.text for one in trends}
    told = [
        replace(one, text=f"{one.text} {grown[one.subject]}")
        if heating.get(one.subject) is one and one.subject in grown
        else one
        for one in findings
    ]
    return told + [one for one in trends if one.subject not in heating]


def _finding(
    cable: Cable, grown_k: float, sd_k: float, span_s: float, trips: int, sure: float
) -> Detection:
    j = joints.joint(cable)
    per_k = 1 / j.path_k_w / j.ref_a**2
    size = Estimate(
        grown_k * per_k, max(grown_k - Z80 * sd_k, 0.0) * per_k * 0.6,
        (grown_k + Z80 * sd_k) * per_k * 1.7, "ohm",
        reason="the heat's way out of the joint is known within a factor of two",
    )  # fmt: skip
    where = joints.place(cable)
    text = (
        f"Over {trips} trips in {span_s / DAY_S:.0f} days the {where} came to heat {grown_k:.0f} K "
        f"more at {j.ref_a:.0f} A."
    )
    cure = "Look at it before it is urgent: isolate, clean, re-torque, look at the crimp."
    return Detection(where, "lug_trend", text, sure, size, cure, CAUTION)
