"""The tide of a place from the streams that a boat has seen there, and whether it foretells any.

Constituents are those that the span of days can tell apart (Rayleigh: a whole turn between each
two). Each has a ridge prior in proportion to the equilibrium tide; how strong streams are there,
and how large what is no tide, is what makes the days seen most likely. Rows of one trip share their
calibration's error, and eddies with a memory of hours, so that a trip counts as few readings.

Source: linear Gaussian estimation (textbook); separation after Lord Rayleigh, as in P. Schureman,
Special Publication 98, 1958; equilibrium amplitudes (Doodson's coefficients), Schureman, table 2.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from analyzer.environment import tide
from analyzer.environment.stream import EDDY_S, SIZES
from logger.units import DAY_S, HOUR_S

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# In the order in which they are taken up, with their equilibrium amplitude over that of M2. Source:
# Schureman, table 2, from memory.
EQUILIBRIUM = {"M2": 1.0, "K1": 0.584, "O1": 0.415, "S2": 0.465, "N2": 0.194}
STEADY = 0.5  # of a stream's size where tides make streams; common practice, as in `stream.PLACES`
EDDIES_MPS = (0.05, 0.1, 0.2, 0.4)  # what is no tide; assumed
NUGGET_MPS = 0.03  # of one row; keeps matrices regular, assumed
FEWEST_TRIPS = 8  # before a tide is judged: M2, a mean and as many again to hold out; assumed
SURE_Z = 1.645  # better on days held out at 95 %, one-sided normal, by definition
RIVALS = ("the stream seen last", "their mean")
AHEAD_S, STEP_S = 10 * DAY_S, 300.0  # of which a tide is worked out, and how finely; assumed


@dataclass(frozen=True)
class SeenStreams:
    """Streams near a place, in time order.

    trip: number of each row's trip, (n,). mps: east and north, (n, 2). sd_mps: (n,).
    """

    t_s: Floats
    trip: Ints
    mps: Floats
    sd_mps: Floats

    def of(self, rows: npt.NDArray[np.bool_]) -> "SeenStreams":
        """Some of the rows."""
        parts = (part[rows] for part in vars(self).values())
        return SeenStreams(*parts)

    @property
    def trips(self) -> Ints:
        """The trips' numbers."""
        return np.unique(self.trip)


@dataclass(frozen=True)
class LearnedTide:
    """A place's tide with its uncertainty, which is alike for east and north.

    names: constituents. mean: steady part, then cosine and sine of each, (p, 2). cov: (p, p).
    eddy_mps: what is no tide. trips: so many it rests on.
    """

    names: tuple[str, ...]
    mean: Floats
    cov: Floats
    eddy_mps: float
    trips: int

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """Mean (n, 2) and standard deviation (n,) of the stream at times. [UTC s]"""
        columns = design(self.names, t_s)
        spread = columns @ self.cov
        variance = (spread * columns).sum(axis=1)
        variance += self.eddy_mps**2
        return columns @ self.mean, np.sqrt(variance)

    def draws(self, from_s: float, n: int, rng: np.random.Generator) -> "LearnedStream":
        """Equally likely streams for the days from a time on."""
        root = np.linalg.cholesky(self.cov)
        normal = rng.standard_normal((n, *self.mean.shape))
        parts = self.mean + root @ normal
        t_s = from_s + np.arange(-HOUR_S, AHEAD_S, STEP_S)
        off = self.eddy_mps * rng.standard_normal((n, 2))
        return LearnedStream(t_s, design(self.names, t_s), parts, off)


@dataclass(frozen=True)
class LearnedStream:
    """Draws of a learned tide.

    t_s: (g,). columns: `design` at those times, (g, p). parts: (n, p, 2). off: eddies, (n, 2).
    """

    t_s: Floats
    columns: Floats
    parts: Floats
    off: Floats

    def take(self, which: Ints) -> "LearnedStream":
        """The draws picked by index."""
        return LearnedStream(self.t_s, self.columns, self.parts[which], self.off[which])

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at each draw's own time, (n,). [m/s]"""
        both = self.off.copy()
        for k, column in enumerate(self.columns.T):
            factor = np.interp(t_s, self.t_s, column)
            both += factor[:, None] * self.parts[:, k]
        return both[:, 0], both[:, 1]


def told_apart(span_s: float) -> tuple[str, ...]:
    """The constituents that so long a span tells apart."""
    names: list[str] = []
    least_deg = 360.0 * HOUR_S / span_s
    for name in EQUILIBRIUM:
        own = tide.degrees_per_hour(name)
        others = [tide.degrees_per_hour(one) for one in names]
        if all(abs(own - other) >= least_deg for other in others):
            names.append(name)
    return tuple(names)


def design(names: tuple[str, ...], t_s: Floats) -> Floats:
    """Steady part, and cosine and sine of each constituent, at times, (n, p)."""
    orbit = tide.Orbit.at(t_s)
    columns = [np.ones(len(t_s))]
    for name in names:
        factor, angle = tide.argument(name, orbit)
        columns.append(factor * np.cos(angle))
        columns.append(factor * np.sin(angle))
    return np.stack(columns, axis=1)


