"""A flag with invented words, for tests of where flags are kept and told."""

from dataclasses import replace

from logger.store.records import FlagRecord

PLAIN = FlagRecord(
    number=None,
    key="k",
    level="notice",
    subject="s",
    kind="k",
    title="t",
    evidence="e",
    cause="c",
    caution="c",
    first_action="f",
    raised_us=0,
)


def flag_record(**changes: object) -> FlagRecord:
    """A plain flag with some of its fields changed."""
    return replace(PLAIN, **changes)
