"""Decide when a placement was watching, and what of a tray's window was not.

`watched` and `cover` are what outcomes are made of. The rest looks deeper: what was set, what is
suspected, and what could have been missed; it proposes and explains, and changes no outcome.
"""

from core.coverage.account import WindowAccount, account_of
from core.coverage.card import card_full
from core.coverage.lens import lens_blocked
from core.coverage.quiet import Quiet, quiet_of
from core.coverage.rhythm import Rhythm, rhythm_of
from core.coverage.rows import Confidence, State, Stretch, StretchRuling, Suspicion, Why
from core.coverage.stretches import stretches_of
from core.coverage.watching import Cover, clip, cover, gaps, share, union, watched
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
    "card_full",
    "clip",
    "could_be_missed",
    "cover",
    "gaps",
    "lens_blocked",
    "quiet_of",
    "rhythm_of",
    "share",
    "stretches_of",
    "union",
    "watched",
]
