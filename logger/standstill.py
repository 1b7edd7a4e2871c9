"""Threads and tasks that live as long as their program: which of them stands still, as a flag.

One that dies is caught and begun anew where it runs; one that hangs, in a device or a disk that
answers no more, is seen by nobody but the clock. It cannot be ended from outside: the flag says
what stands still, and systemd's own watchdog begins the recorder anew.
"""

import time
from collections.abc import Callable, Iterable

from logger.store import FlagRecord, Store

LOOK_S = 5.0  # between two looks, assumed
HOPELESS_S = 600.0  # stands still for good; ten times what a lost source is waited for, assumed


class Pulse:
    """The sign of life of one thread or task, on the monotonic clock.

    Args:
        name: In plain words: "source gps".
        limit_s: It stands still where it does not beat for so long. [s]
    """

    def __init__(
        self, name: str, limit_s: float, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.name, self.limit_s = name, limit_s
        self._clock = clock
        self._at_s: float | None = None  # nothing is to be done, so far

    def beat(self) -> None:
        """Work goes on."""
        self._at_s = self._clock()

    def rest(self) -> None:
        """Nothing is to be done until the next beat, or it has ended."""
        self._at_s = None

    def still_s(self) -> float:
        """For how long nothing was heard of it. [s]"""
        at_s = self._at_s
        return 0.0 if at_s is None else self._clock() - at_s

    @property
    def stands(self) -> bool:
        """Whether it stands still."""
        return self.still_s() > self.limit_s


class Pulses:
    """All pulses of one program, and the flags that are up because of them.

    Args:
        program: "record" or "serve": each clears only what it has raised itself.
    """

    def __init__(self, program: str, pulses: Iterable[Pulse] = (), look_s: float = LOOK_S) -> None:
        self._head = f"still/{program}/"
        self._all = list(pulses)
        self._up: dict[str, int] | None = None  # flag's number by the pulse's name
        self._look_s, self._next_s = look_s, 0.0

    def add(self, pulse: Pulse) -> Pulse:
        """One more; gives it back."""
        self._all.append(pulse)
        return pulse

    @property
    def hopeless(self) -> bool:
        """Whether one stands still for good, so that only a new beginning helps."""
        return any(p.stands and p.still_s() > HOPELESS_S for p in self._all)

    def due(self) -> bool:
        """Whether there is something to tell; looks every few seconds."""
        now_s = time.monotonic()
        if now_s < self._next_s:
            return False
        self._next_s = now_s + self._look_s
        return self._up is None or self._up.keys() != self._standing().keys()

    def tell(self, store: Store) -> None:
        """Raises and clears flags. Raises StoreError where the log cannot be written just now."""
        if self._up is None:  # what an earlier run of the program left
            left = [f for f in store.flags() if f.cleared_us is None and f.number]
            self._up = {
                f.key.removeprefix(self._head): f.number or 0
                for f in left
                if f.key.startswith(self._head)
            }
        standing = self._standing()
        for name in self._up.keys() - standing.keys():
            store.update_flag(self._up[name], cleared_us=_now_us())
            del self._up[name]
        for name in standing.keys() - self._up.keys():
            self._up[name] = store.add_flag(_flag(self._head, standing[name]))

    def _standing(self) -> dict[str, Pulse]:
        return {pulse.name: pulse for pulse in self._all if pulse.stands}


def _flag(head: str, pulse: Pulse) -> FlagRecord:
    return FlagRecord(
        number=None,
        key=f"{head}{pulse.name}",
        level="warning",
        subject=pulse.name,
        kind="stands_still",
        title=f"A part of the program stands still: {pulse.name}",
        evidence=f"Nothing was heard of it for {pulse.still_s():.0f} s.",
        cause="A device or a disk that answers no more, or a mistake of the program.",
        caution="What it does is not done: readings, flags or answers of it are missing.",
        first_action="Pull the device's plug and put it in again; else restart the program.",
        raised_us=_now_us(),
    )


def _now_us() -> int:
    return time.time_ns() // 1000
