"""The score on invented boats of all kinds: `python -m tests.field.score --boats N --seed S`.

Each boat: two earlier outings with their charging, then an outing asked at three moments through
the command line. Prints coverage of the 80 % range of "how far", misses below and above, median
error, interval score over the oracle's (median) and over plain counting's (mean), how often it is
better than counting, CRPS of all three, charge and capacity, kind by kind; keeps every answer
(answers.jsonl) in --out and draws calibration.png. See `score_ask` for truth and oracle,
`score_log` for plain counting, `score_marks` for the marks.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

from tests.boats.kinds import KINDS
from tests.field.score_ask import boat_answers
from tests.field.score_causes import table as causes
from tests.field.score_marks import table


def count(kinds: list[str], boats: int, seed: int, out: Path | None) -> list[dict]:
    """Answers of `boats` boats of each kind, numbered from 1000 * seed on, kinds in turn."""
    answers: list[dict] = []
    for number in range(1000 * seed, 1000 * seed + boats):
        for kind in kinds:
            with tempfile.TemporaryDirectory(prefix="keelwatt-score-") as folder:
                rows = boat_answers(kind, number, Path(folder))
            answers += rows
            if out is not None:
                with (out / "answers.jsonl").open("a", encoding="utf-8") as file:
                    file.writelines(json.dumps(row) + "\n" for row in rows)
            said = " ".join(_short(row) for row in rows)
            print(f"{kind} {number}: {said}", file=sys.stderr, flush=True)
    return answers


def _short(row: dict) -> str:
    if row["far"] is None:
        return f"[{row['true_far'] / 1852:.1f} nmi: silent]"
    low, mid, high = (x / 1852 for x in row["far"])
    return f"[{row['true_far'] / 1852:.1f} nmi: {low:.1f} {mid:.1f} {high:.1f}]"


def kept(folder: Path) -> list[dict]:
    """Answers kept by earlier runs into that folder."""
    path = folder / "answers.jsonl"
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    return [json.loads(line) for line in lines]


def main(arguments: list[str] | None = None) -> None:
    """Runs the count and prints the table."""
    parser = argparse.ArgumentParser(prog="tests.field.score", description=__doc__)
    parser.add_argument("--boats", type=int, default=1, help="of each kind (0: only the table)")
    parser.add_argument("--seed", type=int, default=1, help="other boats")
    parser.add_argument("--kinds", nargs="+", choices=list(KINDS), default=list(KINDS))
    parser.add_argument("--out", type=Path, help="folder for answers and picture; adds to it")
    options = parser.parse_args(arguments)
    if options.out is not None:
        options.out.mkdir(parents=True, exist_ok=True)
    answers = count(options.kinds, options.boats, options.seed, options.out)
    if options.out is not None:
        from tests.field.score_picture import draw

        answers = kept(options.out)
        draw(answers, options.out / "calibration.png")
    print(table(answers))
    print("\nwhere it goes wrong")
    print(causes(answers))


if __name__ == "__main__":
    main()
