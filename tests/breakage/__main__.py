"""Breaks recordings on purpose and lists what does not hold.

python -m tests.breakage --count 5000 --seed 1 --jobs 2
python -m tests.breakage --count 200 --kind dead --kind frozen
python -m tests.breakage --case 1234 --keep broken/
python -m tests.breakage --case 17 --latest 1800
python -m tests.breakage --twins before.json --count 30
python -m tests.breakage --twins-compare before.json after.json
"""

import argparse
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from math import inf
from pathlib import Path

from tests.breakage import cases, drawing, twins
from tests.breakage.breaks import APPLY
from tests.breakage.tally import Tally


def examined(seed: int, kinds: Sequence[str], latest_s: float) -> tuple[int, cases.Result]:
    """One case, for a pool of processes."""
    case = drawing.draw(seed, kinds, latest_s)
    try:
        return seed, cases.examine(case)
    except Exception as error:  # of the harness: one case less, and said
        return seed, cases.Result(case, [cases.Miss("harness", f"{error!r}")])


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one case, or many; or their unbroken twins."""
    parser = argparse.ArgumentParser(prog="python -m tests.breakage", description=__doc__)
    parser.add_argument("--count", type=int, default=100, help="cases (100)")
    parser.add_argument("--seed", type=int, default=1, help="number of the first case (1)")
    parser.add_argument("--kind", action="append", choices=["sound", *APPLY], default=[])
    parser.add_argument("--latest", type=float, default=inf, metavar="S", help="asked no later")
    parser.add_argument("--jobs", type=int, default=1, help="processes (1)")
    parser.add_argument("--case", type=int, metavar="SEED", help="one case, in full")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="leave that case's log there")
    parser.add_argument("--twins", type=Path, metavar="FILE", help="ask unbroken twins, keep that")
    parser.add_argument("--twins-compare", type=Path, nargs=2, metavar=("OLD", "NEW"))
    options = parser.parse_args(arguments)
    for path in options.twins_compare or ():
        if not path.exists():
            parser.error(f"there is no {path}: make it with --twins {path}")
    if options.twins_compare:
        return twins.compare(*options.twins_compare)
    if options.twins:
        seeds = range(options.seed, options.seed + options.count)
        twins.take(options.twins, seeds, options.kind)
        return 0
    if options.case is not None:
        return one(drawing.draw(options.case, options.kind, options.latest), options.keep)
    ask = partial(examined, kinds=options.kind, latest_s=options.latest)
    return many(range(options.seed, options.seed + options.count), ask, options.jobs)


def name(case: cases.Case) -> str:
    """A case in a few words."""
    return f"{' and '.join(case.causes)} [{case.kit}]"


def one(case: cases.Case, keep: Path | None) -> int:
    """Everything about one case."""
    if keep is not None:
        keep.mkdir(parents=True)
    said, truth = cases.run(case, keep)
    print(case)
    for question, answer in said.answers.items():
        print(f"\n=== {question} (status {answer.status})\n{answer.text}{answer.error}")
        print(answer.broke)
    misses, stated = cases.judge(said, truth, case.breaks)
    print(f"\n=== true: charge {truth.soc_frac:.1%}, {truth.speed_mps:.2f} m/s, "
          f"{truth.power_w:.0f} W, {truth.leg[0].doing} for {truth.leg[1]} s")  # fmt: skip
    for s in stated:
        print(f"{'held' if s.held else 'MISSED':<8}{s}{f' [{s.excuse}]' if s.excuse else ''}")
    for miss in misses:
        print(f"{miss.invariant}: {miss.text}")
    return bool(misses)


def many(seeds: Iterable[int], ask: Callable[[int], tuple[int, cases.Result]], jobs: int) -> int:
    """Every miss as it is found, then the summary."""
    tally = Tally()
    with ProcessPoolExecutor(jobs) as pool:
        for seed, result in pool.map(ask, seeds):
            tally.add(seed, result)
            for miss in result.misses:
                print(f"{seed}: {name(result.case)}: {miss.invariant}: {miss.text}", flush=True)
    print("\n" + tally.report())
    return bool(tally.misses)


if __name__ == "__main__":
    sys.exit(main())
