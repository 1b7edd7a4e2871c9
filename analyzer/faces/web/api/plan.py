"""What the HTTP API may be told of a passage, beside its route."""

from pathlib import Path
from typing import Any

from pydantic import BaseModel, Field

from analyzer.answers.passage import PlanWish
from analyzer.faces.web import plan_page
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
        """The wish in SI units, for a route that lies somewhere."""
        return PlanWish(
            route=route,
            departure_s=self.depart_utc_s,
            speeds_mps=None if self.speed_kn is None else (self.speed_kn * KN,),
            stream_table=stream_table,
            wind=plan_page.told_wind(self.wind_kn, self.from_deg),
            arrive_by_s=self.arrive_by_utc_s,
            charge_frac=self.charge_frac,
            reserve_frac=self.reserve_frac,
            stream=plan_page.told_stream(self.stream_kn, self.toward_deg),
        )
