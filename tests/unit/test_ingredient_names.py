"""Names that bakers write, in English and German, and what the table takes them for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.recipe.ingredient_table import nearest, recognised, rows
from monitor.recipe.ingredients import Composition, IngredientKind

# Kind, and water, fat and sugar in 100 g as a baker counts them; each name is written as one would on a recipe card.
CARDS = {
    "flour": """
        strong white flour; Bread flour; plain flour; all-purpose flour; wholemeal flour; whole wheat;
        Whole-wheat flour; rye; light rye flour; dark rye; medium rye flour; rye meal; spelt flour;
        wholegrain spelt; semolina; semola rimacinata; durum flour; 00 flour; T65; T80 flour; T110;
        buckwheat flour; rice flour; cornmeal; cornflour; cornstarch; potato starch; barley flour; einkorn
        flour; AP; chickpea flour; soya flour; flour (strong white); flour, wholemeal; Weizenmehl 550;
        Weizenmehl Type 405; Weizenmehl Typ 1050; WEIZENMEHL T 812; Mehl; Weizenvollkornmehl; Vollkorn;
        Vollkornmehl; Roggenmehl; Roggenmehl 1150; Roggenmehl Type 997; Roggenvollkornmehl; Roggenschrot;
        Dinkelmehl 630; Dinkelmehl (Type 1050); Dinkelvollkornmehl; Hartweizengrieß; Hartweizengriess;
        Buchweizenmehl; Reismehl; Maisgrieß; Speisestärke; Kartoffelstärke; Emmermehl; Bio-Weizenmehl 550;
        Gerstenmehl; Kichererbsenmehl
    """,
    "water": """
        water; lukewarm water; Water (ice cold); tap water; boiling water; Wasser; lauwarmes Wasser; kaltes
        Wasser; Wasser, 30 °C; ice
    """,
    "salt": "salt; sea salt; fine sea salt; Salz; Meersalz; feines Salz; table salt; Steinsalz",
    "sugar": """
        sugar; caster sugar; caster; icing; white sugar; brown sugar; icing sugar; dextrose; Zucker; Rohrohrzucker;
        brauner Zucker; Puderzucker; Vanillezucker; Traubenzucker
    """,
    "honey": """
        honey; golden syrup; maple syrup; molasses; malt extract; barley malt syrup; glucose syrup; Honig;
        Zuckerrübensirup; Rübenkraut; Ahornsirup; Malzextrakt; Gerstenmalz; Agavendicksaft; Invertzucker
    """,
    "oil": """
        olive oil; extra virgin olive oil; canola; sunflower oil; rapeseed oil; lard; shortening; ghee; Olivenöl;
        Rapsöl; Sonnenblumenoel; Schweineschmalz; Butterschmalz; Öl; Kürbiskernöl
    """,
    "butter": """
        butter; unsalted butter; butter, softened; salted butter; margarine; Butter; weiche Butter; Butter
        (kalt)
    """,
    "milk": """
        milk; whole milk; semi-skimmed milk; buttermilk; yoghurt; yogurt; cream; heavy cream; double cream;
        single cream; sour cream; creme fraiche; quark; cream cheese; condensed milk; evaporated milk; milk
        powder; skimmed milk powder; dry milk; whey; kefir; Milch; Vollmilch; lauwarme Milch; Milch 3,5 %;
        Buttermilch; Joghurt; Naturjoghurt; Sahne; Schlagsahne; Sahne 30 %; saure Sahne; Schmand; Quark;
        Magerquark; Topfen; Frischkäse; Kondensmilch; Milchpulver; Magermilchpulver; Molke; Obers; Crème
        fraîche
    """,
    "egg": """
        egg; eggs; large eggs; egg yolk; egg yolks; egg whites; Ei; Eier; Eier (Größe M); Eigelb; Eiweiß;
        Vollei; Dotter
    """,
    "fresh yeast": "fresh yeast; compressed yeast; Frischhefe; Hefe; frische Hefe; Backhefe",
    "active dry yeast": "active dry yeast; active dried yeast",
    "instant yeast": "instant yeast; dried yeast; fast-action yeast; Trockenhefe; Instanthefe",
    "osmotolerant yeast": "osmotolerant yeast; osmotolerante Hefe",
    "starter": """
        starter; ripe starter; sourdough starter; levain; leaven; rye sour; stiff starter; lievito madre;
        Anstellgut; Sauerteig; Roggensauer; Weizensauer; Lievito Madre; reifes Anstellgut; Roggensauerteig
        TA 180
    """,
    "old dough": "old dough; pâte fermentée; poolish; biga; Altteig; Vorteig; Poolish",
    "malt": "malt; diastatic malt powder; malt flour; Backmalz; aktives Backmalz; Backmalz (enzymaktiv)",
    "other": """
        rolled oats; oats; wheat bran; wheat germ; vital wheat gluten; sunflower seeds; pumpkin seeds;
        linseed; flax seeds; sesame seeds; poppy seeds; chia seeds; walnuts; chopped walnuts; hazelnuts;
        almonds; ground almonds; raisins; sultanas; dried apricots; dates; candied peel; grated carrot;
        mashed potato; potato flakes; onion; fried onions; olives; grated cheese; cocoa; dark chocolate;
        chocolate chips; beer; cider vinegar; orange juice; lemon zest; caraway; cinnamon; rosemary; peanut
        butter; tahini; psyllium husks; breadcrumbs; old bread; oat milk; coconut milk; bread improver;
        ascorbic acid; Haferflocken; Weizenkleie; Weizenkeime; Gluten; Sonnenblumenkerne; geröstete
        Sonnenblumenkerne; Kürbiskerne; Leinsamen; Leinsaat; Sesam; Mohn; Chiasamen; Walnüsse; Walnusskerne;
        Haselnüsse; Mandeln; Rosinen; Sultaninen; Orangeat; Zitronat; Kartoffeln; gekochte Kartoffeln;
        Möhren; Karotten; Zwiebeln; Röstzwiebeln; Oliven; Käse; Kakao; Zartbitterschokolade; Bier; Essig;
        Apfelsaft; Kümmel; Brotgewürz; Zimt; Flohsamenschalen; Altbrot; Semmelbrösel; Hafermilch; Marzipan;
        Backmittel; Weizenkörner; Röstmalz; inaktives Backmalz
    """,
}  # fmt: skip
NAMES = [(" ".join(name.split()), kind) for kind, names in CARDS.items() for name in names.split(";")]


def test_nearly_every_name_on_a_card_is_known():
    taken = {name: known.row.kind.value if (known := recognised(name)) else None for name, _ in NAMES}
    wrong = {name: taken[name] for name, kind in NAMES if taken[name] != kind}
    assert len(NAMES) >= 200
    assert len(wrong) <= 0.05 * len(NAMES), wrong


def test_every_name_of_the_table_means_its_own_row():
    for row in rows():
        for name in (*row.names["en"], *row.names["de"]):
            found = recognised(name)
            assert found is not None, name
            assert (found.row is row, found.is_sure) == (True, True), name


def test_every_row_says_where_its_values_are_from():
    for row in rows():
        assert row.source, row.names
        assert set(row.seen) <= {"water", "fat", "sugar", "salt"}, row.names
        shares = (row.own.water, row.own.fat, row.own.sugar, row.own.salt)
        assert 0.0 <= min(shares) <= sum(shares) <= 1.0, row.names


CASES = st.sampled_from([name for name, _ in NAMES])


@given(CASES, st.sampled_from([str.upper, str.lower, str.title]), st.sampled_from(["", "organic ", "bio "]))
def test_capitals_and_what_changes_nothing_change_nothing(name: str, written, before: str):
    plain, other = recognised(name), recognised(before + written(name))
    assert plain is not None
    assert other is not None
    assert other.row is plain.row


@given(CASES)
def test_umlauts_may_be_written_as_two_letters(name: str):
    spelt = name.translate(str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "Ö": "Oe"}))
    assert recognised(spelt) == recognised(name)


@given(st.floats(1.0, 50.0))
def test_cream_goes_by_the_fat_that_is_said(fat_pct: float):
    made_of = recognised(f"Sahne {fat_pct:.1f} % Fett").composition
    assert made_of.fat == pytest.approx(fat_pct / 100.0, abs=0.0006)
    # without its fat, cream of any fatness is the same skim milk: 62 of water in 68
    assert made_of.water == pytest.approx((1.0 - made_of.fat) * 62.0 / 68.0, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "chief", "hydration_pct"),
    [("starter 80 %", "sourdough starter", 80.0), ("Roggensauer TA 180", "sourdough starter", 80.0),
     ("lievito madre", "stiff starter", None)],
)  # fmt: skip
def test_a_starter_goes_by_the_water_that_is_said(name: str, chief: str, hydration_pct: float | None):
    found = recognised(name)
    assert (found.row.name("en"), found.hydration_pct) == (chief, hydration_pct)


@pytest.mark.parametrize(
    "name", ["yeast", "milk or water", "salt and pepper", "dried banana", "cooked quinoa", "Hefeteig", "magic", "", "%"]
)
def test_what_could_be_two_things_is_not_guessed(name: str):
    assert recognised(name) is None


@pytest.mark.parametrize("name", ["almond nougat butter", "Rapskernöl", "granary flour", "Sechskornmehl"])
def test_a_guess_by_the_end_of_a_name_is_known_for_one(name: str):
    assert recognised(name).is_sure is False


@pytest.mark.parametrize(
    ("name", "near"),
    [("yeast", "fresh yeast"), ("Dinkelvolkornmehl", "Dinkelvollkornmehl"), ("Hasselnuss", "Haselnüsse"),
     ("buttermilch", None), ("wallnut", "walnuts")],
)  # fmt: skip
def test_what_is_unknown_is_told_its_nearest(name: str, near: str | None):
    if near is None:
        assert recognised(name) is not None
    else:
        assert near in nearest(name)


@pytest.mark.parametrize(
    ("name", "chief"),
    [("Hefe, trocken", "instant yeast"), ("yeast (fresh)", "fresh yeast"), ("apple, dried", None),
     ("butter, salted", "salted butter"), ("flour, wholemeal", "whole wheat flour"),
     ("Malz inaktiv", "non diastatic malt"),
     ("Roggen-Vollkornmehl", "whole rye flour"), ("Roggen Vollkorn", "whole rye flour"), ("corn flour", "cornmeal"),
     ("cornflour", "corn starch"), ("Sauerteig Roggen", "sourdough starter"), ("Wasser zum Einweichen", "water")],
)  # fmt: skip
def test_words_may_stand_behind_and_apart(name: str, chief: str | None):
    found = recognised(name)
    assert (None if found is None else found.row.name("en")) == chief


def test_what_stays_whole_keeps_all_but_its_salt():
    assert recognised("raisins").composition == Composition()
    assert recognised("olives").composition == Composition(salt=recognised("olives").row.own.salt)
    assert recognised("Rosinen").row.own.sugar > 0.5


def test_flour_and_yeast_are_counted_dry():
    assert recognised("Weizenmehl 550").composition == Composition(flour=1.0)
    assert recognised("Frischhefe").composition == Composition()
    assert recognised("Weizenmehl 550").row.kind is IngredientKind.FLOUR


@pytest.mark.long
@given(
    st.text()
    | st.lists(st.sampled_from(["water", "(", ",", "%", "Sahne", "1,5", "TA", "und", "-", "500"])).map(" ".join)
)
def test_whatever_is_written_is_known_or_not_and_nothing_breaks(name: str):
    found = recognised(name)
    if found is None:
        assert len(nearest(name)) <= 3
    else:
        made_of = found.composition
        assert 0.0 <= made_of.water + made_of.fat + made_of.sugar + made_of.salt + made_of.flour <= 1.0 + 1e-9


def test_a_name_as_long_as_a_book_is_no_name():
    assert recognised("water " * 100_000) is not None
    assert recognised("x" * 100_000) is None
