"""Decide what a person has to know of a package that came in: guessed, left out, to be mended."""

from collections.abc import Iterable, Mapping
from decimal import Decimal

from core import logs
from core.camtrap import descriptor, opening, reading
from core.camtrap.hearing import Hearing
from core.camtrap.reading import Package
from core.model import Where
from core.plural import many
from core.settings import Settings
from core.sheets import plain_text


def notes(
    package: Package,
    heard: Hearing,
    passed_over: Mapping[str, int],
    where: Where,
    settings: Settings,
) -> Iterable[str]:
    """Give each in words; `passed_over` counts by column what a study has no place for."""
    if heard.guessed:
        yield (
            f"For {many(heard.guessed, 'observation')} of animals the package does not say whether "
            f"they fed or were on the tray: held as {where} (--where changes that)."
        )
    if heard.machine:
        yield (
            f"From a machine: {many(heard.machine, 'observation')}, taken as not sure until people "
            "have looked."
        )
    if heard.uncounted:
        yield (
            f"Left out: {many(heard.uncounted, 'count')} of more than {logs.MOST_ANIMALS} animals."
        )
    if package.oversized:
        yield f"Left out, since no camera has it: {', '.join(package.oversized)}."
    if heard.without_photos:
        yield (
            f"Left out, with no photo in their time: {many(heard.without_photos, 'observation')}."
        )
    if heard.quiet:
        yield (
            f"No visit, but proof that the camera worked: {many(heard.quiet, 'observation')} of "
            "blank time-lapse photos."
        )
    without = [one.placement for one in package.placements if not one.trays]
    if without:
        yield (
            f"No trays are named for: {', '.join(without)}. Write them in the camera log, and load "
            "the tray log."
        )
    yield from _unwatched(package, heard)
    yield from _irregular(package)
    yield from _other_settings(package, settings)
    yield from _coarser(package, settings)
    yield from _not_taken(package, passed_over)


def _coarser(package: Package, settings: Settings) -> Iterable[str]:
    """Tell where the study would claim to know places closer than the package does."""
    told, own = package.described.get("coordinatePrecision"), settings.sharing.place_precision
    if isinstance(told, bool) or not isinstance(told, int | float):
        return
    grid = plain_text(told)
    if Decimal(grid) > own:
        yield (
            f"The package rounds its places to {grid} degrees: set place_precision_deg = {grid} "
            f"under [export] in study.toml (here {own}) before you give the "
            "study to others."
        )


def _not_taken(package: Package, passed_over: Mapping[str, int]) -> Iterable[str]:
    """Tell what of the package has no place in a study, and which photos are only told of."""
    if passed_over:
        listed = ", ".join(f"{name} ({many(count, 'row')})" for name, count in passed_over.items())
        yield f"No tag or photo has a place for, so not taken over: {listed}."
    media = [one for some in package.media.values() for one in some]
    absent = sum(not opening.is_file_in(package.folder, reading.path_of(package, one))
                 for one in media)  # fmt: skip
    if absent:
        yield (
            f"{absent} of {len(media)} photos have no file in the package: they count, "
            "and nothing can be shown of them."
        )


def _unwatched(package: Package, heard: Hearing) -> Iterable[str]:
    """Tell of tags that name a tray which their placement does not watch."""
    watched = {one.placement: one.trays for one in package.placements if one.trays}
    named = dict.fromkeys((tag.placement, tag.tray) for tag in heard.tags if tag.tray)
    stray = [f"{tray} at {at}" for at, tray in named if at in watched and tray not in watched[at]]
    if stray:
        yield (
            f"Tags name trays that their placement does not watch: {', '.join(stray)}. Mend the "
            "camera log if it does."
        )


def _irregular(package: Package) -> Iterable[str]:
    for one in package.placements:
        some = sum(medium.timelapse for medium in package.media.get(one.placement, ()))
        if some and one.timelapse_every_min is None:
            yield (
                f"{many(some, 'time-lapse photo')} of {one.placement!r} without a rhythm since "
                "midnight: taken as triggered."
            )


def _other_settings(package: Package, settings: Settings) -> Iterable[str]:
    """Tell which settings the package was made with and this study has otherwise."""
    told, own = package.own.get("settings"), descriptor.settings_told(settings)
    if not isinstance(told, dict):
        return
    other = [f"{name} = {told[name]!r} (here {own[name]!r})" for name in own
             if name in told and told[name] != own[name]]  # fmt: skip
    if other:
        yield (
            f"The package was made with other settings: {', '.join(other)}. Outcomes come out "
            "otherwise until study.toml has the same."
        )
