"""What is asked stands in the address: it survives a reload, a new tab and the way back, one step at a time."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

from tests.browser.conftest import follow, settle, small_study, visit


def asked(page) -> dict[str, str]:
    """Parameters of the address."""
    return {key: values[-1] for key, values in parse_qs(urlsplit(page.url).query).items()}


def press(page, name: str, key: str) -> None:
    """One step of a slider, and its figures."""
    before = page.url
    page.get_by_role("slider", name=name).focus()
    page.keyboard.press(key)
    page.wait_for_function("before => location.href !== before", arg=before)
    settle(page)


def limit(page, name: str, value: str) -> None:
    """Type a limit of the selection."""
    before = page.url
    field = page.get_by_role("textbox", name=name, exact=True)
    field.fill(value)
    field.press("Enter")
    page.wait_for_function("before => location.href !== before", arg=before)
    settle(page)


def shown(page) -> list[str]:
    """Figures in large type, the heading and what is told as moved."""
    return [page.locator("h1").inner_text(), page.locator(".st-key-page_head").inner_text(),
            *page.locator(".st-key-moved_notice p").first.all_inner_texts(),
            *page.locator(".figure-value").all_inner_texts()]


def shows(page, address: str, figures: list[str]) -> None:
    """The page comes to this address and these figures, and stays there."""
    assert page.url == address
    for _ in range(60):
        settle(page)
        if shown(page) == figures:
            break
    settle(page)
    assert (page.url, shown(page)) == (address, figures)


def test_one_press_of_back_undoes_one_step(page, shared):
    """A move of a slider, a limit, a scenario, a perspective, a change of page: each is one entry of the history."""
    name = small_study(shared, "back")
    visit(page, shared, "compare", study=name)
    steps = [(page.url, shown(page))]

    def step(action, *arguments) -> None:
        action(page, *arguments)
        steps.append((page.url, shown(page)))

    entries = page.evaluate("history.length")
    step(press, "Temporary fraction", "ArrowLeft")
    step(press, "Temporary fraction", "ArrowLeft")
    step(follow, "Selection")
    step(limit, "Budget, USD", "6000")
    step(follow, "Business case")
    page.locator(".st-key-view").get_by_text("Societal", exact=True).click()
    page.wait_for_function("() => location.search.includes('perspective=society')")
    settle(page)
    steps.append((page.url, shown(page)))
    step(follow, "Laterals")
    step(follow, "Compare")
    assert page.evaluate("history.length") - entries == len(steps) - 1
    for address, before in reversed(steps[:-1]):
        page.go_back()
        shows(page, address, before)
    page.go_forward()
    shows(page, *steps[1])


def mark(page) -> str:
    return page.locator(".st-key-page_head code").inner_text()


def test_a_reload_and_a_new_tab_show_the_same_and_never_the_study_s_mark(page, shared):
    """Every page that shows what is moved, after its reload and in a tab that knows no more than the address."""
    name = small_study(shared, "again")
    visit(page, shared, "compare", study=name)
    own, marks = mark(page), set()
    press(page, "Temporary fraction", "ArrowLeft")
    press(page, "Repair time", "ArrowRight")
    follow(page, "Selection")
    limit(page, "Budget, USD", "6000")
    other = page.context.new_page()
    for title in ("Selection", "Compare", "Business case", "Laterals", "Report"):
        if title != "Selection":
            follow(page, title)
        before, address = shown(page), page.url
        assert before[0] == title
        assert asked(page) == {"study": name, "sliders": "temporary_fraction:0.74,repair_hours:3.25",
                               "limits": "budget:6000.0"}
        assert "temporary fraction" in before[2]
        assert "budget" in before[2]
        marks.add(mark(page))
        assert "moved" in page.locator(".st-key-page_head").inner_text()
        assert page.get_by_role("button", name="Reset all", exact=True).is_enabled()
        page.reload()
        page.wait_for_selector("h1")
        settle(page)
        assert (page.url, shown(page)) == (address, before)
        visit(other, shared, address.removeprefix(shared.url + "/"))
        assert (other.url, shown(other)) == (address, before)
        other.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
    assert len(marks) == 1
    assert own not in marks
    page.get_by_role("button", name="Reset all", exact=True).click()
    page.wait_for_function("() => !location.search.includes('sliders')")
    settle(page)
    assert mark(page) == own


def test_quick_moves_are_no_steps_back(page, shared):
    """A run that the browser asks for with the address of before keeps what was moved meanwhile."""
    name = small_study(shared, "quick")
    visit(page, shared, "compare", study=name)
    for slider in ("Temporary fraction", "Repair time", "Switching time", "Fault-rate factor"):
        page.get_by_role("slider", name=slider).focus()
        page.keyboard.press("ArrowRight")
    page.wait_for_function("() => location.search.split('%3A').length === 5")
    settle(page)
    assert len(asked(page)["sliders"].split(",")) == 4


def test_sliders_show_the_study_s_exact_value(page, shared):
    """A mean repair time that lies between two steps of its slider."""
    name = small_study(shared, "exact", repair_hours="{ low = 2.2, likely = 3.0, high = 4.5 }")
    visit(page, shared, "compare", study=name)
    slider = page.get_by_role("slider", name="Repair time")
    assert slider.get_attribute("aria-valuetext") == "3.117"
    press(page, "Repair time", "ArrowRight")
    assert slider.get_attribute("aria-valuetext") in ("3.250", "3.500")
    page.get_by_role("button", name="Reset", exact=True).click()
    page.wait_for_function("() => !location.search.includes('repair')")
    settle(page)
    assert slider.get_attribute("aria-valuetext") == "3.117"
