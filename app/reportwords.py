"""Decide in which words a report tells how a study was done; no Streamlit, no terminal.

References
----------
.. [1] Meek et al. 2014, Biodivers Conserv 23:2321-2343, doi:10.1007/s10531-014-0712-8: camera
   studies should report at least the camera model, how it was deployed, its settings, and the
   design of the study.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from importlib.metadata import PackageNotFoundError, version
from platform import python_version

from app import foodwords
from app.wording import FEEDER_WORDS
from core import food
from core.agreement import GroupAgreement
from core.analysis.choice import Choice, folded, night_of
from core.analysis.intervals import ALPHA, LEVEL, Interval, Undefined
from core.analysis.mixed import MixedModel
from core.analysis.whole import Analysis
from core.exports.tables import number_text
from core.food import Reading
from core.model import AnsweredVisit, Outcome, Placement, TrayDeployment, TrayRole
from core.plots.words import level_text
from core.plural import many
from core.settings import Settings

Line = dict[str, str]
LIBRARIES = ("lastbite", "numpy", "scipy", "statsmodels", "pandas", "altair")
NOT_LOGGED = "not in the logs"
DIGITS, DIGITS_SENSITIVE = 3, 1
"""Decimals to which places are rounded: 0.001 degrees; 0.1 with a sensitive species (common
practice of publishing places)."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What a report is made of, beside the analysis."""

    trays: Sequence[TrayDeployment]
    """The study trays that are asked for, and all controls."""
    placements: Sequence[Placement]
    """Those that may have stood at these trays."""
    settings: Settings
    taggers: int
    corrections: int
    """Clock corrections in force."""
    checks: int
    """Clock checks."""
    agreed: GroupAgreement
    """How far those who read the same visits agree, nobody named."""
    ruled: int
    """Visits on which an instructor ruled."""
    sensitive: bool
    """Whether the study lists a species whose places are not to be published."""
    readings: Mapping[str, Reading]
    """What became of the food of each tray that is asked for."""


def visits_of(outcomes: Iterable[Outcome]) -> list[AnsweredVisit]:
    """Give the visits that fall into the windows of trays, each once."""
    parts = (part for one in outcomes for seen in one.seen for part in seen.parts)
    found = {(part.visit.placement, part.visit.number): part for part in parts}
    return list(found.values())


def methods(facts: Facts, analysis: Analysis) -> str:
    """Tell how densities, visits and the answer came about, as a paragraph of a paper would."""
    parts = [
        _field(facts, analysis.choice),
        _visits(facts) if facts.placements else "",
        _food(facts),
        _whose(facts),
        _statistics(analysis, watched=bool(facts.placements)),
    ]
    return " ".join(filter(None, parts))


def _field(facts: Facts, choice: Choice) -> str:
    study = [one for one in facts.trays if one.role is TrayRole.STUDY]
    nights = {night for one in study if (night := night_of(one, choice.zone))}
    sites = {folded(one.site) for one in study if one.site}
    cameras = many(len(facts.placements), "camera placement")
    watched = f"watched by {cameras}" if facts.placements else "watched by no camera"
    when = f" ({choice.when})" if choice.when else ""
    return (
        f"{many(len(study), 'tray was', 'trays were')} set out at "
        f"{many(len(sites), 'site')} over {many(len(nights), 'night')}{when} and {watched}. "
        "Each tray was weighed (or its food counted) when it was set out and when it was picked up."
    )


def _visits(facts: Facts) -> str:
    own = facts.settings
    clocks = (
        f"The clock log holds {many(facts.checks, 'check')} of a camera's clock against true "
        f"time; a person accepted {many(facts.corrections, 'correction')} of clocks."
    )
    agree = (
        "one sure answer was enough"
        if own.taggers_needed == 1
        else f"{own.taggers_needed} taggers who were sure had to agree"
    )
    return (
        f"{clocks} Photos of one camera no more than {own.gap.total_seconds():g} s apart made one "
        f"visit. {many(facts.taggers, 'person', 'people')} named the animals; {agree}, unless "
        f"an instructor ruled. {agreed(facts.agreed, facts.ruled)} No answer came from a machine."
    )


def agreed(found: GroupAgreement, ruled: int) -> str:
    """Tell how far readers agree, and on how many visits an instructor ruled."""
    on = many(ruled, "visit") if ruled else "no visit"
    return f"{_alike(found)} An instructor ruled on {on}."


