"""An invented boat's cable runs by the simulator's physics, with joints of all kinds: readings and
truth of some hours, in seconds of work."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.signal import lfilter

from analyzer.series.series import Series
from logger.boat import Cable
from replay.boatsim.physics.heat import Run, Runs

DT_S = 2.0
NAMES = ("battery_positive", "battery_negative", "controller_positive")
PARTNER = {"battery_positive": "battery_negative", "battery_negative": "battery_positive"}


@dataclass(frozen=True)
class JointDay:
    """Readings, the resistance that the bad joint truly has too much, (n,) [ohm], and the
    controller's temperature, which is not among the readings, (n,) [°C].
    """

    cables: tuple[Cable, ...]
    series: Series
    excess_ohm: np.ndarray
    controller_c: np.ndarray

    def with_controller(self) -> Series:
        """The readings, with the controller's temperature in whole degrees as a frame has it."""
        seen = {"controller_temp_c": np.round(self.controller_c)}
        return Series(0, DT_S, self.series.n, {**self.series.values, **seen})


def random_runs(rng: np.random.Generator, size_mm2: float) -> tuple[Run, ...]:
    """Lugs from a bare one in a draught to one on a busbar, wider than the demo's."""
    small = size_mm2 / 35.0
    post_w_k = float(rng.uniform(0.05, 0.5)) * small
    air_w_k = float(rng.uniform(0.02, 0.08)) * small
    return tuple(
        Run(
            name,
            size_mm2,
            float(rng.uniform(0.6, 2.5)),
            float(rng.uniform(10e-6, 40e-6)) / small,
            lug_j_k=75 * small,
            post_w_k=post_w_k * float(rng.uniform(0.8, 1.25)),
            air_w_k=air_w_k,
        )
        for name in NAMES
    )


def joint_day(
    seed: int,
    *,
    faulty: bool,
    hours: float = 3.0,
    meters: bool = True,
    controller_k: float = 0.0,
    bad: int = 1,
) -> JointDay:
    """A day of changing speeds; a lug that loosens from the first hour on, or none.

    meters: Whether the controller's voltage is measured. controller_k: What the controller, with
    the third lug on it, is warmer than the air at full current, after ten minutes or so.
    bad: Which of `NAMES` it is that loosens.
    """
    day = _measured_day(seed, faulty, hours, controller_k, bad)
    if meters:
        return day
    values = {k: v for k, v in day.series.values.items() if k != "controller_voltage_v"}
    return replace(day, series=replace(day.series, values=values))


@lru_cache(maxsize=16)
def _measured_day(seed: int, faulty: bool, hours: float, controller_k: float, bad: int) -> JointDay:
    """The day with all meters, sailed once for whoever asks again."""
    rng = np.random.default_rng(seed)
    n = round(hours * 3600 / DT_S)
    size_mm2 = float(rng.choice([35.0, 50.0, 70.0]))
    runs = random_runs(rng, size_mm2)
    full_a = float(rng.uniform(1.6, 2.6)) * size_mm2
    legs = rng.uniform(0.3, 1.0, n // 300 + 1) * (rng.random(n // 300 + 1) > 0.15)
    amps = full_a * np.repeat(legs, 300)[:n]
    # Two to nine watts at a usual current when it is at its worst.
    worst_ohm = rng.uniform(2, 9) / (0.65 * full_a) ** 2 if faulty else 0.0
    begun, done = sorted(rng.uniform(0.3, 0.9, 2) * n)
    share = np.clip((np.arange(n) - begun) / max(done - begun, 1.0), 0, 1)
    excess_ohm = worst_ohm * share**2 * (3 - 2 * share)
    air_c = float(rng.uniform(8, 30)) + np.cumsum(rng.normal(0, 0.004, n))
    keep = np.exp(-DT_S / 600.0)
    warm_k = lfilter([controller_k * (1 - keep)], [1, -keep], (amps / full_a) ** 2)
    lug_c, loop_ohm = _followed(
        runs, amps, bad, excess_ohm, np.stack([air_c, air_c, air_c + warm_k])
    )
    values = _read(rng, amps, lug_c, loop_ohm, air_c)
    cables = tuple(
        Cable(name=r.name, size_mm2=size_mm2, length_m=r.length_m, probe=r.name,
              partner=PARTNER.get(r.name))
        for r in runs
    )  # fmt: skip
    return JointDay(cables, Series(0, DT_S, n, values), excess_ohm, air_c + warm_k)


def _followed(runs, amps, bad, excess_ohm, post_c) -> tuple[np.ndarray, np.ndarray]:
    """Lug temperatures (n, runs) and the whole loop's resistance (n,). post_c: (runs, n)."""
    air_c = post_c[0]
    warm = Runs(runs, float(air_c[0]))
    lug_c, loop_ohm = np.empty((len(amps), len(runs))), np.empty(len(amps))
    extra = np.zeros(len(runs))
    for k in range(len(amps)):
        extra[bad] = excess_ohm[k]
        square = np.full(len(runs), amps[k] ** 2)
        warm.step(square, extra, float(air_c[k]), post_c[:, k], 1.0, DT_S)
        lug_c[k], loop_ohm[k] = warm.lug_c, warm.resistance_ohm(extra).sum()
    return lug_c, loop_ohm


def _read(rng, amps, lug_c, loop_ohm, air_c) -> dict[str, np.ndarray]:
    """What the sensors say: offsets, noise and steps of usual ones (assumed)."""
    n = len(amps)
    pack_v = 53.0 - 0.01 * amps
    drop_v = loop_ohm * amps
    values = {
        "pack_current_a": np.round(amps + rng.normal(0, 0.3, n), 1),
        "pack_voltage_v": np.round(pack_v + rng.normal(0, 0.01, n), 2),
        "controller_voltage_v": np.round(pack_v - drop_v + 0.1 + rng.normal(0, 0.03, n), 1),
        "ambient_temp_c": np.round(air_c + rng.normal(0, 0.1, n), 1),
    }
    for k, name in enumerate(NAMES):
        probe_c = lug_c[:, k] + rng.uniform(-0.4, 0.4) + rng.normal(0, 0.08, n)
        values[f"probe_{name}_temp_c"] = np.round(probe_c * 16) / 16
    return values
