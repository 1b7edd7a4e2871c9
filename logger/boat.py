"""boat.toml: what the boat is and what is measured on it.

Every key has its unit in its name. `load` reads a file; every error names the key, what it
wants and what it got, in one sentence.
"""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

Positive = Annotated[float, Field(gt=0)]
Name = Annotated[str, Field(pattern=r"^[a-z0-9_]{1,40}$")]


class Part(BaseModel):
    """Base of all parts: no unknown keys, no changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Hull(Part):
    """The hull's numbers, as far as they are known."""

    kind: Literal["long_keel", "fin_keel", "light_keel", "catamaran", "motor_launch"] = "fin_keel"
    waterline_m: Annotated[float, Field(gt=2, lt=40)]
    beam_waterline_m: Annotated[float, Field(gt=0.5, lt=15)]
    draught_m: Annotated[float, Field(gt=0.1, lt=6)]  # with keel
    displacement_kg: Annotated[float, Field(gt=50, lt=200_000)]
    body_draught_m: Annotated[float, Field(gt=0.05, lt=6)] | None = None  # without keel
    wetted_area_m2: Positive | None = None
    prismatic_coefficient: Annotated[float, Field(gt=0.4, lt=0.8)] | None = None
    windage_area_m2: Positive | None = None  # above water, seen from ahead


class Pack(Part):
    """The battery."""

    chemistry: Literal["lfp", "nmc", "lead_acid"]
    cells_in_series: Annotated[int, Field(ge=1, le=200)]
    rated_capacity_ah: Positive
    blocks_in_series: Annotated[int, Field(ge=1, le=60)] | None = None  # factory blocks, if any
    cell_cutoff_v: Positive | None = None  # where the protection opens; None: the chemistry's
    cell_full_v: Positive | None = None
    max_discharge_a: Positive | None = None  # continuous
    max_charge_a: Positive | None = None
    cell_resistance_ohm: Positive | None = None  # maker's figure, at 25 °C
    max_temp_c: float | None = None

    @model_validator(mode="after")
    def _whole_blocks(self) -> Self:
        if self.blocks_in_series and self.cells_in_series % self.blocks_in_series:
            raise ValueError(
                f"cells_in_series must be a multiple of blocks_in_series, got "
                f"{self.cells_in_series} and {self.blocks_in_series}"
            )
        return self


class Motor(Part):
    """Motor, controller and propeller."""

    rated_power_w: Positive
    gear_ratio: Positive = 1.0  # motor turns per shaft turn
    propeller_diameter_m: Positive | None = None
    propeller_pitch_m: Positive | None = None
    propeller_blades: Annotated[int, Field(ge=1, le=7)] | None = None
    cutback_v: Positive | None = None  # controller begins to give less power below this
    shutdown_v: Positive | None = None  # controller stops below this
    motor_max_temp_c: float | None = None
    controller_max_temp_c: float | None = None


class Cable(Part):
    """One cable run with at most one probe on it."""

    name: Name
    size_mm2: Positive | None = None
    size_awg: Annotated[str, Field(pattern=r"^(\d{1,2}|[1-4]/0)$")] | None = None
    length_m: Positive  # of this conductor, one way
    insulation_rating_c: Annotated[float, Field(ge=60, le=250)] = 90.0
    tinned: bool = False
    in_engine_space: bool = False
    probe: Name | None = None  # the probe's channel is probe_<probe>_temp_c
    probe_at: Literal["lug", "cable", "contactor", "shunt"] = "lug"
    limit_c: float | None = None  # None: from the insulation
    current_channel: str = "pack_current_a"
    partner: Name | None = None  # the other pole's cable, for comparison

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        if (self.size_mm2 is None) == (self.size_awg is None):
            raise ValueError("wants exactly one of size_mm2 and size_awg")
        return self


class Hotel(Part):
    """Everything electric but the motor."""

    power_w: Annotated[float, Field(ge=0)] = 0.0  # typical; used where it is not measured
    measured_in_pack_current: bool = True


class Solar(Part):
    """Panels."""

    peak_w: Annotated[float, Field(ge=0)] = 0.0


class Home(Part):
    """Where the boat wants to be able to return to."""

    name: str = "home"
    latitude_deg: Annotated[float, Field(ge=-90, le=90)]
    longitude_deg: Annotated[float, Field(ge=-180, le=180)]


class Reserve(Part):
    """What must be left on arrival."""

    soc_frac: Annotated[float, Field(ge=0, lt=1)] = 0.2
    return_sureness_frac: Annotated[float, Field(gt=0.5, lt=1)] = 0.9


class SourceSpec(Part):
    """One way in. `options` are those of its kind; that kind's file in `logger/sources` says."""

    name: Name
    kind: str
    options: dict[str, object] = Field(default_factory=dict)


class Boat(Part):
    """The whole file."""

    name: str
    hull: Hull
    pack: Pack
    motor: Motor
    cable: tuple[Cable, ...] = ()
    hotel: Hotel = Hotel()
    solar: Solar = Solar()
    home: Home | None = None
    reserve: Reserve = Reserve()
    source: tuple[SourceSpec, ...] = ()
    log_path: str | None = None
    flush_s: Annotated[float, Field(gt=0, le=600)] = 1.0
