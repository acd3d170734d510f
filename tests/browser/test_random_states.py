"""States drawn at random: the same figures on every page, in the files, in a run, and after a reload."""

from __future__ import annotations

import io
import json
import re

import numpy as np
import pandas as pd
import pytest

from reliability.formats import money, number
from reliability.schema.scenarios import proposed_position
from reliability.study import Study, open_study
from reliability.ui import limits, sliders
from reliability.ui.moved import PERSPECTIVE_NAMES
from reliability.what_if import Asked, ScenarioResults
from tests.browser.conftest import follow, settle, small_study, visit
from tests.states import random_asked, results_of

SEEDS = range(20)
NOTHING_COMPUTED = "() => !document.body.innerText.includes('Computing ')"
MONEY = re.compile("^(Capital|Net present value) ")
RUN_EVERY = 5       # so many states are run and recorded as well: one in five


def address(name: str, asked: Asked, scenario: str) -> dict[str, str]:
    """Parameters that open a state."""
    texts = {"study": name, "sliders": sliders.to_link(asked.moves), "limits": limits.to_link(asked.limits),
             "scenario": scenario.replace(" ", "+"), "perspective": asked.perspective or ""}
    return {key: text for key, text in texts.items() if text}


def tiles_of(now: ScenarioResults) -> list[str]:
    """Figures of the page that compares, in their order."""
    return [text for i, calls in zip(now.indices, now.callouts, strict=True)
            for text in (number(i["saifi"]), number(i["saidi_min"]), number(i["maifi_e"]), number(calls))]


def money_of(now: ScenarioResults) -> list[str]:
    return [money(case[key], now.business.currency) for case in now.money[1:] for key in ("capex", "npv")]


def table(page, button: str) -> pd.DataFrame:
    """The table that a button downloads, once nothing is computed any more that draws the page again."""
    page.wait_for_function(NOTHING_COMPUTED, timeout=180_000, polling=200)     # at every frame it would slow the page
    settle(page)
    with page.expect_download() as download:
        page.get_by_role("button", name=button).click()
    return pd.read_csv(io.BytesIO(download.value.path().read_bytes()), encoding="utf-8-sig")


def drawn(study: Study, seed: int) -> tuple[Asked, np.random.Generator]:
    """A state, and the draws that follow it."""
    rng = np.random.default_rng(seed)
    return random_asked(rng, list(study.network.ids[study.network.candidates].astype(str))), rng


def mark(page) -> str:
    return page.locator(".st-key-page_head code").inner_text()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_state_has_the_same_figures_everywhere(page, shared, seed):
    name = small_study(shared, f"state-{seed}")
    study = open_study(shared.workspace / name)
    asked, rng = drawn(study, seed)
    now = results_of(study, asked)
    at = int(rng.integers(1, len(now.names)))
    query = address(name, asked, now.names[at])
    wanted = asked.mark(study.inputs_sha256)[:8]

    for again in (False, True):
        if again:
            page.reload()
            page.wait_for_selector("h1")
            settle(page)
        else:
            visit(page, shared, "compare", **query)
        page.locator(".tile .figure-value").nth(4 * len(now.names) - 1).wait_for()
        settle(page)
        assert page.locator(".tile .figure-value").all_inner_texts() == tiles_of(now), asked
        assert page.locator(".tile p", has_text=MONEY).locator("b").all_inner_texts() == money_of(now), asked
        assert mark(page) == wanted
    bars = table(page, "Indices with their spread, CSV")
    np.testing.assert_allclose(bars.loc[bars["index"] == "SAIDI", "expected"],
                               [i["saidi_min"] for i in now.indices], rtol=1e-9, atol=1e-9)

    follow(page, "Business case")
    figures = page.locator(".figure-value").all_inner_texts()
    case, currency = now.money[at], now.business.currency
    assert (figures[0], figures[3]) == (money(case["npv"], currency), money(case["capex"], currency)), asked
    assert mark(page) == wanted
    cases = table(page, "Business case of every scenario, CSV")
    seen = cases[cases["perspective"] == PERSPECTIVE_NAMES[asked.perspective or study.values["perspective"]]]
    np.testing.assert_allclose(seen["npv"], [c["npv"] for c in now.money[1:]], rtol=1e-9, atol=1e-6)

    follow(page, "Selection")
    assert mark(page) == wanted
    proposed, choice = proposed_position(now.results.study.scenarios), now.decision.choice
    heading = page.locator("h4").inner_text()
    if asked.at_the_studys_inputs:
        assert heading == choice.message
    else:
        told = page.get_by_text("decided at the study's own inputs").inner_text()
        assert choice.message in told
        assert proposed is None or f"its NPV is {money(now.money[proposed]['npv'], currency)}" in told
    if seed % RUN_EVERY == 0:
        _recorded(page, now)


def _recorded(page, now: ScenarioResults) -> None:
    """A run of the state has its figures too."""
    follow(page, "Report")
    page.get_by_role("button", name="Run what is moved and record it").click()
    page.get_by_text("Made from the study of inputs").wait_for(timeout=180_000)
    with page.expect_download() as download:
        page.get_by_role("button", name="summary.json").click()
    content = json.loads(download.value.path().read_text(encoding="utf-8"))
    found = {s["name"]: (s["expected"]["saidi_min"], s["business"]["npv"]) for s in content["scenarios"]}
    for name, indices, case in zip(now.names, now.indices, now.money, strict=True):
        assert found[name] == pytest.approx((indices["saidi_min"], case["npv"]), rel=1e-9, abs=1e-6)
    assert sorted(found) == sorted(now.names)
