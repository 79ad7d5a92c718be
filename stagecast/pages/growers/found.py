"""What was found in a field at the last look, in words, as rows of a table, and in short."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from stagecast.counts.assess import last_counted
from stagecast.counts.assessment import Answer, FieldAssessment, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.stand import StandAssessment
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.pages.number_line import NumberLine, leaf_line_of, line_of
from stagecast.season.log.entries import Treatment
from stagecast.season.tables.visits import Visit
from stagecast.visits.season_day import FieldDay
from stagecast.words.counts import (
    chance_text,
    leaf_line_text,
    limit_text,
    line_text,
    mean_text,
    number_text,
)
from stagecast.words.plain import (
    ANSWERS,
    LEAF_LOSS,
    LONGEST_TEXT,
    OVER,
    explained,
    headed,
    leaf_rule_said,
    listed,
    plain_day,
    stage_said,
    threshold_said,
    typed,
)
from stagecast.words.stand import stand_news

NOTED = {
    "near threshold": "we saw pests close to the threshold (kinds not noted)",
    "some": "we saw some pests (kinds not noted)",
    "virtually none": "we saw almost no pests",
}
NOTED_SHORT = {
    "near threshold": "pests near the threshold",
    "some": "some pests",
    "virtually none": "almost no pests",
}
LEAF = "leaf eaten"

JUDGED_NOW: tuple[Answer, ...] = ("near", "below", "too few")
"""Answers that hold what was found against a threshold, and are not above it."""


@dataclass(frozen=True, slots=True)
class FoundRow:
    """A pest that was looked for: what was found, the threshold, and what that means.

    Attributes
    ----------
    pest_id: of the library; for leaf loss that of the leaf feeders
    seen: whether any of it was there
    answer: on the day of the counts
    line: it in one line, for a list of fields
    said: it in a sentence: ``stink bugs at 19.5 per 25 sweeps (threshold 9)``
    number: it beside its threshold, drawn
    likely: the range in which the mean lies 8 times in 10, in words; "" where it has none
    share: the mean as a share of the threshold
    over: whether the mean was at the threshold or over it
    above: whether it still is, as far as anybody knows, and can still cost yield
    near: whether it was near, and nothing that came later says otherwise
    """

    pest: str
    pest_id: str
    seen: bool
    found: str
    threshold: str
    means: str
    answer: Answer
    line: str
    said: str
    number: NumberLine
    likely: str
    share: float | None
    over: bool
    above: bool
    near: bool


@dataclass(frozen=True, slots=True)
class Found:
    """What was found in the field last.

    Attributes
    ----------
    headline: the news in a sentence or two
    short: for a list of fields: ``stink bugs 19.5 per 25 sweeps, above``
    date: day of what ``short`` says; None where nobody looked
    """

    headline: str
    sentences: tuple[str, ...]
    short: str
    date: dt.date | None = None
    rows: tuple[FoundRow, ...] = ()

    @property
    def above(self) -> bool:
        """Whether the field waits for a decision."""
        return any(row.above for row in self.rows)

    @property
    def leading(self) -> str | None:
        """Id of the pest that is furthest above its threshold, or near it; None where none is."""
        leading = [row for row in self.rows if row.above or row.near]
        first = max(leading, key=lambda row: (row.above, _nearness(row)), default=None)
        return None if first is None else first.pest_id


def found_in(plan: FieldDay) -> Found:
    """Tell the last visit with counts; where none has any, the last one with a word."""
    loaded = plan.season.loaded
    field_id, as_of = plan.field_id, loaded.as_of
    log = plan.log.up_to(as_of)
    treatment = log.treatments[-1] if log.treatments else None
    visit = last_counted(log, field_id, as_of)
    noted = _noted(field_id, loaded)
    if visit is None:
        return _of_word(noted, plan, treatment)
    judged = plan.assess(visit)
    later = noted is not None and noted.date > visit.date
    past = later or plan.visit.due is None
    treated = _after(treatment, visit.date)
    rows = tuple(_meant(row, past, treated, visit.date) for row in _rows(judged, loaded.knowledge))
    sentences = (f"We counted on {plain_day(visit.date)}, at {stage_said(judged.stage)}.",)
    if later:
        word = _of_word(noted, plan, treatment)
        return replace(word, sentences=(*sentences, *word.sentences), rows=rows)
    return Found(
        headline=f"{_headline(rows, visit.date, treated)}{_again(plan, visit.date)}",
        sentences=(*sentences, *_applied(plan, treated)),
        short=_short(rows, treated),
        date=visit.date,
        rows=rows,
    )


def _after(treatment: Treatment | None, day: dt.date) -> Treatment | None:
    """A treatment after which what was seen on a day is not there any more."""
    if treatment is None or treatment.applied_at.date() < day:
        return None
    return treatment


def _of_word(noted: Visit | None, plan: FieldDay, treatment: Treatment | None) -> Found:
    word = _word(noted, plan)
    if noted is None or noted.pressure is None:
        short = "nobody has looked" if plan.visit.last_visit is None else "not counted"
        if _stand_only(plan) is not None:
            short = "stand counted"
        return Found(word, (word, *_applied(plan, treatment)), short, plan.visit.last_visit)
    treated, short = _after(treatment, noted.date), NOTED_SHORT[noted.pressure]
    if treated is None:
        return Found(word, (word,), short, noted.date)
    news = _looked_before(noted.date, treated)
    return Found(news, (word, *_applied(plan, treated)), f"{short}, then treated", noted.date)


def _looked_before(day: dt.date, treated: Treatment) -> str:
    return f"We looked on {plain_day(day)}, {_beside(day, treated)}."


def _beside(day: dt.date, treated: Treatment) -> str:
    """How a look stands to a treatment; of one on the same day nobody noted which came first."""
    applied = treated.applied_at.date()
    if applied == day:
        return "the day of the treatment"
    return f"before the treatment of {plain_day(applied)}"


def _applied(plan: FieldDay, treated: Treatment | None) -> Iterator[str]:
    """The treatment, unless the page begins with it."""
    if treated is not None and plan.no_entry is None:
        yield f"{_product(treated)} was applied on {plain_day(treated.applied_at.date())}."


def _product(treated: Treatment) -> str:
    return headed(typed(treated.product)) or "A product"


def _noted(field_id: str, loaded: LoadedSeason) -> Visit | None:
    """The last visit with a word for the pests, up to the day asked for."""
    ours = [
        v
        for v in loaded.season.visits_of(field_id)
        if v.date <= loaded.as_of and v.pressure is not None
    ]
    return max(ours, key=lambda visit: visit.date, default=None)


def _word(noted: Visit | None, plan: FieldDay) -> str:
    if noted is not None and noted.pressure is not None:
        return f"On {plain_day(noted.date)} {NOTED[noted.pressure]}."
    stand = _stand_only(plan)
    if stand is not None:
        return stand_news(stand)
    if plan.visit.last_visit is not None:
        return f"We were there on {plain_day(plan.visit.last_visit)}, without counting pests."
    return "Nobody has looked for pests in this field yet."


def _stand_only(plan: FieldDay) -> StandAssessment | None:
    """The stand count of the last visit."""
    stand = plan.stand
    return stand if stand is not None and stand.date == plan.visit.last_visit else None


def _headline(rows: Sequence[FoundRow], day: dt.date, treated: Treatment | None) -> str:
    """The news: what is over its threshold, else what is nearest to it."""
    if treated is not None:
        return _looked_before(day, treated)
    on = f"On {plain_day(day)} we found"
    above = sorted((row for row in rows if row.above), key=_nearness, reverse=True)
    if above:
        told = listed([row.said for row in above])
        return f"{on} {told}; we are deciding. We will talk it over with you."
    if any(row.over for row in rows):
        return f"We last counted on {plain_day(day)}."
    judged = [row for row in rows if row.answer in JUDGED_NOW]
    if not judged:
        found = [row for row in rows if row.seen]
        if found and all(row.answer == "does not matter yet" for row in found):
            return (
                f"{on} {listed([_name(row) for row in found])}, then too early to harm the beans."
            )
        return f"On {plain_day(day)} we counted, and know no threshold to hold it against now."
    nearest = max(judged, key=_pressing)
    if nearest.answer == "too few":
        on = f"On {plain_day(day)} we had a short look and found"
    if not nearest.share:
        return f"{on} no {listed([_name(row) for row in judged], last='or')}."
    watch = " We are watching closely." if nearest.answer == "near" else ""
    return f"{on} {nearest.said}{_rest(rows, nearest)}.{watch}"


def _again(plan: FieldDay, counted_on: dt.date) -> str:
    """That we were there after the counts, behind a sentence."""
    last = plan.visit.last_visit
    if last is None or last <= counted_on:
        return ""
    return f" We were there again on {plain_day(last)}, without counting pests."


def _rest(rows: Sequence[FoundRow], nearest: FoundRow) -> str:
    """What else was found: less, or what no threshold speaks of now."""
    others = [row for row in rows if row is not nearest]
    unknown = [_name(row) for row in others if row.seen and row.answer not in JUDGED_NOW]
    if unknown:
        return f"; also {listed(unknown)}, with no threshold now"
    lower = all(not row.seen or _nearness(row) < _nearness(nearest) for row in others)
    return ", and less of all else" if others and lower else ""


def _pressing(row: FoundRow) -> tuple[bool, bool, bool, float]:
    """What is over, then near, then found in too few sets to say; of each what is nearest."""
    undecided = row.seen and row.answer == "too few"
    return row.over, row.answer == "near", undecided, _nearness(row)


def _nearness(row: FoundRow) -> float:
    return -1.0 if row.share is None else row.share


def _name(row: FoundRow) -> str:
    return LEAF_LOSS if row.pest == LEAF else row.pest


def _said(name: str, amount: str, limit: float | None) -> str:
    """What was found beside its threshold, in figures."""
    return f"{name} at {amount}" + ("" if limit is None else f" (threshold {limit_text(limit)})")


def _short(rows: Sequence[FoundRow], treated: Treatment | None) -> str:
    """What is nearest to its threshold, or all that is at it or over it, a line each."""
    if not rows:
        return "nothing counted"
    above = [row for row in rows if row.above]
    nearest = max(rows, key=_pressing)
    told = [row.line for row in above or [nearest]]
    if treated is not None:
        return f"{nearest.pest} {nearest.found}, then treated"
    if nearest.over and not above:
        return f"{nearest.pest} {nearest.found}, was over"
    return "; ".join(told)


def _meant(row: FoundRow, past: bool, treated: Treatment | None, day: dt.date) -> FoundRow:
    """What counts mean now: those from before a treatment, or a later look, call for nothing."""
    if treated is not None:
        product = typed(treated.product)
        named = f" ({product})" if product else ""
        means = f"Counted {_beside(day, treated)}{named}"
        return replace(row, means=means, above=False, near=False)
    if past and row.above:
        return replace(row, means="Was over the threshold that day", above=False, near=False)
    return replace(row, near=row.near and not past)


def _rows(found: FieldAssessment, knowledge: Knowledge) -> Iterator[FoundRow]:
    for one in found.pests:
        yield _row(one, knowledge)
    if found.defoliation is not None:
        yield _leaf_loss(found.defoliation, knowledge)


def _row(one: PestAssessment, knowledge: Knowledge) -> FoundRow:
    name = typed(knowledge.pests[one.pest].name)
    over = one.reached
    return FoundRow(
        pest=name,
        pest_id=one.pest,
        seen=one.mean_per_set > 0,
        found=_amount(one),
        threshold=_threshold(one),
        means=_means(one, over=over),
        answer=one.answer,
        line=f"{name} {line_text(one)}",
        said=_said(name, mean_text(one), one.threshold_per_set),
        number=line_of(one),
        likely=_likely(one),
        share=one.share,
        over=over,
        above=over,
        near=one.answer == "near",
    )


def _amount(one: PestAssessment) -> str:
    """``11.5 per 25 sweeps (likely 8.4 to 16.8)``."""
    likely = _likely(one)
    return f"{mean_text(one)} ({likely})" if likely else mean_text(one)


def _likely(one: PestAssessment) -> str:
    if one.low is None or one.high is None:
        return ""
    return f"likely {number_text(one.low)} to {number_text(one.high)}"


def _means(one: PestAssessment, *, over: bool) -> str:
    words = ANSWERS[one.answer]
    told = OVER.get(one.answer, words) if over else words
    if one.p_above is None or not one.mean_per_set:
        return told
    return f"{told}. Chance of being over it: {chance_text(one.p_above)}"


def _threshold(one: PestAssessment) -> str:
    if one.threshold is None:
        return "none"
    return typed(explained(threshold_said(one.threshold)), most=LONGEST_TEXT)


def _leaf_loss(found: DefoliationAssessment, knowledge: Knowledge) -> FoundRow:
    rule = "none" if found.threshold is None else leaf_rule_said(found.threshold)
    over = found.answer == "above"
    amount = f"{found.percent:g} percent"
    value = 0.0 if found.threshold is None else found.threshold.threshold.value
    return FoundRow(
        pest=LEAF,
        pest_id=knowledge.decisions.leaf_loss.pest,
        seen=found.percent > 0,
        found=amount,
        threshold=typed(explained(rule), most=2 * LONGEST_TEXT),
        means=ANSWERS[found.answer],
        answer=found.answer,
        line=f"{LEAF_LOSS} {leaf_line_text(found)}",
        said=_said(LEAF_LOSS, amount, None if found.threshold is None else value),
        number=leaf_line_of(found),
        likely="",
        share=found.share,
        over=over,
        above=over,
        near=found.answer == "near",
    )
