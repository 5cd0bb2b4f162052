"""The page of an in-line log: sound, complete, and drawn as it should be."""

import math
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgb

from lotqa.criteria import read_criteria
from lotqa.evidence.traces import Strand
from lotqa.evidence.waves.spectrum import Spectrum
from lotqa.evidence.waves.wall import Wall
from lotqa.intake.traces import TraceOptions
from lotqa.report.looks import NARROW, PALETTE, WIDE
from lotqa.report.plots.strips import FeedLimits
from lotqa.report.plots.trace import LIGHT_DEG, spectrum_plot, strand_plot, wall_plot
from lotqa.report.trace_words import period_text
from lotqa.trace import Stated, run_trace
from tests.report.markup import (
    Page,
    cells_without_scope,
    outside_requests,
    repeated_ids,
    squeezed,
    unlabelled_pictures,
)
from tests.traces import Shape, chunks, simulated, table_bytes

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
SHAPE = Shape(
    sd_mm=0.003,
    waves=((0.12, 0.02),),
    lumps=((8.0, 10.0, 0.20), (22.0, 12.0, 0.08)),
    splices=((30.0, 0.05),),
    axis_angles_deg=(0.0, 90.0),
    noise_sd_mm=0.001,
)


def made(folder: Path, text: bytes, name: str = "spool.csv", stated: Stated | None = None):
    (folder / name).write_bytes(text)
    done = run_trace(
        folder / name, read_criteria(), now=NOW, stated=stated, report_folder=folder / "pages"
    )
    return done.document, done.page.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    rows = table_bytes(simulated(40_000, SHAPE, seed=2)).decode().splitlines()
    rows[300] = "echo: <b>busy</b>"
    text = "\n".join(rows).encode() + b"\n"
    return made(tmp_path_factory.mktemp("log"), text, stated=Stated(part_mm=60.0, walls=2))


@pytest.fixture(scope="module")
def page(both):
    return Page(both[1])


def test_the_markup_is_sound(page):
    assert page.unbalanced == []
    assert repeated_ids(page) == set()
    assert cells_without_scope(page) == []
    assert unlabelled_pictures(page) == []


def test_nothing_is_asked_of_another_place(both):
    """The lit wall is a picture inside the page."""
    found = outside_requests(both[1])
    inside = [f for f in found if f.startswith("image xlink:href=data:image/png;base64,")]
    assert len(inside) == 2
    assert found == inside


def test_sections_tables_and_figures_are_numbered_without_gaps(page):
    heads = [squeezed(e.text) for e in page.all("h2")]
    assert [h.split()[0] for h in heads] == [str(n) for n in range(1, len(heads) + 1)]
    captions = [re.match(r"Table (\d+)", squeezed(e.text))[1] for e in page.all("caption")]
    assert captions == [str(n) for n in range(1, 8)]
    figures = [re.match(r"Figure (\d+)", squeezed(e.text))[1] for e in page.all("figcaption")]
    assert figures == ["1", "2", "3"]
    assert len([e for e in page.all("svg") if e.attributes.get("class") == "plot"]) == 6


def test_every_sentence_and_problem_of_the_document_is_on_the_page(both, page):
    document, text = both[0], squeezed(page.text)
    assert len(document["texts"]) > 5
    told = [
        *document["texts"],
        *document["cautions"],
        *(p["message"] for p in document["problems"]),
    ]
    for sentence in told:
        assert squeezed(sentence) in text
    assert "<b>busy</b>" in text


def test_events_waves_and_bands_are_listed(both, page):
    document = both[0]
    cells = [squeezed(e.text) for e in page.elements if e.tag in ("td", "th")]
    assert [cells.count(k) for k in ("lump", "splice")] == [2, 1]
    assert cells.count("stops") == 1
    for event in document["events"]:
        assert f"{event['position_m']:.2f}" in cells
    assert period_text(document["waves"][0]["period_m"]) == "12.0 cm"
    assert "12.0 cm" in cells
    assert sum(c == "square 60 mm, 2 walls" for c in cells) == min(len(document["waves"]), 3)
    assert "if it stays the same on both" in squeezed(page.text)


def test_the_same_log_gives_the_same_bytes(tmp_path):
    text = table_bytes(simulated(3000, SHAPE))
    first = made(tmp_path, text)[1]
    assert made(tmp_path, text)[1] == first


def test_names_are_escaped(tmp_path):
    path = tmp_path / "<i>x&.csv"
    path.write_bytes(table_bytes(simulated(300), header="length_m,<i>d"))
    options = TraceOptions(diameter_columns=("<i>d",))
    done = run_trace(path, read_criteria(), now=NOW, options=options, report_folder=tmp_path)
    html = done.page.read_text(encoding="utf-8")
    assert "<i>" not in html
    assert "&lt;i&gt;d at 0" in html
    assert Page(html).unbalanced == []


@pytest.mark.parametrize("n", [1, 3, 100])
def test_little_may_be_known(tmp_path, n):
    _, html = made(tmp_path, table_bytes(simulated(n)))
    assert "NaN" not in html.replace("data:", "")
    assert ">nan<" not in html
    assert Page(html).unbalanced == []


