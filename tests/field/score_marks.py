"""Marks for ranges: coverage, interval score, CRPS; and the table of them, kind by kind.

A mark of one answer is over the true distance, so that every answer counts alike.
"""

from collections.abc import Callable, Iterable, Sequence
from statistics import median

import numpy as np

ALPHA = 0.2  # of an 80 % range
LEVELS = (0.1, 0.5, 0.9)
WEIGHTS = (0.3, 0.4, 0.3)  # each quantile stands for the levels nearest to it
Answer = dict
Three = Sequence[float]


def winkler(truth: float, low: float, high: float) -> float:
    """Interval score of an 80 % range: width plus 2 / 0.2 of what the truth lies outside.

    Source: T. Gneiting, A. Raftery, J. Am. Stat. Assoc. 102 (2007) 359, equation 43.
    """
    return high - low + 2 / ALPHA * (max(low - truth, 0.0) + max(truth - high, 0.0))


def crps(truth: float, three: Three) -> float:
    """Continuous ranked probability score from the quantiles at 10, 50 and 90 %.

    Twice the pinball loss, integrated over the level by the three that there are.
    Source: T. Gneiting, R. Ranjan, J. Bus. Econ. Stat. 29 (2011) 411, equation 17.
    """
    losses = (
        (truth - q) * level if truth >= q else (q - truth) * (1 - level)
        for q, level in zip(three, LEVELS, strict=True)
    )
    return 2 * sum(w * loss for w, loss in zip(WEIGHTS, losses, strict=True))


def held(answer: Answer, what: str = "far") -> bool:
    """Whether the range holds the truth."""
    low, _, high = answer[what]
    return low <= answer["true_" + what] <= high


def scored(answer: Answer, who: str, mark: Callable[[Answer, str], float]) -> float | None:
    """A mark over the true distance; None without an answer."""
    if answer.get(who) is None:
        return None
    return mark(answer, who) / max(answer["true_far"], 1.0)


def interval(answer: Answer, who: str) -> float:
    """Interval score of one answer. [m]"""
    return winkler(answer["true_far"], answer[who][0], answer[who][2])


def ranked(answer: Answer, who: str) -> float:
    """CRPS of one answer. [m]"""
    return crps(answer["true_far"], answer[who])


def _pairs(answers: Iterable[Answer], other: str, mark=interval) -> list[tuple[float, float]]:
    return [
        (a, b)
        for x in answers
        if (a := scored(x, "far", mark)) is not None and (b := scored(x, other, mark)) is not None
    ]


def summary(answers: list[Answer]) -> dict[str, float]:
    """All figures of one kind, or of all; NaN where nothing says anything."""
    far = [a for a in answers if a.get("far") is not None]
    off = [a["far"][1] / max(a["true_far"], 1.0) - 1 for a in far]
    oracle, counting = _pairs(far, "oracle"), _pairs(far, "counting")
    soc = [a for a in answers if a.get("soc") is not None]
    soc_off = [a["soc"][1] - a["true_soc"] for a in soc]
    ah = [a["capacity_ah"] / a["true_ah"] - 1 for a in answers if a.get("capacity_ah")]
    return {
        "boats": len({(a["kind"], a["number"]) for a in answers}),
        "asked": len(answers),
        "silent": len(answers) - len(far),
        "held": _share([held(a) for a in far]),
        "below": _share([a["true_far"] < a["far"][0] for a in far]),
        "above": _share([a["true_far"] > a["far"][2] for a in far]),
        "off": median(map(abs, off)) if off else np.nan,
        "bias": median(off) if off else np.nan,
        "over_oracle": median(a / b for a, b in oracle) if oracle else np.nan,
        "over_counting": _ratio(counting),
        "better": _share([a < b for a, b in counting]),
        "crps": float(np.mean([scored(a, "far", ranked) for a in far])) if far else np.nan,
        "crps_oracle": _mean_of(far, "oracle"),
        "crps_counting": _mean_of(far, "counting"),
        "soc_held": _share([held(a, "soc") for a in soc]),
        "soc_rmse": float(np.sqrt(np.mean(np.square(soc_off)))) if soc else np.nan,
        "soc_bias": float(np.mean(soc_off)) if soc else np.nan,
        "capacity": median(map(abs, ah)) if ah else np.nan,
        "capacity_bias": median(ah) if ah else np.nan,
    }


