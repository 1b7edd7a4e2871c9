"""serve: the pages and the HTTP API."""

import argparse
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from analyzer.answers import Log
from analyzer.errors import CannotServe
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base import paths
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.base.remarks import tell_user
from logger.errors import LoggerError

if TYPE_CHECKING:
    from analyzer.answers.guard import Guard
    from analyzer.faces.web.set_up.plugged import Plug

HOST, PORT = "127.0.0.1", 8765  # assumed: a port that little else takes


ADDRESS = (
    arg(
        "--host",
        default=HOST,
        metavar="ADDRESS",
        help="address to listen on; %(default)s is this computer alone, 0.0.0.0 the boat's network",
    ),
    arg(
        "--port",
        type=opt.whole(1, 65535, "a port from 1 to 65535"),
        default=PORT,
        metavar="N",
        help="port to listen on (%(default)s)",
    ),
    arg(
        "--name",
        action="append",
        default=[],
        metavar="HOST",
        help="a further name under which browsers reach this computer; may be given again",
    ),
    arg(
        "--forget-phones",
        action="store_true",
        help="from now on no phone is paired any more; each needs a code again",
    ),
)


def _serve(options: argparse.Namespace) -> int:
    return serve(_log(options), options)


def _log(options: argparse.Namespace) -> Log:
    """The log; on a board with nothing yet, one to be, so that the pages can set it up."""
    if paths.only_demo(options.log, options.boat) is not None:
        return opt.log(options)
    found = opt.find_places(options)
    if options.log is not None and not found.log.exists():
        Log(found.log).boat_name()  # one that was named has to be there
    if found.log.exists() or found.boat is not None:
        return Log(found.log, found.boat)
    tell_user("There is no boat file and no log yet: the page leads through setting them up.")
    return Log(found.log, paths.config_folder() / "boat.toml")


def serve(log: Log, options: argparse.Namespace) -> int:
    """Serves until it is stopped."""
    import uvicorn

    from analyzer.answers.guard import Guard
    from analyzer.faces.web import access, front_door
    from analyzer.faces.web.app import create_app
    from analyzer.faces.web.set_up.plugged import Board
    from logger.discover.trials import Trials

    if log.is_there():
        log.boat_name()  # a log that cannot be used is said now
    _check_free(options.host, options.port)
    key = access.load_key(paths.data_folder() / "pairing.key", options.forget_phones)
    asked = options.name or not access.is_own(options.host)
    sheet_code = access.load_sheet_code(paths.data_folder() / "sheet-code")
    tell = _tell_codes if asked else lambda codes: None
    paired = access.Access(key, tell=tell, sheet_code=sheet_code)
    guard, named = Guard(log.path), (options.host, *options.name)
    trials = Trials((log.boat_file or log.path).parent)
    board = Board(plugs=plugged_in, trials=trials)
    app = create_app(log, names=named, access=paired, guard=guard, board=board)
    tell_user(f"Open {addresses(options.host, options.port)} in a browser; Ctrl-C stops.")
    stop = watch_beside(log, guard)
    guard.start()
    uvicorn.run(
        app,
        host=options.host,
        port=options.port,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=2,
        http=front_door.PatientProtocol,
    )
    stop()
    return 0


def plugged_in(listen: bool = False) -> "list[Plug]":
    """What a boat file could read on this computer.

    Args:
        listen: Also listen to each for some seconds; not while anything records.
    """
    from analyzer.faces.web.set_up.plugged import Plug
    from logger.discover.listen import heard
    from logger.discover.ports import found

    devices = found()
    said = heard(devices) if listen else ("",) * len(devices)
    return [
        Plug(
            one.kind,
            one.name,
            one.stable_name or one.name,
            one.sentence,
            text,
            one.serial_number or "",
        )
        for one, text in zip(devices, said, strict=True)
    ]


def _check_free(host: str, port: int) -> None:
    """Raises CannotServe where nothing can listen there."""
    import socket

    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CannotServe(
                f"nothing can listen at {host}, port {port} ({error.strerror}): another program, "
                "or a keelwatt that serves already, may have it; name another with --port"
            ) from None


def _tell_codes(codes: Mapping[Any, str]) -> None:
    tell_user(
        f"Another device is asked for a code, each good once: {codes['look']} to look, "
        f"{codes['change']} to look and change settings."
    )


def addresses(host: str, port: int) -> str:
    """Where a browser finds the pages: the host's own address, or all of this computer's."""
    if host not in ("0.0.0.0", "::", ""):
        return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"
    import socket

    name = f"{socket.gethostname().partition('.')[0].lower()}.local"
    return " or ".join(f"http://{where}:{port}/" for where in (name, *_own_addresses()))


def _own_addresses() -> list[str]:
    """The IPv4 addresses of this computer's interfaces, loopback left out."""
    import fcntl
    import socket
    import struct

    get_address = 0x8915  # SIOCGIFADDR, linux/sockios.h
    found = []
    try:
        interfaces = socket.if_nameindex()
    except OSError:  # a service that may not ask the kernel for them answers all the same
        return []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, interface in interfaces:
            request = struct.pack("256s", interface.encode()[:15])
            with suppress(OSError):  # an interface without an address
                answer = fcntl.ioctl(asking.fileno(), get_address, request)
                found.append(socket.inet_ntoa(answer[20:24]))
    return [address for address in found if not address.startswith("127.")]


def watch_beside(log: Log, guard: "Guard | None" = None) -> Callable[[], None]:
    """Starts the live watch on the log's tail; returns what stops it."""
    if not log.is_there():
        return lambda: None
    try:
        for sentence in log.ways_out():
            tell_user(sentence)
        return log.watch(guard)
    except (LoggerError, OSError, ValueError) as error:
        tell_user(f"No live flags: {error}")
        return lambda: None


COMMANDS = (
    Command(
        "serve",
        _serve,
        "show the pages and answer over HTTP",
        "keelwatt serve --port 8765\n  then open http://127.0.0.1:8765/ in a browser",
        ADDRESS,
        json=False,
    ),
)
