"""Uploaded files that are not a study yet: stored in the workspace, so that a reload loses nothing."""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import json
import secrets
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from reliability.study import workspace
from reliability.study.archive import locked
from reliability.study.save import create

FOLDER, PLAN, LOCK = ".incoming", ".plan.json", ".lock"


def put(files: dict[str, bytes]) -> str:
    """Store uploaded files; returns their token."""
    digests = (n.encode() + hashlib.sha256(c).digest() for n, c in sorted(files.items()))
    token = hashlib.sha256(b"".join(digests)).hexdigest()[:16]
    folder = workspace.root() / FOLDER / token
    if not folder.exists():
        workspace.root().mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            create(folder, named(files.items()))
    return token


def folder_of(token: str) -> Path:
    """Where the files of a token lie, under their names."""
    return workspace.root() / FOLDER / token


def get(token: str) -> dict[str, bytes] | None:
    """Files of a token by name, None where there are none."""
    folder = workspace.root() / FOLDER / token
    if not token.isalnum() or not folder.is_dir():
        return None
    return {f.name: f.read_bytes() for f in sorted(folder.iterdir()) if not f.name.startswith(".")}


def names(token: str) -> list[str] | None:
    """Names of the files of a token, None where there are none."""
    folder = folder_of(token)
    if not token.isalnum() or not folder.is_dir():
        return None
    return [f.name for f in sorted(folder.iterdir()) if not f.name.startswith(".")]


def put_plan(token: str, plan: dict[str, Any]) -> None:
    """Remember what was decided about the files; nothing where another tab has dropped them."""
    folder = workspace.root() / FOLDER / token
    draft = folder / f"{PLAN}-{secrets.token_hex(8)}"
    with contextlib.suppress(FileNotFoundError):
        draft.write_text(json.dumps(plan), encoding="utf-8")
        draft.replace(folder / PLAN)


def change_plan(token: str, changes: dict[str, Any], within: str = "") -> None:
    """Remember some decisions more, or others in their place; what another tab decides at the same time stays.

    within: key of the plan whose entries they are, "" for entries of the plan itself.
    """
    with locked(workspace.root() / FOLDER / LOCK):
        plan = get_plan(token)
        put_plan(token, {**plan, **(changes if not within else {within: {**plan.get(within, {}), **changes}})})


def get_plan(token: str) -> dict[str, Any]:
    """What was decided about the files so far."""
    try:
        return json.loads((workspace.root() / FOLDER / token / PLAN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def drop(token: str) -> None:
    """Forget files that have become a study."""
    shutil.rmtree(workspace.root() / FOLDER / token, ignore_errors=True)


def named(files: Iterable[tuple[str, bytes]]) -> dict[str, bytes]:
    """Files under names without anything a path could be made of, no two alike; the same file twice is one."""
    result: dict[str, bytes] = {}
    of_name: dict[str, list[bytes]] = {}
    for name, content in files:
        if content in of_name.setdefault(name, []):
            continue
        of_name[name].append(content)
        plain = "".join(c if c.isalnum() or c in "._- " else "_" for c in Path(name).name)[-80:].lstrip(".")
        plain = plain or "file.csv"
        stem, dot, suffix = plain.rpartition(".")
        options = itertools.chain([plain], (f"{stem} {k}{dot}{suffix}" for k in itertools.count(2)))
        result[next(n for n in options if n not in result)] = content
    return result
