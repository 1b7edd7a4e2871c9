"""A sound set of answers, made up, for the checks' own tests to spoil. All figures invented."""

import copy
from typing import Any

from tests.breakage.asking import Answer, Said

WORDS = {
    "range": "At 4.1 kn through the water you can go between 9 and 11 nmi. That is 2 h from now.",
    "cells": "No cell is falling behind.",
    "cables": "No cable is hotter than its current should make it.",
}


def estimate(low: float, mid: float, high: float, unit: str = "") -> dict[str, Any]:
    """As --json prints it."""
    return {"low": low, "mid": mid, "high": high, "unit": unit, "coverage": 0.8, "reason": ""}


def _point(speed: float, far: float, watts: float) -> dict[str, Any]:
    lasts = far / speed
    return {
        "speed_water_mps": speed,
        "speed_ground_mps": speed,
        "power": estimate(0.9 * watts, watts, 1.1 * watts, "W"),
        "distance": estimate(0.9 * far, far, 1.1 * far, "m"),
        "duration": estimate(0.9 * lasts, lasts, 1.1 * lasts, "s"),
    }


def answers() -> dict[str, Any]:
    """The JSON of one moment at which everything agrees: a 7 kWh pack, 2.1 m/s for 1.1 kW."""
    return copy.deepcopy(
        {
            "range": {
                "asked_utc_s": 10_000.0,
                "motoring": True,
                "about": "present",
                "doing": "motoring",
                "speed_water_mps": 2.1,
                "speed_ground_mps": 2.1,
                "power_w": 1100.0,
                "charge": estimate(0.58, 0.6, 0.62, "frac"),
                "distance": estimate(17_000, 19_000, 21_000, "m"),
                "duration": estimate(8_100, 9_050, 10_000, "s"),
                "limit": "reserve",
                "limit_shares": {"reserve": 0.9, "weakest cell's cut-off": 0.1},
                "curve": [_point(1.6, 30_000, 500), _point(2.1, 19_000, 1100)],
                "next_action": "go on: turn for home within 3.0 nmi",
                "reserve_frac": 0.2,
                "home": {
                    "speed_water_mps": 2.1,
                    "sureness_frac": 0.98,
                    "can_return_frac": 0.99,
                    "turn_in": estimate(5_600, 6_000, 6_400, "m"),
                    "charge_on_arrival": estimate(0.48, 0.5, 0.52, "frac"),
                    "homeward": False,
                },
            },
            "trips": [
                {
                    "start_utc_s": 5_000.0,
                    "end_utc_s": 10_000.0,
                    "distance_m": 9_000.0,
                    "energy_out_wh": 2_000.0,
                    "energy_in_wh": 0.0,
                    "charge_end": estimate(0.58, 0.6, 0.62, "frac"),
                }
            ],
            "flags": [],
            "plan": {
                "plan": {
                    "legs": [{"speed_water_mps": 2.1}],
                    "arrives_frac": 0.99,
                    "charge": estimate(0.48, 0.5, 0.52, "frac"),
                },
                "enough": True,
                "sureness_frac": 0.98,
            },
            "check": {
                "channels": [{"name": "cell_01_voltage_v"}, {"name": "probe_lug_temp_c"}],
                "findings": [],
                "questions": [{"question": "How far will it take us?", "answerable": True}],
            },
            "cells": {"rows": [{"resistance": estimate(5e-4, 6e-4, 7e-4, "ohm")}]},
            "cables": {"rows": [{"settles_at": estimate(40, 45, 50, "degC")}]},
        }
    )


def said(data: dict[str, Any] | None = None, **words: str) -> Said:
    """What was said; words: the text of a question where it is not the sound one."""
    texts = WORDS | words
    rows = answers() if data is None else data
    return Said({name: Answer(0, row, texts.get(name, "Yes.")) for name, row in rows.items()})


def flag(kind: str, level: str = "warning") -> dict[str, Any]:
    """A flag that stands."""
    return {"kind": kind, "level": level, "title": f"{kind} is wrong", "cleared_utc_s": None}
