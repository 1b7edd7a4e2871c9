"""What can be done to pack, path, hull and propeller, and what each buys this boat."""

from collections.abc import Iterator
from dataclasses import replace

from analyzer.answers.gain.boat_changes import COPPER_SD, MOTOR_CURRENTS, path_ohm, place_of
from analyzer.answers.gain.rows import GainRow, UnsaidGain
from analyzer.answers.gain.usual import Usual
from analyzer.answers.health import now
from analyzer.answers.hull import hull_state
from analyzer.estimation.estimate import cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import CableRow
from analyzer.hull.propeller import USUAL_BLADES, Propeller
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.reach import middle, reach
from analyzer.range.what_if import changes
from analyzer.range.what_if.fouling import CleanBottom
from analyzer.range.what_if.propeller import OtherPropeller
from analyzer.thermal import copper
from logger.boat import Cable
from logger.units import KN

Said = Iterator[GainRow | UnsaidGain]

WARM_C = 20.0  # a pack in a warm saloon; assumed
COLD_C = 15.0  # below it warming is worth a word; assumed
# The other size of pack that is asked about, and how far apart propellers are tried: assumed.
HALF_AGAIN, PITCH_STEP = 1.5, 0.1
WORTH_M = 1.0  # further: less is nothing, by definition of a figure in metres
STORES = cannot_say("it stores more and saves nothing", "Wh")
NOTHING_IDLE = cannot_say("the load beside the motor is not changed by it", "s")


def _changed(
    usual: Usual, given: ReachInput, measure: str, text: str, rests_on: str, saves: bool = True
) -> GainRow:
    """A row for the usual question of a changed boat."""
    result = reach(given)
    idle = NOTHING_IDLE if saves else usual.longer(given)
    year = usual.saved(result) if saves else STORES
    return GainRow(measure, text, usual.further(result), idle, year, rests_on)


def slower(usual: Usual) -> Said:
    """Half a knot off."""
    result = usual.result
    slow_mps, speed = (float(v) for v in usual.given.speeds_mps)
    more = result.distance_m[:, 0] - result.distance_m[:, 1]
    per_m = result.total_w / usual.given.speeds_mps
    share = 1 - per_m[:, 0] / per_m[:, 1]
    yield GainRow(
        "slower",
        f"go {(speed - slow_mps) / KN:.1f} kn slower",
        middle(more, "m"),
        NOTHING_IDLE,
        usual.in_year(share, usual.year.motor_wh if usual.year else 0.0),
        f"the power curve, {usual.given.curve.reason}",
    )


def clean_bottom(usual: Usual) -> Said:
    """The growth that the log has found since its first trips taken off."""
    found = hull_state(usual.log).fouling
    text, loss = "clean the bottom and the propeller", found.now
    if loss.mid is None or loss.low is None or loss.high is None:
        yield UnsaidGain(
            "clean_bottom", text, loss.reason, "steady motoring on trips days and weeks apart"
        )
        return
    sd = (loss.high - loss.low) / 2 / Z80
    given = changes.after(usual.given, CleanBottom(loss.mid, sd))
    rests_on = (
        "speed lost at the same power since the log's first trips; what had grown before them is "
        "not in it"
    )
    yield _changed(usual, given, "clean_bottom", text, rests_on)


def joints(usual: Usual) -> Said:
    """Each joint that is found to resist too much, mended."""
    answer = now.cables(usual.log)
    reading = "a probe on each lug, or the controller's own voltage beside the pack's"
    text = "mend a lug or link"
    if answer.not_measured and not answer.findings:
        yield UnsaidGain("joint", text, "no joint's warmth is measured", reading)
        return
    told = " ".join(finding.subject for finding in answer.findings)
    bad = [row for row in answer.rows if row.name.replace("_", " ") in told.replace("_", " ")]
    if not bad:
        yield UnsaidGain("joint", text, "no joint is found to resist too much: nothing to mend")
    for row in bad:
        yield _joint(usual, row)


def _joint(usual: Usual, row: CableRow) -> GainRow | UnsaidGain:
    ohm, name = row.excess_resistance, row.name.replace("_", " ")
    text = f"mend the lug of {name}"
    if ohm.mid is None or ohm.low is None or ohm.high is None:
        reading = "the controller's own voltage beside the pack's"
        return UnsaidGain("joint", text, ohm.reason or "its resistance is not told", reading)
    sd = (ohm.high - ohm.low) / 2 / Z80
    given = changes.better_path(usual.given, (ohm.mid, sd))
    rests_on = f"{1e3 * ohm.mid:.2f} mΩ too much, as found; a hot lug is a danger before it is cost"
    return _changed(usual, given, "joint", text, rests_on)


def weak_cell(usual: Usual) -> Said:
    """The weakest cell levelled or replaced."""
    found, weakest = now.cells(usual.log), usual.here.weakest
    text = "level or replace the weak cell"
    if found.not_measured:
        reading = "one voltage for each cell or block"
        yield UnsaidGain("weak_cell", text, "cells are not measured", reading)
    elif weakest is None or not weakest.told:
        yield UnsaidGain("weak_cell", text, "no cell is found to be behind: nothing to level")
    else:
        cure = next((f.cure for f in found.findings if f.subject == weakest.name), "")
        given = changes.no_weak_cell(usual.given)
        text = f"level or replace {weakest.name}"
        rests_on = cure or "what the log knows of it, all likely causes with their weights"
        row = _changed(usual, given, "weak_cell", text, rests_on, saves=False)
        if (row.distance.high or 0.0) >= WORTH_M:
            yield row
            return
        why = "no range to gain, as the reserve comes before it ends the run; its cure stands with "
        yield UnsaidGain("weak_cell", text, f"{why}the cells")


