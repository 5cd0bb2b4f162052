import itertools
import math
import re
import subprocess
import sys
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.colors import to_hex

from lotqa.report.looks import NARROW, PALETTE, WIDE
from lotqa.report.numbers import MINUS
from lotqa.report.plots import (
    FeedLimits,
    IntervalRow,
    LotBlock,
    diameter_range_mm,
    figure_svg,
    lot_strips,
    mean_interval_plot,
    spread_interval_plot,
    strip_plot,
    supplier_strips,
)
from lotqa.report.plots.canvas import apart, nice_step, ticks
from lotqa.report.strip import Strip
from lotqa.report.texts import shortened
from tests.report.conftest import NOMINAL_MM, TOLERANCE_MM, make_strip

SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])


def tiny(low: list[float], high: list[float], **changes: object) -> Strip:
    low_mm, high_mm = np.array(low), np.array(high)
    fields: dict = {
        "spool": "7",
        "position_m": np.arange(1.0, len(low) + 1),
        "position_known": True,
        "low_mm": low_mm,
        "high_mm": high_mm,
        "mean_mm": (low_mm + high_mm) / 2,
        "verdict": "accept",
        "standing": "firm",
        "mean_ci95_mm": (math.nan, math.nan),
    }
    return Strip(**{**fields, **changes})


def bars(ax, colour: str) -> list[tuple[float, float, float]]:
    """(x, start, end) of every vertical line of a colour."""
    return [
        (float(seg[0][0]), float(seg[0][1]), float(seg[1][1]))
        for collection in ax.collections
        if hasattr(collection, "get_segments")
        and to_hex(collection.get_colors()[0]) == PALETTE[colour]
        for seg in collection.get_segments()
    ]


def words(fig) -> str:
    return " ".join(t.get_text() for ax in fig.axes for t in ax.texts)


def all_plots(strips, size):
    rows = [
        IntervalRow("KF-1", "accept", 1.75, (1.74, 1.76), 1.7, 1.8, "2026-01-01"),
        IntervalRow("KF-2", "tune", 1.72, (None, 1.74), 1.7, 1.8),
        IntervalRow("KF-3", "reject", None, (None, None)),
    ]
    blocks = [LotBlock("KF-1", "2026-01-01", "tune", tuple(strips), NOMINAL_MM, TOLERANCE_MM)]
    return {
        "strip": strip_plot(strips[0], NOMINAL_MM, TOLERANCE_MM, FeedLimits(1.6, 1.9), size=size),
        "lot": lot_strips(strips, NOMINAL_MM, TOLERANCE_MM, size=size),
        "supplier": supplier_strips(blocks, size=size),
        "means": mean_interval_plot(rows, NOMINAL_MM, size=size),
        "spreads": spread_interval_plot(rows, size=size),
    }


def test_each_place_is_a_bar_from_its_smallest_to_its_largest_direction():
    strip = tiny([1.74, 1.75], [1.76, 1.755])
    ax = strip_plot(strip, NOMINAL_MM, TOLERANCE_MM).axes[0]
    assert bars(ax, "ink") == [(1.0, 1.74, 1.76), (2.0, 1.75, 1.755)]
    assert bars(ax, "reject") == []


def test_only_what_is_outside_the_band_is_marked():
    strip = tiny([1.79, 1.69, 1.74], [1.82, 1.695, 1.80])
    ax = strip_plot(strip, NOMINAL_MM, TOLERANCE_MM).axes[0]
    assert bars(ax, "reject") == [(1.0, 1.80, 1.82), (2.0, pytest.approx(1.695), 1.69)]


def test_the_right_hand_axis_goes_with_the_area_of_the_filament():
    fig = strip_plot(tiny([1.70], [1.80]), NOMINAL_MM, TOLERANCE_MM)
    right = fig.axes[1]
    assert right.get_ylim() == fig.axes[0].get_ylim()
    found = {
        float(label.get_text().replace(MINUS, "-")): y
        for y, label in zip(right.get_yticks(), right.get_yticklabels(), strict=True)
    }
    assert len(found) >= 4
    area_mm2 = math.pi / 4 * NOMINAL_MM**2
    for error_pct, d_mm in found.items():
        assert math.pi / 4 * d_mm**2 / area_mm2 == pytest.approx(1 + error_pct / 100)


