"""Decide how placements and photos are told as the standard's deployments and media.

A column of the camera log that Lastbite has no use for, but the standard has (`cameraHeight`,
`habitat`, `featureType`), is told under its name.
"""

from core.camtrap import cells
from core.camtrap.choosing import MEDIA, Chosen, Media
from core.camtrap.events import tag_list, time_text
from core.camtrap.fields import DEPLOYMENTS
from core.camtrap.places import Place
from core.camtrap.telling import Telling
from core.model import Photo, PhotoKind, Placement, true_time

Row = dict[str, str]
FREE_TEXTS = ("habitat", "deploymentGroups", "deploymentTags", "deploymentComments")
OWN = {
    "deploymentID", "locationID", "locationName", "latitude", "longitude",
    "coordinateUncertainty", "deploymentStart", "deploymentEnd", "setupBy", "cameraID",
    "cameraModel", "cameraDelay", "timestampIssues", "deploymentTags",
}  # fmt: skip
"""Columns that are told from what Lastbite knows itself."""
TYPES = {
    "png": "image/png",
    "tif": "image/tiff",
    "tiff": "image/tiff",
    "heic": "image/heic",
    "heif": "image/heif",
    "webp": "image/webp",
    "avif": "image/avif",
}
"""Media types by the ending of the file; all others are JPEG."""


def deployment_row(
    chosen: Chosen, place: Place, model: str, telling: Telling, *, clock_doubted: bool
) -> Row:
    """Tell one placement; `model` is its camera's, as maker and model."""
    own = chosen.placement
    issues = chosen.unsure_times or clock_doubted or own.extra.get("timestampIssues") == "true"
    texts = free_texts(own, telling)
    others = {name: texts.get(name, text) for name, text in own_columns(own).items()}
    row = {
        "baitUse": "true",
        **others,
        "deploymentID": telling.without_names(own.placement),
        "locationID": place.id,
        "locationName": place.name,
        "latitude": place.at.latitude_text,
        "longitude": place.at.longitude_text,
        "coordinateUncertainty": str(place.at.uncertainty_m),
        "deploymentStart": time_text(chosen.start, chosen.offset),
        "deploymentEnd": time_text(chosen.end, chosen.offset),
        "cameraID": texts["cameraID"],
        "cameraModel": model,
        "cameraDelay": "" if own.quiet_s is None else str(own.quiet_s),
        "timestampIssues": "true" if issues else "false",
        "deploymentTags": _tags(own, texts["deploymentTags"], telling),
    }
    return {name: cells.kept(text) for name, text in row.items()}


def own_columns(placement: Placement) -> Row:
    """Give the columns of the camera log that the standard has and Lastbite has no use for.

    CellError for the first one that does not hold what the standard asks for.
    """
    fields = {field.name: field for field in DEPLOYMENTS.fields if field.name not in OWN}
    return {
        name: cells.write(cells.read(text, fields[name], strict=False), fields[name])
        for name, text in placement.extra.items()
        if name in fields
    }


def free_texts(placement: Placement, telling: Telling) -> Row:
    """Give the free texts of its line in the camera log, as they may be told."""
    thing = f"placement {placement.placement!r}"
    texts = {
        name: telling.text(f"{name} of {thing}", placement.extra.get(name, ""))
        for name in FREE_TEXTS
    }
    return texts | {"cameraID": telling.word(f"camera of {thing}", placement.camera)}


def _tags(placement: Placement, more: str, telling: Telling) -> str:
    """Give what the standard has no column for: trays, and how the camera was set."""
    working = placement.working_at_pickup
    pairs = [("tray", telling.without_names(tray)) for tray in placement.trays]
    pairs += [
        ("working_at_pickup", "" if working is None else "yes" if working else "no"),
        ("timelapse_every_min", str(placement.timelapse_every_min or "")),
    ]
    own = (part.strip() for part in more.split("|"))
    return " | ".join(filter(None, (tag_list(pairs), *own)))


def media_row(chosen: Chosen, media: Media, *, public: bool) -> Row:
    """Tell one photo of a placement."""
    return {
        "mediaID": media.id,
        "deploymentID": chosen.name,
        "captureMethod": capture_method(media.photo),
        "timestamp": time_text(true_time(media.photo), chosen.offset),
        "filePath": f"{MEDIA}/{media.id}",
        "filePublic": "true" if public else "false",
        "fileName": media.id.rpartition("/")[2],
        "fileMediatype": TYPES.get(media.id.rpartition(".")[2].casefold(), "image/jpeg"),
    }


def capture_method(photo: Photo) -> str:
    """Give the standard's word for why a photo was taken."""
    return "timeLapse" if photo.kind is PhotoKind.TIMELAPSE else "activityDetection"
