"""Decide in which words packages for others are told: what is in them, what is not, and why."""

from collections.abc import Sequence

from core.camtrap.telling import Withheld
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
    suspect = [one for one in texts if one.pieces]
    lines = [f"! {one.thing}: {', '.join(map(repr, one.pieces))}" for one in suspect[:MOST_TEXTS]]
    if len(suspect) > MOST_TEXTS:
        lines.append(f"! and {len(suspect) - MOST_TEXTS} more")
    if lines:
        lines.insert(0, "Held back, since they read like coordinates:")
    others = len(texts) - len(suspect)
    if others:
        lines.append(
            f"Held back, since the study has a sensitive species: {_many(others, 'free text')}."
        )
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
    if done.counts.get("pictures"):
        lines.append(
            "Look at the pictures before you publish them: some cameras print a place or a name "
            "into them, and an agreement with landowners or a permit may ask for more."
        )
    return lines


def loaded(folder: str, done: Loaded) -> list[str]:
    """Say what came in from a package, what was there, and what a person has to know."""
    came = ", ".join(f"{count} {what}" for what, count in done.new.items() if count)
    there = ", ".join(f"{count} {what}" for what, count in done.same.items() if count)
    lines = [f"{folder}: {came or 'nothing new'}" + (f"; here already: {there}." if there else ".")]
    lines += [f"! {words}" for words in done.conflicts]
    return lines + done.notes


def _many(number: int, what: str) -> str:
    return f"1 {what}" if number == 1 else f"{number} {what}s"
