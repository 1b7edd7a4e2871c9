"""record: the daemon that writes what the boat's sources send into the log."""

import argparse

from analyzer.faces.cli import options as opt


def add(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    """Adds the sub-command."""
    parser = opt.add_command(
        parsers,
        "record",
        _record,
        "write what the boat's sources send into the log, until it is stopped",
        "keelwatt record --boat ~/.config/keelwatt/boat.toml",
    )
    opt.add_places(parser)


def _record(options: argparse.Namespace) -> int:
    from logger.daemon import recorder

    found = opt.find_places(options)
    if found.boat is None:
        opt.tell_user("keelwatt record: there is no boat file; name one with --boat FILE")
        return 2
    return recorder.main(found.boat, found.log)
