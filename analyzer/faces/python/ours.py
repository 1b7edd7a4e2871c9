"""Whether `logger`, `analyzer` and `replay` on Python's path are keelwatt's own packages."""

from importlib.util import find_spec
from pathlib import Path

# A file that only keelwatt's package of that name holds.
MARKS = {"logger": "boot_clock.py", "analyzer": "answers/__init__.py", "replay": "player.py"}


def check_packages() -> None:
    """Refuses to go on with somebody else's module of the same name.

    Raises:
        ImportError: One sentence that names the file in the way.
    """
    for name, mark in MARKS.items():
        spec = find_spec(name)
        places = list(spec.submodule_search_locations or ()) if spec else []
        if not any((Path(place) / mark).is_file() for place in places):
            found = (
                (spec.origin if spec and spec.origin else None) or ", ".join(places) or "nothing"
            )
            raise ImportError(
                f"keelwatt wants its own package {name!r}, and Python finds {found} in its place: "
                "rename that file, or start from another folder or with another PYTHONPATH."
            )
