"""The page in a real browser, used as one uses it; figures are compared with the command line."""

import tomllib

import pytest
from commands import read_json
from pages import (
    DEMO,
    Browser,
    Server,
    accessible,
    at_tank,
    changed,
    computed,
    demo_in,
    figure,
    opened,
    piece,
    small_in,
)


@pytest.mark.parametrize(
    ("name", "one", "other"),
    [
        ("dragged.toml", "Bar", "Stone"),
        pytest.param(DEMO, "Leaning stone", "Third stone", marks=pytest.mark.slow),
    ],
)
def test_dragging_gives_what_the_command_line_says(
    browser: Browser, server: Server, name: str, one: str, other: str
) -> None:
    file = demo_in(server.folder) if name == DEMO else small_in(server.folder, name)
    tab, faults = at_tank(browser, server, name)
    first, before = figure(tab, "Dose for"), file.read_text(encoding="utf-8")
    box = piece(tab, one).locator("text").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    for step in range(1, 9):
        tab.mouse.move(x, y + 4 * step)
    tab.mouse.up()
    by_hand = changed(file, before)
    pairs = zip(before.splitlines(), by_hand.splitlines(), strict=True)
    (old, new), *others = [pair for pair in pairs if pair[0] != pair[1]]
    assert not others  # one line of the file, no more
    assert old.startswith("at = ")
    assert new.startswith("at = ")
    # By keys, too: three steps to the right of half a centimetre.
    piece(tab, other).focus()
    for _ in range(3):
        tab.keyboard.press("ArrowRight")
    rows = tomllib.loads(before)["piece"]
    x, y = next(row["at"] for row in rows if row["name"] == other)
    right = f"{float(x.removesuffix(' cm')) + 1.5:g} cm"
    changed(file, by_hand, f'at = ["{right}", "{y}"]')
    computed(tab, f"{right} from the left")
    water = read_json(f"plumbstone plan {name}", server.folder)["water"]["dosing_l"]
    shown = figure(tab, "Dose for")
    assert shown.startswith(f"{water['mid']:.1f} L")
    assert shown != first or f"{water['mid']:.1f}" in first
    # Undo, as often as there were changes, gives back the very same file.
    undo = tab.get_by_role("button", name="Undo")
    while file.read_text(encoding="utf-8") != before:
        last = file.read_text(encoding="utf-8")
        undo.click()
        changed(file, last)
    tab.wait_for_selector("button:text-is('Undo')[disabled]")
    assert faults == []


def test_what_was_saved_outlives_the_program(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "killed.toml")
    tab, _ = at_tank(browser, server, file.name)
    before = file.read_text(encoding="utf-8")
    piece(tab, "Stone").focus()
    tab.keyboard.press("ArrowUp")
    saved = changed(file, before)
    box = piece(tab, "Stone").locator("text").bounding_box()
    tab.mouse.move(box["x"] + 5, box["y"] + 5)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 9, box["y"] + 25)
    server.kill()  # in the middle of a drag
    assert file.read_text(encoding="utf-8") == saved
    assert not [path for path in server.folder.iterdir() if path.name.startswith(".")]
    server.start()
    again, faults = at_tank(browser, server, file.name)
    assert "12.5 cm from the front" in piece(again, "Stone").get_attribute("aria-label")
    assert faults == []


