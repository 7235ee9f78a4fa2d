"""What the server serves: the pages, and the one way by which a browser is handed its cookie."""

from __future__ import annotations

from pathlib import Path

from starlette.routing import Route
from streamlit.starlette import App

from dashboard import entry

ways = [Route("/entry/{ticket}", entry.hand_cookie, methods=["POST"])]
app = App(Path(__file__).with_name("app.py"), routes=ways)
