"""The papers of a visit from its page."""

from __future__ import annotations

import re
from typing import Any

from desk.letters.names import PAPERS


def test_the_page_leads_to_every_paper_and_they_come_as_files(desk: Any) -> None:
    visit = desk.dictate(desk.HOSTILE)
    page = desk.page(f"/visits/{visit}")
    assert "Papers, as drafts" in page
    found = re.findall(rf'href="(/visits/{visit}/papers/[a-z-]+)" download', page)
    assert [address.rpartition("/")[2] for address in found] == list(PAPERS)
    for address in found:
        answer = desk.client.get(address)
        assert answer.status_code == 200
        assert re.fullmatch(
            r'attachment; filename="[\w.-]+-DRAFT\.(pdf|docx)"', answer.headers["content-disposition"]
        )
        assert answer.headers["cache-control"] == "no-store"
        assert answer.content[:4] == (
            b"%PDF" if ".pdf" in answer.headers["content-disposition"] else b"PK\x03\x04"
        )


def test_a_mistake_in_the_practices_file_is_a_page_that_says_so(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    (desk.folder / "practice.yaml").write_text("nmae: Example")
    answer = desk.client.get(f"/visits/{visit}/papers/record")
    assert answer.status_code == 400
    assert "nmae" in answer.text
    assert desk.client.get(f"/visits/{visit}/papers/nothing").status_code == 400
