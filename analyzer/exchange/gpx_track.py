"""Positions as a GPX 1.1 track, written and read point by point.

Standard fields: latitude, longitude, elevation, time (left out where the boot's date is not
known). What the receiver said in the same moment, the boot and its clock are extension elements
of the namespace `NAMESPACE`, named like the channels; other programs pass over them. A new
segment begins after a gap and with each boot.

Source: GPX 1.1 schema, https://www.topografix.com/GPX/1/1/gpx.xsd
"""

import hashlib
import logging
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import BinaryIO
from xml.etree import ElementTree
from xml.sax.saxutils import XMLGenerator
from xml.sax.xmlreader import AttributesImpl

import numpy as np

from analyzer.errors import BadImport, NoTrack
from analyzer.exchange import intake
from analyzer.exchange.rows import Rows, Stretch, rows
from logger.channels import find
from logger.store import Boot, Store

GPX = "http://www.topografix.com/GPX/1/1"
NAMESPACE = "urn:keelwatt:track:1"
PLACE = ("latitude_deg", "longitude_deg")
HEIGHT = "altitude_m"
GAP_S = 30.0  # longer without a fix is a new segment, assumed
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
LATEST = datetime(2100, 1, 1, tzinfo=UTC)  # no track's time is as late, assumed
ALL_US = 2**62  # beyond any time, by definition
MOST_BYTES = 100_000_000  # a week of fixes each second; all of it is held in memory, assumed
log = logging.getLogger("keelwatt")
FILE_SURE_S = 1.0  # a track's times are the receiver's; common practice, no source


def write(store: Store, stretch: Stretch, name: str, out: BinaryIO) -> None:
    """Writes the positions in a stretch of the log.

    Args:
        stretch: Those of its channels that come with the positions are written too.
        name: The track's name.
        out: Bytes go here; it is not closed.
    Raises:
        NoTrack: No position was recorded in it; nothing was written.
    """
    near = {c for g, _ in store.groups() if set(PLACE) & set(g.channels) for c in g.channels}
    beside = tuple(c for c in stretch.channels if c in near and c not in PLACE)
    track = Stretch((*PLACE, *beside), stretch.start_us, stretch.end_us, stretch.step_s)
    segments = _segments(rows(store, track), stretch.step_s)
    first = next(segments, None)
    if first is None:
        raise NoTrack("no position was recorded in this stretch of the log")
    xml = XMLGenerator(out, "utf-8")
    xml.startDocument()
    _start(xml, "gpx", {"version": "1.1", "creator": "keelwatt", "xmlns": GPX,
                        "xmlns:kw": NAMESPACE})  # fmt: skip
    _start(xml, "trk")
    _text(xml, "name", _clean(name))
    _segment(xml, first, beside)
    for segment in segments:
        _segment(xml, segment, beside)
    xml.endElement("trk")
    xml.endElement("gpx")
    xml.endDocument()


def read(path: Path, store: Store) -> int:
    """Takes a track of this form, or anybody's with times, into an empty log; how many points.

    Raises:
        BadImport: The file is no GPX, or has a point without a time.
    """
    if path.stat().st_size > MOST_BYTES:
        raise BadImport(
            f"{path} is larger than {MOST_BYTES / 1e6:.0f} MB, which is too much for a track: "
            "import it in parts, or take a log along as a packed log"
        )
    try:
        points = list(_points(path))
    except (ElementTree.ParseError, OSError, ValueError, LookupError) as error:
        if isinstance(error, BadImport):
            raise
        raise BadImport(f"{path} cannot be read as GPX: {error}") from error
    placed = [point for point in points if PLACE[0] in point[-1]]
    if not placed:
        raise BadImport(f"{path} holds no track, or none with places on earth")
    if len(placed) < len(points):
        lost = len(points) - len(placed)
        log.warning("%s: %d points have no place on earth and are left out", path, lost)
    points = placed
    names = dict.fromkeys(name for *_, values in points for name in values)
    channels = intake.check_channels(names, str(path))
    return intake.take_in(store, intake.Layout(channels), _pieces(points, channels))


def _segments(pieces: Iterator[Rows], step_s: float | None) -> Iterator[Rows]:
    """Positions without gaps, for each segment; pieces of one stretch are joined."""
    gap_us = max(GAP_S, 2.5 * (step_s or 0.0)) * 1e6
    open_: list[Rows] = []
    for piece in pieces:
        have = np.isfinite(piece.values[:, :2]).all(axis=1)
        t_us, values = piece.t_mono_us[have], piece.values[have]
        breaks = np.flatnonzero(np.diff(t_us) > gap_us) + 1
        for a, b in zip([0, *breaks], [*breaks, len(t_us)], strict=True):
            if a == b:
                continue
            part = Rows(piece.boot, t_us[a:b], values[a:b])
            last = open_[-1] if open_ else None
            if last and (
                last.boot.uid != part.boot.uid or part.t_mono_us[0] - last.t_mono_us[-1] > gap_us
            ):
                yield _together(open_)
                open_ = []
            open_.append(part)
    if open_:
        yield _together(open_)


def _together(parts: list[Rows]) -> Rows:
    times = np.concatenate([p.t_mono_us for p in parts])
    return Rows(parts[0].boot, times, np.concatenate([p.values for p in parts]))


