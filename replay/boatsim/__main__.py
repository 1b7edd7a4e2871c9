"""`python -m replay.boatsim --out DIR [--no-faults] [--seed N]`: makes the demo's files."""

import argparse
from pathlib import Path

from replay.boatsim.demo import DEFAULT_SEED, make


def main() -> None:
    """Reads the command line and writes the files."""
    parser = argparse.ArgumentParser(prog="replay.boatsim", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder to write into")
    parser.add_argument("--no-faults", action="store_true", help="sound cell and sound lug")
    parser.add_argument("--seed", type=int, default=DEFAULT_SEED, help="another day's noise")
    args = parser.parse_args()
    day = make(args.out, faults=not args.no_faults, seed=args.seed)
    print(f"{day.n} s of an invented outing in {args.out}")


if __name__ == "__main__":
    main()
