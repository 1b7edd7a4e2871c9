"""How much the log takes and how fast it reads, as ratios within one run.

Run by name: `python -m pytest -s tests/bench/bench_store.py`. About three minutes. The boat and
its readings are invented here: smooth courses with each sensor's own noise, at the resolution
that such sensors commonly have (common practice, no source).

Bytes written to the card are counted on a block device: an ext4 file system on a loop device,
which wants root; elsewhere that part is skipped and says so.
"""

import os
import sqlite3
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest

from logger.reading import (
    Block,
    Group,
    Quantum,
    Row,
)
from logger.store import Store

S = 1_000_000
ALL = -(2**62), 2**62
Stream = tuple[Group, np.ndarray, np.ndarray]  # group, t_us (n,), values (n, channels)


def smooth(x, tau_s):
    from scipy.signal import lfilter

    keep = np.exp(-1 / tau_s)
    return lfilter([1 - keep], [1, -keep], x)


def boat_day(seconds: int, seed: int = 1) -> list[Stream]:
    """Thirty channels at 1 Hz in nine groups."""
    rng = np.random.default_rng(seed)
    n = seconds
    t_s = np.arange(n)

    def noise(sd):
        return rng.normal(0, sd, n)

    legs = np.repeat(rng.choice([0.0, 60.0, 25.0, -8.0], n // 900 + 1), 900)[:n]
    wanted_a = smooth(legs * rng.uniform(0.8, 1.2), 4)
    swell = 0.06 * np.sin(2 * np.pi * t_s / 7.3 + np.cumsum(noise(0.05)))
    current_a = wanted_a * (1 + swell) + 2.5 + noise(0.15)
    soc = 0.95 - np.cumsum(current_a) / 3600 / 400
    rest_v = 3.26 + 0.08 * soc + 0.02 * np.sin(6 * soc)
    slow_v = 0.0004 * smooth(current_a, 30)
    cells = [
        rest_v + rng.normal(0, 0.002) - r * current_a - slow_v + noise(0.0007)
        for r in rng.uniform(0.00035, 0.0005, 16)
    ]
    pack_v = np.sum(cells, axis=0) + noise(0.01)

    def warm_c(gain, tau_s):
        return 22 + gain * smooth(current_a**2, tau_s) + noise(0.06)

    drive = np.clip(wanted_a, 0, None)
    shaft_rps = np.cbrt(drive) * 3.2 + noise(0.02) * (drive > 1)
    water_mps = np.cbrt(drive) * 0.55 + 0.2 + noise(0.02)
    ground_mps = np.abs(water_mps + 0.4 * np.sin(t_s / 7000) + noise(0.03))
    course = np.radians(120 + np.cumsum(noise(0.3)))
    north = 50 + np.cumsum(ground_mps * np.cos(course)) / 111_120
    east = -3 + np.cumsum(ground_mps * np.sin(course)) / 71_000
    mv, tenth, probe = Quantum(0.001), Quantum(0.1), Quantum(0.0625)
    minute, knot = Quantum(1 / 6_000_000), Quantum(0.0514444444444)

    def named(key, quanta, **columns):
        return Group(key, tuple(columns), quanta), np.column_stack(list(columns.values()))

    streams = [
        named(
            f"can0/cells{k}",
            (mv,) * 4,
            **{f"cell_{4 * k + i + 1:02d}_voltage_v": cells[4 * k + i] for i in range(4)},
        )
        for k in range(4)
    ]
    streams += [
        named(
            "can0/pack",
            (Quantum(0.01), tenth, mv),
            pack_voltage_v=pack_v,
            pack_current_a=current_a,
            pack_soc_frac=soc,
        ),
        named(
            "can0/motor",
            (tenth, Quantum(1 / 60), Quantum(1.0)),
            controller_voltage_v=pack_v - 0.004 * current_a,
            shaft_speed_rps=shaft_rps,
            motor_temp_c=warm_c(0.006, 500),
        ),
        named(
            "wire/probes",
            (probe,) * 4,
            probe_lug_pos_temp_c=warm_c(0.004, 600),
            probe_lug_neg_temp_c=warm_c(0.0035, 700),
            probe_cable_temp_c=warm_c(0.003, 900),
            ambient_temp_c=22 + 2 * np.sin(t_s / 9000) + noise(0.06),
        ),
        named(
            "gps/RMC",
            (minute, minute, knot),
            latitude_deg=north,
            longitude_deg=east,
            speed_ground_mps=ground_mps,
        ),
        named("nav/VHW", (knot,), speed_water_mps=water_mps),
    ]
    return [
        (group, (t_s * S + rng.integers(0, S) + rng.normal(0, 2000, n)).astype(np.int64), values)
        for group, values in streams
    ]


def record(writer, streams: list[Stream], first: int, last: int, flush_s: int, seal_s: int = 600):
    """Row by row, as live, with a commit each `flush_s` of the readings' own time."""
    for i in range(first, last):
        for group, t_us, values in streams:
            writer.add(Row(group, int(t_us[i]), values[i].tolist()))
        if (i + 1) % flush_s == 0:
            writer.flush()
        if (i + 1) % seal_s == 0:
            writer.seal()


def used_bytes(store: Store) -> int:
    """Pages in use: free ones are taken by the next readings."""
    (pages,) = store._db.execute("PRAGMA page_count").fetchone()
    (free,) = store._db.execute("PRAGMA freelist_count").fetchone()
    (size,) = store._db.execute("PRAGMA page_size").fetchone()
    return (pages - free) * size


class RowTable:
    """The plain design beside: one row per sample, with an index."""

    def __init__(self, path: Path) -> None:
        self.db = sqlite3.connect(path, isolation_level=None)
        self.db.execute("PRAGMA journal_mode = WAL")
        self.db.execute("PRAGMA synchronous = FULL")
        self.db.execute("CREATE TABLE sample (channel INTEGER, t_us INTEGER, value REAL)")
        self.db.execute("CREATE INDEX place ON sample (channel, t_us)")

    def record(self, streams: list[Stream], first: int, last: int, flush_s: int) -> None:
        for start in range(first, last, flush_s):
            rows = [
                (100 * g + c, int(t_us[i]), float(values[i, c]))
                for i in range(start, min(start + flush_s, last))
                for g, (_, t_us, values) in enumerate(streams)
                for c in range(values.shape[1])
            ]
            self.db.execute("BEGIN")
            self.db.executemany("INSERT INTO sample VALUES (?, ?, ?)", rows)
            self.db.execute("COMMIT")


def test_bytes_per_sample(tmp_path):
    seconds = 8 * 3600
    streams = boat_day(seconds)
    samples = sum(v.size for _, _, v in streams)
    assert sum(v.shape[1] for _, _, v in streams) == 30
    path = tmp_path / "boat.log"
    with Store.open(path, write=True) as store:
        writer = store.writer("boot-a", flush_s=1e9, seal_s=1e9)
        # Coarse commits at first, to be quick; the tail of the last half hour is as live.
        record(writer, streams, 0, seconds - 1800, flush_s=600)
        record(writer, streams, seconds - 1800, seconds - 1, flush_s=1)
        store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        with_tail = path.stat().st_size / samples
        writer.seal()
        sealed = used_bytes(store) / samples
        writer.merge()
        merged = used_bytes(store) / samples
        writer.close()
    rows = RowTable(tmp_path / "rows.db")
    rows.record(streams, 0, 1800, 1800)
    rows.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    plain = (tmp_path / "rows.db").stat().st_size / (1800 * 30)
    print(f"\nbytes per sample: file with tail {with_tail:.2f}, sealed {sealed:.2f}, merged by day")
    print(f"{merged:.2f}; a row per sample with an index {plain:.1f}")
    assert with_tail <= 1.4
    assert sealed <= 1.0
    assert merged <= 0.85


@pytest.fixture
def card(tmp_path):
    """A small ext4 file system on a loop device, and how to count what was written to it."""
    image, folder = tmp_path / "card.img", tmp_path / "card"
    folder.mkdir()
    with image.open("wb") as file:
        file.truncate(512 * 2**20)
    now = "lazy_itable_init=0,lazy_journal_init=0"  # else the kernel writes them meanwhile
    try:
        subprocess.run(["mkfs.ext4", "-q", "-E", now, image], check=True)
        subprocess.run(["mount", "-o", "loop,noatime", image, folder], check=True)
    except (OSError, subprocess.CalledProcessError) as error:
        pytest.skip(f"no block device can be counted here: {error}")
    device = Path(
        f"/sys/dev/block/{os.major(folder.stat().st_dev)}:{os.minor(folder.stat().st_dev)}"
    )

    def written():
        os.sync()
        return int((device / "stat").read_text().split()[6]) * 512

    yield folder, written
    subprocess.run(["umount", folder], check=True)


@pytest.mark.parametrize(("flush_s", "bar_mb"), [(1, 35.0), (10, 5.5)])
def test_card_bytes_per_hour(card, flush_s, bar_mb):
    folder, written = card
    streams = boat_day(2 * 3600)
    with Store.open(folder / "boat.log", write=True) as store:
        writer = store.writer("boot-a", flush_s=1e9, seal_s=1e9)
        record(writer, streams, 0, 3600, flush_s)  # the journal has reached its size
        before = written()
        record(writer, streams, 3600, 7200, flush_s)
        ours_mb = (written() - before) / 1e6
        writer.close()
    rows = RowTable(folder / "rows.db")
    rows.record(streams, 0, 900, flush_s)
    before = written()
    rows.record(streams, 900, 1800, flush_s)
    plain_mb = (written() - before) / 1e6 * 4
    rows.db.close()
    print(f"\ncard, commit each {flush_s} s: {ours_mb:.1f} MB/h; a row per sample {plain_mb:.0f}")
    assert ours_mb <= bar_mb


DAYS = 100
NAMES = ("pack_voltage_v", "pack_current_a", "motor_temp_c")


@pytest.fixture(scope="module")
def hundred_days(tmp_path_factory):
    """The same three channels of 100 eight-hour days as a log, as Parquet and as rows."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    folder = tmp_path_factory.mktemp("days")
    seconds = 8 * 3600
    wanted = [s for s in boat_day(seconds) if set(s[0].channels) & set(NAMES)]
    with (
        Store.open(folder / "boat.log", write=True) as store,
        store.writer("boot-a", flush_s=1e9, seal_s=1e9) as writer,
    ):
        for day in range(DAYS):
            for group, t_us, values in wanted:
                turned = np.roll(values, day * 177, axis=0)
                writer.add(Block(group, t_us + day * 86400 * S, turned))
            writer.seal()
        columns = {name: store.read(name, *ALL) for name in NAMES}
    assert all(len(t_us) == DAYS * seconds for t_us, _ in columns.values())
    times = {t_us.tobytes(): t_us for t_us, _ in columns.values()}  # Parquet, too, shares times
    assert len(times) == 2
    table = {f"t_us_{k}": t_us for k, t_us in enumerate(times.values())}
    table |= {name: values for name, (_, values) in columns.items()}
    pq.write_table(pa.table(table), folder / "boat.parquet")
    return folder, columns


def cpu_s(act, times=7):
    """Least CPU time of several runs: wall time says little on a shared machine. [s]"""
    taken = []
    for _ in range(times):
        start = time.process_time()
        act()
        taken.append(time.process_time() - start)
    return min(taken)


def test_read_speed_against_parquet(hundred_days):
    import pyarrow.parquet as pq

    folder, columns = hundred_days

    def ours():
        with Store.open(folder / "boat.log") as store:
            return [store.read(name, *ALL) for name in NAMES]

    def parquet():
        table = pq.read_table(folder / "boat.parquet", use_threads=False)
        return [table[name].to_numpy() for name in table.column_names]

    for name, (t_us, values) in zip(NAMES, ours(), strict=True):
        assert np.array_equal(t_us, columns[name][0])
        assert np.array_equal(values, columns[name][1])
    ratio = cpu_s(ours) / (theirs := cpu_s(parquet))
    print(f"\n3 channels x {DAYS} days: {ratio:.2f} of Parquet's CPU time ({theirs:.3f} s)")
    sizes = [(folder / f).stat().st_size / 1e6 for f in ("boat.log", "boat.parquet")]
    print(f"files: {sizes[0]:.1f} MB (with 3 more channels), Parquet {sizes[1]:.1f} MB")
    assert ratio <= 1.1


def test_summaries_against_rows(hundred_days):
    folder, columns = hundred_days
    rows = sqlite3.connect(folder / "rows.db")
    rows.execute("CREATE TABLE sample (channel INTEGER, t_us INTEGER, value REAL)")
    for number, name in enumerate(NAMES):
        t_us, values = (column.tolist() for column in columns[name])
        rows.executemany(
            "INSERT INTO sample VALUES (?, ?, ?)",
            ((number, t, v) for t, v in zip(t_us, values, strict=True)),
        )
    rows.execute("CREATE INDEX place ON sample (channel, t_us, value)")  # covering: its best case
    rows.commit()
    question = "SELECT count(*), min(value), max(value), avg(value) FROM sample WHERE channel = ?"

    def plain():
        return [rows.execute(question, [k]).fetchone() for k in range(len(NAMES))]

    with Store.open(folder / "boat.log") as store:

        def ours():
            return [store.summary(name, *ALL) for name in NAMES]

        for mine, (count, low, high, mean) in zip(ours(), plain(), strict=True):
            assert (mine.count, mine.low, mine.high) == (count, low, high)
            assert mine.mean == pytest.approx(mean, rel=1e-9)
        ratio = cpu_s(plain, 3) / cpu_s(lambda: [ours() for _ in range(10)], 5) * 10
    rows.close()
    print(f"\nsummaries: {ratio:.0f} times faster than SQL over rows")
    assert ratio >= 300


def test_import_time_of_the_store():
    """Beside SQLAlchemy Core, which the store does without: see logger/store/tables.py."""
    code = "import time; t = time.process_time(); import {}; print(time.process_time() - t)"

    def taken_s(module):
        runs = [
            float(subprocess.check_output(["python", "-c", code.format(module)])) for _ in range(5)
        ]
        return min(runs)

    ours_s, numpy_s, core_s = taken_s("logger.store"), taken_s("numpy"), taken_s("sqlalchemy")
    print(f"\nimport: logger.store {ours_s:.2f} s of which numpy {numpy_s:.2f}; sqlalchemy")
    print(f"alone {core_s:.2f} s")
    assert ours_s < numpy_s + core_s
