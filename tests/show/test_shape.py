"""Outlines have the areas of the joint, end faces and windows lie where the joint has them."""

from __future__ import annotations

import numpy as np
import pytest

from fejoint.show import shape


def area(corners):
    x, y = corners.T
    return abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def test_outlines_have_the_areas_of_the_joint(families):
    for name, shown in families.items():
        polygons = shape.outlines(shown.geometry)
        found = {region: sum(area(corners) for corners in parts) for region, parts in polygons.items()}
        assert found == pytest.approx(shown.geometry.region_areas()), name


def test_outlines_enclose_the_mesh_and_no_more(solved):
    for name, result in solved.items():
        mesh = result.section.mesh
        for region, parts in shape.outlines(result.joint.geometry).items():
            nodes = mesh.p[:, np.unique(mesh.t[:, mesh.subdomains[region]])]
            corners = np.concatenate(parts)
            for axis in (0, 1):
                drawn = corners[:, axis].min(), corners[:, axis].max()
                assert drawn == pytest.approx((nodes[axis].min(), nodes[axis].max()), abs=1e-9), (name, region)
            # Every corner of the drawing is a node of the mesh.
            off = np.abs(corners[:, :, None] - nodes[None]).max(axis=1).min(axis=1)
            assert off.max() < 1e-9, (name, region)


def test_end_faces_are_where_the_mesh_has_them(solved):
    for name, result in solved.items():
        for adherend, end in result.solution.ends.items():
            face = shape.end_faces(result.joint.geometry)[adherend]
            assert (face.x, face.middle) == pytest.approx((end.x, end.y), abs=1e-9), (name, adherend)
            assert face.top - face.bottom == pytest.approx(result.joint.geometry.adherends()[adherend].thickness), name
            assert face.side == np.sign(end.x), name


@pytest.mark.parametrize("end", ["left", "right"])
@pytest.mark.parametrize("height", [0.42, 0.62, 0.7])
def test_a_window_holds_the_corners_of_the_adhesive(families, end, height):
    for name, shown in families.items():
        g = shown.geometry
        (x0, x1), (y0, y1) = shape.end_window(g, end, height)
        assert (y1 - y0) / (x1 - x0) == pytest.approx(height)
        h, f, at = g.bondline_thickness / 2, g.fillet_height, 0.0 if end == "left" else g.length
        (bond,) = [b for b in g.bonds() if (b.start if end == "left" else b.end) == at][-1:]
        corners = [(at, bond.y - h), (at, bond.y + h)]
        if name.startswith("stepped"):  # the whole butt end, with its bead and the tread that it leads to
            surface = g.depth / 2 if end == "left" else -g.depth / 2
            corners += [(at + s * (h + f), surface) for s in (-1, 1)] + [(at, surface + np.sign(surface) * f)]
        for x, y in corners:
            assert x0 < x < x1, name
            assert y0 < y < y1, name


def test_thickness_is_enlarged_by_round_factors():
    assert [shape.round_factor(wanted) for wanted in (0.0, 0.7, 1.9, 2.0, 4.9, 99.0, 250.0)] == [1, 1, 1, 2, 3, 50, 200]
