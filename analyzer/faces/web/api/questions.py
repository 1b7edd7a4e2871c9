"""What the HTTP API may be told of a range and of a passage, in knots and degrees."""

from datetime import date
from pathlib import Path
from typing import Any

from pydantic import BaseModel, Field, model_validator

from analyzer.answers import Log
from analyzer.answers.ahead.passage import PlanWish, forecast
from analyzer.estimation.results import RangeAnswer, Way
from analyzer.faces import seasons
from logger.units import HOUR_S, KN

_FILE = {"type": "string", "format": "binary"}
GPX_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/gpx+xml": {"schema": _FILE},
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {"route": _FILE, "stream_table": _FILE},
                    "required": ["route"],
                }
            },
        },
    }
}
_UTC = "seconds since 1970, UTC"


class Surroundings(BaseModel):
    """Stream and wind; half of either is none."""

    stream_kn: float | None = Field(None, ge=0, le=20, description="else as the log shows it")
    toward_deg: float | None = Field(None, ge=0, le=360, description="where the stream goes")
    wind_kn: float | None = Field(None, ge=0, le=60, description="the true wind's knots")
    from_deg: float | None = Field(None, ge=0, le=360, description="where the wind comes from")

    def stream(self) -> tuple[float, float] | None:
        """Speed [m/s] and the direction it goes to."""
        return _si(self.stream_kn, self.toward_deg)

    def wind(self) -> tuple[float, float] | None:
        """Speed [m/s] and the direction it comes from."""
        return _si(self.wind_kn, self.from_deg)


class RangeQuestion(Surroundings):
    """All may be left out; a direction that is left out is north."""

    speed_kn: float | None = Field(None, gt=0, le=60, description="knots through the water")
    toward_deg: float | None = Field(0.0, ge=0, le=360, description="where the stream goes")
    from_deg: float | None = Field(0.0, ge=0, le=360, description="where the wind comes from")
    home: Way | None = Field(
        None, description="also: the way home, straight or back along the track, and when to turn"
    )

    def ask(self, log: Log) -> RangeAnswer:
        """The answer."""
        speed_mps = None if self.speed_kn is None else self.speed_kn * KN
        stream = self.stream()
        wind = self.wind()
        return log.range_left(speed_mps, stream, self.home, wind)


class PlanQuestion(Surroundings):
    """All may be left out; but a stream or a wind wants its direction beside its knots."""

    depart_utc_s: float | None = Field(None, ge=0, le=1e11, description=f"{_UTC}; else now")
    leave_within_h: float | None = Field(
        None, ge=1, le=72, description="the best hour to leave, of so many from the departure on"
    )
    arrive_by_utc_s: float | None = Field(None, ge=0, le=1e11, description=_UTC)
    speed_kn: float | None = Field(None, ge=0.5, le=30, description="else the cheapest speeds")
    charge_frac: float | None = Field(None, ge=0, le=1, description="else as in the log")
    reserve_frac: float | None = Field(None, ge=0, le=1, description="else the boat file's")

    @model_validator(mode="after")
    def _whole(self) -> "PlanQuestion":
        halves = (
            ("the stream", "where it goes (toward_deg)", self.stream_kn, self.toward_deg),
            ("the wind", "where it comes from (from_deg)", self.wind_kn, self.from_deg),
        )
        for what, way, speed_kn, degrees in halves:
            if speed_kn is not None and degrees is None:
                raise ValueError(f"{what} wants {way} beside its knots")
            if speed_kn is None and degrees is not None:
                raise ValueError(f"{what} wants its knots beside its direction")
        return self

    def of(self, route: Path, stream_table: Path | None) -> PlanWish:
        """The wish in SI units, for a route that lies somewhere."""
        wind = self.wind()
        speeds_mps = None if self.speed_kn is None else (self.speed_kn * KN,)
        return PlanWish(
            route=route,
            departure_s=self.depart_utc_s,
            speeds_mps=speeds_mps,
            stream_table=stream_table,
            wind=None if wind is None else forecast(*wind),
            arrive_by_s=self.arrive_by_utc_s,
            charge_frac=self.charge_frac,
            reserve_frac=self.reserve_frac,
            stream=self.stream(),
            leave_within_s=None if self.leave_within_h is None else self.leave_within_h * HOUR_S,
        )


class SeasonQuestion(BaseModel):
    """All may be left out: then it is the year up to the newest trip."""

    year: int | None = Field(None, ge=1990, le=2200, description="the trips of a calendar year")
    first: date | None = Field(None, description="trips from this day on, such as 2026-05-01")
    last: date | None = Field(None, description="trips up to this day, which counts")

    def stretch(self) -> tuple[float | None, float | None]:
        """Beginning and end in seconds since 1970."""
        return seasons.stretch(self.year, self.first, self.last)


def _si(speed_kn: float | None, degrees: float | None) -> tuple[float, float] | None:
    if speed_kn is None or degrees is None:
        return None
    return speed_kn * KN, degrees % 360
