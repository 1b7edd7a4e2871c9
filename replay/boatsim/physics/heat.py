"""Warmth in the invented boat's cable runs: a lug and the cable beside it, two nodes each.

The cable is a copper rod losing heat along its length (so the lug feels it as a fin); the lug
also loses heat to the post it is bolted to and to the air. Copper's resistance rises with
temperature (0.00393/K at 20 °C, IEC 60028). The figures are worked out from size and length.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# IEC 60028: annealed wire has 0.017241 ohm mm2/m at 20 °C; stranded and as laid some 5 % more.
COPPER_OHM_MM2_M = 0.0181
COPPER_PER_K = 0.00393
COPPER_J_M3K = 3.45e6  # 385 J/(kg K) of 8960 kg/m3: handbook values, from memory
COPPER_W_MK = 390.0  # handbook value, from memory


@dataclass(frozen=True)
class Run:
    """One cable run with a probe on its lug.

    Args:
        joint_ohm: Contact and crimp together, healthy. fixed_w: heat made there in any case
            (a contactor's coil). lug_j_k: heat capacity of lug and hardware.
        post_w_k: to the post; air_w_k: to the air. cable_k_m_w: cable to air, per metre.
    """

    name: str
    size_mm2: float
    length_m: float
    joint_ohm: float
    fixed_w: float = 0.0
    lug_j_k: float = 75.0
    post_w_k: float = 0.07
    air_w_k: float = 0.03
    cable_k_m_w: float = 2.65


class Runs:
    """All runs' state. Arrays of shape (runs,)."""

    def __init__(self, runs: tuple[Run, ...], temp_c: float) -> None:
        self.runs = runs
        n = len(runs)
        self.lug_c = np.full(n, temp_c)
        self.cable_c = np.full(n, temp_c)
        size = np.array([r.size_mm2 for r in runs])
        per_m = np.array([1 / r.cable_k_m_w for r in runs])
        self.length_m = np.array([r.length_m for r in runs])
        self.joint_ohm = np.array([r.joint_ohm for r in runs])
        self._r20_ohm_m = COPPER_OHM_MM2_M / size
        self._fin_w_k = np.sqrt(COPPER_W_MK * size * 1e-6 * per_m)
        # The stretch of cable that takes part: one length over which a fin's warmth fades.
        self._reach_m = np.minimum(np.sqrt(COPPER_W_MK * size * 1e-6 / per_m), self.length_m)
        insulation_j_k_m = 1.6e6 * math.pi * 0.006 * 0.003 * 2
        self._cable_j_k = self._reach_m * (size * 1e-6 * COPPER_J_M3K + insulation_j_k_m)
        self._cable_w_k = self._reach_m * per_m
        self._lug_j_k = np.array([r.lug_j_k for r in runs])
        self._post_w_k = np.array([r.post_w_k for r in runs])
        self._air_w_k = np.array([r.air_w_k for r in runs])
        self._fixed_w = np.array([r.fixed_w for r in runs])

    def resistance_ohm(self, extra_ohm: Floats) -> Floats:
        """Each run's cable and joint as they are now. [ohm] shape (runs,)"""
        copper = self._r20_ohm_m * self.length_m * (1 + COPPER_PER_K * (self.cable_c - 20))
        return np.asarray(copper + self.joint_ohm + extra_ohm)

    def step(
        self,
        square_a2: Floats,
        extra_ohm: Floats,
        air_c: float,
        post_c: Floats,
        awake: float,
        dt_s: float,
    ) -> None:
        """Moves on by `dt_s`; shapes (runs,). square_a2: mean square of the current.

        awake: 1 with the contactor closed, else 0.
        """
        warm = 1 + COPPER_PER_K * (self.cable_c - 20)
        wire = square_a2 * self._r20_ohm_m * warm * self._reach_m
        joint = square_a2 * (self.joint_ohm + extra_ohm) + self._fixed_w * awake
        along = self._fin_w_k * (self.lug_c - self.cable_c)
        away = self._post_w_k * (self.lug_c - post_c) + self._air_w_k * (self.lug_c - air_c)
        self.lug_c = self.lug_c + (joint - along - away) * dt_s / self._lug_j_k
        cool = self._cable_w_k * (self.cable_c - air_c)
        self.cable_c = self.cable_c + (wire + along - cool) * dt_s / self._cable_j_k
