"""`fejoint sweep` and `fejoint chart` as their user meets them: exit codes, one sentence, files, pictures."""

import importlib
import json
import shutil

import jsonschema
import pandas as pd
import pytest

from benchmarks.survival import SILL, Here
from fejoint.cli import run

# The package has a function of the same name.
commands = importlib.import_module("fejoint.cli.sweep")

SWEEP = """
[sweep]
columns = ["peak_shear_MPa", "peak_peel_MPa"]
limits = ["peak_shear_MPa <= 15"]
keep_curves = true
[sweep.vary]
"joint.overlap_length" = ["10 mm", "12 mm", "14 mm"]
"load.force" = ["1 kN", "1.5 kN", "2 kN"]
"""


@pytest.fixture
def here(monkeypatch):
    """The work is done in this process, which starts no others: quick, and the same to the command line."""
    monkeypatch.setattr("fejoint.study.sweep.local_pool", lambda workers: Here())


@pytest.fixture
def sill(tmp_path):
    path = tmp_path / "sill.toml"
    path.write_text(SILL + SWEEP, encoding="utf-8")
    return path


def refusal(capsys, *arguments, code=2):
    """Return the one sentence that a command ends with."""
    assert run([str(a) for a in arguments]) == code
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("fejoint: ") and err.count("\n") == 1 and err[-2] in ".?", err
    return err


def test_a_sweep_writes_its_files_and_pictures_and_goes_on_when_run_again(sill, tmp_path, capsys):
    """With real worker processes, once."""
    out = tmp_path / "out"
    assert run(["sweep", str(sill), "--out", str(out), "--workers", "2"]) == 0
    said, err = capsys.readouterr()
    assert err == ""
    assert "9 cases" in said and "of 9 are feasible" in said and "Least and largest" in said
    files = "curves.parquet joint.toml sweep.csv sweep.json sweep.parquet contours-peak_shear_MPa.png".split()
    assert all(name in said for name in files)
    assert {*files, "journal.sqlite", "effects-peak_peel_MPa.svg"} <= {path.name for path in out.iterdir()}
    table = pd.read_parquet(out / "sweep.parquet")
    assert list(table["status"]) == ["done"] * 9 and f"{int(table['feasible'].sum())} of 9 are feasible" in said
    before = (out / "sweep.csv").read_bytes()
    assert run(["sweep", str(sill), "--out", str(out)]) == 0
    assert (out / "sweep.csv").read_bytes() == before  # the seconds are those of the first time as well
    capsys.readouterr()
    # What is written repeats itself: the joint file of the folder is the study.
    assert run(["check", str(out / "joint.toml")]) == 0
    assert "9 cases" in capsys.readouterr().out


def test_refused_cases_are_no_failure_and_failed_ones_are(sill, tmp_path, capsys, here, monkeypatch):
    sill.write_text(SILL + '[sweep]\ncolumns = ["peak_shear_MPa"]\n[sweep.vary]\n"load.force" = [1000, "2 kg", 3000]\n')
    assert run(["sweep", str(sill), "--out", str(tmp_path / "a")]) == 0
    said = capsys.readouterr().out
    assert "refused" in said and "load.force" in said and "2 kg" in said

    from fejoint.errors import ConvergenceError
    from fejoint.study import work

    real = work.solve

    def solve(joint, **options):
        if joint.load.force == 3000:
            raise ConvergenceError("it does not come to an end.")
        return real(joint, **options)

    monkeypatch.setattr(work, "solve", solve)
    out = ["--out", str(tmp_path / "b")]
    assert run(["sweep", str(sill), *out]) == 1
    said = capsys.readouterr().out
    assert "failed" in said and "it does not come to an end." in said and "--retry" in said
    monkeypatch.setattr(work, "solve", real)
    assert run(["sweep", str(sill), *out]) == 1
    assert run(["sweep", str(sill), *out, "--retry"]) == 0
    capsys.readouterr()


def test_changes_reach_the_joint_and_its_journal(sill, tmp_path, capsys, here):
    out = tmp_path / "out"
    assert run(["sweep", str(sill), "--out", str(out), "--set", "joint.width=30 mm"]) == 0
    assert "30 mm" in (out / "joint.toml").read_text()
    capsys.readouterr()
    assert "joint.width was" in refusal(capsys, "sweep", sill, "--out", out)


