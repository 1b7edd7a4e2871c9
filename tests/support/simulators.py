"""Cells of independent simulators: thevenin (equivalent circuit) and PyBaMM (physics).

Neither shares code or parameters with the analyzer.
"""

import warnings

import numpy as np


def outing(rng, capacity_ah, hours, low=0.08, start=0.98, charge_c=0.0, quiet_s=1200):
    """A boat-like current: motoring at changing load, pauses, at the end a charge. [A] at 1 s.

    Invented. Ends the discharge at `low`; with charge_c the pack is charged back to `start`.
    """
    n = round(hours * 3600)
    amps, k = np.zeros(n), quiet_s
    left = (start - low) * capacity_ah * 3600
    mean = left / (n - quiet_s)
    while k < n:
        length = int(rng.uniform(60, 400))
        amps[k : k + length] = mean * rng.choice([0.0, 0.3, 0.8, 1.2, 1.6, 2.2])
        k += length
    used = np.cumsum(amps)
    amps[used > left] = 0.0
    if charge_c:
        back = amps.sum() / (charge_c * capacity_ah)
        amps = np.r_[amps, np.zeros(900), np.full(round(back), -charge_c * capacity_ah)]
        amps = np.r_[amps, np.zeros(600)]
    return amps


def measured_curve(shared_data):
    """Open-circuit curve and half gap of a real 3.5 Ah LFP cell, as functions of charge."""
    path = shared_data / "lfp_3500mah_excitation" / "ocv_curve.csv"
    table = np.genfromtxt(path, delimiter=",", names=True)
    soc, mean, half = (table[k] for k in ("soc", "mean_ocv_V", "hysteresis_half_gap_V"))
    return (lambda s: np.interp(s, soc, mean)), (lambda s: np.interp(s, soc, half))


def thevenin_volts(amps, curve, capacity_ah, soc0, temp_c=25.0, r_factor=1.0, step_s=1.0):
    """Voltage and charge, each step, of thevenin's one-pair cell. -> (volts, soc)

    Args:
        amps: Positive when the cell gives, shape (n,).
        curve: Functions of charge: voltage at rest, half the hysteresis gap.
    The circuit: 0.08 ohm Ah in series, half of it again in one pair of 45 s, both with
    20 kJ/mol: the figures usual for large LFP cells (reference values, 2.1 and 2.3).
    """
    import thevenin

    def ohm(temp_k):
        warm = np.exp(20e3 / 8.314 * (1 / temp_k - 1 / 298.15))
        return r_factor * 0.08 / capacity_ah * warm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sim = thevenin.Simulation()
        sim.capacity, sim.soc0, sim.isothermal = capacity_ah, soc0, True
        sim.T_inf, sim.gamma = temp_c + 273.15, 30.0
        sim.ocv, sim.M_hyst = curve
        sim.R0 = lambda soc, temp_k: ohm(temp_k)
        sim.R1 = lambda soc, temp_k: 0.5 * ohm(temp_k)
        sim.C1 = lambda soc, temp_k: 45.0 / (0.5 * ohm(temp_k))
        sim.pre()
        plan = thevenin.Experiment(max_step=30.0)
        for first, last in _stretches(amps):
            times = np.arange(last - first + 1) * step_s
            plan.add_step("current_A", float(amps[first]), times)
        found = sim.run(plan)
    t = (np.arange(len(amps)) + 0.5) * step_s
    volts, soc, at = (np.asarray(found.vars[k]) for k in ("voltage_V", "soc", "time_s"))
    assert at[-1] > t[-2], f"thevenin stopped at {at[-1]:.0f} of {t[-1]:.0f} s"
    return np.interp(t, at, volts), np.interp(t, at, soc)


def _stretches(amps):
    """First and last index of each stretch of one current."""
    edges = np.flatnonzero(np.diff(amps)) + 1
    return zip(np.r_[0, edges], np.r_[edges, len(amps)], strict=True)


def pybamm_volts(amps, soc0, temp_c=25.0, every_s=5, published="Prada2013", more_ohm=0.0, size=1.0):
    """PyBaMM's single-particle model with a published set; "Prada2013" is LFP of 2.3 Ah.

    Args:
        amps: At 1 s, positive when the cell gives, shape (n,).
        published: Name of the set in PyBaMM.
        more_ohm: In series with the cell.
        size: Of its electrodes over the set's: capacity goes with it, resistance against it.
    Returns:
        Current, voltage and charge each `every_s` seconds, and the capacity in Ah.
    """
    import pybamm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        values = pybamm.ParameterValues(published)
        values["Electrode height [m]"] *= size
        values["Ambient temperature [K]"] = temp_c + 273.15
        values["Initial temperature [K]"] = temp_c + 273.15
        some, volts, soc, capacity_ah = _solved(
            pybamm.lithium_ion.SPMe(), values, amps, soc0, every_s
        )
    return some, volts - more_ohm * some, soc, capacity_ah


