"""Everything that can go wrong in `analyzer`, as one tree.

AnalyzerError
├── NoLog(FileNotFoundError)   there is no log where it was looked for
├── NoTrip(LookupError)        the log holds no such trip
├── NoChannel(LookupError)     the log holds no such channel
├── NoTrack(LookupError)       no position was recorded
├── NoFlag(LookupError)        the log holds no such flag
├── BadRoute(ValueError)       a route or a table of streams is not what it should be
├── BadChange(ValueError)      a what-if names no key, or a value that cannot be
├── BadDates(ValueError)       a season's year or days cannot be
├── BadImport(ValueError)      a file to import is not what it should be
├── NotInstalled(ImportError)  a part that is installed only on wish is wanted
├── CannotServe(OSError)       the pages cannot be shown at an address
└── CannotWrite(OSError)       a file that was asked for cannot be written

"Too little data" is no error: it is an `Estimate` with a reason.
"""

from importlib import import_module
from typing import Any


class AnalyzerError(Exception):
    """Base of all errors a user can cause; the command line prints it and exits with 2."""


class NoLog(AnalyzerError, FileNotFoundError):  # noqa: N818 - reads as the sentence it makes
    """There is no log to answer from."""


class NoTrip(AnalyzerError, LookupError):  # noqa: N818
    """The log holds no such trip."""


class NoChannel(AnalyzerError, LookupError):  # noqa: N818
    """The log holds no such channel."""


class NoTrack(AnalyzerError, LookupError):  # noqa: N818
    """No position was recorded."""


class NoFlag(AnalyzerError, LookupError):  # noqa: N818
    """The log holds no such flag."""


class BadImport(AnalyzerError, ValueError):  # noqa: N818
    """A file to import cannot be used."""


class NotInstalled(AnalyzerError, ImportError):  # noqa: N818
    """A library that this needs is not installed."""


def installed(library: str, wanting: str, extra: str) -> Any:
    """A library that a boat's small install leaves out.

    Args:
        library: Its module's name.
        wanting: What wants it, as the sentence begins.
        extra: keelwatt's own extra that brings it.
    Raises:
        NotInstalled: It is not there.
    """
    try:
        return import_module(library)
    except ImportError as error:
        raise NotInstalled(
            f"{wanting} wants {library.partition('.')[0]}, which a boat's small install leaves "
            f"out: pip install 'keelwatt[{extra}]'"
        ) from error


class BadRoute(AnalyzerError, ValueError):  # noqa: N818
    """A route or a table of streams cannot be used."""


class BadChange(AnalyzerError, ValueError):  # noqa: N818
    """A what-if that cannot be asked."""


class BadDates(AnalyzerError, ValueError):  # noqa: N818
    """A year or days that cannot be asked for."""


class CannotServe(AnalyzerError, OSError):  # noqa: N818
    """The pages cannot be shown at that address."""


class CannotWrite(AnalyzerError, OSError):  # noqa: N818
    """A file that was asked for cannot be written."""
