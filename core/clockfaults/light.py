"""Decide whether the light in the photos fits the height of the sun at the time of the clock."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.clockfaults.rows import Seconds, SunHeight
from core.clockfaults.series import Series
from core.clockfaults.weighing import BURST_S

HIGH_SUN, DEEP_NIGHT = 20.0, -12.0
"""No camera needs infrared above the first, none takes colour below the second unless it has a
white flash (the second is the edge of nautical twilight; both as limits are ours). [degrees]"""
ENOUGH = 3
"""So many infrared bursts at high sun are no chance (ours)."""
MOST_FRAMES = 2000
MOST_WEIGHT, MOST_NEAR_WEIGHT, NEAR_S = 12.0, 3.0, 6 * 3600
"""What the light may weigh at most, and for a shift [s] of fewer hours, since hills and trees
shift dusk and dawn. [natural log odds, ours]"""
TURNS = np.arange(-6.0, 11.0, 2.0)
"""Heights of the sun at which a camera may turn to infrared. [degrees, ours]"""
SPREAD, ODD = 2.0, 0.03
"""How sharply it turns [degrees], and how often a frame is odd all the same (ours)."""


@dataclass(frozen=True, slots=True)
class Against:
    """How many bursts do not fit the clock, under one shift."""

    infrared_by_day: int
    colour_by_night: int
    fitting: int

    @property
    def all(self) -> int:
        """Give all that do not fit."""
        return self.infrared_by_day + self.colour_by_night


@dataclass(frozen=True, slots=True)
class Light:
    """The bursts of a card whose light is known, and the sun at their place."""

    times: Seconds
    infrared: NDArray[np.bool_]
    sun_height: SunHeight
    places: NDArray[np.int64]
    """Where each stands in the series."""

    def at(self, times: Seconds, mask: NDArray[np.bool_]) -> "Light":
        """Give the light of some photos of the series, at other times for all of it."""
        own = mask[self.places]
        places = self.places[own]
        return Light(times[places], self.infrared[own], self.sun_height, places)

    def against(self, shift: int = 0) -> Against:
        """Count the bursts that do not fit when the clock is shifted by so much [s].

        Colour by night counts only where the camera has an infrared flash at all.
        """
        height = self.sun_height((self.times + shift).astype("datetime64[s]"))
        day, night = height > HIGH_SUN, height < DEEP_NIGHT
        colour = ~self.infrared if self.infrared.any() else np.zeros_like(self.infrared)
        return Against(
            int((self.infrared & day).sum()),
            int((colour & night).sum()),
            int(((self.infrared & night) | (~self.infrared & day)).sum()),
        )

    def gain(self, shift: int) -> float:
        """Give what the light says for a shift and against the clock as it is. [log odds]"""
        if not self.infrared.any():
            return 0.0
        most = MOST_WEIGHT if abs(shift) >= NEAR_S else MOST_NEAR_WEIGHT
        return max(-most, min(self._fit(shift) - self._fit(0), most))

    def _fit(self, shift: int) -> float:
        """Give the log odds of the frames, at the height of turning that suits them best."""
        height = self.sun_height((self.times + shift).astype("datetime64[s]"))
        below = 1 / (1 + np.exp((height[None, :] - TURNS[:, None]) / SPREAD))
        seen = ODD + (1 - 2 * ODD) * below
        return float(np.log(np.where(self.infrared, seen, 1 - seen)).sum(axis=1).max())

    def speaks_against(self) -> Against | None:
        """Give what does not fit the clock as it is, where it is too much to be chance."""
        found = self.against()
        enough = found.infrared_by_day >= ENOUGH and found.all > found.fitting
        return found if enough else None


def light_of(
    series: Series, infrared: Mapping[int, bool], sun_height: SunHeight | None
) -> Light | None:
    """Give the light of a card, one frame a burst; None where frames or place are not known."""
    if sun_height is None or not infrared:
        return None
    known = np.array([at for at, one in enumerate(series.ids.tolist()) if one in infrared])
    if not len(known):
        return None
    known = known[np.argsort(series.nominal[known], kind="stable")]
    times = series.nominal[known]
    known = known[np.concatenate(([True], np.diff(times) > BURST_S))]
    known = known[:: -(-len(known) // MOST_FRAMES)]
    frames = np.array([infrared[int(one)] for one in series.ids[known]], dtype=bool)
    return Light(series.nominal[known], frames, sun_height, known)
