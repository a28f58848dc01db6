"""The pictures of the README's gallery, each by the command that stands beside it there.

    python examples/gallery/make.py [FOLDER]      make them anew (here, unless a folder is given)
    python examples/gallery/make.py --readme      print the gallery's text for the README

The joints are invented: the floor, the door sill and the roof of a mountain cable-car cabin.
The picture of the report needs Chromium; where there is none it is left as it is.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
WIDTH = 1000  # pixels

# Run first, in this order: what the pictures are made of.
FOLDERS = (
    "solve fejoint/demo/door-sill.toml --out door-sill",
    "solve fejoint/demo/roof-rib.toml --out roof-rib",
    "solve fejoint/demo/floor-splice.toml --out floor-splice",
    "solve fejoint/demo/whole-job/sill.toml --flaws fejoint/demo/whole-job/inspection.csv --out sill-with-flaws",
    "sweep examples/gallery/sill-sweep.toml --out sill-sweep",
)


@dataclass(frozen=True)
class Shown:
    """A picture of the gallery.

    Attributes
    ----------
    name : str
        Its file's name without ending.
    command : str
        What makes it: a command of fejoint.
    made : str
        Where the command leaves it, in the working folder; a page is shown by its top.
    alt : str
        What is to be seen.
    """

    name: str
    command: str
    made: str
    alt: str


GALLERY = (
    Shown(
        "report",
        "report door-sill",
        "door-sill/report.html",
        "Top of the door sill's report in a browser: the question, warnings that stresses lie above the adhesive's limits, the "
        "answer in short with peaks and self-checks.",
    ),
    Shown(
        "strength",
        "strength fejoint/demo/door-sill.toml --quick --out will-it-hold",
        "will-it-hold/strength.png",
        "A bar for every criterion, as long as the load at which the door sill meets it: stress criteria the shortest, then "
        "yield of the adherends, the bond as a whole, believed, the energy of a long overlap, and rupture; lines for the load "
        "applied and for the one that governs.",
    ),
    Shown(
        "bondline",
        "draw door-sill --what bondline --out bondline.png",
        "bondline.png",
        "Shear and peel stress along the bondline of the door sill's single lap under a drawing of the joint: finite elements as "
        "a solid line that peaks near both ends, four theories broken, and the load passed on up to there.",
    ),
    Shown(
        "peel-end",
        "view door-sill --end left --png peel-end.png",
        "peel-end.png",
        "The left end of the door sill's overlap in 3D, its thickness drawn larger, coloured by peel stress: red where the joint "
        "is torn open, at the adhesive's corner and in the sheet above it.",
    ),
    Shown(
        "ribbon",
        "view roof-rib --stress shear --ribbon shear --adherends see-through --png ribbon.png",
        "ribbon.png",
        "A roof rib between two plates in 3D, the metal see-through: both adhesive layers coloured by shear stress, and above "
        "them the stress along each as a raised ribbon, highest at the left end.",
    ),
    Shown(
        "apart",
        "view floor-splice --stress von-mises --apart 0.6 --png apart.png",
        "apart.png",
        "A stepped splice of two floor planks in 3D, planks and adhesive moved apart, coloured by von Mises stress: yellow where "
        "the steps leave the metal thinnest.",
    ),
    Shown(
        "section",
        "draw roof-rib --what section --out section.png",
        "section.png",
        "Dimensioned drawing of the roof rib's section, whole and at one overlap end, every dimension under its key in the joint "
        "file, with loads, ends and materials.",
    ),
    Shown(
        "flaws",
        "draw sill-with-flaws --what bondline --out flaws.png",
        "flaws.png",
        "The door sill's bondline with what an inspection found: a disbond at the left end and two voids, drawn in the joint and "
        "shaded in the curves, in which shear and peel stress are zero.",
    ),
    Shown(
        "cure",
        "process fejoint/demo/whole-job/sill.toml --out process",
        "process/cure.png",
        "Temperature, degree of cure and strength of the door sill's adhesive against time since mixing, and the time at which "
        "it may carry the handling load.",
    ),
    Shown(
        "coupons",
        "coupons fejoint/demo/coupons/floor-dcb.toml --out beams",
        "beams/coupons.png",
        "Force against opening of four double cantilever beams of the floor's adhesive, with the crack's readings, and beside it "
        "the toughness of each as its crack grows, with its interval.",
    ),
    Shown(
        "causes",
        "correlate fejoint/demo/whole-job/coupon.toml --quick --out correlation",
        "correlation/causes.png",
        "Bars for what each named cause changes of a coupon's predicted load and stiffness, beside where the coupons are: a "
        "thick glue line may explain the stiffness, not the load.",
    ),
    Shown(
        "sweep",
        "chart sill-sweep --of peak_shear_MPa --along joint.overlap_length_mm --along joint.lower.thickness_mm --out sweep.png",
        "sweep.png",
        "Peak shear of the door sill over overlap length and thickness of the sheets as filled contours, hatched where it is "
        "above the limit of 20 MPa: short overlaps of thin sheets.",
    ),
)


def work(command: str) -> None:
    """Run a command of fejoint in the current folder, files of the repository named from its root.

    Raises
    ------
    RuntimeError
        The command failed; the text holds what it said.
    """
    from fejoint.cli import run

    words = [str(ROOT / word) if (ROOT / word).is_file() else word for word in command.split()]
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = run(words)
    if code:
        raise RuntimeError(f"fejoint {command}: {code}\n{said.getvalue()}")


def top_of(page: Path, picture: Path) -> None:
    """Write a picture of a report's top, down to the answer in short, as a browser without a network shows it.

    Raises
    ------
    LookupError
        There is no Chromium here.
    """
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        raise LookupError("no chromium")
    flags = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=flags)
        shown = browser.new_page(viewport={"width": WIDTH, "height": 900})
        shown.goto(page.resolve().as_uri())
        answer = shown.locator("table.answer").bounding_box()
        end = round(answer["y"] + answer["height"]) + 16
        shown.screenshot(path=picture, full_page=True, clip={"x": 0, "y": 0, "width": WIDTH, "height": end})
        browser.close()


def shrunk(picture: Path) -> Path:
    """Scale a picture to the gallery's width and its colours to 52 steps a channel, in place: half the room, alike to the eye."""
    from PIL import Image

    with Image.open(picture) as found:
        whole = found.convert("RGB")
    small = whole.resize((WIDTH, round(whole.height * WIDTH / whole.width)), Image.Resampling.LANCZOS)
    small.point(lambda value: 5 * round(value / 5)).save(picture, optimize=True)
    return picture


