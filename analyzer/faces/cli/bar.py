"""A progress bar on the error output, only where that is a terminal."""

from types import TracebackType
from typing import Any, Self


class Bar:
    """Called with how much is done; shows itself as a bar.

    Args:
        text: What is going on.
    """

    def __init__(self, text: str) -> None:
        from tqdm import tqdm

        self._bar: Any = tqdm(
            desc=text,
            total=1.0,
            disable=None,
            leave=False,
            bar_format="{desc}: {percentage:3.0f}% |{bar}| {elapsed} gone, {remaining} to go",
        )

    def __call__(self, done: float) -> None:
        """Shows how much is done, 0 to 1."""
        self._bar.update(max(min(done, 1.0) - self._bar.n, 0.0))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.close()
