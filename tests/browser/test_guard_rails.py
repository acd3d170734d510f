"""What the server refuses, and serious faults of accessibility, found by axe-core."""

from __future__ import annotations

import socket

import pytest

from tests.browser.conftest import AXE, INSTALL_AXE, missing, settle, small_study, visit

PAGES = ("", "import", "study", "history", "compare", "laterals", "choice", "business", "report", "method")
SIZES = ((1366, 768), (1920, 1080))
RULES = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]


def serious_faults(page) -> list[tuple]:
    """Rule, weight and places of what axe-core finds serious or critical."""
    if not AXE.is_file():
        missing("axe-core", INSTALL_AXE)
    settle(page)
    page.wait_for_function("() => !document.querySelector('[data-testid=stSkeleton]')")    # parts loaded one by one
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("async rules => await axe.run(document, {runOnly: rules, resultTypes: ['violations']})",
                          RULES)
    return [(v["id"], v["impact"], [n["html"][:160] for n in v["nodes"][:3]]) for v in found["violations"]
            if v["impact"] in ("serious", "critical")]


def test_large_type_and_moved_sliders_have_no_serious_fault_either(page, shared):
    name = small_study(shared, "large-type")
    with (shared.workspace / name / "study.toml").open("a", encoding="utf-8") as toml:
        toml.writelines(f'\n[[scenarios]]\nname = "Fast operations {n}"\nfast_operations = {n}\n' for n in (0, 1))
    visit(page, shared, "compare", study=name, large="1", sliders="temporary_fraction:0.5,counts:2")
    assert page.locator(".tile").count() > 3
    assert page.get_by_role("button", name="Reset", exact=True).count() == 2
    assert not serious_faults(page)


@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/_stcore/stream"])
def test_the_server_refuses_other_names_for_itself(shared, path):
    """A page of another host that has its name point here gets no answer."""
    with socket.create_connection(("127.0.0.1", shared.port), timeout=10) as line:
        line.sendall(f"GET {path} HTTP/1.1\r\nHost: evil.example\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
                     "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
                     "Origin: http://evil.example\r\n\r\n".encode())
        assert b" 403 " in line.recv(200).split(b"\r\n")[0]


@pytest.mark.parametrize("study", ["..%2F..%2Fetc", "%2Fetc", "..", "%00"])
def test_a_link_out_of_the_workspace_shows_the_demo(page, shared, study):
    visit(page, shared, study=study)
    assert "not in the workspace" in page.inner_text("body")
    page.get_by_test_id("stTopNav").get_by_role("link", name="Method", exact=True).click()
    page.wait_for_selector("h1:has-text('Method')")
    page.wait_for_function("() => !location.search.includes('study')")       # an address without one shows the demo
