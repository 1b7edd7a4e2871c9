"""Single frames: straight-line Python written for a layout's wanted fields only."""

from collections.abc import Callable
from struct import Struct

import numpy as np

from logger.decode.counters import Counters
from logger.decode.fields import Bits, Field, Layout
from logger.quantum import whole_inverse, whole_offset

RowFunction = Callable[[bytes], "tuple[float | None, ...] | None"]


def compile_row(layout: Layout, size: int, counters: Counters) -> RowFunction:
    """A function from a frame's bytes to the layout's values.

    Args:
        layout: What to read; its conditions are tested too.
        size: Bytes in the frame.
        counters: Takes "missing" and "out_of_limits".
    Returns:
        Function: bytes -> tuple of values, None where a value is missing; None where a
        condition fails or where no value is left.
    """
    names: dict[str, object] = {"miss": counters.add}
    unpacking, unpacked = _unpacking(layout, size, names)
    shifted = [f for k, f in enumerate(layout.fields) if k not in unpacked]
    orders = {item.bits.big_endian for item in shifted}
    orders |= {bits.big_endian for bits, _ in layout.conditions}
    lines = ["def row(data):"]
    lines += [" le = int.from_bytes(data, 'little')"] * (False in orders)
    lines += [" be = int.from_bytes(data, 'big')"] * (True in orders)
    for number, (bits, wanted) in enumerate(layout.conditions):
        names[f"wanted{number}"] = wanted
        lines.append(f" if {_raw(bits, size)} not in wanted{number}: return None")
    lines += unpacking
    results, sure = [], False
    for number, item in enumerate(layout.fields):
        name = f"v{number}"
        if number not in unpacked:
            lines.append(f" {name} = {_number(item, size, name, names)}")
        tests = _field_lines(name, item, names)
        sure |= not tests
        lines += tests
        results.append(name if tests else _value(item, _rounded(item, name)))
    if not sure:
        missing = " and ".join(f"{name} is None" for name in results)
        lines.append(f" if {missing}: return None")
    lines.append(f" return ({', '.join(results)},)")
    exec(compile("\n".join(lines), f"<row of {layout.group.key}>", "exec"), names)
    function: RowFunction = names["row"]  # type: ignore[assignment]
    return function


_CODES = {("u", 8): "B", ("s", 8): "b", ("u", 16): "H", ("s", 16): "h", ("u", 32): "I",
          ("s", 32): "i", ("u", 64): "Q", ("s", 64): "q"}  # fmt: skip


def _unpacking(
    layout: Layout, size: int, names: dict[str, object]
) -> tuple[list[str], frozenset[int]]:
    """Lines that read whole aligned numbers with `struct`, and which fields these are."""
    lines, done = [], set()
    for big in (False, True):
        form, names_read, end = "", [], 0
        places = sorted(range(len(layout.fields)), key=lambda k: layout.fields[k].bits.start)
        for number in places:
            bits = layout.fields[number].bits
            code = _CODES.get((bits.kind, bits.length))
            aligned = bits.start % 8 == 0 and bits.start // 8 >= end
            one_order = bits.big_endian == big or (bits.length == 8 and number not in done)
            if code is None or not aligned or not one_order:
                continue
            form += "x" * (bits.start // 8 - end) + code
            end = bits.start // 8 + bits.length // 8
            names_read.append(f"v{number}")
            done.add(number)
        if names_read:
            names[f"unpack{big:d}"] = Struct("<>"[big] + form + "x" * (size - end)).unpack
            lines.append(f" {', '.join(names_read)}, = unpack{big:d}(data)")
    return lines, frozenset(done)


def _raw(bits: Bits, size: int) -> str:
    mask = (1 << bits.length) - 1
    if bits.big_endian:
        shift, word = 8 * size - bits.start - bits.length, "be"
    else:
        shift, word = bits.start, "le"
    moved = f"({word} >> {shift})" if shift else word
    whole = shift + bits.length == 8 * size
    return moved if whole else f"({moved} & {mask:#x})"


def _number(item: Field, size: int, name: str, names: dict[str, object]) -> str:
    bits = item.bits
    if bits.kind == "f":
        code = {16: "e", 32: "f", 64: "d"}[bits.length]
        names[f"{name}_real"] = Struct(f"<{code}").unpack
        return f"{name}_real({_raw(bits, size)}.to_bytes({bits.length // 8}, 'little'))[0]"
    if bits.kind == "s":
        top = 1 << (bits.length - 1)
        return f"({_raw(bits, size)} ^ {top:#x}) - {top:#x}"
    return _raw(bits, size)


def _rounded(item: Field, name: str) -> str:
    """Whole numbers beyond 53 bits are rounded first, as blocks do."""
    return f"float({name})" if item.bits.length > 53 and item.bits.kind != "f" else name


def _value(item: Field, name: str) -> str:
    sign = "-" if item.negative else ""
    if item.bits.kind == "f":
        return f"{sign}{name} * {item.factor!r} + {item.shift!r}"
    step, offset = item.quantum.step, item.quantum.offset
    divide, whole = whole_inverse(step), whole_offset(item.quantum)
    if divide and whole:
        return f"({whole} {sign or '+'} {name}) / {divide}"
    value = f"{sign}{name} / {divide}" if divide and divide > 1 else f"{sign}{name} * {step!r}"
    return f"{value} + {offset!r}" if offset else value


def _field_lines(name: str, item: Field, names: dict[str, object]) -> list[str]:
    """Lines that turn a raw number into a value or None; none where nothing can be wrong."""
    tests = []
    if item.raw_low is not None:
        tests.append(f"{name} < {item.raw_low}")
    if item.raw_high is not None:
        tests.append(f"{name} > {item.raw_high}")
    if item.bits.kind == "f":
        tests.append(f"{name} - {name} != 0")
    lines = []
    if tests:
        lines += [f" if {' or '.join(tests)}: {name} = None; miss('missing')", " else:"]
    low, high = float(item.low), float(item.high)
    limited = np.isfinite(low) or np.isfinite(high)
    if not tests and not limited:
        return []
    indent = "  " if tests else " "
    lines.append(f"{indent}{name} = {_value(item, _rounded(item, name))}")
    if limited:
        names["inf"] = float("inf")
        lines.append(f"{indent}if not {low!r} <= {name} <= {high!r}:")
        lines.append(f"{indent} {name} = None; miss('out_of_limits')")
    return lines
