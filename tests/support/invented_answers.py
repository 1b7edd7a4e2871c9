"""Invented answers. No figure here is anybody's boat."""

from dataclasses import replace

from analyzer.answers.ahead.passage import Departure, PlanAnswer
from analyzer.answers.health.trends import Course, PackHealth, Past
from analyzer.answers.hull import CurveRow, HindcastAnswer, HullAnswer
from analyzer.answers.trip_chart import TripPlot
from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.results import (
    CableRow,
    CablesAnswer,
    CellRow,
    CellsAnswer,
    ChannelRow,
    CheckAnswer,
    FlagView,
    HomeAnswer,
    LedgerRow,
    LegRow,
    Plot,
    QuestionRow,
    RangeAnswer,
    RangePoint,
    ReviewAnswer,
    SagAccount,
    SagTerm,
    TripRow,
)
from analyzer.hull.fouling import Fouling
from analyzer.range.hindcast import Asked, Hindcast, Score
from analyzer.range.plan import Plan, PlanLeg

KN, NMI = 1852 / 3600, 1852.0  # by definition
START = 1_717_400_000.0  # 3 June 2024, 07:33:20 UTC


def estimate(mid, low, high, unit, **more):
    return Estimate(mid, low, high, unit, **more)


def flag(number=1, level="warning", **more):
    fields = {
        "subject": "cell 5",
        "kind": "cell_resistance",
        "title": "cell 5 sags more than the others under load",
        "evidence": "0.11 V lower than the median at 90 A, 9 times in a row",
        "cause": "a link bolted too loosely, or a tired cell",
        "caution": "cells short-circuit with thousands of amperes: insulated tools, no rings",
        "first_action": "slow down; feel the link at cell 5 for heat when moored",
        "raised_utc_s": START + 4000,
        "seen_utc_s": None,
        "cleared_utc_s": None,
        "channels": ("cell_05_voltage_v",),
    } | more
    return FlagView(number=number, level=level, **fields)


def point(speed_kn, low_nmi, mid_nmi, high_nmi, power_w):
    hours = [d / speed_kn for d in (low_nmi, mid_nmi, high_nmi)]
    return RangePoint(
        speed_water_mps=speed_kn * KN,
        speed_ground_mps=speed_kn * KN,
        power=estimate(power_w, power_w * 0.9, power_w * 1.1, "W"),
        distance=estimate(mid_nmi * NMI, low_nmi * NMI, high_nmi * NMI, "m"),
        duration=estimate(hours[1] * 3600, hours[0] * 3600, hours[2] * 3600, "s"),
    )


CURVE = tuple(
    point(kn, 0.84 * far, far, 1.18 * far, watts)
    for kn, far, watts in [
        (2.0, 24.0, 330), (2.5, 25.1, 420), (3.0, 24.0, 560), (3.5, 21.0, 780),
        (4.0, 17.3, 1120), (4.5, 13.6, 1650), (5.0, 10.2, 2500), (5.5, 7.2, 3900), (6.0, 4.6, 6400),
    ]
)  # fmt: skip

HOME = HomeAnswer(
    name="the basin",
    distance_m=6.2 * NMI,
    sureness_frac=0.9,
    can_return_frac=0.97,
    turn_in=estimate(3.1 * NMI, 2.4 * NMI, 3.9 * NMI, "m"),
    charge_on_arrival=estimate(0.41, 0.36, 0.46, "frac"),
    speed_water_mps=3.0 * KN,
    takes=estimate(7800.0, 7100.0, 8700.0, "s"),
    stream_gain=estimate(-0.1 * KN, -0.3 * KN, 0.2 * KN, "m/s"),
    before_dark_frac=0.93,
    present_speed_water_mps=4.5 * KN,
    present_can_return_frac=0.91,
    present_charge_on_arrival=estimate(0.34, 0.28, 0.40, "frac"),
    present_turn_in=estimate(1.9 * NMI, 0.6 * NMI, 3.0 * NMI, "m"),
    present_takes=estimate(5100.0, 4700.0, 5600.0, "s"),
    present_before_dark_frac=1.0,
)

