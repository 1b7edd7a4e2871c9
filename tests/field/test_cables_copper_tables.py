"""Copper figures against two federal publications (outside data, public domain)."""

import csv

import pytest

from analyzer.thermal import copper
from logger.boat import Cable
from logger.units import CMIL_MM2, FT


@pytest.fixture
def folder(shared_data):
    found = shared_data / "copper_cable_tables"
    if not found.is_dir():
        pytest.skip(f"outside data not here: {found}")
    return found


def rows_of(path):
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def gauge(text: str) -> str:
    return f"{len(text)}/0" if set(text) == {"0"} else text


def test_ampacity_is_the_regulation_s(folder):
    rows = rows_of(folder / "boat_ampacity_under_50V.csv")
    assert len(rows) == 60
    for row in rows:
        rating = float(row["insulation_rating_C"])
        cable = Cable(name="x", size_awg=gauge(row["awg"]), length_m=1, insulation_rating_c=rating)
        assert copper.ampacity_a(cable) == float(row["allowable_current_A"]), row


def test_resistance_per_copper_area_stays_below_and_near_the_published_maximum(folder):
    """The publication's figures are the largest allowed, tin-plated, rounded to a hundredth of an
    ohm per 1000 ft; its conductors hold up to a sixth more or less copper than the solid gauge, so
    ours are scaled to its areas. Fine tinned strand may be up to a fifth above a typical cable.
    """
    print()
    for row in rows_of(folder / "copper_wire_resistance.csv"):
        awg, most = gauge(row["awg"]), float(row["max_resistance_ohm_per_1000ft_20C"])
        area = float(row["conductor_area_circular_mils"]) * CMIL_MM2
        ideal = copper.RHO_20C_OHM_MM2_M / area * 1000 * FT
        cable = Cable(name="x", size_awg=awg, length_m=1, tinned=True)
        ours = copper.ohm_per_m_20c(cable) * 1000 * FT * copper.area_mm2(cable) / area
        rounding = 0.05 if most >= 1 else 0.005
        print(
            f"{awg:>4} AWG: at most {most:6.2f}, ideal {ideal:6.3f}, ours {ours:6.3f} ohm/1000 ft"
        )
        assert ideal <= most + rounding
        assert ours <= most + rounding
        assert ours == pytest.approx(most, rel=0.2, abs=rounding)
