"""Fits the memory of the wind to hourly readings: `python -m tests.field.fit_wind HOURLY.csv`.

The table has the columns origin, time_hour (UTC, ISO 8601), wind_dir [deg] and wind_speed [mph],
as the public hourly observations of airports have them (those of New York's three in 2013, of NOAA,
come with data packages of several languages). Prints, station by station, for hours by day from
April to October and winds below 9 m/s: the components' size, and at 1 to 6 h ahead the memory T in
<w(t) w(t + h)> / <w(t)^2> = exp(-h / T), w the wind's vector, and what is new at that horizon.
What it prints for 2 to 6 h stands in `analyzer/environment/wind.py`.
"""

import csv
import sys
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

MPS = 0.44704  # one mile per hour
MOST_MPS, ABSURD_MPS = 9.0, 40.0  # nobody motors in more; no wind but a slip of the pen
HOURS, MONTHS, ZONE_H = range(8, 19), range(4, 11), -4  # local time by day, in summer
HORIZONS_H = (1, 2, 3, 4, 6)


def read(path: Path) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Station by station: hours since 1970, rising, and the wind's vector as a complex number."""
    found = defaultdict(dict)
    with path.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            hour = datetime.fromisoformat(row["time_hour"]).timestamp() // 3600
            try:
                speed, source = float(row["wind_speed"]) * MPS, row["wind_dir"]
                vector = speed * np.exp(1j * np.radians(float(source or 0)))
            except ValueError:
                continue
            if speed < ABSURD_MPS and np.isfinite(vector) and (source or speed == 0):
                found[row["origin"]][hour] = vector
    return {
        name: (np.array(sorted(at)), np.array([at[hour] for hour in sorted(at)]))
        for name, at in found.items()
    }


def memory_h(hours: np.ndarray, wind: np.ndarray, ahead_h: int) -> tuple[float, float]:
    """Memory [h], and a component's standard deviation of what is new so far ahead [m/s]."""
    later = dict(zip(hours.tolist(), wind, strict=True))
    pairs = [
        (now, later[hour + ahead_h])
        for hour, now in zip(hours.tolist(), wind, strict=True)
        if abs(now) < MOST_MPS and by_day(hour) and hour + ahead_h in later
    ]
    now, then = np.array(pairs).T
    kept = float((now * then.conj()).real.sum() / (np.abs(now) ** 2).sum())
    new = float(np.sqrt((np.abs(then - kept * now) ** 2).mean() / 2))
    return -ahead_h / np.log(kept), new


def by_day(hour: float) -> bool:
    """Whether people motor at an hour since 1970."""
    when = datetime.fromtimestamp((hour + ZONE_H) * 3600, UTC)
    return when.hour in HOURS and when.month in MONTHS


def main() -> None:
    """Prints the fit."""
    memories = []
    for name, (hours, wind) in read(Path(sys.argv[1])).items():
        usual = [w for h, w in zip(hours, wind, strict=True) if by_day(h) and abs(w) < MOST_MPS]
        size = np.sqrt(np.mean(np.abs(usual) ** 2) / 2)
        fits = {ahead: memory_h(hours, wind, ahead) for ahead in HORIZONS_H}
        memories += [fit[0] for ahead, fit in fits.items() if ahead > 1]
        words = ", ".join(f"{h} h: {m:.1f} h, {new:.2f} m/s new" for h, (m, new) in fits.items())
        print(f"{name}: components of {size:.2f} m/s; {words}")
    print(f"mean memory at 2 to 6 h ahead: {np.mean(memories):.1f} h")


if __name__ == "__main__":
    main()
