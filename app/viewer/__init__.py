"""Decide how the viewer and what settles are put on a page: components of the files in `web`."""

import functools
import hashlib
import hmac
from collections.abc import Callable, Mapping, Sequence
from importlib import resources
from typing import Any

import streamlit as st

SCRIPTS = (
    "dom", "outbox", "refusals", "history", "said", "queue", "keys", "desk", "tagging", "pictures",
    "zoom", "tray", "picture", "panel", "dialogs", "sheet", "view", "viewer",
)  # fmt: skip
"""The files of the viewer's one script, in the order in which they stand in it."""
SETTLE_SCRIPTS = ("dom", "outbox", "keys", "settling", "settlelists", "settleview", "settle")
"""The same for the Settle page."""
PLACE = '<div class="lastbite-place"></div>\n'
NAME = "lastbite_viewer"


def script(names: Sequence[str] = SCRIPTS) -> str:
    """Give the viewer's script, whole."""
    return "\n".join(_text(f"{name}.js") for name in names)


def _text(name: str) -> str:
    return resources.files(__name__).joinpath("web", name).read_text(encoding="utf-8")


@functools.cache
def _component() -> Callable[..., Any]:
    return st.components.v2.component(
        NAME, html=PLACE, css=_text("viewer.css"), js=script(), isolate_styles=True
    )


def show(data: Mapping[str, Any]) -> None:
    """Put the viewer on the page; it asks the routes of `service` for everything else."""
    _component()(key="viewer", data=dict(data))


@functools.cache
def _settle() -> Callable[..., Any]:
    css = f"{_text('viewer.css')}\n{_text('settle.css')}"
    return st.components.v2.component(
        "lastbite_settle", html=PLACE, css=css, js=script(SETTLE_SCRIPTS), isolate_styles=True
    )


def show_settle(data: Mapping[str, Any]) -> None:
    """Put what is to settle on the page; it asks the routes of `service` for it."""
    _settle()(key="settle", data=dict(data))


def study_name(secret: bytes) -> str:
    """Give a name by which a browser tells studies apart; nothing can be signed with it."""
    return hmac.new(secret, b"study", hashlib.sha256).hexdigest()[:16]
