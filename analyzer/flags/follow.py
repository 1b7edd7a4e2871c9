"""The watch beside a growing log: follows its tail once a second and tells all ways out.

Reads what another process records; writes flags only. At most a second behind what is in the log.
Who keeps it alive: `watch_keeper.py`.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analyzer.estimation.detection import Detection
from analyzer.flags import monitor, nmea_out
from analyzer.flags.flag import FlagEvent
from analyzer.flags.outputs import (
    Command,
    TcpLines,
    UdpLines,
    Way,
)
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned import cell_history
from analyzer.learned.charge_history import charge_at
from analyzer.learned.keys import calibration_before, points_before
from analyzer.series.log import OpenLog
from analyzer.series.series import load
from logger.boat import Boat
from logger.channels import probe_temp
from logger.store import Store
from logger.units import NMI

EVERY_S = 1.0  # as the recorder commits; assumed
WARM_UP_S = 3 * 3600.0  # of log looked through at the start, so that old causes are known; assumed
# Figures go out as displays on board redraw them; a flag that is up is told again; all assumed.
FIGURES_EVERY_S = 2.0
RANGE_EVERY_S = 10.0
REPEAT_S = 30.0
STEP_US = 1_000_000  # the grid's second, by definition
SILENT_S = 60.0  # a recorder writes every ten seconds at the least; six times that, assumed
JUMP_S = 1800.0  # no clock drifts so far: a boot was dated anew; assumed
# Growth at its own pace for so long shows a recorder, and no replay; assumed.
AS_RECORDED_S = 300.0


@dataclass
class Growth:
    """How the log grows: beside a recorder at work, its standstill is a cause of its own."""

    first: tuple[float, int] | None = None  # monotonic seconds, µs of the log
    last: tuple[float, int] | None = None

    def see(self, now_s: float, end_us: int) -> None:
        """Takes the log's end as it is now."""
        if self.last is not None:
            ahead_s = (end_us - self.last[1]) / 1e6 - (now_s - self.last[0])
            if end_us != self.last[1] and abs(ahead_s) > JUMP_S:
                self.first = self.last = None  # the first fix dates a boot anew, or it is a replay
        self.first = self.first or (now_s, end_us)
        if self.last is None or end_us > self.last[1]:
            self.last = (now_s, end_us)

    def stands_still(self, now_s: float) -> bool:
        """Whether it grew at its own pace for a while, and does no more."""
        if self.first is None or self.last is None:
            return False
        took_s, grew_s = self.last[0] - self.first[0], (self.last[1] - self.first[1]) / 1e6
        recorded = took_s >= AS_RECORDED_S and 0.5 < grew_s / took_s < 2.0
        return recorded and now_s - self.last[0] > SILENT_S


