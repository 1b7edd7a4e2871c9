"""What the HTTP API may be told of a passage, beside its route."""

from pathlib import Path
from typing import Any

from pydantic import BaseModel, Field

from analyzer.answers.passage import PlanWish, forecast
from logger.units import KN

GPX_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {"application/gpx+xml": {"schema": {"type": "string", "format": "binary"}}},
    }
}
_UTC = "seconds since 1970, UTC"


class PlanQuestion(BaseModel):
    """All may be left out."""

    depart_utc_s: float | None = Field(None, ge=0, le=1e11, description=f"{_UTC}; else now")
    arrive_by_utc_s: float | None = Field(None, ge=0, le=1e11, description=_UTC)
    speed_kn: float | None = Field(None, ge=0.5, le=30, description="else the cheapest speeds")
    charge_frac: float | None = Field(None, ge=0, le=1, description="else as in the log")
    reserve_frac: float | None = Field(None, ge=0, le=1, description="else the boat file's")
    stream_kn: float | None = Field(None, ge=0, le=20, description="else as the log shows it")
    toward_deg: float | None = Field(None, ge=0, le=360, description="where the stream goes")
    wind_kn: float | None = Field(None, ge=0, le=60, description="the true wind's knots")
    from_deg: float | None = Field(None, ge=0, le=360, description="where the wind comes from")

    def of(self, route: Path, stream_table: Path | None) -> PlanWish:
        """The wish in SI units, for a route that lies somewhere; half a wind is none."""
        wind, stream = (self.wind_kn, self.from_deg), (self.stream_kn, self.toward_deg)
        return PlanWish(
            route=route,
            departure_s=self.depart_utc_s,
            speeds_mps=None if self.speed_kn is None else (self.speed_kn * KN,),
            stream_table=stream_table,
            wind=None if None in wind else forecast(*_si(*wind)),
            arrive_by_s=self.arrive_by_utc_s,
            charge_frac=self.charge_frac,
            reserve_frac=self.reserve_frac,
            stream=None if None in stream else _si(*stream),
        )


def _si(speed_kn: float | None, degrees: float | None) -> tuple[float, float]:
    return (speed_kn or 0.0) * KN, (degrees or 0.0) % 360
