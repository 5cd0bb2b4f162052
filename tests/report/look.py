"""Render the example pages to pictures, to be looked at: run by hand, no test.

    python -m tests.report.look FOLDER

Writes the pages, a picture of each at 360, 768 and 1440 pixels, the print on A4 and on Letter as
PDF with a picture of each sheet, and every plot in colour and in grey.  Needs chromium and
pdftoppm.
"""

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from lotqa.report import lot_page, supplier_page, write_page
from lotqa.report.looks import NARROW, WIDE
from lotqa.report.plots import diameter_range_mm, strip_plot
from tests.report import conftest as example
from tests.report.masses import dried, lay_over

WIDTHS_PX = (360, 768, 1440)
PAPERS = {"a4": "210mm 297mm", "letter": "8.5in 11in"}
HEADLESS = (
    "chromium",
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)
# A headless window has a least width of its own, so the page stands in a frame of the wanted one.
# The page tells its measures to the frame, which may not look into it.
FRAME = (
    '<!DOCTYPE html><meta name="measured" content=""><body style="margin:0">'
    "<script>addEventListener('message',e=>document.querySelector('meta').content="
    "JSON.stringify(e.data))</script>"
    '<iframe src="{page}" style="border:0;width:{width}px;height:{height}px"></iframe>'
)
MEASURE = (
    "<script>addEventListener('load',()=>{const d=document.documentElement;"
    "const wide=[...document.querySelectorAll('body *')].filter(e=>!e.closest('.scrolls,pre,svg')&&"
    "!e.closest('.stacks thead')&&e.getBoundingClientRect().right>d.clientWidth+1)"
    ".map(e=>e.tagName+'.'+e.className);"
    "parent.postMessage({client:d.clientWidth,scroll:d.scrollWidth,"
    "height:d.scrollHeight,wide:wide.slice(0,5)},'*')})</script></head>"
)


def chromium(*arguments: str) -> str:
    with tempfile.TemporaryDirectory() as profile:
        done = subprocess.run(
            [*HEADLESS, f"--user-data-dir={profile}", *arguments],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
    return done.stdout


def shoot(page: Path, width_px: int) -> None:
    """A picture of the whole page at a width, and a line about what reaches out of it."""
    measured = page.with_name(f"{page.stem}-measured.html")
    measured.write_text(page.read_text("utf-8").replace("</head>", MEASURE), "utf-8")
    frame = page.with_name(f"{page.stem}-frame.html")
    frame.write_text(FRAME.format(page=measured.name, width=width_px, height=900), "utf-8")
    dom = chromium("--virtual-time-budget=3000", "--dump-dom", frame.as_uri())
    found = re.search(r'name="measured" content="([^"]+)"', dom)
    if found is None:
        raise SystemExit(f"{page}: the page told no measures")
    values = json.loads(found[1].replace("&quot;", '"'))
    print(page.name, width_px, values)
    frame.write_text(
        FRAME.format(page=measured.name, width=width_px, height=values["height"]), "utf-8"
    )
    picture = page.with_name(f"{page.stem}-{width_px}.png")
    chromium(
        f"--window-size={max(width_px, 500)},{values['height'] + 10}",
        f"--screenshot={picture}",
        frame.as_uri(),
    )
    measured.unlink()
    frame.unlink()


def print_on(page: Path, paper: str) -> None:
    sized = page.with_name(f"{page.stem}-{paper}.html")
    rule = f"<style>@page{{size:{PAPERS[paper]}}}</style></head>"
    sized.write_text(page.read_text("utf-8").replace("</head>", rule), "utf-8")
    pdf = sized.with_suffix(".pdf")
    chromium("--no-pdf-header-footer", f"--print-to-pdf={pdf}", sized.as_uri())
    sized.unlink()
    subprocess.run(["pdftoppm", "-r", "70", "-png", str(pdf), str(pdf.with_suffix(""))], check=True)


def draw_plots(folder: Path) -> None:
    from PIL import Image

    strips = example.make_strips()
    range_mm = diameter_range_mm(strips, example.NOMINAL_MM, example.TOLERANCE_MM)
    for size in (WIDE, NARROW):
        for strip in strips:
            fig = strip_plot(
                strip,
                example.NOMINAL_MM,
                example.TOLERANCE_MM,
                range_mm=range_mm,
                size=size,
                with_title=True,
            )
            path = folder / f"strip-{strip.spool}-{size.name}.png"
            fig.savefig(path, dpi=110)
            Image.open(path).convert("L").save(path.with_name(f"{path.stem}-grey.png"))


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    strips = example.make_strips()
    weighed = lay_over(example.make_document(strips))
    weighed["spools"][1]["moisture"] = dried("wet")
    pages = [
        write_page(lot_page(example.make_document(strips), strips), folder, "lot"),
        write_page(lot_page(weighed, strips), folder, "lot-weighed"),
        write_page(
            supplier_page("Brightwater Polymers", example.make_supplier_lots()), folder, "supplier"
        ),
    ]
    for page in pages:
        for width_px in WIDTHS_PX:
            shoot(page, width_px)
        for paper in PAPERS:
            print_on(page, paper)
    draw_plots(folder)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
