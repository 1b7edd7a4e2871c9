"""The calibration of ranges and chances, as a picture."""

from pathlib import Path

import matplotlib as mpl
import numpy as np

mpl.use("agg")
import matplotlib.pyplot as plt

LEAST = 9  # answers of a kind to draw a line of it


def draw(answers: list[dict], path: Path) -> None:
    """Left: share of truths below each stated quantile, by kind. Right: errors against ranges."""
    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 5), layout="constrained")
    levels = (0.1, 0.5, 0.9)
    left.plot([0, 1], [0, 1], color="0.7", lw=1)
    kinds = list(dict.fromkeys(a["kind"] for a in answers))
    for kind in [*kinds, "all"]:
        some = [a for a in answers if a["far"] is not None and kind in (a["kind"], "all")]
        if len(some) >= LEAST or (some and kind == "all"):
            below = [np.mean([a["true_far"] < a["far"][k] for a in some]) for k in range(3)]
            style = {"color": "k", "lw": 2.5} if kind == "all" else {"lw": 1, "alpha": 0.7}
            left.plot(levels, below, marker="o", ms=3, label=f"{kind} ({len(some)})", **style)
    left.set(xlabel="stated quantile of distance", ylabel="share of truths below it",
             xlim=(0, 1), ylim=(0, 1), title="How far: calibration")  # fmt: skip
    left.legend(fontsize=6, ncol=2)
    _errors(right, [a for a in answers if a["far"] is not None])
    figure.savefig(path, dpi=110)
    plt.close(figure)


def _errors(axes, answers: list[dict]) -> None:
    order = sorted(answers, key=lambda a: a["far"][1] / max(a["true_far"], 1.0))
    for k, a in enumerate(order):
        low, mid, high = (max(x, 1.0) / max(a["true_far"], 1.0) for x in a["far"])
        colour = "tab:blue" if low <= 1 <= high else "tab:red"
        axes.plot([k, k], [low, high], color=colour, lw=1.2)
        axes.plot([k], [mid], ".", color=colour, ms=3)
    axes.axhline(1, color="0.3", lw=1)
    axes.set(yscale="log", ylim=(0.2, 5), xlabel="answers, by error",
             ylabel="stated over true", title="Ranges; red: truth outside")  # fmt: skip
