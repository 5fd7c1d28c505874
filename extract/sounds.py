"""How written English sounds, roughly, and how far apart two soundings are.

A small letter-to-sound reduction of our own: one character per phone, good enough to compare what a
recogniser wrote with what was said,
not to speak. What it costs to confuse two phones is judged by manner and place of
articulation (common practice, no one source).
"""

from __future__ import annotations

import re
from functools import lru_cache

VOWELS = frozenset("iIeaAouU3@YEOWQ")
"""see sit bed cat father hot cup food bird about / my day go now boy."""

_SAID = {
    "queue": "kjU",
    "isle": "Yl",
    "aisle": "Yl",
    "one": "wun",
    "two": "tU",
    "eight": "Et",
    "are": "Ar",
    "of": "ov",
    "the": "D@",
    "a": "@",
    "i": "Y",
    "you": "jU",
    "to": "tU",
    "he": "hi",
    "she": "Si",
    "we": "wi",
    "be": "bi",
    "me": "mi",
    "do": "dU",
    "so": "sO",
    "go": "gO",
    "no": "nO",
    "see": "si",
    "by": "bY",
    "my": "mY",
    "die": "dY",
    "eye": "Y",
    "use": "jUz",
    "used": "jUzd",
    "gauge": "gEJ",
    "was": "woz",
    "what": "wot",
    "want": "wont",
    "water": "wot3",
    "oil": "Ql",
    "year": "jir",
    "ear": "ir",
    "curette": "kjUret",
    "cannula": "kanjUl@",
    "forceps": "forseps",
    "loupes": "lUps",
    "loupe": "lUp",
    "palate": "pal@t",
    "micro": "mYkrO",
    "dry": "drY",
    "zoellner": "zeln3r",
    "meatus": "miEt@s",
    "urea": "jUri@",
    "colour": "kul3r",
    "honey": "huni",
    "heart": "hArt",
    "french": "frenC",
    "tm": "tiem",
    "gp": "JIpi",
    "ent": "ienti",
    "cough": "kof",
    "tough": "tuf",
    "soda": "sOd@",
    "mil": "mIl",
    "red": "red",
    "flood": "flud",
    "blood": "blud",
    "bled": "bled",
    "shed": "Sed",
    "bred": "bred",
    "mm": "mIlImit3z",
    "cm": "sentImit3z",
    "'s": "z",
    "n't": "nt",
    "'m": "m",
    "'re": "r",
    "'ve": "v",
    "'ll": "l",
    "'d": "d",
    "tympanic": "tImpanIk",
}
_LETTERS = dict(
    zip(
        "bcdefghjklmnopqrstuvwxyz",
        (
            "bi",
            "si",
            "di",
            "i",
            "ef",
            "Ji",
            "EC",
            "JE",
            "kE",
            "el",
            "em",
            "en",
            "O",
            "pi",
            "kjU",
            "Ar",
            "es",
            "ti",
            "jU",
            "vi",
            "dublju",
            "eks",
            "wY",
            "zi",
        ),
        strict=True,
    )
)
_RULES: list[tuple[str, str | None]] = [
    (pattern, phones)
    for pattern, phones in (
        (r"^x", "z"),
        (r"^kn", "n"),
        (r"^wr", "r"),
        (r"^wh", "w"),
        (r"^gn", "n"),
        (r"^ps", "s"),
        (r"mb(?=s?$)", "m"),
        (r"eigh", "E"),
        (r"igh", "Y"),
        (r"[ao]ugh", "o"),
        (r"tch", "C"),
        (r"dge?", "J"),
        (r"s?sion", "Z@n"),
        (r"[tc]ion", "S@n"),
        (r"cian", "S@n"),
        (r"[ct]ious", "S@s"),
        (r"[ct]ial", "S@l"),
        (r"ture$", "C@"),
        (r"sch", "sk"),
        (r"ch(?=[rl])", "k"),
        (r"ch", "C"),
        (r"sh", "S"),
        (r"ph", "f"),
        (r"th", "T"),
        (r"ck", "k"),
        (r"nge", "nJ"),
        (r"ng(?=s?$)", "N"),
        (r"ng", "Ng"),
        (r"nk", "Nk"),
        (r"qu$", "k"),
        (r"qu", "kw"),
        (r"q", "k"),
        (r"x", "ks"),
        (r"sc(?=[eiy])", "s"),
        (r"cc(?=[eiy])", "ks"),
        (r"c(?=[eiy])", "s"),
        (r"c", "k"),
        (r"gue?$", "g"),
        (r"gu(?=[aei])", "g"),
        (r"^g(?=e[tea]|i)", "g"),
        (r"gg", "g"),
        (r"g(?=[eiy])", "J"),
        (r"gh", "g"),
        (r"(?P<twin>[bdfglmnprstzkv])(?=(?P=twin))", ""),
        (r"(?<=[td])ed$", "Id"),
        (r"(?<=[^aeiou])ed$", "d"),
        (r"(?<=[bcdfgkptszx])les?$", "@l"),
        (r"(?<=[^aeiouy])ies?$", "i"),
        (r"e?y$", "i"),
        (r"eau", "O"),
        (r"ear(?=[lnt])", "3r"),
        (r"e[ae]r|ere$|ier", "ir"),
        (r"air|are$", "er"),
        (r"o[uao]r|ore", "or"),
        (r"ar(?![aeiour])", "Ar"),
        (r"[eiu]r(?![aeiour])", "3r"),
        (r"ee|ea|ie|ei", "i"),
        (r"oo", "U"),
        (r"o[uw]", "W"),
        (r"oa|oe", "O"),
        (r"o[iy]", "Q"),
        (r"ai|ay", "E"),
        (r"a[uw]", "o"),
        (r"ew|u[ei]|eu", "U"),
        (r"i[ao]", "i@"),
        (r"a(?=[bcdfgklmnpstvz]e[sd]?$)", "E"),
        (r"i(?=[bcdfgklmnpstvz]e[sd]?$)", "Y"),
        (r"o(?=[bcdfgklmnpstvz]e[sd]?$)", "O"),
        (r"u(?=[bcdfgklmnpstvz]e[sd]?$)", "U"),
        (r"^y|y(?=[aeiou])", "j"),
        (r"(?<=[^aeiou])e$", ""),
        (r"a$", "@"),
        (r"o$", "O"),
        (r"u$", "U"),
        (r"i$", "i"),
        (r"a", "a"),
        (r"e", "e"),
        (r"i", "I"),
        (r"o", "o"),
        (r"u", "u"),
        (r"y", "I"),
        (r"[bdfghjklmnprstvwz]", None),
    )
]
_PHONES = {f"rule{i}": sound for i, (_, sound) in enumerate(_RULES)}
_ANY_RULE = re.compile("|".join(f"(?P<rule{i}>{pattern})" for i, (pattern, _) in enumerate(_RULES)))
"""All rules at once, the first that fits; a letter that stands for itself has no phones of its own."""


