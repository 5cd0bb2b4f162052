"""What a coupon lacks before it can say anything.  All of it is noted, nothing falls out.

That a wall is read 12 times, three times on each of four sides, is common practice, no source.
"""

from collections.abc import Iterator, Sequence

from lotqa.model import LotSheet, Problem, WallReading, WeighIn

N_READINGS = 12
N_SIDES = 4
ODD_SHARE = (0.6, 1.6)  # of the target; beyond, it was not one wall, or not this coupon


def coupon_check(
    sheet: LotSheet, sheet_file: str, weigh_ins: Sequence[WeighIn], walls: Sequence[WallReading]
) -> Iterator[Problem]:
    """Problems of the coupons of a lot: what is missing, too few readings, odd walls."""
    coupon = sheet.coupon
    target_mm = coupon.wall_target_mm or sheet.print_settings.line_width_mm
    if walls and coupon.wall_target_mm is None:
        yield Problem(walls[0].file, None, "wall_mm", None, _no_target(target_mm))
    by_spool: dict[str, list[WallReading]] = {}
    for wall in walls:
        by_spool.setdefault(wall.spool, []).append(wall)
    for spool, rows in by_spool.items():
        yield from _few(spool, rows)
        if target_mm is not None:
            yield from _odd(rows, target_mm)
    commanded = (coupon.commanded_mm, coupon.commanded_volume_mm3)
    weighed = [w for w in weigh_ins if w.kind == "coupon"]
    if weighed and commanded == (None, None):
        first = weighed[0]
        message = (
            "a coupon was weighed, but what the machine was told to feed is not known: write "
            "commanded_mm or commanded_volume_mm3 under [coupon] in lot.toml"
        )
        yield Problem(first.file, first.line, "mass_g", f"{first.mass_g:g}", message)
    if None not in commanded:
        message = "commanded_mm and commanded_volume_mm3 are both given: the volume is used"
        yield Problem(sheet_file, None, "commanded_mm", f"{coupon.commanded_mm:g}", message)
    if coupon.reference_residual is not None and coupon.reference is not None:
        message = (
            f'reference is "{coupon.reference}", but reference_residual is given, too: '
            "the residual is used; take one of them out"
        )
        yield Problem(sheet_file, None, "reference", coupon.reference, message)
    if coupon.reference_residual is None and coupon.reference_u is not None:
        message = "reference_u without reference_residual says nothing: write both"
        yield Problem(sheet_file, None, "reference_u", f"{coupon.reference_u:g}", message)


def _no_target(line_width_mm: float | None) -> str:
    if line_width_mm is None:
        return (
            "the wall that was asked for is not known, so the walls cannot be judged: write "
            "wall_target_mm under [coupon] in lot.toml"
        )
    return (
        f"wall_target_mm is not stated: {line_width_mm:g} mm, the line width, is taken; write it "
        "under [coupon] in lot.toml"
    )


def _few(spool: str, rows: Sequence[WallReading]) -> Iterator[Problem]:
    n_sides = len({row.side for row in rows})
    last = rows[-1]
    if n_sides == 1:
        message = (
            f'the wall of spool "{spool}" was read on 1 side only and cannot be judged: read three '
            "places on each of four sides"
        )
    elif n_sides < N_SIDES or len(rows) < N_READINGS:
        n = f"{len(rows)} reading{'s' if len(rows) > 1 else ''}"
        message = (
            f'the wall of spool "{spool}" has {n} on {n_sides} sides, and is used so: read three '
            "places on each of four sides, 12 in all"
        )
    else:
        return
    yield Problem(last.file, last.line, "wall_mm", None, message)


def _odd(rows: Sequence[WallReading], target_mm: float) -> Iterator[Problem]:
    for row in rows:
        if not ODD_SHARE[0] * target_mm <= row.wall_mm <= ODD_SHARE[1] * target_mm:
            what = f"wall_mm is {row.wall_mm:g} for a target of {target_mm:g} mm"
            yield Problem(
                row.file,
                row.line,
                "wall_mm",
                f"{row.wall_mm:g}",
                f"{what}: two walls, or another coupon? It is used; read it again",
            )
