"""A chart as SVG inside a page: no script, a title and a description for those who do not see it."""

from __future__ import annotations

from html import escape

from reliability.report.drawing import SIZE, Box, Chart, Dot, Label, Line, Mark

FONT = "system-ui, 'Liberation Sans', Arial, sans-serif"


def svg(chart: Chart) -> str:
    """The chart as an SVG element; every text in it is escaped."""
    body = "".join(_mark(m) for m in chart.marks)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="{chart.key}-t {chart.key}-d" '
            f'viewBox="0 0 {chart.width:g} {chart.height:g}" width="{chart.width:g}" height="{chart.height:g}" '
            f'font-family="{FONT}" font-size="{SIZE:g}">'
            f'<title id="{chart.key}-t">{escape(chart.title)}</title>'
            f'<desc id="{chart.key}-d">{escape(chart.description)}</desc>{body}</svg>')


def _mark(mark: Mark) -> str:
    if isinstance(mark, Box):
        return (f'<rect x="{mark.x:.1f}" y="{mark.y:.1f}" width="{mark.width:.1f}" height="{mark.height:.1f}" '
                f'fill="{mark.fill}"/>')
    if isinstance(mark, Dot):
        return f'<circle cx="{mark.x:.1f}" cy="{mark.y:.1f}" r="{mark.radius:g}" fill="{mark.fill}"/>'
    if isinstance(mark, Line):
        return _line(mark)
    return _label(mark)


def _line(line: Line) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in line.points)
    dashes = ' stroke-dasharray="5 4"' if line.dashed else ""
    return f'<polyline points="{points}" fill="none" stroke="{line.colour}" stroke-width="{line.width:g}"{dashes}/>'


def _label(label: Label) -> str:
    turned = f' transform="rotate(-90 {label.x:.1f} {label.y:.1f})"' if label.upright else ""
    weight = ' font-weight="bold"' if label.bold else ""
    return (f'<text x="{label.x:.1f}" y="{label.y:.1f}" text-anchor="{label.anchor}" fill="{label.colour}"{weight}'
            f'{turned}>{escape(label.text)}</text>')
