"""A tank on the page: started in four steps, its soil pulled, its parts changed, versions compared."""

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from commands import read_json
from pages import (
    PHONE,
    SMALL,
    TWIG,
    WAIT,
    Browser,
    Server,
    accessible,
    at_tank,
    changed,
    computed,
    figure,
    opened,
    piece,
    small_in,
    until,
)


def unfold(tab: Any, name: str) -> Any:
    """Unfold a part below the drawing; give it."""
    tab.get_by_text(name, exact=True).click()
    return tab.locator("details", has=tab.locator(f"summary:text-is('{name}')"))


def shows(box: Any, value: str) -> None:
    """Wait until a field or a slider shows a value."""
    from playwright.sync_api import expect

    expect(box).to_have_value(value, timeout=WAIT)


def fill(place: Any, label: str, value: str) -> None:
    """Type into a field and leave it."""
    box = place.get_by_label(label, exact=True)
    box.fill(value)
    box.blur()


def contrast(one: Sequence[int], other: Sequence[int]) -> float:
    """Contrast of two colours [8 bits a part], as WCAG 2.2 defines it (relative luminance)."""

    def light(colour: Sequence[int]) -> float:
        parts = (part / 255 for part in colour[:3])
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.05 + 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    dark, bright = sorted((light(one), light(other)))
    return bright / dark


def test_four_steps_give_a_layout_that_can_be_dragged(browser: Browser, server: Server) -> None:
    tab, faults = opened(browser, f"{server.home}/start", **PHONE)
    fill(tab, "Name", "Shelf")
    fill(tab, "Length (cm)", "18 in")  # who measures in inches goes on in them
    tab.get_by_label("Depth (in)").wait_for()
    shows(tab.get_by_label("Height (in)"), "14 in")  # offered in whole ones, too
    shows(tab.get_by_label("Length (in)"), "18 in")
    fill(tab, "Depth (in)", "10")
    # What bounds a field is told from what lies in it and around it (WCAG 2.2, 1.4.11).
    edge, inside, around = (
        tab.evaluate(
            f"getComputedStyle(document.querySelector('{place}')).{what}.match(/\\d+/g).map(Number)"
        )
        for place, what in (
            ("input[type=text]", "borderTopColor"),
            ("input[type=text]", "backgroundColor"),
            ("body", "backgroundColor"),
        )
    )
    assert min(contrast(edge, inside), contrast(edge, around)) >= 3
    for label in ("Bag 1 holds", "A row of stones before the soil", "A piece of wood"):
        tab.get_by_role("button", name="Next").click()
        tab.get_by_label(label).first.wait_for()
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    tab.locator('.view.above [data-piece="Wood"]').wait_for()
    tab.get_by_role("button", name="Lay it out").click()
    tab.wait_for_url("**/tank/Shelf.toml")
    computed(tab)
    file = server.folder / "Shelf.toml"
    before = file.read_text(encoding="utf-8")
    written = tomllib.loads(before)
    assert written["tank"]["inside"] == ["18 in", "10 in", "14 in"]
    assert " gal" in figure(tab, "Dose for")
    assert len(written["border"]["stones"]) == 5  # of about 10 cm each, from pane to pane
    assert "Do not fill yet." in tab.locator(".verdict").inner_text()  # the wood still floats
    # Letters twice as large: nothing runs out of its card or out at the side (WCAG 2.2, 1.4.4).
    large = tab.add_style_tag(content="html { font-size: 200% }")
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    assert tab.evaluate(
        "[...document.querySelectorAll('.figures div')].every(card => [...card."
        "querySelectorAll('span')].every(part => part.getBoundingClientRect().right <= card"
        ".getBoundingClientRect().right))"
    )
    large.evaluate("style => style.remove()")
    piece(tab, "Wood").focus()
    tab.keyboard.press("ArrowUp")
    changed(file, before)
    assert faults == []


