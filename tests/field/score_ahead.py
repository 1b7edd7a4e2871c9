"""What is to come, by itself: `python -m tests.field.score_ahead --boats N --seed S [--kinds ...]`.

Boats of the kinds that `score` asks about, in the same days' weather, with the pack's charge and
capacity told: what is off is hull, wind, stream, loads and sun alone. Asked is "how far" by the
models themselves, without a log; and whether a passage straight on of 0.5 to 1.4 times the true
distance, at the present speed through water, arrives above the reserve. Prints coverage of the 80 %
range, misses below and above, error, width and interval score over the true distance, kind by kind;
Brier score and calibration of the passages.
"""

import argparse
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from analyzer.environment import stream_fit
from analyzer.environment.solar import unmeasured_sun_w
from analyzer.environment.stream_bins import heading_true
from analyzer.environment.wind import lately
from analyzer.hull import hull, steady
from analyzer.hull.steady_points import SteadyPoints
from analyzer.pack.cell_model import default_cell, measured_capacity
from analyzer.pack.soc import known
from analyzer.range import inputs
from analyzer.range.passage import Surroundings
from analyzer.range.plan import Passage, plan
from analyzer.range.reach import reach
from analyzer.range.route import through
from analyzer.series.series import Series
from logger.boat import Boat, from_table
from replay.boatsim.physics.place import offset_position
from replay.boatsim.scene import Leg
from tests.boats.kind_boat import LEAD, KindBoat, kind_boat
from tests.boats.kind_days import Moment, Record, days_place, story
from tests.boats.kind_table import kind_table
from tests.boats.kinds import KINDS
from tests.boats.runner import run_to
from tests.field.score_marks import winkler

LITHIUM = [
    name
    for name, kind in KINDS.items()
    if kind.cells not in LEAD and kind.dated and not kind.gps_lost and kind.kit != "volts_only"
]
SOC_SD, CAPACITY_SD = 0.003, 0.01  # of what is told
BINS = np.linspace(0, 1, 6)  # of the passages' probabilities


def day_series(records: list[Record]) -> Series:
    """Records of one outing on one clock, without charging."""
    records = [r for r in records if not r.alongside]
    first, step_s = records[0], records[0].step_s
    lengths = [len(next(iter(r.channels.values()))) for r in records]
    at = [round((r.mono_s - first.mono_s) / step_s) for r in records]
    n = at[-1] + lengths[-1]
    values = {name: np.full(n, np.nan) for name in first.channels}
    for record, begin, length in zip(records, at, lengths, strict=True):
        for name, said in record.channels.items():
            values[name][begin : begin + length] = said
    return Series(round(((first.boot_utc_s or 0.0) + first.mono_s) * 1e6), step_s, n, values)


def knowledge(boat: Boat, days: list[list[Record]], moment: Moment, true_ah: float):
    """What a question rests on, the pack told; None where nothing says what the boat does."""
    points, calibration = [], None
    for records in days:
        now = day_series(records)
        stream = stream_fit.estimate(now, boat, before=calibration)
        points.append(steady.steady(now, boat, stream))
        calibration = stream.calibration if stream.known else calibration
    curve = hull.fit(SteadyPoints.join(points), hull.prior(boat))
    end_us = round(now.t0_us + now.n * now.step_s * 1e6)
    cell = default_cell(boat.pack)
    params = replace(cell.params, capacity_ah=true_ah)
    cell = measured_capacity(replace(cell, params=params), CAPACITY_SD)
    place = tuple(float(now.get(name)[-60:][np.isfinite(now.get(name)[-60:])][-1]) for name in
                  ("latitude_deg", "longitude_deg"))  # fmt: skip
    sun = unmeasured_sun_w(boat.solar.peak_w, place, end_us / 1e6)
    if now.has("solar_power_w"):
        sun = inputs.mean_sd(now, "solar_power_w")
    return inputs.RangeInputs(
        boat,
        known(boat.pack, moment.soc_frac, SOC_SD, cell, end_us),
        curve,
        stream,
        hotel_w=inputs.hotel_w(now, boat),
        solar_w=sun,
        present=inputs.now(now, boat),
        wind=lately(now, heading_true(now)),
        place_deg=place,
    )


