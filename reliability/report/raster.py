"""A chart as a PNG picture, for a word processor that takes no SVG."""

from __future__ import annotations

import io

from PIL import Image, ImageDraw, ImageFont

from reliability.report.drawing import SIZE, Box, Chart, Dot, Label, Line, Mark
from reliability.report.figures import MINUS

ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}
SCALE = 2.5     # picture points a drawing unit: sharp on paper at the width of a page


def png(chart: Chart) -> bytes:
    """The chart as the bytes of a PNG file."""
    picture = Image.new("RGB", (round(chart.width * SCALE), round(chart.height * SCALE)), "white")
    draw = ImageDraw.Draw(picture)
    font = ImageFont.load_default(SIZE * SCALE)
    for mark in chart.marks:
        _draw(picture, draw, font, mark)
    out = io.BytesIO()
    picture.save(out, format="PNG", optimize=True)
    return out.getvalue()


def _draw(picture: Image.Image, draw: ImageDraw.ImageDraw, font, mark: Mark) -> None:
    if isinstance(mark, Box):
        if mark.width > 0 and mark.height > 0:
            draw.rectangle([v * SCALE for v in (mark.x, mark.y, mark.x + mark.width, mark.y + mark.height)], mark.fill)
    elif isinstance(mark, Dot):
        x, y, r = mark.x * SCALE, mark.y * SCALE, mark.radius * SCALE
        draw.ellipse((x - r, y - r, x + r, y + r), mark.fill)
    elif isinstance(mark, Line):
        draw.line([(x * SCALE, y * SCALE) for x, y in mark.points], mark.colour, max(1, round(mark.width * SCALE)))
    elif isinstance(mark, Label):
        _words(picture, draw, font, mark)


def _words(picture: Image.Image, draw: ImageDraw.ImageDraw, font, label: Label) -> None:
    x, y = label.x * SCALE, label.y * SCALE
    text = label.text.replace(MINUS, "-")     # the font has no minus sign
    if not label.upright:
        draw.text((x, y), text, label.colour, font, anchor=ANCHORS[label.anchor])
        return
    width, height = round(draw.textlength(text, font)) + 2, round(SIZE * SCALE * 1.5)
    strip = Image.new("RGB", (width, height), "white")
    ImageDraw.Draw(strip).text((width / 2, height * 0.75), text, label.colour, font, anchor="ms")
    turned = strip.rotate(90, expand=True)
    picture.paste(turned, (round(x - height * 0.75), round(y - width / 2)))
