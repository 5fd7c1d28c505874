"""What was put right the same way twice can be learned; the clinic's file stays its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml

from desk import learning, own_words, review
from desk.checkbook import Checkbook
from desk.learning import Suggestion
from desk.rereading import Rereader
from extract.reader import Reader
from shared.errors import BadVocabulary
from shared.store import Recording, Store
from shared.transcript import Transcript
from shared.vocabulary import parse

WHO = "Ann Example"
SAID = "Right ear, the wax is roofers mastic and brown. Removed with a curette. Drum intact, number {}."


@pytest.fixture(scope="session")
def reader() -> Reader:
    return Reader()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        opened.set_person(WHO, "clinician")
        yield opened


@pytest.fixture
def book(store: Store, reader: Reader) -> Checkbook:
    for n in range(3):
        text = Transcript.from_text(SAID.format(n))
        store.keep(Recording(f"{n}" * 64, f"{n}.wav", 1, "sound"), text, reader.read(text))
    return Checkbook(store, Rereader(reader))


def put(book: Checkbook, visit_id: int, words: str, field: str, value: str) -> None:
    stored = book.store.visit(visit_id)
    at = book.store.transcript(stored.transcript).text.index(words)
    book.add(visit_id, field, value, who=WHO, revision=stored.revision, words=(at, at + len(words)))


CLAY = Suggestion("roofers mastic", "consistency", "clay_like", 2)
WAX = "ears[0].before.wax[0].consistency"


def test_once_is_not_enough_and_twice_is(book: Checkbook) -> None:
    put(book, 1, "roofers mastic", WAX, "clay-like")
    assert learning.suggestions(book.store) == []
    put(book, 2, "roofers mastic", WAX, "clay-like")
    assert learning.suggestions(book.store) == [CLAY]
    book.store.undo(2, WHO, revision=book.store.visit(2).revision)
    assert learning.suggestions(book.store) == []
    book.store.redo(2, WHO, revision=book.store.visit(2).revision)
    put(book, 3, "roofers mastic", WAX, "sticky")
    assert learning.suggestions(book.store) == []  # now it has meant two things


def test_what_means_something_else_already_is_not_offered(book: Checkbook) -> None:
    for n in (1, 2):
        stored = book.store.visit(n)
        path = next(p for p, v in stored.visit.values() if v.value == "brown")
        book.correct(n, path, "black", who=WHO, revision=stored.revision)
        put(book, n, "curette", "ears[0].before.canal", "narrow")
        put(book, n, "intact", "ears[0].removed_mm", "12")
    assert [s.phrase for s in learning.suggestions(book.store)] == ["curette"]


def test_the_preview_says_what_would_have_been_and_changes_nothing(book: Checkbook, reader: Reader) -> None:
    for n in (1, 2):
        put(book, n, "roofers mastic", WAX, "clay-like")
    (found,) = learning.suggestions(book.store)
    before = book.store.verify()
    after = Rereader(Reader(learning.with_phrase(book.store, found)))
    effects = list(learning.preview(book.store, found, book.rereader, after))
    assert [(e.visit, e.status, e.fewer) for e in effects] == [(n, "draft", ()) for n in (3, 2, 1)]
    assert {e.more for e in effects} == {("right ear before wax consistency: clay_like",)}
    assert book.store.verify() == before
    assert not own_words.usual_file(book.store.folder).exists()
    learning.learn(book.store, found)
    assert learning.suggestions(book.store) == []
    stored = book.store.visit(3)
    again = Checkbook(book.store, after).read_again(3, who=WHO, revision=stored.revision)
    assert (
        review.as_data(again.visit)["ears"][0]["before"]["wax"][0]["consistency"][0]["value"] == "clay_like"
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        "# ours\ncolour:\n  brown: [tea stain]   # from Tuesday\n",
        "# ours\nconsistency:\n  # of wax\n  soft:\n    - like butter   # said by two\n    - 'custardy'\n"
        "colour:\n  brown: [tea]\n",
        "consistency:\n  clay_like:\n  - like putty\n  - like dough\n# the end",
        "consistency: {clay_like: [like putty], soft: ['a, b']}\n",
        "consistency:\n    clay_like: [like putty, # the dry sort\n        like dough]\n",
        "consistency:\r\n  clay_like:\r\n    - like putty\r\n",
    ],
)
def test_the_clinics_file_keeps_its_comments_and_its_words(store: Store, text: str) -> None:
    file = own_words.usual_file(store.folder)
    if text:
        file.write_bytes(text.encode())
    learning.learn(store, CLAY)
    new = file.read_bytes().decode()
    old = yaml.safe_load(text) or {}
    expected = {k: {v: sorted(p) for v, p in values.items()} for k, values in old.items()}
    mine = expected.setdefault("consistency", {})
    mine["clay_like"] = sorted([*mine.get("clay_like", []), "roofers mastic"])
    assert {k: {v: sorted(p) for v, p in x.items()} for k, x in yaml.safe_load(new).items()} == expected
    for comment in ("# ours", "# from Tuesday", "# of wax", "# said by two", "# the dry sort", "# the end"):
        assert (comment in new) == (comment in text)
    assert parse(new, "new").entries
    assert sorted(p.name for p in store.folder.glob("*vocab*")) == ["vocabulary.lock", "vocabulary.yaml"]


def test_a_file_that_cannot_be_used_is_left_alone(store: Store) -> None:
    file = own_words.usual_file(store.folder)
    file.write_text("colour:\n  purple: [plum]\n")
    with pytest.raises(BadVocabulary, match="no value 'purple'"):
        learning.learn(store, CLAY)
    with pytest.raises(BadVocabulary, match="no value 'purple'"):
        learning.suggestions(store)
    assert file.read_text() == "colour:\n  purple: [plum]\n"
    file.write_text("colour:\n  brown: [plum]\n")
    with pytest.raises(BadVocabulary, match="means hard already"):
        learning.learn(store, Suggestion("hard", "consistency", "soft", 2))
    assert file.read_text() == "colour:\n  brown: [plum]\n"
