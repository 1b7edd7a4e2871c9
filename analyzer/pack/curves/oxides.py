"""Positive electrodes of cells sold as NMC beside those of `half_cells`: published fits."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Highest power first, as printed. A. Colclasure et al. 2020, and G.-H. Kim et al. 2011; as cited
# below.
OXIDE_532_2020 = (
    -3.640117692001490e3, 1.317657544484270e4, -1.455742062291360e4, -1.571094264365090e3,
    1.265630978512400e4, -2.057808873526350e3, -1.074374333186190e4, 8.698112755348720e3,
    -8.297904604107030e2, -2.073765547574810e3, 1.190223421193310e3, -2.724851668445780e2,
    2.723409218042130e1, -4.158276603609060, 5.314735633000300,
)  # fmt: skip
OXIDE_NCA_2011 = (
    1.638, -2.222, 15.056, -23.488, 81.246, -344.566, 621.3475, -554.774, 264.427, -66.3691,
    11.8058,
)  # fmt: skip


def nmc532_2020_v(y: Floats) -> Floats:
    """Nickel-manganese-cobalt oxide 5:3:2, a second published fit. [V] same shape.

    Source: A. Colclasure et al., Electrochim. Acta 337 (2020) 135854.
    """
    full = 5.573191762723310e-4 * np.exp(6.560240842659690 * y**41.48209275061330)
    return np.asarray(np.polyval(OXIDE_532_2020, y) - full)


def nca_v(y: Floats) -> Floats:
    """Nickel-cobalt-aluminium oxide. [V] same shape.

    Source: G.-H. Kim et al., J. Electrochem. Soc. 158 (2011) A955.
    """
    full = 0.61386 * np.exp(5.8201 * y**136.4)
    return np.asarray(np.polyval(OXIDE_NCA_2011, y) - full)
