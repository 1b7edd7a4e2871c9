"""What would help most: each thing that can be done, asked of this boat's own log and sorted."""

from collections.abc import Callable, Iterator

from analyzer.answers.gain import loads, measures
from analyzer.answers.gain.rows import GainAnswer, GainRow, UnsaidGain
from analyzer.answers.gain.usual import Usual, usual
from analyzer.range.reach import middle
from analyzer.series.log import OpenLog

ASKED: tuple[Callable[[Usual], Iterator[GainRow | UnsaidGain]], ...] = (
    measures.slower,
    measures.clean_bottom,
    measures.joints,
    measures.weak_cell,
    measures.warm_pack,
    measures.larger_cable,
    measures.packs,
    measures.propeller,
    loads.panel,
    loads.night_load,
    loads.charge_known,
)
CAUTIONS = (
    "Each gain stands by itself: two together buy less, or more, than their sum.",
    "What it costs, and whether it is safe to do, is yours to weigh: work on a pack, its cables "
    "and its fuses belongs in qualified hands.",
    "Gains are worked out from what the log has shown so far; none of them was measured.",
)


def gain(log: OpenLog) -> GainAnswer:
    """What would help most, the largest gain in distance first."""
    asked = usual(log)
    found = [one for ask in ASKED for one in ask(asked)]
    rows = [one for one in found if isinstance(one, GainRow)]
    unsaid = tuple(one for one in found if isinstance(one, UnsaidGain))
    rows.sort(key=lambda row: -(row.distance.mid if row.distance.mid is not None else 0.0))
    return GainAnswer(
        boat=log.boat.name,
        speed_water_mps=asked.speed_mps,
        speed_from=asked.speed_from,
        distance=asked.result.distance(len(asked.given.speeds_mps) - 1),
        idle=middle(asked.idle_s, "s"),
        rows=tuple(rows),
        unsaid=unsaid,
        cautions=CAUTIONS,
    )
