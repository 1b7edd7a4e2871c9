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
LEAST_STEP = 0.02  # of the speed: less is no haul-out; assumed as `fouling.WORTH_FRAC`
SURE_LOG = float(np.log(49))  # odds of 49 to 1, before it is told: 98 %; assumed
PARTS = (0.0, 0.25, 0.5, 0.75)  # of the trips that are left out from the front; assumed
COVER = 0.8  # of the places where the break may be, that its dates hold; by definition


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


@dataclass(frozen=True)
class _Losses:
    """Speed losses of trips from number `first` on, (n,) each."""

    first: int
    t_s: Floats
    loss: Floats
    sd: Floats

    @property
    def n(self) -> int:
        """Number of trips."""
        return len(self.t_s)

    @property
    def after_s(self) -> Floats:
        """Time since the first of them, (n,)."""
        return np.asarray(self.t_s - self.t_s[0])

    def later(self, skipped: int) -> "_Losses":
        """Without some of the first."""
        return _Losses(
            self.first + skipped,
            self.t_s[skipped:],
            self.loss[skipped:],
            self.sd[skipped:],
        )

    def line(self, *more: Floats) -> "_Fit":
        """Weighted least squares of a level, a slope, and further columns."""
        level = np.ones(self.n)
        table = np.column_stack([level, self.after_s, *more])
        scaled = table / self.sd[:, None]
        seen = self.loss / self.sd
        cov = np.linalg.inv(scaled.T @ scaled)
        mean = cov @ (scaled.T @ seen)
        chi = np.square(seen - scaled @ mean).sum()
        return _Fit(np.asarray(mean), np.asarray(cov), float(chi))


@dataclass(frozen=True)
class _Fit:
    """Mean, covariance, and sum of squares over the variances."""

    mean: Floats
    cov: Floats
    chi: float


def line_since_clean(t_s: Floats, loss: Floats, sd: Floats) -> Line:
    """The line since the newest cleaning that is sure enough; over all trips where none is.

    Args:
        t_s, loss, sd: Of each trip, oldest first, (n,).
    """
    every = _Losses(0, t_s, loss, sd)
    plain = every.line()
    level, slope = plain.mean.tolist()
    found = Line(0, level, slope, plain.cov)
    better = _newest(every)
    while better is not None:
        found = better
        better = _newest(every.later(found.first))
    return found


def _newest(trips: _Losses) -> Line | None:
    """A break in all trips or in the newest of them: of several cleanings one break alone explains
    little.
    """
    for share in PARTS:
        skipped = round(share * trips.n)
        found = _broken(trips.later(skipped))
        if found is not None:
            return found
    return None


def _broken(trips: _Losses) -> Line | None:
    """The line after the likeliest break; None where no break is sure."""
    places = np.arange(LEAST_TRIPS, trips.n - LEAST_TRIPS + 1)
    if not len(places):
        return None
    numbers = np.arange(trips.n)
    fits = [trips.line((numbers >= place).astype(np.float64)) for place in places]
    # a bottom that is slower at once was not cleaned there
    chi = np.array([fit.chi if fit.mean[2] > 0 else np.inf for fit in fits])
    best = int(np.argmin(chi))
    fit = fits[best]
    noise = max(fit.chi / max(trips.n - 4, 1), 1.0)
    if not np.isfinite(chi[best]) or not _sure(trips, fit, noise):
        return None
    place = int(places[best])
    clean, slope, cov = _after(fit, noise, float(trips.after_s[place]))
    low, high = _places(places, chi / noise)
    return Line(
        first=trips.first + place,
        clean=clean,
        slope=slope,
        cov=cov,
        breaks=(trips.first + low, trips.first + high),
        step=float(fit.mean[2]),
        step_sd=float(np.sqrt(noise * fit.cov[2, 2])),
    )


def _sure(trips: _Losses, fit: _Fit, noise: float) -> bool:
    """Whether a break is large enough, and likely enough against none."""
    gained = (trips.line().chi - fit.chi) / noise / 2
    # Schwarz's half of ln n for each of two numbers, and as many looks as there are parts.
    odds_log = gained - np.log(trips.n) - np.log(len(PARTS))
    return bool(fit.mean[2] >= LEAST_STEP and odds_log >= SURE_LOG)


def _after(fit: _Fit, noise: float, to_break_s: float) -> tuple[float, float, Floats]:
    """Loss at the break, slope, and their covariance."""
    level = [1.0, to_break_s, 1.0]
    slope = [0.0, 1.0, 0.0]
    pick = np.array([level, slope])
    mean = pick @ fit.mean
    cov = noise * (pick @ fit.cov @ pick.T)
    return float(mean[0]), float(mean[1]), np.asarray(cov)


def _places(places: npt.NDArray[np.int64], chi: Floats) -> tuple[int, int]:
    """Between which trips the break lies, by the likelihood of each place."""
    weight = np.exp(-0.5 * (chi - chi.min()))
    order = np.argsort(-weight)
    share = np.cumsum(weight[order]) / weight.sum()
    count = int(np.searchsorted(share, COVER)) + 1
    held = places[order[:count]]
    return int(held.min()), int(held.max())
