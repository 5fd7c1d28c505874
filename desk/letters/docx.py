"""The letter as DOCX, from the practice's own template or the one that comes with Earside.

A template is an ordinary document with placeholders in double braces (docs/letters.md). It is rendered in a
sandbox and can reach nothing but these. What makes a draft known as one, and what every paper says of itself,
is added afterwards: no template can leave it out.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import docx
from docx.document import Document
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.shared import Pt, RGBColor
from docxtpl import DocxTemplate
from jinja2 import TemplateError, TemplateSyntaxError, UndefinedError
from jinja2.exceptions import SecurityError

from desk.letters.closed import Closed
from shared.errors import BadInput

FILE = "letter.docx"
PLACEHOLDERS = {
    "title": "what the letter is, with the addressee",
    "date": "the day on which it is made",
    "greeting": "Dear colleague,",
    "patient": "the patient's reference",
    "visit_time": "when the visit was",
    "reason": "the sentences on why the letter is written; always put them first",
    "parts": "all other paragraphs; each has a heading and a text",
    "signed_by": "who signed, or that nobody has",
    "state": "signed by whom and when, or that it is a draft",
    "origin": "that it was made from dictation, and who checked it",
    "practice": "the practice, as in practice.yaml: practice.name, practice.address, practice.phone",
}
"""What a template may name."""

_LARGEST = 20_000_000  # bytes unpacked; a letterhead with pictures has some 2,000,000
_RED = RGBColor(0xA3, 0x26, 0x1B)


def render(template: Path | None, values: dict[str, Any], *, word: str, foot: str) -> bytes:
    """The letter. template: None for the one that comes with Earside. word: "DRAFT" or "". foot: one line.

    Raises BadInput, which names the template and what in it is wrong.
    """
    where = str(template or "the template")
    source = io.BytesIO(_checked(template) if template else default_template())
    made = io.BytesIO()
    try:
        if template:
            _closed(docx.Document(source), where)
        paper = DocxTemplate(source)
        paper.render(values, Closed())
        paper.save(made)
    except SecurityError as fault:
        raise _wrong(where, f"asks for something that a letter must not reach: {fault.message}") from fault
    except UndefinedError as fault:
        raise _wrong(where, _unknown(fault, template)) from fault
    except TemplateSyntaxError as fault:
        raise _wrong(where, f"has a broken placeholder: {fault.message}{_near(fault)}") from fault
    except BadInput:
        raise
    except Exception as fault:
        # Three libraries read what somebody else wrote; what they say may quote the record.
        told = fault.message if isinstance(fault, TemplateError) else type(fault).__name__
        raise _wrong(where, f"cannot be filled in: {told}") from fault
    made.seek(0)
    document = docx.Document(made)
    _complete(document, values, where)
    return _marked(document, word, foot)


def _complete(document: Document, values: dict[str, Any], where: str) -> None:
    """Refuse a template that leaves out what was found, or puts something else before the reason."""
    whole = "".join(document.element.body.itertext())
    texts = [("{{ reason }}", values["reason"])]
    texts += [("{{ part.text }}", part["text"]) for part in values["parts"]]
    places = [whole.find(text) for _, text in texts]
    for (name, _), place in zip(texts, places, strict=True):
        if place < 0:
            raise _wrong(where, f"leaves out {name}, so the letter would not say what was recorded")
    if places[0] != min(places):
        raise _wrong(where, "puts {{ part.text }} before {{ reason }}, which must come first")


def _wrong(where: str, what: str) -> BadInput:
    return BadInput(
        what, where=where, remedy="Mend it in a word processor; docs/letters.md lists the placeholders."
    )


def _closed(document: Document, where: str) -> None:
    """Refuse braces that are opened and not closed, which would be printed as they stand."""
    for at, text in _paragraphs(document):
        for opening, closing in (("{{", "}}"), ("{%", "%}")):
            if text.count(opening) != text.count(closing):
                raise _wrong(where, f"has {opening} without {closing} or the other way round ({at})")


def _unknown(fault: UndefinedError, template: Path | None) -> str:
    found = re.search(r"'([^']*)' is undefined|no attribute '([^']*)'", fault.message or "")
    name = next(filter(None, found.groups()), "") if found else ""
    return f"names {name!r}, which no letter has{_place(template, name)}"


def _place(template: Path | None, name: str) -> str:
    """In which paragraph of a template a name stands."""
    if template is None or not name:
        return ""
    return next((f" ({at})" for at, text in _paragraphs(docx.Document(str(template))) if name in text), "")


def _paragraphs(document: Document) -> Iterator[tuple[str, str]]:
    """Every paragraph of a template: where it stands with its beginning, and its whole text."""
    found = [(f"paragraph {n}", p) for n, p in enumerate(document.paragraphs, 1)]
    for table in document.tables:
        found += [("a table", p) for row in table.rows for cell in row.cells for p in cell.paragraphs]
    for section in document.sections:
        found += [("the header", p) for p in section.header.paragraphs]
        found += [("the footer", p) for p in section.footer.paragraphs]
    for at, paragraph in found:
        yield f"{at}: “{paragraph.text.strip()[:60]}”", paragraph.text


def _near(fault: TemplateSyntaxError) -> str:
    """The text around a broken placeholder, without the document's own marks."""
    lines = (fault.source or "").splitlines()
    if not 0 < fault.lineno <= len(lines):
        return ""
    text = re.sub(r"<[^>]*>", "", lines[fault.lineno - 1]).strip()
    around = re.search(r"\{[{%].{0,60}", text)
    return f", near “{(around.group() if around else text)[:60]}”"


