"""Both pages in Chromium: quiet, offline, readable without scripts, on paper, by all, and whatever the title."""

import io
import itertools

import pypdf
import pytest

PAGES = ["run_page", "sweep_page"]
HOSTILES = ["hostile_page", "hostile_sweep_page"]
# CSS pixels are 1/96 inch. The style sheet's margins: 14 mm at the sides, 16 and 18 mm above and below.
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
PIXELS_A_MM, SIDES, ABOVE_AND_BELOW = 96 / 25.4, 28.0, 34.0
LARGEST = 8e6  # bytes
NOT_EMPTY = 1000  # bytes of drawing on a sheet of paper; a single line of text takes more


@pytest.fixture
def seen(request, kept_open):
    return kept_open(request.param)


@pytest.mark.parametrize("seen", PAGES, indirect=True)
def test_opens_from_the_disk_without_a_word_and_asks_for_nothing(seen):
    assert seen.path.stat().st_size < LARGEST
    seen.still()
    assert seen.overflow() <= 0


def test_the_watch_sees_what_it_is_for(tmp_path, open_page):
    """A page that does everything wrong is found out."""
    bad = tmp_path / "bad.html"
    bad.write_text(
        "<!DOCTYPE html><meta http-equiv='Content-Security-Policy' content=\"img-src data:; script-src 'unsafe-inline'\">"
        "<img src='https://example.invalid/a.png'><div style='width: 3000px'>wide</div>"
        "<script>window.__hit = 1; alert('x'); console.error('said'); fetch('https://example.invalid/b')"
        ".catch(() => {}); setTimeout(() => { throw new Error('thrown') })</script>",
        encoding="utf-8",
    )
    seen = open_page(bad)
    seen.page.wait_for_timeout(200)
    assert seen.dialogs == ["x"]
    assert any("said" in line for line in seen.complaints)
    assert any("thrown" in line for line in seen.complaints)
    assert "https://example.invalid/b" in seen.requests
    assert any("img-src" in line for line in seen.page.evaluate("window.__violations"))
    assert seen.page.evaluate("window.__hit") == 1
    assert seen.overflow() > 1000
    assert seen.axe()  # no language, no title, a picture without a text


@pytest.mark.parametrize("width", [1100, 400])
@pytest.mark.parametrize("seen", PAGES, indirect=True)
def test_axe_finds_nothing_serious(seen, width):
    seen.page.set_viewport_size({"width": width, "height": 900})
    seen.rest(4)
    assert seen.axe() == []
    assert seen.overflow() <= 0
    seen.still()


@pytest.mark.parametrize("seen", PAGES, indirect=True)
def test_headings_go_down_one_level_at_a_time_and_pictures_have_texts(seen):
    levels = seen.page.evaluate("[...document.querySelectorAll('h1, h2, h3, h4, h5, h6')].map((h) => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    texts = seen.page.evaluate("[...document.images].map((i) => i.alt)")
    assert texts
    assert all(len(text) > 20 for text in texts)


@pytest.mark.parametrize("seen", PAGES, indirect=True)
def test_without_scripts_everything_but_the_view_is_there(seen, open_page):
    with_scripts = seen.page
    without = open_page(seen.path, java_script_enabled=False)
    page = without.page
    for tag in ("h1", "h2", "h3", "table", "tbody tr", "dt", "pre"):
        assert page.locator(tag).count() == with_scripts.locator(tag).count(), tag
    for picture in page.locator("main img").all():
        box = picture.bounding_box()
        assert box, picture.get_attribute("alt")
        assert box["width"] > 200, picture.get_attribute("alt")
    for table in page.locator("main table").all():
        assert table.is_visible()
    assert page.locator("canvas").count() == 0
    assert page.locator("main button:visible, main select:visible, main input:visible").count() == 0  # they would do nothing
    assert set(without.requests) == {without.file}


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("seen", PAGES, indirect=True)
def test_prints_whole_pages(seen, paper):
    page = seen.page
    reader = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True)))
    width, height = PAPERS[paper]
    for sheet in reader.pages:
        assert float(sheet.mediabox.width) == pytest.approx(width * 72 / 25.4, abs=1.0)  # points; browsers round to whole ones
        assert float(sheet.mediabox.height) == pytest.approx(height * 72 / 25.4, abs=1.0)
        assert len(sheet.get_contents().get_data()) > NOT_EMPTY
    assert 2 <= len(reader.pages) <= 20

    printed = "".join("".join(sheet.extract_text() for sheet in reader.pages).split())
    page.emulate_media(media="print")
    across, down = (width - SIDES) * PIXELS_A_MM, (height - ABOVE_AND_BELOW) * PIXELS_A_MM
    page.set_viewport_size({"width": int(across), "height": int(down)})
    seen.rest()
    headings = [text for text in page.locator("h2").all_inner_texts() if text.strip()]
    assert len(headings) >= 3
    for heading in headings:
        assert "".join(heading.split()) in printed, heading
    assert seen.overflow() <= 0
    too_wide, too_high = page.evaluate(
        """([across, down]) => {
            const shown = [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && !e.closest('svg'));
            const name = (e) => `${e.tagName} ${e.id || e.className}: ${e.textContent.trim().slice(0, 40)}`;
            return [
                shown.filter((e) => e.getBoundingClientRect().right > across + 1).map(name),
                shown.filter((e) => e.matches('figure, img') && e.getBoundingClientRect().height > down).map(name),
            ];
        }""",
        [across, down],
    )
    assert too_wide == []
    assert too_high == []  # higher than a page, it would be cut whatever the style sheet says
    assert page.locator("canvas:visible").count() == 0
    assert page.locator("main img:visible").count() == page.locator("main img").count()


@pytest.mark.parametrize("width", [1100, 400])
@pytest.mark.parametrize("seen", HOSTILES, indirect=True)
def test_hostile_texts_stay_texts(seen, width):
    seen.page.set_viewport_size({"width": width, "height": 900})
    seen.rest(4)
    seen.page.wait_for_timeout(100)
    seen.still()
    assert seen.overflow() <= 0
    kinds = seen.page.evaluate("[...document.scripts].map((s) => [s.type, s.src])")
    assert all(source == "" for _, source in kinds)
    # What runs is allowed by its hash, one each.
    policy = seen.page.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content")
    assert sum(kind == "" for kind, _ in kinds) == policy.count("'sha256-")
    assert seen.page.locator("[onerror], [onload], [onclick]").count() == 0
    assert seen.page.locator("main img:not([src^='data:'])").count() == 0
    assert "<script>window.__hit" in seen.page.locator("body").inner_text()  # it is shown, as text
    assert "49" not in seen.page.locator("h1").inner_text()  # {{ 7 * 7 }} was not worked out
    assert seen.page.title()
    assert len(seen.page.title()) < 200