def _alike(found: GroupAgreement) -> str:
    """Tell how far readers agree, over the visits that at least two of them read."""
    if not found.n or isinstance(found.agreement, Undefined):
        return "No visit was read by two people, so how far readers agree is not known."
    words = [f"two readers gave the same answer with a chance of {found.agreement:.0%}"]
    for name, one in (("Krippendorff's alpha", found.alpha), ("Fleiss' kappa", found.kappa)):
        if isinstance(one, Undefined):
            words.append(f"{name} is not told ({one.why})")
        else:
            words.append(f"{name} was {one.value:.2f} (n = {one.n}){_between(one.interval)}")
    return f"Of {many(found.n, 'visit')} read by two or more, {'; '.join(words)}."


def _between(found: Interval | Undefined) -> str:
    if isinstance(found, Undefined):
        return f", no interval ({found.why})"
    return f", {level_text(found.level)} interval {found.low:.2f} to {found.high:.2f}"


def _food(facts: Facts) -> str:
    own = facts.settings
    controls = food.controls_of(facts.trays, own.timezone)
    parts = []
    study = [one for one in facts.trays if one.role is TrayRole.STUDY]
    wet = {one.deployment for tray in study for one in food.matching_moisture(tray, controls)[0]}
    if own.moisture_corrected and wet:
        parts.append(
            f"moisture by {many(len(wet), 'control tray')} of the same day (and "
            "site, where there was one)"
        )
    if own.sifting_corrected and controls.sift:
        ratio, spread = food.ratio(controls.sift), food.spread(controls.sift)
        told = f", recovery {ratio:.4f}" + (f", SD {spread:.4f}" if spread is not None else "")
        parts.append(f"sifting loss by {many(len(controls.sift), 'control')}{told}")
    corrected = f"Food left was corrected for {' and '.join(parts)}." if parts else (
        "Food left was not corrected for moisture or sifting loss."
    )  # fmt: skip
    weighed = [one for one in controls.sift if not one.counted]
    within = food.tolerance(weighed, own.scale_step, own.tolerance)
    how = food.tolerance_how(weighed, own.tolerance)
    without = f" {remark}" if (remark := foodwords.remark(facts.readings.values())) else ""
    return (
        f"{corrected}{without} A loss of no more than {number_text(within, 4)} g ({how}) counted "
        f"as nobody having fed; at or below {own.scale_step:f} g left a tray counted as emptied, "
        "its density as below that."
    )


def _whose(facts: Facts) -> str:
    if not facts.placements:
        return "Nobody saw who ate, so what was left is told by mass alone."
    own = facts.settings
    return (
        "A density belongs to the last animal that fed; a tray was set aside where that could "
        f"not be told. Where several species were on the tray, {FEEDER_WORDS[own.feeder]}. "
        "Untouched trays have no density."
    )


def _statistics(analysis: Analysis, *, watched: bool) -> str:
    choice = analysis.choice
    nights = (
        "the nights of a station were averaged first"
        if choice.average_nights
        else "each night counted by itself"
    )
    words = (
        f"Densities are told as {choice.measure}. "
        f"Trays of {choice.first} and {choice.second} of one site and night were paired and their "
        f"differences compared by the Wilcoxon signed-rank test ({choice.alternative}) and the "
        f"Hodges-Lehmann estimate; {nights}. Shares have Wilson intervals"
        f"{', visit rates the watched hours as exposure' * watched}; in both each tray counts on "
        "its own. "
        f"Intervals are of {LEVEL:.0%}, and the level of tests is {ALPHA:g}."
    )
    if isinstance(analysis.mixed, MixedModel):
        words += (
            " A mixed model had the microhabitat as fixed and station and night as random "
            f"effects, on the scale {analysis.mixed.scale}."
        )
    if not isinstance(analysis.censored, Undefined):
        words += (
            " Emptied, interrupted and refused trays entered a likelihood as bounds "
            "(log-normal densities)."
        )
    return words


# --- what a camera study reports -----------------------------------------------------------------


