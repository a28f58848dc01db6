"""The job card in Chromium: quiet, for all, and on A4 with nothing cut off."""

import io
import unicodedata
from importlib import resources

import pypdf
import pytest

from fejoint.joint.file import document_from_text, joint_from_document
from fejoint.process.description import process_of
from fejoint.show.process.job_card import write_job_card


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    """Return the card of the invented sill."""
    text = resources.files("fejoint.demo").joinpath("whole-job/sill.toml").read_text(encoding="utf-8")
    document = document_from_text(text)
    path = tmp_path_factory.mktemp("card") / "card.html"
    return write_job_card(joint_from_document(document), process_of(document), path).path


def test_the_card_is_quiet_and_axe_finds_nothing_serious(card, open_page):
    seen = open_page(card)
    seen.page.set_viewport_size({"width": 400, "height": 900})  # as on a telephone
    assert seen.axe() == []
    assert seen.overflow() <= 0
    seen.still()


def test_the_card_prints_on_a4_sheets_that_are_all_used(card, open_page):
    """210 mm x 297 mm are 595 x 842 points, within one; the last words of the page are on the last sheet."""
    sheets = pypdf.PdfReader(io.BytesIO(open_page(card).page.pdf(prefer_css_page_size=True, print_background=True))).pages
    assert 3 <= len(sheets) <= 6
    for sheet in sheets:
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx((595.3, 841.9), abs=1.0)
        assert len(sheet.extract_text()) > 200
    words = " ".join(
        unicodedata.normalize("NFKC", " ".join(sheet.extract_text() for sheet in sheets)).split()
    )  # ff is one letter
    for part in ("Grit blast", "Signed off", "Follow local codes", "Where figures come from"):
        assert part in words
