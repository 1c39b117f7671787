"""Decide how photos are laid out to choose one of them: each picture is a button."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Any

import streamlit as st

from app import session

NAME = "lastbite_picker"
MOST_LISTED = 2000
"""So many names are listed at the most: a browser is slow with more."""
PLACE = '<div class="lastbite-picks"></div>\n'


@dataclass(frozen=True, slots=True)
class Pick:
    """A photo to choose."""

    photo: int
    caption: str
    """What stands under it."""
    alt: str
    """What it is, for who cannot see it."""


def choose(picks: Sequence[Pick], chosen: int | None, *, label: str, key: str) -> int | None:
    """Show photos as buttons; give the one that was pressed last, by its id.

    `chosen` is marked as the one that is shown now, by a sign and not by colour alone.
    """
    cells = [
        {
            "photo": one.photo,
            "address": session.photo_address("strip", one.photo),
            "caption": one.caption,
            "alt": one.alt,
        }
        for one in picks
    ]
    said = _component()(
        key=key,
        data={"picks": cells, "chosen": chosen, "label": label},
        on_picked_change=lambda: None,
    )
    picked = said.picked
    return int(picked) if picked is not None else None


def by_name(names: Sequence[str], *, key: str) -> str | None:
    """Ask for any other photo by its name; of very many a part of it has to be typed."""
    if len(names) <= MOST_LISTED:
        chosen: str | None = st.selectbox(
            "Another photo", names, index=None, key=key, placeholder="Type the name of its file"
        )
        return chosen
    typed = st.text_input("Another photo: the name of its file", key=key).strip()
    found = [one for one in names if typed and typed.casefold() in one.casefold()]
    if typed and len(found) != 1:
        st.text(f"{len(found)} photos of this placement are like {typed}. Type more of the path.")
    return found[0] if len(found) == 1 else None


@functools.cache
def _component() -> Callable[..., Any]:
    return st.components.v2.component(
        NAME, html=PLACE, css=_text("picker.css"), js=_text("picker.js"), isolate_styles=True
    )


def _text(name: str) -> str:
    return resources.files(__name__).joinpath("web", name).read_text(encoding="utf-8")
