"""A finished batch looked back at: where its minutes went, what to change, and what the baker says of it."""

import html
from collections.abc import Sequence
from datetime import datetime

import streamlit as st

from dashboard import actions, page, queries
from dashboard.access import sites
from dashboard.drawing.exports import Exhibit
from dashboard.drawing.svg import data_picture
from dashboard.queries import Review
from dashboard.review.waterfall import Step, walk_chart, walk_table
from monitor.alerts.dough import Alert
from monitor.dough.causes import Account, with_yeast
from monitor.dough.gassing import leavening_pct
from monitor.dough.outlook import Band
from monitor.recipe.batch import Batch
from monitor.recipe.intent import Intent, Verdict
from monitor.translatable import N_
from monitor.units import celsius, fahrenheit
from monitor.wording.alerts import clock_text
from monitor.wording.reader import Reader
from monitor.wording.review import (
    calls_sentence,
    cause_lines,
    causes_sentence,
    next_time_lines,
    outcome_title,
    verdict_word,
)
from monitor.wording.times import duration_text

LONGEST_NOTES = 2000


def title(batch: Batch, review: Review | None, reader: Reader) -> str:
    """Name and outcome."""
    if review is None or review.account is None:
        return batch.name
    verdict = None if review.judgement is None else review.judgement.verdict
    return f"{batch.name}: {outcome_title(review.account, batch, verdict, reader)}"


def put_account(scene: page.Scene, batch: Batch, review: Review, alerts: Sequence[Alert]) -> None:
    """What drove it, as a sentence and as a walk of bars, and what to change next time."""
    account = review.account
    if account is None:
        never = scene.reader.say("Its height was never measured, so that nobody can say what drove it.")
        st.html(page.quiet(never))
        return
    said = causes_sentence(account, scene.reader)
    late = calls_sentence(account, batch, alerts, scene.reader)
    st.html(f'<p class="saying">{html.escape(f"{said} {late}".strip())}</p>')
    steps = walk_steps(account, batch, scene.reader)
    page.put_exhibit(scene, walk_exhibit(batch, steps, scene.reader), "walk")
    lines = next_time_lines(account, batch, review.best_rise_pct, scene.reader)
    if lines:
        items = "".join(f"<li>{html.escape(line)}</li>" for line in lines)
        title = html.escape(scene.reader.say("Next time"))
        st.html(f'<h2 class="section">{title}</h2><ul class="next-time">{items}</ul>')


def walk_exhibit(batch: Batch, steps: list[Step], reader: Reader) -> Exhibit:
    """The walk as it is shown and saved."""
    sentence = walk_sentence(steps, reader)
    return Exhibit(
        batch.name,
        reader.say("causes"),
        sentence,
        lambda: walk_table(steps),
        lambda palette: walk_chart(steps, palette),
    )


def walk_steps(account: Account, batch: Batch, reader: Reader) -> list[Step]:
    """The bars: the plan, each cause from where the one before ended, when it was ready, when it was taken."""
    plan = duration_text(account.plan_min)
    known = account.plan_doubt_min
    steps = [
        Step(reader.say(N_("planned") if known is None else N_("expected")), 0.0, account.plan_min, plan, "plan", known)
    ]
    at = account.plan_min
    for label, worth in cause_lines(account, batch, reader):
        sign = "−" if worth.p50 < 0 else "+"
        doubt = Band(at + worth.p05, at + worth.p50, at + worth.p95)
        steps.append(Step(label, at, at + worth.p50, f"{sign}{abs(worth.p50):.0f} min", "cause", doubt))
        at += worth.p50
    what = reader.say(N_("peak after") if batch.target.is_peak else N_("ready after"))
    came = account.peak_min if batch.target.is_peak else account.ready_min
    if came is not None:
        steps.append(Step(what, 0.0, came.p50, duration_text(came.p50), "came", came))
    taken = duration_text(account.taken_min)
    steps.append(Step(reader.say("taken after"), 0.0, account.taken_min, taken, "taken"))
    return steps


def walk_sentence(steps: Sequence[Step], reader: Reader) -> str:
    """What the bars show, for who cannot see them."""
    parts = [f"{step.label.replace('|', ' ')}: {step.words}" for step in steps]
    return reader.say("Where the minutes went.") + f" {'; '.join(parts)}."