def test_soil_is_pulled_at_the_panes(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "pulled.toml")
    tab, faults = at_tank(browser, server, file.name)
    tab.get_by_role("button", name="Soil", exact=True).click()
    tab.get_by_text("Soil: pull the round handles").wait_for()
    grip = tab.locator('[data-handle="corner/back left"] .grip')
    grip.scroll_into_view_if_needed()
    box = grip.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    scale = tab.evaluate("document.querySelector('.view.front svg').getScreenCTM().a")  # [px/mm]
    first = figure(tab, "Soil")
    tab.mouse.move(x, y)
    tab.mouse.down()
    tab.mouse.move(x, y - 10 * scale, steps=3)
    tab.mouse.move(x, y - 20 * scale, steps=3)
    tab.wait_for_function(
        f"document.querySelector('.figures').innerText.includes({first!r}) === false"
    )
    assert file.read_text(encoding="utf-8") == SMALL  # only looked at so far
    tab.mouse.up()
    by_hand = changed(file, SMALL)
    assert tomllib.loads(by_hand)["layer"][0]["height"] == {"front": "2 cm", "back": "6 cm"}
    tab.locator('[data-handle="corner/front right"]').focus()
    tab.keyboard.press("ArrowUp")
    by_key = changed(file, by_hand)
    assert tomllib.loads(by_key)["layer"][0]["height"]["front"] == "2.5 cm"
    computed(tab)
    poured = read_json("plumbstone plan pulled.toml", server.folder)["layers"][0]["poured_l"]
    assert figure(tab, "Soil").startswith(f"{poured:.2f} L")
    assert faults == []


def test_all_of_a_layer_and_of_the_glass_is_changed_on_the_page(
    browser: Browser,
    server: Server,
) -> None:
    file = small_in(server.folder, "shaped.toml")
    tab, faults = at_tank(browser, server, file.name)
    soil, text = unfold(tab, "Soil and its bags"), SMALL
    soil.get_by_role("button", name="Add a mound").click()
    text = changed(file, text, "mounds")
    fill(soil, "Mound 1: rise", "4")
    text = changed(file, text, 'rise = "4 cm"')
    tab.get_by_role("button", name="Soil", exact=True).click()
    tab.locator('[data-handle="mound/0"]').focus()
    tab.keyboard.press("ArrowLeft")
    text = changed(file, text, 'at = ["19.5 cm"')
    soil.get_by_label("Made of").select_option("sand")
    text = changed(file, text, 'material = "sand"')
    fill(soil, "Bag 1 costs", "12,50")
    text = changed(file, text, "price = 12.5")
    soil.get_by_role("button", name="Add a terrace").click()
    text = changed(file, text, "terraces")
    fill(soil, "Terrace 2 level", "5.5")
    text = changed(file, text, '"5.5 cm"')
    tank = unfold(tab, "Tank and glass")
    fill(tank, "Length inside", "45")
    text = changed(file, text, '"45 cm"')
    fill(tank, "Glass, thick", "8")
    text = changed(file, text, 'glass = "8 mm"')
    fill(tank, "Length inside", "45 parsecs")
    tab.get_by_role("alert").get_by_text("parsecs").wait_for()
    shows(tank.get_by_label("Length inside"), "45 cm")
    assert file.read_text(encoding="utf-8") == text
    computed(tab)
    read_json("plumbstone plan shaped.toml", server.folder)
    assert faults == []


def test_what_is_being_typed_is_not_set_back(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "typing.toml")
    tab, faults = at_tank(browser, server, file.name)
    tank = unfold(tab, "Tank and glass")
    length = tank.get_by_label("Length inside", exact=True)
    length.fill("45")
    theirs = SMALL.replace('"40 cm", "25 cm"', '"42 cm", "26 cm"')
    file.write_text(theirs, encoding="utf-8")
    shows(tank.get_by_label("Depth inside"), "26 cm")
    assert length.input_value() == "45"
    tab.reload()  # what was typed last counts before the page goes
    changed(file, theirs, '"45 cm", "26 cm"')
    assert faults == []