RANGE = RangeAnswer(
    boat="Invented boat",
    asked_utc_s=START + 7200,
    data_age_s=12.0,
    motoring=True,
    speed_water_mps=4.5 * KN,
    speed_ground_mps=3.9 * KN,
    power_w=1720.0,
    charge=estimate(0.64, 0.61, 0.67, "frac"),
    distance=estimate(13.0 * NMI, 11.0 * NMI, 15.0 * NMI, "m"),
    duration=estimate(10400.0, 8800.0, 12000.0, "s"),
    limit="reserve",
    limit_shares={"reserve": 0.9, "weakest cell's cut-off": 0.1},
    curve=CURVE,
    best_speed_mps=2.5 * KN,
    stream_mps=estimate(0.6 * KN, 0.4 * KN, 0.8 * KN, "m/s"),
    stream_toward_deg=estimate(75.0, 60.0, 90.0, "deg"),
    next_action="slow to 3.5 kn: 21 nmi instead of 13",
    home=HOME,
    reserve_frac=0.2,
    flags=(flag(), flag(2, "notice", title="solar panel gives less than usual", subject="solar")),
    cautions=("a range is no promise: keep a sail ready and an anchor clear to let go",),
)

UNKNOWN_RANGE = RangeAnswer(
    boat="Invented boat",
    asked_utc_s=START,
    data_age_s=7200.0,
    motoring=False,
    speed_water_mps=None,
    speed_ground_mps=None,
    power_w=None,
    charge=cannot_say("no pack voltage arrives", "frac"),
    distance=cannot_say("no pack voltage and no current arrive", "m", ("a shunt",)),
    duration=cannot_say("no pack voltage and no current arrive", "s"),
    limit="",
    limit_shares={},
    curve=(),
    best_speed_mps=None,
    stream_mps=cannot_say("the boat lies still", "m/s"),
    stream_toward_deg=cannot_say("the boat lies still", "deg"),
    next_action="",
    home=None,
    reserve_frac=0.2,
    flags=(),
    cautions=(),
)

TRIP = TripRow(
    number=2,
    start_utc_s=START,
    end_utc_s=START + 3 * 3600,
    distance_m=11.4 * NMI,
    energy_out_wh=5100.0,
    energy_in_wh=320.0,
    motoring_wh_per_m=540 / NMI,
    charge_start=estimate(0.95, 0.93, 0.97, "frac"),
    charge_end=estimate(0.55, 0.52, 0.58, "frac"),
    legs=(
        LegRow("motoring", START, START + 3600, 4.4 * NMI, 2300.0, 4.4 * KN),
        LegRow("sailing", START + 3600, START + 7200, 4.9 * NMI, -60.0, 4.9 * KN),
        LegRow("motoring", START + 7200, START + 10800, 2.1 * NMI, 2540.0, 2.1 * KN),
    ),
)

REVIEW = ReviewAnswer(
    trip=TRIP,
    ledger=(
        LedgerRow("motor", estimate(4700.0, 4650.0, 4750.0, "Wh")),
        LedgerRow("everything else on board", estimate(400.0, 350.0, 450.0, "Wh")),
        LedgerRow("sun", estimate(-260.0, -280.0, -240.0, "Wh")),
        LedgerRow("propeller under sail", estimate(-60.0, -66.0, -54.0, "Wh")),
    ),
    sag=(
        SagAccount(
            text="the worst moment",
            utc_s=START + 9000,
            current_a=92.0,
            rest_v=52.9,
            loaded_v=50.1,
            terms=(
                SagTerm("charge used", estimate(0.4, 0.3, 0.5, "V")),
                SagTerm("ohmic", estimate(1.5, 1.4, 1.6, "V")),
                SagTerm("polarisation", estimate(0.6, 0.5, 0.7, "V")),
                SagTerm("unexplained", estimate(0.3, 0.1, 0.5, "V")),
            ),
            sentence="over half of the 2.8 V was the cells' own resistance",
        ),
    ),
    flags=(flag(),),
    remarks=("the motor took 6 % more for the same speed than on trip 1",),
)

