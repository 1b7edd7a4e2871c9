"""TOML that would take a parser's memory is refused before a parser sees it."""

import resource
import subprocess
import sys
from pathlib import Path

import pytest

from logger.boat import load
from logger.boat.starter import starter_text
from logger.boat.toml_text import read_toml
from logger.decode.column_map import load_map
from logger.errors import BoatFileError

HOSTILE = {
    "a dotted key": "a" + ".a" * 60_000 + " = 1\n",
    "a dotted table": "[a" + ".a" * 60_000 + "]\n",
    "inside a table": "x = { a" + " . a" * 60_000 + " = 1 }\n",
    "brackets": "x = " + "[" * 100_000 + "\n",
    "length": 'x = """' + "a" * 1_000_000 + '"""\n',
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_one_sentence_and_little_memory(text: str, tmp_path: Path):
    path = tmp_path / "boat.toml"
    path.write_text(text)
    program = (
        "import sys; from logger.boat import load; from logger.errors import BoatFileError\n"
        "try: load(sys.argv[1])\nexcept BoatFileError as error: print(error)"
    )

    def little() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (1_500_000_000, 1_500_000_000))

    done = subprocess.run(
        [sys.executable, "-c", program, str(path)], capture_output=True, text=True, timeout=60,
        check=True, preexec_fn=little,
    )  # fmt: skip
    assert done.stdout.startswith("boat.toml")
    assert done.stdout.count("\n") == 1
    with pytest.raises(BoatFileError):
        load_map(path)


def test_a_device_that_never_ends_is_read_to_the_limit():
    with pytest.raises(BoatFileError):
        load("/dev/zero")


def test_a_boat_file_passes():
    assert read_toml(starter_text())["pack"]
    assert read_toml('x = [1.5, 2.5, 3.5, 4.5]\n"a.b".c = "1.2.3.4.5.6.7.8.9.10.11.12.13.14 = x"')
