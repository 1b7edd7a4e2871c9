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

# In the order in which they are taken up, with their equilibrium amplitude over that of M2.
EQUILIBRIUM = {"M2": 1.0, "K1": 0.584, "O1": 0.415, "S2": 0.465, "N2": 0.194}
STEADY = 0.5  # of a stream's size, as `stream.PLACES` has it where tides make streams
EDDIES_MPS = (0.05, 0.1, 0.2, 0.4)  # what is no tide; assumed
NUGGET_MPS = 0.03  # of one row; keeps matrices regular, assumed
FEWEST_TRIPS = 8  # before a tide is judged: M2, a mean and as many again to hold out; assumed
SURE_Z = 1.645  # better on days held out with a probability of 95 %, one-sided normal
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
        return SeenStreams(self.t_s[rows], self.trip[rows], self.mps[rows], self.sd_mps[rows])

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
        variance = np.einsum("np,pq,nq->n", columns, self.cov, columns) + self.eddy_mps**2
        return columns @ self.mean, np.sqrt(variance)

    def draws(self, from_s: float, n: int, rng: np.random.Generator) -> "LearnedStream":
        """Equally likely streams for the days from a time on."""
        values, vectors = np.linalg.eigh(self.cov)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        normal = rng.standard_normal((n, *self.mean.shape))
        parts = self.mean + np.einsum("pq,nqc->npc", root, normal)
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
            both += np.interp(t_s, self.t_s, column)[:, None] * self.parts[:, k]
        return both[:, 0], both[:, 1]


def told_apart(span_s: float) -> tuple[str, ...]:
    """The constituents that so long a span tells apart."""
    names: list[str] = []
    for name in EQUILIBRIUM:
        speeds = [tide.degrees_per_hour(one) for one in names]
        apart = [abs(tide.degrees_per_hour(name) - speed) for speed in speeds]
        if all(one * span_s / HOUR_S >= 360.0 for one in apart):
            names.append(name)
    return tuple(names)


def design(names: tuple[str, ...], t_s: Floats) -> Floats:
    """Steady part, and cosine and sine of each constituent, at times, (n, p)."""
    orbit = tide.Orbit.at(t_s)
    columns = [np.ones(len(t_s))]
    for name in names:
        factor, angle = tide.argument(name, orbit)
        columns += [factor * np.cos(angle), factor * np.sin(angle)]
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
            root = np.linalg.cholesky(_noise(seen.of(mine), eddy_mps))
            rows = np.linalg.solve(root, columns[mine])
            target = np.linalg.solve(root, seen.mps[mine])
            size = 2 * np.log(np.diag(root)).sum()
            found.append((rows.T @ rows, rows.T @ target, np.square(target).sum(), size))
        return cls(eddy_mps, *(np.array(part) for part in zip(*found, strict=True)))


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
    relative = [STEADY, *np.repeat([EQUILIBRIUM[name] for name in names], 2)]
    sds = size_mps * np.array(relative)
    precision = np.diag(1 / np.square(sds)) + told.precision[trips].sum(axis=0)
    pull = told.pull[trips].sum(axis=0)
    cov = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    mean = cov @ pull
    cost = told.cost[trips].sum() - (pull * mean).sum()
    log_det = 2 * np.log(sds).sum() + np.linalg.slogdet(precision)[1] + told.log_det[trips].sum()
    # of both components: twice each determinant's half, textbook
    evidence = float(-0.5 * cost - log_det)
    return LearnedTide(names, mean, cov, told.eddy_mps, int(trips.sum())), evidence


def _noise(one: SeenStreams, eddy_mps: float) -> Floats:
    """Covariance of a trip's rows: eddies, and a calibration that all of them share."""
    apart_s = np.abs(one.t_s[:, None] - one.t_s)
    shared = float(np.mean(np.square(one.sd_mps)))
    eddies = eddy_mps**2 * np.exp(-apart_s / EDDY_S)
    return np.asarray(eddies + shared + NUGGET_MPS**2 * np.eye(len(one.t_s)))


def learned(seen: SeenStreams) -> LearnedTide | str:
    """The tide, where it foretells trips held out better than the last stream and the mean do;
    else one clause why not."""
    count = len(seen.trips)
    if count < FEWEST_TRIPS:
        trips = "trip" if count == 1 else "trips"
        return f"{count} {trips} with a known stream near here are too few to learn its tide from"
    names = told_apart(float(seen.t_s[-1] - seen.t_s[0]))
    told = [_Told.by(seen, names, eddy) for eddy in EDDIES_MPS]
    errors = np.array([_held_out(seen, told, names, k) for k in range(1, count)])
    for rival in (1, 2):
        gain = errors[:, rival] - errors[:, 0]
        if gain.mean() <= SURE_Z * gain.std(ddof=1) / np.sqrt(len(gain)):
            what = "the stream seen last does" if rival == 1 else "their mean does"
            return f"of {count} trips near here the tide foretells no day better than {what}"
    return _likeliest(told, names, np.ones(count, bool))


def _held_out(
    seen: SeenStreams, told: list[_Told], names: tuple[str, ...], k: int
) -> tuple[float, float, float]:
    """Mean square error on the k-th trip: of the tide by the others, of the last stream seen
    before, of the others' mean. [m2/s2]"""
    trips = seen.trips
    mine = seen.trip == trips[k]
    tide_then = _likeliest(told, names, trips != trips[k])
    last = seen.mps[seen.trip == trips[k - 1]][-1]
    means = [seen.mps[seen.trip == trip].mean(axis=0) for trip in trips if trip != trips[k]]
    foretold = (tide_then.at(seen.t_s[mine])[0], last, np.mean(means, axis=0))
    errors = (float(np.square(one - seen.mps[mine]).sum(axis=1).mean()) for one in foretold)
    tide_error, last_error, mean_error = errors
    return tide_error, last_error, mean_error
