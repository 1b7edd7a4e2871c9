"""Modbus RTU on a serial line, as its master, through pymodbus. Only reads, functions 1 to 4.

    [[source]]
    name = "charger"
    kind = "modbus"
    [source.options]
    port = "/dev/ttyUSB1"
    baud = 19200
    parity = "E"               # N, E or O
    stop_bits = 1
    timeout_s = 0.3
    [[source.options.register]]
    address = 0x0010
    ...                        # see logger/decode/maps.md, with three worked examples

A device that does not answer is asked again at its next turn; the others go on.
"""

import heapq
import logging
import time
from typing import Any

from logger.boot_clock import mono_us
from logger.decode.counters import Counters
from logger.decode.registers import ReadPlan, plan, read_register
from logger.errors import BoatFileError, SourceError
from logger.reading import Item, Row
from logger.sources.options import Options
from logger.sources.raw_copy import RAW_KEYS, RawFile
from logger.sources.serial_port import open_port

KEYS = {*RAW_KEYS, "port", "baud", "parity", "stop_bits", "timeout_s", "register"}
SILENT_ROUNDS = 30  # requests without any answer before the port is opened again, assumed


class ModbusSource:
    """Polls registers as a `Source`.

    Args:
        name: The source's name.
        client: A connected pymodbus client.
        plans: What to ask, and how often.
        counters: Takes frames (answers), no_answer, refused (exception answers), length.
        raw: Takes the registers of each answer as a line of text; None: not kept.
    """

    def __init__(
        self,
        name: str,
        client: Any,
        plans: list[ReadPlan],
        counters: Counters,
        raw: RawFile | None = None,
    ) -> None:
        self.name = name
        self._client, self._counters, self._raw = client, counters, raw
        now = time.monotonic()
        self._due = [(now, number, one) for number, one in enumerate(plans)]
        heapq.heapify(self._due)
        self._silent = 0

    def read(self, timeout_s: float) -> list[Item] | None:
        """Asks what is due within `timeout_s`."""
        until = time.monotonic() + timeout_s
        items: list[Item] = []
        while True:
            due, number, one = self._due[0]
            now = time.monotonic()
            if due > until:
                time.sleep(max(0.0, min(until - now, timeout_s)))
                return items
            if due > now:
                time.sleep(due - now)
            heapq.heapreplace(self._due, (max(due + one.period_s, now), number, one))
            items += self._ask(one)
            if time.monotonic() >= until:
                return items

    def _ask(self, one: ReadPlan) -> list[Item]:
        answer = self._answer(one)
        if answer is None:
            return []
        t_us = mono_us()
        self._counters.add("frames")
        if self._raw:
            words = " ".join(f"{word:04X}" for word in answer)
            text = f"{one.device} {one.function} {one.address}: {words}"
            self._raw.line(t_us, self.name, text)
        values = one.values(answer)
        return [] if values is None else [Row(one.group, t_us, values)]

    def _answer(self, one: ReadPlan) -> list[int] | None:
        from pymodbus import ModbusException

        reads = {
            1: self._client.read_coils,
            2: self._client.read_discrete_inputs,
            3: self._client.read_holding_registers,
            4: self._client.read_input_registers,
        }
        try:
            reply = reads[one.function](one.address, count=one.count, device_id=one.device)
        except ModbusException as error:
            self._silence(error)
            return None
        except (OSError, TypeError, AttributeError) as error:
            raise SourceError(f"{self.name}: the line was lost: {error}") from error
        self._silent = 0
        if reply.isError():
            self._counters.add("refused")
            return None
        got: list[int] = [int(v) for v in (reply.bits if one.function < 3 else reply.registers)]
        if len(got) < one.count:
            self._counters.add("length")
            return None
        return got[: one.count]

    def _silence(self, error: Exception) -> None:
        self._counters.add("no_answer")
        self._silent += 1
        if self._silent >= SILENT_ROUNDS or not self._client.connected:
            raise SourceError(f"{self.name}: nobody answers on the line: {error}")

    def close(self) -> None:
        """Lets the port go."""
        self._client.close()
        if self._raw:
            self._raw.close()


def open_source(options: Options, counters: Counters, raw: RawFile | None) -> ModbusSource:
    """Opens the source. Raises BoatFileError, SourceError."""
    options.only(KEYS)
    plans = plans_from(options, counters)
    return ModbusSource(options.source, _client(options), plans, counters, raw)


def plans_from(options: Options, counters: Counters) -> list[ReadPlan]:
    """The requests that the options' register map asks for. Raises BoatFileError."""
    registers = [
        read_register(Options(f"{options.source}, register {number}", entry, options.folder))
        for number, entry in enumerate(options.tables("register"), 1)
    ]
    return plan(options.source, registers, counters)


def _client(options: Options) -> Any:
    from pymodbus.client import ModbusSerialClient

    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # silence is counted, not told
    parity = options.text("parity", "E")
    if parity not in ("N", "E", "O"):
        raise options.wrong("parity", "N, E or O")
    port, baud = options.text("port"), options.whole("baud", 19200, 50, 4_000_000)
    stop_bits = options.whole("stop_bits", 1, 1, 2)
    timeout_s = options.number("timeout_s", 0.3, 0.01, 60)
    client = ModbusSerialClient(
        port, baudrate=baud, parity=parity, stopbits=stop_bits, timeout=timeout_s, retries=0
    )
    try:
        client.socket = open_port(
            port, baud, parity=parity, stop_bits=stop_bits, timeout_s=timeout_s, exclusive=True
        )
    except BoatFileError:
        raise
    except Exception as error:  # the serial library lets errors of termios through
        raise SourceError(f"{port}: wants a serial port that can be opened: {error}") from error
    return client
