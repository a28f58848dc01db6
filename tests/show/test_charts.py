"""Files of charts."""

import matplotlib
import pytest
from chart_parts import PEEL, L, T, with_refused

from fejoint.show.charts import save_chart
from fejoint.show.contours import contour_figure


@pytest.fixture
def table():
    return with_refused()


def test_charts_are_written_twice_and_the_same_each_time(table, tmp_path):
    before = dict(matplotlib.rcParams)
    paths = [save_chart(contour_figure(table, PEEL, L, T, f"{PEEL} <= 45"), tmp_path / f"{i}" / L) for i in "ab"]
    assert [path.name for path in paths[0]] == [f"{L}.png", f"{L}.svg"]
    for one, other in zip(*paths, strict=True):
        assert one.read_bytes() == other.read_bytes()
    assert "peak peel ≤ 45 MPa" in paths[0][1].read_text(encoding="utf-8")
    assert dict(matplotlib.rcParams) == before
