"""The papers of the sample visits, read back from the files: what they say, and what they say of themselves."""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import docx
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from letters.conftest import ANN, Keep, sign
from letters.test_sentences import VISITS
from pypdf import PdfReader

from desk.cli import cli
from desk.letters import advice, pdf, record, sentences
from desk.letters.names import PAPERS
from desk.letters.papers import Made, Papers
from desk.letters.practice import Practice
from desk.letters.standing import Paper, Standing
from shared.errors import EarsideError
from shared.record import Ear, Value, Visit
from shared.store import Store, StoredVisit

NOW = datetime(2026, 11, 25, 14, 5, tzinfo=UTC)


def papers(folder: Path, number: int) -> Papers:
    with Store(folder) as store:
        return Papers(store, number, folder, now=NOW)


def squeezed(text: str) -> str:
    """Without the spaces, of which a typeset line has its own."""
    return re.sub(r"\s+", "", text)


def pages(made: Made) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(made.content)).pages]


def document(made: Made) -> Any:
    return docx.Document(io.BytesIO(made.content))


def test_every_sample_visit_has_all_its_papers(
    visits: dict[str, list[Visit]], keep: Keep, folder: Path
) -> None:
    seen = 0
    for visit in (v for several in visits.values() for v in several):
        number = keep(visit)
        maker = papers(folder, number)
        record_pages = pages(maker.record())
        assert len(record_pages) == 1  # one page, whatever the sample
        for value in (str(v.value) for path, v in visit.values() if "removed_mm" in path):
            assert f"{value}mm" in squeezed(record_pages[0])
        for to in ("gp", "ent"):
            written, printed = maker.letter(to)
            whole = " ".join(p.text for p in document(written).paragraphs)
            for paragraph in sentences.letter(visit, to):
                assert paragraph.text in whole
                assert squeezed(paragraph.text) in squeezed(" ".join(pages(printed)))
        assert "Whentogethelp" in squeezed(" ".join(pages(maker.advice())))
        seen += 1
    assert seen == 12


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(VISITS)
def test_any_record_can_be_typeset(visit: Visit) -> None:
    stored = StoredVisit(
        id=1, recording="said.txt", recording_id=1, ordinal=1, added=NOW.isoformat(), status="draft", revision=1,
        transcript=1, visit=visit, when=NOW.isoformat(), when_from="entered", clinician=None,
    )  # fmt: skip
    about = Paper(
        stored, Standing("DRAFT", "DRAFT, not signed.", "Made from dictation.", "Made now.", (), "")
    )
    general = record.general(about, Practice(), "A paper")
    made = Made("record.pdf", pdf.render("record", general | record.shown(about, words=True)))
    whole = squeezed(" ".join(pages(made)))
    pieces = [v.value for path, v in visit.values() if "removed_mm" in path]
    assert all(f"{length}mm" in whole for length in pieces)
    assert pdf.render("advice", general | {"parts": advice.parts(visit, Practice())})


def test_a_draft_cannot_be_mistaken_for_signed(
    visits: dict[str, list[Visit]], keep: Keep, folder: Path
) -> None:
    number = keep(visits["history_and_referral"][0])
    made = papers(folder, number).all()
    assert all("DRAFT" in paper.name for paper in made)
    for paper in made:
        if paper.name.endswith(".pdf"):
            assert all(page.count("DRAFT") >= 2 and "not yet checked" in page for page in pages(paper))
        else:
            (section,) = document(paper).sections
            assert "DRAFT: not signed" in section.header.paragraphs[0].text
            assert "not yet checked" in section.footer.paragraphs[-1].text
    sign(folder, number)
    for paper in papers(folder, number).all():
        assert "DRAFT" not in paper.name
        whole = (
            " ".join(pages(paper))
            if paper.name.endswith(".pdf")
            else str(document(paper).sections[0].footer.paragraphs[-1].text)
        )
        assert "DRAFT" not in whole
        assert squeezed(f"Made from dictation, checked by {ANN}.") in squeezed(whole)
        assert squeezed("Made on 25 November 2026") in squeezed(whole)


def test_the_record_says_who_signed_and_what_was_amended(
    visits: dict[str, list[Visit]], keep: Keep, folder: Path
) -> None:
    number = keep(visits["right_ear"][0])
    sign(folder, number)
    with Store(folder) as store:
        store.amend(number, ANN, "a length was mistyped", revision=store.visit(number).revision)
    (opened,) = pages(papers(folder, number).record())
    assert "DRAFT of an amendment" in " ".join(opened.split())
    sign(folder, number)
    (page,) = pages(papers(folder, number).record())
    assert squeezed("Amendment, because: “a length was mistyped”") in squeezed(page)
    assert squeezed(page).count(squeezed(f"Signed by {ANN}, clinician")) == 3  # two signatures, and the foot


