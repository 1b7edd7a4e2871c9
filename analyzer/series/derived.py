"""What of the mean cell is measured: its voltage and temperature, from what a boat has."""

import numpy as np

from analyzer.series.series import Bools, Floats, Series, last_known
from logger.boat import Pack
from logger.channels import block_voltage, cell_voltage

HOLD_CURRENT_S = 30.0  # slow meters come every ten seconds; longer is a gap; assumed


def mean_cell_v(series: Series, pack: Pack) -> Floats:
    """Voltage of the mean cell: from the pack's voltage, else from cells or blocks. [V] (n,)"""
    count = pack.cells_in_series
    if series.has("pack_voltage_v"):
        return series.get("pack_voltage_v") / count
    cells = [cell_voltage(i) for i in range(1, count + 1)]
    blocks = [block_voltage(i) for i in range(1, (pack.blocks_in_series or 0) + 1)]
    for channels in (cells, blocks):
        if channels and series.has(*channels):
            total = np.sum([series.get(name) for name in channels], axis=0)
            return np.asarray(total / count)
    return np.full(series.n, np.nan)


def cell_temp_c(series: Series, fallback_c: float = 20.0) -> Floats:
    """Temperature of the cells, as measured, else held, else `fallback_c`. [°C] (n,)"""
    name = _cell_temp_channel(series)
    return np.full(series.n, fallback_c) if name is None else filled(series.get(name), fallback_c)


def has_cell_temp(series: Series) -> bool:
    """Whether anything tells the cells' temperature."""
    return _cell_temp_channel(series) is not None


def _cell_temp_channel(series: Series) -> str | None:
    names = [n for n in series.values if n.endswith("_temp_c") and n[:5] in ("cell_", "block")]
    wanted = ("pack_temp_c", *sorted(names), "ambient_temp_c")
    return next((name for name in wanted if series.has(name)), None)


def filled(values: Floats, first: float) -> Floats:
    """Gaps take the last value before them; before the first value, that. Shape (n,)."""
    ok = np.isfinite(values)
    last = last_known(ok)
    start = float(values[ok][0]) if ok.any() else first
    return np.where(last >= 0, values[np.maximum(last, 0)], start)


def held_current_a(series: Series) -> tuple[Floats, Bools]:
    """Pack current with short gaps held and long ones 0, and where it is unknown. (n,), (n,)"""
    current = series.get("pack_current_a")
    last = last_known(np.isfinite(current))
    age_s = (np.arange(series.n) - last) * series.step_s
    near = (last >= 0) & (age_s <= HOLD_CURRENT_S)
    return np.where(near, current[np.maximum(last, 0)], 0.0), ~near
