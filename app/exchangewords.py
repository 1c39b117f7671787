"""Decide in which words packages for others are told: what is in them, what is not, and why."""

from collections.abc import Sequence

from core.camtrap.telling import Why, Withheld
from core.exchange import Exported, Loaded
from core.plural import many

TABLES = {
    "deployments": ("placement",),
    "media": ("photo",),
    "observations": ("observation",),
    "tray_outcomes": ("outcome",),
    "tray_log": ("line of the tray log", "lines of the tray log"),
    "pictures": ("picture",),
}
NAMES = (
    "! Taggers stand in the package by their real names (--names): ask them before you publish it."
)
MOST_TEXTS = 20
"""So many texts that are held back are named."""


def withheld(texts: Sequence[Withheld]) -> list[str]:
    """Say which free texts are held back, before anything is written."""
    lines = []
    for why in Why:
        found = [one for one in texts if one.why is why]
        if not found:
            continue
        texts_of = many(len(found), "free text")
        if why is Why.SENSITIVE:
            lines.append(f"Held back, since {why}: {texts_of}.")
            continue
        lines.append(f"Held back, {texts_of}, since {why}:")
        lines += [
            f"! {one.thing}: {', '.join(map(repr, one.pieces))}" for one in found[:MOST_TEXTS]
        ]
        if len(found) > MOST_TEXTS:
            lines.append(f"! and {len(found) - MOST_TEXTS} more")
    return lines


def exported(done: Exported) -> list[str]:
    """Say what a package holds, what was left out and why."""
    told = ", ".join(
        many(done.counts[name], *words) for name, words in TABLES.items() if name in done.counts
    )
    lines = [f"Wrote {done.folder}: {told}. Checked by the standard's rules and by our own."]
    lines += [f"Left out: {why} ({count})." for why, count in done.left_out.items()]
    lines += [f"Not public: {many(count, 'photo')} {why}." for why, count in done.private.items()]
    lines += [f"! Not copied: {why}" for why in done.not_copied[:MOST_TEXTS]]
    if len(done.not_copied) > MOST_TEXTS:
        lines.append(f"! Not copied: {len(done.not_copied) - MOST_TEXTS} more.")
    lines += [f"Said in the package: {one}" for one in done.statements]
    if done.names:
        lines.insert(1, NAMES)
    pictures = done.counts.get("pictures", 0)
    if pictures:
        lines.insert(1, _look_at(pictures, sensitive=done.sensitive))
    return lines


def _look_at(pictures: int, *, sensitive: bool) -> str:
    """Say what no program sees in pictures."""
    why = " The study has a sensitive species: one printed name undoes the rest." * sensitive
    return (
        f"! Look at the {many(pictures, 'picture')} before you publish them: some cameras print "
        f"a place or a name into them.{why} An agreement with landowners, or a permit, may ask for "
        "more."
    )


def loaded(folder: str, done: Loaded) -> list[str]:
    """Say what came in from a package, what was there, and what a person has to know."""
    came = ", ".join(f"{count} {what}" for what, count in done.new.items() if count)
    there = ", ".join(f"{count} {what}" for what, count in done.same.items() if count)
    lines = [f"{folder}: {came or 'nothing new'}" + (f"; here already: {there}." if there else ".")]
    lines += [f"! {words}" for words in done.conflicts]
    return lines + done.notes
