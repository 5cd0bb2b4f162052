"""The page of an in-line log: document and what is to be drawn become finished text."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from lotqa.evidence.traces import Strand
from lotqa.evidence.waves.spectrum import WaveEvidence
from lotqa.evidence.waves.wall import Wall
from lotqa.report.looks import NARROW, WIDE, Format
from lotqa.report.lookup import day, get
from lotqa.report.numbers import as_typed, p_value, percent, shown
from lotqa.report.plots.strips import FeedLimits
from lotqa.report.plots.svg import figure_svg
from lotqa.report.plots.trace import LIGHT_DEG, spectrum_plot, strand_plot, wall_plot
from lotqa.report.tables import number_column, prose_column, table
from lotqa.report.texts import plain
from lotqa.report.trace_tables import band_table, figures_table, outside_table, windows_table
from lotqa.report.trace_words import feed_path, period_text
from lotqa.report.view import Cell, Column, Fact, Figure, Section, Table
from lotqa.report.words import WORDS

MOST_EVENTS: Final = 40  # rows of the table; the tallest
MOST_WAVES: Final = 12
NO_BANDS: Final = "No wave was found that could print bands."


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What the drawings are made from."""

    strand: Strand
    waves: WaveEvidence
    part: str  # whose wall is drawn
    face_mm: float
    wall: Wall | None


@dataclass(frozen=True, slots=True)
class Chapter:
    """A section of the page: what it says, draws and lists, in this order."""

    section: Section
    texts: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TraceView:
    """What the page shows."""

    title: str
    heading: str
    subtitle: str
    running: str
    strand_mm: str
    sections: tuple[Section, ...]
    sentences: tuple[str, ...]
    facts: tuple[Fact, ...]
    chapters: tuple[Chapter, ...]
    made_by: str


def trace_view(document: Mapping[str, Any], drawn: Drawn) -> TraceView:
    """The view of one log."""
    name, when = plain(document["file"]["name"]), day(document["traced_at"])
    titles = (
        ("found", "What the log says"),
        ("strip", "The whole filament"),
        ("events", "Lumps, necks and splices"),
        ("waves", "Waves"),
        ("bands", "Bands on a wall"),
        ("figures", "All figures"),
        ("input", "What was read"),
    )
    sections = tuple(Section(n, anchor, title) for n, (anchor, title) in enumerate(titles, start=1))
    return TraceView(
        title=f"In-line log: {name}, {when}",
        heading=name,
        subtitle="In-line log",
        running=f"In-line log: {name}, {when}",
        strand_mm=shown(document["diameter"]["mean_mm"], 2),
        sections=sections,
        # The test print is told beside the bands.
        sentences=tuple(plain(t) for t in document["texts"] if t != document["two_sizes"]),
        facts=_facts(document, when),
        chapters=(
            Chapter(sections[1], figures=(_strip(document, drawn),), notes=(_STRIP_NOTE,)),
            _events(sections[2], document),
            _waves(sections[3], document, drawn),
            _bands(sections[4], document, drawn),
            Chapter(
                sections[5],
                tables=(figures_table(document), outside_table(document), windows_table(document)),
                notes=(f"Intervals: {document['intervals']}.",),
            ),
            _input(sections[6], document),
        ),
        made_by=WORDS.made_by.format(
            version=document["program_version"], schema=document["schema"]
        ),
    )


_STRIP_NOTE: Final = (
    "Each column reaches from the narrowest to the widest reading in it, the line is the mean. The "
    "ground is the tolerance band. Shapes above mark events; filled and red ones stop in the feed "
    "path or slip in the drive."
)


def _facts(document: Mapping[str, Any], when: str) -> tuple[Fact, ...]:
    part = document["part"] or "none given: a table of sizes"
    bead = document["bead"]
    axes = ", ".join(
        f"{plain(a['name'])} at {as_typed(a['angle_deg'])}\u00b0"
        + ("" if a["angle_known"] else " (supposed)")
        for a in document["file"]["axes"]
    )
    return (
        Fact("Evaluated", when),
        Fact(
            "Rows",
            f"{document['rows_read']:,} read, {document['rows_used']:,} used, "
            f"{document['rows_reported']:,} reported",
            f"length from {plain(document['file']['length_source'])}",
        ),
        Fact("Axes", axes),
        Fact(
            "Filament",
            f"{as_typed(document['nominal_mm'])} \u00b1 {as_typed(document['tolerance_mm'])} mm",
            f"{as_typed(document['machine_diameter_mm'])} mm set in the machine",
        ),
        Fact(
            "Print",
            f"line {as_typed(bead['line_width_mm'])} mm wide, "
            f"{as_typed(bead['layer_height_mm'])} mm high",
            f"part: {plain(part)}",
        ),
    )


def _both(number: int, caption: str, svgs: Mapping[str, str]) -> Figure:
    return Figure(number, f"figure-{number}", caption, svgs["wide"], svgs["narrow"])


def _strip(document: Mapping[str, Any], drawn: Drawn) -> Figure:
    def svg(size: Format) -> str:
        made = strand_plot(
            drawn.strand,
            document["events"],
            document["nominal_mm"],
            document["tolerance_mm"],
            FeedLimits(get(document, "feed", "thin_mm"), get(document, "feed", "thick_mm")),
            set_diameter_mm=document["machine_diameter_mm"],
            mean_mm=document["diameter"]["mean_mm"],
            size=size,
        )
        return figure_svg(made, key=f"t1{size.name}")

    caption = f"All {shown(document['length_m'], 1)} m of the log"
    return _both(1, caption, {size.name: svg(size) for size in (WIDE, NARROW)})


