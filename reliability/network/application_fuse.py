"""The fuse that stands at the head of a lateral today: load, saving, and the link asked for."""

from __future__ import annotations

import numpy as np

from reliability.network.application_catalogue import HAIR, PASS, REVIEW, UNKNOWN, Check, Settled, judge
from reliability.network.coordination import coordination
from reliability.network.devices import MELTS
from reliability.network.fuse_links import link_name, link_table
from reliability.network.link_curves import link_curves, saving_ceilings_a
from reliability.network.protection import Protection
from reliability.network.rates import fault_currents_a
from reliability.network.tree import Network
from reliability.schema.values import Assumptions

# Preferred ratings of links, A; the others of the table are the intermediate series (IEEE C37.42).
PREFERRED_A = (6, 10, 15, 25, 40, 65, 100, 140, 200)


def existing_ceilings_a(network: Network, values: Assumptions, as_built: Protection) -> np.ndarray:
    """Saving ceiling (A) of the fuse at each lateral's head, (m,), NaN where unknown or no fuse."""
    head = network.candidates
    ceiling = coordination(network, values, (as_built,)).ceiling_a[0][head]
    return np.where(MELTS[network.device[head]] & np.isfinite(ceiling), ceiling, np.nan)


def fuse_checks(network: Network, values: Assumptions, as_built: Protection) -> tuple[Check, Check, Check]:
    """The three checks of the existing fuse at each lateral's head, under the backup as built."""
    head = network.candidates
    load, tap = network.column["peak_load_a"][head], fault_currents_a(network, values)[0][head]
    fused = MELTS[network.device[head]]
    speed, installed = link_ratings(np.where(fused, network.text["fuse_link"][head], ""))
    backup = network.protective_above[head]
    fast = np.where(backup >= 0, as_built.fast[backup], np.nan)

    ceiling = np.where(fast > 0.0, existing_ceilings_a(network, values, as_built), np.nan)
    none = Settled(~fused, PASS, "no fuse stands at the head today")
    blocked = Settled(fast == 0.0, PASS, "fast tripping is blocked: no fuse is meant to be saved")
    pickup = values["cold_load_factor"] * load
    asked = asked_ratings_a(speed, installed, pickup, np.where(fast == 0.0, 0.0, tap), values)
    # an infinite rating: beyond every link of the table
    beyond = Settled(np.isinf(asked), REVIEW, "no link of its kind stands cold-load pickup and is saved at the tap")
    # where nothing is to be saved no rule here speaks against a larger link
    large_enough = Settled((fast == 0.0) & (installed >= asked), PASS,
                           "the installed link stands cold-load pickup; with fast tripping blocked no more is asked")
    uncertain = Settled(np.isnan(fast), UNKNOWN, "the backup is not known")
    return (
        judge("fuse_load", load, installed, settled=[none]),
        judge("fuse_saving", tap, ceiling, settled=[uncertain, blocked, none]),
        judge("fuse_coordination", installed, np.where(np.isinf(asked), np.nan, asked),
              settled=[beyond, large_enough, uncertain, none]),
    )


def link_ratings(links: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(speed "K" or "T", rating in A) of link texts (m,); "" and NaN where there is no such link."""
    names, index = np.unique(links.astype(str), return_inverse=True)
    known = [link_name(name) for name in names]
    speed = np.array(["" if k is None else link_table().at[k, "speed"] for k in known], dtype=object)
    rating = np.array([np.nan if k is None else link_table().at[k, "rating_a"] for k in known], dtype=float)
    return speed[index], rating[index]


def asked_ratings_a(speed: np.ndarray, installed_a: np.ndarray, pickup_a: np.ndarray, tap_a: np.ndarray,
                    values: Assumptions) -> np.ndarray:
    """Rating (A) of the smallest link of the same kind that stands pickup and is saved at the tap, (m,).

    Of the same kind is a link of the same speed and series, preferred or intermediate ratings, as
    a utility stocks one series. speed, installed_a (rating, A), pickup_a (cold-load pickup, A),
    tap_a (fault current at the tap, A; 0 where no saving is asked): (m,). Infinite where no
    link does, NaN where an input is unknown.
    """
    preferred = np.isin(installed_a, PREFERRED_A)
    result = np.full(len(pickup_a), np.nan)
    for (kind, series), links in _links_by_kind():
        ratings = links["rating_a"].to_numpy(dtype=float)
        ceilings = saving_ceilings_a(link_curves(links.index), values["fast_clearing_time_s"],
                                     values["fuse_melting_factor"])
        stands = np.searchsorted(ratings * (1.0 + HAIR), pickup_a)
        saved = np.searchsorted(ceilings, tap_a, side="right")  # the ceiling itself is not saved (model §3)
        asked = np.append(ratings, np.inf)[np.maximum(stands, saved)]
        result = np.where((speed == kind) & (preferred == series), asked, result)
    return np.where(np.isnan(pickup_a) | np.isnan(tap_a), np.nan, result)


def _links_by_kind():
    """((speed, whether of the preferred series), links by ascending rating) of the table."""
    table = link_table().sort_values("rating_a")
    return table.groupby([table["speed"], table["rating_a"].isin(PREFERRED_A)])
