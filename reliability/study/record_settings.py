"""The keys of [history]: how the records are to be read, checked together."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from reliability.network.devices import RECLOSES
from reliability.network.tree import Network
from reliability.schema.devices import FUSE, LATERAL_DEVICES
from reliability.schema.problems import Problem, StudyError
from reliability.schema.values import Assumptions
from reliability.study.settings import is_finite
from reliability.study.timestamps import is_zone, zone_meant

IN_STUDY_FILE = "study.toml"
_OF_A_CONVERSION = {"day", "device", "fuse_link"}
BETA, FIXED = "beta", "fixed"
# how converted laterals were chosen
CHOSEN_ON_RECORDS, EARLIER_RECORDS, CHOSEN_OTHERWISE = "records", "earlier_records", "other"
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}([ T]\d{2}:[\d:.]*(Z|[+-]\d{2}:\d{2})?)?", re.ASCII)  # a time of day is ignored


@dataclass(frozen=True)
class Replaced:
    """What headed a lateral before its conversion; fuse_link: "" where unknown."""

    device: str = FUSE
    fuse_link: str = ""


@dataclass(frozen=True)
class EarlierSettings:
    """Fast operations that a reclosing device had until a day (datetime64[D]) on which they changed to today's."""

    until: np.datetime64
    fast_operations: int


@dataclass(frozen=True)
class RecordSettings:
    """Keys of [history], typed. Days are datetime64[D].

    momentary_complete: whether every reclosing device has its momentary events recorded.
    conversions: day of each by section. replaced: what stood there until then, where that is stated.
    earlier_settings: of reclosing devices whose settings changed.
    """

    date_order: str = ""
    time_zone: str = ""
    include_planned: bool = True
    count_duplicates_once: bool = True
    momentary_complete: bool = False
    records_from: np.datetime64 | None = None
    records_to: np.datetime64 | None = None
    major_event_method: str = BETA
    major_event_days: np.ndarray = field(default_factory=lambda: np.array([], dtype="datetime64[D]"))
    prior_groups: str = ""
    expected_rate_ratio: float | None = None
    chosen_by: str = CHOSEN_OTHERWISE
    chosen_from: np.datetime64 | None = None
    chosen_to: np.datetime64 | None = None
    cause_kinds: Mapping[str, str] = field(default_factory=dict)
    served_by_year: Mapping[int, float] = field(default_factory=dict)
    conversions: Mapping[str, np.datetime64] = field(default_factory=dict)
    replaced: Mapping[str, Replaced] = field(default_factory=dict)
    earlier_settings: Mapping[str, EarlierSettings] = field(default_factory=dict)


def record_settings(values: Assumptions, extra: Mapping[str, Mapping[str, object]],
                    network: Network | None) -> RecordSettings:
    """Settings of a study's records; raises StudyError with every key that cannot be read.

    values, extra: see `Study`. network: for the laterals that conversions name; None leaves them unchecked.
    """
    problems: list[Problem] = []

    def text(key: str) -> str:
        return str(values.get(key) or "").strip()

    zone = text("time_zone")
    if zone and not is_zone(zone):
        problems.append(_wrong("time_zone", zone, "not the name of a time zone", zone_meant(zone)))
    fixed = [_day("major_event_days", part, problems) for part in re.split("[,;]", text("major_event_days"))
             if part.strip()]
    method = text("major_event_method") or BETA
    if method == FIXED and not fixed:
        problems.append(_wrong("major_event_method", FIXED, "no day is listed", "list them in major_event_days"))
    begin, end = _span("records", text, problems)
    chosen_from, chosen_to = _span("chosen", text, problems)
    ratio = values.get("expected_rate_ratio")
    settings = RecordSettings(
        date_order=text("date_order"), time_zone=zone,
        include_planned=values.get("include_planned", True) not in (False, "false", 0),
        count_duplicates_once=values.get("count_duplicates_once", True) not in (False, "false", 0),
        momentary_complete=values.get("momentary") == "all",
        records_from=begin, records_to=end, major_event_method=method,
        major_event_days=np.unique(np.array([d for d in fixed if d is not None], dtype="datetime64[D]")),
        prior_groups=text("prior_groups"), expected_rate_ratio=None if ratio is None else float(ratio),
        chosen_by=text("chosen_by") or CHOSEN_OTHERWISE, chosen_from=chosen_from, chosen_to=chosen_to,
        cause_kinds=_causes(extra, problems), served_by_year=_served(extra, problems),
        conversions=_conversions(extra, network, problems), replaced=_replaced(extra, problems),
        earlier_settings=_earlier_settings(extra, network, problems))
    if problems:
        raise StudyError(problems)
    return settings


