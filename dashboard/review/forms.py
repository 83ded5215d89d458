"""What a baker says of an ended batch: how it came out, and what was planned."""

import html

import streamlit as st

from dashboard import actions, page
from dashboard.access import sites
from dashboard.drawing import markup
from dashboard.page import View
from dashboard.review.account import Review
from monitor.dough.causes import with_yeast
from monitor.dough.gassing import leavening_pct
from monitor.recipe.batch import Batch
from monitor.recipe.intent import MEANT_TEMPS_C, Intent, Judgement, Verdict
from monitor.translatable import N_
from monitor.wording.alerts import clock_text
from monitor.wording.review import verdict_word

LONGEST_NOTES = 2000


def show_judgement(view: View, batch: Batch, judgement: Judgement | None) -> None:
    """What the baker said of it, and the form to say it, or to say it anew."""
    reader = view.reader
    if judgement is not None:
        st.html(markup.section(reader.say("Your verdict")))
        alt = reader.say("crumb of {batch}", batch=batch.name)
        photo = "" if judgement.photo_jpeg is None else markup.data_picture(judgement.photo_jpeg, alt, "crumb")
        notes = f"<p>{html.escape(judgement.notes)}</p>" if judgement.notes else ""
        when = html.escape(reader.say("said {at}", at=clock_text(judgement.at, reader, view.now)))
        word = html.escape(verdict_word(judgement.verdict, reader))
        st.html(f'<div class="verdict"><p><b>{word}</b>, {when}</p>{notes}{photo}</div>')
    if view.store.is_copy:
        st.html(markup.quiet(sites.copy_words(reader)))
        return
    title = reader.say(N_("Say how it was") if judgement is None else N_("Say it anew"))
    with st.container(key="judge"), st.expander(title), st.form("judgement", border=False):
        verdicts = list(Verdict)
        verdict = st.radio(
            reader.say("The proof was"),
            verdicts,
            index=1 if judgement is None else verdicts.index(judgement.verdict),
            format_func=lambda each: verdict_word(each, reader),
            horizontal=True,
        )
        before = "" if judgement is None else judgement.notes
        notes = st.text_area(reader.say("Notes"), value=before, max_chars=LONGEST_NOTES)
        photo_file = st.file_uploader(reader.say("A picture of the crumb"), type=["jpg", "jpeg", "png", "webp"])
        if st.form_submit_button(reader.say("Save")):
            actions.save_judgement(batch.id, verdict, notes, None if photo_file is None else photo_file.getvalue())
            st.rerun()


def show_intent(view: View, batch: Batch, review: Review) -> None:
    """What was planned, to be set right: the account is held against it. Nothing on a copy, where none can be set."""
    if view.store.is_copy:
        return
    intent, reader = review.intent, view.reader
    title = reader.say(
        N_("What was planned (as saved with the batch)")
        if review.is_intent_saved
        else N_("What was planned (nobody said; taken as usual)")
    )
    with st.container(key="plan"), st.expander(title), st.form("intent", border=False):
        dough_c = page.temp_input(reader.say("Dough"), MEANT_TEMPS_C, intent.dough_temp_c, reader, f"meant {batch.id}")
        made_pct = leavening_pct(batch.formula)
        yeast_pct = None
        if made_pct:
            planned_pct = made_pct if intent.formula is None else leavening_pct(intent.formula)
            label = reader.say("Yeast as instant, % of flour")
            yeast_pct = st.number_input(label, 0.01, 20.0, float(planned_pct or made_pct), 0.05, format="%.2f")
        label = reader.say("Proof, minutes (empty: as usual)")
        proof_min = st.number_input(label, 5.0, 2880.0, intent.proof_min, 5.0, format="%.0f")
        if st.form_submit_button(reader.say("Hold it against this")):
            formula = None
            if made_pct and yeast_pct and batch.formula is not None and abs(yeast_pct - made_pct) >= 0.005:
                formula = with_yeast(batch.formula, yeast_pct / made_pct)
            actions.save_intent(batch.id, Intent(dough_c, formula, proof_min))
            st.rerun()
