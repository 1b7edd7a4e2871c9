"""The questions about another boat, as methods of a log."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.answers.log_file import LogFile, as_of

if TYPE_CHECKING:
    from analyzer.answers.ahead.passage import PlanWish
    from analyzer.answers.gain.rows import GainAnswer, PlanWhatIf, RangeWhatIf, TripWhatIf
    from analyzer.estimation.results import WayHome

Flow = tuple[float, float]  # m/s, degrees


class OtherBoats(LogFile):
    """A log with the questions about a boat that is not the one aboard."""

    def range_what_if(
        self,
        changes: Sequence[str],
        speed_mps: float | None = None,
        stream: Flow | None = None,
        home: "WayHome | None" = None,
        wind: Flow | None = None,
    ) -> "RangeWhatIf":
        """How far with some numbers of the boat file changed, beside the boat as it is.

        Args:
            changes: KEY=VALUE each, as in the boat file: "pack.rated_capacity_ah=200". The rest is
                as for `range_left`.
        Raises:
            BadChange: A key or a value cannot be asked.
        """
        from analyzer.answers.gain.what_if import range_what_if

        with self.opened() as log:
            return range_what_if(log, changes, speed_mps, stream, home, wind)

    def review_what_if(self, changes: Sequence[str], number: int | None = None) -> "TripWhatIf":
        """A trip as it would have been with some numbers of the boat file changed.

        Args:
            changes: As for `range_what_if`. number: The trip's; None: the newest.
        Raises:
            BadChange, NoTrip: A key or a value cannot be asked, or there is no such trip.
        """
        from analyzer.answers.gain.trip_that_was import trip_what_if

        with self.opened() as log:
            return trip_what_if(log, changes, number)

    def gain(self) -> "GainAnswer":
        """What would help most: each measure's gain with its range, the largest first."""
        from analyzer.answers.gain.gain import gain

        with self.opened() as log:
            return as_of(log.store, gain(log))

    def plan_what_if(self, changes: Sequence[str], wish: "PlanWish") -> "PlanWhatIf":
        """A passage with some numbers of the boat file changed; see `range_what_if`."""
        from analyzer.answers.gain.what_if import plan_what_if

        with self.opened() as log:
            return plan_what_if(log, changes, wish)
