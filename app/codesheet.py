"""Decide what the clock sheet is: one page that shows a code of a phone's own time, each second.

Why the phone's clock: in the field there is no server, and a phone is set by its network. Why no
library in the page: `core.codes.clock_table` holds drawings made by segno, and laid over each other
they are the code of any second, so that the page needs neither a network nor another's script.
"""

import base64
import hashlib
import json
import time
from collections.abc import Callable
from dataclasses import asdict
from functools import cache
from importlib import resources

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from core import codes

_HEADERS = {
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}


@cache
def page() -> str:
    """Give the sheet as one HTML file that asks for nothing else; the same at every call."""
    style, script = _text("sheet.css"), _text("sheet.js")
    table = json.dumps(asdict(codes.clock_table()), separators=(",", ":"))
    parts = {"POLICY": policy(), "STYLE": style, "SCRIPT": script, "TABLE": table}
    whole = _text("sheet.html")
    for name, text in parts.items():
        whole = whole.replace(f"@{name}@", text)
    return whole


@cache
def policy() -> str:
    """Give the page's content security policy: its own script and style, and no others."""
    script, style = (_hash(_text(name)) for name in ("sheet.js", "sheet.css"))
    return (
        f"default-src 'none'; script-src '{script}'; style-src '{style}'; img-src data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'"
    )


def routes() -> list[Route]:
    """Give the addresses `/clock`, the sheet, and `/clock/now`, this computer's time."""
    return [
        Route("/clock", _own_pages_only(_sheet), methods=["GET"]),
        Route("/clock/now", _own_pages_only(_now), methods=["GET"]),
    ]


def _sheet() -> Response:
    return HTMLResponse(page(), headers=_HEADERS | {"Content-Security-Policy": policy()})


def _now() -> Response:
    """Give this computer's time. [ms since 1970 UTC]"""
    return JSONResponse({"now_ms": time.time_ns() // 1_000_000}, headers=_HEADERS)


def _own_pages_only(answer: Callable[[], Response]) -> Callable[[Request], Response]:
    def answered(request: Request) -> Response:
        if request.headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}:
            return PlainTextResponse("Only this study's own pages are answered.", 403, _HEADERS)
        return answer()

    return answered


def _text(name: str) -> str:
    return resources.files("app").joinpath("codesheet_web", name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
