"""The whole job on one invented part, step by step, each the command that its user would type."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import resources
from pathlib import Path
from typing import NamedTuple

from fejoint.cli.terminal import said
from fejoint.errors import SetupError

__all__ = ["FILES", "STEPS", "Step", "whole_job"]

# What is copied into the folder: where it is shipped below `fejoint/demo`, all of it invented.
FILES = (
    "whole-job/sill.toml",
    "whole-job/inspection.csv",
    "whole-job/coupon.toml",
    "whole-job/pull.csv",
    "whole-job/coupons.toml",
    "whole-job/as-built.toml",
    "ageing/sill-coupons.csv",
)


class Step(NamedTuple):
    """A command, why it comes here, and what of its files to look at first.

    In `arguments` ``{}`` stands for the folder of the job.
    """

    title: str
    why: str
    arguments: tuple[str, ...]
    pictures: tuple[tuple[str, str], ...] = ()
    page: str = ""


STEPS = (
    Step(
        "Will the process make a bond?",
        "Before any adhesive is mixed: does it wet the surface, does the glue line come down to its thickness in the time there "
        "is, how much adhesive to have at hand, and when may the sill be handled.",
        ("process", "{}/sill.toml", "--out", "{}/process"),
        (
            ("process/wetting.png", "Contact angle of liquids on the surface, with the adhesive among them."),
            ("process/cure.png", "Temperature, degree of cure and strength against time."),
        ),
    ),
    Step(
        "Write the job card",
        "What the bonder takes to the bench: the steps in order with their checks, hazards and boxes to sign.",
        ("job-card", "{}/sill.toml", "--out", "{}/job-card.html"),
        page="job-card.html",
    ),
    Step(
        "Will it hold, and where does it start to fail?",
        "Stresses along the bondline by finite elements, and the load that breaks the joint by every criterion, with margins.",
        ("strength", "{}/sill.toml", "--quick", "--out", "{}/strength"),
        (("strength/strength.png", "The load at which the sill meets each criterion."),),
    ),
    Step(
        "A report of it",
        "One page to hand over, with drawing, curves, a 3D view, self-checks and cautions.",
        ("report", "{}/strength"),
        page="strength/report.html",
    ),
    Step(
        "The inspection found flaws: may they stay?",
        "The list of what was found goes straight in; what the joint bears with it, and how large a flaw may stay where four "
        "times the load is to be borne.",
        ("flaws", "{}/sill.toml", "--flaws", "{}/inspection.csv", "--require-margin", "3", "--out", "{}/flaws"),
        (("flaws/flaw-capacity.png", "Load borne against the length of a flaw, a line a place."),),
    ),
    Step(
        "Coupons were pulled",
        "The tester's table to strengths by the standard, failure patterns, statistics and basis values.",
        ("coupons", "{}/coupons.toml", "--out", "{}/coupons"),
        (("coupons/coupons.png", "Force against displacement of each coupon."),),
        "coupons/report.html",
    ),
    Step(
        "What do years in a damp cabin leave?",
        "Strength against time and temperature of aged coupons, and two years on with its interval.",
        ("ageing", "{}/sill-coupons.csv", "--at", "2 year", "--out", "{}/ageing"),
        (("ageing/ageing.png", "Strength of aged coupons with the fitted law and its intervals."),),
    ),
    Step(
        "Why did the coupon come out as it did?",
        "The coupon as a joint: predicted against measured curve and load, and what each named cause would change (without "
        "--quick, in some minutes, damage and yield too).",
        ("correlate", "{}/coupon.toml", "--quick", "--out", "{}/correlation"),
        (
            ("correlation/curve.png", "Predicted and measured force against displacement."),
            ("correlation/causes.png", "What each named cause changes, one at a time."),
        ),
        "correlation/correlation.html",
    ),
    Step(
        "What does the test say of the adhesive?",
        "A microsection shows the glue line thicker than meant. With the coupon as it was built, the adhesive's modulus from the "
        "pull, with its interval, to go on with.",
        ("identify", "{}/as-built.toml", "--find", "adhesive.elastic_modulus", "--quick", "--out", "{}/identified"),
        (("identified/fit.png", "Each coupon's stiffness over that of the figure found, and the figure with its interval."),),
    ),
)


def whole_job(out: Path, run: Callable[[list[str]], int]) -> int:
    """Run the whole job in a folder, print every command before its answer, and write a page that leads through it.

    Parameters
    ----------
    out : Path
    run : callable
        The command line: arguments in, exit code out.

    Returns
    -------
    int
        Exit code: that of the first step that misses, 0 where none does.

    Raises
    ------
    SetupError
        The folder cannot be written, or an extra is missing.
    """
    from fejoint.environment import require_extra
    from fejoint.show.files import write_files
    from fejoint.show.report.whole_job_page import whole_job_page

    for module, extra in (("matplotlib", "plot"), ("jinja2", "report")):
        require_extra(module, extra, "--whole-job")
    demo = resources.files("fejoint.demo")
    texts = {Path(name).name: demo.joinpath(name).read_bytes() for name in FILES}
    for name, content in texts.items():
        place = out / name
        if place.exists() and place.read_bytes() != content:
            raise SetupError(f"{place}: is there already and not the demo's; choose another folder with --out.")
    write_files(out, {name: partial(_copied, content) for name, content in texts.items()})
    print(f"The whole job on an invented part, in {out}; every command can be typed as it stands.")
    typed = []
    for number, step in enumerate(STEPS, start=1):
        arguments = [argument.replace("{}", str(out)) for argument in step.arguments]
        typed.append(_typed(arguments))
        print(f"\n{number}. {step.title}\n   {step.why}\n\n$ fejoint {typed[-1]}\n", flush=True)
        code = run(arguments)
        if code:
            return said(f"the whole job stopped at step {number}; its files so far are in {out}.", code)
    page = whole_job_page(STEPS, typed, out)
    write_files(out, {"whole-job.html": lambda path: path.write_text(page, encoding="utf-8")})
    print(f"\nWritten: {out / 'whole-job.html'} leads through it all.")
    return 0


def _copied(content: bytes, path: Path) -> None:
    path.write_bytes(content)


def _typed(arguments: list[str]) -> str:
    import shlex

    return shlex.join(arguments)
