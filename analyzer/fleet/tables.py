"""The results as rows of five tables; the same for Parquet files and databases.

boats      one row a log: the boat, what it used, how it ages
trips      one row a trip
curves     one row a boat and Froude number: power, consumption, and beside boats like it
findings   one row a cell or joint that something was found about
skipped    one row a log that could not be looked at, and why
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from analyzer.fleet.compare import Likeness, displacement_length_kg_m3, transport_cost_frac

Kind = Literal["text", "integer", "real", "truth"]
Row = dict[str, Any]


@dataclass(frozen=True)
class Column:
    """One column: its kind, its unit ("" where it has none), what it is."""

    kind: Kind
    unit: str
    text: str


LOG = Column("text", "", "the log's path or URL")
BOAT = Column("text", "", "the boat's name, as its boat file says")


def _real(unit: str, text: str) -> Column:
    return Column("real", unit, text)


def _band(name: str, unit: str, text: str) -> dict[str, Column]:
    """An estimate: its middle and the ends of its 80 % range."""
    return {
        f"{name}_{unit}": _real(unit, text),
        f"{name}_low_{unit}": _real(unit, f"{text}: lower end of the 80 % range"),
        f"{name}_high_{unit}": _real(unit, f"{text}: upper end of the 80 % range"),
    }


TABLES: dict[str, dict[str, Column]] = {
    "boats": {
        "log": LOG,
        "key": Column("text", "", "the log's content and the program's version"),
        "boat": BOAT,
        "hull_kind": Column("text", "", "kind of hull"),
        "waterline_m": _real("m", "length on the waterline"),
        "displacement_kg": _real("kg", "displacement"),
        "displacement_length_kg_m3": _real("kg/m3", "displacement over the cube of the length"),
        "chemistry": Column("text", "", "of the pack"),
        "cells": Column("integer", "count", "in series"),
        "rated_ah": _real("Ah", "rated capacity of the pack"),
        "motor_w": _real("W", "rated power of the motor"),
        "first_utc_s": _real("s", "first reading, since 1970"),
        "last_utc_s": _real("s", "last reading, since 1970"),
        "trips": Column("integer", "count", "trips in the log"),
        "distance_m": _real("m", "of all trips, over ground"),
        "energy_out_wh": _real("Wh", "out of the pack, all trips"),
        "energy_in_wh": _real("Wh", "into the pack, all trips"),
        **_band("capacity_per_year", "frac", "relative change of capacity a year"),
        "capacity_sureness_frac": _real("frac", "that the capacity falls"),
        **_band("resistance_per_year", "frac", "relative change of resistance a year"),
        "resistance_sureness_frac": _real("frac", "that the resistance rises"),
        **_band("speed_loss", "frac", "speed at the same power against the clean hull"),
        "flags_standing": Column("integer", "count", "flags that are not cleared"),
        "look_first": Column("integer", "count", "place among those to look at first; 1 first"),
    },
    "trips": {
        "log": LOG,
        "boat": BOAT,
        "number": Column("integer", "count", "the trip's number"),
        "start_utc_s": _real("s", "since 1970"),
        "end_utc_s": _real("s", "since 1970"),
        "distance_m": _real("m", "over ground"),
        "energy_out_wh": _real("Wh", "out of the pack"),
        "energy_in_wh": _real("Wh", "into the pack"),
        "motoring_wh_per_m": _real("Wh/m", "energy for each metre motored"),
        "charge_start_frac": _real("frac", "charge at the start"),
        "charge_end_frac": _real("frac", "charge at the end"),
    },
    "curves": {
        "log": LOG,
        "boat": BOAT,
        "displacement_length_kg_m3": _real("kg/m3", "displacement over the cube of the length"),
        "froude": _real("", "speed over the root of gravity times length"),
        "speed_water_mps": _real("m/s", "speed through the water"),
        **_band("power", "w", "power from the pack"),
        "wh_per_m": _real("Wh/m", "energy for each metre"),
        "transport_cost_frac": _real("frac", "power over weight times speed"),
        "seen": Column("truth", "", "measured at this speed, not only predicted from the hull"),
        "like_from_kg_m3": _real("kg/m3", "boats like it: displacement-length from"),
        "like_to_kg_m3": _real("kg/m3", "boats like it: displacement-length below"),
        "like_boats": Column("integer", "count", "boats like it that were seen at this speed"),
        "like_median_frac": _real("frac", "their median transport cost"),
        "against_like_frac": _real("frac", "its transport cost over that median"),
    },
    "findings": {
        "log": LOG,
        "boat": BOAT,
        "part": Column("text", "", "cells or cables"),
        "subject": Column("text", "", "which cell, lug or cable"),
        "kind": Column("text", "", "what it is, one word"),
        "text": Column("text", "", "what was found"),
        "sureness_frac": _real("frac", "how sure"),
        "size": _real("", "how large, in size_unit"),
        "size_unit": Column("text", "", "the size's unit"),
        "level": Column("text", "", "of the flag that stands for it; empty where none does"),
        "cure": Column("text", "", "what cures it"),
    },
    "skipped": {"log": LOG, "reason": Column("text", "", "why it could not be looked at")},
}


def rows(log: str, key: str, record: Row, like: Likeness) -> dict[str, list[Row]]:
    """One log's rows, by table."""
    head = {"log": log, "boat": record["boat"]["name"]}
    return {
        "boats": [_boat(log, key, record, like)],
        "trips": [head | _trip(trip) for trip in record["trips"]],
        "curves": [head | row for row in _curves(record, like)],
        "findings": [head | row for row in findings(record)],
    }


