"""What was given about one spool and cannot be true of one spool: two spools under one name?

Nothing is taken out: both values stay in every number, and a person is told where to look.
"""

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from lotqa.evidence.gauge import Scatter
from lotqa.evidence.logged import Z
from lotqa.evidence.spool import LotEvidence
from lotqa.evidence.tares import folded
from lotqa.evidence.weighings import Scale, SpoolWeight
from lotqa.evidence.weight import apparent_density_g_cm3
from lotqa.materials import Material, unknown_material
from lotqa.model import LotInput, LotSheet, Problem, Readings, WeighIn

FAR = 5.0  # standard deviations of a difference: once in two million by chance
KINDS = ("gross", "tare", "net")  # what a spool has one of
FAR_SHARE = 0.2  # of the label or of the other spools: no spool is filled so badly
FAR_DENSITY = 0.3  # of the material's, beyond voids and calliper together


def unlike_weighings(weigh_ins: tuple[WeighIn, ...], scale: Scale) -> list[Problem]:
    """Weighings of one kind of one spool that no scale of this bench lets differ so far."""
    first: dict[tuple[str, str], WeighIn] = {}
    found = []
    for w in weigh_ins:
        if w.kind not in KINDS:
            continue
        other = first.setdefault((w.spool, w.kind), w)
        step = max(s or scale.step_g for s in (w.scale_step_g, other.scale_step_g))
        if abs(w.mass_g - other.mass_g) <= 2 * (scale.limit_of_error_g + step):
            continue
        found.append(
            Problem(
                w.file,
                w.line or None,
                "mass_g",
                f"{w.mass_g:g}",
                f'spool "{w.spool}" weighs {w.mass_g:g} g {w.kind} here and {other.mass_g:g} g in '
                f"line {other.line}: two spools under one name? The mean of both is used",
            )
        )
    return found


def unlike_repeats(readings: Readings, scatter: Scatter) -> list[Problem]:
    """Readings of one place and direction that no hand lets differ so far; one line a spool."""
    again = (readings.trial > 1) & np.isfinite(readings.direction_deg)
    if not again.any():
        return []
    rows = np.flatnonzero(
        np.isin(readings.place, readings.place[again]) & np.isfinite(readings.direction_deg)
    )
    far_mm = FAR * np.sqrt(2) * max(scatter.sd_mm, np.finfo(float).eps)
    seen: dict[tuple[int, float], int] = {}
    worst: dict[int, list[int]] = defaultdict(list)
    for row in rows:
        key = (int(readings.place[row]), float(readings.direction_deg[row]))
        other = seen.setdefault(key, int(row))
        if abs(readings.diameter_mm[row] - readings.diameter_mm[other]) > far_mm:
            worst[int(readings.spool[row])].append(int(row))
    found = []
    for spool, here in worst.items():
        at = here[0]
        before = seen[(int(readings.place[at]), float(readings.direction_deg[at]))]
        values = readings.diameter_mm
        more = f", and {len(here) - 1} more such" if len(here) > 1 else ""
        found.append(
            Problem(
                readings.file,
                int(readings.line[at]),
                "diameter_mm",
                f"{values[at]:g}",
                f'spool "{readings.spools[spool]}" reads {values[at]:g} mm here and '
                f"{values[before]:g} mm in line {readings.line[before]}, the same place and "
                f"direction{more}: two spools under one name? All are used",
            )
        )
    return found


def unlike_logs(evidence: LotEvidence) -> list[Problem]:
    """Spools whose in-line log and readings differ by more than both uncertainties together [1]_.

    .. [1] The E_n number: ISO 13528, expanded uncertainties of two results (from memory).
    """
    d, found = evidence.diameter, []
    for i, (spool, log) in enumerate(zip(evidence.spools, evidence.logs, strict=False)):
        if log is None or log.decides:
            continue
        own = log.found.diameter
        apart = abs(own.mean_mm - d.mean_mm[i])
        left = Z * log.u_left_mm
        explained = float(
            np.hypot(d.mean_hi_mm[i] - d.mean_mm[i], np.hypot(own.mean_hi_mm - own.mean_mm, left))
        )
        if apart > explained:
            said = (
                f'spool "{spool}" has a mean of {own.mean_mm:.3f} mm in its log and '
                f"{d.mean_mm[i]:.3f} mm by hand; both uncertainties explain {explained:.3f} mm: "
                "the log of another spool, or a tool that is off? Read one pin with both. The "
                "readings decide"
            )
            found.append(Problem(log.file, None, "diameter_mm", f"{own.mean_mm:.4f}", said))
        wide = d.sd_lo_mm[i] > own.sd_hi_mm + log.step_mm / 2
        if own.sd_lo_mm > d.sd_hi_mm[i] or wide:
            where = "more by hand" if wide else "more in the log"
            said = (
                f'spool "{spool}" varies by {own.sd_mm:.4f} mm in its log (95 %: '
                f"{own.sd_lo_mm:.4f} to {own.sd_hi_mm:.4f}) and by {d.sd_mm[i]:.4f} mm by hand "
                f"({d.sd_lo_mm[i]:.4f} to {d.sd_hi_mm[i]:.4f}), {where}: other metres, the log of "
                "another spool, or a scatter that is not as stated? The readings decide"
            )
            found.append(Problem(log.file, None, "diameter_mm", f"{own.sd_mm:.4f}", said))
    return found