@lru_cache(maxsize=20_000)
def phones(word: str) -> str:
    """The phones of one lower-case word; a single letter is named as in spelling."""
    known = _SAID.get(word) or _LETTERS.get(word)
    if known is not None:
        return known
    out: list[str] = []
    at = 0
    while at < len(word):
        found = _ANY_RULE.match(word, at)
        if found and found.lastgroup:
            sound = _PHONES[found.lastgroup]
            out.append(word[at] if sound is None else sound)
        at = max(found.end() if found else 0, at + 1)
    return "".join(out)


_CLASS = {
    **dict.fromkeys("pb", "P"),
    **dict.fromkeys("tdTD", "T"),
    **dict.fromkeys("kg", "K"),
    **dict.fromkeys("fv", "F"),
    **dict.fromkeys("szSZCJ", "S"),
    **dict.fromkeys("mnN", "N"),
    **dict.fromkeys("lr", "L"),
}


@lru_cache(maxsize=20_000)
def skeleton(sound: str) -> str:
    """The classes of the consonants, neighbours of one class joined; w, h, j and vowels left out."""
    out = ""
    for phone in sound:
        kind = _CLASS.get(phone, "")
        if kind and not out.endswith(kind):
            out += kind
    return out


_WEIGHT = {
    **dict.fromkeys(VOWELS, 0.4),
    "@": 0.25,
    "r": 0.4,
    "h": 0.3,
    "j": 0.3,
    "w": 0.5,
    "t": 0.7,
    "d": 0.7,
    "n": 0.8,
}
_NEAR = {
    0.12: "i-I I-e e-a a-A A-o o-O O-U a-u A-u 3-@ u-@ I-@ e-@ a-@ o-@ E-e E-i 3-e 3-u Y-I Y-E O-W o-W Q-O "
    "u-o n-N",
    0.2: "p-b t-d k-g f-v s-z S-Z C-J T-D S-C Z-J d-D t-T z-J",
    0.3: "m-n m-N w-v s-S z-Z T-f D-v T-s D-z s-C z-J S-J j-i w-U w-O w-W r-3 r-@ J-d C-t r-w",
    0.5: "l-r b-v p-f b-m d-n k-t p-t p-k b-d g-d b-g l-w l-O l-U l-n t-s f-s k-C f-h",
}
_PAIRS = {
    frozenset(pair.split("-")): cost
    for cost, pairs in sorted(_NEAR.items(), reverse=True)
    for pair in pairs.split()
}


@lru_cache(maxsize=2_000)
def _swap(a: str, b: str) -> float:
    """What it costs to hear phone a as phone b."""
    if a == b:
        return 0.0
    listed = _PAIRS.get(frozenset((a, b)))
    if listed is not None:
        return listed
    if a in VOWELS and b in VOWELS:
        return 0.25
    return 1.0


@lru_cache(maxsize=20_000)
def weight(sound: str) -> float:
    """How much there is to hear in a sounding."""
    return sum(_WEIGHT.get(phone, 0.9) for phone in sound)


@lru_cache(maxsize=20_000)
def similarity(heard: str, meant: str) -> float:
    """How alike two soundings are, 0 to 1: the cheapest way between them against what there is to hear."""
    whole = max(weight(heard), weight(meant))
    if not whole:
        return 0.0
    drop = [_WEIGHT.get(phone, 0.9) for phone in meant]
    row = [0.0]
    for cost in drop:
        row.append(row[-1] + cost)
    for phone in heard:
        lost = _WEIGHT.get(phone, 0.9)
        above = row
        row = [above[0] + lost]
        for j, other in enumerate(meant):
            row.append(min(above[j + 1] + lost, row[j] + drop[j], above[j] + _swap(phone, other)))
    return max(1.0 - row[-1] / whole, 0.0)