def _mean_of(answers: list[Answer], who: str) -> float:
    marks = [m for a in answers if (m := scored(a, who, ranked)) is not None]
    return float(np.mean(marks)) if marks else np.nan


def _share(found: list[bool]) -> float:
    return float(np.mean(found)) if found else np.nan


def _ratio(pairs: list[tuple[float, float]]) -> float:
    return (
        float(np.mean([a for a, _ in pairs]) / np.mean([b for _, b in pairs])) if pairs else np.nan
    )


HEAD = (
    "kind              boats asked silent | held below above | |off|   bias | W/orac W/count bett |"
    "  crps  orac count | soc: held  rmse   bias | Ah: |off|   bias"
)


def row(name: str, s: dict[str, float]) -> str:
    """One line of the table; shares and errors in percent."""
    p = {k: 100 * v for k, v in s.items()}
    return (
        f"{name:17} {s['boats']:5.0f} {s['asked']:5.0f} {s['silent']:6.0f} | {p['held']:4.0f} "
        f"{p['below']:5.0f} {p['above']:5.0f} | {p['off']:5.1f} {p['bias']:+6.1f} | "
        f"{s['over_oracle']:6.1f} {s['over_counting']:7.2f} {p['better']:4.0f} | "
        f"{p['crps']:5.1f} {p['crps_oracle']:5.1f} {p['crps_counting']:5.1f} | "
        f"     {p['soc_held']:4.0f} {p['soc_rmse']:5.1f} {p['soc_bias']:+6.1f} | "
        f"    {p['capacity']:5.1f} {p['capacity_bias']:+6.1f}"
    )


def table(answers: list[Answer]) -> str:
    """Kind by kind, all together, and by what else may matter."""
    kinds = list(dict.fromkeys(a["kind"] for a in answers))
    lines = [HEAD, *(row(k, summary([a for a in answers if a["kind"] == k])) for k in kinds)]
    lines.append(row("all", summary(answers)))
    lines.append("by what else:")
    for name, chosen in (
        ("true/label >= 97", lambda a: a["label_frac"] >= 0.97),
        ("92 to 97", lambda a: 0.92 <= a["label_frac"] < 0.97),
        ("85 to 92", lambda a: 0.85 <= a["label_frac"] < 0.92),
        ("below 85", lambda a: a["label_frac"] < 0.85),
        ("just changed", lambda a: a["changed"]),
        ("steady", lambda a: not a["changed"]),
        ("charge above 65 %", lambda a: a["true_soc"] > 0.65),
        ("45 to 65 %", lambda a: 0.45 < a["true_soc"] <= 0.65),
        ("below 45 %", lambda a: a["true_soc"] <= 0.45),
    ):
        some = [a for a in answers if chosen(a)]
        if some:
            lines.append(row(name, summary(some)))
    return "\n".join([*lines, *_chances(answers)])


def _chances(answers: list[Answer]) -> list[str]:
    """How often what was said to be sure came true."""
    lines = []
    for what in ("home", "now_home", "plan"):
        said = [(a[what], a[what + "_came"]) for a in answers if a.get(what) is not None]
        if not said:
            continue
        p, came = np.array(said, dtype=float).T
        parts = ", ".join(
            f"{100 * low:.0f}-{100 * high:.0f} %: {int(came[m].sum())} of {int(m.sum())}"
            for low, high in ((0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.001))
            if (m := (p >= low) & (p < high)).any()
        )
        lines.append(f"{what:9} Brier {np.mean((p - came) ** 2):.3f}; said: came true  {parts}")
    return lines
