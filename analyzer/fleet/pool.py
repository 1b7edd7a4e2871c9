"""Who does the work: processes of this machine, or the workers of a Dask scheduler.

Both take logs as they are asked for and give outcomes as they come, a few under way at a time.
A worker that dies takes nothing with it: its logs are tried again, alone, so that the one that
ends workers is found and skipped.
"""

import multiprocessing
import os
import signal
from collections import Counter, deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Protocol

from analyzer.errors import AnalyzerError, installed
from analyzer.fleet.logs import LogRef
from analyzer.fleet.look import Outcome

# Of a worker that was lost, and for the scheduler; assumed.
TRIES = 3
CONNECT_S = 10.0
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

Work = Callable[[LogRef], Outcome]


class NoScheduler(AnalyzerError, OSError):  # noqa: N818 - reads as the sentence it makes
    """There is no Dask scheduler, or nobody works for it."""


class Pool(Protocol):
    """Does the work."""

    def outcomes(self, logs: Iterable[LogRef], work: Work) -> Iterator[tuple[LogRef, Outcome]]:
        """Each log and what came of it, in the order in which they are done."""

    def close(self) -> None:
        """Lets whoever works go."""


class Local:
    """Processes of this machine.

    Args:
        workers: How many; each uses one core.
    """

    def __init__(self, workers: int) -> None:
        self.workers = workers

    def outcomes(self, logs: Iterable[LogRef], work: Work) -> Iterator[tuple[LogRef, Outcome]]:
        """See `Pool`."""
        rest = iter(logs)
        suspects: deque[LogRef] = deque()
        while broken := (yield from self._until_broken(rest, work, self.workers)):
            suspects += broken
        tried: Counter[LogRef] = Counter()
        while suspects:  # one at a time: whoever ends a worker now is the culprit
            for log in (yield from self._until_broken(_taken(suspects), work, 1, 1)):
                tried[log] += 1
                if tried[log] < TRIES - 1:
                    suspects.appendleft(log)
                else:
                    yield log, Outcome(None, f"its worker was ended {TRIES} times: out of memory?")

    def close(self) -> None:
        """Nobody is left to let go."""

    def _until_broken(
        self, logs: Iterator[LogRef], work: Work, workers: int, most: int = 0
    ) -> Generator[tuple[LogRef, Outcome], None, list[LogRef]]:
        """Outcomes; returns the logs that were under way when a worker died, [] if none did."""
        under_way: dict[Future[Outcome], LogRef] = {}
        with _processes(workers) as pool:
            try:
                while True:
                    while (
                        len(under_way) < (most or 2 * workers)
                        and (log := next(logs, None)) is not None
                    ):
                        try:
                            under_way[pool.submit(work, log)] = log
                        except BrokenProcessPool:
                            return [*under_way.values(), log]
                    if not under_way:
                        return []
                    for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                        try:
                            outcome = future.result()
                        except BrokenProcessPool:
                            continue
                        yield under_way.pop(future), outcome
                    if any(_broken(future) for future in under_way):
                        return list(under_way.values())
            finally:
                pool.shutdown(cancel_futures=True)


def _taken(logs: deque[LogRef]) -> Iterator[LogRef]:
    while logs:
        yield logs.popleft()


def _broken(future: Future[Outcome]) -> bool:
    return future.done() and isinstance(future.exception(), BrokenProcessPool)


def _processes(workers: int) -> ProcessPoolExecutor:
    """Fresh ones, without a share in this process's threads; one thread of algebra each."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    return ProcessPoolExecutor(
        workers,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_begin,
    )


def _begin() -> None:
    """Ctrl-C is the parent's to see to."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


class Dask:
    """The workers of a Dask scheduler; they must see the logs under the same paths or URLs.

    Args:
        address: Such as "tcp://10.0.0.5:8786".
    Raises:
        NotInstalled: distributed is not there.
        NoScheduler: Nobody answers at the address.
    """

    def __init__(self, address: str) -> None:
        distributed = installed("distributed", "a scheduler", "fleet")
        try:
            self._client = distributed.Client(address, timeout=CONNECT_S)
            self._client.wait_for_workers(1, timeout=CONNECT_S)
        except (OSError, TimeoutError, ValueError) as error:
            raise NoScheduler(
                f"no Dask scheduler with workers answers at {address} "
                "(`dask scheduler` and `dask worker` start them)"
            ) from error

    def outcomes(self, logs: Iterable[LogRef], work: Work) -> Iterator[tuple[LogRef, Outcome]]:
        """See `Pool`. Dask itself tries the logs of a lost worker again."""
        import distributed

        wait_for: Any = distributed.wait
        rest = iter(logs)
        under_way: dict[Any, LogRef] = {}
        while True:
            most = 2 * max(sum(self._client.nthreads().values()), 1)
            while len(under_way) < most and (log := next(rest, None)) is not None:
                under_way[self._client.submit(work, log, pure=False)] = log
            if not under_way:
                return
            for future in list(wait_for(list(under_way), return_when="FIRST_COMPLETED").done):
                log = under_way.pop(future)
                error = future.exception()
                if error is not None:
                    yield log, Outcome(None, f"its workers were lost: {type(error).__name__}")
                else:
                    yield log, future.result()
                future.release()

    def close(self) -> None:
        """Lets the scheduler go."""
        self._client.close()
