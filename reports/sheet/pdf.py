"""Maneuver sheets as PDF, one page each where they fit (A4), set by ReportLab."""

from __future__ import annotations

import io
from itertools import groupby
from typing import Any

from reportlab.graphics.shapes import Drawing, Rect
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from ..figures.style import FAMILIES, INK, PAPER, QUIET, SHADE, font_file, letters
from ..safe_text import spelled
from .sheet import EXACT, Block, Sheet

BOX_MM = 3.2


def sheet_pdf(sheet: Sheet) -> bytes:
    """One sheet as a PDF file's content: white paper, dark ink, empty boxes to tick and lines to write on."""
    styles = _styles()
    story: list[Any] = [
        Paragraph(_safe(sheet.title), styles["title"]),
        Paragraph(_safe(sheet.summary), styles["plain"]),
    ]
    story += [KeepTogether(_block(block, styles)) for block in sheet.blocks]
    story += [Spacer(1, 3 * mm), Paragraph(_safe(sheet.caution), styles["quiet"])]
    content = io.BytesIO()
    page = SimpleDocTemplate(
        content,
        pagesize=A4,
        leftMargin=17 * mm,
        rightMargin=17 * mm,
        topMargin=12 * mm,
        bottomMargin=12 * mm,
        title=sheet.title,
        author="Ringwright",
        invariant=1,
    )
    page.build(story)
    return content.getvalue()


def _safe(text: str) -> str:
    """Text as the mark-up of a paragraph; letters that the page's fonts lack come from those of the figures."""
    if _western(text):
        return _escaped(text)
    parts = groupby(spelled(text, letters()), key=_font)
    return "".join(_in_font("".join(part), font) for font, part in parts)


def _western(text: str) -> bool:
    try:
        return bool(text.encode("cp1252")) or not text
    except UnicodeEncodeError:
        return False


def _font(one: str) -> str:
    """The family that sets a letter; empty for the page's own."""
    return "" if _western(one) else next(family for family in FAMILIES if ord(one) in letters(family))


def _in_font(text: str, family: str) -> str:
    if not family:
        return _escaped(text)
    if family not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(family, str(font_file(family))))
        # no bold or slanted face is embedded for the few letters there are
        pdfmetrics.registerFontFamily(family, normal=family, bold=family, italic=family, boldItalic=family)
    return f'<font name="{family}">{_escaped(text)}</font>'


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _styles() -> dict[str, Any]:
    plain = ParagraphStyle("plain", fontName="Times-Roman", fontSize=9, leading=11, textColor=INK)
    return {
        "plain": plain,
        "remark": ParagraphStyle("remark", parent=plain, fontSize=8.2, leading=9.8, spaceBefore=1.5),
        "title": ParagraphStyle("title", parent=plain, fontName="Times-Bold", fontSize=13.5, leading=17, spaceAfter=2),
        "heading": ParagraphStyle(
            "heading", parent=plain, fontName="Times-Bold", fontSize=10, leading=12, spaceBefore=6, spaceAfter=2
        ),
        "quiet": ParagraphStyle("quiet", parent=plain, fontSize=7.2, leading=8.6, textColor=QUIET),
        "figure": ParagraphStyle("figure", parent=plain, fontName="Courier-Bold", alignment=2),
    }


def _block(block: Block, styles: dict[str, Any]) -> list[Any]:
    story: list[Any] = [Paragraph(_safe(block.heading), styles["heading"])]
    if block.steps:
        rows = [["", Paragraph(_safe(step), styles["plain"])] for step in block.steps]
        table = _table(
            rows, (6, 170), 1, 1.5, ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 1)
        )
        for row in range(len(block.steps)):
            table._cellvalues[row][0] = _box(BOX_MM * mm)
        story.append(table)
    if block.blanks:
        rows = [
            [Paragraph(_safe(blank.what), styles["plain"]), Paragraph(_safe(blank.expected), styles["figure"]), "", ""]
            for blank in block.blanks
        ]
        line = ("LINEBELOW", (3, 0), (3, -1), 0.6, HexColor(INK))
        shades = ("ROWBACKGROUNDS", (0, 0), (1, -1), [HexColor(PAPER), HexColor(SHADE)])
        story.append(_table(rows, (52, 46, 6, 60), 1, 2, line, shades, ("VALIGN", (0, 0), (-1, -1), "MIDDLE")))
    if block.exact:
        cells = [[Paragraph(_safe(one), styles["remark"]) for one in row] for row in (EXACT, *block.exact)]
        line = ("LINEBELOW", (0, 0), (-1, 0), 0.4, HexColor(QUIET))
        story.append(_table(cells, (52, 46), 0, 1, line, align="LEFT"))
    story += [Paragraph(_safe(remark), styles["remark"]) for remark in block.remarks]
    return story


def _table(
    rows: list[list[Any]], widths_mm: tuple[int, ...], above: float, below: float, *style: Any, align: str = "CENTER"
) -> Any:
    """Rows in columns, with so much room above and below each row, points."""
    made = Table(rows, colWidths=[width * mm for width in widths_mm], hAlign=align)
    everywhere = ((0, 0), (-1, -1))
    padding = [("TOPPADDING", *everywhere, above), ("BOTTOMPADDING", *everywhere, below)]
    made.setStyle(TableStyle([*padding, *style]))
    return made


def _box(size: float) -> Any:
    drawing = Drawing(size, size)
    drawing.add(Rect(0.3, 0.0, size - 0.6, size - 0.6, strokeColor=HexColor(INK), fillColor=None, strokeWidth=0.8))
    return drawing
