"""Begin a batch in two touches: what it is like, and *Begin*; what is otherwise this time is changed in its line."""

from collections.abc import Callable

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from dashboard import actions, page
from dashboard.access import preferences, sites, visitor
from dashboard.drawing import markup
from dashboard.start import expected, summary, tiles
from dashboard.start.bench import Bench
from dashboard.start.draft import Draft, batch_of, draft_of
from dashboard.start.templates import Template, recipes_at_hand, templates
from dashboard.start.vessels import vessels_for
from monitor.node.sights import sight_of
from monitor.recipe.batch import Batch
from monitor.recipe.intent import Intent
from monitor.recipe.sight import unseen
from monitor.settings.access import Role
from monitor.wire.readings import NodeId
from monitor.wording.sight import unseen_text
from monitor.wording.times import date_words

MOST_TILES = 5  # and something new: as many as a phone shows without scrolling
_DRAFT = "start draft"
_ALL = "start with all"


def show(batch_page: StreamlitPage) -> None:
    """Tiles, and beside them what is about to be begun; of a copy only where a batch is begun instead."""
    page.render(lambda view: _draw(view, batch_page))


def _draw(view: page.View, batch_page: StreamlitPage) -> None:
    say = view.reader.say
    if view.store.is_copy:
        st.html(markup.heading(say("Start a batch"), sites.copy_words(view.reader)))
        return
    recipes, faults = recipes_at_hand(view.store.path.parent)
    batches = view.store.batches.all()
    found = templates(batches, view.store.reviews.intent, recipes, view.reader, view.now)
    offered = {each.key: each for each in found}
    sensors = _sensors(view)
    saved = view.store.vessels.all()
    running = [batch.name for batch in batches if batch.ended_at is None]

    def proposed(like: Template) -> Draft:
        named = like.batch.name or say("Dough of {day}", day=date_words(view.now, view.reader))
        vessels = vessels_for(saved, like.batch if like.has_vessel else None)
        return draft_of(like, named, vessels, sensors, running)

    kept: Draft | None = st.session_state.get(_DRAFT)
    if kept is not None and kept.like not in offered:
        del st.session_state[_DRAFT]
        kept = None
    drafts = {key: proposed(each) for key, each in offered.items()}
    draft = kept or next(iter(drafts.values()))

    def choose(key: str) -> None:
        _keep(drafts[key])
        summary.open_line("watcher" if drafts[key].node is None else None)

    with st.container(key="start-open" if kept is None else "start-chosen"):
        with st.container(key="which"):
            _show_tiles(offered, drafts, draft, choose, view)
            for fault in faults:
                st.html(markup.note(view.reader.text(fault)))
        with st.container(key="about-to"):
            _show_summary(offered[draft.like], draft, sensors, view, batch_page)


def _sensors(view: page.View) -> dict[NodeId, str]:
    """The sensors that were heard, by where they stand, or by their own name."""
    folder = view.store.path.parent
    return {
        row.node: preferences.place_of(folder, row.node) or row.node.removeprefix("urn:dev:")
        for row in view.store.nodes.all()
    }


def _show_tiles(
    offered: dict[str, Template], drafts: dict[str, Draft], draft: Draft, choose: Callable[[str], None], view: page.View
) -> None:
    """The last doughs and recipes, and something new; all of them on demand."""
    say, found = view.reader.say, list(offered.values())
    with st.container(key="which-head", horizontal=True, vertical_alignment="center"):
        st.html(markup.heading(say("Which dough?")), width="stretch")
        if len(found) > MOST_TILES + 1:
            label = say("Fewer") if st.session_state.get(_ALL) else say("All {n}", n=len(found) - 1)
            st.button(label, key="all", on_click=_turn_all)
    shown = found if st.session_state.get(_ALL) else [*found[:-1][:MOST_TILES], found[-1]]
    vessels = vessels_for(view.store.vessels.all(), None)
    words = say("a name, and what it stands in")
    tiles.show(tiles.of_templates(shown, drafts, vessels, words, view), draft.like, choose, "doughs", view)


def _turn_all() -> None:
    st.session_state[_ALL] = not st.session_state.get(_ALL)


def _show_summary(
    like: Template, draft: Draft, sensors: dict[NodeId, str], view: page.View, batch_page: StreamlitPage
) -> None:
    """The lines of what is about to be begun, and the touch that begins it, grey with its reason while it cannot."""
    say, folder = view.reader.say, view.store.path.parent
    vessels = vessels_for(view.store.vessels.all(), like.batch if like.has_vessel else None)

    def bench() -> Bench:
        return Bench(st.session_state.get(_DRAFT, draft), vessels, sensors, _keep, view)

    st.button(say("Another dough"), key="another", icon=":material/arrow_back:", on_click=_forget)
    st.html(markup.quiet(say("You are about to begin")))
    draft = summary.show(bench)
    batch = batch_of(draft, like, bench().vessel, view.now)
    why = _why_not(batch, view)
    with st.container(key="begin"):
        sight = None if draft.node is None else sight_of(folder, draft.node)
        hidden = None if sight is None else unseen(sight, batch)
        words = expected.sentence(batch, draft.dough_c, view) if hidden is None else unseen_text(hidden, view.reader)
        st.html(markup.quiet(words))
        if st.button(say("Begin"), key="go", type="primary", width="stretch", disabled=bool(why)):
            begun = actions.start_batch(batch, Intent(draft.dough_c), draft.level_mm if draft.node is None else None)
            if begun is not None:
                _forget()
                st.switch_page(batch_page, query_params={"batch": str(begun)})
        if why:
            st.html(markup.note(why))


def _why_not(batch: Batch, view: page.View) -> str:
    """Why this cannot be begun now, and what to do about it; empty when it can."""
    if visitor.role(view.store.path.parent) is not Role.BAKER:
        return view.reader.say("You may look, but only a baker may note things.")
    return "" if batch.name else view.reader.say("Give it a name first.")


def _keep(draft: Draft) -> None:
    st.session_state[_DRAFT] = draft


def _forget() -> None:
    """Back to the tiles."""
    st.session_state.pop(_DRAFT, None)
    summary.open_line(None)
