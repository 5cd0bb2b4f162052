"""The drawings and the words of a gauge study."""

import numpy as np
import pytest
from matplotlib.colors import to_hex

from lotqa.report.gauge_words import study_sentences
from lotqa.report.looks import NARROW, PALETTE, WIDE
from lotqa.report.pin_words import pin_sentences
from lotqa.report.plots.gauge import SHAPES, parts_plot, repeats_plot
from lotqa.report.plots.svg import figure_svg

PLACE = np.repeat([0, 1], 4)
OPERATOR = np.tile([0, 0, 1, 1], 2)
VALUE_MM = np.array([1.74, 1.76, 1.75, 1.75, 1.70, 1.70, 1.71, 1.69])
SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])


def drawn(size=WIDE, operators=("east", "west")):
    return repeats_plot(PLACE, OPERATOR, VALUE_MM, ("1", "2"), operators, 0.008, size=size)


def bars(fig) -> list[tuple[float, float]]:
    """(start, end) of each bar of a hand, left to right."""
    found = [
        (line.get_xdata()[0], tuple(line.get_ydata()))
        for line in fig.axes[0].lines
        if to_hex(line.get_color()) == PALETTE["ink"] and len(set(line.get_xdata())) == 1
        and line.get_linestyle() == "-"
    ]  # fmt: skip
    return [ends for _, ends in sorted(found)]


def test_each_hand_is_a_bar_from_its_smallest_to_its_largest_repeat():
    """Place means are 1.75 and 1.70; what is drawn is what a reading lies off them."""
    wanted = [(-0.01, 0.01), (0, 0), (0, 0), (-0.01, 0.01)]
    assert [pytest.approx(ends, abs=1e-12) for ends in wanted] == bars(drawn())


def test_each_hand_has_a_shape_and_its_name_beside_it():
    ax = drawn().axes[0]
    names = [t.get_text() for t in ax.texts]
    assert names == ["east", "west"]
    assert {line.get_marker() for line in ax.lines} >= set(SHAPES[:2])


@SIZES
def test_odd_names_and_many_hands_are_drawn(size):
    place = np.repeat(np.arange(30), 18)
    hand = np.tile(np.repeat(np.arange(9), 2), 30)
    value_mm = 1.75 + 0.01 * np.sin(np.arange(540))
    names = tuple(f"<b>$x${i}</b>" for i in range(9))
    fig = repeats_plot(place, hand, value_mm, tuple("p" * 40 for _ in range(30)), names, 0.0,
                       size=size)  # fmt: skip
    svg = figure_svg(fig)
    assert "<b>" not in svg
    assert figure_svg(fig) == svg


@SIZES
def test_an_interval_without_end_is_cut_by_an_arrow(size):
    rows = [("a", 0.008, (0.006, 0.011)), ("b", 0.003, (0.0, None)), ("c", 0.004, (0.001, 9.0))]
    ax = parts_plot(rows, 0.005, size=size).axes[0]
    assert sum(line.get_marker() == ">" for line in ax.lines) == 2
    assert ax.get_xlim()[1] < 0.03
    assert figure_svg(parts_plot([("a", 0.0, (0.0, 0.0))], None, size=size))


def document(**changed):
    part = {
        "sd_mm": 0.0085, "variance_mm2": 0.0085**2, "estimate_mm2": 0.0085**2,
        "sd_ci95_mm": [0.007, 0.011], "share_of_tolerance_pct": 51.0,
        "share_of_tolerance_ci95_pct": [42.0, 66.0],
    }  # fmt: skip
    given = {
        "instrument": "this calliper",
        "operators": ["one hand"],
        "resolved": True,
        "step_mm": 0.01,
        "tolerance_mm": 0.05,
        "share_max_pct": 30.0,
        "df_repeatability": 40,
        "components": [{"name": n, **part} for n in ("repeatability", "gauge", "place", "total")],
        "ratio": {"distinct_categories": 2, "distinct_categories_ci95": [1, None]},
        "scatter": {"sd_mm": 0.008, "df": 40},
    }
    return {**given, **changed}