class Live:
    """One watch on one log.

    Args:
        path: The log.
        boat: Its boat.
        on_event: Called with each event, in the thread that ticks.
        reach: Gives the range now, middle and low end, or None. [m]
        clock: Seconds that only go forward.
    """

    def __init__(
        self,
        path: Path,
        boat: Boat,
        on_event: Callable[[FlagEvent], None] | None = None,
        reach: Callable[[], tuple[float, float] | None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.boat = boat
        self.store = Store.open(path, write=True)
        self.watch = monitor.Watch(boat)
        self.on_event, self.reach = on_event, reach
        self.ways: list[Way] = []
        self.commands: list[Command] = []
        self._names = monitor.channels(boat)
        self._at_us: int | None = None
        self._told_us = self._figures_us = 0
        self._range_us: int | None = None
        self._found: tuple[float, float] | None = None
        self._clock, self._growth = clock, Growth()
        for flag in self.store.flags():
            if flag.cleared_us is None:
                self.watch.book.adopt(flag)
        self._open_ways()

    def _open_ways(self) -> None:
        for way in self.boat.tell:
            if way.kind == "udp":
                self.ways.append(UdpLines(way.host, way.port))
            elif way.kind == "tcp":
                self.ways.append(TcpLines(way.host, way.port))
            else:
                self.commands.append(Command(way.command, way.limit_s))

    def tick(self) -> list[FlagEvent]:
        """Takes what has come since the last time; returns what happened to flags."""
        span = self.store.span()
        if span is None:
            return []
        if self._at_us is None:
            start = max(span[0], span[1] - round(WARM_UP_S * 1e6))
            self._at_us = start // STEP_US * STEP_US
            self._teach(self._at_us)
        end_us = span[1] // STEP_US * STEP_US  # the second now running is not whole
        events: list[FlagEvent] = []
        while self._at_us < end_us:
            until = min(self._at_us + round(monitor.PIECE_S * 1e6), end_us)
            piece = load(self.store, self._names, self._at_us, until)
            self._at_us = until
            for event in monitor.walk(self.watch, piece):
                events.append(monitor.keep(self.store, self.watch, event))
        monitor.keep_findings(self.store, self.watch, end_us)
        events += self._silence(end_us)
        for event in events:
            self._tell(event)
        self._tell_line(events)
        return events

    def _teach(self, at_us: int) -> None:
        """What earlier trips taught: of hull and stream, and of each joint."""
        log = OpenLog(self.store, self.boat)
        points = SteadyPoints.join(points_before(log, at_us))
        charge, cells = charge_at(log, at_us), cell_history.followed(log, at_us)
        self.watch.teach(points, calibration_before(log, at_us), charge, cells)
        monitor.expect_joints(self.watch, self.store, at_us)

    def _silence(self, end_us: int) -> list[FlagEvent]:
        """The flag for a log that has stopped growing."""
        now_s = self._clock()
        self._growth.see(now_s, end_us)
        if not self._growth.stands_still(now_s):
            return []
        silent = Detection(
            "the recorder",
            "quiet",
            f"Nothing was recorded for {SILENT_S:.0f} s, after it went on steadily.",
            key="quiet/all",
            cause="The recorder stopped, its disk is full or broken, or every source fell silent.",
            first_action="Look whether the recorder runs; `keelwatt check` shows what arrives.",
        )
        events = self.watch.book.see(end_us, [silent])
        return [monitor.keep(self.store, self.watch, event) for event in events]

    def _tell(self, event: FlagEvent) -> None:
        if self.on_event:
            self.on_event(event)
        for command in self.commands:
            command.tell(event)

    def _tell_line(self, events: list[FlagEvent]) -> None:
        if not self.ways or self._at_us is None:
            return
        flags = [e.flag for e in events]
        if self._at_us - self._told_us >= REPEAT_S * 1e6:
            self._told_us = self._at_us
            told = {f.key for f in flags}
            up = {f.key for f in self.watch.book.flags} - told
            # From the log, since it is there that somebody says they have seen one.
            flags += [f for f in self.store.flags() if f.cleared_us is None and f.key in up]
        now_s = self._at_us / 1e6
        lines = [nmea_out.alert(f, f.number or 0, now_s) for f in flags]
        if self._at_us - self._figures_us >= FIGURES_EVERY_S * 1e6:
            self._figures_us = self._at_us
            lines += self._figures()
        for way in self.ways:
            way.send(lines)

    def _figures(self) -> list[str]:
        values: dict[str, float] = {}
        for name in ("pack_voltage_v", "pack_current_a", "pack_temp_c", "motor_temp_c",
                     "controller_temp_c"):  # fmt: skip
            values[name] = self._fresh(name)
        values["power_w"] = values["pack_voltage_v"] * values["pack_current_a"]
        if self.watch.charge is not None:
            values["charge_frac"] = self.watch.charge.soc
        found = self._range()
        if found is not None:
            values["range_nmi"], values["range_low_nmi"] = found[0] / NMI, found[1] / NMI
        probes = {c.probe: self._fresh(probe_temp(c.probe)) for c in self.boat.cable if c.probe}
        turns = nmea_out.revolutions(self._fresh("shaft_speed_rps"))
        return nmea_out.figures(values, probes) + turns

    def _range(self) -> tuple[float, float] | None:
        """The range now; worked out anew every ten seconds at most."""
        now_us = self._at_us or 0
        if self.reach and (
            self._range_us is None or now_us - self._range_us >= RANGE_EVERY_S * 1e6
        ):
            self._range_us, self._found = now_us, self.reach()
        return self._found

    def _fresh(self, name: str) -> float:
        """The newest value, if it is not older than ten seconds; else NaN."""
        last = self.store.last(name)
        fresh = last is not None and self._at_us is not None and self._at_us - last[0] < 10_000_000
        return last[1] if last is not None and fresh else float("nan")

    def close(self) -> None:
        """Lets the log and all ways go."""
        for way in self.ways:
            way.close()
        self.ways = []
        self.store.close()
