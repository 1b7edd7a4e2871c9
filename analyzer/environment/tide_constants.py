"""A stream by the harmonic constants of its place: a small TOML file, as a table of times.

    place = "Narrow Sound"
    speeds = "kn"            # or "m/s"
    phases = "greenwich"     # or "zone" with zone_h, or "local" with longitude_deg
    toward_deg = 31          # where a stream of positive speed goes, true
    steady = -0.4            # what is left without the tide

    [constituents]
    M2 = { amplitude = 1.6, phase_deg = 312 }
    S2 = { amplitude = 0.4, phase_deg = 334, minor = 0.1, toward_deg = 28 }

`minor` makes an ellipse: half its shorter axis, positive where the stream turns anticlockwise.
Source: ellipses as M. G. G. Foreman, "Manual for tidal currents analysis and prediction",
Pacific Marine Science Report 78-6, 1978 (from memory).
"""

import tomllib
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from analyzer.environment import tide
from analyzer.errors import BadRoute
from logger.units import KN

Floats = npt.NDArray[np.float64]

MOST_KN = 20.0  # of an amplitude: the strongest streams known run some 20 knots; assumed
_STRICT = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Constituent(BaseModel):
    """One constituent; amplitude and minor in the file's unit of speed."""

    model_config = _STRICT

    amplitude: float = Field(ge=0)
    phase_deg: float = Field(ge=-360, le=360)
    minor: float = 0.0
    toward_deg: float | None = Field(None, ge=0, le=360)


class TideConstants(BaseModel):
    """The constants of one place."""

    model_config = _STRICT

    place: str = Field("", max_length=100)
    speeds: Literal["kn", "m/s"]
    phases: Literal["greenwich", "zone", "local"] = "greenwich"
    zone_h: float | None = Field(None, ge=-14, le=14)
    longitude_deg: float | None = Field(None, ge=-180, le=180)
    toward_deg: float | None = Field(None, ge=0, le=360)
    steady: float = 0.0
    constituents: dict[str, Constituent] = Field(min_length=1)

    @model_validator(mode="after")
    def _whole(self) -> "TideConstants":
        for key, phases in (("zone_h", "zone"), ("longitude_deg", "local")):
            if (self.phases == phases) != (getattr(self, key) is not None):
                raise ValueError(f'phases = "{phases}" and {key} go together; give both or neither')
        if self.steady and self.toward_deg is None:
            raise ValueError("steady wants toward_deg, the direction it goes to")
        for name, one in self.constituents.items():
            if name.upper() not in tide.NAMES:
                raise ValueError(f"no constituent {name}; known are {', '.join(tide.NAMES)}")
            if one.toward_deg is None and self.toward_deg is None:
                raise ValueError(f"{name} wants toward_deg, its own or the file's")
            if max(one.amplitude, abs(one.minor), abs(self.steady)) * self.unit_mps > MOST_KN * KN:
                raise ValueError(f"{name}: more than {MOST_KN:g} knots; check the unit of speed")
        return self

    @property
    def unit_mps(self) -> float:
        """One of the file's unit of speed. [m/s]"""
        return KN if self.speeds == "kn" else 1.0

    @property
    def told(self) -> str:
        """What it is, in words."""
        count = len(self.constituents)
        what = f"harmonic constants ({count} {'constituents' if count > 1 else 'constituent'})"
        return f"{what} of {self.place}" if self.place else what

    def at(self, t_s: Floats) -> tuple[Floats, Floats]:
        """East and north at times, (n,) each. [UTC s], [m/s]"""
        orbit = tide.Orbit.at(t_s)
        along = _unit(self.toward_deg or 0.0)
        east, north = (np.full(len(t_s), self.steady * part) for part in along)
        for name, one in self.constituents.items():
            factor, angle = tide.argument(name.upper(), orbit)
            turned = angle - np.radians(self.greenwich_deg(name.upper(), one.phase_deg))
            own = one.toward_deg if one.toward_deg is not None else self.toward_deg
            (x, y), (left_x, left_y) = _unit(own or 0.0), _unit((own or 0.0) - 90.0)
            major = factor * one.amplitude * np.cos(turned)
            minor = factor * one.minor * np.sin(turned)
            east = east + major * x + minor * left_x
            north = north + major * y + minor * left_y
        return east * self.unit_mps, north * self.unit_mps

    def greenwich_deg(self, name: str, phase_deg: float) -> float:
        """A phase lag by Greenwich: of zone time less what the argument turns in the zone's hours,
        of the place's own meridian plus its longitude as often as the tide comes in a day.

        Source: Schureman, paragraphs 225 and 226 (from memory).
        """
        if self.zone_h is not None:
            return phase_deg - self.zone_h * tide.degrees_per_hour(name)
        if self.longitude_deg is not None:
            times_a_day = round(tide.degrees_per_hour(name) / 15.0)
            return phase_deg - times_a_day * self.longitude_deg
        return phase_deg


def _unit(toward_deg: float) -> tuple[float, float]:
    """East and north of a direction."""
    return float(np.sin(np.radians(toward_deg))), float(np.cos(np.radians(toward_deg)))


def parse_constants(text: str, where: Path) -> TideConstants:
    """The constants of a file's text.

    Raises:
        BadRoute: It is no such file; one sentence says what is wrong and what it wants.
    """
    try:
        return TideConstants.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise BadRoute(f"{where} cannot be read as TOML: {error}") from error
    except ValidationError as error:
        raise BadRoute(f"{where}: {_said(error)}") from error


def _said(error: ValidationError) -> str:
    """The first thing that is wrong, in words."""
    first = error.errors()[0]
    key = ".".join(str(part) for part in first["loc"])
    if first["type"] == "missing":
        return f"{key} is missing; a constituent wants amplitude and phase_deg, the file speeds"
    if first["type"] == "extra_forbidden":
        return f"{key} is no key of a file of harmonic constants; take it out"
    if first["type"] == "value_error":
        return first["msg"].removeprefix("Value error, ")
    return f"{key}: {first['msg'].replace('Input should', 'it should')}, got {first['input']!r}"
