"""The sag account at a moment or over a leg: terms with their ranges, and the sentence."""

import math
from collections.abc import Sequence

import numpy as np

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import SagAccount, SagTerm
from analyzer.pack.soc import Charge
from analyzer.series.series import Bools, Floats, Series
from analyzer.series.steps import moving_mean
from analyzer.trips.sag import Parts, parts, trip_span
from analyzer.trips.sag_prior import Earlier
from analyzer.trips.trips import Leg, Trip
from logger.boat import Boat

WINDOW_S = 10.0  # over which the lowest voltage is taken: no single reading; assumed
LEAST_LEG_S = 30.0  # of load in a leg; assumed
LEAST_C = 0.05  # a moment needs at least this share of the capacity as current; assumed
# From where terms that trade off are named: how open each is, and their sum against it; assumed.
TIED_V, TIED_SHARE = 0.04, 0.5
COLD_SHARE = 0.12  # of the cold's term, from where its doubt is named; assumed
METER_SD_V = 0.01  # common practice, no source
GAIN_SD = 0.02  # of a term: the shunt, and what answers faster than the readings; assumed
LOSS_SD, COLD_SD = 0.15, 0.35  # of losses and the cold's share where nothing was fitted; assumed
WORTH_V = 0.05  # less is not named in the sentence; assumed
UNEXPLAINED = "unexplained"
PLAIN = {
    "charge used": "charge already used",
    "resistance": "the cells' resistance",
    "polarisation": "the cells' slow polarisation",
    "cold": "the cold",
    "cables and contactor": "cables and contactor",
    UNEXPLAINED: "causes not known",
}
MODELLED = {  # terms that come from the fit -> of `Parts`
    "charge used": "charge_used_v",
    "resistance": "ohmic_25_v",
    "polarisation": "polar_25_v",
    "cold": "cold_v",
}


def worst(
    series: Series,
    charge: Charge,
    boat: Boat,
    trip: Trip | None,
    earlier: Sequence[Earlier] = (),
) -> SagAccount | None:
    """The account at the trip's lowest voltage under load; None where nothing was loaded."""
    start = trip_span(series, trip)[0]
    return _worst(series, parts(series, charge, boat, start, earlier), boat, trip)


def accounts(series: Series, found: Parts, boat: Boat, trip: Trip) -> list[SagAccount]:
    """At the trip's lowest voltage, then over each motoring leg that was loaded."""
    # Under sail or at rest there is no load to account for.
    legs = [leg for leg in trip.legs if leg.kind == "motoring"]
    made = [_worst(series, found, boat, trip), *(_leg(series, found, boat, leg) for leg in legs)]
    return [account for account in made if account is not None]


def _worst(series: Series, found: Parts, boat: Boat, trip: Trip | None) -> SagAccount | None:
    first, last = trip_span(series, trip)
    half = int(WINDOW_S / series.step_s / 2)
    loaded_v = moving_mean(found.loaded_v, half) if half else found.loaded_v
    # A low voltage without load is a low charge, no sag.
    usable = np.isfinite(loaded_v) & _under_load(found, boat)
    # The series may begin before the trip, for its rest, and end after it.
    usable[:first] = usable[last:] = False
    if not usable.any():
        return None
    at = int(np.flatnonzero(usable)[np.argmin(loaded_v[usable])])
    chosen = np.zeros(series.n, bool)
    chosen[max(at - half, 0) : at + half + 1] = True
    return _account("the lowest voltage of the trip", series, found, chosen)


def _leg(series: Series, found: Parts, boat: Boat, leg: Leg) -> SagAccount | None:
    """The account as a mean over the loaded part of a leg; None where nothing was loaded."""
    first, last = trip_span(series, Trip(leg.start_us, leg.end_us, ()))
    chosen = _under_load(found, boat)
    chosen[:first] = chosen[last:] = False
    if chosen.sum() * series.step_s < LEAST_LEG_S:
        return None
    return _account(f"the {leg.kind} leg's mean", series, found, chosen)


def _under_load(found: Parts, boat: Boat) -> Bools:
    return np.asarray(found.current_a > LEAST_C * boat.pack.rated_capacity_ah)


def _account(text: str, series: Series, found: Parts, chosen: Bools) -> SagAccount | None:
    # Only where every term is known, as else they would not add up to the whole.
    known = chosen & np.isfinite(found.unexplained_v)
    if not known.any():
        return None
    mean = {name: float(np.mean(getattr(found, part)[known])) for name, part in MODELLED.items()}
    sd = _sds(found, known, mean)
    terms = _terms(found, known, mean, sd)
    # The middle of what was averaged stands for the time of the account.
    at = int(np.flatnonzero(known).mean())
    loaded_v = float(np.mean(found.loaded_v[known]))
    current_a = float(np.mean(found.current_a[known]))
    said = sentence(found.rest_v, loaded_v, current_a, terms)
    return SagAccount(
        text=text,
        utc_s=float(series.t_utc_s[at]),
        current_a=current_a,
        rest_v=found.rest_v,
        loaded_v=loaded_v,
        terms=tuple(terms),
        sentence=said + _tied(sd) + _cold_open(mean, sd),
    )


