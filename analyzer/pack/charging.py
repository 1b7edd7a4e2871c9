"""Charging: how long until full, and what is wrong with how the pack is charged."""

import math

import numpy as np
import numpy.typing as npt

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.pack.chemistry import LEAD, chemistry
from analyzer.pack.soc import PackPosterior
from analyzer.series.derived import cell_temp_c, held_current_a, mean_cell_v
from analyzer.series.series import Series
from logger.boat import Pack
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

# Charging current below this counts as none, as a share of Ah; above a shunt's offset. Assumed.
LEAST_A_C = 0.005
COLD_S = 60.0  # charged below the limit for longer than this is said; assumed
HIGH_S = 5.0  # the same above the top voltage: longer than a load's switching; assumed
OVER_V = 0.10  # above full before it is said: a meter's and a charger's error together; assumed
# Makers ask for a full charge every two to four weeks: common practice, no source.
NEVER_FULL_DAYS = 14.0
# A charger that holds its voltage below the top for longer than this stops short; assumed.
SHORT_S = 1800.0
HELD_V = 0.003  # per cell: a voltage that moves less than this in that time is held; assumed
TAIL_S = 1200.0  # at the top the current tails off; common practice, no source


def time_to_full(
    state: PackPosterior, pack: Pack, charging_a: float, draws: int = 400, seed: int = 1
) -> Estimate:
    """How long until full with the charging current as it is now.

    Args:
        state: Where the pack stands.
        charging_a: Net current into the pack, positive inwards: solar, shore and regeneration
            together, less what is used. [A]
    Returns:
        [s] with an 80 % range; unknown while nothing flows in.
    """
    ah = pack.rated_capacity_ah
    if not math.isfinite(charging_a) or charging_a < LEAST_A_C * ah:
        return cannot_say("no net current into the pack", "s")
    kind = chemistry(pack.chemistry)
    some = state.draws(draws, np.random.default_rng(seed))
    missing_ah = (1 - some["soc"]) * some["capacity_ah"] / kind.charge_efficiency
    # a strong charger meets the top voltage before the cells are full
    tail = TAIL_S if charging_a > kind.full_tail_c * ah else 0.0
    seconds = missing_ah / charging_a * HOUR_S + tail
    low, mid, high = np.quantile(seconds, [0.1, 0.5, 0.9])
    reason = "with the current as it is now; sun and shore power change"
    return Estimate(float(mid), float(low), float(high), "s", reason=reason)


def findings(
    series: Series, pack: Pack, last_full_days: float | None = None
) -> tuple[Detection, ...]:
    """What is wrong with the charging in a series.

    Args:
        last_full_days: Days since the pack was last full, as far as the log knows.
    """
    found = [
        _cold(series, pack),
        _over_voltage(series, pack),
        _stops_short(series, pack),
        _never_full(pack, last_full_days),
    ]
    return tuple(f for f in found if f is not None)


