"""The invented pack: cells in series, each with its own capacity, charge and resistance.

Open-circuit voltage from the half-cell fits of Safari and Delacourt (J. Electrochem. Soc. 158
(2011) A562, Table I) in a window of the boat's own; hysteresis by play operators over the state
of charge (rate-independent, with return branches); two RC pairs; part of the resistance follows
Arrhenius; one heat node for each cell. Shapes: (..., cells), any leading batch.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Play operators, assumed: radius as a share of the state of charge, and weight.
PLAY_RADIUS = np.array([0.004, 0.015, 0.05])
PLAY_WEIGHT = np.array([0.3, 0.4, 0.3])
_TABLE_SOC = np.linspace(-0.02, 1.06, 2161)


def lfp_v(y: Floats) -> Floats:
    """Iron phosphate electrode against lithium; y: lithium in it, 0 to 1. [V]"""
    z = 1 - y
    return np.asarray(
        3.4323
        - 0.8428 * np.exp(-80.2493 * z**1.3198)
        - 3.2474e-6 * np.exp(20.2645 * z**3.8003)
        + 3.2482e-6 * np.exp(20.2646 * z**3.7995)
    )


def graphite_v(x: Floats) -> Floats:
    """Graphite electrode against lithium; x: lithium in it, 0 to 1. [V]"""
    return np.asarray(
        0.6379
        + 0.5416 * np.exp(-305.5309 * x)
        + 0.044 * np.tanh(-(x - 0.1958) / 0.1088)
        - 0.1978 * np.tanh((x - 1.0571) / 0.0854)
        - 0.6875 * np.tanh((x + 0.0117) / 0.0529)
        - 0.0175 * np.tanh((x - 0.5692) / 0.0875)
    )


@dataclass(frozen=True)
class Window:
    """Which part of each electrode the cell uses between empty and full."""

    x_empty: float = 0.0085
    x_full: float = 0.78
    y_empty: float = 0.95
    y_full: float = 0.03


def ocv_v(soc: Floats, window: Window) -> Floats:
    """Open-circuit voltage of a cell without hysteresis. [V] same shape"""
    x = window.x_empty + soc * (window.x_full - window.x_empty)
    y = window.y_empty + soc * (window.y_full - window.y_empty)
    return np.asarray(lfp_v(np.clip(y, 1e-4, 1 - 1e-4)) - graphite_v(np.clip(x, 0.0, 1.0)))


@dataclass(frozen=True)
class Cells:
    """Fixed properties. Arrays have shape (cells,).

    Args:
        r_ohm: Ohmic, at 25 °C. r1_ohm, r2_ohm with tau1_s, tau2_s: the RC pairs, at 25 °C.
        hysteresis_v: Half the gap between charge and discharge branches.
        arrhenius_k: Activation energy over the gas constant, for `warm_frac` of the resistance.
        heat_j_k: Each cell. loss_w_k: each cell to the air around.
        link_ohm: All links between cells together.
    """

    capacity_ah: Floats
    r_ohm: Floats
    r1_ohm: Floats
    r2_ohm: Floats
    window: Window
    tau1_s: float
    tau2_s: float
    hysteresis_v: float
    arrhenius_k: float
    warm_frac: float
    heat_j_k: float
    loss_w_k: float
    link_ohm: float

    def scaled(self, resistance: Floats, capacity: Floats) -> "Cells":
        """These cells with factors on resistance and capacity, shape (cells,) each."""
        return replace(
            self,
            r_ohm=self.r_ohm * resistance,
            r1_ohm=self.r1_ohm * resistance,
            r2_ohm=self.r2_ohm * resistance,
            capacity_ah=self.capacity_ah * capacity,
        )

    def pack(self, soc: Floats, temp_c: float) -> "Battery":
        """The pack at rest, as after a charge."""
        return Battery(self, soc, temp_c)


class Battery:
    """A pack's state, stepped in time.

    `source` gives this moment, `step` moves on; `refresh` follows warmth and charge and may be
    called less often. Arrays have shape (batch, cells), or (cells,) without a batch: soc, temp_c,
    rest_v, r_ohm; sagged has the two RC pairs before these, play the operators after them.
    """

    STATE = ("soc", "sagged", "temp_c", "play")

    def __init__(self, cells: Cells, soc: Floats, temp_c: float) -> None:
        self.cells = cells
        self.soc = np.array(soc, dtype=float)
        self.sagged = np.zeros((2, *self.soc.shape))
        self.temp_c = np.full_like(self.soc, temp_c)
        self.play = self.soc[..., None] - PLAY_RADIUS  # as after a charge
        self._ocv = ocv_v(_TABLE_SOC, cells.window)
        self._coulombs = 3600.0 * cells.capacity_ah
        self._lean = cells.hysteresis_v * PLAY_WEIGHT / PLAY_RADIUS
        self._step_s: Floats | float = 1.0
        self.refresh(0.0, 0.0, temp_c)

    def copy(self, count: int | None = None) -> "Battery":
        """The same state, or `count` of it along a new leading axis."""
        other = Battery.__new__(Battery)
        other.__dict__.update(self.__dict__)
        for name in self.STATE:
            value = getattr(self, name).copy()
            if count is not None:
                axis = 1 if name == "sagged" else 0
                value = np.repeat(np.expand_dims(value, axis), count, axis)
            setattr(other, name, value)
        return other

    def refresh(
        self, heat_j: Floats | float, passed_s: Floats | float, air_c: Floats | float
    ) -> None:
        """Warms the cells by what they made since the last time, and renews their resistances.

        heat_j: shape (..., cells). passed_s, air_c: the batch's shape.
        """
        c = self.cells
        cool = c.loss_w_k * (self.temp_c - _column(air_c)) * _column(passed_s)
        self.temp_c = self.temp_c + (heat_j - cool) / c.heat_j_k
        warm = np.exp(c.arrhenius_k * (1 / (self.temp_c + 273.15) - 1 / 298.15))
        warm = 1 - c.warm_frac + c.warm_frac * warm
        empty = 1 + 0.6 * np.exp(-np.maximum(self.soc, 0.0) / 0.05)
        self.r_ohm = c.r_ohm * warm * empty
        self.whole_ohm = self.r_ohm.sum(axis=-1) + c.link_ohm
        self._pairs_ohm = np.stack([c.r1_ohm * warm, c.r2_ohm * warm])
        self._time(self._step_s)

    def _time(self, dt_s: Floats | float) -> None:
        self._step_s = dt_s
        c, dt = self.cells, np.asarray(dt_s, dtype=float)
        keep = np.stack([np.exp(-dt / c.tau1_s), np.exp(-dt / c.tau2_s)])
        keep = keep[..., None] if dt.ndim else keep.reshape((2,) + (1,) * self.soc.ndim)
        self._keep = keep
        self._gain = (1 - keep) * self._pairs_ohm
        self._per_a = _column(dt_s) / self._coulombs

    def source(self) -> tuple[Floats, Floats]:
        """Each cell as a voltage and a resistance now: volts = e - current r."""
        lean = (self.soc[..., None] - self.play) @ self._lean
        self.rest_v = np.interp(self.soc, _TABLE_SOC, self._ocv) + lean
        return self.rest_v - self.sagged[0] - self.sagged[1], self.r_ohm

    def step(self, current_a: Floats | float, dt_s: Floats | float) -> None:
        """Moves on with a current held (positive out of the pack); both have the batch's shape.

        An array for `dt_s` must be the same object from step to step.
        """
        if dt_s is not self._step_s and (isinstance(dt_s, np.ndarray) or dt_s != self._step_s):
            self._time(dt_s)
        i = current_a[..., None] if isinstance(current_a, np.ndarray) else current_a
        self.sagged = self._keep * self.sagged + self._gain * i
        self.soc = self.soc - self._per_a * i
        s = self.soc[..., None]
        self.play = np.minimum(np.maximum(self.play, s - PLAY_RADIUS), s + PLAY_RADIUS)


def _column(value: Floats | float) -> Floats:
    return np.asarray(value, dtype=float)[..., None]
