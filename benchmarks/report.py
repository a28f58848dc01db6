"""How long it takes to see a joint: from the command to the report drawn by a browser, and how large the file is.

    python -m benchmarks.report [--demo door-sill] [--repeats 3]

  report     `fejoint report DIR` of a demo, as a command of its own, then Chromium from its start until
             the interactive view is drawn (goal: 15 s together)
  demo       the same with `fejoint demo` before it: from a joint file to the open report
  size       of the file (goal: below 8 MB)

Wall times, medians; nothing is asserted. The browser draws with the processor (SwiftShader), as where there is no
graphics card; with one it is faster.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

GOAL, LARGEST = 15.0, 8.0  # seconds, MB
FLAGS = ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def command(*arguments: str) -> float:
    """Return the wall seconds of one command of fejoint."""
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "fejoint", *arguments], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def opened(path: Path) -> float:
    """Return the wall seconds from the browser's start until the page's interactive view is drawn."""
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        sys.exit(
            "no chromium here; on Debian as root: apt-get install --no-install-recommends chromium fonts-dejavu-core libatomic1"
        )
    start = time.perf_counter()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS)
        page = browser.new_page()
        page.goto(path.as_uri())
        page.wait_for_selector(".scene-frame [data-state=ready]")
        page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        seconds = time.perf_counter() - start
        browser.close()
    return seconds


def main() -> None:
    """Print the times and the size beside their goals."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--demo", default="door-sill")
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    times: list[tuple[float, float, float]] = []
    with tempfile.TemporaryDirectory() as root:
        folder = Path(root) / options.demo
        report = folder / "report.html"
        for _ in range(options.repeats):
            solving = command("demo", options.demo, "--out", str(folder))
            times.append((solving, command("report", str(folder)), opened(report)))
        size = report.stat().st_size / 1e6
    solving, making, opening = (statistics.median(column) for column in zip(*times, strict=True))
    parts = f"{making:.1f} s making it, {opening:.1f} s from the browser's start to the view drawn"
    print(f"report     {options.demo}: {making + opening:.1f} s (goal {GOAL:g} s): {parts}")
    whole = f"{solving + making + opening:.1f} s"
    print(f"demo       {options.demo}: {whole} with solving it and the demo's own pictures, which take {solving:.1f} s")
    print(f"size       {size:.2f} MB (goal {LARGEST:g} MB)")


if __name__ == "__main__":
    main()