def _segment(xml: XMLGenerator, segment: Rows, beside: tuple[str, ...]) -> None:
    _start(xml, "trkseg")
    offset_us = segment.utc_offset_us
    for t_us, row in zip(segment.t_mono_us.tolist(), segment.values.tolist(), strict=True):
        latitude, longitude, *more = row
        east = -180.0 if longitude == 180.0 else longitude  # the schema ends before 180
        _start(xml, "trkpt", {"lat": _plain(latitude), "lon": _plain(east)})
        said = {c: v for c, v in zip(beside, more, strict=True) if v == v}
        if HEIGHT in said:
            _text(xml, "ele", _plain(said.pop(HEIGHT)))
        if offset_us is not None:
            _text(xml, "time", _iso(t_us + offset_us))
        _start(xml, "extensions")
        _text(xml, "kw:t_mono_us", str(t_us))
        for channel, value in said.items():
            _text(xml, f"kw:{channel}", _plain(value))
        xml.endElement("extensions")
        xml.endElement("trkpt")
    _start(xml, "extensions")
    _text(xml, "kw:boot", _clean(segment.boot.uid))
    xml.endElement("extensions")
    xml.endElement("trkseg")


def _start(xml: XMLGenerator, name: str, attributes: dict[str, str] | None = None) -> None:
    xml.startElement(name, AttributesImpl(attributes or {}))


def _text(xml: XMLGenerator, name: str, text: str) -> None:
    _start(xml, name)
    xml.characters(text)
    xml.endElement(name)


def _clean(text: str) -> str:
    """Without what XML cannot hold."""
    return "".join(c for c in text if c >= " " or c in "\t\n")


def _plain(value: float) -> str:
    """The shortest decimal that reads back as the same number, without an exponent."""
    return format(Decimal(repr(value)), "f")


def _iso(utc_us: int) -> str:
    return (EPOCH + timedelta(microseconds=utc_us)).isoformat().replace("+00:00", "Z")


Point = tuple[str, int, int | None, dict[str, float]]  # boot, its clock, UTC [µs], values


def _points(path: Path) -> Iterator[Point]:
    """Each track point; its boot is known where its segment ends."""
    waiting: list[tuple[int | None, int | None, dict[str, float]]] = []
    foreign = f"gpx-{_digest(path)}"
    first_utc_us: int | None = None
    boot = foreign
    for _, element in ElementTree.iterparse(path):
        space, _, name = element.tag.rpartition("}")
        if name == "trkpt":
            waiting.append(_point(element))
            element.clear()
        elif name == "boot" and space == f"{{{NAMESPACE}":
            boot = element.text or foreign
        elif name == "trkseg":
            for mono_us, utc_us, values in waiting:
                if mono_us is None:
                    if utc_us is None:
                        raise BadImport(f"{path} has a point without a time: it cannot be placed")
                    first_utc_us = utc_us if first_utc_us is None else first_utc_us
                    mono_us = utc_us - first_utc_us
                yield boot, mono_us, utc_us, values
            waiting, boot = [], foreign
            element.clear()


def _point(element: ElementTree.Element) -> tuple[int | None, int | None, dict[str, float]]:
    if not {"lat", "lon"} <= element.attrib.keys():
        raise ValueError("a point has no lat or no lon")
    latitude, longitude = float(element.attrib["lat"]), float(element.attrib["lon"])
    values: dict[str, float] = {}
    if abs(latitude) <= 90 and abs(longitude) <= 180:
        values = {"latitude_deg": latitude, "longitude_deg": longitude}
    mono_us: int | None = None
    utc_us: int | None = None
    for part in element.iter():
        space, _, name = part.tag.rpartition("}")
        text = (part.text or "").strip()
        if name == "ele" and text:
            values[HEIGHT] = float(text)
        elif name == "time" and text:
            when = datetime.fromisoformat(text)
            when = when if when.tzinfo else when.replace(tzinfo=UTC)
            if not EPOCH <= when < LATEST:
                raise ValueError(f"{text} is no time of a track")
            utc_us = (when - EPOCH) // timedelta(microseconds=1)
        elif space == f"{{{NAMESPACE}" and text:
            if name == "t_mono_us":
                mono_us = int(text)
                if abs(mono_us) >= ALL_US:
                    raise ValueError(f"{text} is no time of a boot's clock")
            elif find(name):
                values[name] = float(text)
    return mono_us, utc_us, values


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()[:16]


def _pieces(points: list[Point], channels: tuple[str, ...]) -> Iterator[Rows]:
    """One for each boot, in the order in which the file met them."""
    by_boot: dict[str, list[Point]] = {}
    for point in points:
        by_boot.setdefault(point[0], []).append(point)
    for uid, own in by_boot.items():
        dated = next(((utc - mono) for _, mono, utc, _ in own if utc is not None), None)
        boot = Boot(0, uid, dated, None if dated is None else "file",
                    None if dated is None else FILE_SURE_S, None, None)  # fmt: skip
        t_us = np.array([mono for _, mono, _, _ in own], np.int64)
        values = np.array([[v.get(c, np.nan) for c in channels] for *_, v in own])
        yield Rows(boot, t_us, values)