def test_flow_is_counted_from_the_diameter_set_in_the_printer():
    fig = strip_plot(tiny([1.70], [1.80]), NOMINAL_MM, TOLERANCE_MM, set_diameter_mm=1.72)
    right = fig.axes[1]
    zero = [t.get_text() for t in right.get_yticklabels()].index("0")
    assert right.get_yticks()[zero] == pytest.approx(1.72)


def test_feed_limits_are_lines_in_view_and_words_outside_it():
    near = strip_plot(tiny([1.74], [1.91]), NOMINAL_MM, TOLERANCE_MM, FeedLimits(1.6, 1.9))
    levels = [line.get_ydata()[0] for line in near.axes[0].lines if len(line.get_xdata()) == 2]
    assert 1.9 in levels
    assert "feed limit 1.90" in words(near)
    assert "feed limit 1.60\u2193" in words(near)


def test_an_interval_without_ends_is_not_drawn():
    for ci in ((math.nan, math.nan), (-math.inf, math.inf)):
        fig = strip_plot(tiny([1.74], [1.76], mean_ci95_mm=ci), NOMINAL_MM, TOLERANCE_MM)
        assert figure_svg(fig)


@SIZES
def test_the_same_evidence_gives_the_same_bytes(strips, size):
    first, second = all_plots(strips, size), all_plots(strips, size)
    for name in first:
        assert figure_svg(first[name]) == figure_svg(second[name]), name
    assert len({figure_svg(fig) for fig in first.values()}) == len(first)


def test_the_settings_of_the_reader_change_nothing(strips):
    before = figure_svg(strip_plot(strips[0], NOMINAL_MM, TOLERANCE_MM))
    with matplotlib.rc_context({"font.size": 30, "axes.facecolor": "red", "svg.fonttype": "path"}):
        after = figure_svg(strip_plot(strips[0], NOMINAL_MM, TOLERANCE_MM))
        assert matplotlib.rcParams["font.size"] == 30  # and they are left as they were
    assert before == after


@SIZES
def test_a_figure_is_sound_xml_with_text_alternative_and_ids_of_its_own(strips, size):
    seen: set[str] = set()
    for fig in all_plots(strips, size).values():
        svg = figure_svg(fig)
        root = ElementTree.fromstring(svg)
        assert root.get("role") == "img"
        assert len(root.get("aria-label")) > 20
        ids = [e.get("id") for e in root.iter() if e.get("id")]
        assert len(ids) == len(set(ids))
        assert not seen & set(ids)
        seen |= set(ids)
        used = re.findall(r'(?:href="#|url\(#)([^")]+)', svg)
        assert used
        assert set(used) <= set(ids)
        assert "<style" not in svg
        assert "<metadata" not in svg


def test_names_with_markup_dollars_and_controls_are_only_names():
    for spool in ("<b>&\"'", "$\\frac{1}{2}$", "a\x00b\x07", 'id="x" url(#y)', "線材"):
        strip = tiny([1.74], [1.76], spool=spool)
        svg = figure_svg(strip_plot(strip, NOMINAL_MM, TOLERANCE_MM, with_title=True))
        root = ElementTree.fromstring(svg)
        clean = spool.replace("\x00", " ").replace("\x07", " ")
        assert clean in root.get("aria-label")
        assert any(clean in "".join(e.itertext()) for e in root.iter() if e.tag.endswith("text"))


