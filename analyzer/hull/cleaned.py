"""When the bottom was cleaned: a step up in the speed that the boat makes at the same power.

Growth comes slowly and goes at once. The trips' speed losses y at times t are held against a
straight line, and against two lines of one slope that break between two trips:

    y = a + b·t + c·[t after the break] + noise

b growth, c what the cleaning gave back. Weighed by their likelihood, with Schwarz's criterion for
the two numbers more (the step, and where it is), the noise as large as the better of both leaves.
What is fitted after the break is the growth since.

Source: change-point regression with BIC (G. Schwarz, Ann. Statist. 6 (1978) 461).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

LEAST_TRIPS = 3  # on either side, so that one odd trip is no cleaning; assumed
LEAST_STEP = 0.02  # of the speed: less is no haul-out; as `fouling.WORTH_FRAC`
SURE_LOG = float(np.log(49))  # odds of 49 to 1, before it is told: 98 %; assumed
PARTS = (0.0, 0.25, 0.5, 0.75)  # of the trips that are left out from the front; assumed
COVER = 0.8  # of the places where the break may be, that its dates hold


@dataclass(frozen=True)
class Line:
    """Speed loss over time since the last clean bottom.

    Args:
        first: The first trip of it.
        clean, clean_sd: Loss when it began, at the first trip's time. [frac]
        slope, cov: Of (clean, slope a second).
        breaks: Trips before which the cleaning may have been, lowest and highest; None: no
            cleaning was seen.
        step, step_sd: What it gave back. [frac]
    """

    first: int
    clean: float
    slope: float
    cov: Floats
    breaks: tuple[int, int] | None = None
    step: float = 0.0
    step_sd: float = 0.0

    def at(self, after_s: float) -> tuple[float, float]:
        """Loss and its standard deviation so long after the first trip of it. [s]"""
        row = np.array([1.0, after_s])
        return float(row @ [self.clean, self.slope]), float(np.sqrt(row @ self.cov @ row))

    def since(self, after_s: float) -> tuple[float, float]:
        """Loss since it began, and its standard deviation. [s]"""
        return self.slope * after_s, float(np.sqrt(self.cov[1, 1])) * after_s


def line_since_clean(t_s: Floats, loss: Floats, sd: Floats) -> Line:
    """The line since the newest cleaning that is sure enough; over all trips where none is.

    Args:
        t_s, loss, sd: Of each trip, oldest first, (n,).
    """
    found = _plain(t_s, loss, sd)
    better = _newest(t_s, loss, sd, 0)
    while better is not None:
        found = better
        better = _newest(t_s, loss, sd, found.first)
    return found


def _newest(t_s: Floats, loss: Floats, sd: Floats, begin: int) -> Line | None:
    """A break after the first trip given, over all trips or over the newest of them: of several
    cleanings one break alone explains little.
    """
    for share in PARTS:
        first = begin + round(share * (len(t_s) - begin))
        found = _broken(t_s[first:], loss[first:], sd[first:], first)
        if found is not None:
            return found
    return None


def _plain(t_s: Floats, loss: Floats, sd: Floats) -> Line:
    table = np.column_stack([np.ones_like(t_s), t_s - t_s[0]])
    mean, cov, _ = _fit(table, loss, sd)
    return Line(0, float(mean[0]), float(mean[1]), cov)


def _broken(t_s: Floats, loss: Floats, sd: Floats, before: int) -> Line | None:
    """The line after the likeliest break; None where no break is sure. before: trips left out."""
    n = len(t_s)
    places = np.arange(LEAST_TRIPS, n - LEAST_TRIPS + 1)
    if not len(places):
        return None
    plain = np.column_stack([np.ones(n), t_s - t_s[0]])
    _, _, chi_plain = _fit(plain, loss, sd)
    fits = [_fit(np.column_stack([plain, np.arange(n) >= k]), loss, sd) for k in places]
    # a bottom that is slower at once was not cleaned there
    chi = np.array([one[2] if one[0][2] > 0 else np.inf for one in fits])
    best = int(np.argmin(chi))
    if not np.isfinite(chi[best]):
        return None
    noise = max(chi[best] / max(n - 4, 1), 1.0)
    k = int(places[best])
    mean, cov, _ = fits[best]
    step, step_sd = float(mean[2]), float(np.sqrt(cov[2, 2] * noise))
    # Schwarz's half of ln n for each of two numbers, and as many looks as there are parts.
    odds_log = (chi_plain - chi[best]) / noise / 2 - np.log(n) - np.log(len(PARTS))
    if step < LEAST_STEP or odds_log < SURE_LOG:
        return None
    return Line(
        before + k,
        *_after(mean, cov * noise, t_s[k] - t_s[0]),
        breaks=_places(places, chi / noise, before),
        step=step,
        step_sd=step_sd,
    )


def _after(mean: Floats, cov: Floats, to_break_s: float) -> tuple[float, float, Floats]:
    """Loss at the break, slope, and their covariance."""
    pick = np.array([[1.0, to_break_s, 1.0], [0.0, 1.0, 0.0]])
    clean, slope = pick @ mean
    return float(clean), float(slope), pick @ cov @ pick.T


def _places(places: npt.NDArray[np.int64], chi: Floats, before: int) -> tuple[int, int]:
    """Between which trips the break lies, by the likelihood of each place."""
    weight = np.exp(-0.5 * (chi - chi.min()))
    order = np.argsort(-weight)
    count = int(np.searchsorted(np.cumsum(weight[order]), COVER * weight.sum())) + 1
    held = places[order[:count]]
    return before + int(held.min()), before + int(held.max())


def _fit(table: Floats, loss: Floats, sd: Floats) -> tuple[Floats, Floats, float]:
    """Weighted least squares: mean, covariance, and sum of squares over the variances."""
    scaled = table / sd[:, None]
    cov = np.asarray(np.linalg.inv(scaled.T @ scaled), dtype=np.float64)
    mean = np.asarray(cov @ (scaled.T @ (loss / sd)))
    return mean, cov, float(np.square(loss / sd - scaled @ mean).sum())
