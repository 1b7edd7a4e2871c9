"""The pack's voltage over a whole trip, split into what rest, resistance and polarisation give.

The model is `sag_design.py`'s, its residual `sag_noise.py`'s, its prior `sag_prior.py`'s; all
hypotheses are fitted and weighed by `sag_fit.py`, and every answer here is the mixture's. It looks
at the whole trip, so it is for afterwards.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.pack.cell_model import default_params
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import Charge
from analyzer.series.derived import cell_temp_c, held_current_a, mean_cell_v
from analyzer.series.series import Bools, Floats, Series
from analyzer.series.steps import Steps, moving_mean
from analyzer.trips.sag_design import CIRCUIT, Design, Hypothesis, cold_factor, design_matrix
from analyzer.trips.sag_fit import Fits, fit
from analyzer.trips.sag_noise import bin_means, whitened
from analyzer.trips.sag_prior import Earlier, bend_sd_v, circuit_prior, precision_matrix
from logger.boat import Boat

SMOOTH_S = 300.0  # of the temperature: a probe's steps are no steps of the cells; assumed
MOST_ROWS = 9000  # steps that a small board has the memory for; assumed
LEAST_S, LEAST_C = 300.0, 0.05  # of readings, and of load, that tell anything; assumed
TERMS = ("charge used", "resistance", "polarisation", "cold")
_SUMS = {
    **{term: (term,) for term in TERMS},
    "slow": ("charge used", "polarisation"),
    "all": TERMS,
}
# Losses along the trip: columns of which temperature, and which of R0, R1 and R2.
_LOSSES = {
    "ohmic_v": ("cold", [0]),
    "polar_v": ("cold", [1, 2]),
    "ohmic_25_v": ("warm", [0]),
    "polar_25_v": ("warm", [1, 2]),
}


@dataclass(frozen=True)
class Split:
    """A trip's fits of the mean cell; what is asked of them comes at pack level, positive on
    discharge. [V]

    Args:
        curve_v: The published rest curve along the trip, (steps,).
        cells: In series.
        steps: Of the fit, among the trip's grid times.
    """

    design: Design
    fits: Fits
    curve_v: Floats
    cells: int
    steps: Steps

    def series(self) -> dict[str, Floats]:
        """Means at each grid time: rest_v, ohmic_v, polar_v, ohmic_25_v, polar_25_v. (n,) each"""
        matrix = self.design.matrix
        parts = {"rest_v": self.curve_v + matrix @ self._mean_of_rest()}
        for name in _LOSSES:
            # The matrix holds losses as negative numbers.
            parts[name] = -matrix @ self._mean_of_loss(name)
        step_of = self.steps.step_of
        return {name: self.cells * volts[step_of] for name, volts in parts.items()}

    def _mean_of_rest(self) -> Floats:
        """Mean coefficient of each column in the rest's voltage. (columns,)"""
        mean = np.zeros(self.design.matrix.shape[1])
        for weight, hypothesis, theta in self._weighed():
            mean[hypothesis.hysteresis] += weight * theta[CIRCUIT - 1]
            mean[self.design.curve] += weight * theta[CIRCUIT:]
        return mean

    def _mean_of_loss(self, name: str) -> Floats:
        """Mean coefficient of each column in one of `_LOSSES`. (columns,)"""
        which, ohms = _LOSSES[name]
        mean = np.zeros(self.design.matrix.shape[1])
        for weight, hypothesis, theta in self._weighed():
            # No column is in a part twice, so that += adds each once.
            columns = np.array(getattr(hypothesis.circuit, which))[ohms]
            mean[columns] += weight * theta[ohms]
        return mean

    def _weighed(self) -> Iterator[tuple[float, Hypothesis, Floats]]:
        fits = self.fits
        return zip(fits.weight.tolist(), fits.hypotheses, fits.theta, strict=True)

    def resistances(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ohmic, and of both pairs, at 25 °C: mean and standard deviation. [ohm] of the pack"""
        count, parameters = self.fits.theta.shape
        rows = np.zeros((count, 2, parameters))
        rows[:, 0, 0] = 1.0  # R0
        rows[:, 1, 1:3] = 1.0  # R1 + R2
        mean, cov = self.fits.moments(rows)
        ohmic, polar = (
            (float(self.cells * mean[k]), self.cells * math.sqrt(max(cov[k, k], 0.0)))
            for k in range(2)
        )
        return ohmic, polar

    def there(self, temp_c: float) -> Earlier:
        """What a later trip learns from this one, at a temperature of this trip."""
        fits = self.fits
        transfer = np.array([h.circuit.transfer for h in fits.hypotheses])
        ohm = fits.theta[:, :3]
        # At the trip's own temperature, as how the pack takes the cold is the open question.
        logs = np.log(ohm * cold_factor(transfer, temp_c))
        mean = fits.weight @ logs
        # Variance of a logarithm by its relative error, and between the hypotheses.
        var = np.diagonal(fits.cov, axis1=1, axis2=2)[:, :3]
        within = var / np.square(ohm)
        between = np.square(logs - mean)
        sd = np.sqrt(fits.weight @ (within + between))
        return Earlier(
            temp_c=temp_c,
            ohm=tuple(np.exp(mean).tolist()),
            ln_sd=tuple(sd.tolist()),
        )

    def terms(
        self,
        chosen: Bools,
        rest: Bools,
    ) -> dict[str, tuple[float, float]]:
        """Mean and standard deviation of each term over some grid times.

        Args:
            chosen: Where the account is wanted. rest: Where the pack's rest was taken.
        Returns:
            "charge used", "resistance", "polarisation", "cold"; "slow", the first and the third
            together, which a trip tells apart less well than it knows their sum; "all" together.
        """
        now, curve_now_v = self._mean_row(chosen)
        then, curve_then_v = self._mean_row(rest)
        rows = [self._functionals(h, now, then) for h in self.fits.hypotheses]
        # The published curve is no parameter: its change between the two times is known.
        known = np.array([curve_then_v - curve_now_v, 0.0, 0.0, 0.0])
        mean, cov = self.fits.moments(np.stack(rows), known)
        out = {}
        for name, members in _SUMS.items():
            which = np.array([term in members for term in TERMS], float)
            # Terms that trade off have negative covariance: a sum may be surer than its parts.
            var = max(float(which @ cov @ which), 0.0)
            out[name] = (
                self.cells * float(which @ mean),
                self.cells * math.sqrt(var),
            )
        return out

    def _mean_row(self, mask: Bools) -> tuple[Floats, float]:
        """Of the design matrix, (columns,), and of the rest curve, over some grid times."""
        share = self.steps.mean(mask.astype(float))
        share /= share.sum()
        return share @ self.design.matrix, float(share @ self.curve_v)

    def _functionals(
        self,
        hypothesis: Hypothesis,
        now: Floats,
        then: Floats,
    ) -> Floats:
        """Each of `TERMS` as a row over the parameters, (terms, p).

        Args:
            now, then: Mean rows of the design matrix under load and at rest, (columns,).
        """
        circuit = hypothesis.circuit
        rest = [hypothesis.hysteresis, *self.design.curve]
        # The matrix holds losses as negative numbers; terms are positive where volts are lost.
        warm = -now[list(circuit.warm)]
        cold = -now[list(circuit.cold)]
        rows = np.zeros((len(TERMS), CIRCUIT + len(self.design.curve)))
        rows[0, CIRCUIT - 1 :] = then[rest] - now[rest]
        rows[1, 0] = warm[0]
        rows[2, 1:3] = warm[1:]
        rows[3, :3] = cold - warm
        return rows


def split(
    series: Series,
    charge: Charge,
    boat: Boat,
    earlier: Sequence[Earlier] = (),
) -> Split | None:
    """Fits the trip; None where it has too little load to tell anything.

    Args:
        earlier: Trips at other temperatures, which tell how this pack takes the cold.
    """
    kind = chemistry(boat.pack.chemistry)
    ah = boat.pack.rated_capacity_ah
    # A long trip is taken in steps of more than one reading.
    per = max(math.ceil(series.n / MOST_ROWS), 1)
    steps = Steps.of(series.n, series.step_s, per)
    step_s = per * series.step_s
    # Current is held over short gaps, as its lagged columns need every step.
    current_a = steps.mean(held_current_a(series)[0])
    cell_v = steps.mean(mean_cell_v(series, boat.pack))
    soc = steps.mean(charge.soc_frac)
    temp_c = _smoothed(steps.mean(cell_temp_c(series)), round(SMOOTH_S / step_s))
    curve_v = np.asarray(kind.ocv_v(soc, temp_c))

    # What is fitted is the distance from the published curve: it varies much less than the volts.
    error_v = cell_v - curve_v
    known = np.isfinite(error_v)
    if known.sum() * step_s < LEAST_S:
        return None
    # Without load every resistance would be the prior's.
    if np.abs(current_a[known]).max() < LEAST_C * ah:
        return None
    design = design_matrix(kind, current_a, temp_c, soc, ah, step_s)
    table = np.column_stack([design.matrix, error_v])
    rows, t_s = bin_means(table, known, step_s)
    if not len(rows):
        return None

    transfer = np.array([h.circuit.transfer for h in design.hypotheses])
    prior = circuit_prior(_by_chemistry(boat), transfer, earlier)
    bends = bend_sd_v(kind, soc, design)
    precision = precision_matrix(prior.log_sd, bends, len(design.curve))
    fits = fit(design, whitened(rows, t_s), prior, precision)
    return Split(design, fits, curve_v, boat.pack.cells_in_series, steps)


def _by_chemistry(boat: Boat) -> Floats:
    """R0, R1, R2 and g of the mean cell before anything was read, (4,)."""
    kind = chemistry(boat.pack.chemistry)
    params = default_params(boat.pack)
    # At mid charge: towards the ends the gap is lost in the curve's own slope.
    half_gap_v = float(np.interp(0.5, kind.soc, kind.half_gap_v))
    return np.array([params.r0_ohm, params.r1_ohm, params.r2_ohm, half_gap_v])


def _smoothed(values: Floats, per: int) -> Floats:
    """Moving mean over about `per` values; as they are where there are too few."""
    if per < 2 or len(values) < 3:
        return values
    return moving_mean(values, min(per // 2, (len(values) - 1) // 2))
