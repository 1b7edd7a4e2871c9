"""How the recorder fares: what of each source is down, refused or lost, whether it knows the date,
and whether a current waits for its sense to be told."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from logger.store import Boot

# From where on the recorder's own trouble is told, all assumed.
REFUSED_SHARE = 0.02
FEWEST_REFUSED = 20
MANY_RECONNECTS = 10
LITTLE_DISK = 0.05

# Counters that mean a fault, and what each most often comes from (common practice, no source).
MEANS = {
    "checksum": "wrong checksums, as from interference, a loose wire or a wrong bit rate",
    "syntax": "not laid out as it should be, as at a wrong bit rate or of another protocol",
    "length": "wrong length, as where the device's description (DBC or map) is another version's",
    "out_of_limits": "values that cannot be, as from a wrong scale or a faulty sensor",
    "lost_packet": "parts of messages missing, as on a busy or disturbed bus",
    "no_answer": "no answer, as from a device that is off or has another address",
    "refused": "the device refuses, as where it has no such register",
    "sdo_abort": "the device refuses, as where it has no such object",
    "error_frame": "bus errors, as from a missing terminator, a loose wire or a wrong bit rate",
    "lost": "sensors of the board that could not be read, as from a loose wire",
}


def findings(
    words: Mapping[str, Any], disk_left_frac: float | None = None
) -> tuple[Detection, ...]:
    """What is wrong with the sources.

    Args:
        words: Source -> {"up": bool, "trouble": text, counter: number ...}, as the recorder
            last said.
        disk_left_frac: Room left where the log lies. [frac]
    """
    out = [f for name, said in words.items() if isinstance(said, Mapping) for f in _of(name, said)]
    if disk_left_frac is not None and disk_left_frac < LITTLE_DISK:
        out.append(
            Detection(
                "log",
                "disk_nearly_full",
                f"{100 * disk_left_frac:.0f} % of the disk is left where the log lies; recording "
                "waits when there is none.",
                1.0,
                Estimate(disk_left_frac, None, None, "frac"),
                "Copy the log away and make room.",
                "",
            )
        )
    return tuple(out)


def dating(boots: Sequence[Boot]) -> tuple[Detection, ...]:
    """What is odd about the newest live boot's date; a recording's date is its own affair."""
    live = [boot for boot in boots if not boot.recorded and boot.first_us is not None]
    if not live:
        return ()
    boot = live[-1]
    if boot.remark:
        cure = "Update the receiver, or check its date after it has stood under open sky."
        return (_of_clock("date_corrected", boot.remark, cure),)
    if boot.utc_source is None:
        text = "The log does not know the date: neither a satellite receiver nor network time told."
        cure = "Look whether the receiver sends its date (RMC or ZDA, or NMEA 2000's system time)."
        return (_of_clock("undated", text, cure),)
    return ()


def untold_sense(arriving: frozenset[str]) -> tuple[Detection, ...]:
    """A vehicle bus's pack current that no key of the boat file says the sense of.

    SAE sells the list that defines it (J1939 Digital Annex), no public table of it says the sense,
    and makers differ: it is not assumed.

    Args:
        arriving: Channels that arrive.
    """
    if "other_hvess_current_a" not in arriving or "pack_current_a" in arriving:
        return ()
    text = (
        "The pack's current arrives (SAE J1939, group 61584), but not which way it counts: it is "
        "not used yet."
    )
    cure = (
        "Write hvess_sign in the source's options: 1 where other_hvess_current_a is above zero "
        "while the motor runs, -1 where it is below."
    )
    size = Estimate(1.0, None, None, "count")
    return (Detection("pack", "current_sense_untold", text, 0.95, size, cure, ""),)


def _of_clock(kind: str, text: str, cure: str) -> Detection:
    return Detection("clock", kind, text, 0.95, Estimate(1.0, None, None, "count"), cure, "")


def _of(name: str, said: Mapping[str, Any]) -> Iterator[Detection]:
    counts = {k: int(v) for k, v in said.items() if isinstance(v, int) and not isinstance(v, bool)}
    subject = f"source {name}"
    if said.get("up") is False:
        trouble = str(said.get("trouble") or "no reason known").rstrip(".")
        yield _finding(subject, "source_down", f"Source {name} cannot be read: {trouble}.", 1.0)
    refused = {cause: counts[cause] for cause in MEANS if counts.get(cause)}
    total = sum(refused.values())
    share = total / max(counts.get("frames", 0), total, 1)
    if total >= FEWEST_REFUSED and share > REFUSED_SHARE:
        worst = max(refused, key=lambda cause: refused[cause])
        what = f"{100 * share:.0f} % of what source {name} sends cannot be used"
        text = f"{what}; most of it: {MEANS[worst]}."
        yield _finding(subject, "source_refused", text, share)
    if counts.get("reconnects", 0) >= MANY_RECONNECTS:
        times = counts["reconnects"]
        text = f"Source {name} was lost and opened again {times} times: a loose plug or cable?"
        yield _finding(subject, "source_loose", text, counts["reconnects"])
    if counts.get("bus_off", 0):
        text = (
            f"The CAN controller of source {name} went off the bus {counts['bus_off']} times, as "
            f"from a wrong bit rate, a short circuit or a missing terminator."
        )
        yield _finding(subject, "source_bus_off", text, counts["bus_off"])
    if counts.get("dropped", 0):
        lost = counts["dropped"]
        text = f"{lost} readings of source {name} were dropped: the computer did not keep up."
        yield _finding(subject, "source_dropped", text, counts["dropped"])


def _finding(subject: str, kind: str, text: str, size: float) -> Detection:
    unit = "frac" if kind == "source_refused" else "count"
    cure = "Look at its plug, cable and settings; the journal of the recorder says more."
    return Detection(subject, kind, text, 0.95, Estimate(float(size), None, None, unit), cure, "")