def _events(section: Section, document: Mapping[str, Any]) -> Chapter:
    events = document["events"]
    if not events:
        return Chapter(section, texts=("No lump, neck or splice was found.",))
    tallest = sorted(events, key=lambda e: -abs(e["peak_mm"]))[:MOST_EVENTS]
    heads = (
        Column("Event"),
        number_column("At, m"),
        number_column("Length, mm"),
        number_column("Height, mm"),
        number_column("Diameter, mm"),
        Column("Feed path"),
        number_column("Rows"),
    )
    body = [
        (
            Cell(e["kind"]),
            Cell(shown(e["position_m"], 2)),
            Cell(shown(1000 * e["length_m"], 0)),
            Cell(shown(e["peak_mm"], 3, sign=True)),
            Cell(shown(e["diameter_mm"], 3)),
            Cell(feed_path(e), mark="reject", tone="reject") if e["stops"] else Cell(feed_path(e)),
            Cell(str(e["rows"])),
        )
        for e in sorted(tallest, key=lambda e: e["position_m"])
    ]
    caption = "Events along the filament"
    if len(events) > len(tallest):
        caption += f": the tallest {len(tallest)} of {len(events):,}"
    notes = (
        "Height is against the filament beside it; of a splice, the step of the mean. A lump of "
        "one row stands on the word of that row alone."
    )
    return Chapter(section, tables=(table(1, caption, heads, body),), notes=(notes,))


def _waves(section: Section, document: Mapping[str, Any], drawn: Drawn) -> Chapter:
    search = document["wave_search"]
    if search["why_not"]:
        return Chapter(section, texts=(f"Waves could not be looked for: {search['why_not']}.",))
    svgs = {
        size.name: figure_svg(spectrum_plot(drawn.waves, size=size), key=f"t2{size.name}")
        for size in (WIDE, NARROW)
    }
    caption = (
        "What each wave length carries, as a multiple of what the filament does beside it (the "
        "thick line); what passes the dashed line is told as a wave"
    )
    figure = _both(2, caption, svgs)
    waves = document["waves"][:MOST_WAVES]
    if not waves:
        return Chapter(section, texts=("No wave stands out.",), figures=(figure,))
    heads = (
        Column("Wave length"),
        number_column("Height, \u00b1 mm"),
        number_column("Of the variance, %"),
        number_column("Flow swing, %"),
        number_column("Chance of a false alarm"),
        Column("Overtones"),
    )
    body = [
        (
            Cell(period_text(w["period_m"])),
            Cell(shown(w["amplitude_mm"], 4)),
            Cell(percent(w["share_of_variance"], 1)),
            Cell(shown(w["swing_pct"], 1)),
            Cell(p_value(w["significance"])),
            Cell(", ".join(f"1/{k}" for k in w["harmonics"]) or WORDS.dash),
        )
        for w in waves
    ]
    caption = "Waves, the strongest first"
    if len(document["waves"]) > len(waves):
        caption += f": {len(waves)} of {len(document['waves'])}"
    return Chapter(section, figures=(figure,), tables=(table(2, caption, heads, body),))


def _bands(section: Section, document: Mapping[str, Any], drawn: Drawn) -> Chapter:
    figures: tuple[Figure, ...] = ()
    if drawn.wall is not None:
        svgs = {
            size.name: figure_svg(
                wall_plot(drawn.wall, drawn.face_mm, drawn.part, size=size), key=f"t3{size.name}"
            )
            for size in (WIDE, NARROW)
        }
        caption = (
            f"A face of {plain(drawn.part)} as the first metres of this log would print it, lit "
            f"{as_typed(LIGHT_DEG)}\u00b0 off its plane from above"
        )
        figures = (_both(3, caption, svgs),)
    texts = () if document["waves"] else (NO_BANDS,)
    if document["two_sizes"]:
        texts = (plain(document["two_sizes"]),)
    bands = document["bands"]
    tables = (band_table(bands),) if bands else ()
    return Chapter(section, texts, figures, tables)


def _input(section: Section, document: Mapping[str, Any]) -> Chapter:
    problems = document["problems"]
    cautions = tuple(plain(text) for text in document["cautions"])
    if not problems:
        return Chapter(section, texts=(*cautions, WORDS.problems_none))
    heads = (
        Column(WORDS.where),
        Column(WORDS.column),
        Column(WORDS.typed),
        prose_column(WORDS.message),
    )
    body = [
        (
            Cell("whole log" if p["line"] is None else f"line {p['line']:,}"),
            Cell(plain(p["column"] or "") or WORDS.dash),
            Cell(plain(p["value"] or "") or WORDS.dash),
            Cell(plain(p["message"])),
        )
        for p in problems
    ]
    caption = WORDS.problems_table
    if document["problems_total"] > len(problems):
        caption += f" ({len(problems)} of {document['problems_total']:,} listed)"
    return Chapter(section, texts=cautions, tables=(table(7, caption, heads, body),))
