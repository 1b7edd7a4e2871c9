"""Questions put to the program as a skipper does: through its command line, in this process."""

import contextlib
import io
import json
import re
import traceback
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

from analyzer.faces.cli.base import options
from analyzer.faces.cli.main import main
from logger.units import KN

FRESH_S = 1.0  # the newest reading is so old when the questions are put
GPX = (
    '<gpx version="1.1" creator="test"><rte><rtept lat="{0:.6f}" lon="{1:.6f}"/>'
    '<rtept lat="{2:.6f}" lon="{3:.6f}"/></rte></gpx>'
)


@dataclass(frozen=True)
class Answer:
    """One answer in both forms.

    Args:
        data: What --json printed; None where it printed none.
        text: What is printed for people. error: Both runs' error output.
        broke: A traceback, where the program fell over.
    """

    status: int
    data: Any
    text: str
    error: str = ""
    broke: str = ""

    @property
    def opening(self) -> str:
        """The first two sentences."""
        return " ".join(sentences(self.text)[:2])


@dataclass(frozen=True)
class Said:
    """All that was said at one moment; `before`: range a minute earlier."""

    answers: dict[str, Answer]
    before: Answer | None = None

    def data(self, question: str) -> Any:
        """The JSON of a question; None where there is none."""
        answer = self.answers.get(question)
        return answer.data if answer else None

    def text(self, question: str) -> str:
        """The words of a question; empty where there are none."""
        answer = self.answers.get(question)
        return answer.text if answer else ""

    @property
    def standing(self) -> list[dict[str, Any]]:
        """Flags that stand."""
        return [flag for flag in self.data("flags") or [] if flag["cleared_utc_s"] is None]


@dataclass
class Desk:
    """Where questions are put: a log, a boat file, and the time it is."""

    folder: Path
    now_utc_s: float
    files: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.files = ("--log", str(self.log), "--boat", str(self.boat))

    @property
    def log(self) -> Path:
        """The log."""
        return self.folder / "log.sqlite"

    @property
    def boat(self) -> Path:
        """The boat file."""
        return self.folder / "boat.toml"

    def ask(self, *question: str, words: bool = True) -> Answer:
        """Both forms of one question, worked out once: the words are made of the same answer."""
        told: list[str] = []
        give = options.give

        def both(answer: Any, as_json: bool, text: Callable[[Any], str]) -> int:
            if words:
                told.append(text(answer))
            return give(answer, as_json, text)

        with mock.patch.object(options, "give", both):
            status, out, error, broke = self._run(*question, "--json", *self.files)
        data = None
        if not broke and status == 0:
            data = json.loads(out)  # NaN and Infinity are let in here and found by the checks
        return Answer(status, data, "".join(told), error, broke)

    def ask_all(self, home: tuple[float, float], here: tuple[float, float] | None) -> Said:
        """Every question of one moment."""
        before_refresh = {"range": self.ask("range", "--home")}
        names = ("trips", "flags", "cells", "cables", "check")
        answers = before_refresh | {name: self.ask(name) for name in names}
        if here is not None:
            route = self.folder / "home.gpx"
            route.write_text(GPX.format(*here, *home), encoding="utf-8")
            answers["plan"] = self.ask("plan", str(route), *_speed_home(answers["range"].data))
        return Said(answers)

    def _run(self, *arguments: str) -> tuple[int, str, str, str]:
        out, error, broke, status = io.StringIO(), io.StringIO(), "", 0
        with (
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(error),
            warnings.catch_warnings(record=True) as warned,
            self._time_stands_still(),
        ):
            warnings.simplefilter("always")
            warnings.simplefilter("ignore", DeprecationWarning)  # a user is not shown these
            try:
                status = main(arguments)
            except SystemExit as end:
                status = end.code if isinstance(end.code, int) else 1
            except Exception:
                broke = traceback.format_exc()
        said = "".join(f"{w.category.__name__}: {w.message}\n" for w in warned)
        return status, out.getvalue(), error.getvalue() + said, broke

    @contextlib.contextmanager
    def _time_stands_still(self) -> Iterator[None]:
        now_s = self.now_utc_s + FRESH_S
        with (
            mock.patch("time.time", return_value=now_s),
            mock.patch("time.time_ns", return_value=round(now_s * 1e9)),
        ):
            yield


def _speed_home(answer: Any) -> tuple[str, ...]:
    """The plan is asked for the speed that the way home was judged at, so that both compare."""
    home = (answer or {}).get("home")
    if not home or not home["speed_water_mps"]:
        return ()
    return "--speed", f"{home['speed_water_mps'] / KN:.3f}"


def sentences(text: str) -> list[str]:
    """Sentences of an answer, lines joined."""
    joined = " ".join(text.split())
    return [part for part in re.split(r"(?<=[.!?])\s+(?=[A-Z*(])", joined) if part]
