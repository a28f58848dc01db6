"""The interactive view of a run's page: drawn by WebGL, turned, changed and read with the mouse and with the keyboard.

Pictures of the canvas are compared by the share of pixels that differ clearly. The joint takes at least a twentieth of it,
its pixels are what a change repaints: a hundredth of the canvas must change, and none while nothing is done.
"""

import itertools
import re

import numpy as np
import pytest

from fejoint.errors import JointError
from fejoint.show.space.frame import framed
from fejoint.show.space.pick import nearest_spot, singular_corners, singular_reach, stress_at
from fejoint.show.space.ribbon import COLOURS, mid_line_curves
from fejoint.show.space.solid import STRESSES, read_section

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


OF_BODY = re.compile(r"(.+): (\S+) MPa, x = (\S+), y = (\S+) mm \(undeformed\), (\w+)(, near a corner, .* depends on the mesh)?")
OF_RIBBON = re.compile(r"(shear|peel) along the bondline: (\S+) MPa, x = (\S+) mm")


def number(text):
    return float(text.replace("\u2212", "-"))


def room(value, step):
    """Return how far a number may be off as it is shown: half a step of its array, and half a last digit.

    Four digits are shown (half the last one is at most 5e-4 of the value), or so many that the last is less than ten steps.
    """
    return step / 2 + max(5e-4 * abs(value), 5 * step)


def test_reads_the_runs_own_values_where_the_mouse_points(seen, run_page):
    """All that is read at some pixels is what the run's section holds at the place told, within the digits shown."""
    page, section = seen.page, read_section(run_page.parent)
    (curve,) = mid_line_curves(section)
    held = {
        piece["label"]: piece for piece in page.evaluate("JSON.parse(document.getElementById('scene-data').textContent).pieces")
    }
    edges = np.array(framed(section, "left").window)
    page.locator("#scene-look").select_option(index=1)
    page.locator("#scene-ribbon").select_option("both")
    told, stress = set(), "peel"
    page.locator("#scene-stress").select_option(stress)
    picture, box = canvas(seen), page.locator(VIEW).bounding_box()
    of_ribbon = np.abs(picture - [int(COLOURS[0][i : i + 2], 16) for i in (1, 3, 5)]).sum(axis=2) < 10
    of_body = (picture.min(axis=2) < 240) & ~of_ribbon
    of_body[:5] = of_body[-5:] = of_body[:, :5] = of_body[:, -5:] = False  # the frame's line
    for mask, count in ((of_ribbon, 4), (of_body, 16)):
        places = np.argwhere(mask)
        for down, right in places[np.linspace(0, len(places) - 1, count).astype(int)]:
            x, y = float(box["x"] + right + 0.5), float(box["y"] + down + 0.5)
            page.mouse.move(x - 3, y - 3)
            page.mouse.move(x, y, steps=2)
            seen.rest(4)
            if page.locator("#scene-tip").is_visible():
                told.add(page.locator("#scene-value").inner_text())
    ribbons, bodies, cut = 0, set(), 0
    for text in sorted(told):
        if found := OF_RIBBON.fullmatch(text):
            name, (value, x) = found[1], map(number, found.groups()[1:])
            near = curve.at(np.clip(x + room(x, 0.0) * np.linspace(-1.0, 1.0, 9), curve.x[0], curve.x[-1]), name)
            off = room(value, 0.0)
            ribbons += 1
        else:
            found = OF_BODY.fullmatch(text)
            assert found, text
            label, region, (value, x, y) = found[1], found[5], map(number, found.groups()[1:4])
            assert label == STRESSES[stress].label
            steps = [held[region][axis].get("step", 1e-5) for axis in "xy"]
            off = room(value, held[region]["steps"][0]["stresses"][stress].get("step", 0.0))
            places = itertools.product(
                *(at + room(at, step) * np.array([-1, 0, 1]) for at, step in ((x, steps[0]), (y, steps[1])))
            )
            near = []
            for place in places:
                try:
                    near.append(stress_at(section, *place, stress, region)[0])
                except JointError:  # beside the region, by the digits that are shown
                    near.append(nearest_spot(section, *place, stress, region).value)
            bodies.add(region)
            cut += np.abs(edges - [[x], [y]]).min() < room(x, steps[0])
        assert min(near) - off <= value <= max(near) + off, (text, min(near), max(near))
    assert len(told) > 8
    assert ribbons > 1
    assert {"lower", "upper"} <= bodies
    assert cut  # where the window cuts cells between their nodes
    seen.still()


