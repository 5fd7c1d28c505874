"""How written English sounds, roughly, and how far apart two soundings are.

A small letter-to-sound reduction of our own: one character per phone, good enough to compare what a
recogniser wrote with what was said,
not to speak. What it costs to confuse two phones is judged by manner and place of
articulation (common practice, no one source).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache, lru_cache
from typing import cast

import numpy as np
from numpy.typing import NDArray

from shared.vocabulary import shipped

VOWELS = frozenset("iIeaAouU3@YEOWQ")
"""see sit bed cat father hot cup food bird about / my day go now boy."""


@cache
def _said() -> dict[str, str]:
    return cast("dict[str, str]", shipped("said.yaml"))


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
        (r"^who", "hU"),
        (r"^wh", "w"),
        (r"(?<=^c)ough|(?<=^tr)ough", "of"),
        (r"(?<=[rt])ough(?=$|ly|s$)|(?<=^en)ough", "uf"),
        (r"(?<=^l)augh", "af"),
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
        (r"cian|ssian", "S@n"),
        (r"tient", "S@nt"),
        (r"(?<=[aeiou])sure", "Z@"),
        (r"sual", "ZU@l"),
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
        (r"(?<=[cfkpsxh])ed$", "t"),
        (r"(?<=[^aeiou])ed$", "d"),
        (r"(?<=[bcdfgkptszx])les$", "@lz"),
        (r"(?<=[bcdfgkptszx])le$", "@l"),
        (r"(?<=[^aeiouy])ies$", "iz"),
        (r"(?<=[^aeiouy])ie$", "i"),
        (r"(?<=[csxzg])es$|(?<=[cs]h)es$", "Iz"),
        (r"(?<=[^aeiou])es$", "s"),
        (r"e?y$", "i"),
        (r"eau", "O"),
        (r"ea(?=lth|ther|vy|dy|dache)", "e"),
        (r"uy|(?<=^b)ye$|(?<=^d)ye$", "Y"),
        (r"ear(?=[lnt])", "3r"),
        (r"e[ae]r|ere$|ier", "ir"),
        (r"air|are$", "er"),
        (r"o[uao]r|ore", "or"),
        (r"(?<=w)ar(?![aeiour])", "or"),
        (r"ar(?![aeiour])", "Ar"),
        (r"[eiu]r(?![aeiour])", "3r"),
        (r"ee|ea|ie|ei", "i"),
        (r"oo", "U"),
        (r"(?<=[bcdf]r)ow", "W"),
        (r"(?<=[lr])ow", "O"),
        (r"ould", "Ud"),
        (r"(?<=^w)or(?=[dkms])", "3r"),
        (r"o[uw]", "W"),
        (r"oa|oe", "O"),
        (r"o[iy]", "Q"),
        (r"ai|ay", "E"),
        (r"a[uw]", "o"),
        (r"al(?=k)", "o"),
        (r"al(?=f|ves)", "A"),
        (r"al(?=l(?:s|ed)?$|t)", "ol"),
        (r"(?<=w)a(?=[nst])", "o"),
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
        (r"j", "J"),
        (r"[bdfghklmnprstvwz]", None),
    )
]
_SPELT = re.compile(r"[bcdfghjklmnpqrstvwxz]{2,3}")
"""Said letter by letter."""
_ONE_BEAT = re.compile(r"^([^aeiouy]+)(?:y|ie)([sd]?)$")
"""dry, tie, tried: one syllable, its vowel long."""
_WEAK_AGE = re.compile(r"([aeiou][^aeiou]+)age(s?)$")
"""drainage, not age."""
_PHONES = {f"rule{i}": sound for i, (_, sound) in enumerate(_RULES)}
_ANY_RULE = re.compile("|".join(f"(?P<rule{i}>{pattern})" for i, (pattern, _) in enumerate(_RULES)))
"""All rules at once, the first that fits; a letter that stands for itself has no phones of its own."""


@lru_cache(maxsize=20_000)
def phones(word: str) -> str:
    """The phones of one lower-case word; a single letter is named as in spelling."""
    known = _said().get(word) or _LETTERS.get(word)
    if known is not None:
        return known
    if _SPELT.fullmatch(word):
        return "".join(_LETTERS.get(letter, "E") for letter in word)
    word = _ONE_BEAT.sub(r"\1igh\2", _WEAK_AGE.sub(r"\1idge\2", word))
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


@lru_cache(maxsize=20_000)
def outline(sound: str) -> str:
    """The skeleton with every run of vowels in its place, as one."""
    out = ""
    for phone in sound:
        kind = "a" if phone in VOWELS else _CLASS.get(phone, "")
        if kind and not out.endswith(kind):
            out += kind
    return out


def sounding(words: tuple[str, ...]) -> str:
    """The phones of several words, run together as in speech."""
    return "".join(map(phones, words))


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
    0.3: "m-n m-N w-v j-J s-S z-Z T-f D-v T-s D-z s-C z-J S-J j-i w-U w-O w-W r-3 r-@ J-d C-t r-w",
    0.5: "l-r b-v p-f b-m d-n k-t p-t p-k b-d g-d b-g l-w l-O l-U l-n t-s f-s k-C f-h",
}
_PAIRS = {
    frozenset(pair.split("-")): cost
    for cost, pairs in sorted(_NEAR.items(), reverse=True)
    for pair in pairs.split()
}


def _swap(a: str, b: str) -> float:
    """What it costs to hear phone a as phone b."""
    listed = _PAIRS.get(frozenset((a, b)))
    if listed is not None:
        return listed
    return 0.25 if a in VOWELS and b in VOWELS else 1.0


class _Swaps(dict[str, dict[str, float]]):
    """_swap of every two phones met, laid out when first needed."""

    def __missing__(self, phone: str) -> dict[str, float]:
        known = sorted(VOWELS.union(_CLASS, "hjw"))
        self[phone] = {other: 0.0 if other == phone else _swap(phone, other) for other in known}
        return self[phone]


_SWAPS = _Swaps()


@lru_cache(maxsize=20_000)
def weight(sound: str) -> float:
    """How much there is to hear in a sounding."""
    return sum(_WEIGHT.get(phone, 0.9) for phone in sound)


@lru_cache(maxsize=20_000)
def similarity(heard: str, meant: str, least: float = 0.0) -> float:
    """How alike two soundings are, 0 to 1: the cheapest way between them against what there is to hear.

    least: what is surely less alike may be given as 0.
    """
    whole = max(weight(heard), weight(meant))
    if not whole:
        return 0.0
    most = (1.0 - least) * whole + 1e-9
    drop = [_WEIGHT.get(phone, 0.9) for phone in meant]
    above = [0.0]
    for cost in drop:
        above.append(above[-1] + cost)
    for phone in heard:
        lost, swaps = _WEIGHT.get(phone, 0.9), _SWAPS[phone]
        left = above[0] + lost
        row = [left]
        for j, other in enumerate(meant):
            swapped, added, passed = above[j] + swaps[other], left + drop[j], above[j + 1] + lost
            left = swapped if swapped < added else added
            left = left if left < passed else passed
            row.append(left)
        if min(row) > most:
            return 0.0
        above = row
    return max(1.0 - above[-1] / whole, 0.0)


_PHONES_KNOWN = "".join(sorted(VOWELS.union(_CLASS, "hjw")))
_CODES = {phone: code for code, phone in enumerate(_PHONES_KNOWN)}
_COSTS = np.array([[_SWAPS[a][b] for b in _PHONES_KNOWN] for a in _PHONES_KNOWN], np.float32)
_DROPS = np.array([_WEIGHT.get(phone, 0.9) for phone in _PHONES_KNOWN], np.float32)


class Soundings:
    """Many soundings laid out side by side, so that one can be compared with some of them at once."""

    def __init__(self, sounds: Sequence[str]) -> None:
        longest = max(map(len, sounds), default=0)
        self._codes = np.zeros((len(sounds), longest), np.intp)
        drops = np.zeros((len(sounds), longest), np.float32)
        for i, sound in enumerate(sounds):
            codes = [_CODES[phone] for phone in sound]
            self._codes[i, : len(codes)] = codes
            drops[i, : len(codes)] = _DROPS[codes]
        self._before = np.zeros((len(sounds), longest + 1), np.float32)
        np.cumsum(drops, axis=1, out=self._before[:, 1:])
        self._lengths = np.array([len(sound) for sound in sounds], np.intp)
        self.weights = self._before[:, -1]

    def costs(
        self, heard: Sequence[str], which_heard: NDArray[np.intp], which: NDArray[np.intp]
    ) -> NDArray[np.float32]:
        """What it costs to hear soundings numbered in `which` as those in `which_heard`, pair by pair.

        The cost is that of `similarity`: the cheapest way from one to the other.
        """
        said = Soundings(heard)
        longest = int(self._lengths[which].max(initial=0))
        codes, before = self._codes[which, :longest], self._before[which, : longest + 1]
        row, ends = before, said._lengths[which_heard]
        for i in range(said._codes.shape[1]):
            code = said._codes[which_heard, i]
            best = row + _DROPS[code][:, None]
            np.minimum(best[:, 1:], row[:, :-1] + _COSTS[code[:, None], codes], out=best[:, 1:])
            best = np.minimum.accumulate(best - before, axis=1) + before
            row = np.where((i < ends)[:, None], best, row)
        costs: NDArray[np.float32] = row[np.arange(len(which)), self._lengths[which]]
        return costs
