"""The optimiser behind the stream and the calibrations, against NIST's certified fits.

NIST StRD nonlinear regression (public): data, starts, certified parameters, their standard
deviations and the residual sum of squares, as printed.
"""

from pathlib import Path

import numpy as np
import pytest

from analyzer.estimation.least_squares import solve

DAN_WOOD = np.array(
    [(2.138, 1.309), (3.421, 1.471), (3.597, 1.490), (4.340, 1.565), (4.882, 1.611), (5.660, 1.680)]
)
BOX_BOD = np.array([(109, 1), (149, 2), (149, 3), (191, 5), (213, 7), (224, 10)], dtype=float)
MISRA_1A = np.array(
    [
        (10.07, 77.6), (14.73, 114.9), (17.94, 141.1), (23.93, 190.8), (29.61, 239.9),
        (35.18, 289.0), (40.02, 332.8), (44.82, 378.4), (50.76, 434.8), (55.05, 477.3),
        (61.01, 536.8), (66.40, 593.1), (75.47, 689.1), (81.78, 760.0),
    ]
)  # fmt: skip


def power(b, x):
    return b[0] * x ** b[1], np.column_stack([x ** b[1], b[0] * x ** b[1] * np.log(x)])


def saturating(b, x):
    left = np.exp(-b[1] * x)
    return b[0] * (1 - left), np.column_stack([1 - left, b[0] * x * left])


CERTIFIED = [
    (DAN_WOOD, power, [(1.0, 5.0), (0.7, 4.0)],
     (7.6886226176e-01, 3.8604055871e00), (1.8281973860e-02, 5.1726610913e-02), 4.3173084083e-03),
    (MISRA_1A, saturating, [(500.0, 1e-4), (250.0, 5e-4)],
     (2.3894212918e02, 5.5015643181e-04), (2.7070075241e00, 7.2668688436e-06), 1.2455138894e-01),
    (BOX_BOD, saturating, [(1.0, 1.0), (100.0, 0.75)],
     (2.1380940889e02, 5.4723748542e-01), (1.2354515176e01, 1.0455993237e-01), 1.1680088766e03),
]  # fmt: skip


@pytest.mark.parametrize(("data", "model", "starts", "certified", "sds", "rss"), CERTIFIED)
@pytest.mark.parametrize("which", [0, 1])
def test_certified_fits(data, model, starts, certified, sds, rss, which):
    y, x = data.T

    def linearised(at):
        given, rows = model(at, x)
        return rows, y - given + rows @ at, np.ones(len(y))

    none = np.zeros(2)
    fit = solve(
        linearised, none, np.zeros((2, 2)), start=np.array(starts[which]), rounds=500,
        tolerance=1e-14,
    )  # fmt: skip
    assert fit.settled
    assert fit.mean == pytest.approx(certified, rel=1e-6)
    assert fit.cost == pytest.approx(rss, rel=1e-8)
    residual_var = fit.cost / (len(y) - 2)
    cov = np.linalg.inv(fit.precision) * residual_var
    assert np.sqrt(np.diag(cov)) == pytest.approx(sds, rel=1e-5)


def test_prior_and_data_meet_by_their_weights():
    # by hand: prior 1 +- 1, one reading 3 +- 1 -> 2 +- 1/sqrt(2)
    def linearised(at):
        return np.ones((1, 1)), np.array([3.0]), np.ones(1)

    fit = solve(linearised, np.array([1.0]), np.eye(1))
    assert fit.mean[0] == pytest.approx(2.0)
    assert fit.precision[0, 0] == pytest.approx(2.0)


@pytest.mark.parametrize("start", [(-2000.0, 50.0, 0.8), (-1500.0, 45.0, 0.85)])
def test_bennett5_a_long_bent_valley_is_followed_to_its_end(start):
    """NIST's hardest class: three parameters that nearly stand for each other; starts as NIST's
    (from memory)."""
    y, x = np.loadtxt(Path(__file__).parent / "bennett5.txt").T

    def linearised(b):
        with np.errstate(all="ignore"):
            base = (b[1] + x) ** (-1 / b[2])
            given = b[0] * base
            slopes = (base, -given / b[2] / (b[1] + x), given * np.log(b[1] + x) / b[2] ** 2)
        rows = np.column_stack(slopes)
        return rows, y - given + rows @ b, np.ones(len(y))

    fit = solve(
        linearised, np.zeros(3), np.zeros((3, 3)), start=np.array(start), rounds=5000,
        tolerance=1e-16,
    )  # fmt: skip
    assert len(y) == 154
    assert fit.settled
    assert fit.mean == pytest.approx(
        (-2.5235058043e03, 4.6736564644e01, 9.3218483193e-01), rel=1e-6
    )
    assert fit.cost == pytest.approx(5.2404744073e-04, rel=1e-8)