def test_a_border_is_drawn_by_touching_stones(browser: Browser, server: Server) -> None:
    stones = "".join(
        f'[[piece]]\nname = "S{i}"\nkind = "stone"\nmaterial = "granite"\nsolid = "boulder"\n'
        f'size = ["9 cm", "8 cm", "7 cm"]\nat = ["{x} cm", "{y} cm"]\n'
        for i, (x, y) in enumerate(((6, 10), (16, 10), (27, 10), (27, 20)))
    )
    text = f'[tank]\ninside = ["40 cm", "25 cm", "25 cm"]\n{stones}'
    text += '[[layer]]\nname = "Soil"\nmaterial = "baked-clay soil"\nzone = "behind border"\n'
    text += 'height = "6 cm"\n'
    line = '[border]\nline = [["0 cm", "3 cm"], ["40 cm", "3 cm"]]\n'
    file = server.folder / "row.toml"
    file.write_text(text + line, encoding="utf-8")
    tab, faults = opened(browser, f"{server.home}/tank/row.toml", **PHONE)
    computed(tab)
    tab.get_by_role("button", name="Border", exact=True).tap()
    tab.get_by_role("button", name="Done: this is the row").wait_for()
    for view, numbers in (("above", "1234"), ("front", "123")):  # none lies over another
        assert sorted(tab.locator(f".view.{view} text").all_text_contents()) == [*numbers]
    for name in ("S1", "S0", "S2"):
        piece(tab, name).locator("text").tap(force=True)
    tab.get_by_role("button", name="Done: this is the row").tap()
    written = tomllib.loads(changed(file, text + line))["border"]
    assert written["stones"] == ["S0", "S1", "S2"]
    assert written["line"][1:-1] == [["6 cm", "10 cm"], ["16 cm", "10 cm"], ["27 cm", "10 cm"]]
    computed(tab)
    # Between the first and the second stone soil runs: lit, and its finding leads there.
    tab.wait_for_selector(".view.above .gap")
    tab.locator(".told button", has_text="S0 - S1").first.click()
    tab.wait_for_selector(".view.above .gap.lit")
    assert faults == []


def test_quick_hands_lose_nothing(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "quick.toml")
    tab, faults = at_tank(browser, server, file.name)
    piece(tab, "Stone").click()
    chosen = tab.get_by_label("Chosen piece")
    fill(chosen, "From left", "25")  # nobody waits for one thing before the next
    fill(chosen, "From front", "15")
    fill(chosen, "High", "6")
    chosen.get_by_label("Lies (settle)").select_option("true")
    piece(tab, "Stone").focus()
    for key in ("r", "r", "r", "t", "t", "d", "d"):
        tab.keyboard.press(key)
    text = changed(file, SMALL, '"Stone 3"')
    stone, *copies, _ = tomllib.loads(text)["piece"]
    assert stone["at"] == ["25 cm", "15 cm"]
    assert stone["size"] == ["9 cm", "8 cm", "6 cm"]
    assert (stone["turn"], stone["tilt"], stone["settle"]) == (15, 10, True)
    assert {row["name"] for row in copies} == {"Stone 2", "Stone 3"}
    assert faults == []


def test_a_key_before_the_page_goes_counts(browser: Browser, server: Server) -> None:
    # What is moved by keys is told 350 ms after the last; a page loaded anew sooner lost it.
    file = small_in(server.folder, "gone.toml")
    tab, faults = at_tank(browser, server, file.name)
    piece(tab, "Stone").focus()
    tab.keyboard.press("ArrowRight")
    tab.reload()
    assert 'at = ["20.5 cm", "12 cm"]' in changed(file, SMALL)
    assert faults == []


def test_a_new_hold_is_left_alone_by_what_was_done_before(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "hold.toml")
    tab, faults = at_tank(browser, server, file.name)

    def grasp(place: Any, x: float, *ways: tuple[float, float]) -> None:
        """Drag, let go, and take hold again at once."""
        place.scroll_into_view_if_needed()
        box = place.bounding_box()
        at = [box["x"] + x * box["width"], box["y"] + box["height"] / 2]
        tab.mouse.move(*at)
        for way in ways:
            tab.mouse.down()
            at = [at[0] + way[0], at[1] + way[1]]
            tab.mouse.move(*at, steps=4)
            if way is not ways[-1]:
                tab.mouse.up()

    grasp(piece(tab, "Stone").locator("text"), 0.5, (24, 0), (0, -24))
    text = changed(file, SMALL)
    tab.wait_for_timeout(1500)
    assert "from the left" in tab.locator(".state").inner_text()  # still that of the hand
    tab.mouse.up()
    text = changed(file, text)
    computed(tab)
    slider = tab.get_by_role("slider", name="Water line")
    grasp(slider, 0.88, (-40, 0), (-80, 0))
    held = slider.input_value()
    text = changed(file, text, "water_line")
    tab.wait_for_timeout(1500)
    assert slider.input_value() == held
    tab.mouse.up()
    changed(file, text, f'water_line = "{float(held) / 10:g} cm"')
    assert faults == []


def thumb(tab: Any) -> Any:
    """Give what touches the screen as a finger does, moves along, or lifts."""
    session = tab.context.new_cdp_session(tab)

    def act(kind: str, *at: tuple[float, float]) -> None:
        points = [{"x": x, "y": y} for x, y in at]
        session.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": points})

    return act


