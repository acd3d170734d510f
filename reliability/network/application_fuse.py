"""The fuse that stands at the head of a lateral today: load, saving, and the link asked for."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from reliability.network.application_catalogue import PASS, PRODUCT_TOLERANCE, REVIEW, UNKNOWN, Check, Settled, judge
from reliability.network.application_proposal import inside_laterals
from reliability.network.coordination import ceilings_a
from reliability.network.device_settings import ALL_ELEMENTS, DELAYED_OPERATION, FAST_OPERATION, clearing_times_s
from reliability.network.devices import MELTS
from reliability.network.fuse_links import link_name, link_table
from reliability.network.link_curves import (
    Own,
    link_curves,
    minimum_melting_s,
    own_curves,
    saving_ceilings_a,
    total_clearing_s,
)
from reliability.network.model import Model
from reliability.network.protection import Protection
from reliability.network.rates import fault_currents_a
from reliability.network.tree import Network
from reliability.schema.values import Assumptions

# Preferred ratings of links, A; the others of the table are the intermediate series (IEEE C37.42).
PREFERRED_A = (6, 10, 15, 25, 40, 65, 100, 140, 200)


def existing_ceilings_a(model: Model, as_built: Protection) -> np.ndarray:
    """Saving ceiling (A) of the fuse at each lateral's head, (m,), NaN where unknown or no fuse.

    NaN too where curves of both the link and its backup decide: no one current divides there.
    """
    network = model.network
    head = network.candidates
    ceiling = ceilings_a(model, (as_built,))[0][head]
    timed = ~np.isnan(fast_clearing_s(network, as_built)) & (network.text["fuse_link"][head] != "")
    return np.where(MELTS[network.device[head]] & np.isfinite(ceiling) & ~timed, ceiling, np.nan)


def outraced_inside(model: Model, as_built: Protection) -> np.ndarray:
    """Whether a delayed operation of the backup clears before a fuse inside melts (model §3), by the curves of both, at
    an end of the fuse's own section, (m,)."""
    network, values = model.network, model.values
    pairs = [np.empty((2, 0), dtype=np.int64), *(np.stack(pair) for pair in inside_laterals(network))]
    fuse, lateral = np.concatenate(pairs, axis=1)
    device = as_built.settings_of[as_built.backup[fuse]]
    timed = MELTS[network.device[fuse]] & (as_built.link[fuse] != "") & (device >= 0)
    fuse, lateral, device = fuse[timed], lateral[timed], device[timed]
    result, own = np.zeros(len(network.candidates), dtype=bool), own_curves(network.curves)
    place, texts = pd.factorize(as_built.link[fuse])
    links = link_curves([str(text) if text in own else str(link_name(str(text))) for text in texts], own)
    for current in fault_currents_a(model):
        here = np.flatnonzero(~np.isnan(current[fuse]))
        amperes = current[fuse[here]]
        clears = clearing_times_s(network.settings, device[here], np.array(DELAYED_OPERATION), np.array(ALL_ELEMENTS),
                                  amperes)
        melts = values["fuse_melting_factor"] * minimum_melting_s(links, place[here], amperes)
        never = np.isinf(clears) & np.isinf(total_clearing_s(links, place[here], amperes, values["fuse_arcing_time_s"]))
        result[lateral[here[(clears <= melts) | never]]] = True
    return result


def fast_clearing_s(network: Network, as_built: Protection, tap_a: np.ndarray | None = None) -> np.ndarray:
    """Clearing time (s) of each backup's fast operation at tap_a (m,), A, NaN where it has no settings of its own.

    An earth fault, as the currents are: elements of phase and ground see it. tap_a: None for any current at all.
    """
    backup = network.protective_above[network.candidates]
    device = np.where(backup >= 0, as_built.settings_of[backup], -1)
    tap = np.ones(len(device)) if tap_a is None else tap_a
    result, known = np.full(len(device), np.nan), (device >= 0) & ~np.isnan(tap)
    kind, part = (np.full(len(tap), code) for code in (FAST_OPERATION, ALL_ELEMENTS))
    result[known] = clearing_times_s(network.settings, device[known], kind[known], part[known], tap[known])
    return result


