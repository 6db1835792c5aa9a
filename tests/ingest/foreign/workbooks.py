"""Workbooks for tests, written by hand as the standards have them: ISO/IEC 29500 (XLSX) and OASIS
OpenDocument 1.3 (ODS), no more of them than a reader needs.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

Cell = str | float | date | datetime | timedelta | None
Sheets = Mapping[str, Sequence[Sequence[Cell]]]

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
# numFmtId 14: a day; 22: a day with its time; 46: [h]:mm:ss (ISO/IEC 29500-1, 18.8.30)
_STYLES = f"""<styleSheet xmlns="{_MAIN}"><fonts count="1"><font/></fonts><fills count="1"><fill/></fills>
<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>
<cellXfs count="4"><xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/>
<xf numFmtId="22" applyNumberFormat="1"/><xf numFmtId="46" applyNumberFormat="1"/></cellXfs></styleSheet>"""


def column_name(place: int) -> str:
    """`A` for 0, `AA` for 26."""
    name = ""
    while place >= 0:
        name = chr(65 + place % 26) + name
        place = place // 26 - 1
    return name


def xlsx(path: Path, sheets: Sheets, merged: Sequence[str] = ()) -> Path:
    """Write a workbook; `merged` are ranges of its first sheet."""
    numbered = list(enumerate(sheets, start=1))
    overrides = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{_KIND}.worksheet+xml"/>'
        for n, _ in numbered
    )
    listed = "".join(f'<sheet name={quoteattr(name)} sheetId="{n}" r:id="rId{n}"/>' for n, name in numbered)
    links = "".join(
        f'<Relationship Id="rId{n}" Type="{_OFFICE}/worksheet" Target="worksheets/sheet{n}.xml"/>'
        for n, _ in numbered
    )
    parts = {
        "[Content_Types].xml": f"""<Types xmlns="{_PACKAGE}/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="xml" ContentType="application/xml"/>
<Override PartName="/xl/workbook.xml" ContentType="{_KIND}.sheet.main+xml"/>
<Override PartName="/xl/styles.xml" ContentType="{_KIND}.styles+xml"/>{overrides}</Types>""",
        "_rels/.rels": f"""<Relationships xmlns="{_PACKAGE}/relationships">
<Relationship Id="rId1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>""",
        "xl/workbook.xml": f"""<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}">
<sheets>{listed}</sheets></workbook>""",
        "xl/_rels/workbook.xml.rels": f"""<Relationships xmlns="{_PACKAGE}/relationships">{links}
<Relationship Id="rId{len(numbered) + 1}" Type="{_OFFICE}/styles" Target="styles.xml"/></Relationships>""",
        "xl/styles.xml": _STYLES,
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, text in parts.items():
            out.writestr(name, text)
        for number, name in numbered:
            sheet = sheet_xml(sheets[name], merged if number == 1 else ())
            out.writestr(f"xl/worksheets/sheet{number}.xml", sheet)
    return path


def sheet_xml(rows: Sequence[Sequence[Cell]], merged: Sequence[str] = ()) -> str:
    lines = [
        f'<row r="{r}">{"".join(_cell(f"{column_name(c)}{r}", cell) for c, cell in enumerate(row))}</row>'
        for r, row in enumerate(rows, start=1)
    ]
    areas = "".join(f'<mergeCell ref="{area}"/>' for area in merged)
    behind = f'<mergeCells count="{len(merged)}">{areas}</mergeCells>' if merged else ""
    return f'<worksheet xmlns="{_MAIN}"><sheetData>{"".join(lines)}</sheetData>{behind}</worksheet>'


def _cell(place: str, cell: Cell) -> str:
    kind, content = "", f"<v>{cell!r}</v>"
    match cell:
        case None | "":
            return ""
        case str() if cell.startswith("="):  # a formula that nobody has computed yet
            content = f"<f>{escape(cell[1:])}</f>"
        case str():
            kind, content = ' t="inlineStr"', f'<is><t xml:space="preserve">{escape(cell)}</t></is>'
        case datetime():
            days = (cell - datetime(1899, 12, 30)) / timedelta(days=1)
            kind, content = ' s="2"', f"<v>{days!r}</v>"
        case date():
            kind, content = ' s="1"', f"<v>{(cell - date(1899, 12, 30)).days}</v>"
        case timedelta():
            kind, content = ' s="3"', f"<v>{cell / timedelta(days=1)!r}</v>"
    return f'<c r="{place}"{kind}>{content}</c>'


def ods(path: Path, sheets: Sheets) -> Path:
    """Write a workbook as OpenDocument."""
    space = "urn:oasis:names:tc:opendocument:xmlns:"
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    tables = "".join(
        f"<table:table table:name={quoteattr(name)}>"
        + "".join(f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" for row in rows)
        + "</table:table>"
        for name, rows in sheets.items()
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr(zipfile.ZipInfo("mimetype"), kind)
        out.writestr(
            "META-INF/manifest.xml",
            f"""<manifest:manifest xmlns:manifest="{space}manifest:1.0">
<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>
<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>""",
        )
        out.writestr(
            "content.xml",
            f"""<office:document-content xmlns:office="{space}office:1.0" xmlns:table="{space}table:1.0"
xmlns:text="{space}text:1.0"><office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body>
</office:document-content>""",
        )
    return path


def _ods_cell(cell: Cell) -> str:
    match cell:
        case None | "":
            return "<table:table-cell/>"
        case str():
            kind, shown = "string", escape(cell)
        case datetime() | date():
            kind, shown = f'date" office:date-value="{cell.isoformat()}', "a day"
        case timedelta():
            minutes = int(cell.total_seconds() // 60)
            kind, shown = f'time" office:time-value="PT{minutes // 60}H{minutes % 60}M0S', "a time"
        case _:
            kind, shown = f'float" office:value="{cell!r}', "a number"
    return f'<table:table-cell office:value-type="{kind}"><text:p>{shown}</text:p></table:table-cell>'
