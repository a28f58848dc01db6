"""Flaws and a tapering layer as keys of a joint: what is refused, what is merged, and what is said of it."""

from __future__ import annotations

import pytest

from fejoint import JointError
from fejoint.joint.file import joint_from_text, joint_schema, joint_to_toml, template
from fejoint.joint.flaws import Flaw
from fejoint.joint.keys import known_keys

KINDS = ("single-lap", "double-lap", "stepped-lap")


def flaw(kind, start, length, **more):
    """Return the text of a flaw, lengths in mm."""
    keys = {"kind": kind, "start": f"{start} mm", "length": f"{length} mm", **more}
    return "\n[[flaw]]\n" + "\n".join(f"{key} = {value!r}" for key, value in keys.items())


def lap(*flaws, kind="single-lap", **changes):
    return joint_from_text(template(kind) + "".join(flaws), [f"{k.replace('__', '.')}={v}" for k, v in changes.items()])


# ---- refused -----------------------------------------------------------------

# The template's single lap: overlap 12.5 mm, layer 0.2 mm; a stepped lap's first tread from 0 to 10 mm.
REFUSED = {
    "beyond the end": (
        [flaw("void", 12, 2)],
        'flaw item 1.length = "2 mm": must be at most 0.5 mm from its start at 12 mm (the overlap ends at 12.5 mm).',
    ),
    "outside": ([flaw("void", 1, 1), flaw("void", 13, 2)], 'flaw item 2.start = "13 mm": must be from 0 mm to below 12.5 mm'),
    "before": ([flaw("void", -1, 2)], 'flaw item 1.start = "-1 mm": must be at least 0 mm.'),
    "too short": ([flaw("disbond", 3, 0.04)], 'flaw item 1.length = "0.04 mm": must be at least a quarter of the bondline\'s'),
    "a void's place": ([flaw("void", 3, 2, place="lower")], 'flaw item 1.place = "lower": a void goes through the layer'),
    "unwetted inside": ([flaw("unwetted", 3, 2, place="middle")], 'flaw item 1.place = "middle": an unwetted patch lies at an'),
    "other kind": ([flaw("crack", 3, 2)], 'flaw item 1.kind = "crack": must be "void", "disbond" or "unwetted".'),
    "bondline": ([flaw("void", 3, 2, bondline=2)], "flaw item 1.bondline = 2: the joint has only bondline 1."),
    "nothing left": ([flaw("void", 0, 7), flaw("disbond", 7, 5.4)], "of bondline 1 bonded; it must be at least 0.2 mm"),
    "unknown key": (["\n[[flaw]]\nkind = 'void'\nbegin = '3 mm'\nlength = '2 mm'"], "flaw item 1.begin: unknown key"),
    "no length": (["\n[[flaw]]\nkind = 'void'\nstart = '3 mm'"], "flaw item 1.length is missing"),
    "wrong unit": (["\n[[flaw]]\nkind = 'void'\nstart = '3 N'\nlength = '2 mm'"], "flaw item 1.start"),
}


