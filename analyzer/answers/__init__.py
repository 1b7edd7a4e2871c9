"""The only door for the faces: a log, and what can be asked of it.

>>> from analyzer import answers
>>> with answers.open_log("demo.sqlite") as log:
...     (trip,) = log.trips()
...     left = log.range_left()
>>> trip.number, [leg.kind for leg in trip.legs][:1]
(1, ['motoring'])

Questions about trips want `refresh` to have been run, as `keelwatt trips` does. Every answer is
made of estimates: a value, its 80 % range, what it rests on, and why it is as wide as it is, or
missing.

>>> charge = left.charge
>>> charge.low < charge.mid < charge.high, charge.unit
(True, 'frac')
>>> answers.to_json(charge)["coverage"]
0.8

`log.frame` gives readings to pandas, `table` the rows of an answer; see
`analyzer.exchange.data_frame`. The modules of this package are the questions one by one.
"""

from typing import Any

from analyzer.answers.log import Log, open_log
from analyzer.estimation.results import to_json
from analyzer.estimation.table import table

__all__ = ["Log", "json_schema", "open_log", "table", "to_json"]


def json_schema() -> dict[str, Any]:
    """The JSON Schema of what `to_json` gives of every answer; see `analyzer.answers.schema`."""
    from analyzer.answers.schema import shipped

    return shipped()
