"""Invariants 3 to 5: nothing beyond physics, no leap, no traceback."""

import math
import re
from collections.abc import Callable, Iterator
from typing import Any

from tests.breakage.asking import Answer, Said, sentences
from tests.breakage.truth import Truth

STREAM_MPS = 3.0  # assumed: no stream here is stronger
TEMP_C = (-50.0, 400.0)  # of anything on board that an answer may name, assumed
APART_S = 120.0  # between the newest readings of two answers a minute apart, at most; assumed
SPARE = 1.3  # a pack's energy: label, spread and rounding, assumed
_MORE_THAN_ALL = re.compile(r"(\d+(?:\.\d+)?) %(?: \([^)]*\))? less")
_LENGTH = re.compile(r"\.(distance|duration|ampacity|crosses_limit_in|resistance)$")
Found = Iterator[str]


def walk(data: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of an answer with its path; estimates come whole and in parts."""
    if isinstance(data, dict):
        yield path, data
        for key, value in data.items():
            yield from walk(value, f"{path}.{key}" if path else key)
    elif isinstance(data, list):
        for number, value in enumerate(data):
            yield from walk(value, f"{path}[{number}]")
    else:
        yield path, data


def _estimates(said: Said) -> Iterator[tuple[str, dict[str, Any]]]:
    for question, answer in said.answers.items():
        for path, value in walk(answer.data, question):
            if isinstance(value, dict) and "coverage" in value and value["mid"] is not None:
                yield path, value


def numbers_are_finite(said: Said, truth: Truth) -> Found:
    """No NaN or infinity in the JSON or in the words."""
    for question, answer in said.answers.items():
        for path, value in walk(answer.data, question):
            if isinstance(value, float) and not math.isfinite(value):
                yield f"{path} is {value}"
        if re.search(r"\b(nan|inf|-inf)\b", answer.text):
            yield f"{question}: says nan or inf"


def ranges_are_in_order(said: Said, truth: Truth) -> Found:
    """low <= mid <= high, as far as there are any."""
    for path, e in _estimates(said):
        line = [e[k] for k in ("low", "mid", "high") if e[k] is not None]
        if line != sorted(line):
            yield f"{path}: {line} is out of order"


def shares_lie_between_none_and_all(said: Said, truth: Truth) -> Found:
    """Charges and probabilities, 0 to 1."""
    for question, answer in said.answers.items():
        for path, value in walk(answer.data, question):
            if re.search(r"(sureness|can_return|arrives|holds|reserve|in_time)_frac$", path):
                if value is not None and not -1e-6 <= value <= 1 + 1e-6:
                    yield f"{path} is {value:.3f}"
            elif isinstance(value, dict) and re.search(r"charge(_\w+)?$", path):
                for k in ("low", "mid", "high"):
                    if value.get(k) is not None and not -1e-6 <= value[k] <= 1 + 1e-6:
                        yield f"{path}.{k} is {value[k]:.3f}"


def lengths_are_not_negative(said: Said, truth: Truth) -> Found:
    """Distances, durations, resistances of cells, ampacities."""
    for path, e in _estimates(said):
        if _LENGTH.search(path) and e["mid"] < 0:
            yield f"{path} is {e['mid']:.4g} {e['unit']}"
    for trip in said.data("trips") or ():
        for name in ("distance_m", "energy_out_wh", "energy_in_wh"):
            if trip[name] is not None and trip[name] < 0:
                yield f"trips: {name} is {trip[name]:.1f}"


def speeds_suit_the_hull(said: Said, truth: Truth) -> Found:
    """No speed through water beyond a displacement hull's, over ground beyond that and stream."""
    data = said.data("range")
    if not data:
        return
    most = truth.hull_speed_mps
    named = [("headline", data), *(("curve", point) for point in data["curve"])]
    for where, row in named:
        water, ground = row["speed_water_mps"], row["speed_ground_mps"]
        if water is not None and not 0 <= water <= most:
            yield f"range: {where} goes {water:.1f} m/s through the water, this hull {most:.1f}"
        elif ground is not None and not 0 <= ground <= most + STREAM_MPS:
            yield f"range: {where} goes {ground:.1f} m/s over ground, this hull {most:.1f}"


def energy_fits_the_pack(said: Said, truth: Truth) -> Found:
    """A run takes no more than a full pack; a trip gives no more than that and what went in."""
    data, most = said.data("range"), SPARE * truth.pack_wh
    for point in data["curve"] if data else ():
        power, lasts = point["power"]["mid"], point["duration"]["mid"]
        if power and lasts and power * lasts / 3600 > most:
            yield (
                f"range: {power:.0f} W for {lasts / 3600:.1f} h is {power * lasts / 3.6e6:.1f} "
                f"kWh, a full pack holds {truth.pack_wh / 1000:.1f}"
            )
            break
    for trip in said.data("trips") or ():
        if (trip["energy_out_wh"] or 0.0) > most + (trip["energy_in_wh"] or 0.0):
            yield f"trips: {trip['energy_out_wh']:.0f} Wh out of a pack of {truth.pack_wh:.0f} Wh"


def nothing_is_less_by_more_than_all(said: Said, truth: Truth) -> Found:
    """ "112 % less capacity"."""
    for question, answer in said.answers.items():
        for share in _MORE_THAN_ALL.findall(answer.text):
            if float(share) > 100:
                yield f"{question}: {share} % less"


def temperatures_are_of_this_world(said: Said, truth: Truth) -> Found:
    """Temperatures an answer works out."""
    for path, e in _estimates(said):
        if e["unit"] == "degC" and not TEMP_C[0] <= e["mid"] <= TEMP_C[1]:
            yield f"{path} is {e['mid']:.0f} °C"


PHYSICS: tuple[Callable[[Said, Truth], Found], ...] = (
    numbers_are_finite,
    ranges_are_in_order,
    shares_lie_between_none_and_all,
    lengths_are_not_negative,
    speeds_suit_the_hull,
    energy_fits_the_pack,
    nothing_is_less_by_more_than_all,
    temperatures_are_of_this_world,
)


def leaps(said: Said, truth: Truth) -> Found:
    """Invariant 4: in a minute of steady truth the middle stays within the range.

    The minute itself takes a little of charge and distance: what was true then is not known
    here, so the wider of the two ranges and 2 % (assumed) is the bound. An answer of a log that had
    ended long before is of another time, and says so.
    """
    before, now = said.before and said.before.data, said.data("range")
    if not before or not now or not truth.steady:
        return
    if now["asked_utc_s"] - before["asked_utc_s"] > APART_S:
        return
    for name, small in (("charge", 0.02), ("distance", 300.0), ("duration", 300.0)):
        a, b = before[name], now[name]
        if None in (a["mid"], b["mid"], a["low"], b["low"], a["high"], b["high"]):
            continue
        room = max(a["high"] - a["low"], b["high"] - b["low"], small)
        if abs(b["mid"] - a["mid"]) > room:
            yield (
                f"range: {name} from {a['mid']:.4g} to {b['mid']:.4g} {b['unit']} in a minute, "
                f"range {room:.4g}"
            )


def manners(question: str, answer: Answer) -> Found:
    """Invariant 5: an answer, or one sentence and exit status 2; never a traceback."""
    if answer.broke:
        yield f"{question}: traceback, {answer.broke.strip().splitlines()[-1][:160]}"
    elif answer.status not in (0, 2):
        yield f"{question}: exit status {answer.status}"
    elif "Traceback" in answer.error or "Warning:" in answer.error:
        yield f"{question}: error output {answer.error.strip().splitlines()[-1][:160]}"
    elif answer.status == 2 and not _one_sentence(answer.error):
        yield f"{question}: refused, but not in one sentence: {answer.error.strip()[:160]}"


def _one_sentence(error: str) -> bool:
    """Both forms of the question say the same: one sentence, said once or twice.

    A boat file that is wrong in several places has a sentence, and a line, for each of them.
    """
    lines = {line.removeprefix("keelwatt: ") for line in error.splitlines() if line.strip()}
    each_once = all(len(sentences(line)) == 1 for line in lines)
    return each_once and (len(lines) == 1 or all("boat.toml" in line for line in lines))
