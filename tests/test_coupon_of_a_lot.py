"""The coupon of a spool, from the files of its lot to the document."""

import numpy as np
import pytest

from lotqa.inspection import inspect_lot
from lotqa.intake import read_sources
from lotqa.report.document import inspection_document
from tests.printing import ASKED, NOW, PINS, files, printed, spool, walls


@pytest.mark.parametrize("residual", [1.0, 1.05])
def test_the_coupon_says_whether_it_is_the_diameter(residual):
    mass_g, wall_mm = printed(1.78, residual)
    found = spool(
        "line_width_mm = 0.45\nlayer_height_mm = 0.2",
        ASKED,
        coupon_walls=walls(wall_mm),
        weighings=f"spool,kind,mass_g\nA,coupon,{mass_g:.2f}\n",
    )["coupon"]
    # Walls are written to 0.001 mm, and the mean diameter is known to 0.001 mm: 0.3 % together.
    for route in ("wall", "mass"):
        assert found[route]["multiplier"] == pytest.approx(residual * (1.75 / 1.78) ** 2, rel=0.003)
        assert found[route]["residual"] == pytest.approx(residual, rel=0.003)
        lo, hi = found[route]["residual_ci95"]
        assert lo < residual < hi
    assert found["diameter"]["multiplier"] == pytest.approx((1.75 / 1.78) ** 2, rel=0.0012)
    if residual > 1:
        assert (found["word"], found["wall"]["word"]) == ("not_diameter", "not_diameter")
        assert "moisture, slip at the drive, a wrong temperature" in found["text"]
    else:
        # The density of a PLA is known to about 1 %: more than the gap that counts as small.
        assert found["word"] in ("explained", "cannot_tell")


def test_the_length_fed_holds_the_multiplier_and_the_volume_asked_does_not():
    """However much was set, so much mass from so much filament is one and the same filament."""
    mass_g, _ = printed(1.78)
    weighings = f"spool,kind,mass_g\nA,coupon,{mass_g:.3f}\n"
    section = np.pi * 1.75**2 / 4
    ks = [
        spool(f"multiplier = {k}", asked, weighings=weighings)["coupon"]["mass"]["multiplier"]
        for k, asked in (
            (1.0, "commanded_mm = 6500"),
            (0.95, "commanded_mm = 6500"),
            (0.95, f"commanded_volume_mm3 = {6500 * section / 0.95}"),
        )
    ]
    assert ks == pytest.approx([(1.75 / 1.78) ** 2] * 3, rel=1e-4)


def test_a_calliper_on_the_wall_cannot_tell():
    """Common practice, no source: 0.01 mm on 0.45 mm is 2.2 %, a calliper's 0.02 mm is 4.4 %."""
    _, wall_mm = printed(1.78, 1.03)
    rows = walls(wall_mm).splitlines()
    table = "\n".join([f"{rows[0]},instrument", *(f"{row},c" for row in rows[1:])])
    found = spool("", ASKED, coupon_walls=table)["coupon"]
    assert found["wall"]["tools"] == ["c"]
    assert found["word"] == "cannot_tell"
    assert "the wall cannot tell" in found["text"]


def test_the_offset_of_the_tool_is_taken_off_the_wall():
    pairs = dict(files("", ASKED, coupon_walls=walls(0.470)))
    too_thick = PINS
    for reading in ("1.750", "1.751", "1.749"):
        too_thick = too_thick.replace(f",{reading}\n", f",{float(reading) + 0.01:.3f}\n")
    pairs["pin_checks.csv"] = too_thick.encode()
    made = inspection_document(inspect_lot(read_sources(list(pairs.items()))), NOW)
    wall = made["spools"][0]["coupon"]["wall"]
    assert (wall["mean_mm"], wall["offset_mm"]) == pytest.approx((0.460, 0.010), abs=1e-9)


def test_a_reference_takes_the_machine_out():
    """The drive loses 4 % on every filament: against the reference there is no gap."""
    _, wall_mm = printed(1.78, 1.04)
    table = walls(wall_mm)
    alone = spool("", ASKED, coupon_walls=table)["coupon"]
    assert alone["word"] == "not_diameter"
    assert "reference_residual = 1.0" in alone["text"]
    known = ASKED + 'reference_residual = 1.04\nreference_u = 0.002\nreference_tools = "same"\n'
    found = spool("", known, coupon_walls=table)["coupon"]
    assert found["word"] == "explained"
    assert found["wall"]["gap_pct"] == pytest.approx(0, abs=0.3)
    assert found["wall"]["residual"] == pytest.approx(1.04, rel=0.003)
    assert "The reference is the one written in the lot sheet" in found["text"]
    # The tool's own error is the same on both coupons and falls out, if it was the same tool.
    apart = spool("", known.replace('"same"', '"other"'), coupon_walls=table)["coupon"]
    width = [np.diff(f["wall"]["gap_ci95_pct"])[0] for f in (found, apart)]
    assert width[0] < width[1]
    # A reference by mass says nothing of walls.
    other = spool("", known + 'reference_route = "mass"\n', coupon_walls=table)["coupon"]
    assert other["wall"]["against_reference"] is False


@pytest.mark.parametrize(
    ("settings", "coupon", "tables", "missing"),
    [
        (
            "",
            "",
            {"coupon_walls": walls(0.46)},
            "The wall that was asked for is not known: write wall_target_mm.",
        ),
        (
            "",
            ASKED,
            {"coupon_walls": "spool,side,wall_mm\n" + "A,1,0.46\n" * 12},
            "The wall was read on one side only: read three places on each of four.",
        ),
        (
            "layer_height_mm = 0.5",
            ASKED,
            {"coupon_walls": walls(0.46)},
            "A wall of 0.45 mm is not wider than the layer of 0.5 mm is high: correct "
            "wall_target_mm or layer_height_mm.",
        ),
        (
            "",
            "",
            {"weighings": "spool,kind,mass_g\nA,coupon,19.9\n"},
            "What the machine was told to feed is not known: write commanded_mm.",
        ),
    ],
)
def test_a_coupon_that_lacks_something_says_what(settings, coupon, tables, missing):
    found = spool(settings, coupon, **tables)["coupon"]
    assert (found["wall"], found["mass"], found["word"]) == (None, None, None)
    assert found["text"] == missing


def test_without_a_density_the_mass_says_nothing():
    pairs = dict(files("", ASKED, weighings="spool,kind,mass_g\nA,coupon,19.9\n"))
    pairs["lot.toml"] = pairs["lot.toml"].replace(b'material = "PLA"\n', b"")
    made = inspection_document(inspect_lot(read_sources(list(pairs.items()))), NOW)
    assert made["spools"][0]["coupon"]["text"] == (
        "The density is not known: name the material, or weigh a piece in water."
    )


def test_one_place_leaves_nothing_to_compare_the_print_with():
    found = spool("", ASKED, n_places=1, coupon_walls=walls(0.46))["coupon"]
    assert found["diameter"] is None
    assert found["wall"]["multiplier"] < 1
    assert found["text"].startswith("The mean diameter of the spool is not known well enough")
