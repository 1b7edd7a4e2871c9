"""What earlier trips found about the cables, kept in the log."""

from collections.abc import Iterable

from analyzer.series.series import load
from analyzer.thermal import device
from analyzer.thermal.cable_trend import Kept
from analyzer.thermal.cables import CableGroup
from logger.boat import Boat
from logger.channels import probe_temp
from logger.store import Store, TripRecord

KEY = "cables"


def wanted(boat: Boat) -> tuple[str, ...]:
    """Channels that the cables' judgement rests on."""
    names = ["ambient_temp_c"]
    for cable in boat.cable:
        names += [cable.current_channel, *([probe_temp(cable.probe)] if cable.probe else [])]
        on = device.of(cable)
        names += [device.MEASURED[on]] if on in device.MEASURED else []
    return tuple(dict.fromkeys(names))


def gather(store: Store, boat: Boat, trips: Iterable[TripRecord]) -> None:
    """Keeps each trip's finding; a trip already kept to its end is left alone."""
    if not any(c.probe for c in boat.cable):
        return
    done = {(k.from_us, k.to_us) for k in store.learned(KEY)}
    for trip in trips:
        if (trip.start_us, trip.end_us) in done:
            continue
        group = CableGroup(boat.cable)
        group.warm(load(store, wanted(boat), trip.start_us, trip.end_us))
        store.put_learned(KEY, group.summary(), trip.start_us, trip.end_us)


def history(store: Store, before_us: int | None = None) -> dict[str, list[Kept]]:
    """Findings by cable, oldest first; those of trips that ended before a time. [µs]"""
    out: dict[str, list[Kept]] = {}
    for kept in store.learned(KEY):
        if before_us is not None and kept.to_us > before_us:
            continue
        for name, found in kept.value.items():
            out.setdefault(name, []).append(
                Kept(kept.to_us / 1e6, float(found["rise_k"]), float(found["sd_k"]))
            )
    return out
