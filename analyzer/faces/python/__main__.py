"""`python -m keelwatt COMMAND ...`, and what the installed command `keelwatt` runs."""

import sys
from collections.abc import Sequence

from keelwatt.ours import check_packages


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command; as `analyzer.faces.cli.main.main`, with a sentence if it cannot start."""
    try:
        check_packages()
    except ImportError as error:
        print(f"keelwatt: {error}", file=sys.stderr)
        return 2
    from analyzer.faces.cli.main import main as run  # only now is it sure to be ours

    return run(arguments)


if __name__ == "__main__":
    sys.exit(main())
