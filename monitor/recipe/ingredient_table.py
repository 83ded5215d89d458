"""Which ingredient a name means, in English or German, and what it is made of: ``ingredients.csv``, read when asked.

A row of the file is one ingredient: its names in each language, its kind, what 100 g hold [g], the water on the flour
of what is fermented [%], ``by_fat`` where the name may say another share of fat, ``whole`` where it stays in pieces,
the weight of a cup and of a piece [g; empty: as its kind, ``?``: not known], and the source. *USDA SR* is the
Standard Reference of the USDA, *tables* that and the one of Souci, Fachmann and Kraut, *labels* the makers' duties in
the EU; salt is 2.5 times the sodium. ``seen`` names the columns whose values were read in the source; every other value
is from memory. All are rounded.

What is in a thing and what a baker counts are two. Flour is flour and yeast is yeast. What stays whole, seeds and
raisins, olives and cheese, keeps its water, fat and sugar to itself: only its salt is counted.
"""

import csv
import difflib
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from importlib.resources import files

from monitor.recipe.ingredients import (
    CUP_G,
    PIECE_DOUBT_FRAC,
    RIPE,
    STATED_DOUBT_FRAC,
    YEASTS,
    Composition,
    IngredientKind,
)

FATTEST_PCT = 60.0  # judgement: no cream has more
DRY_WATER_FRAC = 0.2  # judgement: what holds less is dry, and another thing when it is cooked
LONGEST_NAME = 100  # judgement: what comes after so many letters is no name any more
NEAR = 3  # judgement: so many near names are told
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "œ": "oe", "æ": "ae"})
_SHARE = re.compile(r"(\d+(?:\.\d+)?) ?(?:%|percent|prozent)")
_DOUGH_YIELD = re.compile(r"\bta ?(\d{3})\b")
_ASIDE = re.compile(
    r"[,;(\[:](?!\d)|\b(?:for|from|in|with|without|plus|at|fuer|nach|zum|zur|aus|mit|ohne|im|vom|von)\b"
)
_TOKEN = re.compile(r"[a-z]+|\d+(?:\.\d+)?")
_SEVERAL = {"and", "or", "und", "oder"}
_DRIED = "dry dried powder powdered getrocknet getrocknete trocken pulver freeze chips"
_SOAKED = "cooked boiled soaked gekocht gekochte gekochter eingeweicht eingeweichte gequollen gequollene"
_BESIDE = """
    schwach stark entoelt geraspelt geraspelte part teil rest remaining reserved protein hydration jumbo no nr
    organic bio cold warm lukewarm tepid hot iced chilled boiling room temperature fine coarse plain pure natural
    chopped crushed toasted roasted melted soft softened beaten large medium small free range ripe active mature
    white strong good quality local sifted grated mashed peeled ground sliced diced extra virgin raw light
    unbleached bleached stoneground stone sea dark pale golden black brown fat about thick thin shelled blanched
    pieces fresh freshly milled sprouted level heaped unsweetened sweetened unsalted whole full the of some your own
    home made to taste pressed drained rinsed kalt kalte kaltes kalter warme warmes warmer lauwarm lauwarmes
    lauwarme handwarm handwarmes heiss heisses kochend kochendes eiskalt eiskaltes weich weiche zimmerwarm
    zimmerwarme fluessig fluessige fein feine feines grob grobe grobes gemahlen gemahlene gehackt gehackte geroestet
    geroestete geschaelt geschaelte gerieben geriebene gewuerfelt zerlassen zerlassene geschmolzen geschmolzene
    gross klein mittel groesse hell helle helles heller dunkel dunkle dunkles dunkler frisch frische frisches
    frischer natur naturtrueb reif reifes reifer aktiv aktives fett fettgehalt tr ganze ganzer ganzes geschrotet
    gepufft gepuffte gehobelt gehobelte ungesalzen ungesuesst etwas ca gut gute lose roh rohe schwarz weiss weisse
    weisses gelb rot stueck stk scheiben gestiftelt nativ natives kaltgepresst glatt griffig universal kraeftig
    cubes cubed wuerfel wuerfeln sticks knobs flavoured lactose zero
"""


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One ingredient of the table.

    Attributes
    ----------
    names
        By language, the chief one first.
    endings
        How compounds of German end that are of this kind: "-mehl" in the file.
    composition
        As a baker counts it: flour is flour.
    own
        What the source says is in it.
    has_own_fat
        The name may say another share of fat: "cream 30 %".
    is_whole
        It stays in pieces, and nothing of it but salt is counted.
    hydration_pct
        Of what is fermented: water on its flour. [%]
    cup_g, piece_g
        Likeliest, least and most; None: not known. [g]
    seen
        Columns whose values were read in the source; the others are from memory.
    """

    names: Mapping[str, tuple[str, ...]]
    endings: tuple[str, ...]
    kind: IngredientKind
    composition: Composition
    own: Composition
    has_own_fat: bool
    is_whole: bool
    hydration_pct: float | None
    cup_g: tuple[float, float, float] | None
    piece_g: tuple[float, float, float] | None
    source: str
    seen: tuple[str, ...]

    def name(self, language: str) -> str:
        """What it is called in a language; in English where the table does not know that one."""
        return self.names.get(language, self.names["en"])[0]


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a name was taken for.

    Attributes
    ----------
    is_sure
        Every word of the name was understood.
    fat_pct, hydration_pct
        Said in the name: fat in 100 g; water on flour. [%]
    """

    row: Row
    is_sure: bool
    fat_pct: float | None = None
    hydration_pct: float | None = None

    @property
    def composition(self) -> Composition:
        """What it is made of, by what the name says of it. Milk of another fatness is as watery as its kind, fat aside.

        >>> cream = recognised("cream 37 %")
        >>> round(cream.composition.water, 3), round(cream.composition.fat, 2)
        (0.574, 0.37)
        """
        made_of = self.row.composition
        if self.row.hydration_pct is not None:
            return fermented(self.hydration_pct or self.row.hydration_pct, made_of.salt)
        if self.fat_pct is None or not self.row.has_own_fat:
            return made_of
        thinned = (1.0 - self.fat_pct / 100.0) / (1.0 - made_of.fat)
        return replace(
            made_of,
            water=made_of.water * thinned,
            sugar=made_of.sugar * thinned,
            salt=made_of.salt * thinned,
            fat=self.fat_pct / 100.0,
        )


