"""The map of cloth: the regions in which zones are lettered."""

import numpy as np
import pytest
import shapely

from plugs.subjects.cloth_map import _covered

SIDE_BY_SIDE = [((0, 0), (4, 0), (4, 3)), ((0, 0), (4, 3), (0, 3)), ((4, 0), (8, 0), (4, 3))]
ONE_OVER_OTHERS = [*SIDE_BY_SIDE, ((3, 1), (9, 1), (6, 7))]
ONE_WITHIN = [*SIDE_BY_SIDE, ((1, 1), (2, 1), (2, 2))]


@pytest.mark.parametrize("triangles", [SIDE_BY_SIDE, ONE_OVER_OTHERS, ONE_WITHIN])
def test_a_region_is_what_triangles_cover_whatever_their_order(triangles):
    """It is the geometry library's union of them, and begins at one vertex, so that letters stay put."""
    faces = np.array(triangles, dtype=np.float64)
    union = shapely.union_all(shapely.polygons(faces))
    regions = [_covered(np.roll(faces, k, axis=0)) for k in range(len(faces))]
    assert all(shapely.symmetric_difference(region, union).area < 1e-12 for region in regions)
    assert len({region.wkb for region in regions}) == 1
