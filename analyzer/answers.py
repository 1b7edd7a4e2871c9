"""One function per question a person asks; the only door for the faces."""

from analyzer.results import *  # noqa: F403
