"""How a number is written: the one place for digits, thousands, money, percentages and counts.

Messages, documents, tables, charts and pages all write their numbers with these functions. `shown` is for a cell of a
table (fixed decimals, so that a column lines up), `spoken` and the functions under it for text (three significant
digits), `compact` for labels in pictures, `exact` for what somebody stated. What does not exist is a dash.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

MINUS, DASH = "−", "–"
SPACE = "\u202f"            # between thousands: a narrow space at which no line breaks (ISO 80000-1 asks for a space)
DIGITS = 3                  # significant digits in text
NOT_MEANINGFUL = "not meaningful"   # in place of a figure that exists and says nothing
UNDER, OVER = "under 1 %", "over 99 %"      # in place of a probability that draws leave no more certain than this
MONEY = "{amount} {currency}"      # an amount, or a range of amounts, with its currency
TEXT_KIND = "text"
_LARGE = ((1e9, " bn"), (1e6, " M"))
_THOUSANDS = (*_LARGE, (1e3, " k"))


@dataclass(frozen=True)
class Kind:
    """How numbers of one kind look: decimals in a table, format on a sheet, `scale` before showing.

    exact: text shows the decimals of the table too, in place of significant digits. digits: significant ones in a table
    too, in place of decimals; 0 for none. low, high: ends between which a number means something; words stand in for
    others, `below` and `above`, which files of numbers hold all the same. A sheet holds the number and shows the words.
    """

    decimals: int
    excel: str
    scale: float = 1.0
    suffix: str = ""
    exact: bool = False
    digits: int = 0
    low: float = -math.inf
    high: float = math.inf
    below: str = NOT_MEANINGFUL
    above: str = NOT_MEANINGFUL


KINDS: dict[str, Kind] = {
    "count": Kind(0, "#,##0", exact=True),
    "whole": Kind(0, "0", exact=True),
    "amount": Kind(1, "#,##0.0"),
    "index": Kind(3, "0.000"),
    "minutes": Kind(1, "#,##0.0"),
    "hours": Kind(2, "0.00"),
    "years": Kind(1, "0.0", exact=True),
    # of an investment; beyond these there is hardly any capital to speak of (the bounds are ours)
    "irr": Kind(1, f'[>1]"{NOT_MEANINGFUL}";[<0]-0.0%;0.0%', 100.0, " %", exact=True, high=1.0),
    "bcr": Kind(2, f'[>100]"{NOT_MEANINGFUL}";[<-100]"{NOT_MEANINGFUL}";0.00', exact=True, low=-100.0, high=100.0),
    "payback": Kind(1, f'[<0.1]"{NOT_MEANINGFUL}";0.0', exact=True, low=0.1),
    "asai": Kind(6, "0.000000", exact=True),
    "money": Kind(0, "#,##0"),
    "price": Kind(2, "#,##0.00"),
    "share": Kind(1, "0.0%", 100.0, " %", exact=True),
    # of draws or trials, so many of which never make a thing certain (the bounds are ours)
    "probability": Kind(1, f'[>0.99]"{OVER}";[<0.01]"{UNDER}";0.0%', 100.0, " %", exact=True, low=0.01, high=0.99,
                        below=UNDER, above=OVER),
    "share_of_three_digits": Kind(0, "0.000%", 100.0, " %", exact=True, digits=3),
    "three_digits": Kind(0, "0.000", exact=True, digits=3),
    "ratio": Kind(2, "0.00"),
    "p": Kind(3, "0.000", exact=True),
    "any": Kind(2, "General", exact=True),
}

# The same for plotly, whose axes and hover labels are formatted in the browser (d3-format); SEPARATORS of decimals and
# thousands.
SEPARATORS = "." + SPACE
HOVER, HOVER_CHANGE, HOVER_SHARE, HOVER_COUNT = ",.3r", "+,.3r", ".1%", ",.0f"
TICK, TICK_SHARE = ",.3~s", ".2~%"


def missing(value: object) -> bool:
    """None, NaN, NaT or pandas' NA."""
    try:
        return value is None or bool(value != value)
    except TypeError:           # pandas' NA compares to nothing
        return True


def finite(value: object) -> float | None:
    """The value as a float; None where it is missing or infinite."""
    if missing(value):
        return None
    number_ = float(value)  # type: ignore[arg-type]  # whatever else cannot be a number raises, as it should
    return number_ if math.isfinite(number_) else None


def shown(value: object, kind: str, signed: bool = False) -> str:
    """A cell of a table: rounded to its kind's decimals.

    What the decimals would round to 0 keeps two digits, so that small is not taken for nothing.
    """
    if kind == TEXT_KIND:
        return "" if missing(value) else str(value)
    size = finite(value)
    if size is None:
        return DASH
    form = KINDS[kind]
    if not meaningful(size, kind):
        return form.below if size < form.low else form.above
    size *= form.scale
    if form.digits:
        text = _significant(abs(size), form.digits)
    else:
        text = _four_digits(abs(size)) if kind == "any" else f"{abs(size):,.{form.decimals}f}"
    if kind == "whole":         # a year or a seed
        text = text.replace(",", "")
    if size and float(text.replace(",", "")) == 0.0:
        text = _significant(abs(size), 2)
    return _signed(text, size, signed) + form.suffix


def meaningful(size: float, kind: str) -> bool:
    """Whether a number of a kind says anything; of others only files of numbers hold it."""
    return KINDS[kind].low <= size <= KINDS[kind].high


