"""What packs in service hold of their label, before anything is seen of one of them.

C/label = new · (1 - lost), lost = 1 - exp(-rate · age). New cells hold a little more or less than
their label; then they lose some per cent a year, and nobody says how old a boat's pack is. The
distribution is skewed: most packs are young, a few are old and have lost much.

Every figure below is published; assumed is that boats' packs, which nobody counts, are like those
that somebody counted.

Lithium. Loss: home storage 2 to 3 % of its capacity a year (J. Figgener et al., Nature Energy 2024:
21 systems over up to eight years, both chemistries). Electric cars, by their fleets' telemetry: 2.3
% a year in 2019 (6,300 cars), 1.8 % in 2024 (10,000), 2.3 % in 2025 (22,700); by model and use from
1.0 to 3.0 %. So 2.3 % in the median, and 1.0 to 3.0 % for the middle 80 % of packs: a standard
deviation of 0.43 in the logarithm. New: cells that owners measured before building them in, eight
of 230 Ah at 237 to 239 Ah and eight of 280 Ah at 276 to 284 Ah: 1.035 and 1.003 of the label.
Ages: a market that grows is young. That of electric boats grows by 13 % a year by one count (5.0
to 16.6 thousand million dollars from 2021 to 2030; the rate it states is 12.7 %), by 24 % by
another (4.5 to 20 from 2020 to 2027): logarithms grow by 0.133 and 0.213 a year, 0.17 in the
geometric middle. With a life of ten years (makers' data sheets say ten to fifteen) ages are
exponential, cut off there: 3.6 years in the mean. Home batteries are younger, 2.1 years (Germany's
registrations 2016 to 2024), but theirs was a boom of 60 % a year, and a boat's pack is asked for.
Where the boat file tells the age, that counts.

Lead-acid is no growing market: a worn bank is replaced by its like, so that those in service are at
a uniform share of their lives. A bank counts as worn at 80 % (IEEE 1188, from memory). Lives of 2
to 5 years (flooded) and 4 to 7 (glass mat) stand in buyers' guides: a factor of 1.6 either way,
which as the middle 80 % is a standard deviation of 0.36 in the logarithm. Owners replace by years
rather than by tests, so that the same spread holds for what is lost by then.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Part = tuple[float, float, float]  # weight, mean and standard deviation of ln(C/label)

# Where the sorted packs are cut into parts, each taken for a normal distribution: the long lower
# tail, the middle, the upper half. Assumed.
CUTS = (0.15, 0.5)


@dataclass(frozen=True)
class Service:
    """How packs of one chemistry age; see the module for the sources.

    Args:
        new, new_sd: Capacity of a new pack over its label.
        rate, rate_ln_sd: Median loss in a unit of age, and sd of its logarithm between packs.
        life: The oldest in service: years for lithium, lives for lead-acid.
        growth: Of ln(number put into service), in a unit of age; 0: worn ones are replaced.
        years: In a unit of age.
    """

    new: float
    new_sd: float
    rate: float
    rate_ln_sd: float
    life: float
    growth: float
    years: float = 1.0

    def ages(self, share: Floats) -> Floats:
        """Ages that a share of the packs in service are younger than, (n,).

        Of density exp(-g·t) up to the life T: t = -ln(1 - share · (1 - exp(-g·T))) / g.
        """
        if self.growth == 0.0:
            return share * self.life
        whole = -np.expm1(-self.growth * self.life)
        older = np.log1p(-share * whole)
        return np.asarray(-older / self.growth)

    def draw(
        self, rng: np.random.Generator, n: int, age_years: float | None = None
    ) -> tuple[Floats, Floats]:
        """Capacity when new over the label, and share lost since, (n,) both.

        Args:
            age_years: Of all of them; None: as those in service.
        """
        new = self.new + self.new_sd * rng.standard_normal(n)
        rate = self.rate * np.exp(self.rate_ln_sd * rng.standard_normal(n))
        if age_years is None:
            age = self.ages(rng.uniform(size=n))
        else:
            age = np.full(n, age_years / self.years)
        return new, -np.expm1(-rate * age)


# Published, see above; that new cells scatter by 2.5 and 4 % is common practice, no source.
LITHIUM = Service(
    new=1.02,
    new_sd=0.025,
    rate=0.023,
    rate_ln_sd=0.43,
    life=10.0,
    growth=0.17,
)
LEAD_ACID = Service(
    new=1.00,
    new_sd=0.04,
    rate=0.223,
    rate_ln_sd=0.36,
    life=1.0,
    growth=0.0,
)
# A life in years: geometric middles of the above.
FLOODED = replace(LEAD_ACID, years=3.2)
SEALED = replace(LEAD_ACID, years=5.3)
SERVICE = {
    "lfp": LITHIUM,
    "nmc": LITHIUM,
    "lead_acid": FLOODED,
    "agm": SEALED,
    "gel": SEALED,
}


# The label is a number that somebody typed: in one pack of twenty it is another make's, or cells
# were replaced by others. It is then off by a fifth at most, mostly. Assumed.
WRONG_LABEL, WRONG_LABEL_SD = 0.05, 0.12


def parts_of(ln_q: Floats) -> tuple[Part, ...]:
    """A skewed sample as a few normal distributions side by side, and a wide one for wrong labels.

    By the law of total variance the former have the sample's own mean and variance.

    Args:
        ln_q: Drawn ln(C/label), (n,).
    """
    edges = [0, *(round(cut * len(ln_q)) for cut in CUTS), len(ln_q)]
    groups = np.split(np.sort(ln_q), edges[1:-1])
    share = (1.0 - WRONG_LABEL) / len(ln_q)
    parts = [_part(share * len(group), group) for group in groups]
    return (*parts, (WRONG_LABEL, float(ln_q.mean()), WRONG_LABEL_SD))


def _part(weight: float, group: Floats) -> Part:
    mean = float(group.mean())
    return weight, mean, float(group.std())


def moments(parts: tuple[Part, ...]) -> tuple[float, float]:
    """Mean and standard deviation over all parts."""
    weight, mean, sd = np.array(parts).T
    middle = float(weight @ mean)
    var = weight @ (sd**2 + (mean - middle) ** 2)
    return middle, float(np.sqrt(var))


def drawn_parts(
    service: Service, age_years: float | None = None, n: int = 4000
) -> tuple[Part, ...]:
    """Of ln(C/label) of packs in service, or of those of one age."""
    new, lost = service.draw(np.random.default_rng(1), n, age_years)
    return parts_of(np.log(new * (1.0 - lost)))
