"""What the recorder's own counters mean."""

from typing import Any

import pytest

from analyzer.check import recorder
from logger.store import Boot


@pytest.mark.parametrize(
    ("said", "kinds"),
    [
        ({"up": True, "trouble": "", "frames": 1000, "values": 9000, "unknown_id": 900}, []),
        ({"up": True, "frames": 1000, "checksum": 19}, []),  # a few are usual
        ({"up": True, "frames": 1000, "checksum": 21, "void": 900}, ["source_refused"]),
        ({"up": True, "frames": 100_000, "checksum": 1000}, []),  # 1 %
        ({"up": True, "frames": 0, "syntax": 500}, ["source_refused"]),
        ({"up": False, "trouble": "could not open port /dev/ttyUSB0"}, ["source_down"]),
        ({"up": True, "frames": 5000, "reconnects": 12}, ["source_loose"]),
        ({"up": True, "frames": 5000, "dropped": 1}, ["source_dropped"]),
        ({"up": True, "frames": 5000, "bus_off": 1}, ["source_bus_off"]),
    ],
)
def test_findings_of_a_source(said: dict[str, Any], kinds: list[str]):
    found = recorder.findings({"gps": said})
    assert [f.kind for f in found] == kinds
    assert all(0.0 < f.sureness_frac <= 1.0 for f in found)


def test_findings_name_the_source_and_the_commonest_cause():
    said = {"up": True, "frames": 100, "checksum": 30, "syntax": 20}
    (finding,) = recorder.findings({"gps": said})
    assert finding.subject == "source gps"
    assert "50 % of what source gps sends" in finding.text  # 50 of 100
    assert "wrong checksums" in finding.text


def test_disk_nearly_full_is_said():
    assert [f.kind for f in recorder.findings({}, 0.03)] == ["disk_nearly_full"]
    assert recorder.findings({}, 0.5) == ()


def test_words_of_another_shape_do_no_harm():
    assert recorder.findings({"gps": "?", "can": {"up": None, "frames": "many"}}) == ()


def boot(number: int, **fields: Any) -> Boot:
    known = {"utc_offset_us": 1, "utc_source": "gnss", "utc_uncertainty_s": 0.5, "first_us": 0,
             "last_us": 9, "timeline_offset_us": 0, "remark": "", "recorded": False}  # fmt: skip
    return Boot(number=number, uid=str(number), **(known | fields))


@pytest.mark.parametrize(
    ("boots", "kinds"),
    [
        ([], []),
        ([boot(1)], []),
        ([boot(1, remark="1024 weeks behind")], ["date_corrected"]),
        ([boot(1, remark="1024 weeks behind"), boot(2)], []),  # only the newest counts
        ([boot(1), boot(2, utc_source=None)], ["undated"]),
        ([boot(1, utc_source=None), boot(2, utc_source=None, recorded=True)], ["undated"]),
        ([boot(1, utc_source=None, recorded=True)], []),
        ([boot(1, utc_source=None, first_us=None)], []),
    ],
)
def test_a_date_that_is_odd_is_said(boots: list[Boot], kinds: list[str]):
    found = recorder.dating(boots)
    assert [f.kind for f in found] == kinds
    assert all(0.0 < f.sureness_frac <= 1.0 for f in found)


@pytest.mark.parametrize(
    ("arriving", "kinds"),
    [
        ({"pack_voltage_v", "other_hvess_current_a"}, ["current_sense_untold"]),
        ({"pack_voltage_v", "other_hvess_current_a", "pack_current_a"}, []),  # a shunt measures it
        ({"pack_voltage_v"}, []),
    ],
)
def test_a_current_whose_sense_nobody_tells_is_said(arriving, kinds):
    found = recorder.untold_sense(frozenset(arriving))
    assert [f.kind for f in found] == kinds
    assert all("hvess_sign" in f.cure for f in found)
