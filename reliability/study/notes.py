"""Notes on a study: no problems, but what a reader of its results should know."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from reliability.formats import count, shown
from reliability.schema.devices import DEVICE_TABLE, FUSE, LATERAL_DEVICES, SOURCE_DEVICES
from reliability.schema.problems import shorten

LONGEST_KM = 100.0  # of one section; above it another unit is likely (our assumption)
LEAST_FAULT = 2.0   # fault current over peak load; below it another unit is likely (our assumption)


_NAMED = 3          # sections named in a note
# Columns that only some devices have, and those devices.
_OF_DEVICES: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("operations_to_lockout", "fast_operations", "minimum_trip_a", "dead_time_s", "longest_dead_time_s",
                     "reclosing_off_share"), tuple(d.name for d in DEVICE_TABLE if d.recloses)),
    **dict.fromkeys(("counts", "rated_current_a", "actuating_current_a"),
                    tuple(d.name for d in DEVICE_TABLE if d.counts)),
    **dict.fromkeys(("saving_ceiling_a", "fuse_link"), tuple(d.name for d in DEVICE_TABLE if d.melts)),
    "tripping": tuple(d.name for d in DEVICE_TABLE if d.trippings),
}


def notes(columns: Mapping[str, np.ndarray]) -> tuple[str, ...]:
    """Notes on what the sections leave unknown and what the model does about it.

    columns: typed columns of the sections as the files state them, before blanks are filled.
    """
    device, link = columns["device"], columns["fuse_link"]
    known = {n: ~np.isnan(columns[n]) for n in
             ("fault_current_source_a", "fault_current_end_a", "saving_ceiling_a", "peak_load_a")}
    amperes = {n: np.nan_to_num(columns[n]) for n in known}
    source, end = known["fault_current_source_a"], known["fault_current_end_a"]
    found = (
        (~source & ~end, "without fault currents: every fuse there is saved by a fast operation, every "
                         "sectionalizer counts"),
        (source ^ end, "with only one of the two fault currents: both are taken as unknown"),
        ((device == FUSE) & (link == "") & ~known["saving_ceiling_a"],
         "with a fuse but neither fuse_link nor saving_ceiling_a: a fast operation saves that fuse at any current"),
        (np.isin(device, LATERAL_DEVICES) & ~known["peak_load_a"],
         "with a lateral device but no peak load (peak_load_a): no rating can be chosen there from the load"),
        ((columns["length_km"] == 0) & (device == ""), "without length and device: no line fault happens there"),
        (columns["length_km"] > LONGEST_KM,
         f"longer than {LONGEST_KM:.0f} km: is the length in kilometres (or miles), not metres or feet?"),
        (source & (amperes["fault_current_source_a"] < LEAST_FAULT * amperes["peak_load_a"]),
         f"with a fault current under {LEAST_FAULT:g} × the peak load: is it in amperes, not kiloamperes?"),
        (source & end & (amperes["fault_current_end_a"] > amperes["fault_current_source_a"]),
         "with more fault current at the far end than at the source end: are the two exchanged?"),
    )
    found += tuple(_without_use(columns))
    texts = [f"{_share_of(where)} {text}." for where, text in found if where.any()]
    if not np.nansum(columns["customers"]):
        texts.append("No customer is served: indices per customer do not exist.")
    return tuple(texts)


def feeder_notes(columns: Mapping[str, np.ndarray], parent: np.ndarray) -> tuple[str, ...]:
    """Notes on sections of another feeder than their parent's: a feeder begins at a breaker or recloser, else one of
    the two ids is probably wrong.

    columns: typed columns of the sections with feeder_id filled in. parent: (n,) row of each one's parent, −1 at a
    source.
    """
    feeder, ids = columns["feeder_id"], columns["section_id"]
    other, begins = (parent >= 0) & (feeder != feeder[parent]), np.isin(columns["device"], SOURCE_DEVICES)
    texts = ((other & begins, "a feeder begins there"),
             (other & ~begins, "no breaker or recloser is there at which a feeder could begin, and it counts under the "
                               "one that it states. Is feeder_id or parent_id wrong? Leave feeder_id blank for the "
                               "parent's"))
    return tuple(f"{_share_of(where)} with another feeder_id than their parent's "
                 f"({_some(ids[where])}): {text}." for where, text in texts if where.any())


def source_notes(columns: Mapping[str, np.ndarray], parent: np.ndarray) -> tuple[str, ...]:
    """The note on feeders that begin at several sources, which count as one. Arguments: see `feeder_notes`."""
    sources = np.flatnonzero(parent < 0)
    feeder, ids = columns["feeder_id"][sources], columns["section_id"][sources]
    names, first, number = np.unique(feeder.astype(str), return_index=True, return_counts=True)
    if not (number > 1).any():
        return ()
    several = names[number > 1][np.argsort(first[number > 1])]
    named = "; ".join(f"{shorten(name, 40)} at {_some(ids[feeder == name])}" for name in several[:_NAMED])
    more = "; …" if len(several) > _NAMED else ""
    return (f"{count(len(several), 'feeder')} with more than one source ({named}{more}): what is under one feeder_id "
            "counts as one feeder.",)


def alike_notes(what: str, ids: Sequence[str]) -> tuple[str, ...]:
    """The note on ids that are read as different ones, though a person would hardly tell them apart.

    what: the column. ids: (n,), some of them several times.
    """
    distinct = list(dict.fromkeys(ids))
    if _all_plain(distinct):
        return ()
    plain = [_plain(name) for name in distinct]
    if len(set(plain)) == len(distinct):
        return ()
    first: dict[str, str] = {}
    pairs = [(first[key], name) for key, name in zip(plain, distinct, strict=True)
             if first.setdefault(key, name) != name]
    named = ", ".join(f"'{shorten(a, 40)}' and '{shorten(b, 40)}'" for a, b in pairs[:_NAMED])
    more = ", …" if len(pairs) > _NAMED else ""
    return (f"{count(len(pairs), what)} that differ from another only in case, blanks, zeros before it or how letters "
            f"are encoded ({named}{more}): each is taken as another one.",)


def _all_plain(names: Sequence[str]) -> bool:
    """Whether no name has capitals, blanks, zeros before it or letters that may be encoded in several ways."""
    joined = "\n".join(("", *names))
    return joined.isascii() and joined == joined.lower() and "\n0" not in joined and joined.split() == list(names)


def _plain(name: str) -> str:
    """An id without what a person hardly sees."""
    if not name.isascii():
        name = "".join(c for c in unicodedata.normalize("NFKC", name) if unicodedata.category(c) != "Cf")
    return "".join(name.casefold().split()).lstrip("0")


def _share_of(where: np.ndarray) -> str:
    """How many sections of all: "16 of 1 102 sections". where: (n,) bool."""
    return f"{shown(where.sum(), 'count')} of {count(len(where), 'section')}"


def _some(ids: np.ndarray) -> str:
    return ", ".join(shorten(str(name), 40) for name in ids[:_NAMED]) + (", …" if len(ids) > _NAMED else "")


def _without_use(columns: Mapping[str, np.ndarray]) -> Iterator[tuple[np.ndarray, str]]:
    """Where a section states what its device does not have, (n,) bool each, and the end of the note."""
    device = columns["device"]
    for name, devices in _OF_DEVICES.items():
        stated = columns[name] != "" if columns[name].dtype == object else ~np.isnan(columns[name])
        yield stated & ~np.isin(device, devices), f"with {name} but no {' or '.join(devices)}: it is not used there"
