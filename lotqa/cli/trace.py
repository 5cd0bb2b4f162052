"""``lotqa trace FILE``: an in-line log."""

from pathlib import Path
from typing import Annotated, Any, Final, Optional

import typer

from lotqa.cli.options import (
    REPORTS,
    CriteriaOption,
    JsonOption,
    NoReportOption,
    ReportOption,
    amount,
    count,
    limits_of,
    one_of,
)

PERCENT: Final = 100
Text = Optional[str]


def _figure(option: str, least: float, most: float, such_as: str, help_text: str) -> Any:
    parser = amount(option, least, most, such_as)
    return typer.Option(option, parser=parser, metavar="NUMBER", help=help_text)


def trace(
    file: Annotated[Path, typer.Argument(help="A log: one row a reading.", metavar="FILE")],
    as_json: JsonOption = False,
    report: ReportOption = REPORTS,
    no_report: NoReportOption = False,
    criteria: CriteriaOption = None,
    length_column: Annotated[
        Text, typer.Option(help="Column of the length, by name or number.", metavar="TEXT")
    ] = None,
    time_column: Annotated[
        Text, typer.Option(help="Column of the time, with --speed-mm-s.", metavar="TEXT")
    ] = None,
    diameter_column: Annotated[
        Optional[list[str]],
        typer.Option(help="Column of a diameter; give it once an axis.", metavar="TEXT"),
    ] = None,
    axis_angle: Annotated[
        Optional[list[str]],
        typer.Option(help="Angle of an axis, degrees; once a diameter column.", metavar="NUMBER"),
    ] = None,
    unit: Annotated[
        Text,
        typer.Option(
            parser=one_of("--unit", "mm", "in", "um"),
            help="Unit of the diameters.",
            metavar="mm|in|um",
        ),
    ] = None,
    length_unit: Annotated[
        Text,
        typer.Option(
            parser=one_of("--length-unit", "m", "cm", "mm", "in", "ft"),
            help="Unit of the length.",
            metavar="m|cm|mm|in|ft",
        ),
    ] = None,
    step_mm: Annotated[
        float | None,
        _figure("--step-mm", 1e-4, 1e4, "10", "Filament from row to row, mm, instead of a column."),
    ] = None,
    length_scale: Annotated[
        float,
        _figure("--length-scale", 1e-3, 1e3, "2.53", "True length over logged length."),
    ] = 1.0,
    speed_mm_s: Annotated[
        float | None,
        _figure("--speed-mm-s", 1e-3, 1e5, "500", "Speed of the filament, for a time column."),
    ] = None,
    nominal: Annotated[
        float | None, _figure("--nominal", 0.5, 5, "1.75", "Nominal diameter, mm.")
    ] = None,
    tolerance: Annotated[
        float | None, _figure("--tolerance", 0.001, 0.5, "0.05", "Label tolerance +/-, mm.")
    ] = None,
    set_diameter: Annotated[
        float | None,
        _figure("--set-diameter", 0.5, 5, "1.75", "Diameter set in the machine now, mm."),
    ] = None,
    gauge_error: Annotated[
        float | None,
        _figure("--gauge-error", 0, 0.5, "0.005", "Limit of error of the gauge, mm."),
    ] = None,
    part: Annotated[
        float | None,
        _figure("--part", 1, 2000, "60", "Your part: side of a square tube, mm."),
    ] = None,
    walls: Annotated[
        int,
        typer.Option(
            "--walls", parser=count("--walls", 1, 100), metavar="NUMBER", help="Walls of your part."
        ),
    ] = 1,
    line_width: Annotated[
        float | None, _figure("--line-width", 0.05, 5, "0.45", "Line width, mm.")
    ] = None,
    layer_height: Annotated[
        float | None, _figure("--layer-height", 0.01, 5, "0.2", "Layer height, mm.")
    ] = None,
) -> None:
    """Read an in-line log: lumps, splices, waves and their bands.

    FILE has a length (or time) column and one to three diameter columns, or is what a printer's
    firmware logs. It is read as a stream, whatever its size. Exit status: 0 when the job was done;
    2 for input that cannot be used (then nothing is written).
    """
    from lotqa.cli.progress import bar
    from lotqa.cli.screen import print_json

    angles = [amount("--axis-angle", -360, 360, "90")(text) for text in axis_angle or ()]
    with bar(PERCENT, " %") as shown:
        shown.reach(0, "starting")
        from datetime import UTC, datetime

        from lotqa.cli.folder import page_folder
        from lotqa.errors import UnusableInput
        from lotqa.intake.traces import TraceOptions
        from lotqa.trace import Stated, run_trace

        if walls != 1 and part is None:
            raise UnusableInput("--walls is given without --part: give the size of the part, too")
        if line_width is not None and layer_height is not None and line_width < layer_height:
            raise UnusableInput(
                f"--line-width is {line_width:g} and --layer-height {layer_height:g}: a line is "
                "wider than high"
            )
        limits = limits_of(criteria)
        options = TraceOptions(
            length_column=length_column,
            time_column=time_column,
            diameter_columns=tuple(diameter_column or ()),
            axis_angles_deg=tuple(angles),
            unit=unit,
            length_unit=length_unit,
            step_mm=step_mm,
            length_scale=length_scale,
            speed_mm_s=speed_mm_s,
            nominal_mm=nominal,
        )
        stated = Stated(
            nominal_mm=nominal,
            tolerance_mm=tolerance,
            set_diameter_mm=set_diameter,
            gauge_error_mm=gauge_error,
            line_width_mm=line_width,
            layer_height_mm=layer_height,
            part_mm=part,
            walls=walls,
        )
        folder = None if no_report else report
        with page_folder(folder):
            done = run_trace(
                file,
                limits,
                now=datetime.now(UTC),
                options=options,
                stated=stated,
                report_folder=folder,
                progress=lambda read, total: shown.reach(
                    PERCENT * read // max(total, 1), f"reading {file.name}"
                ),
            )
    if as_json:
        print_json({**done.document, "page": None if done.page is None else str(done.page)})
        return
    from lotqa.cli.trace_screen import show_trace

    show_trace(done.document, done.page)
