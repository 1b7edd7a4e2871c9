"""What a boat file may not say, although each key by itself is well formed.

Only the impossible is refused here; what is merely doubtful is for `keelwatt check` to mention.
"""

import difflib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from logger import channels
from logger.boat.boat import Boat, Cable, Hull, Motor, Pack


@dataclass(frozen=True)
class CellVoltages:
    """What one cell of a chemistry can be. [V]

    Args:
        nominal_low, nominal_high: What a label may call it; "48 V" is said of 15 cells and of 16.
        lowest, highest: No cut-off is below, no full voltage above.
        most_wh_per_kg: No cell on the market holds more for its weight; data sheets, from memory.
    Source: common practice, no source; the LFP limits as in makers' sheets (2.0 to 3.65 V), with
        room for measuring cells to 3.8 V.
    """

    nominal_low: float
    nominal_high: float
    lowest: float
    highest: float
    most_wh_per_kg: float


CELLS = {
    "lfp": CellVoltages(2.95, 3.45, 1.9, 3.8, 210.0),
    "nmc": CellVoltages(3.3, 3.9, 2.4, 4.4, 300.0),
    **dict.fromkeys(("lead_acid", "agm", "gel"), CellVoltages(1.9, 2.2, 1.5, 2.7, 50.0)),
}

# Hull, ballast, rig and crew weigh the other half at least: common practice, no source.
HEAVIEST_SHARE = 0.5
# sea water is 1020 to 1030: the most that a volume can carry, handbook, from memory
SALTEST_KG_M3 = 1030.0
# Length over the cube root of volume: towing-tank yachts 4.3 to 5.1, catamarans to about 11;
# outside these the figures belong to different boats (common practice, no source).
LEAST_SLENDER, MOST_SLENDER = 2.5, 15.0


def contradictions(boat: Boat) -> tuple[str, ...]:
    """One sentence, without a full stop, for each combination that cannot be."""
    return (
        *_hull(boat.hull),
        *_pack(boat.pack),
        *_weight(boat.pack, boat.hull),
        *_motor(boat.motor, boat.pack),
        *_cables(boat.cable),
        *_twice("source", "name", (s.name for s in boat.source)),
    )


def _hull(hull: Hull) -> Iterator[str]:
    if hull.beam_waterline_m >= hull.waterline_m:
        yield (
            f"hull.beam_waterline_m wants less than hull.waterline_m ({hull.waterline_m:g}); got "
            f"{hull.beam_waterline_m:g}; are the two swapped?"
        )
    if hull.draught_m >= hull.waterline_m:
        yield (
            f"hull.draught_m wants less than hull.waterline_m ({hull.waterline_m:g}); got "
            f"{hull.draught_m:g}"
        )
    if hull.body_draught_m is not None and hull.body_draught_m > hull.draught_m:
        yield (
            f"hull.body_draught_m (without keel) wants at most hull.draught_m (with keel, "
            f"{hull.draught_m:g}); got {hull.body_draught_m:g}"
        )
    yield from _displacement(hull)


def _displacement(hull: Hull) -> Iterator[str]:
    box_kg = hull.waterline_m * hull.beam_waterline_m * hull.draught_m * SALTEST_KG_M3
    slender = hull.waterline_m / (hull.displacement_kg / 1025.0) ** (1 / 3)
    if hull.displacement_kg > box_kg and hull.kind != "catamaran":
        yield (
            f"hull.displacement_kg wants at most {box_kg:.0f}, what a box of the waterline's "
            f"length, beam and draught displaces; got {hull.displacement_kg:g}; are pounds or "
            f"feet among the four?"
        )
    elif not LEAST_SLENDER < slender < MOST_SLENDER:
        yield (
            f"hull.displacement_kg does not go with hull.waterline_m: wants a length of "
            f"{LEAST_SLENDER:g} to {MOST_SLENDER:g} times the cube root of the displaced volume; "
            f"got {slender:.1f} times, from {hull.displacement_kg:g} kg and {hull.waterline_m:g} m"
        )


def _pack(pack: Pack) -> Iterator[str]:
    cell = CELLS[pack.chemistry]
    for key, value in (("cell_cutoff_v", pack.cell_cutoff_v), ("cell_full_v", pack.cell_full_v)):
        if value is not None and not cell.lowest <= value <= cell.highest:
            yield (
                f"pack.{key} of a {pack.chemistry} cell wants {cell.lowest:g} to "
                f"{cell.highest:g} V; got {value:g}"
            )
    cutoff, full = pack.cell_cutoff_v, pack.cell_full_v
    if cutoff is not None and full is not None and cutoff >= full:
        yield f"pack.cell_cutoff_v wants less than pack.cell_full_v ({full:g}); got {cutoff:g}"
    yield from _cell_count(pack, cell)


