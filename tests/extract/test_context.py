"""Negation and doubt in talk: which of the marked words are denied (-), doubted (?) or simply said (+).

The sentences are our own, in the manner of dictation, with and without punctuation.
"""

import re
from pathlib import Path

import pytest
import spacy
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from spacy.language import Language

from extract.context import Context, covering
from extract.context_reach import LONGEST
from shared.errors import BadVocabulary

SIGNS = {"+": "affirmed", "-": "negated", "?": "possible"}

SAID = """
No -[pain], no -[dizziness].
No -[blood], no -[pain] to speak of.
It doesn't -[hurt] and it isn't -[leaking].
It doesnt -[hurt] and it isnt -[leaking].
She’s never had -[grommets], and there wasn’t any -[discharge].
Never had -[grommets], never had -[surgery] on her ears, no -[blood thinners].
He isn't on any -[blood thinners].
Ringing is there, +[itching] also.
-[Ringing] is not there, and no -[dizziness] also.
-[Itching] is not there now, +[ringing] is there.
Mum hasn't noticed any -[discharge].
It came out without any -[bleeding].
He didn't -[cough], not once.
He didn't -[cough], not once. +[Bleeding] a little at the front.
He denies -[pain], he denies -[drainage], no -[vertigo].
She denies any -[hearing loss] or -[tinnitus].
Nothing -[running] out of them.
She says none of it -[hurt].
He's not -[diabetic], I asked.
No -[tube] to be seen on this side.
Negative for -[discharge] and -[itching].
The swab was negative for -[infection].
She had no -[bleeding] and no -[pain] on either side.
No -[grommets], no -[ear operations].
It isn't -[leaking] now.
No -[complications].
The canal is free of -[discharge].
That rules out a -[perforation].
A -[perforation] was ruled out by the scan.
There's no sign of -[infection].
No -[bleeding], drum +[intact].
No -[bleeding], the drum's +[intact].
No -[bleeding] and the drum is +[dull].
No -[pain], soft brown +[wax] in the left.
No -[pain], -[discharge] or -[itching].
No -[pain] or -[discharge] but some +[itching].
No -[itching], however +[ringing] at night.
No -[problems] apart from a little +[itching].
No -[symptoms] except +[itching].
No -[pain]; +[itching] on and off.
No -[pain], just +[itching].
No -[pain], a little +[discharge] on the pillow.
No -[discharge]. +[Pain] on and off.
Not -[itchy], no, he's shaking his head, and no -[muck] coming out of it.
The TM is red but not -[bulging].
No -[redness], -[swelling], or -[wax].
Neither -[pain] nor -[discharge].
She has never once had any -[infections].
He's not had -[dizziness] and the +[ringing] has settled.
He no longer has -[pain].
There was no -[wax] whatsoever in the right, and soft +[wax] in the left.
It's not -[red] or -[swollen].
-[Discharge] absent, +[wax] soft.
-[Bleeding]: none.
-[Bleeding], none.
-[Pain]: no.
Any -[pain]? No.
Any -[discharge]? None. +[Itching]? Yes.
Any -[ringing]? Nope. The drum's +[dull].
Any -[pain]? No, none at all. Soft +[wax].
I can't see any -[perforation].
I couldn't find a -[grommet].
There isn't any -[discharge] on this side.
There wasn't a trace of -[blood].
Not a scrap of -[wax] in there.
The canal isn't -[inflamed] and it hasn't been -[sore].
It wasn't -[painful] for her.
I don't see any -[fluid].
She hasn't any -[tinnitus].
He's without -[pain] today.
No more -[ringing] since Monday.
-[Fluid] not seen. Drum +[dull].
The drum is +[dull], -[fluid] is not seen.
The drum is +[red] and -[discharge] is not seen.
-[Pain] and -[discharge] are not present.
No evidence of a -[perforation] or of -[fluid].
There was no -[bleeding] seen, no -[cough] either.
Absence of -[bleeding] noted, +[cough] noted.
Nobody has seen -[discharge].
No known -[perforation].
no -[pain] no -[discharge] the canal is about 70 percent full of soft +[wax]
no -[pain] no -[discharge] left ear has soft brown +[wax]
no -[bleeding] drum +[intact]
no -[bleeding] the drum's +[intact]
no -[bleeding] she +[tolerated] it well
no -[dizziness] he's got +[ringing] in the left
no -[pain] or -[discharge] it's +[itchy] though
no -[discharge] there's a +[perforation] at the front
no -[pain] i can see +[exostoses] on both sides
it doesn't -[hurt] the drum is +[dull]
isn't -[leaking] canal's a bit +[dry]
he isn't on -[blood thinners] right ear has hard +[wax]
never had -[grommets] drum is +[retracted]
no -[pain] no -[coughing] but she's had +[ringing] in that ear
two pieces 4 mil and 7 mil no -[bleeding] and the drum's +[intact]
no -[bleeding] at all i had the +[forceps] out
doesn't -[itch] or -[hurt] she says it +[rings]
no -[dizziness] eighteen gauge +[sucker]
no -[pain] no -[itch] soft light brown +[wax] halfway down
without -[bleeding] the left drum is +[healthy]
denies -[pain] denies -[drainage] the left canal is +[narrow]
it is not -[sore] there is some +[swelling] at the entrance
Possibly a ?[perforation] at the front.
I think there's ?[fluid] behind the drum.
I think it's got a small ?[hole] at the front, can't be sure.
The drum's ?[retracted], I think. Not -[bulging].
Query a small ?[hole] low down, can't be certain.
? ?[perforation] on the left.
?perforated, or a fold: query ?[perforation].
There might be a ?[hole] low down, I couldn't swear to it.
Behind the drum there might be ?[fluid], I wouldn't swear to it. No -[pain] with it.
It may be ?[perforated].
That could be a ?[grommet].
There appears to be an ?[effusion].
The drum on the left appears to be ?[retracted].
The drum seems ?[dull].
There's a questionable ?[perforation] up high.
Intact, with questionable ?[redness].
Suspicious for ?[infection].
Suggestive of ?[fluid].
I can't rule out ?[fluid].
Cannot rule out a ?[perforation].
I cannot exclude ?[infection].
A ?[perforation] can't be ruled out.
I'm not sure there's a ?[perforation].
I'm not sure if it's ?[perforated].
A small ?[hole] in the drum, can't be sure.
A small ?[hole] in the drum, low down, I can't be certain.
A small ?[hole] at the front. Can't be certain.
A ?[hole] at the front. I couldn't swear to it. No -[bleeding].
Probably ?[soft] behind that.
The face of it is +[firm], probably ?[soft] behind that.
It's likely ?[fluid].
A probable ?[perforation].
Perhaps some ?[scarring].
Maybe a ?[grommet].
I suspect a ?[perforation].
There's ?[fluid] maybe.
The canal's +[clear] and the drum's ?[retracted], I think.
The drum, I think, is ?[retracted].
Can't be sure there's no ?[hole].
I'm not certain whether the drum is ?[intact].
It looks like a ?[bead].
I don't know if it's ?[perforated].
might be ?[fluid] behind it the canal is +[dry]
i think the drum's ?[retracted] no -[bleeding] he +[tolerated] it well
it's not as though he's never had it +[done]
It's not as though he's never had it +[done], he's had it +[done] plenty.
No doubt it's +[perforated].
There's no doubt about the +[perforation].
Without doubt a +[perforation].
Not only +[pain] but +[discharge] as well.
No change, still +[itchy].
No increase in the +[ringing].
Not without some +[bleeding].
I can't deny there's a +[perforation].
It's +[sore], isn't it, on the left side.
+[Tickles], doesn't it? Just +[wax].
No problem, +[wax] is soft.
No thank you. +[Wax] is soft.
No rush. +[Grommet] in place.
Nothing but +[wax] in there.
+[Sixty], no, +[seventy] percent.
Eighteen, no, +[sixteen] mil.
Eighteen no +[sixteen] mil.
Six, no, hang on, +[seven] mil.
Left, no, +[right] ear.
Left no +[right] ear.
The soft bit is yellow, well no, +[orange].
The soft bit is yellow well no +[orange].
20 gauge no hang on +[18] gauge.
13 no sorry +[14] millimetres.
No wait, it's +[perforated].
No no, the +[right] one.
No, the +[drum] is dull.
No, she says it +[stings].
Wax is +[soft], no, +[hard] actually.
Crumbly? No. The +[wax] is hard.
Little touches... no? Okay, he's +[dizzy].
A fortnight or so of +[pain].
About ten days or so of +[olive oil].
Most, if not all, of the +[wax] is out.
Not bad, some +[wax] on the floor.
Come back in three, no, +[four] weeks.
The drum is +[intact] and looks +[healthy].
+[Pain] since Friday, +[discharge] since Sunday.
Her +[hearing] is down in both ears.
He had a little +[cough] while I was in there.
He was +[dizzy] and there was +[bleeding].
The wax is +[soft] and not -[hard].
The +[wax] didn't move.
It may I suppose be ?[perforated].
She wears +[hearing aids] in both ears and isn't -[diabetic].
He's had no -[discharge] at all and he's never had -[grommets] or -[surgery].
There's been no -[pain], no -[itch], nothing -[leaking] out.
She is not complaining of any -[pain] or -[tinnitus].
No previous -[ear surgery] and no -[perforations] that he knows of.
He doesn't take -[blood thinners] and he isn't -[diabetic].
She doesn't have -[diabetes], doesn't wear -[hearing aids].
I'm not seeing any -[wax] in the left one at all.
I didn't see any -[bleeding] when I came out.
There wasn't any -[bleeding], thankfully, and the drum looks +[healthy].
The drum isn't -[perforated], it's just +[scarred].
The drum isn't -[perforated] it's just +[scarred].
The drum's not -[perforated] but it is +[retracted].
Not -[perforated]. Not -[inflamed] either.
The drum is neither -[red] nor -[bulging].
No -[pain] reported, no -[discharge] seen.
No -[bleeding] noted and the +[drum] is visible.
He tells me there's no -[pain] and no -[discharge], just a bit of +[itching].
Doesn't feel -[dizzy], doesn't feel -[sick], a bit +[sore] that's all.
There is no -[itching] there is no -[pain] only +[blocked] feeling.
Pain is not there madam, only +[blocked] feeling.
-[Pain] is not there, -[discharge] is not there.
-[Discharge] also not there.
She is not having any -[giddiness].
Nil -[pain], nil -[discharge].
-[Pain] nil, -[discharge] nil.
-[Dizziness] denied.
She's not on -[warfarin] or anything like that.
No -[warfarin], no -[apixaban], nothing like that.
He's never worn -[hearing aids].
Hasn't ever had a -[perforation].
We've never cleared her ears +[before].
No -[cough] with it, bless him, tolerated it +[well].
no -[cough] with it tolerated it +[well]
no -[bleeding] tolerated +[well]
She coped +[well] with no -[pain] or -[dizziness].
The canal is +[clear] with no -[bleeding] or -[abrasion].
Removed it without any -[pain] or -[bleeding] using the +[forceps].
Removed without -[pain] using the +[forceps].
There was a little +[bleeding] but no -[pain].
No -[foreign body] seen, lots of +[wax].
no -[foreign body] seen lots of +[wax]
no -[infection] there but plenty of +[flaking] skin
no -[redness] no -[swelling] bit of dry +[skin] at the entrance
no -[discharge] the skin's a bit +[dry]
no -[discharge] a bit of dry +[skin] on the floor
no -[discharge] bit of dry +[skin] on the floor
no -[hearing aids] no -[surgery] he's on +[warfarin]
no -[surgery] on +[warfarin] for his heart
he's not -[diabetic] he's on +[warfarin]
not -[diabetic] on +[warfarin] though
no -[grommets] no -[perforation] right ear completely +[blocked] with hard wax
never had any -[surgery] both ears feel +[blocked]
I can't see a -[hole] but I can't rule out a small ?[one].
No obvious -[perforation].
No definite -[perforation] seen.
There may or may not be a ?[perforation].
Whether there's a ?[perforation] I can't say.
Might have a bit of ?[fluid] in there.
It's possibly ?[infected] I think.
Not sure but there could be a ?[grommet] in there.
I don't think it's -[perforated].
I don't think there's any -[fluid].
I doubt it's ?[perforated].
The drum looks +[dull] and there's what looks like a ?[perforation].
There's a suspicion of ?[fluid].
Suspected ?[otitis externa].
Maybe ?[retracted], hard to tell.
A bit ?[red], maybe.
A bit ?[red] perhaps, but +[intact].
It seems to be ?[intact].
It's ?[perforated], probably.
Looks ?[retracted] to me, though I can't be certain.
+[Perforated], no question.
It's definitely +[perforated].
She's not only +[itchy], she has +[discharge].
No worse, still +[ringing].
It's +[itchy], no doubt about that.
Not the left, the +[right].
Not left, +[right].
It's not the left ear, it's the +[right].
It's twelve, no, thirteen, +[millimetres].
Wax is brown no +[black] actually.
Crocodiles, no, the +[hook].
The hook, no, wait, the +[crocodiles].
Is there any pain? No. Any discharge? No. +[Ringing]? Yes, on the left.
Any -[pain], no. Any -[discharge], no.
any -[pain] no any -[discharge] no
He said no and then he said +[yes].
Oh no, there's +[bleeding].
Oh no, it's +[bleeding].
No! It's +[perforated].
No issues. +[Drum] intact.
No joy with the +[hook], so I used the +[crocodiles].
No luck with the +[probe].
Didn't get it with the +[hook].
I didn't use the -[forceps].
Not using -[water] on this one.
No -[irrigation] because of the +[perforation].
I won't irrigate because there's a +[perforation].
I'm not irrigating this ear as there's a +[grommet].
It wasn't -[painful] though it was +[uncomfortable].
The wax wouldn't budge, it's too +[hard].
The wax won't come away, it's +[hard].
It's not -[hard], it's +[soft].
It's not -[hard] wax it's +[soft] wax.
There's no -[hard wax], it's all +[soft].
There isn't much +[wax].
Not much +[wax] in there.
Hardly any +[wax].
Nothing in the canal, +[drum] intact.
Nothing -[abnormal] in the left.
No -[wax] left in the canal.
Isn't it +[sore]?
Without his +[hearing aids] he can't hear.
He can't hear without his +[hearing aids].
He hasn't got his +[hearing aids] in today.
No change in the +[tinnitus].
The tinnitus hasn't gone.
-[Pain] he is not having.
+[Bleeding] a little, no -[pain], no -[dizziness], +[cough] once.
No -[swelling] of the canal, +[hair] at the entrance.
We don't irrigate with a +[perforation].
-[Dizziness] she hasn't got.
-[Discharge] they have not noticed.
The +[pain] he said would not settle.
+[Pain] on swallowing, which he is not having looked at today.
No -[pain], -[dizziness] or -[cough] once we began.
No -[pain], -[swelling] in the canal.
No -[hair] at the entrance, -[swelling] of the canal.
No trouble with a +[grommet].
""".strip().splitlines()


