"""Decide how the state of the previews is put into words; no Streamlit, no terminal."""

from collections.abc import Sequence

from app.making import State


def made(number: int, unread: Sequence[str]) -> str:
    """Say what came of making previews; `unread` says of each photo why it could not be read."""
    words = f"Made the previews of {number} {'photo' if number == 1 else 'photos'}."
    if not unread:
        return words
    return f"{words} {len(unread)} could not be read. The first: {unread[0]}"


def have(*, total: int, made: int, damaged: int, away: int) -> str:
    """Say how many photos have their previews, and what keeps the others from it."""
    parts = [f"{made} of {total} photos have their previews"]
    parts += [f"{damaged} are damaged and listed with the files at fault"] if damaged else []
    parts += [f"{away} are not at hand: put the card in to go on"] if away else []
    return "; ".join(parts) + "."


def now(state: State) -> str:
    """Say how far a running page has come, whose previews are made now, and how fast."""
    parts = [
        have(total=state.total, made=state.made, damaged=state.damaged, away=state.away),
        f"They take {room(state.size)}.",
    ]
    if state.paused:
        parts.append("Paused: only what is looked at is made.")
    elif state.placement and state.left:
        speed = [f"{state.per_second:.0f} a second"] if state.per_second else []
        left = [time_left(state.left / state.per_second)] if state.per_second else []
        parts.append(f"Now those of {', '.join([state.placement, *speed, *left])}.")
    return " ".join(parts)


def room(size: int) -> str:
    """Write how much of a disk is taken; `size` is in bytes, and 1 MB has a million of them."""
    mega = size / 1e6
    return f"{mega / 1000:.1f} GB" if mega >= 1000 else f"{mega:.1f} MB"  # noqa: PLR2004


def time_left(seconds: float) -> str:
    """Say how long it takes still. [s]"""
    minutes = seconds / 60
    return "less than a minute left" if minutes < 1 else f"about {minutes:.0f} min left"
