"""The pages as a reader opens them: Chromium, from the disk, the network refused."""

from __future__ import annotations

import ctypes
import fcntl
import io
import os
import re
import shutil
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

import fejoint
from benchmarks.survival import Here
from fejoint.errors import SetupError
from fejoint.joint.file import joint_from_text
from fejoint.show.files import write_run

HERE = Path(__file__).parent
AXE = HERE / "node_modules" / "axe-core" / "axe.min.js"
# Drawn by the processor, as on a machine without a graphics card. A container's root has no sandbox.
FLAGS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]

# Ubuntu's chromium is a snap, which reads no file outside the home folder: there take one from elsewhere.
PACKAGES = "apt-get install --no-install-recommends chromium fonts-dejavu-core libatomic1"

MARKUP = "\"'><script>window.__hit = 1</script><img src=x onerror='window.__hit = 1'>{{ 7 * 7 }}"
HOSTILE = f"{MARKUP} \u202e \u05e9\u05dc\u05d5\u05dd {'unbroken' * 1250}"


def left_out(what):
    """Skip, with what to install; where the browser is required that is a failure."""
    if os.environ.get("FEJOINT_BROWSER") == "required":
        pytest.fail(what)
    pytest.skip(what)


@dataclass
class Opened:
    """A page in the browser, and what it complained of, asked for and said."""

    page: object
    path: Path
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)

    @property
    def file(self):
        return self.path.as_uri()

    def settled(self):
        """Wait until the page is drawn, the interactive view too where there is one; return this."""
        self.page.wait_for_load_state("load")
        if self.page.locator(".scene-frame [data-state]").count():
            self.page.wait_for_selector(".scene-frame [data-state=ready]", timeout=30_000)
        self.rest()
        return self

    def still(self):
        """Assert that nothing was wrong so far and nothing but the file was asked for."""
        assert not self.complaints
        assert not self.dialogs
        assert set(self.requests) == {self.file}
        assert self.page.evaluate("window.__violations ?? []") == []
        assert self.page.evaluate("window.__hit ?? null") is None

    def pixels(self, selector):
        """Return the picture of an element as an array, height x width x 3."""
        from PIL import Image

        shot = self.page.locator(selector).first.screenshot(animations="disabled")
        return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).astype(int)

    def rest(self, frames=2):
        """Wait until the browser has drawn what scripts have changed."""
        self.page.evaluate(f"""async () => {{
            for (let i = 0; i < {frames}; i++) await new Promise((done) => requestAnimationFrame(done));
        }}""")

    def overflow(self):
        """Return by how many pixels the page is wider than its window."""
        return self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")

    def axe(self):
        """Return what axe-core finds that is serious or critical, in a line each."""
        if not AXE.is_file():
            left_out(f"axe-core is not here; in {HERE.name}/ run: npm ci --ignore-scripts")
        self.page.evaluate(AXE.read_text(encoding="utf-8"))
        found = self.page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert found["passes"]  # it did look
        return [
            f"{rule['impact']} {rule['id']}: {rule['help']}: {[node['target'] for node in rule['nodes']][:5]}"
            for rule in found["violations"]
            if rule["impact"] in ("serious", "critical")
        ]


# Of a module, not of the session: Playwright's event loop, while it runs, is in the way of tests that start one.
@pytest.fixture(scope="module")
def browser():
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        left_out(f"no chromium here; on Debian as root: {PACKAGES}")
    try:
        ctypes.CDLL("libatomic.so.1")
    except OSError:
        left_out(f"what drives the browser needs libatomic.so.1; on Debian as root: {PACKAGES}")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS)
        yield browser
        browser.close()


VIEWPORT = {"width": 1100, "height": 900}


def opened(browser, path, **options):
    """Open a file with the network refused; options go to the browser's context."""
    context = browser.new_context(**{"viewport": VIEWPORT, **options})
    context.set_offline(True)
    page = context.new_page()
    page.set_default_timeout(20_000)
    seen = Opened(page, Path(path).resolve())

    def asked(route):
        seen.requests.append(route.request.url)
        if route.request.url.partition("#")[0] == seen.file:
            route.continue_()
        else:
            route.abort()

    context.route("**/*", asked)
    page.on("request", lambda request: seen.requests.append(request.url.partition("#")[0]))
    page.on("console", lambda said: seen.complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: seen.complaints.append(str(error)))
    page.on("dialog", lambda dialog: (seen.dialogs.append(dialog.message), dialog.dismiss()))
    if options.get("java_script_enabled", True):
        page.add_init_script(
            "window.__violations = []; addEventListener('securitypolicyviolation',"
            " (e) => window.__violations.push(`${e.violatedDirective} ${e.blockedURI}`), true);"
        )
    page.goto(seen.file)
    return seen


@pytest.fixture
def open_page(browser):
    """The function `opened` for one test."""
    contexts = []

    def once(path, **options):
        seen = opened(browser, path, **options)
        contexts.append(seen.page.context)
        return seen

    yield once
    for context in contexts:
        context.close()