@pytest.fixture(scope="module")
def nlp() -> Language:
    """English words, sentences by rule, scopes."""
    nlp = spacy.blank("en")
    nlp.add_pipe("sentencizer")
    nlp.add_pipe("earside_context")
    return nlp


@pytest.fixture(scope="module")
def context(nlp: Language) -> Context:
    return Context(nlp)


def marked(line: str) -> tuple[str, list[tuple[str, int, int]]]:
    """A line without its marks, and for each marked word its sign and characters."""
    text, marks = "", []
    for before, sign, words in re.findall(r"(.*?)(?:([-+?])\[([^]]+)\]|$)", line):
        text += before
        if sign:
            marks.append((sign, len(text), len(text) + len(words)))
        text += words
    return text, marks


@pytest.mark.parametrize("line", SAID)
def test_denied_doubted_or_said(line: str, nlp: Language, context: Context) -> None:
    text, marks = marked(line)
    doc = nlp(text)
    heard = []
    for _, start, end in marks:
        span = doc.char_span(start, end)
        assert span is not None, text[start:end]
        heard.append((span.text, context.certainty_of(doc._.scopes, span.start, span.end)[0]))
    assert heard == [(text[start:end], SIGNS[sign]) for sign, start, end in marks]


OTHER_KINDS = [
    ("If it [bleeds] come back.", "hypothetical"),
    ("Come back if there's any [pain].", "hypothetical"),
    ("Any [pain] or [discharge], straight back to us.", "hypothetical"),
    ("Return if it starts to [hurt].", "hypothetical"),
    ("Keep an olive oil bottle in case it gets [itchy].", "hypothetical"),
    ("Should it [bleed] ring us.", "hypothetical"),
    ("People sometimes get [dizzy] with this.", "hypothetical"),
    ("You might feel a bit [dizzy].", "hypothetical"),
    ("I was going to use the [forceps] but changed my mind.", "hypothetical"),
    ("Is that [sore]?", "hypothetical"),
    ("That [stings], does it?", "hypothetical"),
    ("He had [grommets] as a child.", "historical"),
    ("She had [radiotherapy] nine years ago, at another hospital.", "historical"),
    ("There's a history of [perforation].", "historical"),
    ("Last year there was [discharge].", "historical"),
    ("His sister had a [perforation].", "other"),
    ("[Cleft palate] as a baby, no, sorry, that's the sister.", "other"),
    ("Another patient had a [bead] in there.", "other"),
    ("Family history of [hearing loss].", "other"),
]

