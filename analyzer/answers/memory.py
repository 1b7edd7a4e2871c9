"""Remembers slow answers as long as the log has not changed."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

MOST = 32  # answers; assumed


class Memory:
    """Answers by question; all forgotten when the log's state changes.

    Args:
        state: Gives something that differs whenever the log or the boat file has changed.
        most: So many answers are kept.
    """

    def __init__(self, state: Callable[[], Hashable], most: int = MOST) -> None:
        self._state = state
        self._most = most
        self._seen: Hashable = None
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = threading.Lock()

    def ask(self, question: Hashable, answer: Callable[[], Any]) -> Any:
        """The remembered answer, else the one that `answer` gives."""
        state = self._state()
        with self._lock:
            if state != self._seen:
                self._kept.clear()
                self._seen = state
            if question in self._kept:
                self._kept.move_to_end(question)
                return self._kept[question]
        found = answer()
        with self._lock:
            if state == self._seen:
                self._kept[question] = found
                while len(self._kept) > self._most:
                    self._kept.popitem(last=False)
        return found
