"""Fuse against reclosing device: the pairs of every scenario, and what each operation does between them by current."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reliability.network.curves import CurvePoints
from reliability.network.devices import MELTS
from reliability.network.fuse_links import link_name, next_larger_link
from reliability.network.link_curves import LinkCurves, link_curves, own_curves, saving_ceilings_a
from reliability.network.model import Model
from reliability.network.packed import distinct, packed
from reliability.network.protection import Protection
from reliability.network.race import NONE, Race, run_races
from reliability.network.tree import Network


@dataclass(frozen=True)
class Coordination:
    """Pairs of a fuse and the reclosing device behind it, for S scenarios over n sections.

    race: what happens between each distinct pair. right, wrong: (S, n) pair of each fuse with the link it should hold
    and with the next larger one, NONE where no fuse stands. ceiling_a: (S, n) current below which a fast operation
    saves the fuse by the rule without settings, ∞ where it always does, NaN where no fuse stands. misfit: (S, n)
    whether the two pairs may differ: the link is known and there is a larger one.
    """

    race: Race
    right: np.ndarray
    wrong: np.ndarray
    ceiling_a: np.ndarray
    misfit: np.ndarray


def coordination(model: Model, protections: Sequence[Protection]) -> Coordination:
    """Races of every fuse of every scenario (model §3, §8).

    The reclosing device behind a fuse is the one behind every fault below it that the fuse may clear.
    """
    network, values = model.network, model.values
    held = _held(model, protections)
    fuse, link, bigger = held.fuse, held.link, np.append(held.larger, NONE)[held.link]
    device = np.full(fuse.shape, NONE)
    for s, protection in enumerate(protections):
        at = np.flatnonzero(fuse[s])
        device[s, at] = np.where(protection.backup[at] >= 0, protection.settings_of[protection.backup[at]], NONE)
    ceiling, above = held.ceilings_a(link), held.ceilings_a(bigger)
    pairs = np.column_stack([np.concatenate([a[fuse], b[fuse]]) for a, b in
                             ((link, bigger), (device, device), (ceiling, above))])
    timed = (pairs[:, 0] != NONE) & (pairs[:, 1] != NONE)
    pairs[timed, 2] = np.inf  # not read there: alike ones are one pair
    pairs[~timed, 1] = NONE
    found, index = _distinct(pairs)
    right, wrong = (np.full(fuse.shape, NONE, dtype=np.int32) for _ in range(2))
    right[fuse], wrong[fuse] = index[: fuse.sum()], index[fuse.sum():]
    race = run_races(held.links, network.settings, found[:, 0].astype(int), found[:, 1].astype(int), found[:, 2],
                      values["fuse_melting_factor"], values["fuse_arcing_time_s"])
    return Coordination(race, right, wrong, np.where(fuse, ceiling, np.nan), fuse & (link != bigger))


def _distinct(pairs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(distinct rows in ascending order, which of them each is) of pairs (p, 3): few links, devices and ceilings."""
    ceiling = np.unique(pairs[:, 2], return_inverse=True)[1]
    columns = [(pairs[:, k] - NONE).astype(np.int64) for k in (0, 1)]
    key, index = distinct(packed([*columns, ceiling.ravel()]))
    some = np.empty(len(key), dtype=np.int64)       # a row of each
    some[index] = np.arange(len(index))
    return pairs[some], index


def ceilings_a(model: Model, protections: Sequence[Protection]) -> np.ndarray:
    """`Coordination.ceiling_a` alone, (S, n), without a race."""
    held = _held(model, protections)
    return np.where(held.fuse, held.ceilings_a(held.link), np.nan)


@dataclass(frozen=True)
class _Held:
    """Links that fuses hold. fuse: (S, n) where one stands; link: (S, n) its place in `links`, NONE for none or an
    unknown one. larger: for each of links the place of the next larger one. ceiling_a: their ceilings, ∞ behind the
    last. stated: (S, n) ceilings that the study states, NaN elsewhere.
    """

    links: LinkCurves
    larger: np.ndarray
    fuse: np.ndarray
    link: np.ndarray
    ceiling_a: np.ndarray
    stated: np.ndarray

    def ceilings_a(self, link: np.ndarray) -> np.ndarray:
        """Saving ceilings (A) with links in places (S, n)."""
        return np.where(np.isnan(self.stated), self.ceiling_a[link], self.stated)


def _held(model: Model, protections: Sequence[Protection]) -> _Held:
    network, values = model.network, model.values
    own = own_curves(network.curves)
    links, larger = _links(network, own)
    ceilings = saving_ceilings_a(links, values["fast_clearing_time_s"], values["fuse_melting_factor"])
    fuse = np.stack([MELTS[p.device] for p in protections])
    link, stated = np.full(fuse.shape, NONE), np.full(fuse.shape, np.nan)
    for s, protection in enumerate(protections):
        at = np.flatnonzero(fuse[s])
        link[s, at] = _places(protection.link[at], links, own)
        stated[s, at] = protection.stated_ceiling_a[at]
    return _Held(links, larger, fuse, link, np.append(ceilings, np.inf), stated)


def _links(network: Network, own: Mapping[str, tuple[CurvePoints, CurvePoints]]) -> tuple[LinkCurves, np.ndarray]:
    """Curves of every link that a fuse holds or may hold by error, and for each the place of the next larger one."""
    held = {known_link(text, own) for text in set(network.text["fuse_link"][MELTS[network.device]].tolist())} - {""}
    names = sorted(held | {next_larger_link(name) for name in held})
    place = {name: k for k, name in enumerate(names)}
    larger = np.array([place.get(next_larger_link(name), k) for k, name in enumerate(names)], dtype=int)
    return link_curves(names, own), larger


def _places(texts: np.ndarray, links: LinkCurves, own: Mapping[str, tuple[CurvePoints, CurvePoints]]) -> np.ndarray:
    """Place of each link in `links`, NONE where it is unknown."""
    place = {name: k for k, name in enumerate(links.names)}
    names, index = np.unique(texts.astype(str), return_inverse=True)
    return np.array([place.get(known_link(name, own), NONE) for name in names], dtype=int)[index]


def known_link(text: str, own: Mapping[str, tuple[CurvePoints, CurvePoints]]) -> str:
    """A link by the name of its own curves, or of the reference table; "" where it has neither."""
    return text if text in own else link_name(text) or ""
