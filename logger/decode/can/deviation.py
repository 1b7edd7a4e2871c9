"""The compass's own deviation, applied to the heading of NMEA 2000 group 127250 as HDG's is.

magnetic heading = sensor's reading + deviation (east positive), modulo 360 degrees. Source:
NMEA 0183, HDG; the group has the same three fields. Where no deviation is sent it counts as none.
"""

import numpy as np
import numpy.typing as npt

from logger.quantum import quantise, restore
from logger.reading import Block, Group, Quantum, Row

MAGNETIC = "heading_magnetic_deg"
HEADING, DEVIATION = 0, 1  # columns, by definition of the group's table
Degrees = npt.NDArray[np.float64]


def wants_it(group: Group) -> bool:
    """Whether a group holds a magnetic heading and its deviation."""
    return group.channels[:1] == (MAGNETIC,) and len(group.channels) > DEVIATION


def applied(item: Block) -> Block:
    """A block whose magnetic heading has its deviation in it; on the heading's own steps."""
    values = item.values.copy()
    values[:, HEADING] = magnetic_deg(
        values[:, HEADING], values[:, DEVIATION], item.group.quanta[HEADING]
    )
    return Block(item.group, item.t_us, values)


def applied_to_row(row: Row) -> Row:
    """The same for one reading."""
    block = applied(Block(row.group, np.array([row.t_us]), np.array([row.values], np.float64)))
    values = [None if np.isnan(value) else value for value in block.values[0].tolist()]
    return Row(row.group, row.t_us, values)


def magnetic_deg(sensor_deg: Degrees, deviation_deg: Degrees, steps: Quantum) -> Degrees:
    """Magnetic heading, 0 to 360 degrees, NaN where the sensor has none. Each of shape (n,)"""
    whole = np.mod(sensor_deg + np.nan_to_num(deviation_deg), 360.0)
    there = np.isfinite(whole)
    q = quantise(whole[there], steps)
    if q is not None:
        whole[there] = np.minimum(restore(q, steps), 360.0)
    return whole