def ask(of: KindBoat, earlier: int = 2) -> list[dict]:
    """All moments of one boat at which it motored steadily: what was said and what was true."""
    place = days_place(of)
    boat = from_table(kind_table(of, place), "an invented boat")
    true_ah = float(of.boat.true_cells().capacity_ah.mean())
    rng, days, rows = np.random.default_rng([of.number, 77]), {}, []
    for event in story(of, earlier):
        if isinstance(event, Record):
            days.setdefault(event.boot, []).append(event)
            continue
        told = knowledge(boat, list(days.values()), event, true_ah)
        if told.present is None:
            continue
        question = told.question()
        result = reach(question)
        far, truth = result.distance(result.as_now), event.truth()
        row = {"kind": of.kind.name, "far": (far.low, far.mid, far.high), "true": truth.distance_m}
        rows.append(row | passage(question, event, truth.distance_m, place, rng))
    return rows


def passage(question, moment: Moment, far_m: float, place, rng) -> dict:
    """A passage straight on at this speed through water: its probability, and whether it came."""
    there_m, way = far_m * float(rng.uniform(0.5, 1.4)), math.radians(moment.course_deg)
    helm = moment.runner.helm
    goal = helm.east + there_m * math.sin(way), helm.north + there_m * math.cos(way)
    ends = np.array([[helm.east, goal[0]], [helm.north, goal[1]]])
    lat, lon = offset_position(place.latitude_deg, place.longitude_deg, *ends)
    now_s = float(question.stream.t_s[-1])
    around = Surroundings(log_end_s=now_s)
    route = through([(*at, "") for at in zip(lat.tolist(), lon.tolist(), strict=True)])
    given = replace(question, as_now=None)
    said = plan(Passage(given, route, now_s, around, around, (moment.speed_mps,)))
    truth = run_to(moment.runner, Leg("motoring", 60.0, moment.speed_mps), *goal)
    came = truth.limit == "arrived" and truth.soc_frac >= moment.runner.boat.reserve_frac
    return {"plan": said.arrives_frac, "came": came}


def line(name: str, rows: list[dict]) -> str:
    """Figures of one kind, or of all."""
    low, mid, high = np.array([r["far"] for r in rows]).T
    true = np.maximum([r["true"] for r in rows], 1.0)
    score = [winkler(t, a, b) / t for t, a, b in zip(true, low, high, strict=True)]
    inside = (low <= true) & (true <= high)
    return (
        f"{name:15} {len(rows):4} | {100 * inside.mean():4.0f} {100 * (true < low).mean():5.0f} "
        f"{100 * (true > high).mean():5.0f} | {100 * np.median(abs(mid / true - 1)):5.1f} "
        f"{100 * np.median(mid / true - 1):+5.1f} | {100 * np.median((high - low) / mid):5.1f} | "
        f"{np.median(score):5.2f} {np.mean(score):5.2f} | {brier(rows):5.3f}"
    )


def brier(rows: list[dict]) -> float:
    """Mean square of what a passage's probability was off."""
    return float(np.mean([(r["plan"] - r["came"]) ** 2 for r in rows]))


def main() -> None:
    """Runs the count and prints the table."""
    parser = argparse.ArgumentParser(prog="tests.field.score_ahead", description=__doc__)
    parser.add_argument("--boats", type=int, default=2, help="of each kind")
    parser.add_argument("--seed", type=int, default=7, help="other boats")
    parser.add_argument("--kinds", nargs="+", choices=LITHIUM, default=LITHIUM)
    options = parser.parse_args()
    rows = []
    for number in range(1000 * options.seed, 1000 * options.seed + options.boats):
        for kind in options.kinds:
            rows += ask(kind_boat(KINDS[kind], number))
    print("kind               n | held below above | |off|  bias | width | W med  mean | Brier")
    for kind in options.kinds:
        mine = [row for row in rows if row["kind"] == kind]
        if mine:
            print(line(kind, mine))
    print(line("all", rows))
    said, came = (np.array([float(row[key]) for row in rows]) for key in ("plan", "came"))
    for low, high in pairwise(BINS):
        inside = (said >= low) & ((said < high) | (high == 1))
        if inside.any():
            print(
                f"passages said {100 * low:.0f} to {100 * high:.0f} % sure: {inside.sum()}, said "
                f"{100 * said[inside].mean():.0f} %, arrived {100 * came[inside].mean():.0f} %"
            )


if __name__ == "__main__":
    main()
