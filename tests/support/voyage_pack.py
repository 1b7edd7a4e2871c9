"""The battery of the invented voyages: for tests only.

The `thevenin` library's equivalent circuit with measured LFP open-circuit curves and hysteresis
(shared open data), per cell; resistances and time constants are invented.
"""

import math

import numpy as np
import numpy.typing as npt
import thevenin

from tests.support.voyages import STEP_S, Craft

Floats = npt.NDArray[np.float64]


class Pack:
    """The battery: thevenin's circuit with a measured curve; per cell, power in and out."""

    def __init__(self, craft: Craft, soc: float) -> None:
        soc_t, mean_v, gap = craft.curve
        warm = math.exp(18e3 / 8.314 * (1 / (craft.temp_c + 273.15) - 1 / 298.15))
        self.cells, self.cable_ohm = craft.cells, craft.cable_ohm
        r0, r1, r2 = craft.r0 * warm, craft.r1 * warm, craft.r2 * warm
        self.model = thevenin.Simulation(
            {
                "num_RC_pairs": 2, "soc0": soc, "capacity": craft.true_ah, "ce": 1.0,
                "gamma": 50.0, "mass": 4.0, "isothermal": True, "Cp": 1000.0,
                "T_inf": craft.temp_c + 273.15, "h_therm": 5.0, "A_therm": 0.2,
                "ocv": lambda s: float(np.interp(s, soc_t, mean_v)),
                "M_hyst": lambda s: float(np.interp(s, soc_t, gap)),
                "R0": lambda s, temp_k: r0 * (1 + 0.5 * math.exp(-max(s, 0) / 0.05)),
                "R1": lambda s, temp_k: r1, "C1": lambda s, temp_k: craft.tau1 / r1,
                "R2": lambda s, temp_k: r2, "C2": lambda s, temp_k: craft.tau2 / r2,
            }
        )  # fmt: skip
        self.time = 0.0

    def charge(self, volts: float, seconds: float) -> tuple[Floats, Floats, Floats]:
        """Held at a cell voltage: current, voltage per cell and charge at STEP_S."""
        exp = thevenin.Experiment()
        exp.add_step("voltage_V", volts, (seconds, STEP_S))
        return self._run(exp)

    def fill(self, current_a: float, volts: float) -> tuple[Floats, Floats, Floats]:
        """Charged at a current up to a cell voltage."""
        exp = thevenin.Experiment()
        exp.add_step("current_A", -current_a, (12 * 3600.0, STEP_S), limits=("voltage_V", volts))
        return self._run(exp)

    def give(
        self, power_w: Floats, soc_limit: float | None = None
    ) -> tuple[Floats, Floats, Floats]:
        """Gives pack power (n,) at STEP_S; ends early at a charge limit or at 2.5 V a cell."""
        end = (len(power_w) - 1) * STEP_S
        coarse = np.arange(0, end + 10, 10.0)
        mean = np.interp(coarse, np.arange(len(power_w)) * STEP_S, power_w) / self.cells
        grid = coarse.tolist()
        values = mean.tolist()
        last = len(values) - 2

        def load(t: float) -> float:
            k = min(int(t / 10.0), last)
            return values[k] + (values[k + 1] - values[k]) * (t - grid[k]) / 10.0

        exp = thevenin.Experiment()
        limits = ("voltage_V", 2.5) if soc_limit is None else ("voltage_V", 2.5, "soc", soc_limit)
        exp.add_step("power_W", load, (end, STEP_S), limits=limits)
        return self._run(exp)

    def _run(self, exp: thevenin.Experiment) -> tuple[Floats, Floats, Floats]:
        self.solution = self.model.run(exp, reset_state=False)
        v = self.solution.vars
        return np.asarray(v["current_A"]), np.asarray(v["voltage_V"]), np.asarray(v["soc"])

    def mark(self) -> object:
        """The present state, to come back to."""
        return self.solution

    def back_to(self, mark: object) -> None:
        """To a marked state."""
        self.model.pre(initial_state=mark)
