"""Nearly right input into every way in: each answers, or says in one of its own errors why not.

A short run is part of the build, with the same examples each time. New ones for an hour, all
targets together: KEELWATT_FUZZ_S=3600 python -m pytest tests/fuzz
"""

import asyncio
import io
import itertools
import os
import re
import tempfile
import time
from contextlib import closing, suppress
from pathlib import Path
from urllib.parse import quote

import can
import httpx
import hypothesis
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analyzer.errors import AnalyzerError
from analyzer.exchange import csv_table, forms, gpx_track, packed_log, rows
from analyzer.faces.web.app import create_app
from logger import boat as boats
from logger.errors import LoggerError
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store
from replay.player import open_recordings, play
from tests.fuzz.mutations import mutated, packed
from tests.support.invented import InventedLog
from tests.support.small_boat import BOAT_TEXT

SECONDS = float(os.environ.get("KEELWATT_FUZZ_S", "0"))
TARGETS = 10
AT_ONCE = 25  # examples of one seed
SEEDS = 8  # in the build
S = 1_000_000
SAID = (LoggerError, AnalyzerError)
GROUP = Group(
    "gps/RMC", ("latitude_deg", "longitude_deg", "speed_ground_mps"), (EXACT, EXACT, EXACT)
)


def for_its_share(test) -> None:
    """Runs a hypothesis test with one seed after the other until the target's time is over; in
    the build with the first few."""
    until, first = time.monotonic() + SECONDS / TARGETS, int(time.time()) if SECONDS else 0
    ran = settings(
        max_examples=AT_ONCE,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        print_blob=True,
    )(test)
    for seed in itertools.count(first):
        if seed >= first + SEEDS and time.monotonic() >= until:
            return
        hypothesis.seed(seed)(ran)()


class Sink:
    def add(self, item) -> None:
        assert item.t_us is not None


@pytest.fixture(scope="module")
def log_bytes(tmp_path_factory) -> dict[str, bytes]:
    """A small log in all forms."""
    folder = tmp_path_factory.mktemp("log")
    with Store.open(folder / "a.sqlite", write=True) as store:
        store.save_boat(BOAT_TEXT, 1)
        with store.writer("boot-a") as writer:
            writer.add(UtcFix(0, 1_782_887_400 * S, "gnss", 0.1))
            at = np.arange(40)
            table = np.column_stack([46 + at / 1e4, -23 + at / 1e4, at % 3 + 0.5])
            writer.add(Block(GROUP, at * S, table))
        found = {}
        stretch = rows.choose(store, None, (), None)
        for form, write in {
            "csv": lambda out: csv_table.write(store, stretch, out),
            "gpx": lambda out: gpx_track.write(store, stretch, "x", out),
            "sqlite.zst": lambda out: packed_log.write(store, out),
        }.items():
            out = io.BytesIO()
            write(out)
            found[form] = out.getvalue()
    found["sqlite"] = (folder / "a.sqlite").read_bytes()
    return found


CANDUMP = (
    b"(1700000000.100000) can0 18FF1200#0102030405060708\n(1700000000.200000) can0 12C#8813\n"
    b"(1700000001.000000) can1 12C##1112233\n can0  12C   [2]  88 13\n(2026-01-02 10:00:00.5) can0"
    b" 12C#R\n(1700000002.0) can0 20000004#0000000000000000\n"
)
NMEA = (
    b"$GPRMC,100000.00,A,4600.0000,N,02300.0000,W,5.0,40.0,010726,,,A*4D\r\n"
    b"(1700000000.5) gps $IIMTW,18.5,C*1F\n$GPZDA,100001.00,01,07,2026,00,00*6C\n"
    b"$GPGGA,100000,4600.0,N,02300.0,W,1,08,0.9,5.0,M,47.0,M,,*48\n"
    b"!AIVDM,1,1,,A,15MgK45P3@G?fl0E`JbR0OwT0@MS,0*4E\n"
)
TABLE = b"t,v,a\n0,52.1,3\n1,52.0,4.5\n2,,\n" + b"".join(b"%d,51.9,1\n" % k for k in range(3, 40))
TRACE = b""";$FILEVERSION=2.1
;$STARTTIME=46157.4236111111
;$COLUMNS=N,O,T,B,I,d,R,L,D
      1      1059.900 DT 1      0300 Rx -  7    00 00 00 00 04 00 00
      2      1060.100 FD 1  18FEF121 Rx -  9    00 00 00 00 04 00 00 00 00 00 00 00
"""
ASC = (
    b"date Mon Nov 30 10:00:00.000 am 2026\nbase hex timestamps absolute\ninternal events logged\n"
    b"Begin Triggerblock Mon Nov 30 10:00:00.000 am 2026\n   0.000000 Start of measurement\n"
    b"   0.100000 1  12C             Rx   d 2 88 13\n   0.2 1 18FF1200x Rx d 8 1 2 3 4 5 6 7 8\n"
    b"   0.300000 CANFD   1 Rx        12C                                   0 0 2  2 88 13\n"
    b"   0.4 1  12C             Rx   r\n   0.5 1 ErrorFrame\nEnd Triggerblock\n"
)
MAP_TEXT = (
    '[time]\ncolumn = "t"\nunit = "s"\n[[column]]\ncolumn = "v"\nchannel = "pack_voltage_v"\n'
)


