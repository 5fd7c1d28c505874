"""Learning from corrections: offered after the second time, previewed, added, and used from then on."""

from typing import Any

TEXT = "Patient {}. Right ear. The wax is roofers mastic and brown. The drum is intact."
OFFERED = {"phrase": "roofers mastic", "kind": "consistency"}


def teach(desk: Any) -> int:
    """Put the same words into the same field in two visits; a third has them too."""
    for name in ("61", "62"):
        visit = desk.dictate(TEXT.format(name), f"{name}.wav")
        start = TEXT.format(name).index("roofers")
        what = "ears[0].before.wax[0].consistency=clay_like"
        desk.do(visit, "add", what=what, words=f"{start}-{start + 14}")
    return int(desk.dictate(TEXT.format("63"), "63.wav"))


def test_nothing_is_offered_without_corrections(desk: Any) -> None:
    desk.dictate(desk.CLEAN)
    assert "Nothing to learn now." in desk.page("/learning")
    assert "/learning" in desk.page("/")


def test_what_was_put_right_twice_is_offered_previewed_and_learned(desk: Any) -> None:
    third = teach(desk)
    assert "1 to learn" in desk.page("/")
    assert "was put right 2 times" in desk.page("/learning")
    preview = desk.page("/learning", **OFFERED)
    assert f'href="/visits/{third}"' in preview
    assert "right ear before wax consistency: clay_like" in preview
    assert not (desk.folder / "vocabulary.yaml").exists(), "nothing is learned by looking"
    answer = desk.client.post("/learning", data=OFFERED)
    assert answer.headers["location"].startswith("/learning?learned=")
    assert "Nothing to learn now." in desk.page("/learning")
    desk.do(third, "again")
    assert desk.plain(third)["ears"][0]["before"]["wax"][0]["consistency"] == ["clay_like"]


def test_what_is_not_offered_cannot_be_added(desk: Any) -> None:
    desk.dictate(desk.CLEAN)
    answer = desk.client.post("/learning", data={"phrase": "intact", "kind": "drum"})
    assert answer.status_code == 400
    assert not (desk.folder / "vocabulary.yaml").exists()
