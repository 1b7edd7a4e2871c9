"""The logger only listens: every place in its code from which bytes could leave is known here.

What the one gate for CANopen lets through is tested in test_canopen.py.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

SENDING = ("send", "sendto", "sendall", "sendmsg", "write", "writelines", "transmit")
# File, and what is called there: nothing else may send or write.
KNOWN = {
    ("sources/frame_readers.py", "self._socket.send"),  # inside SocketCanReader.transmit
    ("sources/frame_readers.py", "self._bus.send"),  # inside LibraryReader.transmit
    ("sources/sdo.py", "self._gate.send"),  # the schedule to the gate
    ("sources/sdo.py", "self._transmit"),  # the gate to the reader
    ("sources/can_bus.py", "stream.write"),  # slcan: the adapter's own speed, not on the bus
    ("sources/byte_stream.py", "self._serial.write"),  # what the line above ends in
    ("sources/raw_copy.py", "self._write"),  # files
    ("sources/raw_copy.py", "self._file.write"),
    ("store/writer.py", "self._write"),  # the log
    ("daemon/systemd.py", "self._send"),  # systemd
    ("daemon/systemd.py", "sock.sendto"),
    ("daemon/journal.py", "self._socket.send"),
}


def trees(repository: Path) -> Iterator[tuple[str, ast.AST]]:
    folder = repository / "logger"
    for path in sorted(folder.rglob("*.py")):
        yield str(path.relative_to(folder)), ast.parse(path.read_text(encoding="utf-8"))


def test_every_call_that_could_send_is_known(repository: Path):
    words = {*SENDING, *(f"_{word}" for word in SENDING)}
    found = {
        (name, ast.unparse(node.func))
        for name, tree in trees(repository)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        if node.func.attr in words
    }
    assert found == KNOWN


def test_only_the_gate_is_given_a_way_onto_the_bus(repository: Path):
    """`transmit` is mentioned once outside its definitions: where the gate is made."""
    mentions = [
        (name, ast.unparse(node))
        for name, tree in trees(repository)
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr == "transmit"
    ]
    assert mentions == [("sources/can_bus.py", "reader.transmit")]
    source = (repository / "logger/sources/can_bus.py").read_text(encoding="utf-8")
    assert "SdoSchedule(reads, Gate(reads, reader.transmit)) if reads else None" in source


def used_of(name: str, path: Path) -> set[str]:
    """Attributes of a name that a file uses."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) == name
    }


def test_modbus_is_only_ever_read(repository: Path):
    used = used_of("self._client", repository / "logger/sources/modbus_line.py")
    reads = {"read_coils", "read_discrete_inputs", "read_holding_registers", "read_input_registers"}
    assert used == {*reads, "connected", "close"}


def test_of_the_canopen_library_only_its_reader_of_eds_files_is_used(repository: Path):
    used = used_of("canopen", repository / "logger/decode/can/canopen_node.py")
    assert used == {"import_od"}