def make(target: Path, gallery: tuple[Shown, ...] = GALLERY) -> list[Path]:
    """Make pictures anew in a folder; return them. The page's is left out where there is no browser."""
    made: list[Path] = []
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        for command in FOLDERS:
            if any(command.split()[-1] in shown.command for shown in gallery):
                work(command)
        for shown in gallery:
            work(shown.command)
            picture = target / f"{shown.name}.png"
            if shown.made.endswith(".html"):
                try:
                    top_of(Path(shown.made), picture)
                except LookupError:
                    continue
            else:
                shutil.copyfile(shown.made, picture)
            made.append(shrunk(picture))
    return made


def readme() -> str:
    """Return the gallery's part of the README."""
    folders = "\n".join(f"./run {command}" for command in FOLDERS)
    pictures = "\n\n".join(f"![{shown.alt}](examples/gallery/{shown.name}.png)\n\n`./run {shown.command}`" for shown in GALLERY)
    return (
        "## Gallery\n\n"
        "An invented scenario throughout: the bonded floor, door sill and roof of a mountain cable-car cabin.\n"
        "Each picture is made by the command under it, after these:\n\n"
        f"```sh\n{folders}\n```\n\n{pictures}\n"
    )


if __name__ == "__main__":
    if sys.argv[1:] == ["--readme"]:
        print(readme(), end="")
    else:
        for path in make(Path(sys.argv[1]).resolve() if sys.argv[1:] else HERE):
            print(f"{path.stat().st_size / 1e3:6.0f} kB  {path}")