def test_the_words_are_there_on_demand(visits: dict[str, list[Visit]], keep: Keep, folder: Path) -> None:
    visit = visits["both_ears"][0]
    maker = papers(folder, keep(visit))
    _, *more = pages(maker.record(words=True))
    assert more
    assert len(pages(maker.record())) == 1
    for _, value in visit.values():
        assert value.heard
        assert squeezed(value.heard) in squeezed(" ".join(more))


def test_pdfs_are_tagged_titled_and_in_english(
    visits: dict[str, list[Visit]], keep: Keep, folder: Path
) -> None:
    # PDF/UA-1 (ISO 14289-1) asks for these; Typst checks the rest of what a program can check.
    maker = papers(folder, keep(visits["both_ears"][0]))
    for made in (m for m in maker.all() if m.name.endswith(".pdf")):
        read = PdfReader(io.BytesIO(made.content))
        root: Any = read.trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"]
        assert str(root["/Lang"]).lower().startswith("en")
        assert read.metadata
        assert read.metadata.title
        assert (
            'pdfuaid:part="1"' in (xml := root["/Metadata"].get_data().decode()) or "<pdfuaid:part>1" in xml
        )
        fonts: Any = read.pages[0]["/Resources"]["/Font"]
        assert all("+NotoSans" in font.get_object()["/BaseFont"] for font in fonts.values())


HOSTILE = '<b>{{ 7*7 }}</b> \x1b[31m#eval("1") \u202eevil\u200b $x$ \\ & ]'


def test_hostile_words_stay_words(keep: Keep, folder: Path) -> None:
    said = Value[Any](value=HOSTILE, origin="entered")
    visit = Visit(patient_reference=said, ears=[Ear(side=Value[Any](value="right", origin="entered"))])
    maker = papers(folder, keep(visit))
    written, printed = maker.letter("gp")
    whole = " ".join(p.text for p in document(written).paragraphs)
    shown = [whole, *pages(printed), *pages(maker.record(words=True)), *pages(maker.advice())]
    for text in shown:
        assert not {"\x1b", "\u202e", "\u200b"} & set(text)
    assert '<b>{{ 7*7 }}</b> [31m#eval("1") evil $x$ \\ & ]' in whole
    assert squeezed("<b>{{ 7*7 }}</b>") in squeezed(pages(printed)[0])


@pytest.mark.parametrize(
    "name", ["Zoë Šimůnková", "Μαρία Ελένη", "Мария Орлова", "مريم", "מרים", "मरियम", "மரியம்", "Մարիամ"]
)
def test_names_in_many_scripts_are_printed_with_our_own_fonts(name: str, keep: Keep, folder: Path) -> None:
    visit = Visit(patient_reference=Value[Any](value=name, origin="entered"), ears=[])
    made = papers(folder, keep(visit)).record()
    fonts: Any = PdfReader(io.BytesIO(made.content)).pages[0]["/Resources"]["/Font"]
    assert all("+NotoSans" in font.get_object()["/BaseFont"] for font in fonts.values())


def test_a_name_that_no_font_can_write_is_said(keep: Keep, folder: Path) -> None:
    visit = Visit(patient_reference=Value[Any](value="\U0001e2c0 \U00012000", origin="entered"), ears=[])
    with pytest.raises(EarsideError, match="no font here can write"):
        papers(folder, keep(visit)).record()


def test_one_command_makes_them_all_and_nothing_is_overwritten(
    visits: dict[str, list[Visit]], keep: Keep, folder: Path
) -> None:
    number = str(keep(visits["both_ears"][0]))
    out = folder.parent / "out"
    call = ["papers", number, "--into", str(out), "--data", str(folder)]
    done = CliRunner().invoke(cli, call)
    assert done.exit_code == 0, done.stderr
    assert sorted(p.name for p in out.iterdir()) == sorted(
        Path(line).name for line in done.stdout.splitlines()
    )
    assert len(list(out.iterdir())) == 6
    assert "These are drafts" in done.stderr
    again = CliRunner().invoke(cli, call)
    assert again.exit_code == 2
    assert "is there already" in again.stderr
    assert CliRunner().invoke(cli, [*call, "--replace"]).exit_code == 0


def test_every_paper_has_a_name_of_its_own(visits: dict[str, list[Visit]], keep: Keep, folder: Path) -> None:
    maker = papers(folder, keep(visits["right_ear"][0]))
    assert len({maker.one(name).name for name in PAPERS}) == len(PAPERS)
    with pytest.raises(EarsideError, match="no such paper"):
        maker.one("letter-gp-exe")
