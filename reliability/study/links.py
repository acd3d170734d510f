"""Fuse links that a section may name: how a name is written, and those of the reference table."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from reliability.network.fuse_links import link_table, written_link
from reliability.schema.nearest import Names
from reliability.schema.problems import Problems
from reliability.study.records import TypedColumns


def bad_links(records: TypedColumns, problems: Problems, own: Collection[str] = ()) -> None:
    """Write every link in one way (65K); reported: those unreadable, not in the reference table, or without a device.

    own: links of which the study has curves.
    """
    links = records.columns["fuse_link"].tolist()
    if not any(links):
        return
    names = Names(link_table().index)
    written = {text: written_link(text) for text in set(links)}
    known = {*names.known, *own}
    unknown = [i for i, text in enumerate(links) if text and written[text] not in known]
    problems.each(unknown, lambda i: records.problem(
        i, "fuse_link", None, *_trouble(written[links[i]], names)))
    device = records.columns["device"]
    bare = [i for i, text in enumerate(links) if text and device[i] == ""]
    problems.each([i for i in bare if not records.unsure("device")[i]], lambda i: records.problem(
        i, "fuse_link", None, "a fuse link, but no device holds it", "write the device, or leave fuse_link blank"))
    records.columns["fuse_link"] = np.array([written[text] or "" for text in links], object)


def _trouble(link: str | None, names: Names) -> tuple[str, str]:
    if link is None:
        return "not readable as a fuse link", "write rating and type like 65K or 40T, or leave it blank"
    same = [k for k in names.known if k[-1] == link[-1]]
    if not same:
        return "links of this type are not in the reference table", "use type K or T, or give saving_ceiling_a instead"
    near = min(same, key=lambda k: abs(float(k[:-1]) - float(link[:-1])))
    return "this link is not in the reference table", f"the nearest there is {near}; or give saving_ceiling_a instead"