@SIZES
def test_labels_in_the_margin_do_not_overlap(size):
    strip = tiny([1.749, 1.7495], [1.7505, 1.751], mean_ci95_mm=(1.7492, 1.7508))
    fig = strip_plot(strip, NOMINAL_MM, 0.002, FeedLimits(1.6, 1.9), mean_mm=1.7501, size=size)
    renderer = fig.canvas.get_renderer() if hasattr(fig.canvas, "get_renderer") else None
    if renderer is None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        renderer = FigureCanvasAgg(fig).get_renderer()
    boxes = [t.get_window_extent(renderer) for t in fig.axes[0].texts if t.get_text()]
    assert len(boxes) >= 6
    for i, a in enumerate(boxes):
        assert a.x0 >= 0
        for b in boxes[i + 1 :]:
            assert not a.shrunk(0.9, 0.8).overlaps(b.shrunk(0.9, 0.8))


@given(
    st.lists(st.floats(0, 10), min_size=1, max_size=8),
    st.floats(0.01, 3),
)
def test_labels_keep_their_order_and_their_distance(wanted, gap):
    placed = apart(wanted, gap, 0.0, 10.0)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    steps = [placed[b] - placed[a] for a, b in itertools.pairwise(order)]
    fits = gap * (len(wanted) - 1) < 10.0
    assert all(s >= (gap if fits else 0.0) - 1e-9 for s in steps)
    assert all(-1e-9 <= p <= 10 + 1e-9 for p in placed)


@given(st.floats(1e-3, 1e4), st.integers(2, 12))
def test_ticks_are_round_and_no_more_than_asked(span, n_most):
    step = nice_step(span, n_most)
    assert span / step <= n_most * (1 + 1e-6)
    mantissa = float(f"{step:e}".split("e")[0])
    assert mantissa in (1.0, 2.0, 5.0)
    values, digits = ticks(0.0, span, n_most)
    assert len({f"{v:.{digits}f}" for v in values}) == len(values)


def test_a_spool_without_scatter_still_has_a_scale():
    lo, hi = diameter_range_mm([tiny([1.75], [1.75])], None, None)
    assert lo < 1.75 < hi


@SIZES
def test_plots_take_what_is_not_known(size):
    nothing = tiny([], [])
    one = make_strip("1", 1.75, 0.01, "accept", "firm", n=1)
    unplaced = tiny([1.74, 1.73], [1.76, 1.75], position_known=False)
    for strip in (nothing, one, unplaced):
        for nominal_mm, tolerance_mm in ((None, None), (1.75, None), (1.75, 0.05)):
            assert figure_svg(strip_plot(strip, nominal_mm, tolerance_mm, size=size))
            assert figure_svg(lot_strips([strip], nominal_mm, tolerance_mm, size=size))
    assert figure_svg(mean_interval_plot([], None, size=size))
    assert figure_svg(supplier_strips([LotBlock("a", "", "tune", (), None, None)], size=size))


def test_places_without_position_are_counted():
    fig = strip_plot(tiny([1.74] * 4, [1.76] * 4, position_known=False), 1.75, 0.05)
    assert "place number" in fig.axes[0].get_xlabel()
    assert all(t.get_text().isdigit() for t in fig.axes[0].get_xticklabels())


def test_long_codes_keep_both_ends():
    assert shortened("KR-2025-PLA-0417", 11) == "KR-20\u2026-0417"
    assert shortened("short", 11) == "short"


RUN = (
    "import sys; sys.path[:0] = {path!r}; {code}; "
    "print(sorted(m for m in {names!r} if m in sys.modules))"
)


def loaded(code: str, names: tuple[str, ...]) -> str:
    done = subprocess.run(
        [sys.executable, "-c", RUN.format(path=sys.path, code=code, names=names)],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def test_drawing_is_loaded_when_something_is_drawn_and_has_no_global_state():
    heavy = ("matplotlib", "jinja2", "pandas", "scipy")
    assert loaded("import lotqa.report, lotqa.report.plots", heavy) == "[]"
    draw = (
        "from tests.report.conftest import make_strips; from lotqa.report.plots import *; "
        "figure_svg(strip_plot(make_strips()[0], 1.75, 0.05))"
    )
    assert loaded(draw, ("matplotlib.pyplot",)) == "[]"
    assert loaded(draw, ("matplotlib",)) == "['matplotlib']"
    # the guard can fail
    assert loaded("import matplotlib.pyplot", ("matplotlib.pyplot",)) == "['matplotlib.pyplot']"