def more_than_received(sheet: LotSheet, n_spools: int) -> list[Problem]:
    """More spools have readings, weighings or findings than the sheet says were received."""
    told = sheet.spools_received
    if told is None or n_spools <= told:
        return []
    message = (
        f"spools_received is {told}, but {n_spools} spools were measured, weighed or looked at: "
        f"{n_spools} are taken as received; correct the number, or a spool's name typed two ways"
    )
    return [Problem("lot.toml", None, "spools_received", str(told), message)]


def off_the_draw(sheet: LotSheet, evidence: LotEvidence) -> tuple[list[str], list[str]] | None:
    """(measured and not drawn, drawn and not measured); None where nobody said what was drawn."""
    if sheet.drawn is None:
        return None
    drawn = {folded(name): name for name in sheet.drawn}
    read = {
        folded(name): name
        for name, n in zip(evidence.spools, evidence.diameter.n_places, strict=True)
        if n > 0
    }
    return (
        [name for key, name in read.items() if key not in drawn],
        [name for key, name in drawn.items() if key not in read],
    )


def not_drawn(sheet: LotSheet, evidence: LotEvidence) -> list[Problem]:
    """Where the spools measured are not those that were drawn; the chances suppose that they are.

    A person at the bench takes the spool on top, or the one that looks odd: both say little of the
    others.
    """
    off = off_the_draw(sheet, evidence)
    said = [
        f"{'spool' if len(names) == 1 else 'spools'} {', '.join(names)} "
        f"{'was' if len(names) == 1 else 'were'} {what}"
        for names, what in zip(
            off or ([], []), ("measured and not drawn", "drawn and not measured"), strict=True
        )
        if names
    ]
    if not said:
        return []
    message = (
        f"{'; '.join(said)}: all are judged, but what is said of the spools not opened supposes a "
        "random draw; measure those that were drawn, or draw anew (lotqa plan)"
    )
    return [Problem("lot.toml", None, "drawn", ", ".join(sheet.drawn or ()), message)]


def unlike_goods(
    lot: LotInput,
    spools: Sequence[str],
    weights: Sequence[SpoolWeight | None],
    scale: Scale,
    material: Material | None,
) -> list[Problem]:
    """Masses that cannot be those of this spool: another reel, spool, unit or length."""
    rows: dict[str, dict[str, list[WeighIn]]] = defaultdict(lambda: defaultdict(list))
    for w in lot.weigh_ins:
        rows[w.spool][w.kind].append(w)
    label_g = lot.sheet.label.net_g
    grosses = {spool: kinds["gross"][0].mass_g for spool, kinds in rows.items() if kinds["gross"]}
    found: list[Problem | None] = []
    for spool, weight in zip(spools, weights, strict=True):
        if weight is None:
            continue
        kinds = rows[spool]
        found += [
            _heavy_reel(spool, weight, kinds),
            _far_mass(spool, weight, kinds, label_g, grosses),
            _gain(spool, kinds, scale),
            *(_odd_cut(spool, cut, weight, material) for cut in kinds["cut"]),
        ]
    return [p for p in found if p is not None]


def _told(w: WeighIn, message: str, column: str = "mass_g") -> Problem:
    value = w.length_m if column == "length_m" else w.mass_g
    return Problem(w.file, w.line or None, column, f"{value:g}", message)


def _heavy_reel(
    spool: str, weight: SpoolWeight, kinds: Mapping[str, list[WeighIn]]
) -> Problem | None:
    """A reel that weighs as much as reel and filament together."""
    if weight.gross_g is None or weight.tare is None or weight.net_g is not None:
        return None
    gross = kinds["gross"][0]
    if weight.tare.known == "itself":
        tare = kinds["tare"][0]
        return _told(
            tare,
            f'spool "{spool}" weighs {tare.mass_g:g} g empty here and {gross.mass_g:g} g full in '
            f"line {gross.line}: were the two exchanged? No net mass is taken from them",
        )
    return _told(
        gross,
        f'spool "{spool}" weighs {gross.mass_g:g} g gross, no more than its reel alone '
        f"({weight.tare.mass_g:.0f} g, {weight.tare.source}): is it another spool? State its reel "
        "in lot.toml or weigh it; no net mass is taken",
    )