# Name -> set in PyBaMM whose graphite stands against Prada 2013's iron phosphate; None: both half
# cells are About:Energy's.
LFP_SETS = {"Chen2020": "Chen2020", "Ecker2015": "Ecker2015", "Marquis2019": "Marquis2019",
            "AboutEnergy": None}  # fmt: skip


def _about_energy_graphite(x):
    """OCP of an 18650's graphite, About:Energy, LFP parameterisation for BPX (2022). [V]"""
    import pybamm

    exp, tanh = pybamm.exp, pybamm.tanh
    return (
        5.29210878e01 * exp(-1.72699386e02 * x) - 1.17963399e03
        + 1.20956356e03 * tanh(6.72033948e01 * (x + 2.44746396e-02))
        + 4.52430314e-02 * tanh(-1.47542326e01 * (x - 1.62746053e-01))
        + 2.01855800e01 * tanh(-2.46666302e01 * (x - 1.12986136e00))
        + 2.01708039e-02 * tanh(-1.19900231e01 * (x - 5.49773440e-01))
        + 4.99616805e01 * tanh(-6.11370883e01 * (x + 4.69382558e-03))
    )  # fmt: skip


def _about_energy_lfp(y):
    """OCP of the same cell's iron phosphate, after Gerver and Meyers 2011. [V]"""
    import pybamm

    end = 3.54866018e14 * pybamm.exp(-3.95729493e02 * y)
    full = 1.45998465e00 * pybamm.exp(-1.10108622e02 * (1 - y))
    return 3.41285712e00 - 1.49721852e-02 * y + end - full


def pybamm_dfn(amps, soc0, name, every_s=10):
    """PyBaMM's Doyle-Fuller-Newman model of an LFP cell of one of `LFP_SETS`, at 25 °C.

    Args:
        amps: At 1 s, positive when the cell gives, shape (n,).
    Returns:
        Current, voltage and charge each `every_s` seconds, and the capacity in Ah.
    """
    import pybamm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        values = pybamm.ParameterValues("Prada2013")
        if LFP_SETS[name] is None:
            values["Negative electrode OCP [V]"] = _about_energy_graphite
            values["Positive electrode OCP [V]"] = _about_energy_lfp
        else:
            other = pybamm.ParameterValues(LFP_SETS[name])
            values["Negative electrode OCP [V]"] = other["Negative electrode OCP [V]"]
        return _solved(pybamm.lithium_ion.DFN(), values, amps, soc0, every_s)


def _solved(model, values, amps, soc0, every_s):
    """Current, voltage, charge and capacity of a lithium cell's run in PyBaMM."""
    import pybamm

    x0, x100, _, _ = pybamm.lithium_ion.get_min_max_stoichiometries(values)
    t = np.arange(len(amps), dtype=float)
    values["Current function [A]"] = pybamm.Interpolant(t, amps, pybamm.t)
    found = pybamm.Simulation(model, parameter_values=values).solve(t[::every_s], initial_soc=soc0)
    at = t[::every_s][t[::every_s] <= found.t[-1]]
    volts = found["Voltage [V]"](t=at)
    soc = (found["Negative electrode stoichiometry"](t=at) - x0) / (x100 - x0)
    given = found["Discharge capacity [A.h]"](t=at)
    low = int(np.argmin(soc))
    capacity_ah = float((given[low] - given[0]) / (soc[0] - soc[low]))
    return amps[::every_s][: len(at)], volts, soc, capacity_ah


def pybamm_lead_acid(amps, every_s=10):
    """PyBaMM's leading-order lead-acid cell, set "Sulzer2019", from full.

    Args:
        amps: At 1 s, positive when the cell gives, shape (n,).
    Returns:
        Current, voltage and charge each `every_s` seconds, and the capacity in Ah.
    """
    import pybamm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = pybamm.lead_acid.LOQS()
        values = model.default_parameter_values
        t = np.arange(len(amps), dtype=float)
        values["Current function [A]"] = pybamm.Interpolant(t, amps, pybamm.t)
        found = pybamm.Simulation(model, parameter_values=values).solve(t[::every_s])
        at = t[::every_s][t[::every_s] <= found.t[-1]]
        volts, soc = found["Voltage [V]"](t=at), found["State of Charge"](t=at) / 100
    some = amps[::every_s][: len(at)]
    capacity_ah = float(some[:-1].sum() * every_s / 3600 / (soc[0] - soc[-1]))
    return some, volts, soc, capacity_ah
