"""Depth, ligament and pitch of pools whose outline is known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from weldcalc.passes.seam_shape import fused_depth, fused_ligament, largest_pitch, scallop_width

WALL = 0.4e-3
CONE = np.array([[0.3e-3, 0.0], [0.0, WALL]])
WAIST = np.array([[0.3e-3, 0.0], [0.1e-3, 0.2e-3], [0.25e-3, WALL]])
NONE = np.empty((0, 2))


def test_cone_is_as_deep_as_similar_triangles_say() -> None:
    assert fused_depth(CONE, 0.1e-3) == pytest.approx(WALL * 2 / 3)
    assert fused_ligament(CONE, 0.1e-3) == pytest.approx(WALL * 2 / 3)
    assert fused_depth(CONE, 0.31e-3) == 0.0


def test_a_waist_breaks_the_depth_but_not_the_ligament() -> None:
    assert fused_depth(WAIST, 0.2e-3) == pytest.approx(0.1e-3)
    below = 0.2e-3 * (0.25 - 0.2) / (0.25 - 0.1)
    assert fused_ligament(WAIST, 0.2e-3) == pytest.approx(0.1e-3 + below)
    assert fused_depth(WAIST, 0.05e-3) == pytest.approx(WALL)


def test_nothing_fused_has_no_depth() -> None:
    assert fused_depth(NONE, 0.0) == 0.0
    assert fused_ligament(NONE, 0.0) == 0.0


def test_scallop_is_the_chord_two_circles_share() -> None:
    assert scallop_width(5.0, 3.0) == pytest.approx(4.0)
    assert scallop_width(1.0, 2.0) == 0.0


@pytest.mark.parametrize("depth", [0.1e-3, 0.25e-3, WALL])
def test_largest_pitch_just_reaches_the_depth(depth: float) -> None:
    limit = largest_pitch(
        WAIST,
        depth=depth,
        full_wall=False,
        least_root_width=None,
        root_width=0.5e-3,
        spot_diameter=0.4e-3,
        spot_overlap=None,
    )
    assert limit is not None
    assert fused_depth(WAIST, limit.pitch / 2 * (1 - 1e-9)) >= depth * (1 - 1e-6)
    assert fused_depth(WAIST, limit.pitch / 2 * (1 + 1e-6)) < max(depth, 0.2e-3 + 1e-9)


def test_the_narrowest_goal_binds() -> None:
    asked = {"depth": WALL, "full_wall": True, "root_width": 0.5e-3, "spot_diameter": 0.4e-3}
    by_root = largest_pitch(WAIST, **asked, least_root_width=0.48e-3, spot_overlap=0.1)
    assert by_root is not None
    assert by_root.binds.startswith("root width")
    assert scallop_width(0.5e-3, by_root.pitch) == pytest.approx(0.48e-3)
    by_overlap = largest_pitch(WAIST, **asked, least_root_width=0.1e-3, spot_overlap=0.7)
    assert by_overlap is not None
    assert (by_overlap.binds, by_overlap.pitch) == ("spot overlap", pytest.approx(0.12e-3))


def test_no_pitch_where_the_pool_is_too_small_or_nothing_is_asked() -> None:
    plain = {"full_wall": False, "least_root_width": None, "root_width": 0.0}
    plain |= {"spot_diameter": 0.4e-3}
    assert largest_pitch(CONE, depth=0.5e-3, spot_overlap=None, **plain) is None
    assert largest_pitch(CONE, depth=None, spot_overlap=None, **plain) is None
