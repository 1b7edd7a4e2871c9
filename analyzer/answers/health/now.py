"""Health of cells and cables over the newest trip, or the last hours of the log."""

import numpy as np

from analyzer.answers.grounded import standings
from analyzer.answers.health.cell_end import cell_end, sentence
from analyzer.answers.health.charging import charging_now
from analyzer.answers.snapshot import here_now
from analyzer.cells.monitor import CellMonitor
from analyzer.estimation.results import CablesAnswer, CellsAnswer
from analyzer.flags import monitor as watch
from analyzer.learned import cable_history, cell_history
from analyzer.learned.findings import beside_flags
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from analyzer.thermal.cable_trend import base_k, trend, with_trends
from analyzer.thermal.cables import CableGroup
from analyzer.thermal.loop_resistance import LoopMonitor
from logger.boat import Cable
from logger.channels import probe_temp

CELLS_UNSEEN = (
    "Cells are not measured: no cell or block voltage has arrived beside the pack's current, so "
    "none can be called sound. "
    "One voltage for each cell or block would show which of them falls behind."
)
CABLES_UNSEEN = (
    "How warm cables and joints are is not measured: no probe's temperature has arrived beside the "
    "pack's current, so none can be called cool. A temperature probe on each lug would tell."
)
BY_VOLTS_ONLY = " What is lost between pack and controller is measured, and stands below."
# Health is judged over the last trip, or this much of the log; assumed.
RECENT_US = 12 * 3600 * 1_000_000


def cells(log: OpenLog) -> CellsAnswer:
    """Health of the cells over the newest trip, or the last hours of the log; how they are charged,
    and which of them will end the trip, and when.
    """
    monitor = CellMonitor(log.boat.pack)
    series = _recent(log, watch.channels(log.boat))
    monitor.update(series)
    span = log.store.span()
    if span is None:
        return CellsAnswer((), monitor.spread(), (), monitor.remarks(), CELLS_UNSEEN)
    known = cell_history.followed(log, span[1] + 1)
    here = here_now(log, span[1] + 1)
    wrong, remarks = charging_now(log, here)
    end = cell_end(here, log.boat)
    predicted = () if end is None else (sentence(end, log.boat.reserve.soc_frac),)
    return CellsAnswer(
        monitor.rows(),
        monitor.spread(),
        (*beside_flags(log.store, known.detections(), series.t0_us, ("cell_",)), *wrong),
        (*predicted, *remarks, *known.remarks()),
        "" if any(np.isfinite(row.lowest_v) for row in monitor.rows()) else CELLS_UNSEEN,
        here.grounds,
    )


def cables(log: OpenLog) -> CablesAnswer:
    """Health of the cables over the newest trip, or the last hours of the log."""
    span = log.store.span()
    stand = standings(log, span[1] + 1) if span else ()
    if not log.boat.cable:
        return CablesAnswer((), (), ("The boat file names no cable.",), CABLES_UNSEEN, stand)
    series = _recent(log, watch.channels(log.boat))
    group = CableGroup(log.boat.cable)
    kept = cable_history.history(log.store, series.t0_us)
    group.expect({k: base for k, h in kept.items() if (base := base_k(h)) is not None})
    group.update(series)
    findings = beside_flags(log.store, group.detections(), series.t0_us, ("lug_", "over_ampacity"))
    rows = group.rows(findings)
    everything = cable_history.history(log.store)
    trends = [trend(c, everything.get(c.name, [])) for c in log.boat.cable]
    findings = with_trends(findings, [one for one in trends if one is not None])
    unseen = _unseen_heat(log.boat.cable, series, group.loop)
    return CablesAnswer(rows, tuple(findings), _cable_remarks(log, group.loop), unseen, stand)


def _unseen_heat(cables: tuple[Cable, ...], series: Series, loop: LoopMonitor) -> str:
    """What is said where no probe has told of a joint; "" where one has."""
    if any(c.probe and series.has(probe_temp(c.probe), "pack_current_a") for c in cables):
        return ""
    return CABLES_UNSEEN + (BY_VOLTS_ONLY if loop.resistance().known else "")


def _cable_remarks(log: OpenLog, loop: LoopMonitor) -> tuple[str, ...]:
    remarks = []
    bare = [c.name for c in log.boat.cable if not c.probe]
    if bare:
        remarks.append(f"Without a probe: {', '.join(bare)}.")
    said = loop.resistance()
    if said.mid is not None and said.low is not None and said.high is not None:
        remarks.append(
            f"Two voltmeters see {said.mid * 1e3:.2f} mΩ ({said.low * 1e3:.2f} to "
            f"{said.high * 1e3:.2f}) between pack and controller at 20 °C; the boat file's copper "
            f"makes {loop.expected_ohm() * 1e3:.2f} of it, joints, contactor and fuse the rest."
        )
    return tuple(remarks)


def _recent(log: OpenLog, names: tuple[str, ...]) -> Series:
    span = log.store.span()
    if span is None:
        return Series(0, 1.0, 0, {})
    known = log.store.trips()
    start_us = known[-1].start_us if known else max(span[0], span[1] - RECENT_US)
    end_us = known[-1].end_us if known else span[1] + 1
    return log.load(names, start_us, end_us)
