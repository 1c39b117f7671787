"""Decide how the pages and pictures of one study are served, to this computer and nobody else."""

import asyncio
import contextlib
import importlib.util
import os
import socket
import tomllib
import webbrowser
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import streamlit as st
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from app import codesheet, guard, making, session, signin, viewer
from app.viewer import service
from core import pictures
from core.errors import LastbiteError, StudyError
from core.people import SignIn
from core.workspace import Workspace

ADDRESS = "127.0.0.1"
HOSTS = [ADDRESS, "localhost"]
OIDC_NAME = "oidc.toml"
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
    "primaryColor": "#2a7d6f",
    "backgroundColor": "#101615",
    "secondaryBackgroundColor": "#1e2826",
    "textColor": "#e6e9e4",
    "linkColor": "#8fc3e6",
    "borderColor": "#465350",
}


def serve(
    study: Path,
    port: int | None = None,
    open_browser: bool = True,
    begun: Callable[[], None] = lambda: None,
) -> None:
    """Serve a study's pages until Ctrl-C; without a port the first free one from 8501.

    `begun` is called when Ctrl-C is waited for.

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
        # A proxy's word on who connects is not taken: its own address is what is trusted or not.
        os.environ["FORWARDED_ALLOW_IPS"] = ""
        app = page_of(workspace, open_browser=open_browser, begun=begun)
        app.run(config=config(port, hosts(workspace)))
    except KeyboardInterrupt:
        pass
    finally:
        workspace.close()


def page_of(
    workspace: Workspace, *, open_browser: bool = False, begun: Callable[[], None] = lambda: None
) -> st.App:
    """Build the served application: the pages, the pictures, and who may ask for them.

    Copies of photos are made as long as it runs; `begun` is called when it does.
    """
    maker = making.Maker(workspace)

    @contextlib.asynccontextmanager
    async def opened(_app: object) -> AsyncIterator[None]:
        begun()
        address = f"http://{ADDRESS}:{st.get_option('server.port')}"
        print(f"The study {workspace.folder} is at {address}. Ctrl-C ends it.", flush=True)  # noqa: T201
        if open_browser:
            webbrowser.open(address)
        maker.start()
        try:
            yield
        finally:
            await asyncio.to_thread(maker.stop)

    return st.App(
        MAIN,
        routes=[
            Route("/photo/{size}/{photo:int}", photo_route(workspace), methods=["GET"]),
            Route("/photo/{rest:path}", _not_found, methods=["GET"]),
            *service.routes(workspace, maker),
            *codesheet.routes(),
        ],
        middleware=[
            Middleware(TrustedHostMiddleware, allowed_hosts=hosts(workspace)),
            Middleware(BelievedHeader, workspace.settings.header, workspace.settings.trusted),
        ],
        secrets=secrets(workspace),
        lifespan=opened,
    )


def hosts(workspace: Workspace) -> list[str]:
    """Give the names under which the pages are asked for: this computer's, and the class's."""
    name = urlsplit(workspace.settings.address).hostname
    return [*HOSTS, name] if name else HOSTS


def secrets(workspace: Workspace) -> Mapping[str, Any] | None:
    """Give what Streamlit needs to sign people in with accounts: `oidc.toml` of the study.

    StudyError where it is missing or cannot be read.
    """
    if workspace.settings.sign_in is not SignIn.OIDC:
        return None
    if not all(map(importlib.util.find_spec, ("authlib", "httpx"))):
        raise StudyError(
            "Signing in with accounts needs Authlib and HTTPX, which are not installed. "
            "Install them: pip install 'lastbite[oidc]'"
        )
    file = workspace.folder / OIDC_NAME
    try:
        return {"auth": tomllib.loads(file.read_text(encoding="utf-8"))}
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise StudyError(
            f"{file} cannot be read ({fault}). It holds redirect_uri, cookie_secret, client_id, "
            "client_secret and server_metadata_url of your provider; see the README."
        ) from None


class BelievedHeader:
    """Takes a proxy's header away from whoever is not that proxy, or sends it twice."""

    def __init__(self, app: ASGIApp, name: str, trusted: Sequence[str]) -> None:
        self.app = app
        self.name = name.lower().encode("latin-1")
        self.trusted = frozenset(trusted)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if self.name and scope["type"] in {"http", "websocket"}:
            said = [value for name, value in scope["headers"] if name.lower() == self.name]
            peer = (scope.get("client") or ("",))[0]
            if said and (peer not in self.trusted or len(said) > 1):
                left = [one for one in scope["headers"] if one[0].lower() != self.name]
                scope = {**scope, "headers": left}
        await self.app(scope, receive, send)


