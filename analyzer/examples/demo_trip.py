"""A walk through one trip, with pictures: a script to copy from.

    keelwatt demo --log demo.sqlite
    python analyzer/examples/demo_trip.py demo.sqlite demo_trip.png

Wants matplotlib, and a log that `keelwatt trips` has looked through.
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np

from analyzer import answers
from logger.units import KN

COLOUR = {"motoring": "#c9d8e6", "sailing": "#d7e8cf", "charging": "#f3e3c0", "lying": "#ececec"}
MINUTE = "1min"


def main(log_file: str, picture: str, trip: int = 1) -> None:
    """Draws a trip of a log."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    with answers.open_log(log_file) as log:
        figure, axes = pyplot.subplots(2, 2, figsize=(12, 7.5), layout="constrained")
        figure.suptitle(f"{log.boat.name}: trip {trip}")
        power_and_speed(axes[0, 0], log, trip)
        power_curve(axes[0, 1], log)
        watt_hours(axes[1, 0], log, trip)
        volts(axes[1, 1], log, trip)
        figure.savefig(picture, dpi=80)
        pyplot.close(figure)


def power_and_speed(axes: Any, log: answers.Log, trip: int) -> None:
    """What the boat did: power from the pack and speed over the ground, legs behind."""
    from matplotlib import dates

    names = ("pack_voltage_v", "pack_current_a", "speed_ground_mps")
    frame = log.frame(*names, trip=trip).resample(MINUTE).mean()
    power_kw = frame["pack_voltage_v"] * frame["pack_current_a"] / 1000
    axes.plot(frame.index, power_kw, color="#1f3b57", label="power from the pack [kW]")
    axes.plot(frame.index, frame["speed_ground_mps"] / KN, color="#b4552d",
              label="speed over ground [kn]")  # fmt: skip
    (row,) = (one for one in log.trips() if one.number == trip)
    for leg in row.legs:
        start, end = (np.datetime64(round(t), "s") for t in (leg.start_utc_s, leg.end_utc_s))
        axes.axvspan(start, end, color=COLOUR[leg.kind], zorder=0)
    clock: Any = dates.DateFormatter
    axes.xaxis.set_major_formatter(clock("%H:%M"))
    axes.set_ylim(top=10)
    axes.set_title("What the boat did (blue motoring, green sailing)")
    axes.set_xlabel("UTC")
    axes.legend(loc="upper right")


def power_curve(axes: Any, log: answers.Log) -> None:
    """Power against speed: what the hull's numbers said, and what the trip has shown."""
    curve = answers.table(log.hull().curve)
    knots = curve["speed_water_mps"] / KN
    for name, colour, text in (
        ("prior", "#b0b0b0", "from the hull's numbers"),
        ("power", "#1f3b57", "with the trip"),
    ):
        axes.fill_between(
            knots, curve[f"{name}_low"], curve[f"{name}_high"], color=colour, alpha=0.3
        )
        axes.plot(knots, curve[name], color=colour, label=text)
    axes.set_title("Power against speed, with 80 % ranges")
    axes.set_xlabel("speed through the water [kn]")
    axes.set_ylabel("power [W]")
    axes.legend()


def watt_hours(axes: Any, log: answers.Log, trip: int) -> None:
    """Where the energy came from and where it went."""
    rows = answers.table(log.review(trip).ledger).dropna(subset="energy").iloc[::-1]
    error = [rows["energy"] - rows["energy_low"], rows["energy_high"] - rows["energy"]]
    axes.barh(rows["text"], rows["energy"], color="#7a9bb8")
    axes.errorbar(rows["energy"], rows["text"], xerr=np.clip(error, 0, None), fmt="none",
                  ecolor="#1f3b57")  # fmt: skip
    axes.set_title("Where the watt-hours came from (-) and went (+)")
    axes.set_xlabel("Wh")


def volts(axes: Any, log: answers.Log, trip: int) -> None:
    """Where the volts went at the worst moment."""
    sags = log.review(trip).sag
    if not sags:
        axes.set_title("No account of volts without the pack's voltage and current")
        return
    rows = answers.table(sags[0].terms).iloc[::-1]
    axes.barh(rows["text"], rows["volts"], color="#c08a6a")
    axes.set_title(f"Where {sags[0].rest_v - sags[0].loaded_v:.2f} V went at "
                   f"{sags[0].current_a:.0f} A")  # fmt: skip
    axes.set_xlabel("V")


if __name__ == "__main__":
    if len(sys.argv) != 3 or not Path(sys.argv[1]).is_file():
        sys.exit("usage: demo_trip.py LOG PICTURE.png, with a log that `keelwatt trips` has seen")
    main(sys.argv[1], sys.argv[2])