NOW_AND_HERS = [
    "He has [pain] and the left ear is blocked.",
    "If you look, there's a [perforation].",
    "It's an old man with [discharge].",
    "His wife says his [hearing] has gone down.",
    "Mum has noticed [discharge].",
    "I was going to use the hook but used the [forceps].",
    "If it hurts, tell me. There's [wax] in both.",
    "It's [sore], isn't it?",
    "Is it sore? The [drum] is dull.",
]


def kinds_over(nlp: Language, line: str) -> list[set[str]]:
    """For each [bracketed] word of a line, the categories of the scopes over it, denial and doubt aside."""
    text, marks = marked(line.replace("[", "+["))
    doc = nlp(text)
    spans = [span for _, start, end in marks if (span := doc.char_span(start, end)) is not None]
    assert len(spans) == len(marks)
    return [
        {scope.category for scope in covering(doc._.scopes, span.start, span.end)} - {"negated", "possible"}
        for span in spans
    ]


@pytest.mark.parametrize(("line", "kind"), OTHER_KINDS)
def test_supposed_earlier_or_of_somebody_else(line: str, kind: str, nlp: Language) -> None:
    over = kinds_over(nlp, line)
    assert over
    assert all(kind in kinds for kinds in over)


@pytest.mark.parametrize("line", NOW_AND_HERS)
def test_of_this_patient_now(line: str, nlp: Language) -> None:
    assert kinds_over(nlp, line) == [set()]


