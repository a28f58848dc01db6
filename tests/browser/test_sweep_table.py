"""The table of a sweep's cases: sorted and filtered with the mouse and with the keyboard."""

import io

import pypdf
import pytest


@pytest.fixture
def seen(sweep_page, open_page):
    return open_page(sweep_page)


def column(page, heading):
    """Return what the shown rows say in a column, from the top."""
    names = [text.strip() for text in page.locator("#cases thead th").all_inner_texts()]
    place = names.index(heading) + 1
    return [text.strip() for text in page.locator(f"#cases tbody tr:not([hidden]) > :nth-child({place})").all_inner_texts()]


def numbers(texts):
    return [float(text) for text in texts if text]


def heading(page, name):
    return page.locator("#cases thead th").filter(has_text=name).first


def test_sorts_numbers_as_numbers_up_down_and_back(seen):
    page, name = seen.page, "joint.overlap_length_mm"
    before = column(page, name)
    assert set(numbers(before)) == {8, 12, 20, 100}
    heading(page, name).get_by_role("button").click()
    assert heading(page, name).get_attribute("aria-sort") == "ascending"
    up = numbers(column(page, name))
    assert up == sorted(up)
    assert up[-1] == 100  # as a text it would be the first
    heading(page, name).get_by_role("button").click()
    assert heading(page, name).get_attribute("aria-sort") == "descending"
    assert numbers(column(page, name)) == up[::-1]
    heading(page, name).get_by_role("button").click()
    assert column(page, name) == before
    heading(page, "least_peel_MPa").get_by_role("button").click()
    peel = numbers(column(page, "least_peel_MPa"))
    assert peel == sorted(peel)
    assert peel[0] < peel[-1] < 0  # as texts the least negative comes first
    seen.still()


def test_sorts_by_keyboard_alone_and_says_which_column(seen):
    page, name = seen.page, "peak_shear_MPa"
    heading(page, name).get_by_role("button").focus()
    page.keyboard.press("Enter")
    shear = column(page, name)
    assert numbers(shear) == sorted(numbers(shear))
    assert shear[-1] == ""  # refused cases have none: last, both ways
    page.keyboard.press("Space")
    shear = column(page, name)
    assert numbers(shear) == sorted(numbers(shear), reverse=True)
    assert shear[-1] == ""
    page.keyboard.press("Tab")  # on to the next heading
    page.keyboard.press("Enter")
    assert heading(page, name).get_attribute("aria-sort") == "none"
    sorts = page.evaluate("[...document.querySelectorAll('#cases thead th')].map((h) => h.ariaSort)")
    assert sorts.count("ascending") == 1
    seen.still()


def test_filters_by_a_comparison_typed_after_tabbing_there(seen):
    page, name = seen.page, "joint.overlap_length_mm"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "cases-filter":
            break
    page.keyboard.type(f"{name} >= 20")
    assert set(numbers(column(page, name))) == {20, 100}
    assert "6 of 12" in page.locator("#cases-shown").inner_text()
    page.keyboard.type("; status = done")
    assert len(column(page, name)) == 4
    page.locator("#cases-clear").press("Enter")
    assert len(column(page, name)) == 12
    page.locator("#cases-filter").fill(f"{name} > far")
    assert "number" in page.locator("#cases-problem").inner_text()
    seen.still()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("peak_shear_MPa <=", "peak_shear_MPa <=: a number is missing after it."),
        ("|peak_shear_MPa| >", "|peak_shear_MPa| >: a number is missing after it."),
        ("|peak_shear_MPa|", "|peak_shear_MPa|: a sign and a number are missing after it, such as < 10."),
        ("status =", "status =: a text is missing after it."),
    ],
)
def test_an_unfinished_condition_says_what_is_missing(seen, typed, said):
    page = seen.page
    page.locator("#cases-filter").fill(typed)
    assert page.locator("#cases-problem").inner_text() == said
    assert len(column(page, "status")) == 12  # it holds nothing back yet
    seen.still()


def test_a_condition_that_cannot_be_meant_says_why(seen):
    page = seen.page
    for typed, said in [
        ("|status| = done", "status holds texts, which have no magnitude."),
        ("|peak| < 3", "There is no column peak: the text was looked for as it stands."),
        ("<= 3", "A column is missing before <=: the text was looked for as it stands."),
    ]:
        page.locator("#cases-filter").fill(typed)
        assert page.locator("#cases-problem").inner_text() == said
    seen.still()


def test_bars_compare_the_magnitude_and_nothing_else_does(seen):
    page, name = seen.page, "least_peel_MPa"
    values = numbers(column(page, name))
    sizes = sorted(map(abs, values))
    middle = (sizes[3] + sizes[4]) / 2  # between two of the eight, which are shown rounded
    assert max(values) < 0
    page.locator("#cases-filter").fill(f"{name} < {middle}")
    assert numbers(column(page, name)) == values  # all: they are negative
    page.locator("#cases-filter").fill(f"{name} > 0")
    assert not column(page, name)
    for sign, holds in ((">", lambda x: abs(x) > middle), ("<", lambda x: abs(x) < middle)):
        page.locator("#cases-filter").fill(f"| {name} |{sign} {middle}")
        kept = numbers(column(page, name))
        assert kept == [x for x in values if holds(x)]
        assert 0 < len(kept) < len(values)
    page.locator("#cases-filter").fill(f"{name} = {abs(values[0])}")
    assert not column(page, name)
    page.locator("#cases-filter").fill(f"|{name}| = {abs(values[0])}")
    assert values[0] in numbers(column(page, name))
    assert page.locator("#cases-problem").inner_text() == ""
    seen.still()


def test_how_a_case_ended_is_seen_without_scrolling_sideways(seen):
    page = seen.page
    page.set_viewport_size({"width": 1280, "height": 800})
    frame = page.locator(".cases").bounding_box()
    for name in ("feasible", "status", "warnings"):
        box = heading(page, name).bounding_box()
        assert box["x"] + box["width"] <= frame["x"] + frame["width"], name
    seen.still()


def test_filters_by_choices(seen):
    page = seen.page
    page.locator("#cases-status").select_option("refused")
    assert column(page, "status") == ["refused"] * 4
    page.locator("#cases-clear").click()
    page.locator("#cases-feasible").check()
    kept = numbers(column(page, "peak_shear_MPa"))
    assert 0 < len(kept) < 8
    assert max(kept) <= 20
    page.locator("#cases-feasible").uncheck()
    assert len(column(page, "status")) == 12
    seen.still()


def test_headings_are_printed_again_on_every_page_of_the_table(seen):
    page = seen.page
    peel = column(page, "least_peel_MPa")
    reader = pypdf.PdfReader(io.BytesIO(page.pdf(width="210mm", height="120mm")))
    sheets = ["".join(sheet.extract_text().split()) for sheet in reader.pages]
    printed = [text for text in sheets if any(value in text for value in peel if value)]
    assert len(printed) > 1
    assert all("least_peel_MPa" in text for text in printed)
