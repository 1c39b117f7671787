"""Decide how the pages and pictures of one study are served, to this computer and nobody else."""

import contextlib
import os
import socket
import webbrowser
from collections.abc import AsyncIterator, Callable, Mapping
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route

from app import session
from app.viewer import service
from core import pictures
from core.errors import LastbiteError, StudyError
from core.workspace import Workspace

ADDRESS = "127.0.0.1"
HOSTS = [ADDRESS, "localhost"]
MAIN = Path(__file__).with_name("main.py")
SIZES = {"review": pictures.REVIEW_PX, "strip": pictures.STRIP_PX}
"""The copies that are made, with their longest side [px]; `original` is served as it is."""

_ALWAYS = {
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'",
}
_KEPT = _ALWAYS | {"Cache-Control": "private, max-age=600"}
_NOT_KEPT = _ALWAYS | {"Cache-Control": "no-store"}

_LIGHT = {
    "primaryColor": "#23685f",
    "backgroundColor": "#fbfaf6",
    "secondaryBackgroundColor": "#efece3",
    "textColor": "#23302e",
    "linkColor": "#1d5a80",
    "borderColor": "#cbc6b8",
}
_DARK = {
    "primaryColor": "#2e8677",
    "backgroundColor": "#101615",
    "secondaryBackgroundColor": "#1e2826",
    "textColor": "#e6e9e4",
    "linkColor": "#8fc3e6",
    "borderColor": "#465350",
}


def serve(study: Path, port: int | None = None, open_browser: bool = True) -> None:
    """Serve a study's pages until Ctrl-C; without a port the first free one from 8501.

    Raises
    ------
    LastbiteError
        There is no study in that folder, or the port is taken.
    """
    workspace = Workspace.open(study)
    if port is not None:
        _refuse_busy(port)
    os.environ[session.STUDY_VARIABLE] = str(workspace.folder)
    try:
        page_of(workspace, open_browser=open_browser).run(config=config(port))
    except KeyboardInterrupt:
        pass
    finally:
        workspace.close()


def page_of(workspace: Workspace, *, open_browser: bool = False) -> st.App:
    """Build the served application: the pages, the pictures, and who may ask for them."""

    @contextlib.asynccontextmanager
    async def opened(_app: object) -> AsyncIterator[None]:
        address = f"http://{ADDRESS}:{st.get_option('server.port')}"
        print(f"The study {workspace.folder} is at {address}. Ctrl-C ends it.", flush=True)  # noqa: T201
        if open_browser:
            webbrowser.open(address)
        yield

    return st.App(
        MAIN,
        routes=[
            Route("/photo/{size}/{photo:int}", photo_route(workspace), methods=["GET"]),
            Route("/photo/{rest:path}", _not_found, methods=["GET"]),
            *service.routes(workspace),
        ],
        middleware=[Middleware(TrustedHostMiddleware, allowed_hosts=HOSTS)],
        lifespan=opened,
    )


def config(port: int | None = None) -> Mapping[str, Any]:
    """Give every setting that the pages are served with."""
    settings: dict[str, Any] = {
        "server.address": ADDRESS,
        "server.allowedHosts": HOSTS,
        "server.headless": True,
        "server.enableStaticServing": False,
        "server.fileWatcherType": "none",
        "server.runOnSave": False,
        "server.maxUploadSize": 20,
        "browser.gatherUsageStats": False,
        "client.showErrorDetails": "type",
        "client.showErrorLinks": False,
        "client.toolbarMode": "minimal",
        "logger.hideWelcomeMessage": True,
        "runner.magicEnabled": False,
        "theme.paddingTop": "0.5rem",
        "theme.headingFontSizes": ["1.7rem", "1.4rem", "1.15rem", "1rem", "0.9rem", "0.8rem"],
    }
    settings |= {f"theme.light.{name}": colour for name, colour in _LIGHT.items()}
    settings |= {f"theme.dark.{name}": colour for name, colour in _DARK.items()}
    return settings if port is None else settings | {"server.port": port}


def photo_route(workspace: Workspace) -> Callable[[Request], Response]:
    """Give the answer to `/photo/{size}/{photo}`; it runs in a pool of threads."""

    def photo(request: Request) -> Response:
        if request.headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}:
            return PlainTextResponse("Only this study's own pages are answered.", 403, _NOT_KEPT)
        size, number = request.path_params["size"], request.path_params["photo"]
        if size not in {*SIZES, "original"}:
            sizes = ", ".join([*SIZES, "original"])
            return PlainTextResponse(f"{size!r} is no size. There are: {sizes}.", 404, _NOT_KEPT)
        return answer(workspace, size, number)

    return photo


def _not_found(_request: Request) -> Response:
    return PlainTextResponse("No picture has this address.", 404, _NOT_KEPT)


def answer(workspace: Workspace, size: str, number: int) -> Response:
    """Give a photo in one of the sizes, or a picture of words where it cannot be shown."""
    pixels = SIZES.get(size, pictures.REVIEW_PX)
    try:
        original = workspace.photo_path(number)
        kind = pictures.media_type(original) if size == "original" else ""
        if kind:
            return FileResponse(original, headers=_KEPT, media_type=kind)
        return _copy(workspace.folder / "previews", original, number, pixels)
    except LastbiteError as fault:
        kept = _kept_copy(workspace.folder / "previews", number, pixels)
        if kept is not None:
            return FileResponse(kept, headers=_NOT_KEPT, media_type="image/jpeg")
        words = pictures.placeholder(str(fault), pixels)
        return Response(words, headers=_NOT_KEPT, media_type="image/png")


def _copy(previews: Path, original: Path, number: int, pixels: int) -> Response:
    """Give a copy, kept under a name that changes when the original does."""
    try:
        now = original.stat()
        name = f"{number}-{now.st_size:x}-{now.st_mtime_ns:x}-{pixels}.jpg"
        target = previews / f"{number // 1000:05}" / name
        if not target.is_file():
            pictures.review_copy(original, target, pixels)
        return FileResponse(target, headers=_KEPT, media_type="image/jpeg")
    except OSError:  # the folder cannot be written: show the picture all the same
        copy = pictures.copy_bytes(original, pixels)
        return Response(copy, headers=_NOT_KEPT, media_type="image/jpeg")


def _kept_copy(previews: Path, number: int, pixels: int) -> Path | None:
    """Give the latest copy of a photo whose original is not at hand, where one was made."""
    folder = previews / f"{number // 1000:05}"
    return max(folder.glob(f"{number}-*-{pixels}.jpg"), key=os.path.getmtime, default=None)


def _refuse_busy(port: int) -> None:
    with contextlib.closing(socket.socket(socket.AF_INET, socket.SOCK_STREAM)) as probe:
        if os.name != "nt":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((ADDRESS, port))
        except OSError as fault:
            raise StudyError(
                f"Port {port} cannot be used ({fault.strerror}): another program has it. "
                "Leave --port out to take the first that is free, or name another."
            ) from None