@pytest.mark.parametrize(("flaws", "says"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_flaw_of_the_joint_is_refused_in_a_sentence(flaws, says):
    with pytest.raises(JointError) as caught:
        lap(*flaws)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_stepped_laps_flaws_stay_clear_of_its_risers():
    """Where the stair turns a flaw would have to turn: a bondline's thickness at each end of a tread is refused."""
    for start, length, key in ((0.1, 2.0, "start"), (7.0, 2.9, "length"), (9.95, 1.0, "start"), (8.0, 4.0, "length")):
        with pytest.raises(JointError, match=rf"flaw item 1\.{key} = .*tread 1 without a bondline's thickness at each end"):
            lap(flaw("void", start, length), kind="stepped-lap")
    inside = lap(flaw("void", 0.2, 9.6), flaw("disbond", 10.2, 1, bondline=2), kind="stepped-lap")
    assert [f.bondline for f in inside.merged_flaws().flaws] == [1, 2]


def test_more_flaws_than_a_mesh_has_room_for():
    with pytest.raises(JointError, match="must be at most 20 that do not touch, not 21"):
        lap(*[flaw("void", 0.3 + 0.5 * k, 0.1) for k in range(21)])


@pytest.mark.parametrize("taper", ["0.3 mm", "-0.27 mm", "1 N"])
def test_a_taper_leaves_a_third_of_the_layer(taper):
    with pytest.raises(JointError, match=r"joint\.bondline_taper"):
        lap(joint__bondline_taper=taper)


def test_a_taper_leans_a_short_overlap_by_a_tenth_at_most():
    lap(joint__overlap_length="2 mm", joint__bondline_taper="0.2 mm")
    with pytest.raises(JointError, match=r"from -0\.2 mm to 0\.2 mm"):
        lap(joint__overlap_length="2 mm", joint__bondline_taper="0.21 mm")


def test_a_cohesive_layer_has_one_thickness():
    with pytest.raises(JointError, match=r"joint\.bondline_taper = .*has a layer of one thickness"):
        lap(
            joint__bondline_taper="0.05 mm",
            analysis__adhesive_model="cohesive",
            adhesive__tensile_strength="30 MPa",
            adhesive__shear_strength="25 MPa",
            adhesive__toughness_mode_1="1 N/mm",
            adhesive__toughness_mode_2="3 N/mm",
        )


# ---- merged ------------------------------------------------------------------

MERGED = {
    # flaws (kind, start, length, place): what is left of them, and what is said
    "apart": ([("void", 3, 1), ("disbond", 5, 1)], [("void", 3, 4), ("disbond", 5, 6)], []),
    "overlapping": ([("void", 3, 2), ("void", 4, 3)], [("void", 3, 7)], ["flaws 1 and 2 of bondline 1 overlap"]),
    "touching": ([("disbond", 3, 2), ("disbond", 5, 1)], [("disbond", 3, 6)], ["flaws 1 and 2 of bondline 1 overlap"]),
    "the void is graver": ([("disbond", 4, 3), ("void", 3, 2)], [("void", 3, 7)], ["counted as one void from 3 to 7 mm"]),
    "a bridge of adhesive": (
        [("unwetted", 3, 2), ("disbond", 5.1, 2)],
        [("unwetted", 3, 7.1)],
        ["flaws 1 and 2 of bondline 1 leave less than 0.2 mm bonded between them"],
    ),
    "three in a row, out of order": (
        [("void", 6, 2), ("void", 3, 2), ("void", 4.9, 1.2)],
        [("void", 3, 8)],
        ["flaws 1, 2 and 3 of bondline 1 overlap: counted as one void from 3 to 8 mm"],
    ),
    "one inside the other, then another": (
        [("void", 3, 5), ("void", 4, 1), ("void", 7.9, 1)],
        [("void", 3, 8.9)],
        ["flaws 1, 2 and 3 of bondline 1 overlap"],
    ),
    "near the start": ([("void", 0.1, 2)], [("void", 0, 2.1)], ["void from 0.1 to 2.1 mm of bondline 1 leaves less than 0.2 mm"]),
    "near the end": ([("disbond", 10, 2.4)], [("disbond", 10, 12.5)], ["counted as reaching it"]),
    "at a thickness": ([("void", 0.2, 1), ("void", 1.4, 1)], [("void", 0.2, 1.2), ("void", 1.4, 2.4)], []),
    "ends that add up": ([("void", 12.4 - 0.3, 0.4)], [("void", 12.1, 12.5)], []),
}


@pytest.mark.parametrize(("given", "left", "said"), MERGED.values(), ids=MERGED)
def test_flaws_that_meet_are_one_and_it_is_said(given, left, said):
    joint = lap(*[flaw(*one) for one in given])
    found = joint.merged_flaws()
    assert [(f.kind, pytest.approx(f.start), pytest.approx(f.end)) for f in found.flaws] == left
    assert len(found.said) == len(said)
    for sentence, part in zip(found.said, said, strict=True):
        assert part in sentence
    assert [(f.kind, f.start, f.length) for f in joint.flaws] == given  # the user's own stay as they are


def test_flaws_of_unlike_bondlines_do_not_meet():
    joint = lap(flaw("void", 3, 2, bondline=2), flaw("void", 4, 2), kind="double-lap")
    assert [(f.bondline, f.start) for f in joint.merged_flaws().flaws] == [(1, 4.0), (2, 3.0)]
    assert joint.merged_flaws().said == ()


def test_of_equal_kinds_the_longer_ones_place_counts():
    joint = lap(flaw("unwetted", 3, 1, place="lower"), flaw("unwetted", 3.5, 4, place="upper"))
    assert [f.level for f in joint.merged_flaws().flaws] == ["upper"]
    assert [Flaw(kind=k, start=1, length=1).level for k in ("void", "disbond", "unwetted")] == ["all", "middle", "lower"]


# ---- the joint ---------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_flaws_and_taper_go_into_a_file_and_back(kind):
    joint = lap(flaw("disbond", 3, 2, place="upper"), flaw("void", 6, 1), kind=kind, joint__bondline_taper="-0.05 mm")
    again = joint_from_text(joint_to_toml(joint))
    assert again == joint
    assert hash(again) == hash(joint)
    assert joint != lap(kind=kind, joint__bondline_taper="-0.05 mm")


def test_the_taper_can_be_swept_and_a_list_of_flaws_cannot():
    known = known_keys("single-lap")
    assert known["joint.bondline_taper"] == "mm"
    assert known["flaw"] is None
    assert not any(key.startswith("flaw.") for key in known)
    assert "flaw" in joint_schema()["properties"]


def test_a_double_lap_with_a_flaw_is_no_mirror_image_and_one_with_a_taper_is():
    assert lap(kind="double-lap", joint__bondline_taper="0.1 mm").half
    assert not lap(flaw("void", 3, 2), flaw("void", 3, 2, bondline=2), kind="double-lap").half


def test_mean_shear_is_over_what_is_bonded():
    """1 kN on 25 mm x (12.5 - 2.5) mm: 4 MPa."""
    assert lap(flaw("void", 3, 2.5), load__force="1 kN").mean_shear == pytest.approx(4.0, rel=1e-12)


def test_thickness_of_a_tapering_layer():
    g = lap(joint__bondline_taper="0.1 mm").geometry
    assert [g.thickness_at(x) for x in (-1, 0, 6.25, 12.5, 20)] == pytest.approx([0.15, 0.15, 0.2, 0.25, 0.25])


def test_a_sound_joint_asks_its_script_for_nothing_new():
    for kind in KINDS:
        assert not any(key.startswith("flaw") for key in lap(kind=kind).script_parameters(False))