def fermented(hydration_pct: float, salt: float = 0.0) -> Composition:
    """A starter or old dough by the water on its flour [%] and its share of salt.

    >>> fermented(100.0).flour, round(fermented(60.0, 0.012).water, 3)
    (0.5, 0.37)
    """
    flour = (1.0 - salt) / (1.0 + hydration_pct / 100.0)
    return Composition(flour=flour, water=flour * hydration_pct / 100.0, salt=salt)


@cache
def rows() -> tuple[Row, ...]:
    """The whole table."""
    text = files("monitor.recipe").joinpath("ingredients.csv").read_text(encoding="utf-8")
    return tuple(map(_row, csv.DictReader(text.splitlines(), delimiter=";")))


def _row(cells: dict[str, str]) -> Row:
    kind = IngredientKind(cells["kind"])
    own = Composition(**{key: float(cells[key] or 0.0) / 100.0 for key in ("water", "fat", "sugar", "salt")})
    names = {language: tuple(cells[language].split("|")) for language in ("en", "de")}
    return Row(
        names={language: tuple(name for name in each if name[:1] != "-") for language, each in names.items()},
        endings=tuple(name[1:] for each in names.values() for name in each if name[:1] == "-"),
        kind=kind,
        composition=_counted(kind, own, is_whole=cells["whole"] == "yes"),
        is_whole=cells["whole"] == "yes",
        own=own,
        has_own_fat=cells["by_fat"] == "yes",
        hydration_pct=float(cells["hydration"]) if cells["hydration"] else None,
        cup_g=None if cells["cup_g"] == "?" else _about(cells["cup_g"], STATED_DOUBT_FRAC) or CUP_G.get(kind),
        piece_g=_about(cells["piece_g"], PIECE_DOUBT_FRAC),
        source=cells["source"],
        seen=tuple(cells["seen"].split()),
    )


