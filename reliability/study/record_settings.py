"""The keys of [history]: how the records are to be read, checked together."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np

from reliability.network.tree import Network
from reliability.schema.devices import FUSE, LATERAL_DEVICES
from reliability.schema.problems import Problem, StudyError
from reliability.schema.values import Assumptions
from reliability.study.settings import is_finite

FILE = "study.toml"
BETA, FIXED = "beta", "fixed"
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}([ T]\d{2}:[\d:.]*(Z|[+-]\d{2}:\d{2})?)?", re.ASCII)  # a time of day is ignored


@dataclass(frozen=True)
class RecordSettings:
    """Keys of [history], typed. Days are datetime64[D].

    conversions: day of each by section. before: of the same, `device` and `fuse_link` ("" unknown) that stood there
    until then.
    """

    date_order: str = ""
    time_zone: str = ""
    include_planned: bool = True
    records_from: np.datetime64 | None = None
    records_to: np.datetime64 | None = None
    major_event_method: str = BETA
    major_event_days: np.ndarray = field(default_factory=lambda: np.array([], dtype="datetime64[D]"))
    prior_groups: str = ""
    expected_rate_ratio: float | None = None
    cause_kinds: Mapping[str, str] = field(default_factory=dict)
    served_by_year: Mapping[int, float] = field(default_factory=dict)
    conversions: Mapping[str, np.datetime64] = field(default_factory=dict)
    before: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def record_settings(values: Assumptions, extra: Mapping[str, Mapping[str, object]],
                    network: Network | None) -> RecordSettings:
    """Settings of a study's records; raises StudyError with every key that cannot be read.

    values, extra: see `Study`. network: for the laterals that conversions name; None leaves them unchecked.
    """
    problems: list[Problem] = []

    def text(key: str) -> str:
        return str(values.get(key) or "").strip()

    zone = text("time_zone")
    if zone and not _is_zone(zone):
        problems.append(_wrong("time_zone", zone, "not the name of a time zone", 'write one like "Etc/GMT+6"'))
    fixed = [_day("major_event_days", part, problems) for part in re.split("[,;]", text("major_event_days"))
             if part.strip()]
    method = text("major_event_method") or BETA
    if method == FIXED and not fixed:
        problems.append(_wrong("major_event_method", FIXED, "no day is listed", "list them in major_event_days"))
    begin, end = (_day(key, text(key), problems) if text(key) else None for key in ("records_from", "records_to"))
    if begin is not None and end is not None and end < begin:
        problems.append(_wrong("records_to", str(end), "before records_from", "give the later day here"))
    ratio = values.get("expected_rate_ratio")
    conversions, replaced = _conversions(extra, network, problems)
    settings = RecordSettings(
        date_order=text("date_order"), time_zone=zone,
        include_planned=values.get("include_planned", True) not in (False, "false", 0),
        records_from=begin, records_to=end, major_event_method=method,
        major_event_days=np.unique(np.array([d for d in fixed if d is not None], dtype="datetime64[D]")),
        prior_groups=text("prior_groups"), expected_rate_ratio=None if ratio is None else float(ratio),
        cause_kinds=_causes(extra, problems), served_by_year=_served(extra, problems),
        conversions=conversions, before=replaced)
    if problems:
        raise StudyError(problems)
    return settings


def _wrong(key: str, value: str, rule: str, remedy: str) -> Problem:
    return Problem(FILE, rule, remedy, column=f"history.{key}", value=value)


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError):
        return False
    return True


def _day(key: str, text: str, problems: list[Problem]) -> np.datetime64 | None:
    text = str(text).strip()
    with contextlib.suppress(ValueError):
        if _DAY.fullmatch(text):
            return np.datetime64(text[:10], "D")
    problems.append(_wrong(key, text, "not a day", "write it like 2024-03-25"))
    return None


def _causes(extra: Mapping[str, Mapping[str, object]], problems: list[Problem]) -> dict[str, str]:
    table = {str(k).strip(): str(v).strip().lower() for k, v in extra.get("causes", {}).items()}
    problems += [_wrong(f"causes.{k}", v, "neither temporary nor permanent", 'write "temporary" or "permanent"')
                 for k, v in table.items() if v not in ("temporary", "permanent")]
    return table


def _served(extra: Mapping[str, Mapping[str, object]], problems: list[Problem]) -> dict[int, float]:
    result = {}
    for year, number in extra.get("customers_served", {}).items():
        if (str(year).isdigit() and isinstance(number, int | float) and not isinstance(number, bool)
                and is_finite(number) and number > 0):
            result[int(year)] = float(number)
        else:
            problems.append(_wrong(f"customers_served.{year}", str(number), "not a year and its customers, above 0",
                                   "write it like 2024 = 1500"))
    return result


def _conversions(extra: Mapping[str, Mapping[str, object]], network: Network | None,
                 problems: list[Problem]) -> tuple[dict[str, np.datetime64], dict[str, dict[str, str]]]:
    """Day of each conversion, and the device that stood there before."""
    days: dict[str, np.datetime64] = {}
    before: dict[str, dict[str, str]] = {}
    heads = None if network is None else set(network.ids[network.candidates].astype(str))
    for section, stated in extra.get("conversions", {}).items():
        if heads is not None and str(section) not in heads:
            problems.append(_wrong(f"conversions.{section}", str(section), "this section heads no lateral",
                                   "name the section that heads the converted lateral"))
        said = stated if isinstance(stated, dict) else {"day": stated}
        cells = {str(key): str(value).strip() for key, value in said.items()}
        read = _day(f"conversions.{section}", cells.pop("day", ""), problems)
        if read is not None:
            days[str(section)] = read
        before[str(section)] = _replaced(f"conversions.{section}", cells, problems)
    return days, before


def _replaced(key: str, cells: dict[str, str], problems: list[Problem]) -> dict[str, str]:
    """The device that a conversion replaced, a fuse of unknown link where nothing is said."""
    for name in cells.keys() - {"device", "fuse_link"}:
        problems.append(_wrong(f"{key}.{name}", name, "unknown key", "a conversion has day, device and fuse_link"))
    device = cells.get("device", FUSE)
    if device not in LATERAL_DEVICES:
        problems.append(_wrong(f"{key}.device", device, "no device of a lateral",
                               f"write one of {', '.join(LATERAL_DEVICES)}"))
    return {"device": device, "fuse_link": cells.get("fuse_link", "")}
