"""A fleet's results as plain text for the command line."""

from collections.abc import Iterator
from statistics import median

from analyzer.faces import format
from analyzer.faces.cli.text.layout import table, wrapped
from analyzer.fleet.compare import FEWEST, Likeness, wh_per_tonne_nmi
from analyzer.fleet.look import FROUDE
from analyzer.fleet.run import Fleet
from logger.units import FT, LONG_TON

MOST = 12  # lines of a list, assumed
SURE = 0.9  # of ageing before it is told; assumed


def fleet(found: Fleet, like: Likeness, where: str) -> str:
    """What was found, what to look at first, what was skipped, where the rows are."""
    parts = [
        _head(found),
        "\n".join(_curves(like)),
        "\n".join(_ageing(found)),
        "\n".join(_first(like)),
        "\n".join(_skipped(found.tally.skipped)),
        f"All rows are in {where}.",
    ]
    return "\n\n".join(part for part in parts if part)


def _head(found: Fleet) -> str:
    tally = found.tally
    text = (
        f"{format.count(tally.total, 'log')}: {tally.looked} looked at, {tally.known} known from "
        f"before, {len(tally.skipped)} skipped."
    )
    if tally.looked:
        text += (
            f" A log took {tally.seconds / tally.looked:.1f} s of a processor and "
            f"{tally.log_bytes / tally.looked / 1e6:.1f} MB; a worker at most "
            f"{tally.peak_bytes / 1e6:.0f} MB of memory."
        )
    return wrapped(text)


def _curves(like: Likeness) -> Iterator[str]:
    """Consumption per tonne, classes of displacement-length below each other."""
    classes = like.curves()
    if not classes:
        return
    yield wrapped(
        "Wh a mile and tonne at equal displacement-length (D/L, long tons over (feet/100)³): "
        "median, and lowest to highest where three boats or more were measured at the speed"
    )
    heads = ("D/L", "Boats", *(f"Froude {f:.2f}" for f in FROUDE[:4]))
    rows = [
        (
            f"{_ratio(low):.0f} to {_ratio(high):.0f}",
            f"{max(len(c) for c in costs.values())}",
            *(_spread(costs.get(f, [])) for f in FROUDE[:4]),
        )
        for low, high, costs in classes
    ]
    yield table(heads, rows, right=range(len(heads)))


def _spread(costs: list[float]) -> str:
    if len(costs) < FEWEST:
        return "-"
    low, mid, high = (wh_per_tonne_nmi(c) for c in (costs[0], median(costs), costs[-1]))
    return f"{mid:.0f} ({low:.0f} to {high:.0f})"


def _ratio(density_kg_m3: float) -> float:
    """The displacement-length ratio as sailors give it."""
    return density_kg_m3 / LONG_TON * (100 * FT) ** 3


def _ageing(found: Fleet) -> Iterator[str]:
    """Boats whose capacity surely falls or whose resistance surely rises."""
    lines = []
    for log, _, record in found.records():
        for name, way in (("capacity", "falls"), ("resistance", "rises")):
            trend = record["ageing"][name]
            year = trend["per_year"]["mid"]
            if year is not None and trend["sureness_frac"] > SURE:
                much = f"{100 * abs(year):.1f} % a year"
                text = f"{record['boat']['name']}: {name} {way} by {much} ({log})"
                lines.append((-abs(year), text))
    if lines:
        yield "Ageing that shows:"
        yield from _few([text for _, text in sorted(lines)])


def _first(like: Likeness) -> Iterator[str]:
    concerns = like.concerns()
    if not concerns:
        yield "No cell or joint stands out."
        return
    yield "Cells and joints to look at first:"
    lines = []
    for c in concerns:
        level = f"{c.level}, " if c.level else ""
        lines.append(f"{c.boat}: {c.text} ({level}sure to {100 * c.sureness_frac:.0f} %; {c.log})")
    yield from _few(lines)


def _skipped(skipped: dict[str, str]) -> Iterator[str]:
    if skipped:
        yield "Skipped:"
        yield from _few([f"{log}: {reason}" for log, reason in sorted(skipped.items())])


def _few(lines: list[str]) -> Iterator[str]:
    for line in lines[:MOST]:
        yield wrapped(line, "  ")
    if len(lines) > MOST:
        yield f"  ... and {len(lines) - MOST} more"
