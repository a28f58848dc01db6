"""The commented [process] table: every key of the models, nothing counts until it is uncommented, all of it is accepted then."""

import re
import tomllib

import pytest

from fejoint.cli import run
from fejoint.joint.file import template as joint_template
from fejoint.joint.model import models_in
from fejoint.process.description import Process, process_of
from fejoint.process.outcome import checked
from fejoint.process.template import INSTEAD, template

TEXT = template()
UNCOMMENTED = re.sub("^# ", "", TEXT, flags=re.MULTILINE)
TABLES = {name: models_in(field.annotation)[0] for name, field in Process.model_fields.items()}


def test_every_key_of_the_models_stands_in_it_with_its_meaning():
    parts = dict(zip(TABLES, re.split(r"^# \[process\.", TEXT, flags=re.MULTILINE)[1:], strict=True))
    for name, model in TABLES.items():
        for key, field in model.model_fields.items():
            if key == "sources":  # of { value = ..., source = ... }, no key of a file
                continue
            line = re.search(rf"^##? (?:{key} = |\[process\.{name}\.{key}\]).* # (.+)$", parts[name], re.MULTILINE)
            assert line is not None and field.description in line[1], key


def test_nothing_counts_until_it_is_uncommented():
    assert tomllib.loads(TEXT) == {}


def test_it_is_accepted_when_uncommented(tmp_path, capsys):
    path = tmp_path / "job.toml"
    path.write_text(joint_template("single-lap") + UNCOMMENTED, encoding="utf-8")
    assert run(["process", str(path)]) == 0
    assert run(["job-card", str(path)]) == 0
    assert capsys.readouterr().err == ""
    path.write_text(UNCOMMENTED, encoding="utf-8")
    assert run(["process", str(path)]) == 0


GONE = {
    "adhesive_tension": ["adhesive"],
    "surface": ["readings"],
    "clamp_force": ["clamp_pressure"],
    "diameter": ["width", "length", "shape"],
    "points": ["rate_factor", "order", "autocatalytic_rate_factor", "autocatalytic_activation_energy", "autocatalytic_power",
               "start_degree", "activation_energy"],
    "strength_points": ["full_strength", "gel_degree", "strength_power"],
    "step": ["route", "figure"],
}  # fmt: skip


@pytest.mark.parametrize("key", GONE)
def test_what_stands_in_place_of_others_is_accepted_too(key):
    (name,) = (name for name, model in TABLES.items() if key in INSTEAD.get(model.__name__, {}))
    table = tomllib.loads(UNCOMMENTED)["process"]
    told = re.search(rf"^## ({key} = .*?) # ", TEXT, re.MULTILINE)[1]
    table[name] = {other: value for other, value in table[name].items() if other not in GONE[key]} | tomllib.loads(told)
    if key == "diameter":
        table[name]["shape"] = "disc"
    if key == "points":
        table[name] |= tomllib.loads(re.search(r"^## (fit = .*?) # ", TEXT, re.MULTILINE)[1])
    checked(process_of({"process": table}))


def test_the_command_prints_it_alone(tmp_path, capsys):
    assert run(["process", "--new"]) == 0
    assert capsys.readouterr().out == TEXT
    assert run(["process", "--new", "--out", str(tmp_path / "out")]) == 2
    assert "give it alone" in capsys.readouterr().err and not (tmp_path / "out").exists()
    assert run(["process"]) == 2
    assert "FILE is missing" in capsys.readouterr().err
