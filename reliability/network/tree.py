"""The radial network as arrays, parents before children, so that a subtree is one slice.

Section i and all below it are the positions i … i + size[i] − 1; everything that sums over
a subtree or along the path to the source is an array operation on that order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from reliability.formats import count
from reliability.network.curves import CurvePoints, points_by_name
from reliability.network.device_settings import DeviceSettings, device_settings
from reliability.network.devices import HEADS_LATERAL, NO_DEVICE, PROTECTS, RECLOSES, codes_of
from reliability.network.forest import depth_first, largest_below, nearest, sums_below, topmost
from reliability.network.place_names import FIELD_NAMES, described_places, place_names
from reliability.schema.columns import CUSTOMER_CLASSES, SECTIONS, SETTINGS

NO_SETTINGS = pd.DataFrame({c.name: pd.Series(dtype="str" if c.kind == "text" else float) for c in SETTINGS})
IDENTIFIERS = ("section_id", "parent_id", "feeder_id", "device")  # text columns that have arrays of their own


@dataclass(frozen=True)
class Network:
    """A forest of n line sections in an order where parents come first (depth-first).

    Arrays have shape (n,) unless stated otherwise; a float array holds NaN where the study
    leaves the value to an assumption or does not know it.

    ids: section ids. row: position in the study's sections frame.
    parent: position of the parent, −1 at a source. size: sections in sub(i), i included.
    device: code into `devices.DEVICES`, −1 for a solid connection.
    protective: nearest section at or above that carries a protective device (not a switch).
    protective_above: for a section, the next protective section above `protective` of
        itself, −1 at a source.
    block: section that heads the block (nearest device of any kind at or above).
    lateral: section that heads the lateral, −1 on the main. unit: nearest section at or above whose device a
        conversion may change (a candidate, model §1), −1 on the mains.
    feeder: index into `feeder_ids`.
    customers_below: sums over sub(i). customers_by_class: (n, 3). three_phase_share: part of a section's
        customers that are interrupted whatever phase opens, NaN where there are no customers.
    stretch_top: section that heads the stretch of each section (model §1); the stretch is all of sub(it), as no
        section has more phases than its parent.
    tie_below: largest tie probability in sub(i).
    column: the remaining numeric columns of `columns.SECTIONS`, by name, each (n,).
    settings: overcurrent settings of reclosing devices; settings_of: place in it of each section's own, −1 without.
    curves: time-current curves by points, by name.
    text: the text columns of `columns.SECTIONS` that describe a device or place, by name, each (n,), "" where blank.
    """

    ids: np.ndarray
    row: np.ndarray
    parent: np.ndarray
    size: np.ndarray
    device: np.ndarray
    protective: np.ndarray
    protective_above: np.ndarray
    block: np.ndarray
    lateral: np.ndarray
    unit: np.ndarray
    feeder: np.ndarray
    feeder_ids: np.ndarray
    customers: np.ndarray
    three_phase_share: np.ndarray
    customers_by_class: np.ndarray
    load_kw: np.ndarray
    phases: np.ndarray
    stretch_top: np.ndarray
    customers_below: np.ndarray
    tie_below: np.ndarray
    column: dict[str, np.ndarray]
    text: dict[str, np.ndarray]
    settings: DeviceSettings
    settings_of: np.ndarray
    curves: Mapping[str, CurvePoints]

    def __len__(self) -> int:
        return len(self.ids)

    def __repr__(self) -> str:
        return (f"Network: {count(len(self), 'section')}, {count(len(self.candidates), 'lateral')}, "
                f"{count(len(self.feeder_ids), 'feeder')}")

    @cached_property
    def names(self) -> np.ndarray:
        """What people call each section, (n,) text, no two alike; see `place_names`."""
        return place_names(self.ids, self.text)

    @cached_property
    def name_by_id(self) -> dict[str, str]:
        """The same by section_id."""
        return dict(zip(self.ids.astype(str).tolist(), self.names.tolist(), strict=True))

    @cached_property
    def described(self) -> np.ndarray:
        """All that is known of each section's place, (n,) text; see `described_places`."""
        return described_places(self.ids, self.text)

    @property
    def has_field_names(self) -> bool:
        """Whether the study names any place by a device's number or a location."""
        return any((self.text[name] != "").any() for name in FIELD_NAMES)

    @property
    def candidates(self) -> np.ndarray:
        """Positions of the sections whose device a conversion may change, ascending (model §1)."""
        return np.flatnonzero(self.unit == np.arange(len(self)))

    @property
    def candidate_index(self) -> np.ndarray:
        """Place of each section's unit among `candidates`, −1 on the mains, (n,)."""
        heads = self.candidates
        # one place more than sections: the −1 of the mains reads the last
        place = np.full(len(self) + 1, -1)
        place[heads] = np.arange(len(heads))
        return place[self.unit]

    @cached_property
    def devices_above(self) -> np.ndarray:
        """Sections with a device of any kind at or above each, (n + 1,); the last, 0, is read by −1."""
        return np.append(self.along_path(self.device != NO_DEVICE), 0.0).astype(np.int16)

    def with_columns(self, columns: Mapping[str, np.ndarray]) -> Network:
        """The same network with other values, (n,) each in its order, in some of the numeric columns."""
        return replace(self, column={**self.column, **columns})

    def below(self, values: np.ndarray) -> np.ndarray:
        """Sum of `values` (n,) or (n, m) over sub(i), for every i."""
        return sums_below(values, self.size)

    def along_path(self, values: np.ndarray) -> np.ndarray:
        """Sum of `values` (n,) over section i and all above it, for every i."""
        total = np.array(values, dtype=float, order="F")
        for column in total.T if total.ndim == 2 else (total,):        # one by one: each lies together
            for moving, to in self._rounds:
                column[moving] += column[to]
        return total

    @cached_property
    def _rounds(self) -> list[tuple[np.ndarray, np.ndarray]]:
        """Path doubling: in round k what is added where, so that a sum then covers 2**k sections towards the source."""
        jump, rounds = self.parent.copy(), []
        while (moving := np.flatnonzero(jump >= 0)).size:
            to = jump[moving]
            rounds.append((moving, to))
            jump[moving] = jump[to]
        return rounds


