"""Where a range goes wrong: the ampere-hours above the reserve, or what a mile costs.

Said over true, as logarithms that add up: distance = (charge - reserve) x capacity / (Ah a mile).
The last is what is left of the distance's error once charge and capacity are put right: hull,
stream, wind, sun, load, rate effect and voltage.
"""

import math
from statistics import median

LEAST_AH_FRAC = 0.02  # of the capacity, above the reserve; below that a ratio says nothing


def parts(answer: dict) -> dict[str, float] | None:
    """Logarithms of said over true: far, charge, capacity, mile; None where one is missing."""
    if answer.get("far") is None or answer.get("soc") is None or not answer.get("capacity_ah"):
        return None
    said = answer["soc"][1] - answer["reserve"]
    true = answer["true_soc"] - answer["reserve"]
    if said < LEAST_AH_FRAC or true < LEAST_AH_FRAC or answer["far"][1] <= 0:
        return None
    far = math.log(answer["far"][1] / max(answer["true_far"], 1.0))
    charge, capacity = math.log(said / true), math.log(answer["capacity_ah"] / answer["true_ah"])
    return {"far": far, "charge": charge, "capacity": capacity, "mile": far - charge - capacity}


def _missed(answer: dict) -> bool:
    return not answer["far"][0] <= answer["true_far"] <= answer["far"][2]


def table(answers: list[dict]) -> str:
    """Median of each part in percent, its typical size, and which part is greatest in misses."""
    names = ("charge", "capacity", "mile")
    lines = [
        "kind              answers | far | charge capacity mile, median (size) in % |"
        " greatest part in misses"
    ]
    kinds = list(dict.fromkeys(a["kind"] for a in answers))
    for kind in [*kinds, "all"]:
        some = [a for a in answers if kind in (a["kind"], "all")]
        found = [(a, p) for a in some if (p := parts(a)) is not None]
        if not found:
            continue
        far = 100 * math.expm1(median(p["far"] for _, p in found))
        middle = [100 * math.expm1(median(p[n] for _, p in found)) for n in names]
        size = [100 * math.expm1(median(abs(p[n]) for _, p in found)) for n in names]
        worst = [max(names, key=lambda n, p=p: abs(p[n])) for a, p in found if _missed(a)]
        told = ", ".join(f"{n} {worst.count(n)}" for n in names if n in worst)
        cells = "  ".join(f"{m:+4.0f} ({s:.0f})" for m, s in zip(middle, size, strict=True))
        lines.append(f"{kind:17} {len(found):7d} | {far:+4.0f} | {cells} | {told}")
    return "\n".join(lines)