def blf() -> bytes:
    """A few frames as python-can writes them."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.blf"
        with can.BLFWriter(path, max_container_size=256) as writer:
            for k in range(30):
                writer.on_message_received(
                    can.Message(timestamp=1_700_000_000 + k, arbitration_id=300, data=bytes(8))
                )
        return path.read_bytes()


def play_file(folder: Path, name: str, content: bytes) -> None:
    path = folder / name
    path.write_bytes(content)
    with suppress(*SAID), closing(open_recordings([path])) as player:
        play(player, Sink())


@pytest.mark.parametrize(
    ("name", "samples"),
    [
        ("a.log", [CANDUMP, NMEA]),
        ("a.csv", [TABLE]),
        ("a.asc", [ASC]),
        ("a.blf", [blf()]),
        ("a.trc", [TRACE]),
    ],
    ids=["lines", "csv", "asc", "blf", "trc"],
)
def test_recordings(tmp_path, name, samples):
    (tmp_path / "a.toml").write_text(MAP_TEXT)
    share = packed(samples)

    @given(share)
    def run(content: bytes) -> None:
        play_file(tmp_path, name, content)

    for_its_share(run)


def test_the_boat_file_and_column_maps(tmp_path):
    @given(mutated([BOAT_TEXT.encode(), MAP_TEXT.encode()]))
    def run(content: bytes) -> None:
        (tmp_path / "boat.toml").write_bytes(content)
        with suppress(*SAID):
            boats.load(tmp_path / "boat.toml")

    for_its_share(run)


ROUTE = (
    b'<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><rte>'
    b'<rtept lat="46.0" lon="-23.0"/><rtept lat="46.1" lon="-23.1"/></rte></gpx>'
)


@pytest.mark.parametrize("form", ["csv", "gpx", "archive"])
def test_imports(tmp_path, log_bytes, form):
    samples = {
        "csv": [log_bytes["csv"]],
        "gpx": [log_bytes["gpx"]],
        "archive": [log_bytes["sqlite.zst"]],
    }[form]
    ending = "sqlite.zst" if form == "archive" else form

    @given(mutated(samples))
    def run(content: bytes) -> None:
        file, log = tmp_path / f"a.{ending}", tmp_path / "a.sqlite"
        file.write_bytes(content)
        log.unlink(missing_ok=True)
        try:
            forms.read(file, log)
        except SAID:
            assert not log.exists()

    for_its_share(run)


def ask(app, how: str, path: str, **named) -> httpx.Response:
    """One request, answered in process."""

    async def one() -> httpx.Response:
        transport = httpx.ASGITransport(app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            return await client.request(how, path, **named)

    return asyncio.run(one())


def test_http():
    app = create_app(InventedLog())
    described = ask(app, "GET", "/api/v1/openapi.json").json()["paths"]
    endless = {path for path in described if "events" in path or "live" in path}
    pages = ["/", "/trips", "/trip/1", "/cells", "/cables", "/hull", "/plan", "/log", "/setup"]
    known = st.sampled_from(sorted({*described, *pages} - endless))
    value = st.text(max_size=12) | st.sampled_from(["nan", "1e400", "-1", "9" * 30, "@", "../x"])
    names = sorted(
        {p["name"] for at in described.values() for act in at.values() for p in
         act.get("parameters", [])} | {"x"}
    )  # fmt: skip
    query = st.dictionaries(st.sampled_from(names), value, max_size=4)
    method = st.sampled_from(["GET", "GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS"])

    @given(method, known, value, query, st.binary(max_size=200) | mutated([ROUTE]))
    def run(how: str, path: str, place: str, asked: dict[str, str], body: bytes) -> None:
        path = re.sub(r"{[^}]*}", quote(place, safe=""), path)
        content = None if how in ("GET", "HEAD") else body
        answer = ask(app, how, path, params=asked, content=content)
        assert answer.status_code < 500, (how, path, asked, answer.text[:300])

    for_its_share(run)
