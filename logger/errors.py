"""Everything that can go wrong in `logger`, as one tree.

LoggerError
├── BoatFileError(ValueError)   boat.toml or a column map: key, what it wants, what it got
├── SourceError(OSError)        a source is lost or cannot be opened
├── RecordingError(ValueError)  a recorded file is not what it was said to be
├── DecodeError(ValueError)     bytes that do not decode; counted and skipped by the daemon
└── StoreError                  the log cannot be opened, is of a newer version, or is locked
    └── DamagedLogError         pages of it are damaged; a salvage saves what can be read

The text of each is one sentence for the user: what, where, what was expected, what to do.
"""


class LoggerError(Exception):
    """Base of all errors a user can cause or meet; the command line prints it and exits with 2."""


class BoatFileError(LoggerError, ValueError):
    """A settings file is wrong."""


class SourceError(LoggerError, OSError):
    """A live source cannot be opened or was lost."""


class RecordingError(LoggerError, ValueError):
    """A recorded file cannot be read as the format it claims."""


class DecodeError(LoggerError, ValueError):
    """Bytes that do not decode."""


class StoreError(LoggerError):
    """The log cannot be used."""


class DamagedLogError(StoreError):
    """Pages of the log are damaged."""