def test_scopes_quote_their_trigger(nlp: Language) -> None:
    doc = nlp("The drum isn't red.\n\nNo  pain,\n no itch.")
    quoted = [
        (s.category, doc[s.trigger[0] : s.trigger[1]].text, doc[s.start : s.end].text, s.phrase)
        for s in doc._.scopes
    ]
    assert quoted == [
        ("negated", "n't", "red.", "not"),
        ("negated", "No", "pain,\n no itch.", "no"),
        ("negated", "no", "itch.", "no"),
    ]


def test_a_denial_that_is_the_finding_itself_does_not_deny_it(nlp: Language, context: Context) -> None:
    doc = nlp("Drum not visible. I can't see the drum.")
    assert context.certainty_of(doc._.scopes, 0, 3) == ("affirmed", None)
    polarity, scope = context.certainty_of(doc._.scopes, 0, 1)
    assert (polarity, scope and scope.phrase) == ("negated", "not visible")


def test_component_needs_sentence_starts() -> None:
    bare = spacy.blank("en")
    bare.add_pipe("earside_context")
    with pytest.raises(ValueError, match="sentence starts"):
        bare("No pain. Itch.")
    assert bare("")._.scopes == []


def test_pipeline_has_what_the_component_needs(nlp: Language) -> None:
    analysis = nlp.analyze_pipes()
    assert analysis is not None
    assert set(analysis["problems"]) == {"sentencizer", "earside_context"}
    assert not any(analysis["problems"].values())