def test_a_stone_is_dragged_by_a_thumb(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "thumb.toml", TWIG)
    tab, faults = at_tank(browser, server, file.name, **PHONE)
    box = piece(tab, "Stone").locator("text").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = thumb(tab)
    touch("Start", (x, y))
    touch("Move", (x + 24, y))
    tab.wait_for_selector(".figures[data-of]")
    touch("Start", (x + 24, y), (x + 60, y + 20))  # a second finger: no drag was meant
    touch("Move", (x - 24, y), (x + 90, y + 20))
    touch("End")
    computed(tab, "20 cm from the left, 12 cm")
    assert file.read_text(encoding="utf-8") == TWIG
    touch("Start", (x, y))
    for step in range(1, 7):  # upwards: the page must not scroll instead
        touch("Move", (x + step, y - 4 * step))
    tab.wait_for_selector(".figures[data-of^='2']")
    # What is known of the place before is told as such, and the verdict as open.
    # What is red is so of the place before: the twig floats there.
    assert (
        tab.locator(".verdict").inner_text()
        == "Being checked ... What is red or lit was so before."
    )
    assert tab.locator(".board.stale .piece.floats").count() == 2  # from above and from the front
    assert tab.get_by_role("heading", name="Found before this change").is_visible()
    assert tab.evaluate("scrollY") == 0
    assert file.read_text(encoding="utf-8") == TWIG
    touch("End")
    row = tomllib.loads(changed(file, TWIG))["piece"][0]
    x, y = (float(side.removesuffix(" cm")) for side in row["at"])
    assert x > 20
    assert y > 12
    computed(tab, f"{y:g} cm from the front")
    assert tab.get_by_role("heading", name="Findings").is_visible()
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    assert faults == []


def test_what_is_refused_is_told_and_shown_no_longer(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "refused.toml")
    tab, faults = at_tank(browser, server, file.name, **PHONE)
    assert figure(tab, "Cost of what has a price") == "20.00"  # 2 × 3 L; no stone has one
    form, alert = unfold(tab, "Tank and glass"), tab.get_by_role("alert").first
    fill(form, "Height inside", "3")
    alert.get_by_text("must lie between 5 cm and 10 m").wait_for()
    shows(form.get_by_label("Height inside"), "25 cm")
    assert str(server.folder) not in alert.inner_text()
    assert file.read_text(encoding="utf-8") == SMALL
    slider, text = tab.get_by_role("slider", name="Water line"), SMALL
    for key, line in (("Home", "1 cm"), ("End", "25 cm")):  # no end of it is refused
        slider.focus()
        tab.keyboard.press(key)
        text = changed(file, text, f'water_line = "{line}"')
        until(tab, lambda: alert.inner_text() == "")  # the file is written before it is told
    assert faults == []


def test_who_writes_last_is_asked(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "both.toml")
    tab, _ = at_tank(browser, server, file.name)
    piece(tab, "Stone").click()
    field = tab.get_by_label("From left", exact=True)
    field.wait_for()
    mine = tab.get_by_role("button", name="Write my change over it")
    for attempt in range(20):  # the page looks at the file each second, so it may be first
        theirs = SMALL.replace("[tank]", f"[tank]\n# theirs {attempt}")
        field.fill(f"{15 + attempt / 2:g}")
        file.write_text(theirs, encoding="utf-8")
        field.blur()
        until(tab, lambda sent=theirs: mine.is_visible() or file.read_text("utf-8") != sent)
        if mine.is_visible():
            break
    assert file.read_text(encoding="utf-8") == theirs  # nothing was written over
    tab.get_by_role("alert").get_by_text("changed by another program").wait_for()
    mine.click()
    text = changed(file, theirs)
    assert f'at = ["{15 + attempt / 2:g} cm", "12 cm"]' in text
    mine.wait_for(state="hidden")


