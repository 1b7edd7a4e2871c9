"""Sag: where the volts between rest and load went.

Rest is the pack's open-circuit voltage when the trip began. Loaded is what the controller saw
where that is measured, else the pack's terminals. The terms add up to the difference; what they
do not explain stands last, under its own name.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.monitor import measured, measured_blocks
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import SagAccount, SagTerm
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import Charge
from analyzer.series.derived import cell_temp_c
from analyzer.series.operating import rest_a
from analyzer.series.series import Floats, Series
from analyzer.trips.sag_fit import Earlier, Split, split
from analyzer.trips.trips import Leg, Trip
from logger.boat import Boat

Bools = npt.NDArray[np.bool_]
WINDOW_S = 10.0
TIED_V, TIED_SHARE = 0.04, 0.5  # from where terms that trade off are named
COLD_SHARE = 0.12  # of the cold's term, from where its doubt is named
REST_SD_V = 0.02  # of a rest voltage that was read
METER_SD_V = 0.01
GAIN_SD = 0.02  # of a term: the shunt, and what answers faster than the readings
LOSS_SD, COLD_SD = 0.15, 0.35  # of losses and of the cold's share where nothing was fitted
LEAST_C = 0.05  # a moment needs at least this share of the capacity as current to be one of load


@dataclass(frozen=True)
class Parts:
    """The terms at each grid time, shape (n,) each, pack-level volts, NaN where unknown.

    `ohmic_25_v` and `polar_25_v` are what a pack at 25 °C would lose, `cold_v` the rest of it.
    """

    current_a: Floats
    loaded_v: Floats
    charge_used_v: Floats
    ohmic_25_v: Floats
    polar_25_v: Floats
    cold_v: Floats
    weak_v: Floats
    cables_v: Floats
    rest_v: float
    rest_sd_v: float
    weakest: str | None
    at_rest: Bools
    found: Split | None  # None: too short a trip for a fit; the charge filter's own split stands

    @property
    def unexplained_v(self) -> Floats:
        """What the terms leave."""
        known = self.charge_used_v + self.ohmic_25_v + self.polar_25_v + self.cold_v
        known = known + np.nan_to_num(self.weak_v) + np.nan_to_num(self.cables_v)
        return self.rest_v - self.loaded_v - known


def parts(
    series: Series,
    charge: Charge,
    boat: Boat,
    start: int = 0,
    earlier: Sequence[Earlier] = (),
) -> Parts:
    """The account at every grid time.

    Args:
        charge: Of the same series.
        start: Index where the trip begins; rest is taken there.
        earlier: What trips at other temperatures found.
    """
    pack_v, control_v = series.get("pack_voltage_v"), series.get("controller_voltage_v")
    current = series.get("pack_current_a")
    found = split(series, charge, boat, earlier)
    got = found.series() if found is not None else _as_tracked(series, charge, boat)
    at_rest, read_v = _rest(series, boat, start)
    model_v = float(np.nanmean(got["rest_v"][at_rest])) if at_rest.any() else float("nan")
    rest_v = model_v if read_v is None else read_v
    rest_sd = REST_SD_V if read_v is not None else 0.003 * boat.pack.cells_in_series
    weak_v, weakest = _weak(series, boat, current)
    warm = got["ohmic_25_v"] / np.where(got["ohmic_v"] == 0, 1.0, got["ohmic_v"])
    weak = np.nan_to_num(weak_v)
    return Parts(
        current,
        np.where(np.isfinite(control_v), control_v, pack_v),
        model_v - got["rest_v"],
        got["ohmic_25_v"] - weak * np.clip(warm, 0.0, 2.0),
        got["polar_25_v"],
        got["ohmic_v"] + got["polar_v"] - got["ohmic_25_v"] - got["polar_25_v"]
        - weak * (1 - np.clip(warm, 0.0, 2.0)),
        weak_v,
        pack_v - control_v,
        rest_v,
        rest_sd,
        weakest,
        at_rest,
        found,
    )  # fmt: skip


def _as_tracked(series: Series, charge: Charge, boat: Boat) -> dict[str, Floats]:
    """The charge filter's own split, where a trip is too short for a fit."""
    kind, temp = chemistry(boat.pack.chemistry), cell_temp_c(series)
    return {
        "rest_v": charge.ocv_v,
        "ohmic_v": charge.v_r0,
        "polar_v": charge.v_rc,
        "ohmic_25_v": charge.v_r0 / kind.ohmic_factor(temp),
        "polar_25_v": charge.v_rc / kind.charge_factor(temp),
    }


def of_trip(
    series: Series, charge: Charge, boat: Boat, trip: Trip, earlier: Sequence[Earlier] = ()
) -> Parts:
    """The account's parts over a series that may begin before a trip and end after it."""
    return parts(series, charge, boat, _span(series, trip)[0], earlier)


