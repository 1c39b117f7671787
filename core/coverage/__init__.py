"""Decide when a placement was watching, and what of a tray's window was not.

`watched` and `cover` are what outcomes are made of, less what a person accepted to be unwatched.
The rest looks deeper: what was set, what is suspected, and what could have been missed; a
suspicion makes a tray a caution until somebody has looked, and no more.
"""

from core.coverage.account import WindowAccount, account_of
from core.coverage.battery import battery_dead
from core.coverage.card import card_full
from core.coverage.lens import lens_blocked, shows_nothing
from core.coverage.quiet import Quiet, quiet_of
from core.coverage.rhythm import Rhythm, rhythm_of
from core.coverage.rows import Confidence, State, Stretch, StretchRuling, Suspicion, Why
from core.coverage.stretches import (
    doubted,
    held,
    stretches_of,
    with_clock_in_doubt,
    without_accepted,
)
from core.coverage.watching import (
    Cover,
    clip,
    cover,
    gaps,
    overlap,
    share,
    union,
    watched,
    without,
)
from core.coverage.words import could_be_missed

__all__ = [
    "Confidence",
    "Cover",
    "Quiet",
    "Rhythm",
    "State",
    "Stretch",
    "StretchRuling",
    "Suspicion",
    "Why",
    "WindowAccount",
    "account_of",
    "battery_dead",
    "card_full",
    "clip",
    "could_be_missed",
    "cover",
    "doubted",
    "gaps",
    "held",
    "lens_blocked",
    "overlap",
    "quiet_of",
    "rhythm_of",
    "share",
    "shows_nothing",
    "stretches_of",
    "union",
    "watched",
    "with_clock_in_doubt",
    "without",
    "without_accepted",
]