def _weight(pack: Pack, hull: Hull) -> Iterator[str]:
    """A battery is lighter than the boat it is in; energy is often given for charge."""
    cell = CELLS[pack.chemistry]
    volts = pack.cells_in_series * (cell.nominal_low + cell.nominal_high) / 2
    least_kg = pack.rated_capacity_ah * volts / cell.most_wh_per_kg
    if least_kg > HEAVIEST_SHARE * hull.displacement_kg:
        yield (
            f"pack.rated_capacity_ah wants ampere-hours; got {pack.rated_capacity_ah:g}: such a "
            f"pack would weigh over {least_kg:.0f} kg in a boat of {hull.displacement_kg:g} kg; "
            f"{pack.rated_capacity_ah:g} Wh are {pack.rated_capacity_ah / volts:.0f} Ah, if that "
            "was meant"
        )


def _cell_count(pack: Pack, cell: CellVoltages) -> Iterator[str]:
    volts = pack.nominal_voltage_v
    if volts is None:
        return
    each = volts / pack.cells_in_series
    if cell.nominal_low <= each <= cell.nominal_high:
        return
    counts = [n for n in range(1, 601) if cell.nominal_low <= volts / n <= cell.nominal_high]
    if not counts:
        wants = "is no whole number of cells"
    else:
        several = f"{counts[0]} to {counts[-1]}" if len(counts) > 1 else f"{counts[0]}"
        wants = f"wants {several} cells"
    yield (
        f"pack.cells_in_series does not go with pack.nominal_voltage_v: {volts:g} V of "
        f"{pack.chemistry} {wants}; got {pack.cells_in_series}, {each:.2f} V each"
    )


def _motor(motor: Motor, pack: Pack) -> Iterator[str]:
    full = pack.cell_full_v if pack.cell_full_v is not None else CELLS[pack.chemistry].highest
    top = pack.cells_in_series * full
    for key, value in (("cutback_v", motor.cutback_v), ("shutdown_v", motor.shutdown_v)):
        if value is not None and value >= top:
            yield (
                f"motor.{key} wants less than the full pack's {top:.1f} V "
                f"({pack.cells_in_series} cells of {full:g} V); got {value:g}: the motor would "
                f"never run"
            )
    if motor.cutback_v and motor.shutdown_v and motor.shutdown_v > motor.cutback_v:
        yield (
            f"motor.shutdown_v wants at most motor.cutback_v ({motor.cutback_v:g}), as less power "
            f"comes before none; got {motor.shutdown_v:g}"
        )


def _cables(cables: tuple[Cable, ...]) -> Iterator[str]:
    names = [c.name for c in cables]
    yield from _twice("cable", "name", names)
    yield from _twice("cable", "probe", (c.probe for c in cables if c.probe))
    for cable in cables:
        yield from _partner(cable, names)
        yield from _cable(cable)


def _partner(cable: Cable, names: list[str]) -> Iterator[str]:
    others = [n for n in names if n != cable.name]
    if cable.partner is None or cable.partner in others:
        return
    choice = ", ".join(f'"{n}"' for n in others) or "there is none yet"
    yield (
        f'cable "{cable.name}": partner wants the name of another [[cable]] ({choice}); got '
        f'"{cable.partner}"{_nearest(cable.partner, others)}'
    )


def _cable(cable: Cable) -> Iterator[str]:
    if cable.limit_c is not None and cable.limit_c > cable.insulation_rating_c:
        yield (
            f'cable "{cable.name}": limit_c wants at most insulation_rating_c '
            f"({cable.insulation_rating_c:g}), as the insulation fails first; got "
            f"{cable.limit_c:g}"
        )
    name = cable.current_channel
    found = channels.find(name)
    if found is None or found.unit != "A":
        known = [n for n, c in channels.CATALOGUE.items() if c.unit == "A"]
        yield (
            f'cable "{cable.name}": current_channel wants a channel in amperes, such as '
            f'pack_current_a; got "{name}"{_nearest(name, known)}'
        )


def _twice(table: str, key: str, values: Iterable[str]) -> Iterator[str]:
    for value, count in Counter(values).items():
        if count > 1:
            yield (
                f"{table}: wants a different {key} for each [[{table}]]; got "
                f'"{value}" {count} times'
            )


def _nearest(word: str, among: list[str]) -> str:
    near = difflib.get_close_matches(word, among, 1, 0.6)
    return f'; did you mean "{near[0]}"?' if near else ""