def worst(
    series: Series,
    charge: Charge,
    boat: Boat,
    trip: Trip | None,
    earlier: Sequence[Earlier] = (),
) -> SagAccount | None:
    """The account at the trip's lowest voltage under load; None where nothing was loaded."""
    start = _span(series, trip)[0]
    return _worst(series, parts(series, charge, boat, start, earlier), boat, trip)


def accounts(series: Series, found: Parts, boat: Boat, trip: Trip) -> list[SagAccount]:
    """At the trip's lowest voltage, then over each motoring leg that was loaded."""
    legs = [leg for leg in trip.legs if leg.kind == "motoring"]
    said = [_worst(series, found, boat, trip), *(_leg(series, found, boat, leg) for leg in legs)]
    return [account for account in said if account is not None]


def _worst(series: Series, found: Parts, boat: Boat, trip: Trip | None) -> SagAccount | None:
    a, b = _span(series, trip)
    half = max(int(WINDOW_S / series.step_s / 2), 0)
    loaded = _mean_filter(found.loaded_v, half)
    least_a = LEAST_C * boat.pack.rated_capacity_ah
    usable = np.isfinite(loaded) & (found.current_a > least_a)
    usable[:a] = usable[b:] = False
    if not usable.any():
        return None
    at = int(np.flatnonzero(usable)[np.argmin(loaded[usable])])
    chosen = np.zeros(series.n, bool)
    chosen[max(at - half, 0) : at + half + 1] = True
    return _account("the lowest voltage of the trip", series, found, chosen)


def _leg(series: Series, found: Parts, boat: Boat, leg: Leg) -> SagAccount | None:
    """The account as a mean over the loaded part of a leg; None where nothing was loaded."""
    first = round((leg.start_us - series.t0_us) / 1e6 / series.step_s)
    last = round((leg.end_us - series.t0_us) / 1e6 / series.step_s)
    chosen = found.current_a > LEAST_C * boat.pack.rated_capacity_ah
    chosen[: max(first, 0)] = chosen[max(last, 0) :] = False
    if chosen.sum() * series.step_s < 30.0:
        return None
    return _account(f"the {leg.kind} leg's mean", series, found, chosen)


def _account(text: str, series: Series, found: Parts, chosen: Bools) -> SagAccount | None:
    ok = chosen & np.isfinite(found.unexplained_v)
    if not ok.any():
        return None
    mean = {
        name: float(np.mean(getattr(found, name)[ok]))
        for name in (
            "charge_used_v",
            "ohmic_25_v",
            "polar_25_v",
            "cold_v",
            "loaded_v",
            "current_a",
            "unexplained_v",
        )
    }
    sd = _sds(found, ok, mean)
    left_sd = float(np.hypot(found.rest_sd_v, sd["all"]))
    terms = [
        SagTerm("charge used", _range(mean["charge_used_v"], sd["charge used"])),
        SagTerm("resistance", _range(mean["ohmic_25_v"], sd["resistance"])),
        SagTerm("polarisation", _range(mean["polar_25_v"], sd["polarisation"])),
        SagTerm("cold", _range(mean["cold_v"], sd["cold"])),
        _measured(_weak_name(found), found.weak_v, ok, "cell voltages are not measured"),
        _measured(
            "cables and contactor", found.cables_v, ok, "the controller's voltage is not measured"
        ),
        SagTerm("unexplained", _range(mean["unexplained_v"], left_sd)),
    ]
    at = int(np.flatnonzero(ok).mean())
    rest, loaded = found.rest_v, mean["loaded_v"]
    return SagAccount(
        text,
        float(series.t_utc_s[at]),
        mean["current_a"],
        rest,
        loaded,
        tuple(terms),
        sentence(rest, loaded, mean["current_a"], terms) + _tied(sd) + _cold_open(mean, sd),
    )


def _sds(found: Parts, ok: Bools, mean: dict[str, float]) -> dict[str, float]:
    """Standard deviations of the terms, and of some together. [V] See `Split.terms`."""
    if found.found is None:
        loss = LOSS_SD * (abs(mean["ohmic_25_v"]) + abs(mean["polar_25_v"]) + abs(mean["cold_v"]))
        same = dict.fromkeys(("charge used", "resistance", "polarisation", "slow", "all"), loss)
        return {**same, "cold": COLD_SD * abs(mean["cold_v"])}
    terms = found.found.terms(ok, found.at_rest)
    return {name: math.hypot(v, METER_SD_V, GAIN_SD * mid) for name, (mid, v) in terms.items()}


def _tied(sd: dict[str, float]) -> str:
    """A sentence where two terms are known much better together than apart; else empty."""
    apart = min(sd["charge used"], sd["polarisation"])
    if apart < TIED_V or sd["slow"] > TIED_SHARE * apart:
        return ""
    return (
        f" Charge used and slow polarisation look alike over a trip: how they share is known to "
        f"{Z80 * apart:.1f} V either way, their sum to {Z80 * sd['slow']:.2f} V."
    )