def spoken(value: object, kind: str = "any", signed: bool = False) -> str:
    """A number of a kind in text: three significant digits where its kind is not exact; money without currency."""
    if kind == "share" and not signed:
        return percent(value)
    if kind == TEXT_KIND or KINDS[kind].exact:
        return shown(value, kind, signed)
    return money(value, signed=signed) if kind == "money" else number(value, signed=signed)


def number(value: object, digits: int = DIGITS, signed: bool = False) -> str:
    """A number in text, with so many significant digits."""
    size = finite(value)
    return DASH if size is None else _signed(_significant(abs(size), digits), size, signed)


def signed_number(value: object) -> str:
    """A change in text, with its sign."""
    return number(value, signed=True)


def money(value: object, currency: str = "", signed: bool = False) -> str:
    """Money in text, three significant digits and never less than a unit: "842 USD", "74 100 USD", "1.62 M USD"."""
    size = finite(value)
    if size is None:
        return DASH
    rounded = _rounded(abs(size), DIGITS)
    unit, letters = next(((u, t) for u, t in _LARGE if rounded >= u), (1.0, ""))
    text = _significant(rounded / unit, DIGITS) if letters else f"{round(rounded):,}"
    amount = _signed(text + letters, size if text != '0' else 0.0, signed)
    return MONEY.format(amount=amount, currency=currency) if currency else amount


def money_range(low: object, high: object, currency: str) -> str:
    """A range of money in text, the currency once: "−2 260 to 3 140 USD"."""
    return MONEY.format(amount=f"{money(low)} to {money(high)}", currency=currency)


def percent(value: object) -> str:
    """A share of 1 as a percentage in text; exactly none and exactly all have no decimals."""
    size = finite(value)
    return f"{100 * size:.0f} %" if size in (0.0, 1.0) and size is not None else shown(size, "share")


def probability(value: object) -> str:
    """A probability estimated by draws or trials, in text: "over 99 %" and "under 1 %" at its ends."""
    return shown(value, "probability")


def count(amount: int, singular: str, plural: str = "") -> str:
    """How many: "1 lateral", "2 laterals", "12 500 customers"."""
    return f"{shown(amount, 'count')} {noun_for(amount, singular, plural)}"


def noun_for(amount: float, singular: str, plural: str = "") -> str:
    """The noun that goes with a number: lateral with 1, laterals with 0 or 2."""
    return singular if round(amount) == 1 else plural or singular + "s"


def exact(value: float) -> str:
    """A number as somebody stated it, a bound for instance: all its digits and no exponent for a whole number."""
    return _spaced(f"{int(value):,}" if float(value).is_integer() else f"{value:,.12g}")


def amount_of(text: str, of_money: bool = True) -> float:
    """An amount as somebody types it: digits, spaced or not, with a decimal point. Raises ValueError for anything else.

    Commas are taken for thousands where they stand in their places. A point before three digits and no others, as of
    60.000, may be meant for thousands in an amount of money: it is none.
    """
    digits = re.sub(r"\s", "", text)
    if of_money and re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", digits):
        raise ValueError(f"no amount: {text!r} may be read in two ways")
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d*)?", digits):
        digits = digits.replace(",", "")
    if not re.fullmatch(r"\d+(\.\d*)?|\.\d+", digits):
        raise ValueError(f"no amount: {text!r}")
    return float(digits)


def compact(value: float) -> str:
    """A label in a picture: three significant digits, thousands as k, M or bn; "" where it does not exist."""
    if not math.isfinite(value):
        return ""
    rounded = _rounded(abs(value), DIGITS)
    unit, letters = next(((u, t) for u, t in _THOUSANDS if rounded >= u), (1.0, ""))
    return _signed(_significant(rounded / unit, DIGITS) + letters, value)


def tick(value: float, largest: float) -> str:
    """A number beside an axis whose largest is `largest`: all of an axis in the same unit."""
    unit, letters = next(((u, t) for u, t in (*_LARGE, (1e4, " k")) if largest >= u), (1.0, ""))
    unit = 1e3 if letters == " k" else unit
    return _signed(f"{abs(value) / unit:,.6g}{letters}" if value else "0", value)


def _signed(text: str, value: float, signed: bool = False) -> str:
    return (MINUS if value < 0 else "+" if signed and value > 0 else "") + _spaced(text)


def _spaced(text: str) -> str:
    return text.replace(",", SPACE)


def _rounded(size: float, digits: int) -> float:
    """To so many significant digits; two sums that differ in their last bits only are written alike."""
    return float(f"{float(f'{size:.11e}'):.{digits - 1}e}")


def _significant(size: float, digits: int) -> str:
    """So many significant digits of a number that is not negative, thousands separated by commas."""
    rounded = _rounded(size, digits)
    if rounded == 0:
        return "0"
    if rounded < 1e-6:
        return f"{rounded:.{digits - 1}e}"
    return f"{rounded:,.{max(digits - 1 - math.floor(math.log10(rounded)), 0)}f}"


def _four_digits(size: float) -> str:
    """Four digits or so of a number that is not negative, whole numbers whole, as people write it."""
    if size == 0 or (size >= 1 and size == round(size)) or size >= 1e7:
        return f"{size:,.0f}"
    if size < 1e-4:
        return _significant(size, 2)
    text = f"{size:,.{max(3 - math.floor(math.log10(size)), 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
