"""What is said of a cell or block that stands out: text, remedy and caution by cause."""

from collections.abc import Callable
from dataclasses import dataclass

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate

CAUTION = (
    "A pack of this voltage short-circuits with thousands of amperes: isolate it, insulated "
    "tools, metal jewellery off; leave it to a qualified person if unsure"
)
CHARGING_CAUTION = (
    "Charge under watch, within the maker's voltage and current, never below 0 °C for lithium; "
    "the protection device stays in circuit; if unsure, a qualified person"
)
BALANCE = {
    "block": (
        "Charge each block to full by itself with its own charger before they go back in "
        "series; a block that falls behind again within weeks loses charge inside"
    ),
    "cell": (
        "Hold a long charge at the top so that balancing can work: hours, perhaps several "
        "days, at the maker's full voltage; if the cell falls behind again, it loses charge"
    ),
}


NARROW_FRAC = 0.02  # of an 80 % range: told by its middle to a tenth of a point; assumed


@dataclass(frozen=True)
class Standout:
    """A cell or block that differs from the others.

    Args:
        name: "cell 7" or "block 2".
        kind: "cell_resistance", "cell_charge", "cell_capacity", or "cell_behind" where nothing
            tells charge from capacity.
        size: By how much, with its 80 % range. [ohm] or [frac]
        sureness_frac: Probability of what is told.
        usual_ohm: Resistance of the others. [ohm]
    """

    name: str
    kind: str
    size: Estimate
    sureness_frac: float
    usual_ohm: float = float("nan")

    @property
    def unit(self) -> str:
        """What is measured apart: "cell" or "block"."""
        return self.name.split()[0]


def detection(found: Standout) -> Detection:
    """As people read it."""
    text, cure = _TEXTS[found.kind]
    charging = found.kind in ("cell_charge", "cell_behind")
    return Detection(
        subject=found.name,
        kind=found.kind,
        text=f"{found.name.capitalize()} {text(found)}",
        sureness_frac=found.sureness_frac,
        size=found.size,
        cure=cure(found),
        caution=CHARGING_CAUTION if charging else CAUTION,
    )


def _percent(found: Standout) -> str:
    """The size, with its range where that is wider than the figure's own digits would say."""
    mid = f"{100 * (found.size.mid or 0.0):.1f} %"
    low, high = found.size.low, found.size.high
    if low is None or high is None or high - low < NARROW_FRAC:
        return mid
    return f"{mid} ({100 * low:.0f} to {100 * high:.0f} %)"


def _drop(found: Standout) -> str:
    ohm, usual = found.size.mid or 0.0, found.usual_ohm
    return (
        f"drops {ohm * 1e3:.2f} mΩ more than the others "
        f"({100 * ohm / usual:.0f} % above their {usual * 1e3:.2f} mΩ)"
    )


Words = Callable[[Standout], str]

_TEXTS: dict[str, tuple[Words, Words]] = {
    "cell_resistance": (
        _drop,
        lambda _: (
            "Check the links and terminals at this cell first: clean, tighten to the maker's "
            "torque; if the drop stays, watch the cell and keep its load down"
        ),
    ),
    "cell_charge": (
        lambda found: f"holds {_percent(found)} less charge than the others",
        lambda found: BALANCE[found.unit],
    ),
    "cell_capacity": (
        lambda found: (
            f"has {_percent(found)} less capacity than the others: level "
            "with them when full, behind them when low"
        ),
        lambda found: (
            "Balancing does not bring capacity back: watch it, plan with what it holds, replace "
            f"the {found.unit} when the pack's range becomes too small"
        ),
    ),
    "cell_behind": (
        lambda found: (
            f"is {_percent(found)} behind the others here; whether it "
            "holds less charge or less capacity shows once the log has it both near full and low"
        ),
        lambda found: (
            BALANCE[found.unit] + "; level again when full but behind when low means less capacity"
        ),
    ),
}