def _cold_open(mean: dict[str, float], sd: dict[str, float]) -> str:
    """A sentence where it is open how this pack takes the cold; else empty."""
    if Z80 * sd["cold"] <= max(COLD_SHARE * abs(mean["cold_v"]), TIED_V):
        return ""
    return (
        f" How much of it is the temperature's doing is known to {Z80 * sd['cold']:.2f} V either "
        "way; trips at other temperatures would tell."
    )


def sentence(rest_v: float, loaded_v: float, current_a: float, terms: list[SagTerm]) -> str:
    """The account in words a person understands, largest term first."""
    known = [(t.text, t.volts.mid) for t in terms if t.volts.mid is not None]
    known = [(text, v) for text, v in known if abs(v) >= 0.05]
    known.sort(key=lambda item: -abs(item[1]))
    said = ", ".join(f"{v:.1f} V to {_plain(text)}" for text, v in known)
    head = f"At {current_a:.0f} A the voltage stood {rest_v - loaded_v:.1f} V below its rest"
    return f"{head} of {rest_v:.1f} V: {said or 'nothing of it worth naming'}."


def _plain(text: str) -> str:
    words = {
        "charge used": "charge already used",
        "resistance": "the cells' resistance",
        "polarisation": "the cells' slow polarisation",
        "cold": "the cold",
        "cables and contactor": "cables and contactor",
        "unexplained": "causes not known",
    }
    return words.get(text, text)


def _weak_name(found: Parts) -> str:
    return f"weak {found.weakest}" if found.weakest is not None else "weak cells"


def _measured(text: str, volts: Floats, ok: Bools, why: str) -> SagTerm:
    have = volts[ok]
    have = have[np.isfinite(have)]
    if not len(have):
        return SagTerm(text, cannot_say(why, "V"))
    mid = float(have.mean())
    return SagTerm(text, _range(mid, float(np.hypot(0.02 * mid, 0.01))))


def _range(mid: float, sd_v: float) -> Estimate:
    half = Z80 * float(sd_v)
    return Estimate(mid, mid - half, mid + half, "V")


def _rest(series: Series, boat: Boat, start: int) -> tuple[Bools, float | None]:
    """When the pack's rest is taken, shape (n,), and its voltage then if it was read. [V]

    Read if the pack lay still for five minutes before the trip; else it is the model's.
    """
    per = max(round(300.0 / series.step_s), 1)
    before = slice(max(start - per, 0), max(start, 1))
    amps, volts = series.get("pack_current_a")[before], series.get("pack_voltage_v")[before]
    last = np.zeros(series.n, bool)
    last[max(start - 30, 0) : max(start, 1)] = True
    quiet = len(amps) >= per and bool(np.all(np.abs(amps) < rest_a(boat.pack)))
    if quiet and np.isfinite(volts[-30:]).any():
        return last, float(np.nanmedian(volts[-30:]))
    return last, None


def _weak(series: Series, boat: Boat, current: Floats) -> tuple[Floats, str | None]:
    """Volts that cells, or blocks, below the others cost under load, and which is the worst."""
    parts = (measured(boat.pack), measured_blocks(boat.pack))
    names, called, _ = next((p for p in parts if len(p[0]) >= 4 and series.has(*p[0])), ([], [], 1))
    if not names:
        return np.full(series.n, np.nan), None
    volts = np.stack([series.get(n) for n in names])
    low = np.median(volts, axis=0) - volts
    ok = np.isfinite(current) & np.isfinite(low).all(axis=0)
    if ok.sum() < 60:
        return np.full(series.n, np.nan), None
    amps = current[ok] - current[ok].mean()
    power = float(amps @ amps)
    if power < 1.0 * ok.sum():
        return np.full(series.n, np.nan), None
    slope = (low[:, ok] - low[:, ok].mean(axis=1, keepdims=True)) @ amps / power
    spread = 1.4826 * float(np.median(np.abs(slope - np.median(slope))))
    weak = slope > np.median(slope) + 5 * spread + 2e-5
    total = np.where(np.isfinite(current), current, np.nan) * float(slope[weak].sum())
    return total, called[int(np.argmax(slope))] if weak.any() else None


def _span(series: Series, trip: Trip | None) -> tuple[int, int]:
    if trip is None:
        return 0, series.n
    first = round((trip.start_us - series.t0_us) / 1e6 / series.step_s)
    last = round((trip.end_us - series.t0_us) / 1e6 / series.step_s)
    return max(first, 0), min(max(last, 0), series.n)


def _mean_filter(values: Floats, half: int) -> Floats:
    if not half:
        return values
    ok = np.isfinite(values)
    total = np.concatenate([[0.0], np.cumsum(np.where(ok, values, 0.0))])
    count = np.concatenate([[0], np.cumsum(ok)])
    n = len(values)
    low = np.clip(np.arange(n) - half, 0, None)
    high = np.clip(np.arange(n) + half + 1, None, n)
    held = count[high] - count[low]
    return np.where(held > 0, (total[high] - total[low]) / np.maximum(held, 1), np.nan)
