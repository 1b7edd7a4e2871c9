"""Plans, the hull and hindcasts as plain text for the command line."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.faces import format
from analyzer.faces.cli.text.layout import as_of, cautions, has_room, table, wrapped
from logger.units import NMI

if TYPE_CHECKING:
    from analyzer.answers.ahead.passage import PlanAnswer, PlanLeg
    from analyzer.answers.hull import (
        Asked,
        Calibration,
        CurveRow,
        DoubleRun,
        HindcastAnswer,
        HullAnswer,
        TripLoss,
    )

BAR = 30  # characters, assumed


def plan(answer: "PlanAnswer") -> str:
    """Will this passage work."""
    made = answer.plan
    sure = format.sureness(made.arrives_frac)
    reserve = format.percent(answer.reserve_frac)
    verdict = "the passage works" if answer.enough else "the passage is not sure enough"
    verdict = format.capital(f"{answer.condition}, {verdict}" if answer.condition else verdict)
    lines = [
        wrapped(
            f"{verdict}: {sure} sure of arriving above the reserve of {reserve} "
            f"({format.percent(answer.sureness_frac)} is wanted)."
        ),
        wrapped(
            f"{format.capital(made.name)}, {format.miles(made.distance_m)}, leaving "
            f"{format.day(made.departure_utc_s)} {format.zone_name(made.departure_utc_s)}; "
            f"arriving {format.moments(made.arrival_utc_s)} with {format.band(made.charge)} charge."
        ),
    ]
    if made.in_time_frac is not None:
        sure = format.sureness(made.in_time_frac)
        lines.append(wrapped(f"Above the reserve and in time: {sure} sure."))
    lines += _departures(answer)
    heads = ("To", "Miles", "Course", "Water", "Ground", "Energy", "Charge", "Holds")
    lines += [
        "",
        table(heads, [_plan_leg(leg) for leg in made.legs], right=range(1, len(heads))),
        "",
        wrapped(f"{made.reason}.", "  Power: "),
        wrapped(f"{answer.stream_from}.", "  Stream: "),
        wrapped(f"{answer.wind_from}.", "  Wind: "),
        wrapped(f"{answer.sun_from}.", "  Sun: "),
        "",
        cautions(answer.cautions),
    ]
    return "\n".join(lines)


def _departures(answer: "PlanAnswer") -> list[str]:
    """How sure each hour is, as bars; the one that is left at is marked."""
    if not answer.departures:
        return []
    what = "above the reserve" + ("" if answer.plan.in_time_frac is None else " and in time")
    rows = []
    for row in answer.departures:
        left_at = row.departure_utc_s == answer.plan.departure_utc_s
        rows.append(
            (
                format.day(row.departure_utc_s),
                "#" * round(BAR * row.sure_frac),
                _share(row.sure_frac),
                format.band(row.charge),
                "< best" if left_at else "",
            )
        )
    heads = ("Leaving", format.capital(what), "Sure", "Charge", "")
    return ["", table(heads, rows, right={2, 3})]


def _plan_leg(leg: "PlanLeg") -> tuple[str, ...]:
    return (
        leg.name[:16],
        f"{leg.distance_m / NMI:.1f}",
        format.course(leg.course_deg),
        format.knots(leg.speed_water_mps),
        format.value(leg.speed_ground_mps),
        format.value(leg.energy),
        format.band(leg.charge),
        _share(leg.holds_frac),
    )


def _share(frac: float) -> str:
    """A probability in few signs; never quite 0 or 100 %."""
    return "< 1 %" if frac < 0.01 else "> 99 %" if frac > 0.99 else format.percent(frac)


def hull(answer: "HullAnswer") -> str:
    """Power curve, growth, calibration."""
    lines = [
        wrapped(f"Power through the water for {answer.boat}, {answer.reason}."),
        "",
        table(("Speed", "Power", "By the hull alone", ""), [_power(row) for row in answer.curve]),
    ]
    lines += ["", wrapped(format.sentence(answer.fouling.sentence))]
    lines += [_loss(row) for row in answer.fouling.rows[-8:]]
    if answer.calibration is not None:
        lines += ["", *_calibration(answer.calibration)]
    lines += ["", as_of(answer.asked_utc_s, answer.data_age_s)]
    return "\n".join(lines).rstrip()


def _power(row: "CurveRow") -> tuple[str, ...]:
    mark = "" if row.seen else "(not measured yet)"
    speed = format.knots(row.speed_water_mps)
    return speed, format.band(row.power), format.band(row.prior), mark


def _loss(row: "TripLoss") -> str:
    low, mid, high = row.loss.low or 0.0, row.loss.mid or 0.0, row.loss.high or 0.0
    return wrapped(
        f"{format.day(row.t_utc_s)}: speed {100 * mid:+.1f} % "
        f"({100 * low:+.1f} to {100 * high:+.1f} %) "
        f"at the same power, "
        f"{row.minutes:.0f} minutes",
        "  ",
    )


def _calibration(found: "Calibration") -> list[str]:
    lines = []
    if found.water_factor:
        mid, sd = found.water_factor
        text = f"Water-speed log: true speed is {mid:.3f} of what it shows (± {sd:.3f})."
        lines.append(wrapped(text, "  "))
    if found.advance_m:
        mid, sd = found.advance_m
        text = f"Propeller: {mid:.4f} m through the water a turn (± {sd:.4f})."
        lines.append(wrapped(text, "  "))
    if found.compass_error_deg:
        mid, sd = found.compass_error_deg
        lines.append(wrapped(f"Compass: shows {mid:+.1f}° too much (± {sd:.1f}°).", "  "))
    return lines


def double_run(found: "DoubleRun") -> str:
    """The guided double run: what was found, what comes next."""
    from analyzer.answers.hull import STEPS, Calibration

    if found.speed_water_mps is None:
        steps = (wrapped(format.sentence(s), f"  {k}. ") for k, s in enumerate(STEPS, start=1))
        return "\n".join([format.sentence(found.missing), "", "How a double run is done:", *steps])
    mid, sd = found.speed_water_mps
    lines = [
        wrapped(
            f"{len(found.runs)} runs to and fro: {format.knots(mid)} through the water "
            f"(± {format.knots(sd)})."
        ),
        *_calibration(Calibration(found.water_factor, found.advance_m)),
    ]
    for run in found.runs:
        lines.append(
            f"  on {format.course(run.heading_deg)}: "
            f"{format.knots(run.speed_ground_mps)} over ground"
        )
    if found.missing:
        lines.append(format.sentence(found.missing))
    return "\n".join(lines)


def hindcast(answer: "HindcastAnswer") -> str:
    """Each moment's range as a bar, and what then happened."""
    rows = answer.hindcast.rows
    lines = [wrapped(format.sentence(answer.hindcast.score.sentence))]
    if rows:
        most = max(row.distance_m[2] for row in rows)
        lines += ["", _moments(rows, most), ""]
        said = (
            "In nautical miles. Said and made: the distance for the energy that was used while "
            "power and course stayed about the same; ! where it was outside the range. A bar's "
            f"full width is {format.miles(most)}."
        )
        lines.append(wrapped(said))
    return "\n".join(lines)


def _moments(rows: Sequence["Asked"], most: float) -> str:
    """A line a moment; without bars where there is no room for them."""
    heads: tuple[str, ...] = ("Time", "Charge", "Middle", "Said", "Made", "Range then")
    cells = [_moment(row, most) for row in rows]
    if not has_room([heads, *cells]):
        heads, cells = heads[:-1], [row[:-1] for row in cells]
    return table(heads, cells, right=range(1, 5))


def _moment(row: "Asked", most: float) -> tuple[str, ...]:
    low, mid, high = (round(BAR * d / max(most, 1.0)) for d in row.distance_m)
    bar = "".join("|" if k == mid else "-" if low <= k <= high else " " for k in range(BAR + 1))
    said = made = ""
    if row.foreseen_m is not None and row.made_m is not None:
        said = f"{row.foreseen_m[1] / NMI:.2f}"
        made = f"{row.made_m / NMI:.2f}{' ' if row.held else '!'}"
    middle = f"{row.distance_m[1] / NMI:.1f}"
    return format.clock(row.t_utc_s), f"{100 * row.soc_frac:.0f} %", middle, said, made, bar