def reporting_items(facts: Facts, choice: Choice, *, places: bool) -> list[Line]:
    """Give the reporting items of the published guideline, each as the logs have it [1]_."""
    cameras = facts.placements
    study = [one for one in facts.trays if one.role is TrayRole.STUDY]
    starts = [one.start for one in cameras if one.start]
    ends = [one.end for one in cameras if one.end]
    period = NOT_LOGGED
    if starts and ends:
        first, last = (moment.astimezone(choice.zone).date() for moment in (min(starts), max(ends)))
        period = f"{first} to {last}"
    items = [
        ("camera", "cameras", _several(one.camera for one in cameras)),
        ("camera", "model", _column(cameras, ("model", "make", "camera_model"))),
        ("deployment", "placements, with the trays in view of each",
         _trays_each(cameras)),
        ("deployment", "period", period),
        ("deployment", "height, distance, angle, flash",
         _column(cameras, ("height", "height_m", "distance", "distance_m", "angle", "flash"))),
        ("deployment", "places", place_words(facts, places=places)),
        ("settings", "time-lapse",
         _several(f"every {m} min" if (m := one.timelapse_every_min) else "none or not logged"
                  for one in cameras)),
        ("settings", "quiet time after a trigger",
         _several(f"{s} s" if (s := one.quiet_s) is not None else "not logged"
                  for one in cameras)),
        ("settings", "sensitivity, photos a trigger, video",
         _column(cameras, ("sensitivity", "photos_per_trigger", "burst", "video"))),
        ("settings", "clock", _several(one.clock or "the study's zone" for one in cameras)),
        ("design", "season", ", ".join(choice.seasons) or "all"),
        ("design", "trays", _several(str(one.role) for one in facts.trays)),
        ("design", "microhabitats", _several(one.microhabitat for one in study)),
        ("design", "food", _several(one.food for one in study)),
        ("design", "put in", _amounts(study)),
        ("design", "substrate [L]", _several(f"{one.substrate_l:f}" if one.substrate_l else ""
                                             for one in study)),
    ]  # fmt: skip
    return [{"group": group, "item": item, "as logged": told} for group, item, told in items]


def _trays_each(cameras: Sequence[Placement]) -> str:
    """Say how many placements there are, and how many trays each has in view."""
    if not cameras:
        return "none"
    each = _several(many(len(one.trays), "tray") for one in cameras)
    return f"{len(cameras)}, {each} each"


def _several(values: Iterable[str]) -> str:
    """List what occurs, the most frequent first, with how often where there is more than one."""
    found = Counter(value.strip() for value in values if value.strip()).most_common()
    if not found:
        return NOT_LOGGED
    shown = [value if len(found) == 1 else f"{value} ({n})" for value, n in found[:8]]
    return ", ".join(shown) + (f" and {len(found) - 8} more" if len(found) > 8 else "")  # noqa: PLR2004


def _column(placements: Sequence[Placement], names: Sequence[str]) -> str:
    """Give what people wrote in columns of their own of the camera log."""
    found = {
        folded(key): value
        for one in placements
        for key, value in one.extra.items()
        if folded(key) in names and value.strip()
    }
    if not found:
        return f"{NOT_LOGGED} (a column {names[0]} of the camera log would tell)"
    return "; ".join(
        f"{name}: {_several(one.extra.get(name, '') for one in placements)}" for name in found
    )


def _amounts(trays: Sequence[TrayDeployment]) -> str:
    starts = [food.amounts(one) for one in trays]
    units = ["items" if one.counted else "g" for one in trays]
    return _several(
        f"{start:f} {unit}" for (start, _), unit in zip(starts, units, strict=True) if start
    )


def place_words(facts: Facts, *, places: bool) -> str:
    """Give the places rounded, or say that they were left out."""
    known = [
        (one.placement, one.latitude, one.longitude)
        for one in facts.placements
        if one.latitude is not None and one.longitude is not None
    ]
    if not known:
        return NOT_LOGGED
    if not places:
        return "left out of this report"
    digits = DIGITS_SENSITIVE if facts.sensitive else DIGITS
    listed = sorted({(round(lat, digits), round(lon, digits)) for _, lat, lon in known})
    written = "; ".join(f"{lat:.{digits}f}, {lon:.{digits}f}" for lat, lon in listed)
    return f"{written} (rounded to {Decimal(1).scaleb(-digits)} degrees)"


def software() -> list[Line]:
    """Give the versions of what the numbers were worked out with."""
    found = [{"software": "Python", "version": python_version()}]
    for name in LIBRARIES:
        try:
            found.append({"software": name, "version": version(name)})
        except PackageNotFoundError:
            found.append({"software": name, "version": "not installed as a package"})
    return found
