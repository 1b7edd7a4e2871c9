"""record and salvage: the daemon that writes the log, and what saves a damaged one."""

import argparse
from pathlib import Path

from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base import paths
from analyzer.faces.cli.base.options import Command, arg


def _record(options: argparse.Namespace) -> int:
    from logger.daemon.main import run

    found = opt.find_places(options)
    if found.boat is None:
        raise paths.NoFile(
            "there is no boat file to record by: name one with --boat FILE; "
            "`keelwatt check --starter > boat.toml` writes one to begin with"
        )
    return run(found.boat, found.log)


def what_is_left(damaged: Path) -> tuple[Path, str]:
    """A log, for as long as the program runs, of what can be read of a damaged one.

    Returns:
        The log, and a sentence on what is in it and what is not.
    Raises:
        StoreError: Nothing of a log was found.
    """
    from analyzer.answers.transfer.log_copies import passing_folder
    from logger.salvage.rescue import rescue

    to = passing_folder() / damaged.name
    return to, rescue(damaged, to).sentence()


def _salvage(options: argparse.Namespace) -> int:
    from logger.salvage.rescue import rescue

    print(f"{options.out}: {rescue(options.damaged, options.out).sentence()}")
    return 0


COMMANDS = (
    Command(
        "record",
        _record,
        "write what the boat's sources send into the log, until it is stopped",
        "keelwatt record --boat ~/.config/keelwatt/boat.toml",
        json=False,
    ),
    Command(
        "salvage",
        _salvage,
        "save what can be read of a damaged log, as from a broken card, into a new one",
        "keelwatt salvage log.damaged-20260516T093000Z.sqlite --out saved.sqlite\n"
        "keelwatt range --log saved.sqlite",
        (
            arg("damaged", type=Path, metavar="DAMAGED", help="the log; it stays as it is"),
            arg("--out", type=Path, metavar="FILE", required=True, help="the new log"),
        ),
        json=False,
        places=False,
    ),
)