def test_what_is_refused_is_one_sentence_and_nothing_is_written(sill, tmp_path, capsys, here):
    out = tmp_path / "out"
    (tmp_path / "plain.toml").write_text(SILL)
    assert "sweep.vary" in refusal(capsys, "sweep", tmp_path / "plain.toml", "--out", out)
    assert "none.toml" in refusal(capsys, "sweep", tmp_path / "none.toml", "--out", out)
    assert "1 or more" in refusal(capsys, "sweep", sill, "--out", out, "--workers", 0)
    assert "--out" in refusal(capsys, "sweep", sill)
    sill.write_text(SILL + '[sweep.vary]\n"load.force" = { from = 1, to = 1000, steps = 6000 }\n')
    said = refusal(capsys, "sweep", sill, "--out", out)
    assert "6000 cases" in said and "--yes" in said and "one takes" in said
    assert not out.exists()
    (tmp_path / "file").write_text("")
    assert "choose another folder" in refusal(capsys, "sweep", sill, "--out", tmp_path / "file", "--yes")


def test_all_refused(sill, tmp_path, capsys, here):
    """There is nothing to draw, and no number to limit; the table is there all the same."""
    sill.write_text(SILL + '[sweep]\nlimits = ["peak_shear_MPa <= 20"]\n[sweep.vary]\n"load.force" = ["1 kg", "2 kg"]\n')
    assert run(["sweep", str(sill), "--out", str(tmp_path / "out")]) == 0
    out, err = capsys.readouterr()
    assert "2 cases" in out and "0 of 2 are feasible" in out and err == ""
    assert list(pd.read_parquet(tmp_path / "out" / "sweep.parquet")["status"]) == ["refused"] * 2


def test_without_matplotlib_the_table_is_there_and_one_sentence_says_what_pictures_need(
    sill, tmp_path, capsys, here, monkeypatch
):
    import importlib.util

    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "matplotlib" else found(name))
    assert run(["sweep", str(sill), "--out", str(tmp_path / "out")]) == 0
    out, err = capsys.readouterr()
    assert "sweep.csv" in out and ".png" not in out
    assert err.startswith("fejoint: pictures left out: ") and "fejoint[plot]" in err and err.count("\n") == 1


def test_where_output_is_no_terminal_progress_is_a_line_now_and_then(sill, tmp_path, capsys, here, monkeypatch):
    assert commands.A_LINE_EVERY == 60.0
    monkeypatch.setattr(commands, "A_LINE_EVERY", 0.0)
    monkeypatch.setattr("fejoint.study.sweep.EVERY", 0.0)
    assert run(["sweep", str(sill), "--out", str(tmp_path / "out")]) == 0
    lines = capsys.readouterr().err.splitlines()
    counts = [int(line.removeprefix("fejoint: ").split()[0]) for line in lines]
    assert len(lines) > 2 and counts == sorted(counts) and counts[-1] == 9
    assert all(" of 9 cases, " in line for line in lines) and " a second" in lines[-1]


def test_other_commands_know_the_table(sill, tmp_path, capsys):
    assert run(["check", str(sill)]) == 0
    assert capsys.readouterr().out == f"{sill}: a valid single-lap joint, with a sweep of 9 cases.\n"
    plain = tmp_path / "plain.toml"
    plain.write_text(SILL)
    assert run(["check", str(plain)]) == 0
    assert "sweep" not in capsys.readouterr().out
    numbers = []
    for file in (sill, plain):
        assert run(["solve", str(file), "--json"]) == 0
        numbers.append(json.loads(capsys.readouterr().out)["peak_shear_MPa"])
    assert numbers[0] == numbers[1]
    sill.write_text(SILL + '[sweep.vary]\n"load.farce" = [1]\n')
    assert "did you mean load.force?" in refusal(capsys, "check", sill)