def fuse_checks(model: Model, as_built: Protection) -> tuple[Check, Check, Check]:
    """The three checks of the existing fuse at each lateral's head, under the backup as built."""
    network, values = model.network, model.values
    head = network.candidates
    load, tap = network.column["peak_load_a"][head], fault_currents_a(model)[0][head]
    fused = MELTS[network.device[head]]
    speed, installed = _links(network)
    backup = network.protective_above[head]
    fast = np.where(backup >= 0, as_built.fast[backup], np.nan)

    ceiling = np.where(fast > 0.0, existing_ceilings_a(model, as_built), np.nan)
    none = Settled(~fused, PASS, "no fuse stands at the head today")
    blocked = Settled(fast == 0.0, PASS, "fast tripping is blocked: no fuse is meant to be saved")
    pickup = values["cold_load_factor"] * load
    own, device_s = own_curves(network.curves), fast_clearing_s(network, as_built, tap)
    asked = asked_ratings_a(speed, installed, pickup, np.where(fast == 0.0, 0.0, tap), values,
                            np.where(fast == 0.0, np.nan, device_s), own)
    timed = ~np.isnan(device_s) & (speed != "")
    saved = timed & (device_s <= values["fuse_melting_factor"] * _melting_s(network, tap, timed, own))
    by_curves = (Settled(timed & saved, PASS, "by its settings the backup's fast operation clears ahead of the link "
                                              "at the tap"),
                 Settled(timed & ~saved, REVIEW, "by its settings the backup's fast operation does not clear ahead of "
                                                 "the link at the tap"))
    # an infinite rating: beyond every link of the table
    beyond = Settled(np.isinf(asked), REVIEW, "no link of its kind stands cold-load pickup and is saved at the tap")
    # where nothing is to be saved no rule here speaks against a larger link
    large_enough = Settled((fast == 0.0) & (installed >= asked), PASS,
                           "the installed link stands cold-load pickup; with fast tripping blocked no more is asked")
    uncertain = Settled(np.isnan(fast), UNKNOWN, "the backup is not known")
    return (
        judge("fuse_load", load, installed, settled=[none]),
        judge("fuse_saving", tap, ceiling, settled=[*by_curves, uncertain, blocked, none]),
        judge("fuse_coordination", installed, np.where(np.isinf(asked), np.nan, asked),
              settled=[beyond, large_enough, uncertain, none]),
    )


def _links(network: Network) -> tuple[np.ndarray, np.ndarray]:
    """Speed and rating of the link at each head, see `link_ratings`."""
    head = network.candidates
    return link_ratings(np.where(MELTS[network.device[head]], network.text["fuse_link"][head], ""))


def _melting_s(network: Network, tap_a: np.ndarray, wanted: np.ndarray, own: Own) -> np.ndarray:
    """Minimum melting time (s) at the tap of the link at each head, (m,), NaN where not wanted."""
    place, texts = pd.factorize(network.text["fuse_link"][network.candidates[wanted]])
    names = [str(link_name(str(text))) for text in texts]
    result = np.full(len(wanted), np.nan)
    result[wanted] = minimum_melting_s(link_curves(names, own), place, tap_a[wanted])
    return result


def link_ratings(links: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(speed "K" or "T", rating in A) of link texts (m,); "" and NaN where there is no such link."""
    index, names = pd.factorize(links)
    known = [link_name(str(name)) for name in names]
    speed = np.array(["" if k is None else link_table().at[k, "speed"] for k in known], dtype=object)
    rating = np.array([np.nan if k is None else link_table().at[k, "rating_a"] for k in known], dtype=float)
    return speed[index], rating[index]


def asked_ratings_a(speed: np.ndarray, installed_a: np.ndarray, pickup_a: np.ndarray, tap_a: np.ndarray,
                    values: Assumptions, device_s: np.ndarray | None = None, own: Own | None = None) -> np.ndarray:
    """Rating (A) of the smallest link of the same kind that stands pickup and is saved at the tap, (m,).

    Of the same kind is a link of the same speed and series, preferred or intermediate ratings, as
    a utility stocks one series. speed, installed_a (rating, A), pickup_a (cold-load pickup, A),
    tap_a (fault current at the tap, A; 0 where no saving is asked): (m,). device_s: (m,) clearing time
    of the backup's fast operation at the tap by its settings, s, NaN where the rule without settings holds.
    own: curves of links that go before the table's. Infinite where no link does, NaN where an input is unknown.
    """
    device_s = np.full(len(pickup_a), np.nan) if device_s is None else device_s
    preferred = np.isin(installed_a, PREFERRED_A)
    result = np.full(len(pickup_a), np.nan)
    for (kind, series), links in _links_by_kind():
        ratings = links["rating_a"].to_numpy(dtype=float)
        curves, factor = link_curves(links.index, own), values["fuse_melting_factor"]
        ceilings = saving_ceilings_a(curves, values["fast_clearing_time_s"], factor)
        stands = np.searchsorted(ratings * (1.0 + PRODUCT_TOLERANCE), pickup_a)
        saved = np.searchsorted(ceilings, tap_a, side="right")  # the ceiling itself is not saved (model §3)
        timed = ~np.isnan(device_s)
        melting = minimum_melting_s(curves, np.arange(len(links)), tap_a[timed, None])
        # links from the first one up that does not melt ahead of the device
        saved[timed] = np.logical_and.accumulate(factor * melting < device_s[timed, None], axis=1).sum(axis=1)
        asked = np.append(ratings, np.inf)[np.maximum(stands, saved)]
        result = np.where((speed == kind) & (preferred == series), asked, result)
    return np.where(np.isnan(pickup_a) | np.isnan(tap_a), np.nan, result)


def _links_by_kind() -> Iterable[tuple[tuple[str, bool], pd.DataFrame]]:
    """((speed, whether of the preferred series), links by ascending rating) of the table."""
    table = link_table().sort_values("rating_a")
    groups = table.groupby([table["speed"], table["rating_a"].isin(PREFERRED_A)])
    return (((str(speed), bool(preferred)), links) for (speed, preferred), links in groups)
