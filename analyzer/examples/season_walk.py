"""A walk through a whole season, with pictures: a script to copy from, cell by cell.

    python analyzer/examples/season_walk.py LOG FOLDER

Looks through what is new in the log, prints what it finds and leaves four pictures in the folder.
Wants the installed package with matplotlib and pandas.
"""

import sys
from pathlib import Path
from typing import Any

import keelwatt as kw

NMI, HOUR_S = 1852.0, 3600.0  # by definition


def main(log_file: str, folder: str) -> None:
    """All cells, one after another."""
    import matplotlib

    matplotlib.use("Agg")
    out = Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    kw.refresh(kw.Log(Path(log_file)))
    with kw.open_log(log_file) as log:
        season = kw.season(log)
        miles_and_hours(log, season)
        keep(kw.draw(season), out / "mile_by_month.png")
        keep(kw.draw(kw.hull(log)), out / "power_against_speed.png")
        growth(season, out / "growth.png")
        watt_hours(season, out / "watt_hours.png")
        best_and_worst(season)


def keep(axes: Any, path: Path) -> None:
    """Saves a picture and lets it go."""
    from matplotlib import pyplot

    axes.figure.savefig(path, dpi=80)
    pyplot.close(axes.figure)


# %% How far, how long, how much
def miles_and_hours(log: Any, season: Any) -> None:
    """Sums of the season, and the trips as a table by month."""
    print(f"{season.boat}: {season.trips} trips, {season.distance.mid / NMI:.0f} nmi")
    print(f"{season.motor_s / HOUR_S:.1f} h under motor, {season.sail_s / HOUR_S:.1f} h under sail")
    trips = kw.table(kw.trips(log))
    print(trips[["number", "distance_m", "energy_out_wh", "charge_end"]].round(2).to_string())


# %% What has grown on the bottom
def growth(season: Any, path: Path) -> None:
    """Speed at the same power, trip by trip, with its 80 % range."""
    from matplotlib import pyplot

    rows = kw.table(season.fouling.rows)
    axes = pyplot.subplots(layout="constrained")[1]
    if len(rows):
        error = [rows["value"] - rows["value_low"], rows["value_high"] - rows["value"]]
        days = (rows["t_utc_s"] - rows["t_utc_s"].min()) / 86_400
        axes.errorbar(days, 100 * rows["value"], yerr=[100 * e for e in error], fmt="o")
    axes.set_xlabel("days since the first trip")
    axes.set_ylabel("speed at the same power [%]")
    axes.set_title(season.fouling.sentence, wrap=True, fontsize="small")
    keep(axes, path)


# %% Where the watt-hours came from and went
def watt_hours(season: Any, path: Path) -> None:
    """The season's ledger as bars."""
    from matplotlib import pyplot

    rows = kw.table(season.energy).dropna(subset="under_way").iloc[::-1]
    axes = pyplot.subplots(layout="constrained")[1]
    axes.barh(rows["kind"], rows["under_way"] / 1000)
    axes.set_xlabel("kWh on trips")
    keep(axes, path)


# %% The best and the worst days, and why
def best_and_worst(season: Any) -> None:
    """A line a day, and its reasons."""
    for title, days in (("least", season.best), ("most", season.worst)):
        for day in days:
            print(f"{title} a mile: trip {day.trips[0]}, {day.consumption_wh_per_m * NMI:.0f} Wh")
            for reason in day.reasons:
                print(f"    {reason.text} (found by {reason.found_by})")


if __name__ == "__main__":
    if len(sys.argv) != 3 or not Path(sys.argv[1]).is_file():
        sys.exit("usage: season_walk.py LOG FOLDER")
    main(sys.argv[1], sys.argv[2])