FINDING = Detection(
    subject="cell 5",
    kind="cell_resistance",
    text="cell 5 has 0.9 mΩ more than the others",
    sureness_frac=0.93,
    size=estimate(0.9e-3, 0.7e-3, 1.1e-3, "ohm"),
    cure="clean and tighten the links at cell 5, then look again",
    caution="isolate the pack first; insulated tools",
)

CELLS = CellsAnswer(
    rows=tuple(
        CellRow(
            f"cell {k}",
            estimate(0.001 * k, 0.0, 0.002 * k, "V"),
            estimate(0.8e-3, 0.7e-3, 0.9e-3, "ohm"),
            3.101,
            3.402,
        )
        for k in range(1, 5)
    ),
    spread=estimate(0.045, 0.03, 0.06, "V"),
    findings=(FINDING,),
    remarks=("no cell temperature is measured",),
)

CABLES = CablesAnswer(
    rows=(
        CableRow(
            name="battery_positive",
            ampacity=estimate(210.0, 210.0, 210.0, "A"),
            highest_current_a=118.0,
            expected_rise=estimate(9.0, 7.0, 11.0, "K"),
            found_rise=estimate(24.0, 22.0, 26.0, "K"),
            excess_resistance=estimate(0.0006, 0.0004, 0.0008, "ohm"),
            settles_at=estimate(61.0, 57.0, 65.0, "degC"),
            crosses_limit_in=cannot_say("it settles below its limit", "s"),
            limit_c=90.0,
        ),
    ),
    findings=(),
    remarks=(),
)

CHECK = CheckAnswer(
    boat="Invented boat",
    devices=("can0",),
    channels=(ChannelRow("pack_voltage_v", "pack voltage", "V", 1.0, 0.4, 52.31),),
    missing_channels=("pack_current_a",),
    findings=(),
    questions=(QuestionRow("How far", False, "wants the pack's current"),),
)


HULL = HullAnswer(
    boat="Invented boat",
    curve=tuple(
        CurveRow(
            kn * KN,
            estimate(watts, watts * 0.9, watts * 1.1, "W"),
            estimate(watts, watts * 0.7, watts * 1.4, "W"),
            kn > 3,
        )
        for kn, watts in [(3.0, 560.0), (4.0, 1120.0), (5.0, 2500.0)]
    ),
    minutes=78.0,
    reason="from 78 minutes of steady motoring and the hull's numbers",
    fouling=Fouling(
        rows=(),
        trend=cannot_say("one trip shows no trend", "frac"),
        now=cannot_say("one trip shows no trend", "frac"),
        sentence="one trip shows no trend yet",
    ),
    calibration=None,
)


def plan_leg(name, miles, charge):
    return PlanLeg(
        name=name,
        distance_m=miles * NMI,
        course_deg=42.0,
        speed_water_mps=4.0 * KN,
        speed_ground_mps=estimate(3.8 * KN, 3.5 * KN, 4.1 * KN, "m/s"),
        energy=estimate(900.0, 800.0, 1000.0, "Wh"),
        charge=estimate(charge, charge - 0.04, charge + 0.04, "frac"),
        arrival_utc_s=estimate(START + 9000, START + 8000, START + 10_000, "s"),
        holds_frac=0.98,
    )


PLAN = PlanAnswer(
    boat="Invented boat",
    plan=Plan(
        name="out to the mark",
        departure_utc_s=START,
        distance_m=6.0 * NMI,
        legs=(plan_leg("the mark", 2.0, 0.58), plan_leg("the cove", 4.0, 0.44)),
        arrives_frac=0.97,
        in_time_frac=None,
        energy=estimate(1800.0, 1600.0, 2000.0, "Wh"),
        charge=estimate(0.44, 0.40, 0.48, "frac"),
        arrival_utc_s=estimate(START + 9000, START + 8000, START + 10_000, "s"),
        reason="from 78 minutes of steady motoring",
    ),
    reserve_frac=0.2,
    sureness_frac=0.9,
    enough=True,
    stream_from="the stream as the log shows it goes on",
    wind_from="no wind",
    sun_from="no sun",
    cautions=("a plan is no promise",),
)


