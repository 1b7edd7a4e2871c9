"""Which questions the arriving channels can answer, and what one more sensor would buy."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from analyzer.estimation.results import QuestionRow
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

    def met(self, arriving: Arriving) -> bool:
        """Whether it arrives."""
        return any(name in arriving for name in self.any_of)


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


def questions(boat: Boat, arriving: Arriving) -> tuple[QuestionRow, ...]:
    """Each question, whether it can be answered, from what, and what would make it better."""
    return tuple(_row(text, needs, better, arriving) for text, needs, better in _asked(boat))


Better = tuple[tuple[Need, str], ...]


def _asked(boat: Boat) -> Iterator[tuple[str, tuple[Need, ...], Better]]:
    pack = (VOLTAGE, CURRENT)
    yield "How much charge is left?", pack, ()
    stream = ((HEADING, "the stream is told from the boat"), (THROUGH, "so is its own speed"))
    yield "How far will it take us, and which speed goes furthest?", (*pack, GROUND), stream
    home = () if boat.home else (Need("a [home] in the boat file", ()),)
    yield "Can we get home, and when must we turn?", (*pack, POSITION, *home), stream
    yield "What is the stream doing?", (GROUND, HEADING, THROUGH), ((WATER, "it is measured"),)
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
    yield "Is the bottom foul?", (*pack, GROUND), ((WATER, "the stream no longer hides it"),)


def _row(text: str, needs: tuple[Need, ...], better: Better, arriving: Arriving) -> QuestionRow:
    lacking = [need.text for need in needs if not need.met(arriving)]
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
