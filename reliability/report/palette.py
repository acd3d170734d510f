"""The colours of every document and of the app, with what stands beside each where colour does not carry.

Lightness differs as well as hue, and a pattern, a marker, a dash or a label carries every meaning too, so that
pictures survive colour blindness and a grey printer.
"""

from __future__ import annotations

INK, SOFT, PAPER, WASH = "#17212b", "#47525d", "#ffffff", "#eef2f6"       # text, second text, ground, second ground
GRID, RULE = "#d9dee4", "#c3ccd5"
BLUE, ORANGE, GREY, TEAL, PLUM, SAND = "#1b4f8a", "#c8640a", "#7d8792", "#1f8a7d", "#7a2f5d", "#b79a4b"
DARK_TEAL, DARK_ORANGE = "#0f5f55", "#9a4700"                             # small type on white: less, more
INPUT = "#fff3d6"                                                         # a cell that may be changed
# scenarios in their order, as built first: colour, and pattern of a bar in plotly's letters
SERIES = ((GREY, ""), (BLUE, ""), (ORANGE, "/"), (TEAL, "x"), (PLUM, "-"), (SAND, "\\"),
          (BLUE, "."), (ORANGE, "+"), (TEAL, "|"), (PLUM, "/"), (SAND, "x"))
FILLS = SERIES[1:]                                                        # series of a chart in their order
VERDICT_FILLS = {"pass": (BLUE, ""), "review": (SAND, "/"), "unknown": (GREY, "-"), "fail": (ORANGE, "x")}
FAINT = "#a9b1ba"                                                         # what has no value, lighter than every class
SEQUENTIAL = ("#94aeca", "#6d92bd", "#4474ab", BLUE,
              "#0c2c55")                # classes of a quantity: darker matters more
LOSS = ORANGE
_IN_STYLES = {"ink": INK, "soft": SOFT, "paper": PAPER, "wash": WASH, "grid": GRID, "rule": RULE, "blue": BLUE,
              "orange": ORANGE, "grey": GREY, "teal": TEAL, "plum": PLUM, "sand": SAND, "dark-teal": DARK_TEAL,
              "dark-orange": DARK_ORANGE}


def series(index: int) -> tuple[str, str]:
    """Colour and bar pattern of scenario number `index`."""
    return SERIES[index] if index < len(SERIES) else SERIES[1 + (index - 1) % (len(SERIES) - 1)]


def fill(index: int) -> tuple[str, str]:
    """Colour and bar pattern of series number `index` of a chart."""
    return FILLS[index % len(FILLS)]


def see_through(colour: str, share: float) -> str:
    """A colour as CSS and plotly write it where it covers only a share, 0 to 1, of what lies below."""
    red, green, blue = (int(colour[i:i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share:g})"


def css() -> str:
    """The colours as custom properties for a style sheet: var(--ink) and so on."""
    return ":root { " + " ".join(f"--{name}: {colour};" for name, colour in _IN_STYLES.items()) + " }\n"