def config(port: int | None = None, names: Sequence[str] = HOSTS) -> Mapping[str, Any]:
    """Give every setting that the pages are served with."""
    settings: dict[str, Any] = {
        "server.address": ADDRESS,
        "server.allowedHosts": list(names),
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
        # Python looks for garbage by itself; after each run it would walk through the whole study.
        "runner.postScriptGC": False,
        "theme.paddingTop": "0.5rem",
        "theme.headingFontSizes": ["1.7rem", "1.4rem", "1.15rem", "1rem", "0.9rem", "0.8rem"],
    }
    settings |= {f"theme.light.{name}": colour for name, colour in _LIGHT.items()}
    settings |= {f"theme.dark.{name}": colour for name, colour in _DARK.items()}
    return settings if port is None else settings | {"server.port": port}


def photo_route(workspace: Workspace) -> Callable[[Request], Response]:
    """Give the answer to `/photo/{size}/{photo}?of={study}&edition={}`; in a pool of threads.

    A browser keeps pictures by their address, and ids begin at 1 in every study: pages name the
    study and the edition of the file, so that no picture of another study that was served here
    before, nor of what the file held before, is shown in its place. Without them none is kept.
    """
    mine = viewer.study_name(workspace.ticket_secret())

    def photo(request: Request) -> Response:
        if request.headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}:
            return PlainTextResponse("Only this study's own pages are answered.", 403, _NOT_KEPT)
        if not guard.may_look(workspace, request.cookies.get(signin.cookie_name(workspace), "")):
            return PlainTextResponse("Sign in to look at photos.", 401, _NOT_KEPT)
        size, number = request.path_params["size"], request.path_params["photo"]
        if size not in {*SIZES, "original"}:
            sizes = ", ".join([*SIZES, "original"])
            return PlainTextResponse(f"{size!r} is no size. There are: {sizes}.", 404, _NOT_KEPT)
        if request.query_params.get("of", mine) != mine:
            return PlainTextResponse("That photo is of another study.", 404, _NOT_KEPT)
        found = answer(workspace, size, number)
        if not {"of", "edition"} <= request.query_params.keys():
            found.headers["Cache-Control"] = _NOT_KEPT["Cache-Control"]
        return found

    return photo


def _not_found(_request: Request) -> Response:
    return PlainTextResponse("No picture has this address.", 404, _NOT_KEPT)


def answer(workspace: Workspace, size: str, number: int) -> Response:
    """Give a photo in one of the sizes, or a picture of words where it cannot be shown.

    Where a strip's copy is not made yet, the small picture in the photo's header stands in. An
    original that is not at hand, or was damaged since, is shown by its last copy; of a damaged one
    that is written below.
    """
    pixels = SIZES.get(size, pictures.REVIEW_PX)
    previews = workspace.previews
    try:
        original = previews.original(number)
        kind = pictures.media_type(original.path) if size == "original" else ""
        if kind and previews.kept(original, pixels) is None:
            previews.copy(original, pixels)  # whether it can be unpacked
        if kind:
            return FileResponse(original.path, headers=_KEPT, media_type=kind)
        found: Path | bytes | None = previews.kept(original, pixels)
        if found is None and size == "strip":
            found = previews.thumbnail(original)
        return _jpeg(found or previews.copy(original, pixels), _KEPT)
    except LastbiteError as fault:
        last = previews.last(number, pixels)
        if last is not None:
            return _jpeg(_last_copy(last, str(fault)), _NOT_KEPT)
        words = pictures.placeholder(str(fault), pixels)
        return Response(words, headers=_NOT_KEPT, media_type="image/png")


def _last_copy(copy: Path, fault: str) -> Path | bytes:
    """Give the last copy of an original: as it is where that is away, else with what is wrong."""
    if pictures.CANNOT_BE_SHOWN not in fault:
        return copy
    return pictures.with_words(copy.read_bytes(), f"This is an older copy. {fault}")


def _jpeg(picture: Path | bytes, headers: Mapping[str, str]) -> Response:
    """Answer with a copy from its file, or with content that is in no file and is not kept."""
    if isinstance(picture, Path):
        return FileResponse(picture, headers=headers, media_type="image/jpeg")
    return Response(picture, headers=_NOT_KEPT, media_type="image/jpeg")


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