def test_the_findings_are_told_in_words():
    """0.0085 mm: six of them are 0.051 mm, 51 % of 0.10 mm and 127.5 % of 0.04 mm."""
    texts = study_sentences(document())
    assert texts[0] == (
        "Your hand and this calliper scatter by 0.0085 mm (standard deviation of one reading, 40 "
        "degrees of freedom, 95 %: 0.0070 to 0.0110 mm): six of them are 51 % of a ± 0.05 mm band "
        "(42 % to 66 %)."
    )
    assert texts[1] == ("One reading cannot judge ± 0.02 mm: hand and tool alone fill 128 % of it.")
    # The mean of 3 has 0.0085 / sqrt(3) = 0.0049 mm, six of which are 29 % of 0.10 mm.
    assert texts[2].endswith("The mean of 3 readings by one hand comes down to 29 %.")
    assert "2 classes (95 %: 1 to without bound)" in texts[4]


def test_a_good_tool_is_told_to_do():
    parts = [{**c, "sd_mm": 0.002, "variance_mm2": 4e-6} for c in document()["components"]]
    texts = study_sentences(document(components=parts))
    assert texts[1] == (
        "Hand and tool fill 12 % of ± 0.05 mm; up to 30 % is accepted: one reading a place will do."
    )


def test_hands_that_differ_too_much_are_not_cured_by_more_readings():
    """30 % of 0.10 mm are 0.03 mm, six times 0.005: hands of 0.006 mm alone exceed it."""
    parts = document()["components"]
    parts.insert(1, {**parts[0], "name": "reproducibility", "sd_mm": 0.006,
                     "variance_mm2": 0.006**2})  # fmt: skip
    crossed = {"anova": [{}, {}, {"p": 0.01}, {}]}
    changed = document(
        components=parts,
        operators=["east", "west"],
        models={"with_interaction": crossed},
        interaction_pooled=False,
        interaction_alpha=0.25,
    )
    texts = study_sentences(changed)
    assert "no number of readings by one hand cures" in texts[2]
    assert texts[0].startswith("One hand and this calliper")
    assert "2 hands differ by 0.0060 mm" in texts[3]
    assert texts[3].endswith("so few tell little of the next one.")
    assert texts[4].startswith("Hands differ more at one place than at another (p 0.010, not")


def test_a_scatter_below_the_step_is_bounded_and_not_called_zero():
    (first, *_) = study_sentences(document(resolved=False))
    assert first == (
        "Your hand and this calliper repeat within the step of 0.01 mm: the scatter is too small "
        "for this step to show, at most 0.0110 mm. A tool with a finer step would show it."
    )


@pytest.mark.parametrize(
    ("highest", "said"),
    [
        (0.004, "as happens by chance when there is little of it: it is set to 0 and its interval "
         "kept, up to 0.0040 mm."),
        (0.0, "farther than chance explains: it is set to 0. Were trials read one straight after "
         "the other, or with the last figure in sight? Mix the order."),
    ],
)  # fmt: skip
def test_an_estimate_below_zero_is_said_in_words(highest, said):
    parts = document()["components"]
    parts[2] = {**parts[2], "estimate_mm2": -2.5e-6, "sd_ci95_mm": [0.0, highest]}
    texts = study_sentences(document(components=parts))
    assert f"The estimate for places came out below zero (-2.50 µm²), {said}" in texts


def test_a_pin_that_could_have_moved_farther_is_said_to_be_unsure():
    block = {
        "instrument": "Bench 1", "pin_readings": 2, "offset_mm": 0.01, "moved": False,
        "offset_uncertainty_mm": 0.006, "shift_mm": 0.01, "shift_ci95_mm": [-0.02, 0.04],
        "shift_max_mm": 0.02, "before": {}, "after": {}, "capability": None,
        "scatter": {"sd_mm": 0.008, "source": "stated"},
        "mean_of_places": {"places": 20, "directions": 2, "with_pin_mm": 0.01,
                           "without_pin_mm": 0.023},
    }  # fmt: skip
    assert "so few readings cannot rule out more" in pin_sentences(block)[1]
