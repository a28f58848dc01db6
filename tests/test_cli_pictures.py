"""Figures and the report from the command line, as their user meets them."""

from __future__ import annotations

import json
import shutil

import pytest

from fejoint.cli import run
from fejoint.joint.file import template


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return the folder of a solved joint."""
    place = tmp_path_factory.mktemp("pictures")
    (place / "joint.toml").write_text(template("single-lap"), encoding="utf-8")
    assert run(["solve", str(place / "joint.toml"), "--out", str(place / "run")]) == 0
    return place / "run"


def test_draw_writes_the_figures_into_the_folder_or_one_of_them_elsewhere(folder, tmp_path, capsys):
    assert run(["draw", str(folder)]) == 0
    assert capsys.readouterr().out.splitlines() == [f"Written: {folder / name}.png" for name in ("bondline", "section", "mesh")]
    for ending, begins in ((".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF")):
        out = tmp_path / f"curves{ending}"
        assert run(["draw", str(folder), "--what", "bondline", "--interfaces", "--units", "inch", "--out", str(out)]) == 0
        assert out.read_bytes().startswith(begins)
    svg = (tmp_path / "curves.svg").read_text(encoding="utf-8")
    for text in ("shear stress, psi", "lower interface", "Volkersen"):
        assert text in svg


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (
            ["draw", "RUN", "--what", "peel"],
            "--what peel: must be one of bondline, section, mesh, path, bondline-steps, edge-moment, plastic-zone, "
            "parting, strength.",
        ),
        (["draw", "RUN", "--out", "one.png"], "--out: names one figure; say which with --what"),
        (["draw", "RUN", "--what", "mesh", "--out", "one.jpg"], "a figure is written as .png, .svg, .pdf"),
        (["draw", "RUN", "--end", "top"], "--end top: must be one of left, right."),
        (["draw", "RUN", "--units", "furlong"], "--units furlong: must be one of"),
        (["draw", "NOWHERE"], "there is no such folder; give a folder that fejoint solve --out wrote."),
        (["report", "NOWHERE"], "there is no such folder"),
        (["report", "EMPTY"], "summary.json"),
        (["report", "RUN", "--out", "page.htm"], "a report is written as .html"),
        (["report", "RUN", "--units", "furlong"], "--units furlong: must be one of"),
        (["report", "OLD"], "has schema_version 99, this fejoint reads"),
        (["draw", "OLD"], "has schema_version 99, this fejoint reads"),
        (["view", "OLD", "--png", "x.png"], "has schema_version 99, this fejoint reads"),
        (["report", "CUT"], "holds no bondline.csv"),
    ],
)
def test_bad_input_is_one_sentence_and_nothing_written(folder, tmp_path, capsys, monkeypatch, arguments, says):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "EMPTY").mkdir()
    for name in {"OLD", "CUT"} & set(arguments):
        shutil.copytree(folder, tmp_path / name)
    if "OLD" in arguments:
        summary = json.loads((folder / "summary.json").read_text())
        (tmp_path / "OLD" / "summary.json").write_text(json.dumps({**summary, "schema_version": 99}))
    if "CUT" in arguments:
        (tmp_path / "CUT" / "bondline.csv").unlink()
    before = sorted(tmp_path.rglob("*")), sorted(folder.iterdir())
    assert run([str(folder) if argument == "RUN" else argument for argument in arguments]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith("fejoint: ")
    assert says in printed.err
    assert len(printed.err.splitlines()) == 1
    assert (sorted(tmp_path.rglob("*")), sorted(folder.iterdir())) == before


def test_a_run_and_a_sweep_do_not_share_a_folder(folder, tmp_path, capsys):
    file = tmp_path / "joint.toml"
    file.write_text(template("single-lap") + '\n[sweep.vary]\n"load.force" = ["1 kN"]\n', encoding="utf-8")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run(["sweep", str(file), "--out", str(folder)]) == 2
    assert "holds the files of a run (summary.json); choose another folder for this sweep." in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    swept = tmp_path / "swept"
    swept.mkdir()
    (swept / "journal.sqlite").touch()
    assert run(["solve", str(file), "--out", str(swept)]) == 2
    assert "holds the files of a sweep (journal.sqlite); choose another folder for this run." in capsys.readouterr().err
    assert [path.name for path in swept.iterdir()] == ["journal.sqlite"]


def test_a_broken_package_is_one_sentence(folder, capsys, monkeypatch):
    import fejoint.show.reading

    def broken(path):
        raise ImportError("libGL.so.1: cannot open shared object file")

    monkeypatch.setattr(fejoint.show.reading, "read_run", broken)
    assert run(["draw", str(folder)]) == 2
    printed = capsys.readouterr().err
    assert "a Python package cannot be loaded (libGL.so.1: cannot open shared object file)" in printed
    assert "libgl1" in printed
