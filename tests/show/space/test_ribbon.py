"""Ribbons are as high as the stresses along the bondlines, at their places, and stand clear of the joint."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fejoint.show.space import ribbon
from fejoint.show.space.frame import framed
from fejoint.show.space.solid import read_section
from fejoint.show.space.view import stress_view


def made(result, asked="both", **options):
    section = read_section(result)
    return ribbon.ribbons(section, framed(section, **options), asked, 5.0), section


def test_heights_are_the_bondlines_stresses_of_every_family(solved):
    # The stresses of the tables, signs included: read another way (recovery on the result), so to round-off.
    for name, result in solved.items():
        found, _ = made(result)
        stepped = name.startswith("stepped")
        assert [r.stress for r in found] == sorted(r.stress for r in found)  # peel below shear
        assert len(found) == (4 if name.startswith("double") else 2)
        for one in found:
            number = int(one.bond[-1]) if one.bond else 1
            lines = result.bondlines if stepped else [result.bondlines[number - 1]]
            assert len(one.curves) == len(lines)
            for curve, line in zip(one.curves, lines, strict=True):
                np.testing.assert_allclose(curve.x, line.x, rtol=0, atol=1e-9, err_msg=name)
                np.testing.assert_allclose(
                    (one.height(getattr(curve, one.stress)) - one.base) / one.high,
                    getattr(line, one.stress),
                    rtol=1e-9,
                    atol=1e-9,
                )


def test_drawn_points_stand_at_their_place_and_height(solved):
    for name, result in solved.items():
        found, _ = made(result, "shear")
        for one in found:
            number = int(one.bond[-1]) if one.bond else 1
            for line, drawn in zip(
                result.bondlines if not one.bond else [result.bondlines[number - 1]], one.lines(), strict=True
            ):
                x, y = drawn.T
                assert (x[0], x[-1]) == pytest.approx((line.x[0], line.x[-1])), name
                np.testing.assert_allclose((y - one.base) / one.high, line.middle.at(x, "shear"), rtol=1e-9, atol=1e-9)


def test_peaks_are_those_of_the_tables(solved):
    for name, result in solved.items():
        found, _ = made(result)
        for stress, peak in (("shear", result.peak_shear[0]), ("peel", result.peak_peel[0])):
            peaks = [p for one in found if one.stress == stress for word, p in one.peaks if word == "peak"]
            assert (peak.value, peak.x) in [(pytest.approx(p.value, rel=1e-9), pytest.approx(p.x, abs=1e-6)) for p in peaks], name
    (peel,) = made(solved["stepped unequal"], "peel")[0]  # in compression: what closes is larger, and labelled too
    assert [word for word, _ in peel.peaks] == ["peak", "least"]
    assert peel.peaks[1][1].value == pytest.approx(solved["stepped unequal"].least_peel[0].value, rel=1e-9)


def test_ribbons_stand_clear_of_the_joint_and_of_one_another(solved):
    found, section = made(solved["double"])
    frame = framed(section)
    below = 5.0
    for stress in ("peel", "shear"):
        ones = [one for one in found if one.stress == stress]
        low = min(line[:, 1].min() for one in ones for line in one.lines())
        assert low == pytest.approx(below + ribbon.CLEAR * frame.length, rel=1e-3)  # drawn with pieces, a valley is flatter
        below = max(max(line[:, 1].max() for line in one.lines()) for one in ones)
        assert ones[1].front < ones[0].back  # beside one another
        assert ones[1].back > 0
        assert ones[0].front < frame.width


def test_the_scale_is_stated(filleted):
    found, section = made(filleted)
    (note,) = ribbon.ribbon_notes(found, framed(section))
    assert "shear above peel" in note
    stress, height = (float(note.split("; ")[1].split(word)[0].split()[-1]) for word in (" MPa", " mm along x"))
    assert height == pytest.approx(stress * found[0].high, rel=0.01)  # three digits
    tallest = max(abs(one.high * peak.value) for one in found for _, peak in one.peaks)
    assert tallest == pytest.approx(ribbon.HEIGHT * framed(section).length, rel=0.06)  # two digits


def test_an_end_shows_its_part(solved):
    for name, result in solved.items():
        section = read_section(result)
        for end in ("left", "right"):
            frame = framed(section, end, stretch=2.0)
            (one,) = ribbon.ribbons(section, frame, "peel", 1.0)
            line, (x0, x1) = np.vstack(one.lines()), frame.window[0]
            assert x0 - 1e-9 <= line[0, 0] < line[-1, 0] <= x1 + 1e-9, name
            number = int(one.bond[-1]) if one.bond else (1 if end == "left" else len(result.bondlines))
            curve = result.bondlines[number - 1].middle
            at = np.clip(line[:, 0], curve.x[0], curve.x[-1])
            mine = np.isclose(at, line[:, 0])  # a stair's look may show the next tread too
            np.testing.assert_allclose((line[mine, 1] - one.base) / one.high, curve.at(at[mine], "peel"), rtol=1e-6, atol=1e-6)


def test_a_bondline_has_its_colour_wherever_it_is_shown(solved):
    # Of a double lap the left end may show one layer, the right the other, the whole both: by its name each is one colour.
    for name in ("double", "double unlike", "double pinned", "stepped"):
        whole = {one.bond: one.colour for one in made(solved[name])[0]}
        assert len(set(whole.values())) == len(whole) == (2 if name.startswith("double") else 1)
        section = read_section(solved[name])
        bonds, lines = section.joint.geometry.bonds(), solved[name].bondlines
        for end in ("left", "right"):
            frame = framed(section, end, stretch=2.0)
            for one in ribbon.ribbons(section, frame, "both", 1.0):
                assert one.colour == whole[one.bond], (name, end)
        # Each layer alone in the window, whichever an end happens to show.
        for bond, line in zip(bonds, lines, strict=True) if len(whole) > 1 else ():
            window = (frame.window[0], (bond.y - 1e-3, bond.y + 1e-3))
            (one,) = ribbon.ribbons(section, replace(frame, window=window), "peel", 1.0)
            assert one.bond == f"bondline {line.number}"
            assert one.numbers == [line.number]
            assert one.colour == whole[one.bond]


def test_the_picture_shows_the_ribbons_and_labels_their_peaks(solved):
    plotter = stress_view(solved["double unlike"], ribbon="shear", size=(800, 450))
    try:
        for number, peak in (
            (1, solved["double unlike"].bondlines[0].peak_shear),
            (2, solved["double unlike"].bondlines[1].peak_shear),
        ):
            name = f"ribbon shear bondline {number}"
            said = plotter.actors[f"{name} peak"].GetInput()
            assert said == f"bondline {number}, peak shear {peak.value:.3g} MPa at x = {peak.x:.3g} mm"
            low, high = np.asarray(plotter.actors[name].bounds).reshape(3, 2).T
            assert (low[0], high[0]) == pytest.approx((0.0, solved["double unlike"].joint.geometry.length))
            assert low[1] > max(plotter.actors[region].bounds[3] for region in ("inner", "adhesive"))
    finally:
        plotter.close()
