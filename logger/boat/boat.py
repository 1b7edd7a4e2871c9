"""boat.toml: what the boat is and what is measured on it.

Every key has its unit in its name. `load` reads a file; every error names the key, what it
wants and what it got, in one sentence.
"""

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    model_validator,
)

Positive = Annotated[float, Field(gt=0, lt=100_000)]
Volts = Annotated[float, Field(gt=0, lt=1500)]
CellVolts = Annotated[float, Field(gt=0.5, lt=6)]
Celsius = Annotated[float, Field(ge=-40, le=250)]
Text = Annotated[str, Field(min_length=1, max_length=200)]
Name = Annotated[str, Field(pattern=r"^[a-z0-9_]{1,40}$")]

_AUGHTS = {"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"}


def _awg_text(value: Any) -> Any:
    """2 and "2" are the same size, and so are "00" and "2/0"."""
    text = str(value) if isinstance(value, int) and not isinstance(value, bool) else value
    return _AUGHTS.get(text, text) if isinstance(text, str) else text


Awg = Annotated[str, Field(pattern=r"^([1-9]|[12]\d|[1-4]/0)$"), BeforeValidator(_awg_text)]


class Part(BaseModel):
    """Base of all parts: no unknown keys, no changes after reading, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Hull(Part):
    """The hull's numbers, as far as they are known."""

    kind: Literal["long_keel", "fin_keel", "light_keel", "catamaran", "motor_launch"] = "fin_keel"
    waterline_m: Annotated[float, Field(gt=2, lt=40)]
    beam_waterline_m: Annotated[float, Field(gt=0.5, lt=15)]
    draught_m: Annotated[float, Field(gt=0.1, lt=6)]  # with keel
    displacement_kg: Annotated[float, Field(gt=50, lt=200_000)]
    body_draught_m: Annotated[float, Field(gt=0.05, lt=6)] | None = None  # without keel
    wetted_area_m2: Annotated[float, Field(gt=0.5, lt=1000)] | None = None
    prismatic_coefficient: Annotated[float, Field(gt=0.4, lt=0.8)] | None = None
    windage_area_m2: Annotated[float, Field(gt=0.1, lt=500)] | None = None  # seen from ahead
    cruising_speed_mps: Annotated[float, Field(gt=0.2, lt=12)] | None = None  # usual, under motor
    water_density_kg_m3: Annotated[float, Field(ge=990, le=1040)] = 1025.0  # 1000: a lake


class Pack(Part):
    """The battery."""

    chemistry: Literal["lfp", "nmc", "lead_acid", "agm", "gel"]
    cells_in_series: Annotated[int, Field(ge=1, le=200)]
    rated_capacity_ah: Annotated[float, Field(gt=0, lt=20_000)]
    age_years: Annotated[float, Field(ge=0, le=40)] | None = None  # when recording began
    nominal_voltage_v: Volts | None = None  # as its label says; only to check the cell count
    blocks_in_series: Annotated[int, Field(ge=1, le=60)] | None = None  # factory blocks, if any
    cell_cutoff_v: CellVolts | None = None  # where the protection opens; None: the chemistry's
    cell_full_v: CellVolts | None = None
    max_discharge_a: Positive | None = None  # continuous
    max_charge_a: Positive | None = None
    cell_resistance_ohm: Annotated[float, Field(gt=0, lt=1)] | None = None  # maker's, at 25 °C
    max_temp_c: Celsius | None = None

    @model_validator(mode="after")
    def _whole_blocks(self) -> Self:
        if self.blocks_in_series and self.cells_in_series % self.blocks_in_series:
            raise ValueError(
                f"cells_in_series wants a multiple of blocks_in_series, as every block holds as "
                f"many cells; got {self.cells_in_series} cells in {self.blocks_in_series} blocks"
            )
        return self


class Motor(Part):
    """Motor, controller and propeller."""

    rated_power_w: Annotated[float, Field(gt=10, lt=1e6)]
    max_current_a: Positive | None = None  # the most the controller takes from the pack
    gear_ratio: Annotated[float, Field(gt=0, lt=100)] = 1.0  # motor turns per shaft turn
    propeller_diameter_m: Annotated[float, Field(gt=0.05, lt=3)] | None = None
    propeller_pitch_m: Annotated[float, Field(gt=0.02, lt=4)] | None = None
    propeller_blades: Annotated[int, Field(ge=1, le=7)] | None = None
    cutback_v: Volts | None = None  # controller begins to give less power below this
    shutdown_v: Volts | None = None  # controller stops below this
    motor_max_temp_c: Celsius | None = None
    controller_max_temp_c: Celsius | None = None


