"""Decide how photos are laid out to choose one of them: each picture is a button."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Any

import streamlit as st

from app import session

NAME = "lastbite_picker"
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


@functools.cache
def _component() -> Callable[..., Any]:
    return st.components.v2.component(
        NAME, html=PLACE, css=_text("picker.css"), js=_text("picker.js"), isolate_styles=True
    )


def _text(name: str) -> str:
    return resources.files(__name__).joinpath("web", name).read_text(encoding="utf-8")