def warm_pack(usual: Usual) -> Said:
    """Cold's share."""
    text = f"keep the pack at {WARM_C:.0f} °C"
    if "pack_temp_c" not in usual.here.used or usual.here.charge is None:
        yield UnsaidGain(
            "warm_pack", text, "the pack's temperature is not measured", "a probe on the pack"
        )
        return
    temp_c = usual.here.charge.temp_c
    if temp_c >= COLD_C:
        why = f"the pack stands at {temp_c:.0f} °C: little to gain"
        yield UnsaidGain("warm_pack", text, why)
        return
    given = changes.warmed(usual.given, WARM_C)
    rests_on = f"the pack's {temp_c:.0f} °C now, and how resistance grows with cold"
    yield _changed(usual, given, "warm_pack", text, rests_on, saves=False)


def larger_cable(usual: Usual) -> Said:
    """Every cable of the motor's path one size larger."""
    boat = usual.boat
    text = "one size larger cable from pack to controller"
    own = [cable for cable in boat.cable if cable.current_channel in MOTOR_CURRENTS]
    if not own:
        yield UnsaidGain("cable", text, "the boat file names no cable", "[[cable]] in boat.toml")
        return
    bigger = boat.model_copy(update={"cable": tuple(_next_size(cable) for cable in own)})
    only = boat.model_copy(update={"cable": tuple(own)})
    less = path_ohm(only) - path_ohm(bigger)
    given = changes.better_path(usual.given, (less, COPPER_SD * less))
    rests_on = f"{1e3 * less:.2f} mΩ less copper by IEC 60228, lengths as in the boat file"
    yield _changed(usual, given, "cable", text, rests_on)


def _next_size(cable: Cable) -> Cable:
    """The same in the next size of the standard; itself where there is none."""
    area = copper.area_mm2(cable)
    larger = [size for size in copper.IEC_60228_FLEXIBLE if size > 1.1 * area]
    if not larger:
        return cable
    return cable.model_copy(update={"size_mm2": min(larger), "size_awg": None})


def packs(usual: Usual) -> Said:
    """A second pack, and one of another size."""
    pack = usual.boat.pack
    rated = f"{pack.rated_capacity_ah:g} Ah"
    second = changes.second_pack(usual.given, pack)
    yield _changed(
        usual, second, "second_pack", f"a second pack of {rated} beside it",
        "a new one, as such packs are; both full; its weight is not counted", saves=False,
    )  # fmt: skip
    larger = changes.larger_pack(usual.given, HALF_AGAIN)
    size = f"{HALF_AGAIN * pack.rated_capacity_ah:g} Ah"
    yield _changed(
        usual, larger, "larger_pack", f"a pack of {size} in its place",
        "in the state of the one aboard; its weight is not counted", saves=False,
    )  # fmt: skip


def propeller(usual: Usual) -> Said:
    """The best of a tenth more or less pitch and a tenth more diameter; the gear."""
    yield UnsaidGain(
        "gear",
        "another gear",
        "the propeller asks for the same power at the same turns; what the motor loses at other "
        "turns is not in the log",
        "shaft speed and controller power with the other gear",
    )
    motor = usual.boat.motor
    text = "another propeller"
    if motor.propeller_diameter_m is None or motor.propeller_pitch_m is None:
        why = "the boat file does not say which is aboard"
        reading = "motor.propeller_diameter_m and motor.propeller_pitch_m in boat.toml"
        yield UnsaidGain("propeller", text, why, reading)
        return
    old = Propeller(
        motor.propeller_diameter_m, motor.propeller_pitch_m, motor.propeller_blades or USUAL_BLADES
    )
    tries = [
        replace(old, pitch_m=(1 + PITCH_STEP) * old.pitch_m),
        replace(old, pitch_m=(1 - PITCH_STEP) * old.pitch_m),
        replace(old, diameter_m=(1 + PITCH_STEP) * old.diameter_m),
    ]
    able = [new for new in tries if new.in_series]
    if not old.in_series or not able:
        why = "its pitch over diameter lies outside the published series"
        yield UnsaidGain("propeller", text, why)
        return
    yield max((_propeller(usual, old, new) for new in able), key=lambda row: row.distance.mid or 0)


def _propeller(usual: Usual, old: Propeller, new: Propeller) -> GainRow:
    place, seen = place_of(usual.log, usual.end_us), usual.given.curve.seen_mps
    known = place.advance_m is not None and seen is not None
    change = OtherPropeller(
        old,
        new,
        usual.boat.motor.rated_power_w,
        usual.boat.hull.water_density_kg_m3,
        place.advance_m if known else None,
        sum(seen) / 2 if seen else 0.0,
    )
    sizes = " in place of ".join(
        f"{p.diameter_m * 100:.0f} x {p.pitch_m * 100:.0f} cm" for p in (new, old)
    )
    row = _changed(
        usual,
        changes.after(usual.given, change),
        "propeller",
        f"a propeller of {sizes} (diameter x pitch)",
        "the published B-series; the best of a tenth more or less pitch and a tenth more diameter; "
        "whether it fits, and the motor can turn it, is not looked at",
    )
    slip = "" if known else "the shaft's turns would say how it is loaded"
    return replace(row, would_help=slip)
