"""What stands beside the charge filter in every table: counting alone, and a library's filter."""

import os
import time
import warnings

import numpy as np

# The library's filter takes every reading in the full run, means of ten otherwise.
EVERY = 1 if os.environ.get("KEELWATT_FULL") else 10


def counted(amps, dt_s, capacity_ah, soc0):
    """Charge from current alone. (n,)"""
    return soc0 - np.r_[0.0, np.cumsum(amps[:-1])] * dt_s / 3600 / capacity_ah


def library_filter(amps, volts, dt_s, cell, soc0, sd0):
    """filterpy's extended Kalman filter on the same cell with one pair. -> (soc (n,), seconds)

    States: charge and the pair's voltage. The pair is the cell's two lumped; measurement noise
    10 mV, process noise as usual in published work (common practice, no source).
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from filterpy.kalman import ExtendedKalmanFilter

    kind, p, n = cell.kind, cell.params, len(amps)
    edges = np.arange(0, n, EVERY)
    count = np.diff(np.append(edges, n))
    amps, volts = (np.add.reduceat(x, edges) / count for x in (amps, volts))
    dt_s = dt_s * EVERY
    ekf = ExtendedKalmanFilter(dim_x=2, dim_z=1)
    r1, tau = (
        p.r1_ohm + p.r2_ohm,
        (p.tau1_s * p.r1_ohm + p.tau2_s * p.r2_ohm) / (p.r1_ohm + p.r2_ohm),
    )
    a = float(np.exp(-dt_s / tau))
    ekf.x = np.array([soc0, 0.0])
    ekf.P = np.diag([sd0**2, 0.01**2])
    ekf.F = np.array([[1.0, 0.0], [0.0, a]])
    ekf.Q = np.diag([1e-10 * dt_s, 1e-8 * dt_s])
    ekf.R = np.array([[0.01**2]])
    ekf.B = np.array([-dt_s / 3600 / p.capacity_ah, r1 * (1 - a)])
    out = np.empty(len(amps))
    start = time.perf_counter()
    for k, (i, v) in enumerate(zip(amps.tolist(), volts.tolist(), strict=True)):
        ekf.predict(u=i)

        def jacobian(x):
            return np.array([[float(kind.docv_dsoc(x[0])), -1.0]])

        def expected(x, i=i):
            return np.array([float(kind.ocv_v(x[0])) - x[1] - i * p.r0_ohm])

        ekf.update(np.array([v]), jacobian, expected)
        ekf.x[0] = min(max(ekf.x[0], 0.0), 1.0)
        out[k] = ekf.x[0]
    return np.repeat(out, count), time.perf_counter() - start


def row(name, soc, truth, seconds, low=None, high=None):
    """One line of a table; error in percent of charge."""
    error = 100 * (soc - truth)
    held = (
        "" if low is None else f"  80 % range held {np.mean((low <= truth) & (truth <= high)):.3f}"
    )
    return f"  {name:28} rmse {np.sqrt(np.mean(error**2)):6.2f} %  {seconds:6.2f} s{held}"
