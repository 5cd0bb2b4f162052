"""The palette against the published rules of contrast and a published model of colour vision."""

import itertools

import numpy as np
import pytest

from lotqa.report.looks import DRAWN_PAIRS, MARKS, PALETTE, TEXT_PAIRS

TEXT_CONTRAST, DRAWN_CONTRAST = 4.5, 3.0  # WCAG 2.2, success criteria 1.4.3 (AA) and 1.4.11 (AA)

# Machado, Oliveira, Fernandes, A Physiologically-based Model for Simulation of Color Vision
# Deficiency, IEEE TVCG 15(6), 2009, table of matrices at severity 1.0 (values from memory).
VISION = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def linear(colour: str) -> np.ndarray:
    """sRGB to linear light, as WCAG 2.2 defines relative luminance."""
    c = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def contrast(a: str, b: str) -> float:
    la, lb = (float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
    return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)


def lab(rgb_linear: np.ndarray) -> np.ndarray:
    """CIELAB under D65 (CIE 15, eq. for L*, a*, b*; sRGB primaries of IEC 61966-2-1)."""
    xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    ) @ np.clip(rgb_linear, 0, 1)
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_measure_of_contrast_gives_the_known_values():
    # 21 to 1 is the largest possible (WCAG 2.2, definition of contrast ratio); #767676 is the
    # lightest grey that passes on white (4.54, common practice).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < TEXT_CONTRAST


@pytest.mark.parametrize(("text", "ground"), TEXT_PAIRS)
def test_text_can_be_read(text, ground):
    assert contrast(PALETTE[text], PALETTE[ground]) >= TEXT_CONTRAST


@pytest.mark.parametrize(("drawn", "ground"), DRAWN_PAIRS)
def test_lines_that_mean_something_can_be_seen(drawn, ground):
    assert contrast(PALETTE[drawn], PALETTE[ground]) >= DRAWN_CONTRAST


@pytest.mark.parametrize("vision", VISION)
def test_verdict_colours_stay_apart_for_other_eyes(vision):
    # A difference of 10 in CIELAB is seen at a glance (common practice, no source).
    seen = {
        v: lab(np.array(VISION[vision]) @ linear(PALETTE[v])) for v in ("accept", "tune", "reject")
    }
    for a, b in itertools.combinations(seen, 2):
        assert np.linalg.norm(seen[a] - seen[b]) > 10, (a, b)


def test_red_and_green_of_one_lightness_would_fail():
    red, green = (lab(np.array(VISION["deutan"]) @ linear(c)) for c in ("#a05a3c", "#7a6a3c"))
    assert np.linalg.norm(red - green) < 10


def test_every_verdict_has_a_shape_of_its_own():
    assert {"accept", "tune", "reject"} <= set(MARKS)
    assert len(set(MARKS.values())) == len(MARKS)
    assert all("#" not in shape for shape in MARKS.values())  # colour comes from the word beside it