def test_a_view_in_3d_shows_the_filling(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "solid.toml")
    (server.folder / "solid-plan").mkdir()
    (server.folder / "solid-plan" / "build-sheet.html").write_text("of last week", encoding="utf-8")
    tab, faults = at_tank(browser, server, file.name, width=420)  # a large one is slow to draw
    kept = unfold(tab, "Build sheet, drawings, versions")
    assert kept.get_by_role("link").all_inner_texts()[:-1] == ["build-sheet.html"]
    assert "may have changed since" in kept.inner_text()
    unfold(tab, "Turn it in 3D")
    tab.wait_for_selector(".turning canvas")
    level = (
        "() => { const scene = window['scene_' + document.querySelector('.turning').id];"
        " let found = null; if (scene) scene.traverse((o) => { if (o.geometry && "
        "o.geometry.type === 'BoxGeometry') found = o.scale.z * 1 || null; }); return found; }"
    )
    group = level.replace("o.scale.z", "o.getWorldScale(o.position.clone()).z")
    tab.wait_for_function(f"Math.abs(({group})() - 0.22) < 1e-6")  # 3 cm below the rim
    slider = tab.get_by_role("slider", name="Water line")
    slider.focus()
    for _ in range(4):
        tab.keyboard.press("ArrowLeft")
    changed(file, SMALL, 'water_line = "20 cm"')
    tab.wait_for_function(f"Math.abs(({group})() - 0.20) < 1e-6")
    parts = (
        "() => { const found = []; window['scene_' + document.querySelector('.turning').id]"
        ".traverse((o) => found.push(o.name)); return found.join('|'); }"
    )
    tab.wait_for_function(f"({parts})().includes('Stone') && ({parts})().includes('Soil')")
    assert faults == []


@pytest.mark.slow
def test_results_versions_and_comparing(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "two.toml")
    tab, faults = at_tank(browser, server, file.name)
    results = unfold(tab, "Build sheet, drawings, versions")
    results.get_by_role("button", name="Write build sheet").click()
    results.get_by_role("link", name="build-sheet.html").wait_for()
    assert (server.folder / "two-plan" / "shopping.csv").is_file()
    link = results.get_by_role("link", name="build-sheet.html").get_attribute("href")
    answer = tab.request.get(server.home + link)
    assert answer.status == 200
    assert "sandbox" in answer.headers["content-security-policy"]
    fill(results, "Name of this version", "Low")
    results.get_by_role("button", name="Keep it as a version").click()
    results.get_by_text("Kept as two, Low.toml").wait_for()
    assert results.get_by_role("link", name="build-sheet.html").is_visible()
    piece(tab, "Stone").click()
    fill(tab.get_by_label("Chosen piece"), "High", "12")
    changed(file, SMALL, '"12 cm"]')
    results.get_by_text("of the tank before the last change").wait_for()
    assert not results.get_by_role("link", name="build-sheet.html").count()
    computed(tab)
    results.get_by_role("link", name="Compare").click()
    tab.wait_for_selector(".beside tbody tr")
    assert tab.get_by_label("and that one").input_value() == "two, Low.toml"
    rows = {
        row.locator("th").inner_text(): [
            cell.replace("\u00a0", " ") for cell in row.locator("td").all_inner_texts()
        ]
        for row in tab.locator(".beside tbody tr").all()
    }
    for place, name in enumerate((file.name, "two, Low.toml")):
        plan = read_json(f"plumbstone plan '{name}'", server.folder)
        assert rows["Water to dose for"][place].startswith(
            f"{plan['water']['dosing_l']['mid']:.1f}"
        )
        assert f"{plan['load']['full_without_glass_kg']['mid']:.1f} kg" in " ".join(
            cells[place] for name, cells in rows.items() if name.startswith("Full")
        )
        assert rows["Soil"][place].startswith(f"{plan['layers'][0]['poured_l']:.2f} L, buy ")
    assert rows["Water to dose for"][0] != rows["Water to dose for"][1]
    small_in(server.folder, "inches.toml", SMALL.replace('["40 cm"', '["16 in"'))
    tab.goto(f"{server.home}/compare?one=inches.toml&other={file.name}")  # in those of the first
    tab.locator(".beside td", has_text="gal").first.wait_for()
    assert faults == []


def test_a_finding_leads_to_its_place(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "found.toml", TWIG)
    tab, _ = at_tank(browser, server, file.name)
    tab.locator(".told button", has_text="Twig").first.click()
    tab.wait_for_selector(".view.above .piece.selected[data-piece=Twig]")
    tab.get_by_role("heading", name="Twig").wait_for()


@pytest.mark.parametrize("address", ["/start", "/compare"])
def test_anyone_can_start_and_compare(browser: Browser, server: Server, address: str) -> None:
    for name in ("one.toml", "other.toml"):
        small_in(Path(server.folder), name)
    tab, faults = opened(browser, server.home + address)
    tab.wait_for_selector(".board svg, .beside tbody td")
    accessible(tab, faults)
