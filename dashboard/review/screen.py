"""Ended batches: how each went, why, its curve, every forecast made at the time, and the calls that went out."""

import html

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import alerts, batch_charts, cards, figures, page, queries
from dashboard.access import address, preferences
from dashboard.drawing import markup
from dashboard.outcome import Outcome, half_way, outcome_of, outcome_words
from dashboard.page import View
from dashboard.queries import EndedBatch
from dashboard.review import charts, forms
from dashboard.review.account import Review, review_of
from dashboard.review.checks import checks_table
from dashboard.review.waterfall import waterfall_figure
from monitor.dough.learning import learned_from
from monitor.recipe.batch import Batch
from monitor.wording.alerts import about_text, clock_text, date_words, stage_word
from monitor.wording.lessons import learned_sentence
from monitor.wording.review import calls_sentence, causes_sentence, next_time_lines, outcome_title


def show(review_page: StreamlitPage, compare_page: StreamlitPage) -> None:
    """One ended batch when the address names it, else the list of all, newest first."""
    page.render(lambda view: _draw(view, review_page, compare_page))


def _draw(view: View, review_page: StreamlitPage, compare_page: StreamlitPage) -> None:
    say = view.reader.say
    ended = {batch.id: batch for batch in view.store.batches.ended()}
    asked = address.batch_id()
    chosen = preferences.in_address(view.store.path.parent)
    if asked in ended:
        with st.container(horizontal=True):
            label = say("All finished batches")
            st.page_link(review_page, label=label, icon=":material/arrow_back:", query_params=chosen)
            if queries.has_siblings(ended[asked], ended.values()):
                label = say("Compare with others of this recipe")
                st.page_link(compare_page, label=label, query_params={"batch": str(asked), **chosen})
        _show_one(view, queries.ended_batch(view.store, ended[asked]))
        return
    if not ended:
        below = say("When a stage ends, its curve and its forecasts are kept here.")
        st.html(markup.heading(say("Nothing is finished yet"), below))
        return
    st.html(markup.heading(say("Review"), say("Finished batches: how each went, and what to change next time.")))
    newest_first = sorted(ended.values(), key=lambda batch: batch.ended_at or batch.started_at, reverse=True)
    for batch in newest_first:
        outlook = view.store.outlooks.latest(batch.id)
        with st.container(key=f"card-{batch.id}"):
            st.html(cards.ended_card(batch, outlook, outcome_words(outcome_of(batch, outlook), view.reader), view))
            label = markup.plain(say("Open {batch}", batch=batch.name))
            st.page_link(review_page, label=label, query_params={"batch": str(batch.id), **chosen})


def _show_one(view: View, ended: EndedBatch) -> None:
    batch, reader = ended.batch, view.reader
    with st.spinner(reader.say("Looking back at it")):  # for the first time it takes some seconds
        review = review_of(view.store, ended)
    subtitle = f"{stage_word(batch.stage, reader)}, {date_words(batch.started_at, reader)}"
    st.html(markup.heading(_title(batch, review, view), subtitle))
    moments = _moments(ended.outcome, view, is_said=review.account is not None)
    st.html(moments + cards.food(batch, view) + checks_table(ended, reader))
    if not ended.outlooks:
        st.html(markup.quiet(reader.say("It was never estimated.")))
        return
    _show_causes(view, batch, review)
    forms.show_judgement(view, batch, review.judgement)
    forms.show_intent(view, batch, review)
    learned = learned_from(view.store.lessons.all(batch.recipe_key), batch)
    if learned is not None:
        words = f"{batch.recipe_key}: {learned_sentence(learned, reader, has_formula=batch.formula is not None)}."
        st.html(markup.quiet(words[0].upper() + words[1:]))
    half = half_way(ended.outlooks, batch.target.rise_pct)
    forecast = about_text(ended.outlooks[half].ready, reader, ended.outlooks[half].at)
    if forecast is not None and ended.outcome.ready_at is not None:
        came = clock_text(ended.outcome.ready_at, reader)
        st.html(
            markup.quiet(
                reader.say("At half its rise the monitor said {said}; it was {came}.", said=forecast, came=came)
            )
        )
    outlook = charts.show_moment_choice(ended.outlooks, half, reader)
    charts.show_rise(view, ended, outlook)
    with st.container(key="more"):  # not on the printed page
        with st.expander(reader.say("Air")):
            batch_charts.show_air(view, batch, ended.track, charts.span(ended, outlook))
        with st.expander(reader.say("Every forecast made at the time")):
            charts.show_forecasts(view, ended)
        with st.expander(reader.say("Calls that went out")):
            st.html(alerts.calls_table(ended.messages, view))
        figures.show_batch_download(view, batch)


def _title(batch: Batch, review: Review, view: View) -> str:
    """Name and outcome."""
    if review.account is None:
        return batch.name
    verdict = None if review.judgement is None else review.judgement.verdict
    return f"{batch.name}: {outcome_title(review.account, batch, verdict, view.reader)}"


def _moments(outcome: Outcome, view: View, *, is_said: bool) -> str:
    """Ready, peaked, ended, in large numbers; the sentence under them unless the title says it already."""
    reader = view.reader
    moments = [] if outcome.is_peak else [(reader.say("ready"), outcome.ready_at)]
    moments += [(reader.say("peaked"), outcome.peak_at), (reader.say("ended"), outcome.ended_at)]
    never = '<dd class="none">' + html.escape(reader.say("not by its end")) + "</dd>"
    pairs = "".join(
        f"<div><dt>{html.escape(what)}</dt>"
        f"{never if at is None else f'<dd>{html.escape(clock_text(at, reader))}</dd>'}</div>"
        for what, at in moments
    )
    sentence = "" if is_said else f'<p class="saying">{html.escape(outcome_words(outcome, reader))}</p>'
    return f'<dl class="moments">{pairs}</dl>{sentence}'


def _show_causes(view: View, batch: Batch, review: Review) -> None:
    """What drove it, as a sentence and as a waterfall of bars, and what to change next time."""
    account, reader = review.account, view.reader
    if account is None:
        never = reader.say("Its height was never measured, so that nobody can say what drove it.")
        st.html(markup.quiet(never))
        return
    late = calls_sentence(account, batch, view.store.alerts.all(batch.id), reader)
    sentence = f"{causes_sentence(account, reader)} {late}".strip()
    st.html(f'<p class="saying">{html.escape(sentence)}</p>')
    figures.show(view, waterfall_figure(account, batch, reader), "causes")
    lines = next_time_lines(account, batch, review.best_rise_pct, reader)
    if lines:
        items = "".join(f"<li>{html.escape(line)}</li>" for line in lines)
        st.html(markup.section(reader.say("Next time")) + f'<ul class="next-time">{items}</ul>')