def build_network(sections: pd.DataFrame, parent_row: np.ndarray | None = None, settings: pd.DataFrame | None = None,
                  curves: pd.DataFrame | None = None) -> Network:
    """Arrays of a checked sections frame (see `Study.sections`), in depth-first order.

    parent_row: (rows,) row of each row's parent, −1 at a source, where it is known already.
    settings, curves: checked frames of `columns.SETTINGS` and `columns.CURVES`, None without.
    """
    ids = sections["section_id"].to_numpy(dtype=object)
    if parent_row is None:
        parent_row = _positions(ids, sections["parent_id"].to_numpy(dtype=object))
    row, parent, size = depth_first(parent_row)
    n = len(row)

    def numbers(name: str) -> np.ndarray:
        if name not in sections:
            return np.full(n, np.nan)
        return sections[name].to_numpy(dtype=float, na_value=np.nan)[row]

    def text(name: str) -> np.ndarray:
        if name not in sections:
            return np.full(n, "", object)
        which, texts = pd.factorize(sections[name].fillna(""))      # or each section would have a copy of its text
        return texts.to_numpy(dtype=object)[which[row]]

    device = codes_of(sections["device"].to_numpy(dtype=object))[row]
    protective = nearest(parent, PROTECTS[device])
    above = np.where(parent[protective] >= 0, protective[parent[protective]], -1)
    following = np.where(above >= 0, device[above], NO_DEVICE)
    candidate = HEADS_LATERAL[device] & (protective == np.arange(n)) & RECLOSES[following]
    feeder_ids, feeder = np.unique(sections["feeder_id"].to_numpy(dtype=str)[row], return_inverse=True)
    customers = numbers("customers")
    by_class = np.column_stack([np.nan_to_num(numbers(f"customers_{c}")) for c in CUSTOMER_CLASSES])
    load = np.nan_to_num(numbers("load_kw"))
    tie = np.nan_to_num(numbers("tie_probability"))
    phases = numbers("phases")
    more_above = (parent < 0) | (phases[parent] > phases)
    three_phase = np.divide(np.nan_to_num(numbers("customers_three_phase")), customers, out=np.full(n, np.nan),
                            where=customers > 0)
    points = points_by_name(curves) if curves is not None else {}
    devices = device_settings(settings if settings is not None else NO_SETTINGS, points)

    return Network(
        ids=ids[row], row=row, parent=parent, size=size, device=device,
        protective=protective, protective_above=above, block=nearest(parent, device != NO_DEVICE),
        lateral=topmost(parent, HEADS_LATERAL[device]), unit=nearest(parent, candidate),
        feeder=feeder, feeder_ids=feeder_ids, customers=customers, customers_by_class=by_class,
        three_phase_share=three_phase, load_kw=load, phases=phases, stretch_top=nearest(parent, more_above),
        customers_below=sums_below(customers, size), tie_below=largest_below(tie, size),
        column={c.name: numbers(c.name) for c in SECTIONS if c.kind != "text"},
        text={c.name: text(c.name) for c in SECTIONS if c.kind == "text" and c.name not in IDENTIFIERS},
        settings=devices, curves=points,
        settings_of=np.array([devices.of_section.get(str(i), -1) for i in ids[row]] if len(devices) else [-1] * n),
    )


def _positions(ids: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Position in `ids` of each wanted id, −1 where blank."""
    at = {name: i for i, name in enumerate(ids)}
    return np.array([at.get(w, -1) for w in wanted], dtype=np.int64)
