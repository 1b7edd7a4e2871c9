"""Runs the scenarios on one board; see run.sh."""

import argparse
import contextlib
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterable
from pathlib import Path

import image
import report
from bench import Bench
from machine import BoardError, kvm_runs


def _scenarios() -> dict[str, Callable[[Bench], None]]:
    import demo
    import growing
    import load
    import neighbour
    import page
    import power
    import ready
    import release

    return {
        "page": page.scenario,
        "demo": demo.scenario,
        "cold_boot": power.cold_boot,
        "wrong_clock": power.wrong_clock,
        "plugs": power.plugs,
        "neighbour": neighbour.scenario,
        "release": release.scenario,
        "card_full": load.card_full,
        "bus_load": load.bus_load,
        "forgets": power.forgets,
        "power_cuts": power.cuts,
        "ready_first_start": ready.first_start,
        "ready_table": growing.scenario,
        "ready_recording": ready.recording,
        "ready_first_cuts": ready.first_cuts,
    }


def _bench(asked: argparse.Namespace, arch: str) -> Bench:
    """The table with the asked board on it."""
    kernel = initrd = None
    accel = "tcg"
    if not asked.image:
        kernel, initrd = image.kernel_of(image.make_root(asked.work, arch))
        if image.native_arch() == arch and kvm_runs(kernel):
            accel = "kvm"
    cuts = asked.cuts or (1 if asked.arm64 else 30)
    print(f"{arch}, {kernel.name if kernel else asked.image}, {accel}", flush=True)
    commit = report.commit_now()
    return Bench(
        asked.work,
        arch,
        accel,
        kernel,
        initrd,
        cuts,
        asked.load_s,
        commit,
        asked.image,
        asked.patience,
    )


def _asked(scenarios: Iterable[str]) -> argparse.Namespace:
    """What the command line wants."""
    wants = argparse.ArgumentParser(prog="sh tests/board/run.sh", description=__doc__)
    wants.add_argument("--arm64", action="store_true", help="a 64-bit ARM board")
    wants.add_argument("--work", type=Path, required=True, help="where everything is made and kept")
    wants.add_argument("--only", nargs="+", choices=scenarios, help="these scenarios")
    wants.add_argument("--cuts", type=int, help="how often the power is cut (30; 1 on ARM)")
    wants.add_argument("--load-s", type=float, default=600.0, help="how long the bus is loaded")
    wants.add_argument("--image", type=Path, help="a ready card of deploy/image.sh: it alone")
    wants.add_argument("--patience", type=float, default=1.0, help="times as long waits, if busy")
    wants.add_argument("--report", type=Path, help="write the report here")
    return wants.parse_args()


def main() -> int:
    """0 where every scenario passed."""
    scenarios = _scenarios()
    asked = _asked(scenarios)
    arch = "arm64" if asked.arm64 else "amd64"
    asked.work.mkdir(parents=True, exist_ok=True)
    bench = _bench(asked, arch)
    if asked.image:
        names = asked.only or tuple(report.READY)
    else:
        usual = tuple(name for name in scenarios if name not in report.READY)
        names = asked.only or (report.ON_ARM if asked.arm64 else usual)
    if "page" in names:
        image.make_card(asked.work / f"root-{arch}", asked.work / f"card-{arch}.img")
    told: list[int] = []  # to stop; the board at work is switched off first

    def stop(number: int, _: object) -> None:
        told.append(number)
        sys.exit(143)

    signal.signal(signal.SIGTERM, stop)
    for name in names:
        if told:
            break
        bench.scenario = name
        start_s = time.monotonic()
        try:
            scenarios[name](bench)
        except BoardError as error:
            bench.say("stopped", error, False)
        except Exception as error:
            traceback.print_exc()
            bench.say("stopped", f"{type(error).__name__}: {error}", False)
        finally:
            bench.say("took", f"{(time.monotonic() - start_s) / 60:.1f} min")
            report.keep(bench)  # what is known so far, also where the run is cut off
    if asked.report:
        report.write(asked.work, asked.report)
    return 1 if any(line.ok is False for line in bench.lines) else 0


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        sys.exit(main())
    sys.exit(130)
