"""Which questions the arriving channels can answer, and what one more sensor would buy."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from analyzer.estimation.ground import Ground, is_contradicted, standing_of
from analyzer.estimation.results import QuestionRow
from analyzer.grounds.decide import VOLTAGES, charge_lost
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage, probe_temp

PACK = ("pack_voltage_v", "pack_current_a")
GROUND_SPEED = "ground speed (GPS)"
Arriving = frozenset[str]


@dataclass(frozen=True)
class Need:
    """One thing a question wants: any of these channels."""

    text: str
    any_of: tuple[str, ...]
    refused: str = ""  # why it is of no use though it arrives

    def met(self, arriving: Arriving) -> bool:
        """Whether it arrives, and is of use."""
        return not self.refused and any(name in arriving for name in self.any_of)


VOLTAGE = Need("pack voltage", ("pack_voltage_v",))
CURRENT = Need("pack current", ("pack_current_a",))
GROUND = Need(GROUND_SPEED, ("speed_ground_mps", "latitude_deg"))
POSITION = Need("position (GPS)", ("latitude_deg",))
HEADING = Need("heading (compass)", ("heading_true_deg", "heading_magnetic_deg"))
THROUGH = Need(
    "shaft speed or water speed", ("shaft_speed_rps", "motor_speed_rps", "speed_water_mps")
)
WATER = Need("water speed", ("speed_water_mps",))
CONTROLLER = Need("voltage at the controller", ("controller_voltage_v",))
SOLAR = Need("solar power", ("solar_power_w",))
HOTEL = Need("hotel power", ("hotel_power_w",))


def cells_need(boat: Boat) -> Need:
    """Any cell's or block's voltage."""
    cells = [cell_voltage(n) for n in range(1, boat.pack.cells_in_series + 1)]
    blocks = [block_voltage(n) for n in range(1, (boat.pack.blocks_in_series or 0) + 1)]
    return Need("cell or block voltages", (*cells, *blocks))


def probes_need(boat: Boat) -> Need:
    """Any probe of a cable in the boat file."""
    names = tuple(probe_temp(c.probe) for c in boat.cable if c.probe)
    return Need("a temperature probe on a cable", names)


@dataclass(frozen=True)
class Standings:
    """How a log's inputs stand at its end.

    Args:
        rows: Of every input; empty without a log.
        end_s: The log's end, on the timeline.
        reversed: Why the pack's current is not believed; empty where it is.
    """

    rows: tuple[Ground, ...] = ()
    end_s: float = 0.0
    reversed: str = ""


def questions(
    boat: Boat, arriving: Arriving, standings: Standings | None = None
) -> tuple[QuestionRow, ...]:
    """Each question, whether it can be answered, from what, and what would make it better."""
    asked = _asked(boat, standings or Standings())
    return tuple(_row(text, needs, better, arriving) for text, needs, better in asked)


Better = tuple[tuple[Need, str], ...]


def charge_needs(standings: Standings) -> tuple[Need, ...]:
    """What tells the charge: the pack's own meters, or what stands in for them."""
    charge = standing_of(standings.rows, "charge")
    if standings.reversed:
        return (replace(CURRENT, refused=standings.reversed),)
    if charge is None or charge.standing == "assumed":
        return (VOLTAGE, CURRENT)
    lost = charge_lost(standings.rows, standings.end_s)
    if lost is not None:
        silent_s = standings.end_s - (lost.until_utc_s or 0.0)
        return (replace(CURRENT, refused=f"pack current, silent for {silent_s / 60:.0f} min"),)
    if charge.standing == "told by a device":
        return (Need("a device's own gauge", (charge.channel,)),)
    if charge.standing == "bridged by":
        return (Need(charge.by, ("controller_current_a",)),)
    volts = standing_of(standings.rows, "pack voltage")
    if volts is not None and volts.standing == "bridged by":
        return (Need(volts.by, CONTROLLER.any_of), CURRENT)
    return (VOLTAGE if volts is not None else replace(VOLTAGE, any_of=VOLTAGES), CURRENT)


def _asked(boat: Boat, standings: Standings) -> Iterator[tuple[str, tuple[Need, ...], Better]]:
    pack, charge = (VOLTAGE, CURRENT), charge_needs(standings)
    yield "How much charge is left?", charge, ()
    stream = ((HEADING, "the stream is told from the boat"), (THROUGH, "so is its own speed"))
    over = GROUND
    if is_contradicted(standings.rows, "speed over ground"):
        over = replace(GROUND, refused="a ground speed that nothing contradicts")
    ground = ((over, "it is tied to the ground"),)
    flows: Better = ((HOTEL, "what all but the motor uses is measured, not thought"),)
    if boat.solar.peak_w > 0:
        flows = (*flows, (SOLAR, "so is what the panels give"))
    better = ground + stream + flows
    yield "How far will it take us, and which speed goes furthest?", charge, better
    home = () if boat.home else (Need("a [home] in the boat file", ()),)
    yield "Can we get home, and when must we turn?", (*charge, POSITION, *home), stream
    yield "What is the stream doing?", (over, HEADING, THROUGH), ((WATER, "it is measured"),)
    cells = cells_need(boat)
    yield "Is a cell falling behind the others?", (*pack, cells), ()
    probes = probes_need(boat)
    yield (
        "Does a cable, lug or contactor heat too much?",
        (CURRENT, probes),
        ((Need("the air's temperature", ("ambient_temp_c",)), "the rise is surer"),),
    )
    yield (
        "Where did the volts go?",
        pack,
        ((CONTROLLER, "cables are told from the pack"), (cells, "so is a weak cell")),
    )
    yield (
        "Where did the watt-hours come from and go to?",
        pack,
        ((SOLAR, "the sun's share is known"), (HOTEL, "so is the hotel load's")),
    )
    yield "Is the bottom foul?", (*pack, over), ((WATER, "the stream no longer hides it"),)


def _row(text: str, needs: tuple[Need, ...], better: Better, arriving: Arriving) -> QuestionRow:
    lacking = [need.refused or need.text for need in needs if not need.met(arriving)]
    if lacking:
        return QuestionRow(text, False, f"wants {_listed(lacking)}")
    used = f"from {_listed([need.text for need in needs])}"
    gains = [f"with {need.text}, {gain}" for need, gain in better if not need.met(arriving)]
    return QuestionRow(text, True, "; ".join([used, *gains]))


def missing(boat: Boat, arriving: Arriving) -> tuple[str, ...]:
    """Channels that the boat file or the minimum kit lets expect, and that do not arrive."""
    wanted = [*PACK, "latitude_deg", "longitude_deg", "speed_ground_mps"]
    for cable in boat.cable:
        wanted.append(cable.current_channel)
        wanted += [probe_temp(cable.probe)] if cable.probe else []
    wanted += _rest_of(cell_voltage, boat.pack.cells_in_series, arriving)
    wanted += _rest_of(block_voltage, boat.pack.blocks_in_series or 0, arriving)
    return tuple(dict.fromkeys(name for name in wanted if name not in arriving))


def _rest_of(name: Callable[[int], str], count: int, arriving: Arriving) -> list[str]:
    """All of a family, if at least one of it arrives."""
    family = [name(number) for number in range(1, count + 1)]
    return family if any(member in arriving for member in family) else []


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