def put_judgement(scene: page.Scene, batch: Batch, review: Review) -> None:
    """What the baker said of it, or says now."""
    said, reader = review.judgement, scene.reader
    if said is not None:
        st.html(page.section(reader.say("Your verdict")))
        photo = (
            ""
            if said.photo_jpeg is None
            else data_picture(said.photo_jpeg, reader.say("crumb of {batch}", batch=batch.name), "crumb")
        )
        notes = f"<p>{html.escape(said.notes)}</p>" if said.notes else ""
        when = reader.say("said {at}", at=clock_text(said.at, reader, scene.now))
        word = html.escape(verdict_word(said.verdict, reader))
        st.html(f'<div class="verdict"><p><b>{word}</b>, {html.escape(when)}</p>{notes}{photo}</div>')
    if scene.store.is_copy:
        st.html(page.quiet(sites.noted_there(reader)))
        return
    with (
        st.container(key="judge"),
        st.expander(reader.say(N_("Say how it was") if said is None else N_("Say it anew"))),
    ):
        _form(batch, review, reader)


def _form(batch: Batch, review: Review, reader: Reader) -> None:
    said = review.judgement
    with st.form("judgement", border=False):
        verdicts = list(Verdict)
        verdict = st.radio(
            reader.say("The proof was"),
            verdicts,
            index=1 if said is None else verdicts.index(said.verdict),
            format_func=lambda each: verdict_word(each, reader),
            horizontal=True,
        )
        notes = st.text_area(reader.say("Notes"), value="" if said is None else said.notes, max_chars=LONGEST_NOTES)
        photo = st.file_uploader(reader.say("A picture of the crumb"), type=["jpg", "jpeg", "png", "webp"])
        if st.form_submit_button(reader.say("Keep")):
            actions.judge(batch.id, verdict, notes, None if photo is None else photo.getvalue())
            st.rerun()


def put_intent(scene: page.Scene, batch: Batch, review: Review) -> None:
    """What was planned, to be set right: the account is held against it. Nothing on a copy, where none can be set."""
    if scene.store.is_copy:
        return
    intent, reader, is_f = review.intent, scene.reader, scene.reader.temp_unit == "F"
    shown = fahrenheit(intent.dough_temp_c) if is_f else intent.dough_temp_c
    title = reader.say(
        N_("What was planned (as kept with the batch)")
        if review.is_intent_kept
        else N_("What was planned (nobody said; taken as usual)")
    )
    with st.container(key="plan"), st.expander(title), st.form("intent", border=False):
        low, high = (32.0, 104.0) if is_f else (0.0, 40.0)
        temp = st.number_input(
            reader.say("Dough, {unit}", unit=f"°{reader.temp_unit}"), low, high, round(shown, 1), 0.5, format="%.1f"
        )
        made_pct = leavening_pct(batch.formula)
        yeast_pct = None
        if made_pct:
            planned_pct = made_pct if intent.formula is None else leavening_pct(intent.formula)
            yeast_pct = st.number_input(
                reader.say("Yeast as instant, % of flour"),
                0.01,
                20.0,
                float(planned_pct or made_pct),
                0.05,
                format="%.2f",
            )
        proof = st.number_input(
            reader.say("Proof, minutes (empty: as usual)"), 5.0, 2880.0, intent.proof_min, 5.0, format="%.0f"
        )
        if st.form_submit_button(reader.say("Hold it against this")):
            formula = None
            if made_pct and yeast_pct and batch.formula is not None and abs(yeast_pct - made_pct) >= 0.005:
                formula = with_yeast(batch.formula, yeast_pct / made_pct)
            actions.keep_intent(batch.id, Intent(celsius(temp) if is_f else temp, formula, proof))
            st.rerun()


def reviewed(scene: page.Scene, batch: Batch) -> Review:
    """Everything a look back stands on; a sign that somebody is at it, for the first time takes some seconds."""
    ended_at: datetime = batch.ended_at or scene.now
    with st.spinner(scene.reader.say("Looking back at it")):
        return queries.review(batch, ended_at)
