"""The letter as a document for a word processor: Office Open XML (ISO/IEC 29500-1), A4, by python-docx."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from datetime import UTC, datetime

from docx import Document
from docx.document import Document as AsDocument
from docx.enum.style import WD_STYLE_TYPE
from docx.enum.table import WD_CELL_VERTICAL_ALIGNMENT, WD_ROW_HEIGHT_RULE
from docx.enum.text import WD_ALIGN_PARAGRAPH, WD_TAB_ALIGNMENT
from docx.opc.constants import RELATIONSHIP_TYPE
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Mm, Pt, RGBColor
from docx.styles.style import ParagraphStyle
from docx.table import Table, _Cell, _Row
from docx.text.paragraph import Paragraph

from dashboard import theme
from dashboard.documents import letter_pdf
from dashboard.documents.blocks import Block, Letter

_FACE, _LANGUAGE = "Times New Roman", "en-GB"  # every machine has it, or one of its measures
_WIDE = 162.0  # mm between the margins
_SOFT, _CELL = "Small print", "Cell"  # names of styles
_MADE = datetime(2000, 1, 1, tzinfo=UTC)  # equal letters are equal files; the letter says its day
KIND = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"
_IN_THE_ZIP = (1980, 1, 1, 0, 0, 0)
# Of the library's own pattern, what says on which program or for whom it was made, and what no letter needs.
_LEFT_OUT = (RELATIONSHIP_TYPE.EXTENDED_PROPERTIES, RELATIONSHIP_TYPE.THUMBNAIL)
_LEFT_OUT_OF_THE_MAIN_PART = (
    RELATIONSHIP_TYPE.CUSTOM_XML,
    "http://schemas.microsoft.com/office/2007/relationships/stylesWithEffects",
)


def as_document(letter: Letter) -> bytes:
    """The letter as a .docx file; equal letters give equal bytes."""
    document = _empty(letter)
    if letter.studio:
        run = document.add_paragraph().add_run(_clean(letter.studio))
        run.font.size = Pt(15)
    for line in letter.letterhead:
        _tight(document.add_paragraph(_clean(line), style=_SOFT))
    _address(document, letter)
    document.add_heading(_clean(letter.subject), 1)
    for block in letter.blocks:
        _block(document, block)
    if letter.approvals:
        _approvals(document, letter)
    return _packed(document)


def _clean(text: str) -> str:
    """Without the signs that XML 1.0 cannot hold (Extensible Markup Language 1.0, 2.2)."""
    return re.sub("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", text)


def _empty(letter: Letter) -> AsDocument:
    """A sheet of paper with its styles and its foot."""
    document = Document()
    for rels, kinds in (
        (document.part.package.rels, _LEFT_OUT),
        (document.part.rels, _LEFT_OUT_OF_THE_MAIN_PART),
    ):
        for name in [name for name, rel in rels.items() if rel.reltype in kinds]:
            del rels[name]
    about = document.core_properties
    about.title, about.language = _clean(letter.subject)[:255], _LANGUAGE
    about.author = about.last_modified_by = about.comments = ""
    about.created = about.modified = _MADE
    section = document.sections[0]
    section.page_width, section.page_height = Mm(210), Mm(297)
    section.left_margin = section.right_margin = Mm((210 - _WIDE) / 2)
    section.top_margin, section.bottom_margin = Mm(24), Mm(22)
    _styles(document)
    foot = section.footer.paragraphs[0]
    foot.style = _SOFT
    foot.paragraph_format.tab_stops.clear_all()
    foot.paragraph_format.tab_stops.add_tab_stop(Mm(_WIDE), WD_TAB_ALIGNMENT.RIGHT)
    foot.add_run(f"{_clean(letter.studio)}\t")
    _field(foot, "PAGE")
    foot.add_run(" of ")
    _field(foot, "NUMPAGES")
    return document


def _styles(document: AsDocument) -> None:
    """Faces, sizes and colours of the letter; all of them are styles, to be changed at once."""
    defaults = document.styles.element.find(qn("w:docDefaults")).find(qn("w:rPrDefault")).find(qn("w:rPr"))
    defaults.find(qn("w:lang")).set(qn("w:val"), _LANGUAGE)
    document.settings.element.find(qn("w:themeFontLang")).set(qn("w:val"), _LANGUAGE)
    # without it the library's own pattern is not what the standard allows
    document.settings.element.find(qn("w:zoom")).set(qn("w:percent"), "100")
    _looks(document.styles["Normal"], 10.5, theme.INK, before=0, after=6)
    _looks(document.styles["Heading 1"], 13, theme.INK, before=18, after=12)
    _looks(document.styles["Heading 2"], 13, theme.INK, before=18, after=6)
    _looks(document.styles["Heading 3"], 10.5, theme.INK, before=12, after=4, bold=True)
    for name, size, colour in ((_SOFT, 9.0, theme.SOFT_INK), (_CELL, 10.0, theme.INK)):
        style = document.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
        style.base_style = document.styles["Normal"]
        _looks(style, size, colour, before=2 if name == _CELL else 0, after=2)


def _looks(
    style: object, size: float, colour: str, *, before: float, after: float, bold: bool = False
) -> None:
    assert isinstance(style, ParagraphStyle)
    style.font.name, style.font.size, style.font.bold = _FACE, Pt(size), bold
    style.font.color.rgb = _colour(colour)
    faces = style.element.get_or_add_rPr().find(qn("w:rFonts"))
    for name in [name for name in faces.attrib if "Theme" in name or "theme" in name]:
        del faces.attrib[name]
    for name in ("w:eastAsia", "w:cs"):
        faces.set(qn(name), _FACE)
    form = style.paragraph_format
    form.space_before, form.space_after, form.line_spacing = Pt(before), Pt(after), 1.1


def _colour(name: str) -> RGBColor:
    return RGBColor.from_string(name.removeprefix("#"))


def _tight(paragraph: Paragraph) -> None:
    paragraph.paragraph_format.space_before = paragraph.paragraph_format.space_after = Pt(0)


def _apart(document: AsDocument) -> None:
    """Two tables one behind the other would be one."""
    _tight(document.add_paragraph())


def _field(paragraph: Paragraph, what: str) -> None:
    """A number that the word processor counts."""
    field = OxmlElement("w:fldSimple")
    field.set(qn("w:instr"), what)
    paragraph._p.append(field)
    run = OxmlElement("w:r")
    text = OxmlElement("w:t")
    text.text = "1"
    run.append(text)
    field.append(run)


def _address(document: AsDocument, letter: Letter) -> None:
    """To whom, and beside it the day and the number."""
    table = _table(document, 1, (_WIDE * 0.6, _WIDE * 0.4))
    to, when = table.rows[0].cells
    _lines(to, letter.addressee)
    _lines(when, [letter.day, *([letter.number] if letter.number else [])], right=True)


def _lines(cell: _Cell, lines: Sequence[str], *, right: bool = False) -> None:
    for number, line in enumerate(lines or [""]):
        paragraph = cell.paragraphs[0] if not number else cell.add_paragraph()
        _put(paragraph, line, right=right)
        _tight(paragraph)


def _put(
    paragraph: Paragraph, text: str, *, right: bool = False, bold: bool = False, style: str = _CELL
) -> None:
    paragraph.style = style
    paragraph.add_run(_clean(text)).bold = bold or None
    if right:
        paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT


def _table(document: AsDocument, rows: int, widths: Sequence[float], name: str = "") -> Table:
    """A table without lines; `widths` of its columns in mm, `name` for those who hear it."""
    table: Table = document.add_table(rows, len(widths))
    table.autofit = False
    for column, width in zip(table.columns, widths, strict=True):
        column.width = Mm(width)
        for cell in column.cells:
            cell.width = Mm(width)
    if name:
        caption = OxmlElement("w:tblCaption")
        caption.set(qn("w:val"), _clean(name))
        table._tbl.tblPr.append(caption)
    return table


def _edge(cell: _Cell, colour: str) -> None:
    """A thin line below a cell."""
    borders, bottom = OxmlElement("w:tcBorders"), OxmlElement("w:bottom")
    for name, value in (
        ("w:val", "single"),
        ("w:sz", "4"),
        ("w:space", "0"),
        ("w:color", colour.removeprefix("#")),
    ):
        bottom.set(qn(name), value)
    borders.append(bottom)
    cell._tc.get_or_add_tcPr().append(borders)
    cell.vertical_alignment = WD_CELL_VERTICAL_ALIGNMENT.BOTTOM


def _whole(row: _Row, *, head: bool = False) -> None:
    """A row is not parted by the end of a page; one that is the `head` stands on each page."""
    about = row._tr.get_or_add_trPr()
    for name in ("w:cantSplit", *(["w:tblHeader"] if head else [])):
        about.append(OxmlElement(name))


def _block(document: AsDocument, block: Block) -> None:
    match block.kind:
        case "heading":
            document.add_heading(_clean(block.text), 2)
        case "subheading":
            document.add_heading(_clean(block.text), 3)
        case "facts":
            _facts(document, block)
        case "table":
            _ledger(document, block)
        case "dots":
            _dots(document, block)
        case "small":
            document.add_paragraph(_clean(block.text), style=_SOFT)
        case _:
            document.add_paragraph(_clean(block.text))


def _facts(document: AsDocument, block: Block) -> None:
    if not block.rows:
        return
    first = 70.0 if any(len(row[0]) > 24 for row in block.rows) else 38.0
    table = _table(document, len(block.rows), (first, _WIDE - first))
    for row, (name, value) in zip(table.rows, block.rows, strict=True):
        _whole(row)
        _put(row.cells[0].paragraphs[0], name)
        row.cells[0].paragraphs[0].runs[0].font.color.rgb = _colour(theme.SOFT_INK)
        _put(row.cells[1].paragraphs[0], value)
    _apart(document)


def _ledger(document: AsDocument, block: Block) -> None:
    """A table with its head on each page, numbers at the right, sums in bold."""
    many = len(block.heads) > 4
    of_number = 20.0 if many else 26.0
    words = [column for column in range(len(block.heads)) if column not in block.right]
    left = (_WIDE - of_number * (len(block.heads) - len(words))) / max(len(words), 1)
    cells = [list(block.heads), *map(list, block.rows)]
    widths = [of_number if column in block.right else left for column in range(len(block.heads))]
    table = _table(document, len(cells), widths, block.text)
    for number, (row, texts) in enumerate(zip(table.rows, cells, strict=True)):
        _whole(row, head=number == 0)
        for column, (cell, text) in enumerate(zip(row.cells, texts, strict=True)):
            _edge(cell, theme.THREAD)
            is_sum = number >= len(cells) - block.foot
            _put(cell.paragraphs[0], text, right=column in block.right, bold=is_sum)
            run = cell.paragraphs[0].runs[0]
            if many:
                run.font.size = Pt(9)
            if number == 0:
                run.font.color.rgb = _colour(theme.SOFT_INK)
    _apart(document)


def _dots(document: AsDocument, block: Block) -> None:
    """The dots as a picture, which says in words what it shows."""
    paragraph = document.add_paragraph()
    paragraph.paragraph_format.keep_with_next = True
    picture = paragraph.add_run().add_picture(io.BytesIO(letter_pdf.dots_as_picture(block)), width=Mm(122))
    picture._inline.docPr.set("descr", _clean("; ".join([block.text, *block.ends])))
    document.add_paragraph(_clean(block.text), style=_SOFT)


def _approvals(document: AsDocument, letter: Letter) -> None:
    """A line to sign for each."""
    document.add_heading("Approved", 3)
    for what in letter.approvals:
        table = _table(document, 2, (_WIDE - 105, 34, 6, 65))
        above, below = table.rows
        above.height_rule, above.height = WD_ROW_HEIGHT_RULE.AT_LEAST, Mm(15)
        for row in (above, below):
            _whole(row)
        above.cells[0].vertical_alignment = WD_CELL_VERTICAL_ALIGNMENT.BOTTOM
        _put(above.cells[0].paragraphs[0], what)
        for place, label in ((1, "date"), (3, "name and signature of the owner")):
            _edge(above.cells[place], theme.INK)
            _put(below.cells[place].paragraphs[0], label, style=_SOFT)
        for cell in above.cells:
            cell.paragraphs[0].paragraph_format.keep_with_next = True
        _apart(document)


def _packed(document: AsDocument) -> bytes:
    """The file, its parts in order and all of one time."""
    written, packed = io.BytesIO(), io.BytesIO()
    document.save(written)
    with zipfile.ZipFile(written) as parts, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for name in parts.namelist():
            out.writestr(zipfile.ZipInfo(name, _IN_THE_ZIP), parts.read(name), zipfile.ZIP_DEFLATED)
    return packed.getvalue()