class Cable(Part):
    """One cable run with at most one probe on it."""

    name: Name
    size_mm2: Annotated[float, Field(gt=0.1, lt=1000)] | None = None
    size_awg: Awg | None = None
    length_m: Annotated[float, Field(gt=0, lt=100)]  # of this conductor, one way
    insulation_rating_c: Annotated[float, Field(ge=60, le=250)] = 90.0
    tinned: bool = False
    fine_stranded: bool = True  # IEC 60228 class 5 or 6; False: class 1 or 2, a few thick strands
    in_engine_space: bool = False
    conductors_in_bundle: Annotated[int, Field(ge=1, le=60)] = 1  # that carry current, itself too
    fuse_a: Positive | None = None  # the fuse or breaker of this run
    probe: Name | None = None  # the probe's channel is probe_<probe>_temp_c
    probe_at: Literal["lug", "cable", "contactor", "shunt"] = "lug"
    limit_c: Celsius | None = None  # None: from the insulation
    current_channel: Text = "pack_current_a"
    partner: Name | None = None  # the other pole's cable, for comparison

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        if (self.size_mm2 is None) == (self.size_awg is None):
            got = "neither" if self.size_mm2 is None else "both"
            raise ValueError(f"wants exactly one of size_mm2 and size_awg; got {got}")
        return self


class Hotel(Part):
    """Everything electric but the motor."""

    # Typical; used where it is not measured.
    power_w: Annotated[float, Field(ge=0, lt=50_000)] = 0.0
    measured_in_pack_current: bool = True


class Solar(Part):
    """Panels."""

    peak_w: Annotated[float, Field(ge=0, lt=50_000)] = 0.0


class Home(Part):
    """Where the boat wants to be able to return to."""

    name: Text = "home"
    latitude_deg: Annotated[float, Field(ge=-90, le=90)]
    longitude_deg: Annotated[float, Field(ge=-180, le=180)]


class Reserve(Part):
    """What must be left on arrival."""

    soc_frac: Annotated[float, Field(ge=0, lt=1)] = 0.2
    return_sureness_frac: Annotated[float, Field(gt=0.5, lt=1)] = 0.98


class SourceSpec(Part):
    """One way in. `options` are those of its kind; that kind's file in `logger/sources` says."""

    name: Name
    kind: Text
    options: dict[str, object] = Field(default_factory=dict)


class Tell(Part):
    """One way out for flags and figures: NMEA 0183 lines over a socket, or a command."""

    kind: Literal["udp", "tcp", "command"]
    host: Text = "127.0.0.1"  # udp: where to; tcp: on which address to listen
    port: Annotated[int, Field(ge=0, le=65535)] = 10110  # registered for NMEA 0183
    command: Annotated[tuple[Text, ...], Field(strict=False)] = ()  # program's path, arguments
    limit_s: Annotated[float, Field(gt=0, le=30)] = 10.0  # a command is ended after this

    @model_validator(mode="after")
    def _has_command(self) -> Self:
        if (self.kind == "command") != bool(self.command):
            raise ValueError("wants a command where kind is command, and only there")
        if self.command and not self.command[0].startswith("/"):
            raise ValueError(f"wants the command's whole path, got {self.command[0]!r}")
        return self


class Boat(Part):
    """The whole file."""

    name: Text
    hull: Hull
    pack: Pack
    motor: Motor
    cable: Annotated[tuple[Cable, ...], Field(strict=False)] = ()
    hotel: Hotel = Hotel()
    solar: Solar = Solar()
    home: Home | None = None
    reserve: Reserve = Reserve()
    source: Annotated[tuple[SourceSpec, ...], Field(strict=False)] = ()
    tell: Annotated[tuple[Tell, ...], Field(strict=False)] = ()
    fault_text: dict[str, Text] = Field(default_factory=dict)  # controller's number -> meaning
    log_path: Text | None = None
    flush_s: Annotated[float, Field(gt=0, le=600)] = 1.0
    log_limit_mb: Annotated[float, Field(ge=10)] | None = None  # None: what the disk has
    full_rate_days: Annotated[float, Field(ge=1)] = 90.0  # younger readings are never thinned
    engine_space_temp_c: Annotated[float, Field(ge=20, le=90)] = 50.0

    _folder: Path = PrivateAttr(default_factory=Path)

    @property
    def folder(self) -> Path:
        """Where the file lies: files it names are found from here."""
        return self._folder
