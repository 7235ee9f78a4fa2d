"""A page of the dashboard as its script draws it, and what stands on it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd
from streamlit.testing.v1 import AppTest

from dashboard.launch import APP, SOURCE


def opened(monkeypatch: Any, source: Path, view: str = "", **query: str) -> AppTest:
    """The first page of a source, or one of its views at an address."""
    monkeypatch.setenv(SOURCE, str(source))
    app = AppTest.from_file(str(APP), default_timeout=180)
    for key, value in query.items():
        app.query_params[key] = value
    app.run()
    if view:
        app.switch_page(f"views/{view}.py").run()
    assert not app.exception
    return app


def texts(app: AppTest) -> str:
    return "\n".join(str(text.value) for text in app.text)


def figures(app: AppTest) -> dict[str, str]:
    return {metric.label: metric.value for metric in app.metric}


def specs(app: AppTest) -> list[dict[str, Any]]:
    return [json.loads(chart.proto.spec) for chart in app.get("vega_lite_chart")]


def table(app: AppTest, column: str) -> pd.DataFrame:
    return next(frame.value for frame in app.dataframe if column in frame.value)
