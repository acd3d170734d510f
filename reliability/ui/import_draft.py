"""The import that is being worked on: its files and every decision, on disk, so that a reload loses nothing."""

from __future__ import annotations

import contextlib
import fnmatch
import hashlib
from collections import Counter
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import streamlit as st

from reliability.intake import NO_RECIPE, Exports, Imported, Prepared, Recipe, import_study, prepare, read_exports
from reliability.intake.reading import RECIPE_FILE
from reliability.intake.recipe import read_recipe
from reliability.intake.recognise import Recognised
from reliability.study import StudyError, uploads
from reliability.ui import background, state

UPLOAD_SEEN, ARRIVED, STEP_KEY = "upload_seen", "upload_arrived", "import_step"
IMPORT_STAGES = 6                      # of an import, see `import_study`
KEPT = 3                        # imports, and sets of effects, that stay in memory


@dataclass(frozen=True)
class Draft:
    """Files of a token and what has been decided. plan: recipe (text), own (file → table, map), answers, step, …"""

    token: str
    files: tuple[str, ...]
    plan: dict[str, Any] = field(default_factory=dict)

    @property
    def recipe_text(self) -> str:
        """The recipe so far: as decided, else as dropped beside the files, "" for none."""
        if "recipe" in self.plan:
            return str(self.plan["recipe"])
        if RECIPE_FILE not in self.files:
            return ""
        return (uploads.folder_of(self.token) / RECIPE_FILE).read_text(encoding="utf-8", errors="replace")

    @property
    def tables(self) -> tuple[str, ...]:
        """Files that hold tables or geometry."""
        return tuple(f for f in self.files if not f.casefold().endswith(".toml"))

    @property
    def own(self) -> dict[str, Any]:
        """File → what has been decided about it as a study's own table."""
        return dict(self.plan.get("own", {}))

    @property
    def confirmed(self) -> list[str]:
        """Columns whose unit somebody has said to be right although it is implausible."""
        return list(self.plan.get("confirmed", []))

    def path(self, name: str) -> Path:
        """Where a file lies."""
        return uploads.folder_of(self.token) / name

    @property
    def now(self) -> Draft:
        """The draft with what has been decided since this page was drawn."""
        return replace(self, plan=uploads.get_plan(self.token))

    def decide(self, **changes: Any) -> None:
        """Note decisions on disk; the page runs again with them."""
        uploads.change_plan(self.token, changes)

    def decide_one(self, of: str, key: str, value: Any) -> None:
        """Note one of several decisions of a kind, those that are answers for instance."""
        uploads.change_plan(self.token, {key: value}, of)

    def change_recipe(self, change: Callable[[Prepared], Recipe]) -> None:
        """Note what a change makes of the recipe of now: a quick hand decides before the page shows what it decided."""
        self.decide(recipe=change(prepared_of(self.now)).text)


def current() -> Draft | None:
    """The draft of this tab, as chosen or by the link."""
    token = state.text(state.DRAFT_KEY)
    names = uploads.names(token) if token else None
    if not token or not names:
        return None
    return Draft(token, tuple(names), uploads.get_plan(token))


def newest(items: Iterable[tuple[str, bytes]]) -> tuple[list[tuple[str, bytes]], list[str]]:
    """Files of the uploader but those of which one of the same name was brought later, and the names of these.

    What is brought at one time under one name comes from several folders, and all of it stays.
    """
    keyed = [((name, hashlib.sha256(content).digest()), content) for name, content in items]
    before: dict[tuple[str, bytes], tuple[int, int]] = st.session_state.get(ARRIVED, {})     # how often, and when last
    now = max((when for _, when in before.values()), default=-1) + 1
    arrived: dict[tuple[str, bytes], tuple[int, int]] = {}
    for key, often in Counter(key for key, _ in keyed).items():
        seen, when = before.get(key, (0, now))
        arrived[key] = often, now if often > seen else when
    st.session_state[ARRIVED] = arrived or before
    last: dict[str, int] = {}
    for (name, _), (_, when) in arrived.items():
        last[name] = max(when, last.get(name, -1))
    stay = [(key[0], content) for key, content in keyed if arrived[key][1] == last[key[0]]]
    return stay, list(dict.fromkeys(name for (name, _), (_, when) in arrived.items() if when < last[name]))


def take(brought: dict[str, bytes]) -> None:
    """Put what is new in the uploader beside the files of the draft; what was taken out of it goes.

    brought: files under the names that they are stored by, see `uploads.named`. What was there before stays as it is,
    and away where somebody took it out of the draft.
    """
    seen = st.session_state.get(UPLOAD_SEEN, {})
    if brought == seen:
        return
    st.session_state[UPLOAD_SEEN] = brought
    if not brought:             # another page was looked at meanwhile: an uploader forgets then, the draft does not
        return
    gone = seen.keys() - brought.keys() if brought.keys() & seen.keys() else set()
    draft = current()
    before = (uploads.get(draft.token) if draft else None) or {}
    new = {n: c for n, c in brought.items() if not before or seen.get(n) != c}
    files = {n: c for n, c in before.items() if n not in gone} | new
    if draft is not None and RECIPE_FILE in new and RECIPE_FILE in before:      # another recipe, with what it decides
        draft = replace(draft, plan={key: value for key, value in draft.plan.items() if key != "recipe"})
        uploads.put_plan(draft.token, draft.plan)
    start(files, _with_files(draft, files))


