"""The interactive view of a run's page: drawn by WebGL, turned, changed and read with the mouse and with the keyboard.

Pictures of the canvas are compared by the share of pixels that differ clearly. The joint takes at least a twentieth of it,
its pixels are what a change repaints: a hundredth of the canvas must change, and none while nothing is done.
"""

import numpy as np
import pytest

VIEW = ".scene-frame [data-state]"
CLEARLY = 40  # of 765, the sum of three channels
CHANGED = 0.01


# As at first: all fields set and told at once, so that it is drawn once.
RESET = """() => {
    const told = (id, kind, change) => {
        const field = document.getElementById(`scene-${id}`);
        change(field);
        field.dispatchEvent(new Event(kind));
    };
    for (const id of ['look', 'stretch', 'ribbon']) told(id, 'change', (field) => { field.selectedIndex = 0; });
    told('stress', 'change', (field) => { field.value = 'peel'; });
    told('scale', 'input', (field) => { field.value = 1; });
    told('apart', 'input', (field) => { field.value = 0; });
    told('see-through', 'change', (field) => { field.checked = false; });
    for (const box of document.querySelectorAll('#scene-pieces input')) {
        box.checked = true;
        box.dispatchEvent(new Event('change'));
    }
    document.getElementById('scene-reset').click();
    document.activeElement.blur();
}"""
SMALL = {"width": 760, "height": 700}  # the processor draws: fewer pixels, less time


@pytest.fixture
def seen(kept_open):
    """The page of the run with its controls as they are at first and the eye where it is at first."""
    seen = kept_open("run_page")
    seen.page.set_viewport_size(SMALL)
    seen.page.mouse.move(2, 2)
    seen.page.evaluate(RESET)
    seen.rest()
    return seen


def canvas(seen):
    """Return the picture once it stands still."""
    seen.rest()
    before = seen.pixels(VIEW)
    for _ in range(20):
        seen.rest()
        after = seen.pixels(VIEW)
        if (before == after).all():
            break
        before = after
    return before


def changed(before, after):
    return (np.abs(before - after).sum(axis=2) > CLEARLY).mean()


def middle(seen):
    box = seen.page.locator(VIEW).bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_canvas_is_not_blank_at_first_and_stands_still(run_page, open_page):
    seen = open_page(run_page, viewport=SMALL).settled()
    picture = canvas(seen)
    assert seen.page.locator(f"{VIEW} canvas").count() >= 1
    assert not seen.page.locator(".static-view").is_visible()
    colours = np.unique(picture.reshape(-1, 3), axis=0)
    assert len(colours) > 100  # a diverging map over the section, not a few flat areas
    drawn = (picture.min(axis=2) < 245).mean()
    assert 0.05 < drawn < 0.9
    assert changed(picture, canvas(seen)) == 0
    seen.still()


def test_joint_lies_within_the_canvas(seen):
    """Nothing but white along the edges: the eye crops nothing, at first and when all is moved apart with ribbons."""
    page = seen.page
    for change in (None, "apart", "end"):
        if change == "apart":
            page.locator("#scene-ribbon").select_option("both")
            page.locator("#scene-apart").fill("1")
        elif change == "end":
            page.locator("#scene-look").select_option(index=1)
        picture = canvas(seen)
        inner = picture[3:-3, 3:-3]  # without the frame's line
        edges = [inner[:3], inner[-3:], inner[:, :3], inner[:, -3:]]
        assert all(edge.min() > 245 for edge in edges), change


def test_turns_when_dragged_and_by_keyboard(seen):
    page = seen.page
    first = canvas(seen)
    x, y = middle(seen)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y + 20, steps=3)
    page.mouse.move(x + 160, y + 40, steps=3)
    page.mouse.up()
    page.mouse.move(x, 2)
    dragged = canvas(seen)
    assert changed(first, dragged) > CHANGED
    page.locator(VIEW).focus()
    label = page.locator(VIEW).get_attribute("aria-label")
    for key in ("ArrowLeft", "ArrowUp"):
        page.keyboard.press(key)
    turned = canvas(seen)
    assert changed(dragged, turned) > CHANGED
    assert page.locator(VIEW).get_attribute("aria-label") != label
    page.keyboard.press("+")
    nearer = canvas(seen)
    assert changed(turned, nearer) > CHANGED
    page.keyboard.press("0")
    page.locator(VIEW).blur()
    assert changed(first, canvas(seen)) < CHANGED / 10
    seen.still()


def test_every_control_changes_the_picture(seen):
    page = seen.page
    before = canvas(seen)
    done = {
        "stress": lambda: page.locator("#scene-stress").select_option("shear"),
        "ribbon": lambda: page.locator("#scene-ribbon").select_option("both"),
        "scale": lambda: page.locator("#scene-scale").fill("0"),
        "apart": lambda: page.locator("#scene-apart").fill("1"),
        "hidden": lambda: page.locator("#scene-pieces input").first.uncheck(),
        "see-through": lambda: page.locator("#scene-see-through").check(),
        "end": lambda: page.locator("#scene-look").select_option(index=1),
        "stretch": lambda: page.locator("#scene-stretch").select_option(index=1),
        "button": lambda: page.locator("#scene-turn-left").press("Enter"),
    }
    if page.locator("#scene-stretch option").count() < 2:
        done["stretch"] = lambda: (
            page.locator("#scene-look").select_option(index=0),
            page.locator("#scene-stretch").select_option(index=1),
        )
    notes = page.locator("#scene-notes").inner_text()
    for name, change in done.items():
        change()
        after = canvas(seen)
        assert changed(before, after) > CHANGED / 5, name
        before = after
    said = page.locator("#scene-notes").inner_text()
    assert said != notes
    assert "apart" in said  # what is not drawn to scale is said
    seen.still()


def test_reads_a_value_where_the_mouse_points(seen):
    page = seen.page
    page.locator("#scene-look").select_option(index=1)
    picture = canvas(seen)
    box = page.locator(VIEW).bounding_box()
    # A point of the body: coloured, and its neighbours too.
    inside = np.abs(np.diff(picture, axis=0)).sum(axis=2)[:, :-1] + np.abs(np.diff(picture, axis=1)).sum(axis=2)[:-1]
    rows, columns = np.nonzero((picture[:-1, :-1].max(axis=2) - picture[:-1, :-1].min(axis=2) > 60) & (inside < 30))
    choose = len(rows) // 2
    x, y = float(box["x"] + columns[choose]), float(box["y"] + rows[choose])
    page.mouse.move(x - 3, y - 3)
    page.mouse.move(x, y, steps=3)
    page.locator("#scene-value").filter(has_text="MPa").wait_for()
    text = page.locator("#scene-value").inner_text()
    assert "x = " in text
    assert page.locator("#scene-tip").is_visible()
    seen.still()


def test_without_webgl_the_still_picture_stays_and_it_says_why(run_page, browser):
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null;")
    page.goto(run_page.as_uri())
    page.wait_for_selector(".scene-frame [data-state=no-webgl]", state="attached")
    assert "WebGL" in page.locator("#scene-message").inner_text()
    assert page.locator(".static-view img").is_visible()
    assert not page.locator(".interactive-view").is_visible()
    context.close()
