"""How each run of the board's computer was dated."""

from analyzer.estimation.results import BootRow
from analyzer.series.log import OpenLog
from logger.errors import StoreError


def boots(log: OpenLog) -> tuple[BootRow, ...]:
    """All boots, in the order in which the log met them."""
    rows = []
    for boot in log.store.boots():
        ends = [
            None if at_us is None else (at_us + boot.timeline_offset_us) / 1e6
            for at_us in (boot.first_us, boot.last_us)
        ]
        rows.append(
            BootRow(
                number=boot.number,
                first_utc_s=ends[0],
                last_utc_s=ends[1],
                dated_by=boot.utc_source,
                uncertainty_s=boot.utc_uncertainty_s,
                believed=boot.utc_offset_us == boot.timeline_offset_us,
                recorded=boot.recorded,
                remark=boot.remark,
            )
        )
    return tuple(rows)


def forget_date(log: OpenLog, number: int) -> None:
    """Takes a boot's date back: its place is then after the boot before it.

    Raises:
        StoreError: There is no boot of that number.
    """
    if number not in [boot.number for boot in log.store.boots()]:
        raise StoreError(f"there is no boot {number}; `keelwatt boots` lists them")
    log.store.forget_date(number)
