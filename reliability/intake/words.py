"""Words of a user's columns: which are one, what they may mean, and what a recipe says they mean."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from reliability.intake.kinds import CLOSED, LEAVE_OUT, OPEN, Field
from reliability.network.fuse_links import written_link
from reliability.schema.devices import (
    BREAKER,
    FUSE,
    LATERAL_RECLOSER,
    RECLOSER,
    SECTIONALIZER,
    SWITCH,
)
from reliability.study.cells import says_unknown

LETTER_BITS = {"a": 1, "b": 2, "c": 4}
_SIGNS = re.compile(r"(?<=\d)[^\w\s]+(?=\d)|(?:(?<=\s)|^)[+\-−<>=±]+(?=\.?\d)|\.(?=\d)|(?<=\d)[.%]")
_WHOLE = re.compile(r"0*(\d+?)(?:\.0+)?")
_LINK = re.compile(r"(\d+(?:\.\d+)?)\s*-?\s*([KkTt])(?![a-zA-Z])")


@dataclass(frozen=True)
class Meaning:
    """What a word stands for.

    values: our column → text; a word of a plain column names that column alone. leave_out: what it stands in is left
    out: the device of a segment's own row, else the row.
    """

    values: Mapping[str, str] = field(default_factory=dict)
    leave_out: bool = False


@functools.lru_cache(65536)
def word_key(word: str) -> str:
    """What is the same for words that differ in case, spaces or punctuation alone; signs beside digits count."""
    folded = word.strip().casefold()
    kept = {m.start(): m.group().replace("−", "-") for m in _SIGNS.finditer(folded)}
    spans = {i for m in _SIGNS.finditer(folded) for i in range(m.start(), m.end())}
    return "".join(kept.get(i, "") if i in spans else c if c.isalnum() else "" for i, c in enumerate(folded))


def number_key(name: str) -> str:
    """The digits of a name that is a whole number, without the zeros that a spreadsheet drops or adds: 0012 and 12.0
    are 12. "" for any other name."""
    match = _WHOLE.fullmatch(name.strip())
    return match[1] if match else ""


def known_meaning(of: Field, word: str) -> Meaning | None:
    """What a word means by our own names, without anybody's decision; None where it has no such meaning."""
    if not word:
        return Meaning()
    if of.name == "phases":
        return Meaning({"phases": word}) if phases_of(word) is not None else None
    choices = {word_key(c): c for c in of.column.choices}
    found = choices.get(word_key(word))
    return None if found is None else Meaning({of.name: found})


def phases_of(word: str) -> tuple[int, int] | None:
    """Number of phases and their letters as bits (A 1, B 2, C 4; 0 unknown); None where the word is neither.

    Read are 1, 2, 3 and the letters A, B, C in any order and with anything but letters between, N for the neutral.
    """
    text = word.strip().casefold()
    if says_unknown(text):
        return None         # N/A is neither neutral and A nor nothing
    if text in ("1", "2", "3", "1.0", "2.0", "3.0"):
        return int(float(text)), 0
    letters = [c for c in text if c.isalnum()]
    phases = [c for c in letters if c != "n"]
    if not phases or any(c not in LETTER_BITS for c in phases) or len(set(phases)) != len(phases):
        return None
    return len(phases), sum(LETTER_BITS[c] for c in phases)


# Words of the trade, in the order in which they are looked for; our collection, common practice, no source.
_DEVICE_WORDS: tuple[tuple[str, str], ...] = (
    (r"transformer|xfmr|xfrmr|xformer|\btx\b|bypass|by-pass|regulator|\breg\b|capacitor|\bcap\b|arrester|elbow|meter",
     LEAVE_OUT),
    (r"lateral.*reclos|reclos.*(cutout|lateral|single)|\btap.*reclos", LATERAL_RECLOSER),
    (r"reclos|\brecl\b|\bocr\b|\bacr\b|\bvcr\b|\brec\b|\brcl\b", RECLOSER),
    (r"section(al)?i[sz]|\bsect\b|\bsecz\b", SECTIONALIZER),
    (r"fuse|cutout|cut-out|\bfco\b|\bfus\b|expulsion|\blink\b", FUSE),
    (r"breaker|\bcb\b|\bbkr\b|\bbrkr\b|circuit.*break|feeder head", BREAKER),
    (r"switch|\bsw\b|disconnect|\bgoab\b|\bgab\b|gang|isolat|\bloadbreak|air.?break|\blbs\b|\babs\b|sectionaliz",
     SWITCH),
    (r"^(none|no|n/?a|solid|nil)$", ""),
)
_OTHER_WORDS: dict[str, tuple[tuple[str, str], ...]] = {
    "normal_state": ((r"open|\bno\b|^o$|n\.?o\.?$", OPEN), (r"clos|\bnc\b|^c$|n\.?c\.?$|energi", CLOSED)),
    "construction": ((r"under|^ug|cable|buried|^u$|ugrd", "underground"),
                     (r"over|^oh|aerial|^o$|bare|pole|ohl", "overhead")),
    "planned": ((r"^un|non|^f|^no?$|^0$|forced|emerg|fault|trouble|unsched", "false"),
                (r"plan|sched|prearr|mainten|^y(es)?$|^t(rue)?$|^1$", "true")),
    "fault_kind": ((r"temp|transi|moment|self", "temporary"), (r"perm|sust|last", "permanent")),
    "status": ((r"cancel|void|abandon|retire|remove|propos|delet|dupl|error|test|idle|out of service|inactiv|disconn",
                LEAVE_OUT),
               (r".", "")),
    "customer_class": ((r"res|dom|house|farm|rural", "residential"), (r"large|indus|^ind$|^lci", "large_ci"),
                       (r"small|comm|^sci|gen", "small_ci")),
    "tripping": ((r"1.*3|single.*three|three.*lock", "single_phase_three_phase_lockout"),
                 (r"single|^1|one", "single_phase"), (r"three|gang|^3", "three_phase")),
    "phases": ((r"3|three", "3"), (r"2|two|vee|^v", "2"), (r"1|one|single", "1")),
}