def keep(draft: Draft, names: list[str]) -> None:
    """Leave some files out of a draft, and what has been decided of them."""
    start({n: draft.path(n).read_bytes() for n in names}, _with_files(draft, names))


def _with_files(draft: Draft | None, left: Collection[str]) -> Draft | None:
    """A draft without what was decided of files that are not left: entries of the recipe that were for these alone, and
    all of it where it came with a file that goes."""
    gone = set(draft.files if draft else ()) - set(left)
    if draft is None or not gone:
        return draft
    plan = {key: value for key, value in draft.plan.items() if key != "recipe" or RECIPE_FILE not in gone}
    if "recipe" in plan:
        with contextlib.suppress(StudyError):       # one that cannot be read is a message where it is shown
            recipe = read_recipe(str(plan["recipe"]).encode(), RECIPE_FILE)
            stay = [r for r in recipe.files if _is_for(r.file, left) or not _is_for(r.file, gone)]
            plan["recipe"] = replace(recipe, files=tuple(stay)).text
    return replace(draft, plan=plan)


def _is_for(pattern: str, files: Collection[str]) -> bool:
    return any(fnmatch.fnmatch(name.casefold(), pattern.casefold()) for name in files)


def start(files: dict[str, bytes], before: Draft | None) -> None:
    """A draft of these files with the decisions of the one before."""
    if not files:
        forget(before)
        return
    token = uploads.put(files)
    if before is not None and before.token != token:
        uploads.put_plan(token, {**before.plan, **uploads.get_plan(token)})
    state.put(draft=token)
    state.note()


def replace_table(draft: Draft, name: str, content: bytes) -> None:
    """Put a corrected table, as CSV, in the place of one of the draft's files."""
    new = f"{Path(name).stem}.csv"
    files = uploads.get(draft.token) or {}
    own = {new if n == name else n: decided for n, decided in draft.own.items()}
    draft.decide(own=own)
    start({n: c for n, c in files.items() if n != name} | {new: content},
          Draft(draft.token, draft.files, uploads.get_plan(draft.token)))
    if state.text(state.DRAFT_KEY) != draft.token:
        uploads.drop(draft.token)


def forget(draft: Draft | None) -> None:
    """Drop the draft."""
    if draft is not None:
        uploads.drop(draft.token)
    st.session_state.pop(STEP_KEY, None)
    state.put(draft="")


def recipe_of(draft: Draft) -> Recipe:
    """The recipe so far. Raises StudyError where it cannot be read."""
    text = draft.recipe_text
    return read_recipe(text.encode(), RECIPE_FILE) if text else NO_RECIPE


def exports_of(draft: Draft) -> Exports:
    """Tables of the draft. Raises StudyError with every file that cannot be read."""
    found = _exports(draft.token)
    if isinstance(found, StudyError):
        raise found
    return found


def prepared_of(draft: Draft) -> Prepared:
    """Kinds, columns, words and units as decided so far. Raises StudyError where files or recipe cannot be read."""
    exports_of(draft)
    recipe_of(draft)
    return _prepared(draft.token, draft.recipe_text)


def same(prepared: Prepared, one: Recognised) -> Recognised:
    """A recognised table as it is recognised in another state of the recipe."""
    found = [other for other in prepared.recognised if other.table.name == one.table.name]
    return next((other for other in found if other.kind == one.kind), found[0])


def imported_of(draft: Draft, prepared: Prepared) -> Imported | StudyError | None:
    """The import under the decisions so far, what stands in its way, or None while it is being computed."""
    key = f"import {draft.token} {hash(draft.recipe_text)}"

    def work() -> Imported | StudyError:
        try:
            return import_study(prepared, "", background.teller(key, IMPORT_STAGES))
        except StudyError as error:
            return error

    return background.result(key, work, "the study", KEPT)


@st.cache_resource(max_entries=KEPT, show_spinner="Reading the files …")
def _exports(token: str) -> Exports | StudyError:
    try:
        return read_exports(uploads.folder_of(token))
    except StudyError as error:
        return error


@st.cache_resource(max_entries=KEPT, show_spinner="Recognizing columns and words …")
def _prepared(token: str, recipe: str) -> Prepared:
    exports = _exports(token)
    if isinstance(exports, StudyError):
        raise exports
    return prepare(exports, read_recipe(recipe.encode(), RECIPE_FILE) if recipe else NO_RECIPE)