def _counted(kind: IngredientKind, own: Composition, *, is_whole: bool) -> Composition:
    if is_whole:
        return Composition(salt=own.salt)
    if kind is IngredientKind.FLOUR:
        return Composition(flour=1.0)
    return Composition() if kind in YEASTS else own


def _about(cell: str, doubt_frac: float) -> tuple[float, float, float] | None:
    return (float(cell), float(cell) * (1.0 - doubt_frac), float(cell) * (1.0 + doubt_frac)) if cell else None


# -- names ------------------------------------------------------------------------------------------------------------


def _folded(text: str) -> str:
    """A name without what writers leave out: capitals, accents, the comma of a decimal.

    >>> _folded("Crème fraîche, 30,5 %"), _folded("Röstzwiebeln")
    ('creme fraiche, 30.5 %', 'roestzwiebeln')
    """
    plain = unicodedata.normalize("NFC", text).casefold().translate(_UMLAUTS)
    plain = "".join(each for each in unicodedata.normalize("NFKD", plain) if not unicodedata.combining(each))
    return re.sub(r"(?<=\d),(?=\d)", ".", plain)


def _stem(word: str) -> str:
    """A word without the endings of its plural, so that one and many are the same.

    >>> [_stem(word) for word in ("seeds", "potatoes", "berries", "mandeln", "olives", "oliven")]
    ['seed', 'potato', 'berry', 'mandel', 'oliv', 'oliv']
    """
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith("oes"):
        return word[:-2]
    if word.endswith("s") and not word.endswith(("ss", "us")) and len(word) > 3:
        word = word[:-1]
    return next(
        (word[: -len(end)] for end in ("en", "n", "e") if word.endswith(end) and len(word) >= 3 + len(end)), word
    )


def _words(text: str) -> tuple[str, ...]:
    """The words of a folded name; letters alone, and that a number is a flour's type, say nothing."""
    found = (word for word in _TOKEN.findall(_DOUGH_YIELD.sub(" ", text)) if len(word) > 1 or word.isdigit())
    return tuple(_stem(word) for word in found if word not in ("type", "typ", "tipo"))


_BESIDE_WORDS = frozenset(map(_stem, _BESIDE.split()))
_DRIED_WORDS, _SOAKED_WORDS = frozenset(map(_stem, _DRIED.split())), frozenset(map(_stem, _SOAKED.split()))


@cache
def _phrases() -> dict[tuple[str, ...], Row]:
    """Every name of the table, in words."""
    return {
        _words(_folded(name)): row
        for row in reversed(rows())
        for language in ("de", "en")
        for name in row.names[language]
    }


@cache
def _endings() -> list[tuple[str, Row]]:
    """How a compound ends that is of a kind with a row, the longest first."""
    found = [(_stem(_folded(name)), row) for row in rows() for name in row.endings]
    return sorted(found, key=lambda each: -len(each[0]))


@lru_cache(maxsize=4096)
def recognised(name: str) -> Recognised | None:
    """What an ingredient is by its name; None when the name does not say.

    All of the name is looked for first, then its longest end: the noun comes last. Words that change nothing are passed
    over; a name of two things, or of something dried or cooked that the table has only fresh, is not guessed at.

    >>> recognised("strong white flour").row.kind, recognised("magic")
    (<IngredientKind.FLOUR: 'flour'>, None)
    >>> recognised("Weizenmehl Type 550").row.name("en"), recognised("Röstzwiebeln").row.name("en")
    ('bread flour', 'fried onions')
    """
    text = _folded(name[:LONGEST_NAME])
    share, dough_yield = _SHARE.search(text), _DOUGH_YIELD.search(text)
    found = max(_readings(text), key=lambda each: each[:2], default=None)
    if found is None:
        return None
    is_sure, _, row = found
    said_pct = float(share[1]) if share else None
    if row.hydration_pct is not None:
        hydration_pct = float(dough_yield[1]) - 100.0 if dough_yield else said_pct
        return Recognised(row, is_sure, hydration_pct=hydration_pct or None)
    return Recognised(row, is_sure, fat_pct=None if said_pct is None or said_pct > FATTEST_PCT else said_pct)


