"""The demo's CAN frames: its own messages, and the same layout written out as a DBC.

Everything about this layout (ids, names, order, scales) is invented for the demo.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Signal:
    """One signal on whole bytes.

    Args:
        channel: keelwatt's channel, or "" for one the boat file leaves alone.
        sign, per_unit: The frame holds channel * sign / per_unit (per_unit 60: rps as rpm).
        absent: Raw value that says "no measurement".
    """

    name: str
    channel: str
    start: int  # first byte
    size: int  # bytes
    signed: bool
    scale: float
    offset: float
    unit: str
    sign: int = 1
    per_unit: float = 1.0

    @property
    def absent(self) -> int:
        """All ones, or the highest positive number."""
        return (1 << (8 * self.size - (1 if self.signed else 0))) - 1


@dataclass(frozen=True)
class Message:
    """One frame. big: the most significant byte comes first."""

    frame_id: int
    name: str
    period_s: float
    size: int
    big: bool
    signals: tuple[Signal, ...]
    sender: str


def _cells(frame_id: int, first: int) -> Message:
    signals = tuple(
        Signal(
            f"Cell{first + k:02d}",
            f"cell_{first + k:02d}_voltage_v",
            2 * k,
            2,
            False,
            0.001,
            0.0,
            "V",
        )
        for k in range(4)
    )
    name = f"Cells{first:02d}to{first + 3:02d}"
    return Message(frame_id, name, 1.0, 8, False, signals, "Packbox")


MESSAGES = (
    Message(0x1D2, "PackState", 0.5, 8, False, (
        Signal("PackVolts", "pack_voltage_v", 0, 2, False, 0.01, 0.0, "V"),
        Signal("PackAmpsIn", "pack_current_a", 2, 2, True, 0.1, 0.0, "A", sign=-1),
        Signal("PackCharge", "pack_soc_frac", 4, 1, False, 0.5, 0.0, "%", per_unit=100.0),
        Signal("PackWarmth", "pack_temp_c", 5, 1, False, 1.0, -40.0, "degC"),
    ), "Packbox"),
    _cells(0x1D4, 1), _cells(0x1D5, 5), _cells(0x1D6, 9), _cells(0x1D7, 13),
    Message(0x2B0, "DriveFast", 0.2, 8, True, (
        Signal("ShaftTurns", "shaft_speed_rps", 0, 2, True, 1.0, 0.0, "rpm", per_unit=60.0),
        Signal("DriveVolts", "controller_voltage_v", 2, 2, False, 0.1, 0.0, "V"),
        Signal("DriveAmps", "controller_current_a", 4, 2, True, 0.1, 0.0, "A"),
        Signal("MotorTorque", "motor_torque_nm", 6, 2, True, 0.1, 0.0, "Nm"),
    ), "Drive"),
    Message(0x2B1, "DriveSlow", 1.0, 4, True, (
        Signal("DriveWarmth", "controller_temp_c", 0, 1, False, 1.0, -40.0, "degC"),
        Signal("MotorWarmth", "motor_temp_c", 1, 1, False, 1.0, -40.0, "degC"),
        Signal("DriveFault", "controller_fault_code", 2, 2, False, 1.0, 0.0, ""),
    ), "Drive"),
    Message(0x339, "SunCharge", 1.0, 2, False, (
        Signal("SunPower", "solar_power_w", 0, 2, False, 1.0, 0.0, "W"),
    ), "Sunbox"),
    Message(0x33B, "PierCharge", 1.0, 2, False, (
        Signal("PierPower", "shore_power_w", 0, 2, False, 1.0, 0.0, "W"),
    ), "Pierbox"),
    Message(0x3E5, "LugProbes", 1.0, 8, False, (
        Signal("LugBatteryPlus", "probe_battery_positive_temp_c", 0, 2, True, 0.1, 0.0, "degC"),
        Signal("LugBatteryMinus", "probe_battery_negative_temp_c", 2, 2, True, 0.1, 0.0, "degC"),
        Signal("Contactor", "probe_contactor_temp_c", 4, 2, True, 0.1, 0.0, "degC"),
        Signal("LugDrivePlus", "probe_controller_positive_temp_c", 6, 2, True, 0.1, 0.0, "degC"),
    ), "Probebox"),
    Message(0x3E6, "AirProbe", 2.0, 2, False, (
        Signal("EngineSpaceAir", "ambient_temp_c", 0, 2, True, 0.1, 0.0, "degC"),
    ), "Probebox"),
)  # fmt: skip


def encode(message: Message, values: dict[str, Floats]) -> Bytes:
    """Frames' bytes. values: channel -> (n,), NaN for none. Returns shape (n, size)."""
    n = len(values[message.signals[0].channel])
    data = np.full((n, message.size), 0xFF, np.uint8)
    for s in message.signals:
        value = values[s.channel] * s.sign * s.per_unit
        raw = np.round((np.nan_to_num(value) - s.offset) / s.scale).astype(np.int64)
        lowest = -s.absent - 1 if s.signed else 0
        raw = np.where(np.isfinite(value), np.clip(raw, lowest, s.absent - 1), s.absent)
        for k in range(s.size):
            shift = 8 * (s.size - 1 - k) if message.big else 8 * k
            data[:, s.start + k] = ((raw >> shift) & 0xFF).astype(np.uint8)
    return data


def dbc_text() -> str:
    """The layout as a DBC."""
    senders = sorted({m.sender for m in MESSAGES})
    lines = [
        'VERSION "invented demo boat"',
        "",
        "NS_ :",
        "",
        "BS_:",
        "",
        "BU_: " + " ".join(senders),
    ]
    for m in MESSAGES:
        lines += ["", f"BO_ {m.frame_id} {m.name}: {m.size} {m.sender}"]
        for s in m.signals:
            # Big-endian signals are placed by their most significant bit.
            start = 8 * s.start + 7 if m.big else 8 * s.start
            bits, order, kind = 8 * s.size, 0 if m.big else 1, "-" if s.signed else "+"
            low = (-(1 << (bits - 1)) if s.signed else 0) * s.scale + s.offset
            high = (s.absent - 1) * s.scale + s.offset
            lines.append(
                f" SG_ {s.name} : {start}|{bits}@{order}{kind} ({s.scale:g},{s.offset:g}) "
                f'[{low:g}|{high:g}] "{s.unit}" Vector__XXX'
            )
    lines += ["", 'CM_ "Invented for the keelwatt demo; no real device uses this layout.";', ""]
    return "\n".join(lines)