def test_what_is_hidden_is_not_spoken_of_and_corners_are_marked(seen, run_page):
    page, section = seen.page, read_section(run_page.parent)
    boxes = {name: page.locator(f"#scene-pieces input[data-piece={name}]") for name in ("lower", "upper", "adhesive")}
    page.locator("#scene-look").select_option(index=1)
    page.locator("#scene-stress").select_option("peel")
    ranges = set()
    for hidden in ((), ("lower",), ("lower", "upper")):
        for name in hidden:
            boxes[name].uncheck()
        picture = canvas(seen)
        values = section.stress["peel"][framed(section, "left", hidden).nodes]
        said = re.search(r"All values here: (\S+) to (\S+) MPa", page.locator("#scene-notes").inner_text())
        assert tuple(map(number, said.groups())) == pytest.approx((values.min(), values.max()), rel=5e-3)  # three digits
        ranges.add(said.groups())
    assert len(ranges) > 1
    # The adhesive is alone now.
    corners, reach = singular_corners(section.joint.geometry), singular_reach(section.joint.geometry)
    box, marks = page.locator(VIEW).bounding_box(), set()
    drawn = picture.min(axis=2) < 240
    drawn[:5] = drawn[-5:] = drawn[:, :5] = drawn[:, -5:] = False  # the frame's line
    places = np.argwhere(drawn)
    for down, right in places[np.linspace(0, len(places) - 1, 40).astype(int)]:
        x, y = float(box["x"] + right + 0.5), float(box["y"] + down + 0.5)
        page.mouse.move(x - 3, y - 3)
        page.mouse.move(x, y, steps=2)
        seen.rest(4)
        if not page.locator("#scene-tip").is_visible():
            continue
        found = OF_BODY.fullmatch(page.locator("#scene-value").inner_text())
        assert found, page.locator("#scene-value").inner_text()
        assert found[5] == "adhesive"
        off = np.hypot(*(corners - [number(found[3]), number(found[4])]).T).min()
        if abs(off - reach) > 0.02 * reach:  # by the digits that are shown
            assert bool(found[6]) is bool(off < reach), found[0]
            marks.add(bool(found[6]))
        if len(marks) == 2:
            break
    assert marks == {True, False}
    value = page.locator("#scene-value")
    boxes["upper"].check()
    seen.rest()
    assert ", adhesive" in value.inner_text()
    boxes["adhesive"].uncheck()
    seen.rest()
    assert value.inner_text() == "Point or click at the joint to read a value."
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


def test_the_slider_goes_along_the_loads_path(path_page, open_page):
    """The strain of the layer at the first increment and at the last, as the page says it; metal has no colour of that scale."""
    seen = open_page(path_page, viewport=SMALL).settled()
    page = seen.page
    slider, told = page.locator("#scene-step"), page.locator("#scene-step-value")
    assert slider.is_visible()
    last = told.inner_text()
    assert last.endswith("overload: 1100 N, -60 K")
    page.locator("#scene-stress").select_option("plastic-strain")
    page.locator("#scene-look").select_option("left")
    seen.rest()
    assert page.locator("#scene-bar-label").inner_text() == "equivalent plastic strain"  # no unit
    end = canvas(seen)
    assert "All values here: 0 to " in page.locator("#scene-notes").inner_text()
    slider.fill("0")
    seen.rest()
    assert told.inner_text().startswith("1, cool-down: ")
    first = canvas(seen)
    assert changed(first, end) > CHANGED
    assert "All values here" not in page.locator("#scene-notes").inner_text()  # nothing has yielded
    slider.fill(slider.get_attribute("max"))
    seen.rest()
    assert told.inner_text() == last
    assert changed(canvas(seen), end) < CHANGED
    seen.still()