def _wrong(key: str, value: str, rule: str, remedy: str) -> Problem:
    return Problem(IN_STUDY_FILE, rule, remedy, column=f"history.{key}", value=value)


def _day(key: str, text: str, problems: list[Problem]) -> np.datetime64 | None:
    text = str(text).strip()
    with contextlib.suppress(ValueError):
        if _DAY.fullmatch(text):
            return np.datetime64(text[:10], "D")
    problems.append(_wrong(key, text, "not a day", "write it like 2024-03-25"))
    return None


def _span(name: str, text: Callable[[str], str],
          problems: list[Problem]) -> tuple[np.datetime64 | None, np.datetime64 | None]:
    """Days of the keys `name`_from and `name`_to, None where blank."""
    begin, end = (_day(key, text(key), problems) if text(key) else None for key in (f"{name}_from", f"{name}_to"))
    if begin is not None and end is not None and end < begin:
        problems.append(_wrong(f"{name}_to", str(end), f"before {name}_from", "give the later day here"))
    return begin, end


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
                 problems: list[Problem]) -> dict[str, np.datetime64]:
    """Day of each conversion: the value itself, or `day` of a table that also says what stood there before."""
    result: dict[str, np.datetime64] = {}
    heads = None if network is None else set(network.ids[network.candidates].astype(str))
    for section, stated in extra.get("conversions", {}).items():
        if heads is not None and str(section) not in heads:
            problems.append(_wrong(f"conversions.{section}", str(section), "this section heads no lateral",
                                   "name the section that heads the converted lateral"))
        day = stated.get("day", "") if isinstance(stated, Mapping) else stated
        read = _day(f"conversions.{section}", str(day), problems)
        if read is not None:
            result[str(section)] = read
    return result


def _replaced(extra: Mapping[str, Mapping[str, object]], problems: list[Problem]) -> dict[str, Replaced]:
    """What stood at the converted laterals whose conversion is given as a table."""
    result: dict[str, Replaced] = {}
    for section, stated in extra.get("conversions", {}).items():
        if not isinstance(stated, Mapping):
            continue
        key = f"conversions.{section}"
        problems += [_wrong(f"{key}.{name}", str(name), "not a key of a conversion",
                            "its keys are day, device and fuse_link") for name in set(stated) - _OF_A_CONVERSION]
        device, link = str(stated.get("device", FUSE)), str(stated.get("fuse_link", ""))
        if device not in LATERAL_DEVICES:
            problems.append(_wrong(f"{key}.device", device, "not a device that heads a lateral",
                                   f"write one of {', '.join(LATERAL_DEVICES)}"))
        result[str(section)] = Replaced(device, link)
    return result


def _earlier_settings(extra: Mapping[str, Mapping[str, object]], network: Network | None,
                      problems: list[Problem]) -> dict[str, EarlierSettings]:
    result: dict[str, EarlierSettings] = {}
    reclosing = None if network is None else set(network.ids[RECLOSES[network.device]].astype(str))
    for section, stated in extra.get("earlier_settings", {}).items():
        key = f"earlier_settings.{section}"
        if reclosing is not None and str(section) not in reclosing:
            problems.append(_wrong(key, str(section), "no reclosing device stands at this section",
                                   "name the section of a breaker or recloser"))
        until, fast = (stated.get(name) for name in ("until", "fast_operations")) if isinstance(
            stated, Mapping) else (None, None)
        if isinstance(fast, bool) or not isinstance(fast, int) or fast < 0:
            problems.append(_wrong(key, str(stated), "not a day and the fast operations until then",
                                   "write it like { until = 2022-05-01, fast_operations = 2 }"))
            continue
        read = _day(f"{key}.until", str(until or ""), problems)
        if read is not None:
            result[str(section)] = EarlierSettings(read, fast)
    return result
