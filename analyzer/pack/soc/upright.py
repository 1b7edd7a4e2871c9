"""The pack's current as it flows, whichever way round its shunt is."""

from dataclasses import replace

from analyzer.pack.shunt_sense import shunt_sense
from analyzer.pack.soc.inputs import STEP_S
from analyzer.pack.soc.state import PackPosterior
from analyzer.series.derived import mean_cell_v
from analyzer.series.series import Series
from analyzer.series.steps import readings_per_step, whole_steps
from logger.boat import Pack


def sign_reversed(series: Series, pack: Pack, before: bool = False) -> bool:
    """Whether the shunt is the wrong way round: the voltage rises when the pack is said to give.

    Means over the filter's steps are compared, so that frames that come seconds apart do no harm.

    Args:
        before: What holds where the series cannot say.
    """
    size = readings_per_step(STEP_S, series.step_s)
    if series.n < 2 * size:
        return before
    volts, amps = (
        whole_steps(v, size).mean(axis=1)
        for v in (mean_cell_v(series, pack), series.get("pack_current_a"))
    )
    verdict = shunt_sense(volts, amps, size * series.step_s, pack.rated_capacity_ah).verdict
    return before if verdict == "cannot say" else verdict == "wrong"


def upright(series: Series, pack: Pack, start: PackPosterior | None) -> Series:
    """The series with the pack's current as it flows, turned round where its shunt is reversed.

    Args:
        start: The state before it, which holds where the series cannot say.
    """
    before = start is not None and start.sign_reversed
    return turned(series) if sign_reversed(series, pack, before) else series


def turned(series: Series) -> Series:
    """The series with the sign of the pack's current changed."""
    current = {"pack_current_a": -series.get("pack_current_a")}
    return replace(series, values=series.values | current)
