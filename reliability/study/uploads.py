"""Uploaded files that are not a study yet: stored in the workspace, so that a reload loses nothing."""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

from reliability.study import workspace
from reliability.study.save import create

FOLDER, PLAN = ".incoming", "plan.json"


def put(files: dict[str, bytes]) -> str:
    """Store uploaded files; returns their token."""
    digests = (n.encode() + hashlib.sha256(c).digest() for n, c in sorted(files.items()))
    token = hashlib.sha256(b"".join(digests)).hexdigest()[:16]
    folder = workspace.root() / FOLDER / token
    if not folder.exists():
        workspace.root().mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            create(folder, {f"{i}-{_plain(name)}": content for i, (name, content) in enumerate(files.items())})
    return token


def get(token: str) -> dict[str, bytes] | None:
    """Files of a token by name, None where there are none."""
    folder = workspace.root() / FOLDER / token
    if not token.isalnum() or not folder.is_dir():
        return None
    return {f.name.partition("-")[2]: f.read_bytes() for f in sorted(folder.iterdir()) if f.name != PLAN}


def put_plan(token: str, plan: dict[str, Any]) -> None:
    """Remember what was decided about the files."""
    folder = workspace.root() / FOLDER / token
    draft = folder.with_suffix(".plan")
    draft.write_text(json.dumps(plan), encoding="utf-8")
    draft.replace(folder / PLAN)


def get_plan(token: str) -> dict[str, Any]:
    """What was decided about the files so far."""
    try:
        return json.loads((workspace.root() / FOLDER / token / PLAN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def replace(token: str, name: str, content: bytes) -> None:
    """Put a corrected table in the place of the uploaded one."""
    folder = workspace.root() / FOLDER / token
    old = next(f for f in folder.iterdir() if f.name.partition("-")[2] == name)
    new = folder / f"{old.name.partition('-')[0]}-{Path(name).stem}.csv"
    draft = folder.with_suffix(".draft")
    draft.write_bytes(content)
    draft.replace(new)
    if old != new:
        old.unlink()


def drop(token: str) -> None:
    """Forget files that have become a study."""
    shutil.rmtree(workspace.root() / FOLDER / token, ignore_errors=True)


def _plain(name: str) -> str:
    """A file's name without anything a path could be made of."""
    return "".join(c if c.isalnum() or c in "._- " else "_" for c in Path(name).name)[-80:] or "file.csv"
