"""Fitting an adhesive from the command line: what is printed and written, and what is refused."""

import tomllib

import numpy as np
import pytest

from fejoint.cli import run


def curve(path, modulus, start, rise, rate, most, head="strain,stress_MPa"):
    """Write a test curve: elastic up to a stress, then rising on by a saturating curve over plastic strain."""
    plastic = np.linspace(0.0, most, 60)
    stress = start + rise * (1 - np.exp(-rate * plastic))
    rows = [(0.0, 0.0), *zip(plastic + stress / modulus, stress, strict=True)]
    path.write_text("\n".join([head, *(f"{strain:.9g},{value:.9g}" for strain, value in rows)]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def files(tmp_path):
    """Return a tensile curve (true values) and a shear curve that are those of one von Mises material, sqrt(3) apart."""
    tension = curve(tmp_path / "tension.csv", 1900.0, 14.0, 8.0, 80.0, 0.06)
    root = 3**0.5
    shear = curve(tmp_path / "shear.csv", 1900.0 / (2 * 1.35), 14.0 / root, 8.0 / root, 80.0 / root, 0.06 * root)
    return tension, shear


def test_a_table_for_the_joint_file_is_printed_and_written(files, tmp_path, capsys):
    """The curves were made of known figures: found again to a hundredth, the fit's own answer being that of least squares."""
    out = tmp_path / "fitted"
    assert run(["fit", *map(str, files), "--true", "--surface", "von-mises", "--out", str(out)]) == 0
    printed = capsys.readouterr()
    adhesive = tomllib.loads(printed.out)["adhesive"]
    for key, value in {"elastic_modulus": 1900.0, "tensile_yield": 14.0}.items():
        assert float(adhesive[key]["value"].split()[0]) == pytest.approx(value, rel=0.01)
        assert adhesive[key]["source"] == "fitted to tension.csv and shear.csv"
    assert adhesive["poisson_ratio"]["value"] == pytest.approx(0.35, rel=0.05)
    assert float(adhesive["hardening"]["rise"]["value"].split()[0]) == pytest.approx(8.0, rel=0.02)
    assert "left over" in printed.err
    assert (out / "adhesive.toml").read_text() == printed.out
    assert (out / "fit.png").read_bytes().startswith(b"\x89PNG")
    assert sorted(path.name for path in out.iterdir()) == ["adhesive.toml", "fit.png"]


def test_the_figure_shows_tests_and_fit(files):
    from fejoint.cli.fit import _curve
    from fejoint.joint.fitting import fitted
    from fejoint.show.fit_plots import fit_figure

    found = fitted(*map(_curve, files), measure="true")
    figure = fit_figure(found, "inch")
    parts = {axes.get_label(): axes for axes in figure.axes}
    assert list(parts) == ["tension", "shear"]
    for name, axes in parts.items():
        test, fit = axes.lines
        # psi in a MPa, from memory
        np.testing.assert_allclose(test.get_ydata(), 145.0377 * getattr(found, name).stress, rtol=1e-6)
        np.testing.assert_allclose(fit.get_ydata(), 145.0377 * getattr(found, name).model, rtol=1e-6)
        assert axes.get_ylabel().endswith("stress, psi")
        assert "strain" in axes.get_xlabel()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "needs a first line with the columns strain and stress_MPa, once each; there is no strain."),
        ("strain,stress\n0,0\n", "there is no stress_MPa."),
        ("strain,stress_MPa\n0,0\n0.01,high\n", 'point 2 ("0.01, high") must be two numbers'),
        ("strain,stress_MPa\n0,0\n0.01\n", 'point 2 ("0.01") must be two numbers'),
        ("strain,stress_MPa\n0,0\n0.01,nan\n", "point 2"),
        ("strain,stress_MPa\n0,0\n0.01,10\n", "at least 8 points"),
        (b"\xff\xfe\x00strain", "cannot be read (no utf-8 text)."),
        (None, "cannot be read (no such file or directory)."),
    ],
)
def test_a_bad_curve_is_one_sentence(tmp_path, capsys, text, says):
    file = tmp_path / "tension.csv"
    if text is not None:
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
    assert run(["fit", str(file), "--poisson-ratio", "0.35", "--out", str(tmp_path / "out")]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1
    assert says in printed.err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ([], "give --poisson-ratio, or a shear curve."),
        (["--surface", "sphere"], "--surface sphere: must be one of paraboloid, cone, von-mises."),
        (["--form", "wave"], "--form wave: must be one of saturating, table."),
        (["--poisson-ratio", "0.7"], "poisson_ratio = 0.7"),
        (["--units", "furlong"], "--units furlong"),
    ],
)
def test_bad_options_are_one_sentence(files, capsys, options, says):
    assert run(["fit", str(files[0]), *options]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert says in printed.err
