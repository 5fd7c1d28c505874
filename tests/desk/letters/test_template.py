"""The practice's own template and file: what they may hold, and how a mistake in them is told."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import docx
import pytest

from desk.letters.docx import PLACEHOLDERS, default_template, render
from desk.letters.practice import practice
from shared.errors import BadInput

VALUES = {
    **{name: name.upper() for name in PLACEHOLDERS},
    "reason": "The patient is referred.",
    "parts": [{"heading": "Right ear", "text": "In the right ear, there was no bleeding."}],
    "practice": {"name": "Example Ear Clinic", "address": ["1 Sample Street"], "phone": "01632 960123"},
}
NEEDED = ("{{ reason }}", "{%p for part in parts %}", "{{ part.text }}", "{%p endfor %}")


def template(folder: Path, *paragraphs: str) -> Path:
    document = docx.Document()
    for text in paragraphs:
        document.add_paragraph(text)
    document.save(str(folder / "letter.docx"))
    return folder / "letter.docx"


def test_the_template_that_comes_along_holds_every_placeholder(tmp_path: Path) -> None:
    place = tmp_path / "letter.docx"
    place.write_bytes(default_template())
    whole = " ".join(p.text for p in docx.Document(str(place)).paragraphs)
    named = set(re.findall(r"{{ (\w+)", whole)) | {"parts"}
    assert named - {"part", "line"} == set(PLACEHOLDERS)
    assert render(place, VALUES, word="", foot="Signed.")


def test_the_manual_describes_every_placeholder() -> None:
    manual = (Path(__file__).parents[3] / "docs" / "letters.md").read_text(encoding="utf-8")
    assert {name for name in PLACEHOLDERS if f" {name}" not in manual} == set()


def test_an_own_template_is_followed_but_draft_and_foot_stay(tmp_path: Path) -> None:
    own = template(tmp_path, "Our own words.", *NEEDED)
    made = docx.Document(io.BytesIO(render(own, VALUES, word="DRAFT", foot="DRAFT, not signed.")))
    assert [p.text for p in made.paragraphs] == [
        "Our own words.",
        VALUES["reason"],
        VALUES["parts"][0]["text"],
    ]  # type: ignore[index]
    assert made.sections[0].header.paragraphs[0].text == "DRAFT: not signed"
    assert made.sections[0].footer.paragraphs[-1].text == "DRAFT, not signed."


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (
            ("Dear {{ docter }}", *NEEDED),
            r"names 'docter', which no letter has \(paragraph 1: “Dear {{ docter }}”\)",
        ),
        (("{{ practice.fax }}", *NEEDED), r"names 'fax'.*paragraph 1"),
        (("{{ reason", *NEEDED[1:]), "without }} or the other way round .paragraph 1"),
        (("{{ reason }}", "{%p for part in parts %}", "{{ part.text }}"), "broken placeholder"),
        (("{{ ''.__class__.__mro__ }}", *NEEDED), "must not reach"),
        (("{{ reason.__init__.__globals__ }}", *NEEDED), "must not reach"),
        (("{{ range(10) }}", *NEEDED), "names 'range'"),
        (("{{ 9**9**9 }}", *NEEDED), "must not reach: “pow”"),
        (("{{ reason|center(999999999) }}", *NEEDED), "must not reach: “|center”".replace("|", r"\|")),
        (("{{ reason() }}", *NEEDED), "cannot be filled in"),
        (NEEDED[:1], r"leaves out {{ part.text }}"),
        (NEEDED[1:], r"leaves out {{ reason }}"),
        ((*NEEDED[1:], NEEDED[0]), "must come first"),
    ],
)
def test_a_mistake_is_told_by_name_and_place(wrong: tuple[str, ...], told: str, tmp_path: Path) -> None:
    place = template(tmp_path, *wrong)
    with pytest.raises(BadInput, match=told) as fault:
        render(place, VALUES, word="", foot="")
    assert fault.value.line.startswith(str(place))
    assert len(fault.value.line.splitlines()) == 1


def test_what_is_no_document_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "letter.docx"
    place.write_bytes(b"not a document")
    with pytest.raises(BadInput, match="not a DOCX"):
        render(place, VALUES, word="", foot="")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("nmae: Example", "nmae: Extra inputs"),
        ("address: 1 Sample Street", "address: Input should be a valid list"),
        ("name: [", "is not YAML, line 1|is not YAML, line 2"),
        ("- a list", "the whole"),
        ("paper: A3", "paper: Input should be 'A4' or 'Letter'"),
    ],
)
def test_a_mistake_in_practice_yaml_names_its_entry(text: str, told: str, tmp_path: Path) -> None:
    (tmp_path / "practice.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=told):
        practice(tmp_path)


def test_without_the_file_the_practice_has_no_name(tmp_path: Path) -> None:
    assert practice(tmp_path).name == ""


@pytest.mark.parametrize("inside", [b"<junk", b"<junk/>"])
def test_a_damaged_document_is_refused(inside: bytes, tmp_path: Path) -> None:
    place = tmp_path / "letter.docx"
    with zipfile.ZipFile(io.BytesIO(default_template())) as whole, zipfile.ZipFile(place, "w") as damaged:
        for name in whole.namelist():
            damaged.writestr(name, inside if name == "word/document.xml" else whole.read(name))
    with pytest.raises(BadInput, match="cannot be filled in"):
        render(place, VALUES, word="", foot="")
