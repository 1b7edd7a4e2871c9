"""What is said of a cell or block that stands out: text, cure and caution by cause."""

import math

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80

CAUTION = (
    "A pack of this voltage short-circuits with thousands of amperes: isolate it, insulated "
    "tools, metal jewellery off; leave it to a qualified person if unsure"
)
CHARGING_CAUTION = (
    "Charge under watch, within the maker's voltage and current, never below 0 °C for lithium; "
    "the protection device stays in circuit; if unsure, a qualified person"
)
BALANCE = {
    True: (
        "Charge each block to full by itself with its own charger before they go back in "
        "series; a block that falls behind again within weeks loses charge inside"
    ),
    False: (
        "Hold a long charge at the top so that balancing can work: hours, perhaps several "
        "days, at the maker's full voltage; if the cell falls behind again, it loses charge"
    ),
}


def sureness(sigmas: float) -> float:
    """From standard deviations beyond what a healthy pack would show by chance."""
    return min(0.5 * (1 + math.erf((sigmas - 2.5) / math.sqrt(2))), 0.999)


def resistance_finding(
    name: str, channel: str, ohm: float, sd: float, usual_ohm: float, sigmas: float
) -> Detection:
    """A cell, block or its link that drops more than the others under load."""
    return Detection(
        subject=name,
        kind="cell_resistance",
        text=(
            f"{name.capitalize()} drops {ohm * 1e3:.2f} mΩ more than the others "
            f"({100 * ohm / usual_ohm:.0f} % above their {usual_ohm * 1e3:.2f} mΩ)"
        ),
        sureness_frac=sureness(sigmas),
        size=_size(ohm, sd, "ohm", channel),
        cure=(
            "Check the links and terminals at this cell first: clean, tighten to the maker's "
            "torque; if the drop stays, watch the cell and keep its load down"
        ),
        caution=CAUTION,
    )


def charge_finding(
    name: str, channel: str, share: float, sd: float, sigmas: float, block: bool
) -> Detection:
    """A cell or block that holds less charge at every level alike."""
    return Detection(
        subject=name,
        kind="cell_charge",
        text=f"{name.capitalize()} holds {100 * share:.1f} % less charge than the others",
        sureness_frac=sureness(sigmas),
        size=_size(share, sd, "frac", channel),
        cure=BALANCE[block],
        caution=CHARGING_CAUTION,
    )


def capacity_finding(
    name: str, channel: str, share: float, sd: float, sigmas: float, block: bool
) -> Detection:
    """A cell or block that falls behind as the pack empties and catches up as it fills."""
    return Detection(
        subject=name,
        kind="cell_capacity",
        text=(
            f"{name.capitalize()} has {100 * share:.1f} % less capacity than the others: level "
            "with them when full, behind them when low"
        ),
        sureness_frac=sureness(sigmas),
        size=_size(share, sd, "frac", channel),
        cure=(
            "Balancing does not bring capacity back: watch it, plan with what it holds, replace "
            f"the {'block' if block else 'cell'} when the pack's range becomes too small"
        ),
        caution=CAUTION,
    )


def low_finding(
    name: str, channel: str, share: float, sd: float, sigmas: float, block: bool
) -> Detection:
    """A cell or block behind the others where nothing yet tells charge from capacity."""
    return Detection(
        subject=name,
        kind="cell_low",
        text=(
            f"{name.capitalize()} is {100 * share:.1f} % behind the others here; whether it "
            "holds less charge or less capacity shows once the log has it both near full and low"
        ),
        sureness_frac=sureness(sigmas),
        size=_size(share, sd, "frac", channel),
        cure=BALANCE[block] + "; level again when full but behind when low means less capacity",
        caution=CHARGING_CAUTION,
    )


def _size(mid: float, sd: float, unit: str, channel: str) -> Estimate:
    return Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, unit, used=(channel,))