def _total(trips: list[Row], name: str) -> float | None:
    """Over the trips where it was measured; None where it never was."""
    known = [trip[name] for trip in trips if trip[name] is not None]
    return sum(known) if known or not trips else None


def _boat(log: str, key: str, record: Row, like: Likeness) -> Row:
    boat, trips, ageing = record["boat"], record["trips"], record["ageing"]
    row = {"log": log, "key": key, "boat": boat["name"]}
    row |= {name: boat[name] for name in boat if name in TABLES["boats"]}
    row["displacement_length_kg_m3"] = displacement_length_kg_m3(record)
    row["trips"] = len(trips)
    row["distance_m"] = sum(t["distance_m"] or 0.0 for t in trips)
    row["energy_out_wh"] = _total(trips, "energy_out_wh")
    row["energy_in_wh"] = _total(trips, "energy_in_wh")
    for name in ("capacity", "resistance"):
        row |= _estimate(f"{name}_per_year", "frac", ageing[name]["per_year"])
        row[f"{name}_sureness_frac"] = ageing[name]["sureness_frac"]
    row |= _estimate("speed_loss", "frac", record["hull"]["fouling"]["now"])
    row["flags_standing"] = sum(f["cleared_utc_s"] is None for f in record["flags"])
    row["look_first"] = like.place(log)
    return row


def _trip(trip: Row) -> Row:
    row = {name: trip[name] for name in TABLES["trips"] if name in trip}
    row["charge_start_frac"] = trip["charge_start"]["mid"]
    row["charge_end_frac"] = trip["charge_end"]["mid"]
    return row


def _curves(record: Row, like: Likeness) -> Iterator[Row]:
    density = displacement_length_kg_m3(record)
    for point in record["curve"]:
        cost = transport_cost_frac(record, point)
        yield {
            "displacement_length_kg_m3": density,
            "froude": point["froude"],
            "speed_water_mps": point["speed_water_mps"],
            **_estimate("power", "w", point["power"]),
            "wh_per_m": point["power"]["mid"] / point["speed_water_mps"] / 3600.0,
            "transport_cost_frac": cost,
            "seen": point["seen"],
            **like.beside(density, point["froude"], cost if point["seen"] else None),
        }


def findings(record: Row) -> Iterator[Row]:
    """What was found about cells and joints, with the level of the flag that stands for it."""
    standing = {
        (f["subject"], f["kind"]): f["level"] for f in record["flags"] if f["cleared_utc_s"] is None
    }
    for part in ("cells", "cables"):
        for found in record[part]["findings"]:
            yield {
                "part": part,
                **{n: found[n] for n in ("subject", "kind", "text", "sureness_frac", "cure")},
                "size": found["size"]["mid"],
                "size_unit": found["size"]["unit"],
                "level": standing.get((found["subject"], found["kind"]), ""),
            }


def _estimate(name: str, unit: str, estimate: Row) -> Row:
    return {
        f"{name}_{unit}": estimate["mid"],
        f"{name}_low_{unit}": estimate["low"],
        f"{name}_high_{unit}": estimate["high"],
    }
