"""Another recipe: written in a form, pasted or uploaded; each fault at its line, and kept beside the others."""

import html

import streamlit as st

from dashboard import actions, queries
from dashboard.access import example, sites
from monitor.errors import ConfigError, FaultsError, MonitorError
from monitor.recipe.recipe_text import Rises, file_of_lines, is_plain, line_of
from monitor.settings.recipes import MOST_BYTES, recipe_of_text
from monitor.translatable import Translatable
from monitor.wording.reader import Reader

CHOSEN = "formula-recipe"  # under this key stands the recipe that is looked at
_TEXT, _UPLOAD, _FAULTS = "recipe-text", "recipe-upload", "faults of a recipe"
USUAL_RISE_PCT, USUAL_OVEN_C, USUAL_BAKE_MIN = 75, 220, 35  # judgement: where a form begins
EXAMPLE = "500 g strong white flour\n325 g water\n10 g salt\n3 g instant yeast"


def show(reader: Reader) -> None:
    """Two ways to a recipe, and what is wrong with it before it is kept; none where what is shown is a copy."""
    if sites.chosen(queries.data_dir()) is not None or example.is_shown():
        return
    say = reader.say
    title = say("Oat loaf")
    with st.expander(say("Write or paste a recipe"), key="write-recipe", type="compact"):
        by_hand, as_text = st.tabs([say("In a form"), say("As text")])
        with by_hand:
            _show_form(reader)
        with as_text:
            label = say("Choose a recipe file")
            st.file_uploader(label, ["toml", "txt"], key=_UPLOAD, on_change=_take_upload)
            st.text_area(
                say("A recipe file, or a name and then a line for each ingredient"), key=_TEXT, height=320,
                placeholder=f"{title}\n{EXAMPLE}",
            )  # fmt: skip
            st.button(say("Keep this recipe"), key="keep-recipe", type="primary", on_click=_keep_text)
        for line, said, fault in st.session_state.get(_FAULTS, ()):
            st.html(_fault_html(line, said, fault, reader))


def _show_form(reader: Reader) -> None:
    say = reader.say
    usual_oven = round(reader.degrees(USUAL_OVEN_C))
    with st.form("write a recipe"):
        st.text_input(say("Name"), key="form-name")
        st.text_area(say("Ingredients, a line each"), key="form-lines", height=180, placeholder=EXAMPLE)
        first, final = st.columns(2)
        first.number_input(say("First rise, %"), 5, 400, USUAL_RISE_PCT, step=5, key="form-first")
        final.number_input(say("Final proof, %"), 5, 400, USUAL_RISE_PCT, step=5, key="form-final")
        oven, minutes = st.columns(2)
        label = say("Oven, {unit}", unit=reader.degree)
        oven.number_input(label, 100, 1000, usual_oven, step=5, key="form-oven")
        minutes.number_input(say("Baked for, min"), 1, 600, USUAL_BAKE_MIN, key="form-minutes")
        st.form_submit_button(say("Keep this recipe"), width="stretch", on_click=_keep_form, args=(reader,))


def _keep_form(reader: Reader) -> None:
    """What was written in the form, as plain lines with what they do not say."""
    name, lines, first_pct, final_pct, heat, minutes = (
        st.session_state[f"form-{each}"] for each in ("name", "lines", "first", "final", "oven", "minutes")
    )
    oven_c = round(float(reader.temp_c(heat)), 1)
    _keep_lines(f"{name}\n{lines}", Rises(float(first_pct), float(final_pct), oven_c, float(minutes)))


def _fault_html(line: int | None, said: str, fault: str, reader: Reader) -> str:
    place = reader.say("Line {n}", n=line)
    where = "" if line is None else f"{html.escape(place)}: <code>{html.escape(said)}</code><br>"
    return f'<p class="note">{where}{html.escape(reader.text(fault))}</p>'


def _take_upload() -> None:
    """What was uploaded becomes the text, to be looked at before it is kept."""
    file = st.session_state[_UPLOAD]
    if file is None:
        return
    data: bytes = file.getvalue()
    try:
        text = data[:MOST_BYTES].decode("utf-8-sig")
    except UnicodeDecodeError:
        _fail("", ConfigError("{path}: is no text in UTF-8; save it as such", path=file.name))
    else:
        st.session_state[_TEXT] = text
        st.session_state[_FAULTS] = ()


def _keep_text() -> None:
    text = st.session_state[_TEXT]
    if is_plain(text):
        _keep_lines(text, None)
    else:
        _keep(text)


def _keep_lines(lines: str, rises: Rises | None) -> None:
    try:
        text = file_of_lines(lines, rises)
    except ConfigError as error:
        _fail(lines, error)
    else:
        _keep(text)


def _keep(text: str) -> None:
    """Keep the text of a recipe file, or say what is wrong at which of its lines."""
    try:
        recipe_of_text(text, Translatable("this text"))
    except ConfigError as error:
        _fail(text, error)
        return
    st.session_state[_FAULTS] = ()
    path = actions.keep_recipe(text)
    if path is not None:
        st.session_state[CHOSEN] = path


def _fail(text: str, error: MonitorError) -> None:
    faults = error.faults if isinstance(error, FaultsError) else (error.message,)
    lines = text.splitlines()
    found = [(line_of(text, str(fault)), fault) for fault in faults]
    st.session_state[_FAULTS] = [
        (number, lines[number - 1].strip() if number and number <= len(lines) else "", fault) for number, fault in found
    ]
