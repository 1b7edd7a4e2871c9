"""fleet: many boats' logs looked at, side by side."""

import argparse
import os
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.base.progress import Bar, Pace

if TYPE_CHECKING:
    from analyzer.fleet.keep import Database
    from analyzer.fleet.pool import Pool


def _fleet(options: argparse.Namespace) -> int:
    from analyzer.faces.cli.text import fleet as text_fleet
    from analyzer.fleet import keep, logs, run

    found = logs.find(options.where, _boat(options.boat))
    database = _database(options.to)
    if database is None:
        keep.need_parquet()
    options.out.mkdir(parents=True, exist_ok=True)
    with closing(_pool(options)) as pool, Bar(f"Looking at {len(found)} logs") as bar:
        fleet = run.run(found, options.out, pool, Pace(bar))
    like = run.write(fleet, database)
    where = options.to or f"{options.out}/*.parquet"
    print(text_fleet.fleet(fleet, like, "the database" if options.to else where))
    return 0 if fleet.keys else 2


def _boat(path: Path | None) -> str | None:
    """A boat file's text, if nothing is wrong with it."""
    from logger import boat as boats

    if path is None:
        return None
    boats.load(path)
    return path.read_text("utf-8-sig")


def _database(url: str | None) -> "Database | None":
    from analyzer.fleet.keep import Database

    return Database(url) if url else None


def _pool(options: argparse.Namespace) -> "Pool":
    from analyzer.fleet.pool import Dask, Local

    return Dask(options.scheduler) if options.scheduler else Local(options.workers)


COMMANDS = (
    Command(
        "fleet",
        _fleet,
        "look at many boats' logs: consumption side by side, ageing, what to look at first",
        "keelwatt fleet club/ --out club-results\n"
        "keelwatt fleet 'season/*/2026*.sqlite' --workers 8\n"
        "keelwatt fleet s3://charter/logs --scheduler tcp://10.0.0.5:8786 \\\n"
        "      --to postgresql+psycopg://me@shore/boats",
        (
            arg(
                "where",
                metavar="WHERE",
                help="a folder with logs (.sqlite, .sqlite.zst), a pattern in quotes, or an object "
                "store's URL",
            ),
            arg(
                "--out",
                type=Path,
                default=Path("fleet"),
                metavar="FOLDER",
                help="where results go, and what is known stays (%(default)s/); a run cut off goes "
                "on",
            ),
            arg(
                "--boat",
                type=opt.existing_file,
                metavar="FILE",
                help="the boat file for logs that keep none of their own",
            ),
            arg(
                "--to",
                metavar="URL",
                help="put the results into this database instead of Parquet files (SQLAlchemy's "
                "URL)",
            ),
            arg(
                "--workers",
                type=opt.whole(1, 1024, "1 to 1024 processes"),
                default=len(os.sched_getaffinity(0)),
                metavar="N",
                help="processes on this machine (%(default)s)",
            ),
            arg(
                "--scheduler",
                metavar="ADDRESS",
                help="let the workers of a Dask scheduler do it instead, such as "
                "tcp://10.0.0.5:8786; they must see the logs under the same names",
            ),
        ),
        json=False,
        places=False,
    ),
)
