"""What the library knows of pests: the list of all, and the page of one."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

from rich.console import Console
from rich.text import Text

from stagecast.base.terminal import cell, paragraph, show_pairs, table
from stagecast.base.units import Units, heat_text
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Development, Duration, Pest
from stagecast.pests.thresholds import ShownThreshold
from stagecast.screens.screen import print_notes
from stagecast.visits.pest_season import PestSeason, every_threshold, samplings
from stagecast.words.heat import heat_note
from stagecast.words.notes import CAUTION, counted
from stagecast.words.pests import (
    arrival_text,
    biofix_text,
    dated_text,
    development_text,
    duration_text,
    from_text,
    host_text,
    region_name,
    remark_text,
    weak_method,
)
from stagecast.words.thresholds import noted_after, stages_text, threshold_text
from stagecast.words.windows import method_text

LONGEST_ID = 30


def show_pests(console: Console, pests: Iterable[Pest]) -> None:
    """All pests: id, name, when, and whether heat times them."""
    pests = list(pests)
    console.print(Text(f"The pest library: {counted(len(pests), 'pest')}", style="bold"))
    console.print()
    made = table("id", "name", "beans at", "timed by heat")
    # An id is typed back: it stays in one piece as long as the rest has room.
    made.columns[0].min_width = min(max((len(pest.id) for pest in pests), default=0), LONGEST_ID)
    for pest in pests:
        timed = "no" if pest.heat is None else "yes"
        made.add_row(cell(pest.id), cell(pest.name), cell(host_text(pest)), cell(timed))
    console.print(made)
    print_notes(
        console,
        [
            "One pest: stagecast pest NAME, with its id, its name, or the scientific name. Its "
            "timing in a season folder: stagecast pest NAME DIR."
        ],
    )


def show_page(console: Console, pest: Pest, knowledge: Knowledge) -> None:
    """Everything the library holds on one pest, wherever it is scouted."""
    heading(console, pest)
    console.print()
    show_pairs(console, _about(pest, knowledge))
    console.print()
    show_pairs(console, _timing(pest, "us"), title="How it is timed")
    console.print()
    _development(console, pest, "us")
    paragraph(console, "Thresholds, by state", "bold")
    show_thresholds(console, every_threshold(pest, knowledge), knowledge)
    show_remarks(console, pest, knowledge.regions, knowledge)
    console.print()
    show_sampling(console, pest, knowledge)
    summed = pest.heat is not None or any(f.need_c is not None for f in pest.development)
    print_notes(console, [heat_note("us") if summed else None, pest.caution, CAUTION])


def heading(console: Console, pest: Pest) -> None:
    """The names of a pest."""
    paragraph(console, f"{pest.name} ({', '.join(pest.scientific)})", "bold")
    others = [name for name in (pest.short, *pest.also) if name != pest.name]
    if others:
        paragraph(console, f"also: {', '.join(others)}", "quiet")


def _about(pest: Pest, knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    yield "damage", pest.damage
    for mark in pest.marks:
        yield "looks like", mark
    for like in pest.look_alikes:
        yield "not to be taken for", f"{like.name}: {like.differs}"
    if pest.enemies:
        yield "its enemies", ", ".join(pest.enemies)
    kind = {"overwinters": "winters here", "arrives": "arrives from elsewhere"}
    text = f"{kind[pest.presence.kind]}: {pest.presence.text} ({from_text(pest.presence)})"
    yield "winter", text
    if pest.presence.regions:
        named = (region_name(region, knowledge) for region in pest.presence.regions)
        yield "met in", ", ".join(named)
    for arrival in pest.arrivals:
        yield "arrives", arrival_text(arrival, knowledge)
    note = f"; {pest.host.note}" if pest.host.note else ""
    yield "hurts beans at", f"{pest.host.first} to {pest.host.last} ({from_text(pest.host)}){note}"
    if pest.counted_with is not None:
        share = "" if pest.weight is None else f", one for {float(pest.weight):g} of them"
        yield "counted with", f"{knowledge.pests[pest.counted_with].name}{share}"


def _timing(pest: Pest, units: Units) -> Iterator[tuple[str, str]]:
    if pest.heat is None:
        yield "not timed by heat", pest.not_timed
    else:
        method = method_text(pest.heat, units)
        note = f"; {pest.heat.note}" if pest.heat.note else ""
        yield "heat is summed by", f"{method} ({from_text(pest.heat)}){note}"
        text = f"{weak_method(pest.heat)}; {pest.heat.method_note}".strip("; ")
        if text:
            yield "method", text
        for biofix in pest.heat.biofix:
            note = f"; {biofix.note}" if biofix.note else ""
            yield "counted from", f"{biofix_text(biofix)} ({from_text(biofix)}){note}"
    for event in pest.events:
        note = f"; {event.note}" if event.note else ""
        needed = heat_text(event.need_c, units)
        yield "comes at", f"{needed}: {event.title} ({from_text(event)}){note}"
    if pest.generation is not None:
        needed, note = heat_text(pest.generation.need_c, units), pest.generation.note
        yield (
            "generations",
            f"{needed} from one to the next, up to {pest.generation.most} a year "
            f"({from_text(pest.generation)}){f'; {note}' if note else ''}",
        )
    for activity in pest.activities:
        host = f"beans at {activity.host.first} to {activity.host.last}"
        yield "look for", f"{activity.title}, {host}: {activity.look_for}"


def _development(console: Console, pest: Pest, units: Units) -> None:
    """Published figures that time nothing by themselves."""
    figures: Sequence[Development | Duration] = (*pest.development, *pest.durations)
    if not figures:
        return
    paragraph(console, "Development, as published; not used for timing", "bold")
    made = table("stage", "figure", "from")
    for figure in figures:
        if isinstance(figure, Development):
            text = development_text(figure, units)
        else:
            text = duration_text(figure, units)
        note = f"; {figure.note}" if figure.note else ""
        made.add_row(cell(figure.stage), cell(text), cell(f"{from_text(figure)}{note}"))
    console.print(made)
    console.print()


def show_thresholds(
    console: Console, thresholds: Sequence[ShownThreshold], knowledge: Knowledge
) -> None:
    """Thresholds with the crop stages they hold for, and where they are from."""
    if not thresholds:
        paragraph(console, "none is on file: see your state's guide", "quiet")
        return
    made = table("consider treatment from", "from")
    for shown in thresholds:
        note = noted_after(shown.threshold)
        source = dated_text(shown.threshold, knowledge)
        made.add_row(cell(threshold_text(shown)), cell(f"{source}{note}"))
    console.print(made)


_ABOUT = {
    "season": "when and where", "fields": "which fields", "scouting": "how to look",
    "worth": "what it is worth",
}  # fmt: skip


def show_remarks(
    console: Console, pest: Pest, regions: Collection[str], knowledge: Knowledge
) -> None:
    """What sources say of it in some regions that is no number to go by."""
    ours = [one for one in pest.remarks if set(one.regions) & set(regions)]
    if ours:
        console.print()
        pairs = [(_ABOUT[one.about], remark_text(one, knowledge)) for one in ours]
        show_pairs(console, pairs, title="What is said of it by state")


def show_history(console: Console, pest: Pest, knowledge: Knowledge) -> None:
    """Figures that newer ones of their region took the place of, or that are in doubt."""
    heading(console, pest)
    console.print()
    if not pest.replaced:
        paragraph(console, "No replaced or doubtful figure of it is on file.")
        return
    paragraph(console, "Replaced or doubtful: nothing is held against these", "bold")
    made = table("state", "it said", "from")
    for one in sorted(pest.replaced, key=lambda one: region_name(one.region, knowledge)):
        note = f"; {one.note}" if one.note else ""
        source = f"{dated_text(one, knowledge)}{note}"
        made.add_row(cell(region_name(one.region, knowledge)), cell(one.said), cell(source))
    console.print(made)


def show_sampling(console: Console, pest: Pest, knowledge: Knowledge) -> None:
    """How counts are taken."""
    pairs = []
    for name in samplings(pest, knowledge):
        sampling = knowledge.sampling[name]
        pairs.append((sampling.title, f"{sampling.how} ({from_text(sampling)})"))
    if pairs:
        show_pairs(console, pairs, title="How to sample it")


def show_season_thresholds(console: Console, found: PestSeason) -> None:
    """Whose they are, and at which stages each is the one to go by."""
    season = found.loaded.season
    where = region_name(found.regions[0], season.knowledge)
    held = found.thresholds
    paragraph(console, f"Thresholds in {where}", "bold")
    if not held:
        paragraph(console, "None is on file, here or elsewhere: see your state's guide.")
        return
    if all(one.shown.kind not in ("yours", "here") for one in held):
        paragraph(console, f"None of these is {where}'s own: see your state's guide.")
    if found.stage is not None:
        none = "" if found.holds_now else "; none is on file for it, so those of other stages"
        paragraph(console, f"Stage of the field now: {found.stage}{none}.", "quiet")
    made = table("beans at", "consider treatment from", "from")
    for one in held:
        threshold, told = one.shown.threshold, threshold_text(one.shown)
        note = f"{dated_text(threshold, season.knowledge)}{noted_after(threshold)}"
        made.add_row(cell(stages_text(one.stages)), cell(told), cell(note))
    console.print(made)
