"""A small group of readings that the tests of the store write and read back."""

from logger.reading import Group, Quantum, Row

S = 1_000_000
ALL = -(2**62), 2**62
PACK = Group("can/1", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum(0.1)))


def rows(n: int, start: int = 0) -> list[Row]:
    """So many rows of `PACK`, a second apart, from a second on."""
    return [Row(PACK, (start + i) * S, [50 + i / 100, -i / 10]) for i in range(n)]
