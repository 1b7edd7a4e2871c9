"""The questions about a season, as methods of a log."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from analyzer.answers.gain.ask import OtherBoats

if TYPE_CHECKING:
    from analyzer.answers.season.rows import SeasonAnswer


class Seasons(OtherBoats):
    """A log with the questions about all its trips together."""

    def season(
        self, start_utc_s: float | None = None, end_utc_s: float | None = None
    ) -> "SeasonAnswer":
        """A season: miles, hours, energy, consumption, growth, pack, days, and how answers held.

        Args:
            start_utc_s, end_utc_s: Trips that began between, seconds since 1970; None: the year up
                to the newest trip's end.
        Raises:
            NoTrip: No trip began in that time.
        """
        from analyzer.answers.season.season import season

        with self.opened() as log:
            return season(log, start_utc_s, end_utc_s)

    def look_back(
        self,
        start_utc_s: float | None = None,
        end_utc_s: float | None = None,
        most: int | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> bool:
        """Holds the range answers of a season's trips against the log, some seconds a trip.

        What is found is kept in the log, for `season`. Raises as `season`.

        Args:
            most: So many trips at most; None: all.
        Returns:
            Whether trips are left.
        """
        from analyzer.answers.season.range_held import look_back
        from analyzer.answers.season.stretch import season_of

        with self.opened(write=True) as log:
            return look_back(season_of(log, start_utc_s, end_utc_s), most, progress)