def test_two_tabs_and_an_editor(browser: Browser, server: Server) -> None:
    file = small_in(server.folder, "shared.toml")
    one, _ = at_tank(browser, server, file.name)
    other, _ = at_tank(browser, server, file.name)
    before = file.read_text(encoding="utf-8")
    piece(one, "Stone").focus()
    one.keyboard.press("ArrowUp")
    saved = changed(file, before)
    label = '.view.above [data-piece="Stone"][aria-label*="12.5 cm from the front"]'
    other.wait_for_selector(label)
    theirs = saved.replace("[tank]", '[tank]\nwater_line = "20 cm"  # less')
    # An editor changes the file: both tabs follow, and undo gives back what was.
    file.write_text(theirs, encoding="utf-8")
    for tab in (one, other):
        tab.get_by_text("Water line: 20 cm").wait_for()
        tab.get_by_text("shared.toml was changed outside").wait_for()
    other.get_by_role("button", name="Undo").click()
    changed(file, theirs)
    assert file.read_text(encoding="utf-8") == saved
    # One that is no scape for a while is told, and can be undone as well.
    for broken in (saved.replace("[tank]", "[tank"), f"{saved}[[layer]]"):
        file.write_text(broken, encoding="utf-8")
        for tab in (one, other):
            tab.get_by_text("Mend the file in an editor").wait_for()
            assert "program itself" not in tab.get_by_role("alert").first.inner_text()
        other.get_by_role("button", name="Undo").click()
        changed(file, broken)
        assert file.read_text(encoding="utf-8") == saved
        for tab in (one, other):
            tab.get_by_text("Mend the file in an editor").wait_for(state="hidden")


WOOD = """
[tank]
inside = ["60 cm", "30 cm", "36 cm"]
water_line = "32 cm"
[[piece]]
name = "Root"
kind = "wood"
material = "driftwood"
solid = "box"
size = ["20 cm", "6 cm", "5 cm"]
at = ["30 cm", "12 cm"]
"""


def test_wood_that_floats_is_held_by_a_stone(browser: Browser, server: Server) -> None:
    (server.folder / "wood.toml").write_text(WOOD, encoding="utf-8")
    tab, faults = opened(browser, f"{server.home}/tank/wood.toml")
    computed(tab)
    assert tab.locator("h2").first.inner_text() == "Do not fill yet."
    assert tab.locator(".view.above .piece.floats").get_attribute("data-piece") == "Root"
    # 1.3 × 0.63 L × (997.05 - 750) kg/m³ / (1 - 997.05 / 2600) = 328 g, by hand.
    assert "330 g of stone" in tab.locator(".told .stop").first.inner_text()
    tab.get_by_text("Add a stone or wood", exact=True).click()
    tab.get_by_label("Name of it").fill("Block")
    tab.get_by_label("Shape").select_option("box")
    for side in ("Long", "Wide", "High"):
        tab.get_by_label(side, exact=True).fill("10")
    tab.get_by_role("button", name="Set it into the tank").click()
    file = server.folder / "wood.toml"
    chosen = tab.get_by_label("Chosen piece")
    for label, at in (("From front", "20.5"), ("From left", "30")):
        chosen.get_by_label(label, exact=True).fill(at)
        chosen.get_by_label(label, exact=True).blur()
        changed(file, "", f'"{at} cm"')
    tab.get_by_role("button", name="Tie to wood", exact=True).click()
    asked = tab.get_by_text("Now touch the wood")
    asked.wait_for()
    tab.wait_for_function(
        "e => e.getBoundingClientRect().top >= 0", arg=asked.element_handle()
    )  # in sight, however far below the button stands
    piece(tab, "Root").click()
    tab.wait_for_selector(".view.above .piece:not(.floats)[data-piece=Root]")
    computed(tab)
    text = (server.folder / "wood.toml").read_text(encoding="utf-8")
    assert text.startswith(WOOD)
    assert 'tied_to = ["Root"]' in text
    hold = read_json("plumbstone plan wood.toml", server.folder)["holds"][0]
    assert hold["stays"]
    assert tab.locator(".verdict").inner_text().startswith("See to 1 thing first")
    assert "strap it tight at two places" in tab.content()
    assert faults == []


def test_anyone_can_use_it(browser: Browser, server: Server) -> None:
    for address in ("/", "/stock", "/tanks"):
        accessible(*opened(browser, server.home + address))
    tab, faults = at_tank(browser, server, small_in(server.folder, "any.toml").name)
    piece(tab, "Stone").click()
    accessible(tab, faults)