# The drawings.


def strand(high_mm, low_mm, width_m=0.5):
    high, low = np.asarray(high_mm, dtype=float), np.asarray(low_mm, dtype=float)
    return Strand(0.0, width_m, low, high, (high + low) / 2)


def event(kind, position_m, peak_mm, *, stops=False):
    return {"kind": kind, "position_m": position_m, "peak_mm": peak_mm, "stops": stops}


def drawn(made_strand, events=(), size=WIDE):
    return strand_plot(
        made_strand, events, 1.75, 0.05, FeedLimits(1.6, 1.9), set_diameter_mm=1.75, mean_mm=1.75,
        size=size,
    )  # fmt: skip


@SIZES
def test_what_sticks_out_of_the_band_is_drawn_apart(size):
    """Columns 2 and 5 of ten reach 0.03 mm over and 0.01 mm under the band."""
    high, low = np.full(10, 1.77), np.full(10, 1.73)
    high[2], low[5] = 1.83, 1.69
    ax = drawn(strand(high, low), size=size).axes[0]
    red = [c for c in ax.collections if to_hex(c.get_edgecolor()[0]) == PALETTE["reject"]]
    segments = [s for c in red for s in c.get_segments()]
    assert [s[0][0] for s in segments] == [1.25, 2.75]
    assert segments[0][0][1] == pytest.approx(1.80)
    assert segments[0][1][1] == pytest.approx(1.83, abs=0.002)
    assert segments[1][1][1] == pytest.approx(1.70)


@SIZES
def test_events_are_marked_where_they_are(size):
    events = [event("lump", 1.0, 0.2, stops=True), event("lump", 3.0, 0.1), event("spike", 4.0, 1)]
    fig = drawn(strand([1.77] * 10, [1.73] * 10), events, size)
    marks = {
        (line.get_marker(), to_hex(line.get_color())): list(line.get_xdata())
        for line in fig.axes[0].lines
        if len(line.get_xdata()) and line.get_ydata()[0] == 1.05
    }
    assert marks[("^", PALETTE["reject"])] == [1.0]
    assert marks[("^", PALETTE["ink"])] == [3.0]
    assert marks[("x", PALETTE["ink"])] == [4.0]
    assert {t.get_text() for t in fig.axes[0].texts} >= {"lump (2)", "spike (1)"}
    assert "2 lumps, 1 spike of the sensor" in fig.get_label()


def test_a_gap_and_a_strand_without_spread_are_drawn():
    high = np.full(40, 1.75)
    high[10:20] = np.nan
    assert drawn(strand(high, high)).get_label().startswith("Filament strip")
    assert drawn(strand([1.75], [1.75]))


@SIZES
def test_the_spectrum_names_its_waves(size):
    spectrum = Spectrum()
    for chunk in chunks(simulated(40_000, SHAPE, seed=2)):
        spectrum.add(chunk)
    waves = spectrum.finish()
    fig = spectrum_plot(waves, size=size)
    texts = [t.get_text() for t in fig.axes[0].texts]
    assert "12.0 cm" in texts
    assert "12.0 cm, \u00b1 0.0" in fig.get_label()


def test_the_lamp_shines_from_above():
    """By Lambert: a surface that leans back by the angle a is 1 + tan(a) / tan(5 deg) as bright.

    The wall widens by 0.004 mm a layer of 0.20 mm, half of it on the side that is seen, up to its
    middle and narrows again: below it leans over and is dark, above it leans back and is bright.
    """
    height = 0.1 + 0.2 * np.arange(40)
    width = 0.45 + 0.004 * np.minimum(np.arange(40), np.arange(40)[::-1])
    wall = Wall(height, np.zeros((40, 3)), np.repeat(width[:, None], 3, axis=1))
    ax = wall_plot(wall, 20.0, "square 20 mm, 1 wall").axes[0]
    lit = np.asarray(ax.images[0].get_array())
    slope = 0.002 / 0.2
    for row, sign in ((5, -1), (35, 1)):
        share = 0.5 * (1 + sign * slope / math.tan(math.radians(LIGHT_DEG)))
        ink, paper = (np.array(to_rgb(PALETTE[k])) for k in ("ink", "paper"))
        np.testing.assert_allclose(lit[row, 1], ink + share * (paper - ink), atol=1e-9)
    assert lit[35].sum() > lit[5].sum()
    assert ax.images[0].get_extent() == [0.0, 20.0, 0.0, pytest.approx(8.0)]


def test_a_single_layer_is_a_wall():
    assert wall_plot(Wall(np.array([0.1]), np.zeros((1, 4)), np.full((1, 4), 0.45)), 20.0, "x")


@pytest.mark.parametrize(("period_m", "text"), [
    (0.0048, "4.80 mm"), (0.00999999, "10.0 mm"), (0.18, "18.0 cm"), (0.99999, "100 cm"),
    (3.2, "3.20 m"), (123.4, "123 m"),
])  # fmt: skip
def test_wave_lengths_are_told_with_three_digits(period_m, text):
    assert period_text(period_m) == text
