"""A workbook of one sheet, written so that the same cells always give the same bytes.

Spreadsheet libraries stamp the time into the file.  Here only the parts that a reader needs are
written [1]_, stored uncompressed with one fixed date.

.. [1] ISO/IEC 29500-1:2016, 18.3.1.4 (cell) and 18.4.8 (inline text); ISO/IEC 29500-2 (package).
"""

import io
import zipfile
from collections.abc import Sequence
from xml.sax.saxutils import escape

HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest date that a zip archive can hold


def cell(column: int, row: int, value: str | float) -> str:
    """One cell as XML; text stays text, so that spool 007 keeps its zeros.

    >>> cell(1, 2, 1.75)
    '<c r="B2"><v>1.75</v></c>'
    """
    name = f"{chr(ord('A') + column)}{row}"
    if isinstance(value, str):
        return f'<c r="{name}" t="inlineStr"><is><t>{escape(value)}</t></is></c>'
    return f'<c r="{name}"><v>{value!r}</v></c>'


def workbook_bytes(sheet: str, rows: Sequence[Sequence[str | float]]) -> bytes:
    """The workbook with ``rows`` on a sheet of that name; at most 26 columns."""
    lines = "".join(
        f'<row r="{number}">{"".join(cell(i, number, v) for i, v in enumerate(row))}</row>'
        for number, row in enumerate(rows, start=1)
    )
    parts = {
        "[Content_Types].xml": (
            f'<Types xmlns="{PACKAGE}/content-types">'
            '<Default Extension="rels" '
            'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
            f'<Override PartName="/xl/workbook.xml" ContentType="{TYPES}.sheet.main+xml"/>'
            f'<Override PartName="/xl/worksheets/sheet1.xml" '
            f'ContentType="{TYPES}.worksheet+xml"/></Types>'
        ),
        "_rels/.rels": (
            f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="rId1" '
            f'Type="{RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
        ),
        "xl/workbook.xml": (
            f'<workbook xmlns="{MAIN}" xmlns:r="{RELATIONS}"><sheets>'
            f'<sheet name="{escape(sheet)}" sheetId="1" r:id="rId1"/></sheets></workbook>'
        ),
        "xl/_rels/workbook.xml.rels": (
            f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="rId1" '
            f'Type="{RELATIONS}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>'
        ),
        "xl/worksheets/sheet1.xml": (
            f'<worksheet xmlns="{MAIN}"><sheetData>{lines}</sheetData></worksheet>'
        ),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name, EPOCH)
            entry.create_system = 3  # the same on every system that runs this
            archive.writestr(entry, HEAD + text)
    return out.getvalue()