def _longest_s(mask: npt.NDArray[np.bool_], step_s: float) -> float:
    """Longest run of True, in seconds."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(int)))
    return float((edges[1::2] - edges[::2]).max(initial=0)) * step_s


def _cold(series: Series, pack: Pack) -> Detection | None:
    limit = chemistry(pack.chemistry).no_charge_below_c
    # a temperature that was only assumed must not stop anybody's charging
    measured = any(
        n.endswith("temp_c") and n[:4] in ("pack", "cell", "bloc") for n in series.values
    )
    if limit is None or not measured:
        return None
    amps, _ = held_current_a(series)
    temp = cell_temp_c(series)
    mask = (amps < -LEAST_A_C * pack.rated_capacity_ah) & (temp < limit)
    lasted = _longest_s(mask, series.step_s)
    if lasted < COLD_S:
        return None
    coldest, most = float(temp[mask].min()), float(-amps[mask].min())
    return Detection(
        subject="pack",
        kind="cold_charge",
        text=f"The pack was charged with up to {most:.0f} A at {coldest:.1f} °C",
        sureness_frac=0.95,
        size=Estimate(coldest, coldest - 1, coldest + 1, "degC", used=("pack_temp_c",)),
        cure="Stop charging until the cells are above 0 °C; warm them slowly, or load lightly",
        caution=(
            "Lithium cells charged below 0 °C plate metallic lithium: a lasting loss, and a "
            "risk that grows with current. The maker's limits rule"
        ),
    )


def _over_voltage(series: Series, pack: Pack) -> Detection | None:
    kind = chemistry(pack.chemistry)
    limit = (pack.cell_full_v or kind.full_v) + OVER_V
    volts = mean_cell_v(series, pack)
    amps, _ = held_current_a(series)
    mask = np.nan_to_num(volts) > limit
    # without a charging current it is the meter that is high, not the cells
    if _longest_s(mask, series.step_s) < HIGH_S or not (amps[mask] < 0).any():
        return None
    high = float(np.nanmax(volts))
    # What charges decides the cure: the controller's regeneration, or a charger's setting.
    turning = series.has("shaft_speed_rps") and bool(
        (np.nan_to_num(series.get("shaft_speed_rps"))[mask] != 0).any()
    )
    where = "by the turning propeller" if turning else "by a charger"
    cure = "Reduce regeneration when the pack is nearly full" if turning else "Lower its voltage"
    return Detection(
        subject="pack",
        kind="over_voltage",
        text=f"Charged {where} to {high:.2f} V a cell, above {limit:.2f} V",
        sureness_frac=0.95,
        size=Estimate(high, high - 0.01, high + 0.01, "V", used=("pack_voltage_v",)),
        cure=cure + "; if the protection opens under way, motor and steering aids may stop",
        caution="Above the maker's voltage cells age fast and can be dangerous; act at once",
    )


def _stops_short(series: Series, pack: Pack) -> Detection | None:
    """A charger whose voltage is held below the top while its current has tailed off.

    On a pack that is not full, the current falls only where the voltage is held; at the top that
    is how a charge ends, below it the charge never gets there.
    """
    kind, size = chemistry(pack.chemistry), max(round(SHORT_S / series.step_s), 2)
    if series.n < size:
        return None
    amps, lost = held_current_a(series)
    volts = mean_cell_v(series, pack)
    least = LEAST_A_C * pack.rated_capacity_ah
    tail = kind.full_tail_c * pack.rated_capacity_ah
    # where the current was not measured a charger may have stopped and begun again
    charging = (amps < -least) & ~lost & np.isfinite(volts)
    # from the end backwards: the latest charge is the one that can still be put right
    for last in range(series.n, size - 1, -(size // 4)):
        part = slice(last - size, last)
        if not charging[part].all():
            continue
        level, fell = volts[part], -float(np.diff(_ends(-amps[part]))[0])
        # quantiles, as a single spike is no change of a charger's voltage
        held = float(np.quantile(level, 0.95) - np.quantile(level, 0.05)) < HELD_V
        tailing = float(-amps[part][-(size // 8) :].mean()) < tail and fell > least
        high = float(np.median(level))
        if held and tailing and high < kind.top_v - HELD_V:
            return _short(kind.top_v, high, pack)
    return None


def _ends(values: Floats) -> Floats:
    """Means of the first and the last eighth, shape (2,)."""
    eighth = max(len(values) // 8, 1)
    return np.array([values[:eighth].mean(), values[-eighth:].mean()])


def _short(top_v: float, high_v: float, pack: Pack) -> Detection:
    count = pack.cells_in_series
    return Detection(
        subject="pack",
        kind="charge_stops_short",
        text=(
            f"The charge ends at {high_v:.2f} V a cell ({count * high_v:.1f} V), below the "
            f"{top_v:.2f} V where a cell of this kind is full"
        ),
        sureness_frac=0.9,
        size=Estimate(high_v, high_v - 0.005, high_v + 0.005, "V", used=("pack_voltage_v",)),
        cure=(
            f"Set the charger to the maker's full voltage, at least {count * top_v:.1f} V for this "
            "pack, or look for volts lost between charger and pack"
        ),
        caution=(
            "Within the maker's voltage and current, above 0 °C for lithium, under watch; never "
            "above what the protection device is made for"
        ),
    )


def _never_full(pack: Pack, last_full_days: float | None) -> Detection | None:
    if last_full_days is None or last_full_days < NEVER_FULL_DAYS:
        return None
    days = last_full_days
    return Detection(
        subject="pack",
        kind="never_full",
        text=f"The pack has not been full for {days:.0f} days",
        sureness_frac=0.9,
        size=Estimate(days * 24 * HOUR_S, None, None, "s"),
        cure=(
            "Charge to the top and hold it until the current tails off: cells balance only "
            "there, and only there does the log know the charge again"
            + ("; lead-acid loses capacity without it" if pack.chemistry in LEAD else "")
        ),
        caution="Within the maker's voltage and current, above 0 °C for lithium, under watch",
    )
