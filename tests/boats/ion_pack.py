"""An invented lithium pack: cells in series with charge transfer, diffusion and hysteresis.

Charge transfer: Butler-Volmer kinetics, (2 R T / F) asinh(I / 2 I0), I0 by Arrhenius' law.
Diffusion: a Warburg element of finite length as a chain of RC pairs, R_n = 8 R / ((2n - 1)^2 pi^2),
tau_n = 4 tau / ((2n - 1)^2 pi^2) (E. Mauracher, E. Karden, J. Power Sources 67 (1997) 69), slower
in the cold. Hysteresis: play operators over the state of charge, as in `battery`. One heat node a
cell. The same calls as `battery.Battery`; arrays have shape (cells,).
"""

import copy
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tests.boats.half_cells import TABLE_SOC, Balance

Floats = npt.NDArray[np.float64]

GAS_J_MOL_K, FARADAY_C_MOL = 8.314462, 96485.33
PAIRS = np.array([1.0, 3.0, 5.0, 7.0])  # 2n - 1
PLAY_RADIUS = np.array([0.006, 0.02, 0.06])  # of the state of charge, this simulation's choice
PLAY_WEIGHT = np.array([0.25, 0.4, 0.35])


@dataclass(frozen=True)
class IonCells:
    """Fixed properties. Arrays have shape (cells,).

    Args:
        r_ohm: Ohmic, at 25 °C. exchange_a: of the charge transfer, at 25 °C.
        diffusion_ohm, diffusion_s: The Warburg element, at 25 °C.
        hysteresis_v: Half the gap between charge and discharge branches.
        ohmic_k, transfer_k: Activation energies over the gas constant.
        heat_j_k: Each cell. loss_w_k: each cell to the air around.
    """

    capacity_ah: Floats
    r_ohm: Floats
    exchange_a: Floats
    diffusion_ohm: Floats
    diffusion_s: float
    balance: Balance
    hysteresis_v: float
    ohmic_k: float
    transfer_k: float
    heat_j_k: float
    loss_w_k: float
    link_ohm: float

    def scaled(self, resistance: Floats, capacity: Floats) -> "IonCells":
        """These cells with factors on resistance and capacity, shape (cells,) each."""
        return replace(
            self,
            r_ohm=self.r_ohm * resistance,
            exchange_a=self.exchange_a / resistance,
            diffusion_ohm=self.diffusion_ohm * resistance,
            capacity_ah=self.capacity_ah * capacity,
        )

    def pack(self, soc: Floats, temp_c: float) -> "IonPack":
        """The pack at rest, as after a charge."""
        return IonPack(self, soc, temp_c)


class IonPack:
    """A pack's state, stepped in time; see `battery.Battery`."""

    def __init__(self, cells: IonCells, soc: Floats, temp_c: float) -> None:
        self.cells = cells
        self.soc = np.array(soc, dtype=float)
        self.temp_c = np.full_like(self.soc, temp_c)
        self.behind = np.zeros((len(PAIRS), len(self.soc)))
        self.play = self.soc[:, None] - PLAY_RADIUS
        self.current_a = 0.0
        self._ocv = cells.balance.ocv_v(TABLE_SOC)
        self._lean = cells.hysteresis_v * PLAY_WEIGHT / PLAY_RADIUS
        self._step_s = 1.0
        self.refresh(0.0, 0.0, temp_c)

    def copy(self) -> "IonPack":
        """The same state."""
        return copy.deepcopy(self)

    def refresh(self, heat_j: float, passed_s: float, air_c: float) -> None:
        """Warms the cells by what each made since the last time, and renews what depends on it."""
        c = self.cells
        cool = c.loss_w_k * (self.temp_c - air_c) * passed_s
        self.temp_c = self.temp_c + (heat_j - cool) / c.heat_j_k
        inverse = 1 / (self.temp_c + 273.15) - 1 / 298.15
        self.r_ohm = c.r_ohm * np.exp(c.ohmic_k * inverse)
        slower = np.exp(c.transfer_k * inverse)
        empty = 1 + 0.8 * np.exp(-np.maximum(self.soc, 0.0) / 0.05)
        self._exchange_a = c.exchange_a / (slower * empty)
        self._thermal_v = 2 * GAS_J_MOL_K * (self.temp_c + 273.15) / FARADAY_C_MOL
        self._diffusion = c.diffusion_ohm * slower * empty
        self._slower = float(slower.mean())
        self._transfer_ohm = self._thermal_v / (2 * self._exchange_a)
        self.whole_ohm = float((self.r_ohm + self._transfer_ohm).sum()) + c.link_ohm
        self._time(self._step_s)

    def _time(self, dt_s: float) -> None:
        self._step_s = dt_s
        tau = 4 * self.cells.diffusion_s * self._slower / (PAIRS * np.pi) ** 2
        self._keep = np.exp(-dt_s / tau)[:, None]
        ohm = (8 / (PAIRS * np.pi) ** 2)[:, None] * self._diffusion
        self._gain = (1 - self._keep) * ohm
        self._per_a = dt_s / 3600 / self.cells.capacity_ah

    def source(self) -> tuple[Floats, Floats]:
        """Each cell as a voltage and a resistance now: volts = e - current r (the charge
        transfer as its tangent at the last current)."""
        s = self.soc
        self.rest_v = np.interp(s, TABLE_SOC, self._ocv) + (s[:, None] - self.play) @ self._lean
        bent = self.current_a / (2 * self._exchange_a)
        slope = self._thermal_v / (2 * self._exchange_a * np.sqrt(1 + bent * bent))
        over = self._thermal_v * np.arcsinh(bent)
        cell_r = self.r_ohm + slope
        self.whole_ohm = float(cell_r.sum()) + self.cells.link_ohm
        return self.rest_v - self.behind.sum(axis=0) - over + slope * self.current_a, cell_r

    def step(self, current_a: float, dt_s: float) -> None:
        """Moves on with a current held, positive out of the pack."""
        if dt_s != self._step_s:
            self._time(dt_s)
        self.current_a = current_a
        self.behind = self._keep * self.behind + self._gain * current_a
        self.soc = self.soc - self._per_a * current_a
        s = self.soc[:, None]
        self.play = np.minimum(np.maximum(self.play, s - PLAY_RADIUS), s + PLAY_RADIUS)