WORDS = "no not any ? ! , . : - … never can't rule out if his sister had drum pain 18 left and or \n é 🙂 n't"


@given(words=st.lists(st.sampled_from(WORDS.split(" ")), max_size=40), odd=st.text(max_size=20))
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_text_gives_scopes_inside_it(words: list[str], odd: str, nlp: Language) -> None:
    doc = nlp(" ".join(words) + odd)
    starts = [scope.start for scope in doc._.scopes]
    assert starts == sorted(starts)
    for scope in doc._.scopes:
        assert 0 <= scope.start < scope.end <= len(doc)
        assert 0 <= scope.trigger[0] < scope.trigger[1] <= len(doc)


def test_long_run_on_text_keeps_scopes_short(nlp: Language, context: Context) -> None:
    doc = nlp.make_doc("no pain and itch or " * 5000)
    scopes = context.scopes(doc, [0])
    assert len(scopes) == 5000
    assert max(scope.end - scope.start for scope in scopes) <= LONGEST


RULES = """
sets: {{be: [is, are]}}
triggers:
- category: negated
  direction: forward
  takes: noun
  reach: 3
  phrases: ["no", "{{be}} not"]
{group}
stops: [but]
words:
  connective: [and]
{words}
"""

BROKEN = [
    ("- category: denied\n  phrases: [nix]", "", "group 2, category", "'denied' is not one of"),
    ("- category: negated\n  phrase: [nix]", "", "group 2", "unknown key 'phrase'"),
    ("- category: negated\n  direction: up\n  phrases: [nix]", "", "group 2, direction", "'up'"),
    ("- category: negated\n  takes: verb\n  phrases: [nix]", "", "group 2, takes", "'verb'"),
    ("- category: negated\n  reach: 0\n  phrases: [nix]", "", "group 2", "reach must be"),
    ("- category: negated\n  lifts: maybe\n  phrases: [nix]", "", "group 2", "lifts must be"),
    ("- category: negated\n  phrases: [aren't]", "", "aren't", "given twice"),
    ("- category: negated\n  phrases: [No]", "", "group 2", "False is not a phrase"),
    ("- category: negated\n  phrases: [nix, NIX]", "", "NIX", "given twice"),
    ("- category: negated\n  phrases: []", "", "group 2", "needs a list"),
    ("- category: pseudo\n  phrases: ['no']", "", "no", "pseudo and something else"),
    ("- category: negated\n  phrases: ['{was} absent']", "", "{was} absent", "'was' is not one of"),
    ("- nix", "", "group 2", "must have a category"),
    ("", "  article: [very]", "words", "unknown key 'article'"),
    ("", "  verb: [has been]", "has been", "single word"),
    ("", "  verb: [no]", "words.verb", "False is not a phrase"),
    ("", "  verb: [is", "line", "is not YAML"),
]


def test_a_sound_rules_file_loads(tmp_path: Path) -> None:
    path = tmp_path / "rules.yaml"
    path.write_text(RULES.format(group="", words=""), encoding="utf-8")
    nlp = spacy.blank("en")
    doc = nlp("No pain and itch but discharge. It isn't wax.")
    quoted = [doc[scope.start : scope.end].text for scope in Context(nlp, path).scopes(doc, [0, 7])]
    assert quoted == ["pain and itch", "wax."]


@pytest.mark.parametrize(("group", "words", "where", "what"), BROKEN)
def test_a_faulty_rules_file_is_refused(
    group: str, words: str, where: str, what: str, tmp_path: Path
) -> None:
    path = tmp_path / "rules.yaml"
    path.write_text(RULES.format(group=group, words=words), encoding="utf-8")
    with pytest.raises(BadVocabulary) as raised:
        Context(spacy.blank("en"), path)
    assert "rules.yaml" in raised.value.where
    assert where in raised.value.where
    assert what in raised.value.what


def test_a_missing_or_binary_rules_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "rules.yaml"
    with pytest.raises(BadVocabulary, match="cannot be read"):
        Context(spacy.blank("en"), path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadVocabulary, match="cannot be read"):
        Context(spacy.blank("en"), path)
