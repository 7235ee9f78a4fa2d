"""A visit report as one HTML file that works offline, or as PDF; equal facts give equal bytes."""

from __future__ import annotations

import json
from dataclasses import asdict
from io import BytesIO

from aging.charts import visit_strip_chart
from aging.charts.style import GRID, INK, MUTED, PAGE, PALETTE, WIDE_BAND
from aging.fieldwork.paper import breakable, pages, printed
from aging.fieldwork.report import Strip, VisitReport

WIDE, NARROW, PHOTO_PX = 720, 330, 640
COLOURS = {"page": PAGE, "ink": INK, "muted": MUTED, "grid": GRID, "shade": WIDE_BAND,
           "main": PALETTE[0]}  # fmt: skip


def as_html(report: VisitReport) -> str:
    """One page with everything in it; nothing outside is asked for."""
    import base64

    import vl_convert

    charts = {} if report.strip is None else {
        name: vl_convert.vegalite_to_svg(_spec(report.strip, width))
        for name, width in (("wide", WIDE), ("narrow", NARROW))
    }  # fmt: skip
    photos = [(caption, base64.b64encode(_small(data)).decode()) for caption, data in report.photos]
    return pages().get_template("report.html").render(
        title=report.title, sections=report.sections, report=report, charts=charts, photos=photos,
        colours=COLOURS,
    )  # fmt: skip


def as_pdf(report: VisitReport) -> bytes:
    """A4 pages."""
    import vl_convert

    strip = report.strip
    drawn = {} if strip is None else {  # as PNG: PDF comes out otherwise each time, SVG needs fonts
        "statement": strip.statement,
        "chart": list(vl_convert.vegalite_to_png(_spec(strip, WIDE), scale=3)),
    }  # fmt: skip
    return printed("report", {
        "title": report.title, "facts": report.facts, "cautions": report.cautions,
        "sections": [asdict(one) | {"rows": [[*map(_whole, row)] for row in one.rows]}
                     for one in report.sections],
        "photos": [(caption, list(_small(data))) for caption, data in report.photos],
        **drawn, **COLOURS,
    })  # fmt: skip


def _spec(strip: Strip, width: int) -> str:
    chart = visit_strip_chart(strip.readings, strip.means, strip.prop, description=strip.statement)
    return json.dumps(chart.properties(width=width).to_dict())


def _whole(cell: str) -> str:
    return " ".join(map(breakable, cell.split()))


def _small(photo: bytes) -> bytes:
    from PIL import Image

    drawn = BytesIO()
    with Image.open(BytesIO(photo)) as picture:
        picture.thumbnail((PHOTO_PX, PHOTO_PX))
        picture.save(drawn, "JPEG", quality=80)
    return drawn.getvalue()
