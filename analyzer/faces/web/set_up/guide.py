"""Set-up step by step: what is asked, in words and in the units of whoever answers, and the boat
file that the answers make.

Nothing is kept between the steps but what the page itself carries along.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit

from analyzer.faces.web import waypoints
from analyzer.faces.web.set_up.faults import Fault, faults
from analyzer.faces.web.set_up.form_fields import Field, Section, valued
from analyzer.faces.web.set_up.forms import FormError
from logger import boat
from logger.boat.starter import starter_text
from logger.errors import BoatFileError

Units = tuple[tuple[str, float], ...]  # a word, and what one of it is in the boat file's unit
LENGTH: Units = (("metres", 1.0), ("feet", 0.3048))  # by definition
WEIGHT: Units = (("tonnes", 1000.0), ("kg", 1.0), ("pounds", 0.45359237))  # by definition
POWER: Units = (("kW", 1000.0), ("hp", 745.69987))  # 550 foot-pounds a second, by definition
PERCENT: Units = (("%", 0.01),)


@dataclass(frozen=True)
class Ask:
    """One thing that is asked. key: in the boat file; choices: value and words."""

    key: str
    label: str
    help: str = ""
    units: Units = ()
    choices: tuple[tuple[str, str], ...] = ()
    start: str = ""
    number: bool = True

    @property
    def field(self) -> Field:
        """As a field of the form."""
        return Field(self.key, self.label, "", self.help, self.start, (), True, self.number)


@dataclass(frozen=True)
class Step:
    """One page. costs: what leaving it out costs; empty where it cannot be left out."""

    name: str
    title: str
    asks: tuple[Ask, ...] = ()
    costs: str = ""


KINDS = (
    ("fin_keel", "Fin keel"),
    ("long_keel", "Long keel"),
    ("light_keel", "Light, with a fin or a lifting keel"),
    ("catamaran", "Catamaran"),
    ("motor_launch", "Motor launch"),
)
CHEMISTRIES = (
    ("lfp", "Lithium iron phosphate (LFP)"),
    ("nmc", "Lithium, nickel and cobalt (NMC)"),
    ("agm", "Lead, AGM"),
    ("gel", "Lead, gel"),
    ("lead_acid", "Lead, flooded"),
)
STEPS = (
    Step(
        "boat",
        "What kind of boat?",
        (
            Ask("name", "Its name", number=False),
            Ask("hull.kind", "Its keel", choices=KINDS, start="fin_keel", number=False),
            Ask("hull.waterline_m", "Length on the waterline", units=LENGTH),
            Ask("hull.beam_waterline_m", "Greatest breadth on the waterline", units=LENGTH),
            Ask("hull.draught_m", "Draught, with keel", units=LENGTH),
            Ask("hull.displacement_kg", "Weight as it floats", "With crew and gear", WEIGHT),
        ),
    ),
    Step(
        "battery",
        "What battery?",
        (
            Ask("pack.chemistry", "Its kind", choices=CHEMISTRIES, start="lfp", number=False),
            Ask(
                "pack.cells_in_series",
                "Cells in series",
                "A 12.8 V lithium battery has 4, a 12 V lead battery 6; batteries one behind the "
                "other add up",
            ),
            Ask("pack.rated_capacity_ah", "Ampere-hours", "Batteries side by side add up"),
            Ask(
                "pack.age_years",
                "How many years old",
                "Older cells hold less than their label; may stay empty",
            ),
            Ask(
                "pack.blocks_in_series",
                "Factory batteries in series, if it is made of such",
                "Leave empty for bare cells",
            ),
        ),
    ),
    Step(
        "motor",
        "What motor?",
        (
            Ask("motor.rated_power_w", "Its power", "As on its plate", POWER),
            Ask(
                "motor.max_current_a",
                "Most amperes from the pack",
                "The controller's limit; may stay empty",
            ),
            Ask("motor.gear_ratio", "Motor turns for one of the shaft", start="1"),
        ),
    ),
    Step(
        "cables",
        "The cables to the motor",
        (
            Ask("cable.0.size_mm2", "Copper, square millimetres", "Printed on the cable"),
            Ask("cable.0.length_m", "Length, one way", units=LENGTH),
        ),
        "nothing can be said of how warm cables and joints should be",
    ),
    Step(
        "home",
        "Where is home, and what is kept?",
        (
            Ask("home.name", "Its name", start="home", number=False),
            Ask("home.place", "Its place", "As 46 16.89 N, 23 52.44 W", number=False),
            Ask("reserve.soc_frac", "Charge to be left on arrival", units=PERCENT, start="20"),
        ),
        "nobody says when to turn round, and 20 % of the charge is kept",
    ),
    Step("plugged", "What is plugged in?", costs="nothing is recorded yet"),
    Step("done", "Is this your boat?"),
)
NAMES = tuple(step.name for step in STEPS)
ASKS = tuple(ask for step in STEPS for ask in step.asks)


def written(text: str, form: Mapping[str, str]) -> dict[str, str]:
    """What stands in every field: what was written, else what the boat file has, else the start."""
    table = tomlkit.parse(text).unwrap()
    return {ask.key: form.get(ask.key, _held(ask, table) or ask.start) for ask in ASKS}


def _held(ask: Ask, table: Mapping[str, Any]) -> str:
    """The boat file's own value, in the first of the units."""
    home = table.get("home")
    if ask.key == "home.place":
        if not home:
            return ""
        return waypoints.text([(home["latitude_deg"], home["longitude_deg"], "")])
    value: Any = table
    for part in ask.key.split("."):
        if isinstance(value, list):
            value = value[int(part)] if int(part) < len(value) else None
        else:
            value = value.get(part) if isinstance(value, dict) else None
    if value is None:
        return ""
    return f"{value / ask.units[0][1]:.6g}" if ask.units else str(value)