def _checked(template: Path) -> bytes:
    try:
        content = template.read_bytes()
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if "word/document.xml" not in packed.namelist():
                raise zipfile.BadZipFile
            size = sum(entry.file_size for entry in packed.infolist())
    except OSError as fault:
        raise BadInput(
            f"cannot be read ({fault.strerror})", where=str(template), remedy="Check the file."
        ) from fault
    except zipfile.BadZipFile as fault:
        raise BadInput(
            "is not a DOCX document", where=str(template), remedy="Save it as DOCX (Word 2007 or later)."
        ) from fault
    if size > _LARGEST:
        raise BadInput("is too large", where=str(template), remedy="Use smaller pictures (20 MB unpacked).")
    return content


def _marked(document: Document, word: str, foot: str) -> bytes:
    """The letter with the word on every page, and the line at every foot."""
    for section in document.sections:
        kinds = [(section.header, section.footer)]
        if section.different_first_page_header_footer:
            kinds.append((section.first_page_header, section.first_page_footer))
        if document.settings.odd_and_even_pages_header_footer:
            kinds.append((section.even_page_header, section.even_page_footer))
        for header, footer in kinds:
            if word:
                header.is_linked_to_previous = False
                _line(header, f"{word}: not signed", Pt(28), bold=True, first=True)
            footer.is_linked_to_previous = False
            _line(footer, foot, Pt(8), bold=False)
    document.core_properties.title = f"{word} {document.core_properties.title}".strip()
    document.core_properties.language = "en-GB"
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()


def _line(part: Any, text: str, size: Any, *, bold: bool, first: bool = False) -> None:
    line = part.paragraphs[0].insert_paragraph_before() if first and part.paragraphs else part.add_paragraph()
    line.alignment = WD_ALIGN_PARAGRAPH.CENTER if first else WD_ALIGN_PARAGRAPH.LEFT
    run = line.add_run(text)
    run.font.size, run.bold = size, bold
    if first:
        run.font.color.rgb = _RED


def default_template() -> bytes:
    """The template that comes with Earside, to be edited in a word processor."""
    document = docx.Document()
    for section in document.sections:
        section.page_width, section.page_height = Pt(595.3), Pt(841.9)
        section.left_margin = section.right_margin = Pt(68)
        section.top_margin = section.bottom_margin = Pt(57)
    base = document.styles["Normal"]
    base.font.name, base.font.size = "Calibri", Pt(11)
    base.paragraph_format.space_after = Pt(6)
    document.core_properties.title = "{{ title }}"
    sender = document.add_paragraph()
    sender.add_run("{{ practice.name }}").bold = True
    document.add_paragraph("{% for line in practice.address %}{{ line }}\n{% endfor %}{{ practice.phone }}")
    document.add_paragraph("{{ date }}").paragraph_format.space_before = Pt(18)
    document.add_paragraph("{{ greeting }}")
    document.add_heading("{{ title }}", 1)
    document.add_paragraph("Patient reference: {{ patient }}. Visit: {{ visit_time }}.")
    document.add_heading("Reason for this letter", 2)
    document.add_paragraph("{{ reason }}")
    document.add_paragraph("{%p for part in parts %}")
    document.add_heading("{{ part.heading }}", 2)
    document.add_paragraph("{{ part.text }}")
    document.add_paragraph("{%p endfor %}")
    signed = document.add_paragraph()
    signed.paragraph_format.space_before = Pt(24)
    signed.add_run("{{ signed_by }}").bold = True
    document.add_paragraph("{{ state }} {{ origin }}")
    for style, size in (("Heading 1", 15), ("Heading 2", 11.5)):
        document.styles[style].font.size = Pt(size)
        document.styles[style].font.name = "Calibri"
        document.styles[style].font.color.rgb = RGBColor(0x0F, 0x5C, 0x66)
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()
