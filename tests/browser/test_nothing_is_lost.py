"""Reload, a server that stops, a second tab, a dropped connection."""

from __future__ import annotations

import time

from reliability.study import open_study
from reliability.study.save import save
from tests.browser.conftest import settle, small_study, tile, visit


def move(page, times: int = 4) -> None:
    """Move the first slider and wait until the address has it."""
    slider = page.get_by_role("slider", name="Temporary fraction")
    slider.focus()
    for _ in range(times):
        page.keyboard.press("ArrowLeft")
    page.wait_for_function("() => location.search.includes('temporary_fraction')")
    settle(page)


def figures(page) -> list[str]:
    return page.locator(".figure-value").all_inner_texts()


def test_reload_and_a_restart_of_the_server_keep_everything(page, own):
    name = small_study(own)
    visit(page, own, "compare", study=name)
    before = figures(page)
    move(page)
    page.get_by_role("button", name="Pin this state").click()
    page.get_by_role("button", name="Restore").wait_for()
    settle(page)
    moved = figures(page)
    assert moved != before
    page.reload()
    page.wait_for_selector("h1")
    settle(page)
    assert figures(page) == moved
    own.stop(kill=True)
    own.start()
    page.reload()
    page.wait_for_selector("h1")
    settle(page)
    assert figures(page) == moved
    assert page.get_by_role("button", name="Restore").count() == 1


def test_a_dropped_connection_keeps_the_state(new_page, shared):
    name = small_study(shared, "dropped-connection")
    new_page.add_init_script("window.sockets = []; const Real = window.WebSocket;"
                         "window.WebSocket = class extends Real {"
                         " constructor(...a) { super(...a); window.sockets.push(this); } };")
    visit(new_page, shared, "compare", study=name)
    move(new_page)
    moved = figures(new_page)
    new_page.evaluate("() => window.sockets.forEach(s => s.close())")
    new_page.wait_for_function("() => window.sockets.length > 1", timeout=30_000)
    new_page.wait_for_function("() => window.sockets.at(-1).readyState === WebSocket.OPEN")
    settle(new_page)
    assert figures(new_page) == moved


def test_two_tabs_are_told_of_each_other_s_change(page, shared):
    name = small_study(shared, "two-tabs")
    other = page.context.new_page()
    visit(page, shared, "compare", study=name)
    visit(other, shared, "compare", study=name)
    move(page)
    page.get_by_role("button", name="Write these values into the study").click()
    page.get_by_text("written into the study").wait_for()
    other.get_by_text("just changed in another tab").wait_for(timeout=20_000)
    other.get_by_role("button", name="Show the new state").click()
    other.get_by_text("this is its new state").wait_for()
    settle(other)
    settle(page)
    assert figures(other) == figures(page)
    assert "just changed in another tab" not in page.content()


def test_a_change_by_another_program_is_told(page, shared):
    name = small_study(shared, "by-another")
    visit(page, shared, "compare", study=name)
    folder = shared.workspace / name
    save(folder, {"study.toml": (folder / "study.toml").read_bytes() + b"\n# by hand\n"})
    page.get_by_text("just changed in another tab").wait_for(timeout=20_000)
    assert open_study(folder)


def test_five_quick_moves_end_in_one_result_the_last(page, shared):
    visit(page, shared, "compare", study="demo")
    slider = page.get_by_role("slider", name="Temporary fraction")
    slider.focus()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
        time.sleep(0.12)
    page.get_by_text("Whiskers: P10 to P90").wait_for(timeout=60_000)
    settle(page)
    link, shown = page.url, figures(page)
    visit(page, shared, link.removeprefix(shared.url + "/"))
    assert figures(page) == shown
    assert tile(page, 0, 0)
