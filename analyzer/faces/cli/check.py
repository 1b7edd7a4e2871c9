"""check: what arrives, what is wrong with it, what it can answer; and a boat file to begin with.

schema: what --json prints, described for programs.
"""

import argparse

from analyzer.faces.cli import options as opt
from analyzer.faces.cli.options import Command, arg
from analyzer.faces.cli.text import answers


def _check(options: argparse.Namespace) -> int:
    from logger.discover.ports import found

    if options.starter:
        from logger.boat.starter import starter_text

        print(starter_text(found()), end="")
        return 0
    there = tuple(device.sentence for device in found())
    if options.listen:
        from logger.discover.listen import heard

        there = heard(found(), lambda name: opt.tell_user(f"Listening to {name} ..."))
    return opt.give(opt.log(options).check(there), options.json, answers.check)


def _schema(_: argparse.Namespace) -> int:
    from analyzer.answers.schema import FILE

    print(FILE.read_text("utf-8"), end="")
    return 0


COMMANDS = (
    Command(
        "check",
        _check,
        "say what arrives, what is wrong with it, and what it can answer",
        "keelwatt check\n"
        "keelwatt check --listen               also: what do the ports and buses speak?\n"
        "keelwatt check --starter > boat.toml  a commented boat file to begin with",
        (
            arg(
                "--listen",
                action="store_true",
                help="listen to each port and bus for some seconds and say what it speaks; "
                "not while keelwatt records",
            ),
            arg(
                "--starter",
                action="store_true",
                help="print a commented boat file to begin with",
            ),
        ),
    ),
    Command(
        "schema",
        _schema,
        "print the JSON Schema of every --json, for programs",
        "keelwatt schema > keelwatt.schema.json",
        json=False,
        places=False,
    ),
)
