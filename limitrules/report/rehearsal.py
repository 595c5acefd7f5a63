"""A rehearsal as text: who acts and when, how near everything else came, what was taken for granted."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from fractions import Fraction

from limitrules.foundation.figures import number, with_unit
from limitrules.report.figures import count_words, joined
from limitrules.report.layout import USUAL_WIDTH, Page
from limitrules.report.text import cautions
from limitrules.simulate.plant import Act, Part
from limitrules.simulate.told import Moment, PackFigures, Reach, Rehearsal, Story, What

_MOST_MOMENTS = 60
_MOST_REACHES = 5


def rehearsal_text(rehearsal: Rehearsal, colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """The report of a rehearsal, to be read from the top until the reader knows enough."""
    page = Page(width, colour)
    page.heading(f"Rehearsal of {rehearsal.event} at {rehearsal.system.name}")
    page.line(rehearsal.words, indent=2, hang=0)
    page.blank()
    page.line(_summary(rehearsal))
    _story(page, "What happens at the nominal figures", rehearsal.nominal)
    if rehearsal.worst is not None:
        _story(page, "What happens at the worst corner that was found", rehearsal.worst)
        _corner(page, rehearsal)
    _taken(page, rehearsal)
    cautions(page)
    return page.text()


def _summary(rehearsal: Rehearsal) -> str:
    if rehearsal.worst is None:
        return f"At the nominal figures {_fate(rehearsal.nominal)}."
    nominal, worst = _fate(rehearsal.nominal), _fate(rehearsal.worst)
    if nominal == worst:
        return f"At the nominal figures, and at the worst corner of the tolerances that was found, {worst}."
    return f"At the nominal figures {nominal}; at the worst corner of the tolerances that was found, {worst}."


def _fate(story: Story) -> str:
    """What it comes to, in one clause."""
    acted = [moment for moment in story.moments if moment.what is What.ACTED and moment.watch is not None]
    if story.is_dark:
        dark = next(moment for moment in story.moments if moment.what is What.DARK)
        return f"supply is lost {_after(story, dark.time)}"
    if story.is_restless:
        return "protections act and let go again without coming to rest"
    if acted:
        watch = acted[0].watch
        assert watch is not None
        return f"`{watch.path}` acts {_after(story, acted[0].time)}"
    return "no protection acts and supply stays"


def zero_of(story: Story) -> float:
    """The time (s) of the event, from which a reader counts."""
    return next((moment.time for moment in story.moments if moment.what is What.EVENT), 0.0)


def time_words(seconds: float) -> str:
    """``1.34 s``, ``12 min``, ``3.6 h``: short times to the millisecond, long ones in what one thinks in."""
    if not math.isfinite(seconds):
        return "no time that ends"
    size = abs(seconds)
    if size >= 7200.0:
        return with_unit(_digits(seconds / 3600.0), "h")
    if size >= 600.0:
        return with_unit(_digits(seconds / 60.0), "min")
    if size < 0.1 and seconds:
        return with_unit(_digits(seconds * 1e3), "ms")
    return f"{seconds:.3f}".rstrip("0").rstrip(".") + " s"


def figure_words(value: float, unit: str) -> str:
    """A figure in SI with its unit; powers in kilowatts where they are large."""
    if not math.isfinite(value):
        return "without end" if value > 0.0 else "not known"
    if unit == "%":
        return with_unit(_digits(100.0 * value), "%")
    if unit == "W" and abs(value) >= 1000.0:
        return with_unit(_digits(value / 1000.0), "kW")
    return with_unit(_digits(value), unit)


def _digits(value: float) -> str:
    return number(Fraction(value)) if math.isfinite(value) else "without end"


def _after(story: Story, time: float) -> str:
    since = time - zero_of(story)
    return "at once" if since <= 1e-9 else f"{time_words(since)} after it"


# the timeline


def _story(page: Page, title: str, story: Story) -> None:
    page.heading(title)
    rows = [[_when(story, moment), sentence(moment)] for moment in _shown(story)]
    page.table(rows[:_MOST_MOMENTS], indent=2)
    if len(rows) > _MOST_MOMENTS:
        page.line(f"... and {len(rows) - _MOST_MOMENTS} more; all of them with --format json.", indent=2)
    if story.outcome is None:
        return
    page.blank()
    for pack in story.outcome.packs:
        page.line(_pack(pack), indent=2)
    _reaches(page, story.outcome.reaches)


def _shown(story: Story) -> Iterable[Moment]:
    return (moment for moment in story.moments if moment.what is not What.ORDER or math.isfinite(moment.figure))


def _when(story: Story, moment: Moment) -> str:
    since = moment.time - zero_of(story)
    return "before" if since < 0.0 else f"{time_words(since)}"


def sentence(moment: Moment) -> str:
    """A moment in words."""
    return _SENTENCES[moment.what](moment)


def _governs(moment: Moment) -> str:
    allowed = f" (allowed: {_figure(moment)})" if math.isfinite(moment.figure) else ""
    return f"The charge current is governed by {moment.words}{allowed}."


def _figure(moment: Moment) -> str:
    return figure_words(moment.figure, moment.unit)


def _event(moment: Moment) -> str:
    words = moment.words if "." in moment.words.split()[0] else moment.words[:1].upper() + moment.words[1:]
    return f"{words}: {_figure(moment)}." if moment.unit and math.isfinite(moment.figure) else f"{words}."


def _exceeded(moment: Moment) -> str:
    if moment.watch is None:
        return f"`{moment.path}` is reached: {_figure(moment)}."
    way, moves = ("above", "rises") if moment.watch.sign > 0 else ("below", "falls")
    if moment.watch.part is Part.PACK_CURRENT and moment.watch.sign < 0:
        way, moves = "beyond", "goes"
    level = figure_words(abs(moment.watch.level), moment.unit)
    figure = figure_words(abs(moment.figure), moment.unit)
    delay = moment.watch.delay
    acts = "" if not delay else f"; it acts after {time_words(delay)}" if math.isfinite(delay) else "; that may last"
    if figure == level:  # the moment of crossing: both read the same
        return f"`{moment.path}` {moves} {way} its {level}{acts}."
    return f"`{moment.path}`: {figure} is {way} its {level}{acts}."


def _back(moment: Moment) -> str:
    return f"`{moment.path}`: back on the safe side at {figure_words(abs(moment.figure), moment.unit)}."


def _acted(moment: Moment) -> str:
    if moment.watch is None:
        return f"`{moment.path}` {moment.words}, at {_figure(moment)}."
    figure = figure_words(abs(moment.figure), moment.unit)
    return f"`{moment.path}` ACTS at {figure}: {_ACTS[moment.watch.act]}."


_ACTS = {
    Act.BLOCK: "the pack lets no more through in that direction",
    Act.LIMIT: "the fallback limiter takes over",
    Act.SHED: "the load is taken off",
    Act.STOP_SOURCE: "the source stops",
    Act.STOP_CONVERTER: "the converter stops",
    Act.OVERSTRESS: "the bus is above what the device survives",
}

_SENTENCES: dict[What, Callable[[Moment], str]] = {
    What.EVENT: _event,
    What.GOVERNS: _governs,
    What.ORDER: lambda m: f"`{m.path}` begins to move towards {_figure(m)}.",
    What.EXCEEDED: _exceeded,
    What.BACK: _back,
    What.ACTED: _acted,
    What.LOCKED: lambda m: f"`{m.path}` is locked out after {count_words(int(m.figure), 'trip')}.",
    What.RELEASED: lambda m: f"`{m.path}` lets go.",
    What.HEARD: lambda m: f"The sources hear what the packs allow now: {_figure(m)}.",
    What.SILENT: lambda m: f"The silence of {time_words(m.figure)} is noticed.",
    What.FALLBACK: lambda m: f"`{m.path}` goes to its fallback of {_figure(m)}.",
    What.LIMITED: lambda m: f"`{m.path}` gives no more than {_figure(m)}; the rest is not served.",
    What.AFLOAT: lambda m: f"No pack takes part any more, so that nothing holds the bus voltage: {_figure(m)}.",
    What.DARK: lambda m: f"SUPPLY IS LOST (`{m.path}`)." if m.path else "SUPPLY IS LOST.",
    What.RESTLESS: lambda m: "It goes on like this without coming to rest; the rehearsal ends here.",
}


# how near everything came


def _pack(pack: PackFigures) -> str:
    parts = []
    if pack.charge_peak > 1e-9:
        ceiling = f" (its ceiling: {figure_words(pack.ceiling, 'A')})" if math.isfinite(pack.ceiling) else ""
        parts.append(f"charge up to {figure_words(pack.charge_peak, 'A')}{ceiling}")
        if pack.time_above_ceiling > 0.0:
            parts.append(f"{time_words(pack.time_above_ceiling)} above the ceiling")
    if pack.discharge_peak > 1e-9:
        parts.append(f"discharge up to {figure_words(pack.discharge_peak, 'A')}")
    return f"{pack.path}: {', '.join(parts) or 'no current'}"


def _reaches(page: Page, reaches: Iterable[Reach]) -> None:
    nearest = sorted(reaches, key=lambda reach: -reach.share)[:_MOST_REACHES]
    if not nearest:
        return
    page.blank()
    page.line("What came nearest to acting:", indent=2)
    page.table([_reach_row(reach) for reach in nearest], indent=4)


def _reach_row(reach: Reach) -> list[str]:
    watch = reach.watch
    unit = {Part.CONVERTER_POWER: "W", Part.PACK_CURRENT: "A", Part.LIMITED_CURRENT: "A"}.get(watch.part, "V")
    against = f"{figure_words(abs(reach.peak), unit)} against {figure_words(abs(watch.level), unit)}"
    if reach.acted_at is not None:
        return [watch.path, against, "acted"]
    if reach.longest <= 0.0:
        return [watch.path, against, "not reached"]
    return [watch.path, against, f"for {time_words(reach.longest)} of {time_words(watch.delay)}"]


# what it rests on


def _corner(page: Page, rehearsal: Rehearsal) -> None:
    corner = rehearsal.corner
    assert corner is not None
    page.blank()
    page.line(
        f"{count_words(corner.tried, 'corner')} of the tolerances were simulated: each deviation alone, the bad ways "
        "together and one by one, and random ones. A worse corner may have been missed; this is no proof.",
        indent=2, hang=0,
    )  # fmt: skip
    if corner.matters:
        page.line(f"What matters most: {joined(corner.matters[:5])}.", indent=2, hang=0)


def _taken(page: Page, rehearsal: Rehearsal) -> None:
    if rehearsal.assumed:
        page.heading("ASSUMED, because the document does not say")
        page.table([[need.path, need.assumed, need.meaning] for need in rehearsal.assumed], indent=2)
        page.line("Every figure above rests on these.", indent=2)
    page.heading("Taken for granted")
    usual = _OF_A_DESCENT if rehearsal.nominal.outcome is None else _OF_A_COURSE
    for words in (*rehearsal.taken, *usual, _ALWAYS):
        page.line(words, indent=2, hang=2)


_OF_A_COURSE = (
    "Packs are rest voltages behind their pulse resistance; the state of charge does not move meanwhile.",
    "Loads and, on a bus without a pack, sources keep their power; a load's current changes at events only.",
)
_OF_A_DESCENT = (
    "Loads keep their power, and packs give their energy at nominal voltage; a reserve that is reached is no failure.",
)
_ALWAYS = (
    "A rehearsal says what the figures in the document lead to. Staged tests with lowered limits say what is true."
)