# Letters and numbers of the three phases in other countries' habits; common practice, no source.
_PHASE_NAMES = ("rst", "ryb", "rwb", "uvw", "xyz", "123")


def named_phases(word: str) -> str:
    """The phases that a word names by other letters than A, B, C or by two numbers or more, as those; "" for none."""
    lines = re.sub(r"[\W_n]", "", word.casefold())
    signs = re.sub(r"l(?=[123])", "", lines)
    if len(set(signs)) != len(signs) or lines in ("", "1", "2", "3", "v"):     # V: two phases of an open wye
        return ""
    names = next((names for names in _PHASE_NAMES if set(signs) <= set(names)), "")
    return "".join(sorted("ABC"[names.index(c)] for c in signs)) if names else ""


def doubtful_phases(words: Iterable[str]) -> dict[str, str]:
    """Words for phases that have another reading beside the others of their column → the probable one: B is the third
    phase beside R and Y. Numbers are how many there are."""
    keys = {word: re.sub(r"[\W_n]", "", word.casefold()) for word in words}
    red_yellow = any(set(key) <= set("ryb") and set(key) & set("ry") for key in keys.values())
    return {word: "C" for word, key in keys.items() if red_yellow and key == "b"}


def suggestion(of: Field, word: str) -> Meaning | None:
    """What a word probably means, marked as a guess by whoever shows it; None where nothing comes to mind."""
    text = word.strip().casefold().replace("_", " ")
    if not text or (of.name == "phases" and says_unknown(text)):
        return Meaning()
    if of.name == "phases" and named_phases(text):
        return Meaning({of.name: named_phases(text)})
    rules = _DEVICE_WORDS if of.name == "device" else _OTHER_WORDS.get(of.name, ())
    found = next((meaning for pattern, meaning in rules if re.search(pattern, text)), None)
    link = link_in(word) if of.name == "device" else None
    if found is None and link:
        found = FUSE
    if found is None:
        return None
    if found == LEAVE_OUT:
        return Meaning(leave_out=True)
    values = {of.name: found} if found else {}
    return Meaning(values | ({"fuse_link": link} if link and found == FUSE else {}))


def link_in(word: str) -> str | None:
    """The fuse link that a word names, None without."""
    match = _LINK.search(word)
    return written_link(match[1] + match[2]) if match else None


def as_meaning(of: Field, stated: object) -> Meaning:
    """What a recipe states for a word: a text, a number, true or false, a table of columns, or "leave_out"."""
    if stated == LEAVE_OUT:
        return Meaning(leave_out=True)
    if isinstance(stated, Mapping):
        return Meaning({str(name): plain_text(value) for name, value in stated.items()})
    text = plain_text(stated)
    return Meaning({of.name: text} if text else {})


def as_stated(of: Field, meaning: Meaning) -> object:
    """A meaning as a recipe states it, the shortest way."""
    if meaning.leave_out:
        return LEAVE_OUT
    if not meaning.values:
        return ""
    if set(meaning.values) == {of.name}:
        text = meaning.values[of.name]
        return {"true": True, "false": False}.get(text, text)
    return dict(meaning.values)


def toml_text(stated: object) -> str:
    """What a recipe states for a word, as TOML on one line."""
    if isinstance(stated, Mapping):
        return "{ " + ", ".join(f"{name} = {toml_text(value)}" for name, value in stated.items()) + " }"
    return {"True": "true", "False": "false"}.get(str(stated), str(stated)) if isinstance(
        stated, bool | int | float) else f'"{stated}"'


def plain_text(value: object) -> str:
    """A value of a recipe as the text of a cell."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value).strip()
