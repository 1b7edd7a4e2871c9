"""Readings in the Battery Data Format, version 1.0, as CSV: what laboratories' programs read.

| column | from |
|---|---|
| Test Time / s | the log's clock, from the first row on |
| Unix Time / s | UTC; empty where the boot's date is not known |
| Voltage / V | the pack's, or the one voltage channel that was asked for |
| Current / A | the pack's, positive while it charges |
| Ambient Temperature / degC | the air near the battery, where it is measured |
| Surface Temperature T1 / degC | the pack's, where it is measured |

Names and units: the format's published specification, which a test holds to. Which way
current counts it does not say beyond "applied": as cyclers count, common practice, no source. A
file is of one test object: the pack, or one cell or block of it.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import BinaryIO

import numpy as np

from analyzer.errors import NoChannel
from analyzer.exchange.rows import Rows, Stretch, rows
from analyzer.series.series import Floats
from logger.store import Store

STEP_S = 1.0  # from row to row where nobody asks otherwise: voltage and current share rows; assumed
DECIMALS = 9  # nanovolts, far below what any sensor resolves; assumed
PACK_VOLTAGE, CURRENT = "pack_voltage_v", "pack_current_a"
TEMPERATURES = {
    "ambient_temp_c": "Ambient Temperature / degC",
    "pack_temp_c": "Surface Temperature T1 / degC",
}


def write(store: Store, stretch: Stretch, out: BinaryIO) -> None:
    """Writes the rows in which voltage and current are known.

    Args:
        stretch: What; of its channels one voltage is taken, the pack's where it names all.
        out: Bytes go here; it is not closed.
    Raises:
        NoChannel: The log holds no current or no such voltage, or several voltages were named.
    """
    held = store.channels()
    voltage = voltage_channel(stretch.channels)
    for name in (voltage, CURRENT):
        if name not in held:
            raise NoChannel(f"the battery data format wants {name}, which the log does not hold")
    beside = [name for name in TEMPERATURES if name in held]
    names = ["Test Time / s", "Unix Time / s", "Voltage / V", "Current / A"]
    names += [TEMPERATURES[name] for name in beside]
    out.write((",".join(names) + "\n").encode())
    wanted = replace(stretch, channels=(voltage, CURRENT, *beside), step_s=stretch.step_s or STEP_S)
    start_us: int | None = None
    for piece in rows(store, wanted):
        known = np.isfinite(piece.values[:, :2]).all(axis=1)
        if not known.any():
            continue
        part = Rows(piece.boot, piece.t_mono_us[known], piece.values[known])
        log_us = part.t_mono_us + part.boot.timeline_offset_us
        start_us = int(log_us[0]) if start_us is None else start_us
        out.write(_lines((log_us - start_us) / 1e6, part))


def voltage_channel(names: Sequence[str]) -> str:
    """The voltage of the test object among those asked for. Raises NoChannel."""
    if PACK_VOLTAGE in names:
        return PACK_VOLTAGE
    found = [name for name in names if name.endswith("_voltage_v")]
    if len(found) > 1:
        raise NoChannel(
            "a file of the battery data format is of one test object: name one voltage channel, "
            f"got {', '.join(found)}"
        )
    return found[0] if found else PACK_VOLTAGE


def _lines(test_s: Floats, part: Rows) -> bytes:
    offset_us = part.utc_offset_us
    lines = []
    for seconds, t_us, row in zip(
        test_s.tolist(), part.t_mono_us.tolist(), part.values.tolist(), strict=True
    ):
        unix = "" if offset_us is None else repr((t_us + offset_us) / 1e6)
        voltage, current, *temperatures = row
        charging = -current if current else 0.0  # the log counts what the pack gives
        cells = [repr(seconds), unix, _number(voltage), _number(charging)]
        cells += ["" if np.isnan(value) else _number(value) for value in temperatures]
        lines.append(",".join(cells))
    return ("\n".join(lines) + "\n").encode()


def _number(value: float) -> str:
    """Without what binary fractions leave of a mean of short decimals."""
    return repr(round(value, DECIMALS))
