"""What the server serves: the pages, and the one way by which a browser is handed its cookie."""

from __future__ import annotations

from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from streamlit.starlette import App


async def hand_cookie(request: Request) -> Response:
    """See `entry.hand_cookie`, whose caches want a server that runs."""
    from dashboard import entry

    return await entry.hand_cookie(request)


ways = [Route("/entry/{ticket}", hand_cookie, methods=["POST"])]
app = App(Path(__file__).with_name("app.py"), routes=ways)
