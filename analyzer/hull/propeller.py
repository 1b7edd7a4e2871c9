"""What another propeller would do to the power at a speed, by a published series.

The thrust is given by the hull and stays; the shaft turns as fast as that propeller must to give
it, and asks for that propeller's torque. With advance J = Va / (n D), thrust and torque
coefficients KT and KQ, a loading T / (rho D² Va²) fixes J by KT(J) / J² = loading, and the power
that the shaft takes is P = 2 pi rho n³ D⁵ KQ(J).

Source: open-water diagrams and their use (textbook); KT and KQ of the Wageningen B-series, see
`b_series_tables.py`. A boat's own propeller is no B-screw: only ratios of two are used.
"""

from dataclasses import dataclass

import numpy as np

from analyzer.hull.b_series_tables import THRUST, TORQUE
from analyzer.series.series import Floats

# Blade area over disc, of propellers that boats carry: common practice, no source.
AREA_RATIO = {2: 0.35}
USUAL_AREA_RATIO = 0.5  # of three and more blades: common practice, no source
USUAL_BLADES = 3  # where no file says: common practice, no source
# Behind the hull of a sailing boat: speed of the water that the propeller meets, less than the
# boat's by this share, and thrust lost on the hull; mean, sd. Common practice, no source.
WAKE, WAKE_SD = 0.10, 0.04
THRUST_LOSS, THRUST_LOSS_SD = 0.12, 0.03
# Pitch over diameter, and advance, of the series. Source: its publication.
PITCH_RATIO = (0.5, 1.4)
ADVANCE = np.linspace(0.05, 1.5, 291)


@dataclass(frozen=True)
class Propeller:
    """One propeller. diameter_m, pitch_m: [m]"""

    diameter_m: float
    pitch_m: float
    blades: int = USUAL_BLADES

    @property
    def pitch_ratio(self) -> float:
        """Pitch over diameter."""
        return self.pitch_m / self.diameter_m

    @property
    def in_series(self) -> bool:
        """Whether the series has such a propeller."""
        return PITCH_RATIO[0] <= self.pitch_ratio <= PITCH_RATIO[1] and 2 <= self.blades <= 7

    def coefficients(self, advance: Floats) -> tuple[Floats, Floats]:
        """KT and KQ at advances, same shape."""
        area = AREA_RATIO.get(self.blades, USUAL_AREA_RATIO)
        rest = (self.pitch_ratio, area, float(self.blades))
        return _polynomial(THRUST, advance, rest), _polynomial(TORQUE, advance, rest)

    def at_loading(self, loading: Floats) -> tuple[Floats, Floats]:
        """Advance, and power over rho D² Va³, at loadings T / (rho D² Va²); same shape.

        Source: with n = Va / (J D), P = 2 pi rho n³ D⁵ KQ = rho D² Va³ 2 pi KQ / J³.
        """
        thrust, torque = self.coefficients(ADVANCE)
        # up to the advance at which it gives no thrust any more
        count = int(np.argmax(thrust <= 0)) or len(ADVANCE)
        ahead = ADVANCE[: max(count, 2)]
        own = thrust[: len(ahead)] / ahead**2
        advance = np.interp(-np.asarray(loading), -own, ahead)
        taken = np.interp(advance, ADVANCE, torque)
        return np.asarray(advance), np.asarray(2 * np.pi * taken / advance**3)

    def loading_at(self, advance: Floats) -> Floats:
        """Loading T / (rho D² Va²) at advances, at least a little."""
        thrust, _ = self.coefficients(np.asarray(advance))
        return np.asarray(np.maximum(thrust, 1e-4) / np.square(advance))


def _polynomial(table: Floats, advance: Floats, rest: tuple[float, float, float]) -> Floats:
    """Sum of the table's terms at advances."""
    pitch, area, blades = rest
    number, by_advance, by_pitch, by_area, by_blades = table.T
    factors = number * pitch**by_pitch
    factors = factors * area**by_area
    factors = factors * blades**by_blades
    column = np.asarray(advance, float)[..., None]
    powers = column**by_advance
    return np.asarray(powers @ factors)


def log_power_change(old: Propeller, new: Propeller, loading: Floats) -> tuple[Floats, Floats]:
    """ln of the shaft's power and of its revolutions with another propeller over those with the
    one aboard, at loadings of the one aboard, same shape each.
    """
    size = (old.diameter_m / new.diameter_m) ** 2
    advance_old, power_old = old.at_loading(loading)
    advance_new, power_new = new.at_loading(loading * size)
    turns = advance_old * old.diameter_m / (advance_new * new.diameter_m)
    return np.log(power_new / (power_old * size)), np.log(turns)
