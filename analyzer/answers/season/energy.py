"""A season's watt-hours by source and use: the trips' ledgers added up."""

from collections.abc import Iterator, Sequence

from analyzer.answers.season.rows import EnergyKind, EnergyRow
from analyzer.answers.season.stretch import Season
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.learned.season_history import Energies, between_trips

# The ledger's rows, and which way they count: +1 where it is told as it stands there.
KINDS: dict[str, tuple[EnergyKind, int]] = {
    "from the sun": ("sun", -1),
    "from shore": ("shore", -1),
    "back from the motor (regeneration)": ("regeneration", -1),
    "to the motor": ("motor", 1),
    "to the hotel load": ("hotel", 1),
    "lost in cables and contactor": ("cables", 1),
    "not accounted for": ("left_over", 1),
    "given by the pack, net": ("pack", 1),
}


def energy_rows(season: Season) -> tuple[EnergyRow, ...]:
    """By source, then by use."""
    told = [one for one in season.outings if not one.row.energy_reason]
    trips = [one.energies for one in told if one.energies is not None]
    ashore = list(_ashore(season))
    rows = []
    for text, (kind, way) in KINDS.items():
        under_way, count = _sum(trips, text, way)
        alongside, _ = _sum(ashore, text, way)
        rows.append(EnergyRow(kind, under_way, alongside, count))
    return tuple(rows)


def _ashore(season: Season) -> Iterator[Energies]:
    """What is kept of the time between the season's trips."""
    for one in between_trips(season.log):
        if season.start_us <= one.from_us <= season.end_us:
            yield one


def _sum(stretches: Sequence[Energies], text: str, way: int) -> tuple[Estimate, int]:
    """Of what was said, and in how many stretches; an instrument's error is one for all."""
    found = [one.rows[text] for one in stretches if text in one.rows]
    known = [one for one in found if one.known]
    if not known:
        why = found[-1].reason if found else "not measured"
        return cannot_say(why if stretches else "nothing was recorded", "Wh"), 0
    mid = sum(one.mid or 0.0 for one in known)
    low = sum(one.low or 0.0 for one in known)
    high = sum(one.high or 0.0 for one in known)
    if way < 0:  # told the other way round
        mid = -mid
        low, high = -high, -low
    reasons = dict.fromkeys(one.reason for one in known if one.reason)
    return Estimate(mid, low, high, "Wh", reason="; ".join(reasons)), len(known)
