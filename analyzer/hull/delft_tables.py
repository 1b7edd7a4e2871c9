"""Published residuary resistance of the Delft systematic yacht hull series.

1998: J. A. Keuning, U. B. Sonnenberg, "Approximation of the hydrodynamic forces on a sailing yacht
    based on the Delft systematic yacht hull series"; rows by Froude number, columns a0 to a8.
2008: J. A. Keuning, M. Katgert, "A bare hull resistance prediction method derived from the results
    of the Delft systematic yacht hull series extended to higher speeds"; columns a0 to a7.
1981: J. Gerritsma, R. Onnink, A. Versluis, towed with keel and rudder ("Yacht Hydrodynamics", UCI
    repository, CC BY 4.0).
"""

import numpy as np

# Source: the publications of the same years. The second table goes on where the first ends.
FROUDE_1998 = np.array([0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60])
FROUDE_2008 = np.array([0.60, 0.65, 0.70, 0.75])
FROUDE = np.array([*FROUDE_1998.tolist(), *FROUDE_2008[1:].tolist()])
COEFFICIENTS_1998 = np.array(
    [
        [0.0014, -0.1071, 0.0637, 0.0090, 0.0153, 0.0011, 0.0012, 0.1021, -0.0648],
        [0.0027, 0.0463, -0.1263, 0.0150, 0.0274, -0.0299, 0.0110, -0.0595, 0.1220],
        [0.0056, -0.8005, 0.4891, 0.0269, 0.0519, -0.0313, 0.0292, 0.7314, -0.3619],
        [0.0032, -0.1011, -0.0813, -0.0382, 0.0320, -0.1481, 0.0837, 0.0223, 0.1587],
        [-0.0064, 2.3095, -1.5152, 0.0751, -0.0858, -0.5349, 0.1715, -2.4550, 1.1865],
        [-0.0171, 3.4017, -1.9862, 0.3242, -0.1450, -0.8043, 0.2952, -3.5284, 1.3575],
        [-0.0201, 7.1576, -6.3304, 0.5829, 0.1630, -0.3966, 0.5023, -7.1579, 5.2534],
        [0.0495, 1.5618, -6.0661, 0.8641, 1.1702, 1.7610, 0.9176, -2.1191, 5.4281],
        [0.0808, -5.3233, -1.1513, 0.9663, 1.6084, 2.7459, 0.8491, 4.7129, 1.1089],
    ]
)
COEFFICIENTS_2008 = np.array(
    [
        [-0.0361, 0.0037, -0.2960, 0.9661, 0.6123, 0.7534, 0.0100, -0.3352],
        [0.0008, 0.3728, -0.3667, 1.3957, 1.0343, 0.3230, 0.0072, -0.4632],
        [0.0108, -0.1238, -0.2026, 1.1282, 1.1836, 0.4973, 0.0038, -0.4477],
        [0.1023, 0.7726, 0.5040, 1.7867, 2.1934, -1.5479, -0.0115, -0.0977],
    ]
)
# Three published hulls, towed with keel and rudder: form (centre of buoyancy in % forward of
# midships, prismatic coefficient, length / volume^(1/3), beam / draught, length / beam), then
# residuary resistance over weight x 1000 at Froude numbers 0.20 to 0.45.
HULLS_1981 = (
    ((0.0, 0.565, 4.77, 3.99, 3.15), (0.79, 1.96, 4.14, 9.07, 24.13, 55.44)),
    ((-2.3, 0.568, 4.78, 3.99, 3.17), (0.78, 1.82, 3.76, 7.16, 20.11, 49.49)),
    ((0.0, 0.600, 4.78, 4.24, 3.15), (0.73, 2.16, 5.06, 10.36, 23.15, 51.50)),
)