def _readings(text: str) -> Iterator[tuple[bool, float, Row]]:
    """What :func:`_matches` finds in a folded name, whichever way its words are put: "flour, white", "Malz aktiv"."""
    for spelt in (text, text.replace("-", "")):
        before, after = (*_ASIDE.split(spelt, maxsplit=1), "")[:2]
        main, aside = _words(before), _words(after)
        noun = tuple(word for word in main if not _is_beside(word))
        for words in (main + aside, aside + main, aside + noun, main[::-1] + aside):
            yield from _matches(words)
        compound = _words(before.replace(" ", ""))  # "Roggen Vollkorn", "sour dough": where nothing else fits as well
        for words, size in ((main, 1.0), (compound, 0.5)):  # what stands aside may be left out, but not a drying
            for is_sure, length, row in _matches(words):
                if _changing(row).isdisjoint(aside):
                    yield is_sure, size * length, row


def _matches(words: Sequence[str]) -> Iterator[tuple[bool, float, Row]]:
    """Whether all words are understood, how much of them names the row, and the row."""
    phrases, last = _phrases(), max((k for k, word in enumerate(words, 1) if not _is_beside(word)), default=len(words))
    for start in range(len(words)):
        for end in range(start + 1, len(words) + 1):
            row = phrases.get(tuple(words[start:end]))
            left = {word for word in (*words[:start], *words[end:]) if not _is_beside(word)}
            if (
                row is None
                or _changing(row).intersection(left)
                or (left and (end < last or _SEVERAL.intersection(left)))
            ):
                continue
            yield not left, sum(map(len, words[start:end])), row
    if words and last and _SEVERAL.isdisjoint(words):
        compound = words[last - 1]
        for ending, row in _endings():
            if compound.endswith(ending) and len(compound) > len(ending) and _changing(row).isdisjoint(words):
                yield False, len(ending), row
                return


def _changing(row: Row) -> frozenset[str]:
    """Words that make another thing of it: a dry one is cooked, a moist one is dried."""
    return _SOAKED_WORDS if row.own.water < DRY_WATER_FRAC else _DRIED_WORDS


def _is_beside(word: str) -> bool:
    return word in _BESIDE_WORDS or word[0].isdigit()


def nearest(name: str) -> tuple[str, ...]:
    """Chief names of the ingredients whose names, in the same language, look most like one that the table has not."""
    spelt = {
        _folded(each): row.name(language)
        for row in reversed(rows())
        for language in ("de", "en")
        for each in row.names[language]
    }
    text = _folded(name[:LONGEST_NAME])
    words = {word for word in _TOKEN.findall(text) if len(word) > 3}
    like = difflib.get_close_matches(text, spelt, n=NEAR, cutoff=0.75)
    sharing = [each for each in reversed(spelt) if words & {*each.split()}]
    rather = difflib.get_close_matches(text, spelt, n=NEAR, cutoff=0.6)
    return tuple(dict.fromkeys(spelt[each] for each in (*like, *sharing, *rather)))[:NEAR]


def row_of(name: str, kind: IngredientKind) -> Recognised | None:
    """What the table says of an ingredient of a kind: by its name, or else as most of that kind are; None: nothing."""
    by_name = recognised(name)
    if by_name is not None and by_name.row.kind is kind:
        return by_name
    usual = None if kind in (IngredientKind.OTHER, IngredientKind.PART) else recognised(kind.value)
    if usual is None or by_name is None or kind not in RIPE:
        return usual
    return replace(usual, hydration_pct=by_name.hydration_pct)