@pytest.fixture(scope="module")
def kept_open(browser, request):
    """The function that opens a page, by the name of its fixture, once for all tests of a module: drawing it takes seconds."""
    kept = {}

    def get(name):
        if name not in kept:
            kept[name] = opened(browser, request.getfixturevalue(name)).settled()
        seen = kept[name]
        seen.page.emulate_media(media="screen")
        seen.page.set_viewport_size(VIEWPORT)
        seen.rest()
        return seen

    yield get
    for seen in kept.values():
        seen.page.context.close()


# ---- the pages


@pytest.fixture(scope="session")
def shared(tmp_path_factory):
    """The function that makes a folder once for all workers of pytest-xdist, and returns it."""
    root = tmp_path_factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        root = root.parent

    def made(name, make):
        folder = root / f"browser-{name}"
        with (root / f"browser-{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not (folder / "report.html").exists():
                make(folder)
        return folder

    return made


def sill():
    return resources.files("fejoint.demo").joinpath("door-sill.toml").read_text(encoding="utf-8")


def solved(text, folder):
    write_run(fejoint.solve(joint_from_text(text)), folder, text)


@pytest.fixture(scope="session")
def run_page(shared):
    """The report of the demo's door sill, with its picture of the 3D view where it can be made."""
    from fejoint.show.report import write_report

    def make(folder):
        solved(sill(), folder)
        write_report(folder)

    return shared("run", make) / "report.html"


@pytest.fixture(scope="session")
def path_page(shared):
    """The report of the sill overloaded along its load's path, coarse, its still pictures left out for speed."""
    from fejoint.show.report import run_page, write_report

    text = resources.files("fejoint.demo").joinpath("sill-overload.toml").read_text(encoding="utf-8")
    for one, other in {"12.5 mm": "4 mm", "50 mm": "8 mm", "3.2 kN": "1.1 kN", "0.02": "0.5\nmesh_density = 0.75"}.items():
        text = text.replace(one, other)

    def make(folder):
        solved(text, folder)
        patch, missing = pytest.MonkeyPatch(), run_page.Part(why_not="left out")
        names = ("section", "bondline", "mesh", "path")
        patch.setattr(run_page, "_drawings", lambda *given: dict.fromkeys(names, missing))
        for name in ("_along_the_path", "_solid", "_solid_end"):
            patch.setattr(run_page, name, lambda *given: {})
        try:
            write_report(folder)
        finally:
            patch.undo()

    return shared("path", make) / "report.html"


@pytest.fixture(scope="session")
def sweep_page(shared):
    """The report of a sweep of twelve joints, one refused, a limit that some break."""
    from fejoint.show.report import write_report

    def make(folder):
        fejoint.sweep(
            joint_from_text(sill()),
            vary={"joint.overlap_length": [8, 12, 20, 100], "adhesive.elastic_modulus": ["1 GPa", "2 GPa", "-1 GPa"]},
            limits=["peak_shear_MPa <= 20"],
            out=folder,
            executor=Here(),
        )
        write_report(folder)

    return shared("sweep", make) / "report.html"


def no_renderer(window=False):
    raise SetupError("the 3D view needs libEGL.so.1.")


def escaped(text):
    """Return a text as a string of TOML."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


@pytest.fixture(scope="session")
def hostile_page(shared):
    """The report of a joint whose title and whose materials' names are markup, endless and written from the right."""
    from fejoint.show.report import write_report

    def make(folder):
        name = escaped(HOSTILE[:200])
        text = re.sub("(?m)^title = .*$", lambda _: f"title = {escaped(HOSTILE)}", sill())
        text = text.replace('"toughened epoxy"', name).replace('"aluminium 6082-T6"', name)
        source = escaped(HOSTILE)
        for kind, modulus in (("adherend", "70 GPa"), ("adhesive", "2 GPa")):
            text += f"\n[materials.{kind}.{name}]\npoisson_ratio = 0.33\n"
            text += f'elastic_modulus = {{ value = "{modulus}", source = {source} }}\n'
        text += "\n[analysis]\nmesh_density = 0.75\nerror_target = 0.5\n"
        solved(text, folder)
        with pytest.MonkeyPatch.context() as patch:  # as on a machine without a renderer: no still picture
            patch.setattr("fejoint.show.space.view.require_rendering", no_renderer)
            write_report(folder)

    return shared("hostile", make) / "report.html"


@pytest.fixture(scope="session")
def hostile_sweep_page(shared):
    """The report of a sweep whose title and values are such texts."""
    from fejoint.show.report import write_report

    def make(folder):
        text = re.sub("(?m)^title = .*$", lambda _: f"title = {escaped(HOSTILE)}", sill())
        fejoint.sweep(
            joint_from_text(text),
            vary={"joint.lower.material": [HOSTILE, "aluminium 6082-T6"], "load.force": [1000, 2000]},
            out=folder,
            executor=Here(),
        )
        write_report(folder)

    return shared("hostile-sweep", make) / "report.html"