def boat_file(text: str, form: Mapping[str, str], left_out: frozenset[str]) -> str:
    """The boat file with the answers in it.

    Args:
        text: The one there is; empty: none yet.
        form: As `written` gives it, and each unit under its key with ".unit" behind.
        left_out: Names of steps that were left out.
    Raises:
        FormError: Home's place is none.
    """
    document = tomlkit.parse(text)
    for step in STEPS:
        for ask in step.asks if step.name not in left_out else ():
            if form.get(ask.key, "").strip() and not ask.key.startswith("cable."):
                _put(document, ask, form)
    if "cables" not in left_out and form.get("cable.0.size_mm2") and "cable" not in document:
        document["cable"] = _cables(form)
    return tomlkit.dumps(document)


def _put(document: tomlkit.TOMLDocument, ask: Ask, form: Mapping[str, str]) -> None:
    if ask.key == "home.place":
        (place, *_) = waypoints.places(form[ask.key])
        _set(document, "home.latitude_deg", round(place[0], 6))
        _set(document, "home.longitude_deg", round(place[1], 6))
    elif ask.key != "home.name" or form.get("home.place", "").strip():
        _set(document, ask.key, value_of(ask, form))


def value_of(ask: Ask, form: Mapping[str, str]) -> Any:
    """A written value in the boat file's unit; text that is no number stays text."""
    value = valued(ask.field, form[ask.key].strip())
    if not ask.units or isinstance(value, str):
        return value
    of_unit = dict(ask.units).get(form.get(f"{ask.key}.unit", ""), ask.units[0][1])
    return float(f"{value * of_unit:.6g}")


def _set(document: Any, key: str, value: Any) -> None:
    table, _, name = key.rpartition(".")
    if table and table not in document:
        document[table] = tomlkit.table()
    place = document[table] if table else document
    if place.get(name) != value:
        place[name] = value


def _cables(form: Mapping[str, str]) -> Any:
    """Both poles alike."""
    cables = tomlkit.aot()
    for name, other in (("positive", "negative"), ("negative", "positive")):
        cable = tomlkit.table()
        cable["name"] = name
        for ask in ASKS:
            if ask.key.startswith("cable.0.") and form.get(ask.key, "").strip():
                cable[ask.key.rpartition(".")[2]] = value_of(ask, form)
        cable["partner"] = other
        cables.append(cable)
    return cables


def wrong(text: str, form: Mapping[str, str], step: Step) -> list[Fault]:
    """What is wrong at one step; what later steps will ask for is taken from an example."""
    later = STEPS[NAMES.index(step.name) + 1 :]
    example = written(starter_text(), {})
    asked = {key: value for key, value in form.items() if key != "home.place"}
    for ask in (ask for one in later for ask in one.asks):
        if not asked.get(ask.key, "").strip() and not ask.key.startswith(("cable.", "home.")):
            asked[ask.key] = example[ask.key]
    try:
        if step.name == "home" and form.get("home.place", "").strip():
            waypoints.places(form["home.place"])
        boat.parse(boat_file(text, asked, frozenset()), "boat.toml")
    except FormError as error:
        return [Fault(str(error), "home.place", "Its place")]
    except BoatFileError as error:
        return _here(str(error), form, step)
    return []


def _here(said: str, form: Mapping[str, str], step: Step) -> list[Fault]:
    section = Section(step.title, tuple(ask.field for ask in step.asks))
    found = faults(said, [section], {**form, "cable.0.name": "positive"})
    tables = {ask.key.partition(".")[0] for ask in step.asks}
    return [
        Fault(f.text, f.field, f.label.removeprefix(f"{step.title}: "))
        for f in found
        if f.field or any(f.text.startswith((f"{t}:", f"[{t}]")) for t in tables)
    ]
