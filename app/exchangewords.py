"""Decide in which words packages for others are told: what is in them, what is not, and why."""

from collections.abc import Sequence

from core.camtrap.telling import Why, Withheld
from core.exchange import Exported, Loaded

TABLES = {
    "deployments": "placements",
    "media": "photos",
    "observations": "observations",
    "tray_outcomes": "outcomes",
    "tray_log": "lines of the tray log",
    "pictures": "pictures",
}
MOST_TEXTS = 20
"""So many texts that are held back are named."""


def withheld(texts: Sequence[Withheld]) -> list[str]:
    """Say which free texts are held back, before anything is written."""
    lines = []
    for why in Why:
        found = [one for one in texts if one.why is why]
        if not found:
            continue
        texts_of = _many(len(found), "free text")
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
        f"{done.counts[name]} {words}" for name, words in TABLES.items() if name in done.counts
    )
    lines = [f"Wrote {done.folder}: {told}. Checked by the standard's rules and by our own."]
    lines += [f"Left out: {count} {why}." for why, count in done.left_out.items()]
    if done.private:
        lines.append(
            f"Not public: {_many(done.private, 'photo')} of people, vehicles or what nobody could "
            "name, or not settled yet."
        )
    lines += [f"Said in the package: {one}" for one in done.statements]
    pictures = done.counts.get("pictures", 0)
    if pictures:
        lines.insert(1, _look_at(pictures, sensitive=done.sensitive))
    return lines


def _look_at(pictures: int, *, sensitive: bool) -> str:
    """Say what no program sees in pictures."""
    why = " The study has a sensitive species: one printed name undoes the rest." * sensitive
    return (
        f"! Look at the {_many(pictures, 'picture')} before you publish them: some cameras print "
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


def _many(number: int, what: str) -> str:
    return f"1 {what}" if number == 1 else f"{number} {what}s"