def test_the_schema_has_the_table(capsys):
    import tomllib

    assert run(["schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert "sweep" in schema["properties"]
    document = tomllib.loads(SILL + SWEEP)
    jsonschema.validate(document, schema)
    document["sweep"]["points"] = "gird"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema)


# ---- chart


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("swept")
    (folder / "sill.toml").write_text(SILL + SWEEP, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("fejoint.study.sweep.local_pool", lambda workers: Here())
        patch.setattr(commands, "_pictures", lambda *_: [])
        assert run(["sweep", str(folder / "sill.toml"), "--out", str(folder / "out")]) == 0
    return folder / "out"


@pytest.fixture
def folder(swept, tmp_path):
    return shutil.copytree(swept, tmp_path / "swept")


ALONG, OTHER = "joint.overlap_length_mm", "load.force_N"


@pytest.mark.parametrize(
    ("options", "name"),
    [
        (["--of", "peak_shear_MPa", "--along", ALONG], f"curves-peak_shear_MPa-{ALONG}"),
        (["--of", "peak_shear_MPa", "--along", ALONG, "--by", OTHER], f"curves-peak_shear_MPa-{ALONG}-{OTHER}"),
        (
            ["--of", "peak_peel_MPa", "--along", ALONG, "--along", OTHER, "--limit", "peak_shear_MPa <= 14"],
            f"contours-peak_peel_MPa-{ALONG}-{OTHER}",
        ),
        (["--of", "peak_peel_MPa"], "effects-peak_peel_MPa"),
        (["--of", "shear", "--by", ALONG, "--where", f"{OTHER}=1500"], f"bondline-shear-{ALONG}-{OTHER}=1500"),
        (["--of", "peel", "--by", OTHER, "--where", f"{ALONG}=12"], f"bondline-peel-{OTHER}-{ALONG}=12"),
    ],
)
def test_every_kind_of_chart(folder, capsys, options, name):
    assert run(["chart", str(folder), *options]) == 0
    out, err = capsys.readouterr()
    made = [folder / f"{name}{ending}" for ending in (".png", ".svg")]
    assert out == "".join(f"Written: {path}\n" for path in made) and err == ""
    assert made[0].read_bytes().startswith(b"\x89PNG") and b"<svg" in made[1].read_bytes()


def test_a_chart_into_a_file_of_its_own(folder, tmp_path, capsys):
    target = tmp_path / "picture.svg"
    assert run(["chart", str(folder), "--of", "peak_shear_MPa", "--along", ALONG, "--out", str(target)]) == 0
    assert b"<svg" in target.read_bytes() and not list(folder.glob("*.png"))
    capsys.readouterr()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--of", "peak_sheer_MPa"], "did you mean peak_shear_MPa?"),
        (["--of", "peak_shear_MPa", "--along", "joint.overlap_lenght_mm"], f"did you mean {ALONG}?"),
        (["--of", "status", "--along", ALONG], "holds texts"),
        (["--of", "peak_shear_MPa", "--along", ALONG, "--by", "load.farce_N"], f"did you mean {OTHER}?"),
        (["--of", "peak_shear_MPa", "--by", OTHER], "--by: only goes with one --along"),
        (["--of", "peak_shear_MPa", *["--along", ALONG] * 3], "--along: once for curves, twice for contours"),
        (["--of", "shear"], "give --by COLUMN"),
        (["--of", "peak_shear_MPa", "--along", ALONG, "--limit", "peak_shear_MPa < 3"], "write it as"),
        (["--of", "peak_shear_MPa", "--along", ALONG, "--where", f"{OTHER}=7"], "no case has this value"),
        (["--of", "peak_shear_MPa", "--along", ALONG, "--where", OTHER], "must be COLUMN=VALUE"),
        (["--along", ALONG], "--of"),
    ],
)
def test_charts_that_cannot_be_drawn(folder, capsys, options, said):
    before = sorted(folder.iterdir())
    assert said in refusal(capsys, "chart", folder, *options)
    assert sorted(folder.iterdir()) == before


def test_charts_of_no_sweep(tmp_path, folder, capsys):
    assert "run fejoint sweep first" in refusal(capsys, "chart", tmp_path, "--of", "peak_shear_MPa")
    (folder / "curves.parquet").unlink()
    assert "keep_curves = true" in refusal(capsys, "chart", folder, "--of", "shear", "--by", ALONG)
    (folder / "sweep.parquet").write_text("no table")
    assert "cannot be read" in refusal(capsys, "chart", folder, "--of", "peak_shear_MPa")