def _far_mass(
    spool: str,
    weight: SpoolWeight,
    kinds: Mapping[str, list[WeighIn]],
    label_g: float | None,
    grosses: Mapping[str, float],
) -> Problem | None:
    """A mass far from the label, or from that of the lot's other spools."""
    if weight.net_g is None or weight.u_net_g is None:
        return None
    stays = "It stays in every number"
    row = (kinds["gross"] or kinds["net"])[0]
    if label_g is not None:
        far = abs(weight.net_g - label_g) - 2 * weight.u_net_g > FAR_SHARE * label_g
        if far:
            what = f"{row.mass_g:g} g {row.kind}"
            if row.kind == "gross":
                what += f", so about {weight.net_g:.0f} g net"
            return _told(
                row,
                f'spool "{spool}" weighs {what}, far from the label\'s {label_g:g} g: another '
                f"spool, one in use, or another label? {stays}",
            )
    others = [mass for name, mass in grosses.items() if name != spool]
    if len(others) < 2 or row.kind != "gross":
        return None
    usual = float(np.median(others))
    if abs(row.mass_g - usual) <= FAR_SHARE * usual:
        return None
    return _told(
        row,
        f'spool "{spool}" weighs {row.mass_g:g} g gross and the others of the lot about '
        f"{usual:.0f} g: is it another spool? {stays}",
    )


def _gain(spool: str, kinds: Mapping[str, list[WeighIn]], scale: Scale) -> Problem | None:
    """A spool does not gain in a dryer; two steps of the scale are rounding."""
    if not kinds["before_drying"]:
        return None
    before = kinds["before_drying"][0]
    for after in kinds["after_drying"]:
        step = max(s or scale.step_g for s in (before.scale_step_g, after.scale_step_g))
        if after.mass_g - before.mass_g > 2 * step:
            return _told(
                after,
                f'spool "{spool}" weighs {after.mass_g:g} g after drying and {before.mass_g:g} g '
                f"before, in line {before.line}: nothing gains in a dryer; were the two exchanged, "
                "or is it another spool? Both are used",
            )
    return None


def _odd_cut(
    spool: str, cut: WeighIn, weight: SpoolWeight, material: Material | None
) -> Problem | None:
    """A cut whose grams per metre no filament of this material has."""
    filament = weight.filament
    if material is None or filament is None or not cut.length_m:
        return None
    d = filament.diameter_mm or filament.nominal_mm
    if d is None:
        return None
    density = float(apparent_density_g_cm3(cut.mass_g, cut.length_m, d))
    lo = (1 - FAR_DENSITY) * material.density_lo_g_cm3
    hi = (1 + FAR_DENSITY) * material.density_hi_g_cm3
    if lo <= density <= hi:
        return None
    return _told(
        cut,
        f'spool "{spool}": {cut.mass_g:g} g on {cut.length_m:g} m is '
        f"{cut.mass_g / cut.length_m:.3g} g a metre; at {d:.2f} mm that is {density:.3g} g/cm3, "
        f"and {material.name} has {material.density_lo_g_cm3:g} to "
        f"{material.density_hi_g_cm3:g}: check length and mass. It stays in every number",
        "length_m",
    )


def unnamed(lot: LotInput, materials: Mapping[str, Material]) -> list[Problem]:
    """What the lot sheet leaves out or names in a way nobody knows, where weighings need it."""
    found = []
    unknown = unknown_material(lot.sheet.material, materials)
    if unknown is not None:
        message = f"{unknown}; until then no length, volume or moisture limit"
        found.append(Problem(*_place(lot, "material"), lot.sheet.material, message))
    kinds = {w.kind for w in lot.weigh_ins}
    if lot.sheet.label.net_g is None and kinds & {"gross", "net"}:
        file, _, _ = _place(lot, "net_g")
        message = (
            "net_g is missing under [label], and the spools were weighed: write what the label "
            "promises in grams, such as net_g = 1000, or nobody sees a shortage"
        )
        found.append(Problem(file, None, "net_g", None, message))
    return found


def _place(lot: LotInput, key: str) -> tuple[str, int | None, str]:
    """(file, line, column) of a key of the lot sheet; the line of a workbook is not looked up."""
    for file in lot.files:
        if file.name.casefold() == "lot.toml":
            text = file.content.decode(errors="replace")
            for number, line in enumerate(text.splitlines(), start=1):
                if re.match(rf"\s*(lot\.)?{key}\s*=", line):
                    return file.name, number, key
    return "lot.toml", None, key
