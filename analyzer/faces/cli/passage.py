"""Passages and the hull: plan, hull, hindcast."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from analyzer.errors import CannotWrite
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.base.progress import Bar
from analyzer.faces.cli.text import gain as text_gain
from analyzer.faces.cli.text import passage as tell
from logger.units import HOUR_S

if TYPE_CHECKING:
    from analyzer.answers.hull import HindcastAnswer


def _plan(options: argparse.Namespace) -> int:
    from analyzer.answers.ahead.passage import PlanWish, forecast

    wish = PlanWish(
        route=options.route,
        departure_s=options.depart,
        speeds_mps=options.speed,
        stream_table=options.stream_table,
        wind=forecast(*options.wind) if options.wind is not None else None,
        arrive_by_s=options.arrive_by,
        charge_frac=None if options.charge is None else options.charge / 100,
        leave_within_s=None if options.leave_within is None else options.leave_within * HOUR_S,
    )
    log = opt.log_knowing(options)
    if options.what_if:
        changed = log.plan_what_if(options.what_if, wish)
        return opt.give(changed, options.json, text_gain.plan_what_if)
    return opt.give(log.plan(wish), options.json, tell.plan)


def _hull(options: argparse.Namespace) -> int:
    log = opt.log_knowing(options)
    if options.double_run:
        return opt.give(log.double_run(), options.json, tell.double_run)
    return opt.give(log.hull(), options.json, tell.hull)


def _hindcast(options: argparse.Namespace) -> int:
    log = opt.looked_through(options)
    with Bar("Asking through the trip") as bar:
        answer = log.hindcast(options.trip, options.each * 60.0, bar)
    if options.plot:
        _draw(answer, options.plot)
    return opt.give(answer, options.json, tell.hindcast)


def _draw(answer: "HindcastAnswer", path: Path) -> None:
    """Writes the picture.

    Raises:
        CannotWrite: It cannot be written there.
    """
    from analyzer.faces.charts.hindcast_svg import svg

    try:
        path.write_text(svg(answer), encoding="utf-8")
    except OSError as error:
        raise CannotWrite(f"the plot cannot be written to {path}: {error.strerror}") from error


def _svg_file(text: str) -> Path:
    """A name that says what will be in the file."""
    if not text.lower().endswith(".svg"):
        raise argparse.ArgumentTypeError(f"draws SVG: wants a name that ends in .svg, got {text!r}")
    return Path(text)


def _utc(text: str) -> float:
    """An ISO 8601 time as seconds since 1970."""
    from analyzer.answers.ahead.passage import parse_utc

    try:
        return parse_utc(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"wants a time such as 2026-07-01T06:30Z, got {text!r}"
        ) from None


def _hours(text: str) -> float:
    """Hours, with or without an h."""
    return opt.number(1, 72, "hours from 1 to 72")(text.removesuffix("h"))


def _speeds(text: str) -> tuple[float, ...]:
    """Knots, separated by commas, as m/s."""
    return tuple(opt.speed_kn(part) for part in text.split(","))


COMMANDS = (
    Command(
        "plan",
        _plan,
        "will this passage work: energy per leg, charge on arrival, sureness, cheapest speeds",
        "keelwatt plan out.gpx --depart 2026-07-01T06:30Z \\\n      --arrive-by 2026-07-01T12:00Z",
        (
            arg("route", type=opt.existing_file, help="a GPX file: route, track, waypoints"),
            arg("--depart", type=_utc, metavar="TIME", help="ISO 8601, UTC (else now)"),
            arg(
                "--leave-within",
                type=_hours,
                metavar="H",
                help="the best hour to leave within so many hours from --depart, 24 or 24h, and "
                "how sure each hour is",
            ),
            arg(
                "--speed",
                type=_speeds,
                metavar="KN[,KN...]",
                help="knots through the water, one for all legs or one for each (else the "
                "cheapest)",
            ),
            arg(
                "--arrive-by",
                type=_utc,
                metavar="TIME",
                help="the cheapest speeds that arrive by then",
            ),
            arg(
                "--stream-table",
                type=opt.existing_file,
                metavar="FILE",
                help="CSV with utc, speed_kn, toward_deg, or TOML with harmonic constants of the "
                "place (else the stream as the log shows it goes on)",
            ),
            arg(
                "--wind",
                type=opt.wind_kn,
                metavar="KN@DEG",
                help="true wind: knots and the direction it comes from",
            ),
            arg(
                "--charge",
                type=opt.number(0, 100, "a charge in per cent from 0 to 100"),
                metavar="%",
                help="charge at departure (else as in the log)",
            ),
            opt.WHAT_IF,
        ),
    ),
    Command(
        "hull",
        _hull,
        "power against speed, what growth costs, calibrations of log, propeller and compass",
        "keelwatt hull --double-run\n"
        "  after two to four runs to and fro: calibrates, or says what is still to do",
        (
            arg(
                "--double-run",
                action="store_true",
                help="calibrate from runs to and fro in the last 45 minutes of the log, and keep "
                "it",
            ),
        ),
    ),
    Command(
        "hindcast",
        _hindcast,
        "what the range answer would have been during a trip, against what then happened",
        "keelwatt hindcast 3 --each 1",
        (
            arg("trip", nargs="?", type=opt.trip_number, help="number (else the newest)"),
            arg(
                "--each",
                type=opt.number(0.5, 60, "minutes from 0.5 to 60"),
                default=5.0,
                metavar="MIN",
                help="minutes between answers (5)",
            ),
            arg("--plot", type=_svg_file, metavar="FILE.svg", help="also draw it into an SVG file"),
        ),
    ),
)