def departure(hour: int, sure: float):
    at_s = START + 3600.0 * hour
    return Departure(
        departure_utc_s=at_s,
        arrives_frac=sure,
        in_time_frac=None,
        energy=estimate(1800.0, 1600.0, 2000.0, "Wh"),
        charge=estimate(0.44, 0.40, 0.48, "frac"),
        arrival_utc_s=estimate(at_s + 9000, at_s + 8000, at_s + 10_000, "s"),
        speeds_water_mps=(2.3, 2.3),
    )


LEAVING = replace(
    PLAN, departures=tuple(departure(k, s) for k, s in enumerate((0.97, 0.6, 0.2, 0.0, 0.5)))
)


def plot():
    t_utc_s = [START + k for k in range(0, 10800, 60)]
    volts = [52.0 - 0.01 * k for k in range(len(t_utc_s))]
    volts[7] = None
    return Plot(
        t_utc_s,
        {
            "pack_voltage_v": volts,
            "pack_current_a": [40.0 + k % 30 for k in range(len(t_utc_s))],
            "speed_water_mps": [2.0 + 0.01 * (k % 20) for k in range(len(t_utc_s))],
            "cell_01_voltage_v": [3.30 for _ in t_utc_s],
            "cell_02_voltage_v": [3.30 for _ in t_utc_s],
            "cell_03_voltage_v": [3.24 for _ in t_utc_s],
            "probe_lug_temp_c": [20.0 + 0.1 * k for k in range(len(t_utc_s))],
            "latitude_deg": [46.0 + k / 6000 for k in range(len(t_utc_s))],
            "longitude_deg": [-24.0 for _ in t_utc_s],
        },
    )


def course(text, unit, values):
    rows = [
        Past(START + k * 30 * 86400, estimate(v, 0.8 * v, 1.2 * v, unit))
        for k, v in enumerate(values)
    ]
    return Course(text, tuple(rows))


HINDCAST = HindcastAnswer(
    trip=2,
    start_utc_s=START,
    hindcast=Hindcast(
        rows=(
            Asked(START + 300, (9e3, 1e4, 1.1e4), 0.9, (1800.0, 2000.0, 2200.0), 2100.0, 900.0),
            Asked(START + 600, (8e3, 9e3, 1e4), 0.88, None, None, 0.0),
        ),
        score=Score(1, 1.0, 0.05, 0.2, "one answer could be held against what happened"),
    ),
)

PACK = PackHealth(
    capacity=estimate(204.0, 196.0, 212.0, "Ah"),
    rated_ah=210.0,
    resistance=estimate(1.2, 1.1, 1.3, "frac"),
    capacity_course=course("capacity, Ah", "Ah", (209, 207, 204)),
    resistance_course=course("resistance, % of a new pack's", "frac", (1.05, 1.1, 1.2)),
    remarks=("resistance rises by about 60 % a year (sure to 95 %)",),
)


def trip_plot():
    """The plot with what is worked out beside its channels, by hand."""
    bare = plot()
    many = len(bare.t_utc_s)
    volts, amps = bare.series["pack_voltage_v"], bare.series["pack_current_a"]
    worked_out = {
        "power_w": [None if v is None else v * a for v, a in zip(volts, amps, strict=True)],
        "cells_low_v": [-0.04] * many,
        "cells_high_v": [0.02] * many,
        "cells_lowest_v": [-0.04] * many,
        "rest_v": [None if v is None else 53.0 for v in volts],
        "sag_charge_used_v": [None if v is None else 0.6 for v in volts],
        "sag_ohmic_25_v": [None if v is None else 53.0 - v - 0.6 for v in volts],
        "sag_cold_v": [None if v is None else 0.0 for v in volts],
        "settles_positive_c": [48.0] * many,
    }
    probes = {"probe_lug_temp_c": "settles_positive_c"}
    return TripPlot(Plot(bare.t_utc_s, bare.series | worked_out), "cell_03_voltage_v", probes)