@dataclass(frozen=True)
class _Told:
    """What each trip tells at one size of eddies: normal equations and what makes it likely.

    precision: (m, p, p). pull: (m, p, 2). cost, log_det: (m,).
    """

    eddy_mps: float
    precision: Floats
    pull: Floats
    cost: Floats
    log_det: Floats

    @classmethod
    def by(cls, seen: SeenStreams, names: tuple[str, ...], eddy_mps: float) -> "_Told":
        """By the trips' own rows, with noise that a trip's rows share."""
        columns = design(names, seen.t_s)
        found = []
        for trip in seen.trips:
            mine = seen.trip == trip
            noise = _noise(seen.of(mine), eddy_mps)
            root = np.linalg.cholesky(noise)
            rows = np.linalg.solve(root, columns[mine])
            target = np.linalg.solve(root, seen.mps[mine])
            cost = np.square(target).sum()
            log_det = 2 * np.log(np.diag(root)).sum()
            found.append((rows.T @ rows, rows.T @ target, cost, log_det))
        parts = zip(*found, strict=True)
        return cls(eddy_mps, *map(np.array, parts))


def fit(seen: SeenStreams, names: tuple[str, ...]) -> LearnedTide:
    """The likeliest size of streams and of eddies, and the tide by them."""
    told = [_Told.by(seen, names, eddy) for eddy in EDDIES_MPS]
    return _likeliest(told, names, np.ones(len(seen.trips), bool))


def _likeliest(
    told: list[_Told], names: tuple[str, ...], trips: npt.NDArray[np.bool_]
) -> LearnedTide:
    """The same by some of the trips."""
    tries = [_fit(one, names, size, trips) for size, one in product(SIZES, told)]
    return max(tries, key=lambda one: one[1])[0]


def _fit(
    told: _Told, names: tuple[str, ...], size_mps: float, trips: npt.NDArray[np.bool_]
) -> tuple[LearnedTide, float]:
    """The tide at one size of streams and of eddies; and its log evidence."""
    relative = [EQUILIBRIUM[name] for name in names]
    sds = size_mps * np.array([STEADY, *np.repeat(relative, 2)])
    prior = np.diag(1 / np.square(sds))
    precision = prior + told.precision[trips].sum(axis=0)
    pull = told.pull[trips].sum(axis=0)
    cov: Floats = np.linalg.inv(precision).astype(np.float64)
    mean = cov @ pull
    explained = (pull * mean).sum()
    cost = told.cost[trips].sum() - explained
    # of both components: twice each determinant's half, textbook
    log_det = told.log_det[trips].sum()
    log_det += 2 * np.log(sds).sum()
    log_det += np.linalg.slogdet(precision)[1]
    evidence = float(-0.5 * cost - log_det)
    found = LearnedTide(names, mean, cov, told.eddy_mps, int(trips.sum()))
    return found, evidence


def _noise(one: SeenStreams, eddy_mps: float) -> Floats:
    """Covariance of a trip's rows: eddies, and a calibration that all of them share."""
    apart_s = np.abs(one.t_s[:, None] - one.t_s)
    shared = float(np.mean(np.square(one.sd_mps)))
    eddies = eddy_mps**2 * np.exp(-apart_s / EDDY_S)
    nugget = NUGGET_MPS**2 * np.eye(len(one.t_s))
    return np.asarray(eddies + shared + nugget)


def learned(seen: SeenStreams) -> LearnedTide | str:
    """The tide, where it foretells trips held out better than the last stream and the mean do;
    else one clause why not."""
    count = len(seen.trips)
    if count < FEWEST_TRIPS:
        trips = "trip" if count == 1 else "trips"
        return f"{count} {trips} with a known stream near here are too few to learn its tide from"
    span_s = float(np.ptp(seen.t_s))
    names = told_apart(span_s)
    told = [_Told.by(seen, names, eddy) for eddy in EDDIES_MPS]
    left_out = range(1, count)
    errors = np.array([_held_out(seen, told, names, k) for k in left_out])
    for rival, what in enumerate(RIVALS, start=1):
        gain = errors[:, rival] - errors[:, 0]
        error = gain.std(ddof=1) / np.sqrt(len(gain))
        if gain.mean() <= SURE_Z * error:
            return f"of {count} trips near here the tide foretells no day better than {what} does"
    return _likeliest(told, names, np.ones(count, bool))


def _held_out(
    seen: SeenStreams, told: list[_Told], names: tuple[str, ...], k: int
) -> tuple[float, float, float]:
    """Mean square error on the k-th trip: of the tide by the others, of the last stream seen
    before, of the others' mean. [m2/s2]"""
    days = [seen.of(seen.trip == trip) for trip in seen.trips]
    day = days.pop(k)
    others = np.arange(len(seen.trips)) != k
    foretold, _ = _likeliest(told, names, others).at(day.t_s)
    last = days[k - 1].mps[-1]
    means = [one.mps.mean(axis=0) for one in days]
    mean = np.mean(means, axis=0)
    return _error(day, foretold), _error(day, last), _error(day, mean)


def _error(day: SeenStreams, foretold: Floats) -> float:
    """Mean square of what was foretold less what came. [m2/s2]"""
    apart = np.square(foretold - day.mps)
    return float(apart.sum(axis=1).mean())