def _terms(
    found: Parts, known: Bools, mean: dict[str, float], sd: dict[str, float]
) -> list[SagTerm]:
    """All terms, the unexplained last: its range is that of what the model explains together."""
    weak = f"weak {found.weakest}" if found.weakest is not None else "weak cells"
    no_controller = "the controller's voltage is not measured"
    unexplained_v = float(np.mean(found.unexplained_v[known]))
    no_probe = cannot_say("the cells' temperature is not measured", "V")
    return [
        *(
            SagTerm(name, _range(mean[name], sd[name]) if np.isfinite(mean[name]) else no_probe)
            for name in MODELLED
        ),
        _measured(weak, found.weak_v[known], "cell voltages are not measured"),
        _measured("cables and contactor", found.cables_v[known], no_controller),
        SagTerm(UNEXPLAINED, _range(unexplained_v, math.hypot(found.rest_sd_v, sd["all"]))),
    ]


def _sds(found: Parts, known: Bools, mean: dict[str, float]) -> dict[str, float]:
    """Standard deviations of the terms, and of some together. [V] See `Split.terms`."""
    unmeasured = not math.isfinite(mean["cold"])
    if found.found is None:
        # Nothing was fitted, so no term's error is known apart from the others'.
        cold_v = 0.0 if unmeasured else abs(mean["cold"])
        loss = LOSS_SD * (abs(mean["resistance"]) + abs(mean["polarisation"]) + cold_v)
        same = dict.fromkeys(("charge used", "resistance", "polarisation", "slow", "all"), loss)
        return {**same, "cold": COLD_SD * cold_v}
    # The fit knows its parameters' error; the meters' own comes on top of it.
    terms = found.found.terms(known, found.at_rest)
    sds = {name: math.hypot(sd, METER_SD_V, GAIN_SD * mid) for name, (mid, sd) in terms.items()}
    if unmeasured:
        # Their share of what would be the cold's is in the resistances then.
        for name in ("resistance", "polarisation"):
            sds[name] = math.hypot(sds[name], terms["cold"][1])
        sds["cold"] = 0.0
    return sds


def _tied(sd: dict[str, float]) -> str:
    """A sentence where two terms are known much better together than apart; else empty."""
    apart = min(sd["charge used"], sd["polarisation"])
    # Either is known to a few hundredths of a volt, or the sum is no better: nothing to say.
    if apart < TIED_V or sd["slow"] > TIED_SHARE * apart:
        return ""
    return (
        f" Charge used and slow polarisation look alike over a trip: how they share is known to "
        f"{Z80 * apart:.1f} V either way, their sum to {Z80 * sd['slow']:.2f} V."
    )


def _cold_open(mean: dict[str, float], sd: dict[str, float]) -> str:
    """A sentence where it is open how this pack takes the cold; else empty."""
    if not math.isfinite(mean["cold"]) or Z80 * sd["cold"] <= max(
        COLD_SHARE * abs(mean["cold"]), TIED_V
    ):
        return ""
    return (
        f" How much of it is the temperature's doing is known to {Z80 * sd['cold']:.2f} V either "
        "way; trips at other temperatures would tell."
    )


def sentence(rest_v: float, loaded_v: float, current_a: float, terms: list[SagTerm]) -> str:
    """The account in words a person understands, largest term first."""
    known = [(term.text, term.volts.mid) for term in terms if term.volts.mid is not None]
    # What rounds to 0.0 V would only be noise in the sentence.
    named = [t for t in known if abs(t[1]) >= WORTH_V and (t[0] != UNEXPLAINED or t[1] > 0)]
    worth = sorted(named, key=lambda term: -abs(term[1]))
    said = ", ".join(f"{volts:.1f} V to {PLAIN.get(text, text)}" for text, volts in worth)
    head = f"At {current_a:.0f} A the voltage stood {rest_v - loaded_v:.1f} V below its rest"
    text = f"{head} of {rest_v:.1f} V: {said or 'nothing of it worth naming'}."
    # Causes that explain more than there is are no cause of their own.
    too_much_v = -dict(known).get(UNEXPLAINED, 0.0)
    if too_much_v < WORTH_V:
        return text
    return (
        f"{text} Together that is {too_much_v:.1f} V more than was measured: each is a little less."
    )


def _measured(text: str, volts: Floats, why: str) -> SagTerm:
    """A term that was read rather than fitted; `why` it is unknown where it was not."""
    read = volts[np.isfinite(volts)]
    if not len(read):
        return SagTerm(text, cannot_say(why, "V"))
    mid = float(read.mean())
    return SagTerm(text, _range(mid, math.hypot(GAIN_SD * mid, METER_SD_V)))


def _range(mid: float, sd_v: float) -> Estimate:
    half = Z80 * sd_v
    return Estimate(mid, mid - half, mid + half, "V")
