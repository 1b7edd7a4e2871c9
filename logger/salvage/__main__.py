"""`python -m logger.salvage DAMAGED LOG`: brings what can be read of DAMAGED into LOG.

The recorder starts it beside itself after it has set a damaged log aside.
"""

import os
import sys
import time
from pathlib import Path

from logger.errors import LoggerError
from logger.salvage import LOWEST_PRIORITY
from logger.salvage.join import finish, join
from logger.salvage.rescue import rescue
from logger.store import Store


def main(damaged: Path, log: Path) -> int:
    """0 done, 2 with one sentence on the error output where it cannot be done."""
    saved = damaged.with_name(damaged.name + ".saved")
    try:
        if saved.exists():
            saved.unlink()
        account = rescue(damaged, saved)
        join(saved, log, damaged.name)
        with Store.open(log, write=True) as store:
            finish(store, damaged.name, account.sentence(), time.time_ns() // 1000)
    except (LoggerError, OSError) as error:
        print(f"keelwatt salvage: {error}", file=sys.stderr)
        return 2
    finally:
        for ending in ("", "-wal", "-shm", ".lock"):
            saved.with_name(saved.name + ending).unlink(missing_ok=True)
    return 0


if __name__ == "__main__":
    os.nice(LOWEST_PRIORITY)
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
