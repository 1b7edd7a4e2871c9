"""One invented boat's days played into a log and asked about through the command line.

Truth: the same boat run on from the moment (throttle and course held, weather going on) until the
reserve, a cell's cut-off or the controller's. Oracle: knows the boat, its charge and the tide's
own course exactly; wind, gusts, eddies, clouds and loads from the moment on are drawn anew
`FUTURES` times, and its 80 % range is that of Student's t through these.
"""

import contextlib
import io
import json
import math
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from analyzer.faces.cli.main import main
from logger.store import Store
from replay.boatsim.physics.place import offset_position
from replay.boatsim.scene import Leg
from tests.boats.kind_boat import kind_boat
from tests.boats.kind_days import Moment, Record, days_place, story
from tests.boats.kinds import KINDS
from tests.boats.runner import run_out, run_to
from tests.field.score_log import BoatLog, Counter

FUTURES = 6
T90 = 1.476  # Student's t, 5 degrees of freedom, at 0.9 (tables)
LEAST_SPREAD = 0.003  # of the distance: what the run-on's own steps make
KN = 1852 / 3600


def ask(log: BoatLog, *arguments: str) -> tuple[dict | None, str]:
    """A question's JSON and what was said beside it; None where it was refused."""
    out, said = io.StringIO(), io.StringIO()
    places = ("--json", "--log", str(log.path), "--boat", str(log.boat_file))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        status = main([*arguments, *places])
    return (json.loads(out.getvalue()) if status == 0 else None), said.getvalue().strip()


def boat_answers(kind: str, number: int, folder: Path, earlier: int = 2) -> list[dict]:
    """All moments of one boat: what was said and what was true."""
    of = kind_boat(KINDS[kind], number)
    place = days_place(of)
    log = BoatLog(folder, of, place)
    counter = Counter(of.boat.rated_ah, of.boat.reserve_frac, of.kind.charging == "recorded")
    rng, answers, last = np.random.default_rng([number, 99]), [], None
    true_ah = float(of.boat.true_cells().capacity_ah.mean())
    for event in story(of, earlier):
        if isinstance(event, Record):
            log.add(event)
            counter.see(event)
            last = event
            continue
        row = {
            "kind": kind, "number": number, "moment": len(answers), "changed": event.just_changed,
            "label_frac": true_ah / of.boat.rated_ah, "reserve": of.boat.reserve_frac,
            "true_ah": true_ah, "counting": counter.range_m(), "doing": event.leg.doing,
            "true_mps": event.speed_mps,
        }  # fmt: skip
        row |= _truth(event, rng) | _said(log)
        row |= _home(event, row.pop("home_said"))
        if len(answers) == 1 and last.boot_utc_s is not None:
            utc_s = last.boot_utc_s + event.mono_s
            row |= _plan(event, row["true_far"], rng, log, place, utc_s)
        row["capacity_ah"] = _capacity(log)
        answers.append(row)
    return answers


def _truth(moment: Moment, rng) -> dict:
    truth = moment.truth()
    far = np.array([moment.otherwise(rng).distance_m for _ in range(FUTURES)])
    wide = T90 * math.hypot(far.std(ddof=1) * math.sqrt(1 + 1 / FUTURES), LEAST_SPREAD * far.mean())
    mid = float(far.mean())
    return {
        "true_far": truth.distance_m, "true_limit": truth.limit, "true_soc": moment.soc_frac,
        "oracle": (mid - wide, mid, mid + wide),
    }  # fmt: skip


def _said(log: BoatLog) -> dict:
    begun = time.process_time()
    answer, beside = ask(log, "range", "--home")
    row = {"cpu_s": time.process_time() - begun, "home_said": None, "far": None, "soc": None}
    if answer is None:
        return row | {"why": beside}
    far, soc = answer["distance"], answer["charge"]
    row["limit"], row["home_said"] = answer["limit"], answer["home"]
    row["why"] = far["reason"] or soc["reason"]
    row["said_mps"], row["motoring"] = answer["speed_water_mps"], answer["motoring"]
    row["far"] = _three(far)
    row["soc"] = _three(soc)
    return row


def _three(estimate: dict) -> tuple[float, float, float] | None:
    three = (estimate["low"], estimate["mid"], estimate["high"])
    return None if None in three else three


def _capacity(log: BoatLog) -> float | None:
    """The capacity that is kept of the pack, where that is found."""
    with Store.open(log.path) as store:
        kept = store.learned("charge")
    return kept[-1].value.get("capacity_ah") if kept else None


def _home(moment: Moment, said: dict | None) -> dict:
    """Out to the stated lower figure at this throttle and straight back at the named speed."""
    if said is None or said["turn_in"]["low"] is None or said["speed_water_mps"] is None:
        return {}
    reserve, back = moment.runner.boat.reserve_frac, said["speed_water_mps"]
    leg = Leg("motoring", 60.0, back)
    now = run_to(moment.runner, leg, 0.0, 0.0)
    row = {
        "now_home": said["can_return_frac"],
        "now_home_came": now.limit == "arrived" and now.soc_frac >= reserve,
    }
    if said["turn_in"]["low"] <= 0:
        return row
    out = run_out(moment.runner, moment.leg, moment.course_deg, said["turn_in"]["low"])
    there = run_to(out, leg, 0.0, 0.0) if out is not None else None
    came = there is not None and there.limit == "arrived"
    return row | {"home": said["sureness_frac"], "home_came": came, "home_kn": back / KN}


ROUTE = """<?xml version="1.0"?>
<gpx version="1.1" creator="score" xmlns="http://www.topografix.com/GPX/1/1"><rte>
<rtept lat="{0:.7f}" lon="{1:.7f}"/><rtept lat="{2:.7f}" lon="{3:.7f}"/></rte></gpx>
"""


def _plan(moment: Moment, far_m: float, rng, log: BoatLog, place, utc_s: float) -> dict:
    """A passage straight on, at this speed through water, of 0.5 to 1.4 times the true distance."""
    there_m, way = far_m * float(rng.uniform(0.5, 1.4)), math.radians(moment.course_deg)
    helm = moment.runner.helm
    goal = helm.east + there_m * math.sin(way), helm.north + there_m * math.cos(way)
    lat, lon = offset_position(
        place.latitude_deg, place.longitude_deg,
        np.array([helm.east, goal[0]]), np.array([helm.north, goal[1]]),
    )  # fmt: skip
    route = log.path.with_name("route.gpx")
    route.write_text(ROUTE.format(lat[0], lon[0], lat[1], lon[1]))
    depart = datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    speed = f"{moment.speed_mps / KN:.2f}"
    answer, beside = ask(log, "plan", str(route), "--depart", depart, "--speed", speed)
    if answer is None:
        return {"plan_why": beside}
    truth = run_to(moment.runner, Leg("motoring", 60.0, moment.speed_mps), *goal)
    came = truth.limit == "arrived" and truth.soc_frac >= moment.runner.boat.reserve_frac
    return {"plan": answer["plan"]["arrives_frac"], "plan_came": came}
