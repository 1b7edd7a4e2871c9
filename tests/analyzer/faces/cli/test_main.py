"""The command line as a user meets it: its own process, exit status, one sentence."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from dataclasses import replace
from importlib.metadata import version

import pytest

from analyzer.estimation.results import HomeWish, to_json
from analyzer.faces.cli import main
from analyzer.faces.cli.base import options, paths
from analyzer.faces.cli.text import answers as tell

pytestmark = pytest.mark.usefixtures("own_home")

COMMANDS = [
    *("demo", "replay", "range", "trips", "review", "cells", "cables", "check"),
    *("serve", "export", "import", "record", "boots", "salvage", "completion", "manual"),
]


@pytest.fixture
def answered(monkeypatch, log):
    """The command line with invented answers behind it."""
    monkeypatch.setattr(options, "log", lambda _options: log)
    return log


def run(*arguments, **more):
    return subprocess.run(
        [sys.executable, "-m", "analyzer.faces.cli.main", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        **more,
    )


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_an_example(command, capsys):
    with pytest.raises(SystemExit) as stop:
        main.main([command, "--help"])
    assert stop.value.code == 0
    text = capsys.readouterr().out
    assert f"example:\n  keelwatt {command}" in text


def test_help_lists_every_command(capsys):
    with pytest.raises(SystemExit):
        main.main(["--help"])
    text = capsys.readouterr().out
    assert all(f"\n    {command}" in text for command in COMMANDS)
    assert "only listens" in text


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "COMMAND"),
        (["fly"], "there is no command 'fly'"),
        (["rnage"], "there is no command 'rnage'; did you mean range? see keelwatt --help"),
        (["range", "--spedd", "4"], "there is no option --spedd; did you mean --speed?"),
        (["range", "--colour"], "there is no option --colour"),
        (["range", "4"], "it takes no '4' here"),
        (
            ["range", "--speed", "fast"],
            "wants a speed in knots from 0 to 60, such as 4.5, got 'fast'",
        ),
        (["range", "--speed", "0"], "0 to 60"),
        (["range", "--speed", "nan"], "got 'nan'"),
        (["range", "--stream", "1.5"], "1.5@070"),
        (["plan", __file__, "--leave-within", "100h"], "hours from 1 to 72"),
        (["range", "--stream", "1@400"], "0 to 360 degrees"),
        (["range", "--home-stream", "nowhere.csv"], "same, reversed or a file"),
        (["review", "-1"], "-1"),
        (["review", "two"], "got 'two'"),
        (["replay"], "FILE"),
        (["replay", "not_there.log"], "there is no file 'not_there.log'"),
        (["serve", "--port", "99999"], "1 to 65535"),
        (["export", "--step", "0"], "0.1 to 86400"),
    ],
)
def test_wrong_usage_is_one_sentence_and_status_2(arguments, says, capsys):
    with pytest.raises(SystemExit) as stop:
        main.main(arguments)
    assert stop.value.code == 2
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1


def test_version_is_the_installed_one(capsys):
    with pytest.raises(SystemExit) as stop:
        main.main(["--version"])
    assert stop.value.code == 0
    assert capsys.readouterr().out == f"keelwatt {version('keelwatt')}\n"


def test_the_demo_is_asked_as_long_as_there_is_nothing_else(demo_log, monkeypatch, capsys):
    place = paths.demo_folder() / "log.sqlite"
    place.parent.mkdir(parents=True)
    shutil.copy(demo_log, place)
    assert main.main(["trips"]) == 0
    said = capsys.readouterr()
    assert "Asked of the invented demo" in said.err
    assert "1  16 May 2026" in said.out
    (paths.data_folder() / "log.sqlite").touch()
    assert paths.only_demo() is None
    assert paths.only_demo(log="other.sqlite") is None


def test_a_folder_is_no_log(tmp_path, capsys):
    assert main.main(["trips", "--log", str(tmp_path)]) == 2
    assert f"{tmp_path} is no file, so no log" in capsys.readouterr().err


def test_a_taken_port_is_one_sentence_and_status_2(demo_log, capsys):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert main.main(["serve", "--log", str(demo_log), "--port", str(port)]) == 2
    error = capsys.readouterr().err
    assert f"nothing can listen at 127.0.0.1, port {port}" in error
    assert error.count("\n") == 1


def test_an_output_that_is_full_is_one_sentence_and_status_2(demo_log):
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "analyzer.faces.cli.main", "trips", "--log", str(demo_log)]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert "cannot be written to the output: No space left on device" in done.stderr
    assert done.stderr.count("\n") == 1


def test_missing_boat_file_is_one_sentence_and_status_2(capsys):
    assert main.main(["range", "--boat", "nowhere.toml"]) == 2
    error = capsys.readouterr().err
    assert error.startswith("keelwatt: there is no boat file at nowhere.toml")
    assert error.count("\n") == 1


def test_a_speed_that_something_else_ends_says_so(answered, capsys):
    answer = answered.range_left()
    hot = replace(answer.curve[-1], limit="controller's temperature")
    text = tell.range_left(replace(answer, curve=(*answer.curve[:-1], hot)))
    assert "At 6.0 kn what ends it is the controller, too hot to hold this speed" in text
    assert "what ends it is" not in tell.range_left(answer)


def test_a_recording_of_no_known_boat_can_be_played_and_exported(tmp_path, capsys):
    lines, log = tmp_path / "depth.nmea", str(tmp_path / "log.sqlite")
    lines.write_text("$SDDBT,7.8,f,2.4,M,1.3,F*0D\n" * 3)  # a depth sounder's usual sentence
    assert main.main(["replay", str(lines), "--log", log]) == 0
    assert "name the boat's file with --boat" in capsys.readouterr().out
    assert main.main(["export", "--log", log]) == 0
    assert "depth" in capsys.readouterr().out
    assert main.main(["range", "--log", log]) == 2
    assert "was recorded without a boat file" in capsys.readouterr().err


def test_a_log_with_nothing_in_it_is_said_to_be_empty(tmp_path, capsys):
    (tmp_path / "log.sqlite").touch()
    assert main.main(["range", "--log", str(tmp_path / "log.sqlite")]) == 2
    assert "is empty: nothing was ever recorded in it" in capsys.readouterr().err


def test_stream_is_read_as_speed_and_direction():
    speed_mps, toward_deg = options.stream_kn("1.8@360")
    assert speed_mps == pytest.approx(0.926)  # 1.8 * 1852 / 3600
    assert toward_deg == 0


@pytest.mark.parametrize(
    ("command", "name"),
    [("range", "RANGE"), ("review", "REVIEW"), ("cells", "CELLS"), ("cables", "CABLES")],
)
def test_json_is_the_result_and_nothing_else(answered, invented, command, name, capsys):
    assert main.main([command, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == to_json(getattr(invented, name))


def test_range_options_reach_the_question_in_si(answered, capsys):
    main.main(["range", "--speed", "4", "--stream", "1@090", "--home", "track"])
    speed_mps, stream, home = answered.asked[-1]
    assert speed_mps == pytest.approx(2.0578, abs=1e-4)  # 4 * 1852 / 3600
    assert stream == pytest.approx((0.51444, 90.0), abs=1e-4)
    assert home == "track"


@pytest.mark.parametrize(("arguments", "way"), [([], None), (["--home"], "straight")])
def test_range_asks_the_way_home_only_where_told_and_straight_by_itself(answered, arguments, way):
    main.main(["range", *arguments])
    assert answered.asked[-1][2] == way


def test_range_takes_the_stream_on_the_way_home(answered, tmp_path):
    main.main(["range", "--home-stream", "reversed"])
    assert answered.asked[-1][2] == HomeWish("straight", "reversed")
    table = tmp_path / "stream.csv"
    table.write_text("utc,speed_kn,toward_deg\n")
    main.main(["range", "--home", "track", "--home-stream", str(table)])
    assert answered.asked[-1][2] == HomeWish("track", table)


def test_unknown_trip_is_one_sentence_and_status_2(answered, capsys):
    assert main.main(["review", "99"]) == 2
    assert capsys.readouterr().err == "keelwatt: the log holds no trip 99\n"


def test_interrupt_ends_quietly_with_130(answered, monkeypatch, capsys):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(answered, "cells", interrupted)
    assert main.main(["cells"]) == 130
    assert capsys.readouterr().err == ""


def test_closed_pipe_is_no_error():
    shell = f"{sys.executable} -m analyzer.faces.cli.main range --help | head -c 1"
    done = subprocess.run(["sh", "-c", shell], capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr
    assert "Broken" not in done.stderr


def test_help_imports_nothing_heavy():
    code = (
        "import sys\n"
        "from analyzer.faces.cli import main as cli\n"
        "cli.parser()\n"
        "heavy = ['pandas', 'scipy', 'fastapi', 'bokeh', 'sqlalchemy', 'numpy', 'pydantic']\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("sent", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)], ids=["interrupt", "term"]
)
def test_a_signal_ends_it_without_traceback_and_closes_what_is_open(sent, status):
    code = (
        "import sys\n"
        "from analyzer.faces.cli import main as cli\n"
        "from analyzer.faces.cli.base import options\n"
        "import signal, time\n"
        "class Slow:\n"
        "    def new_s(self): return 0.0\n"
        "    def cells(self):\n"
        "        try: print('on', flush=True); time.sleep(30)\n"
        "        finally: print('closed', flush=True)\n"
        "options.log = lambda _: Slow()\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "sys.exit(cli.main(['cells']))"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ,
    )
    assert process.stdout.readline() == "on\n"
    time.sleep(0.1)
    process.send_signal(sent)
    out, error = process.communicate(timeout=20)
    assert process.returncode == status
    assert (out, error) == ("closed\n", "")
