"""An invented season."""

from analyzer.answers.health.trends import Past
from analyzer.answers.season.rows import (
    DayReason,
    DayRow,
    EnergyRow,
    FoulingCost,
    MonthRow,
    PackSeason,
    RangeHeld,
    SeasonAnswer,
    SpeedRow,
)
from analyzer.estimation.estimate import Estimate, cannot_say

NMI, KN = 1852.0, 1852 / 3600  # by definition
MAY, MONTH_S = 1_777_593_600.0, 2_629_800.0  # 1 May 2026, a twelfth of a Julian year


def band(mid, low, high, unit):
    return Estimate(mid, low, high, unit)


def per_mile(mid, low, high):
    return band(mid / NMI, low / NMI, high / NMI, "Wh/m")


def month(number, per):
    return MonthRow(
        month=f"2026-0{5 + number}",
        start_utc_s=MAY + number * MONTH_S,
        trips=4,
        distance_m=60 * NMI,
        motor_s=8 * 3600.0,
        sail_s=5 * 3600.0,
        motor_wh=11_000.0,
        consumption=per_mile(310, 305, 315),
        at_usual=per_mile(per, per - 20, per + 20),
    )


SEASON = SeasonAnswer(
    boat="Invented boat",
    start_utc_s=MAY,
    end_utc_s=MAY + 3 * MONTH_S,
    trips=12,
    distance=band(180 * NMI, 178 * NMI, 182 * NMI, "m"),
    motor_s=24 * 3600.0,
    sail_s=15 * 3600.0,
    energy=(
        EnergyRow("sun", band(9e3, 8.8e3, 9.2e3, "Wh"), band(2e3, 1.9e3, 2.1e3, "Wh"), 12),
        EnergyRow("shore", cannot_say("not measured", "Wh"), cannot_say("not measured", "Wh"), 0),
        EnergyRow("regeneration", band(400, 380, 420, "Wh"), band(0, 0, 0, "Wh"), 12),
        EnergyRow("motor", band(33e3, 32.5e3, 33.5e3, "Wh"), band(0, 0, 0, "Wh"), 12),
        EnergyRow("hotel", band(2e3, 1.2e3, 3e3, "Wh"), band(1e3, 600, 1.5e3, "Wh"), 12),
        EnergyRow("cables", band(300, 250, 350, "Wh"), band(0, 0, 0, "Wh"), 12),
        EnergyRow("left_over", band(100, -200, 400, "Wh"), band(0, -20, 20, "Wh"), 12),
        EnergyRow("pack", band(26e3, 25.6e3, 26.4e3, "Wh"), band(-900, -950, -850, "Wh"), 12),
    ),
    usual_mps=4.5 * KN,
    usual_reason="the middle of 900 minutes of steady motoring in the season",
    speeds=(
        SpeedRow(4.0 * KN, 300.0, per_mile(260, 250, 270)),
        SpeedRow(4.5 * KN, 600.0, per_mile(330, 320, 345)),
    ),
    months=tuple(month(k, per) for k, per in enumerate((310, 330, 350))),
    fouling=FoulingCost(
        since_utc_s=MAY,
        cleaned_utc_s=None,
        given_back=cannot_say("the trips show no cleaning", "frac"),
        speed=band(-0.05, -0.07, -0.03, "frac"),
        power=band(0.16, 0.09, 0.23, "frac"),
        energy=band(2200.0, 1300.0, 3100.0, "Wh"),
        sentence="the boat is 5 % slower at the same power than on its first trips",
        rows=tuple(
            Past(MAY + k * MONTH_S, band(-0.02 * k, -0.02 * k - 0.02, 0.02 - 0.02 * k, "frac"))
            for k in range(4)
        ),
    ),
    pack=PackSeason(
        capacity=(),
        resistance=tuple(
            Past(MAY + k * MONTH_S, band(1.1 + 0.01 * k, 1.0, 1.2, "frac")) for k in range(3)
        ),
        capacity_year=cannot_say("fewer than four trips have shown it", "frac"),
        resistance_year=band(0.12, 0.04, 0.2, "frac"),
        remarks=("The capacity has not shown yet.",),
    ),
    best=(
        DayRow(
            (3,),
            MAY + MONTH_S,
            9 * NMI,
            240 / NMI,
            -0.22,
            (DayReason("stream", "the stream helped", band(-0.1, -0.14, -0.06, "frac"), "stream"),),
        ),
    ),
    worst=(
        DayRow(
            (9, 10),
            MAY + 2 * MONTH_S,
            8 * NMI,
            410 / NMI,
            0.32,
            (
                DayReason("speed", "faster through the water than usual, 5.2 kn",
                          band(0.21, 0.17, 0.25, "frac"), "the power curve"),
                DayReason("flag", "warning: cell 7 has a raised resistance", None, "the watch"),
            ),
        ),
    ),
    days_reason="",
    range_held=RangeHeld(
        trips=12, looked_at=5, compared=40, held_frac=0.8, error_frac=0.06, charge_compared=30,
        charge_held_frac=0.83, charge_error_frac=0.02,
        sentence="40 answers could be held against the log: the range held the truth in 80 %",
    ),
    remarks=("On 2 of 12 trips the distance was not measured.",),
)  # fmt: skip
