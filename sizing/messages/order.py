"""Words of orders and sizing rules: problems with their remedy, what to confirm on site, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path

from sizing.messages import footprint
from sizing.messages.chance import percent
from sizing.messages.exact_length import exact_length
from sizing.messages.names import name_of
from sizing.messages.one_line import one_line, place
from sizing.messages.photo_figures import about
from sizing.messages.tape_figure import typed_figure
from sizing.units import Unit, format_length

NOT_FOR_ORDERING = "Not for ordering: sizes that a rule makes of the photo's figures, for a pre-quote only."
# Short cautions; nothing here certifies anything.
CAUTIONS = (
    "Sizes only. Local codes and a licensed installer decide on product, fixings and place.",
    "Bedrooms: a way out must open from inside without key or tool.",
    "Debris regions: only an approved product with approved fixings protects.",
    "Bars and covers: never close the last way out; covers off after a storm.",
    "Ladders: two people, firm ground, no power lines; better measure from inside.",
)
_CONFIRM = {
    "room-above": "room above for the hardware",
    "room-below": "room below for the lock",
    "obstacles": "nothing in the way (pipes, lamps, handles, sills)",
    "substrate": "what the fixings hold in",
    "escape-opening": "whether this is a way out (ask the local code)",
    "debris-region": "whether wind-borne debris rules apply (ask the local code)",
    "ladder": "a safe place for the ladder",
    "bars-and-covers": "that bars or covers leave a way out",
}

_OFF = (
    "{shape} differ by {off_mm}; the rule allows {limit_mm}. Make sure of these readings, then ask: it may need "
    "another mount, or trim."
)
_SHAPES = {
    "out-of-square": "The diagonals",
    "taper-width": "The widths at top and bottom",
    "taper-height": "The heights left and right",
}
_PROBLEMS = {
    "not-made": "No {direction} of {ordered_mm} is made{rule_size}. {remedy}",
    "not-by-rule": "The {direction} ordered is {ordered_mm}{rule_size}. {remedy}",
    "wrong-reading": "The {direction} ordered, {ordered_mm}, comes from the reading {from}; the {which} counts, "
    "{should}{rule_size}. {remedy}",
    "below-minimum": "The {direction} of {size_mm} is below the least that is made, {limit_mm}. Ask the works.",
    "above-maximum": "The {direction} of {size_mm} is above the most that is made, {limit_mm}. Ask the works.",
    "no-made-size": "No made {direction} fits {wanted_mm}. Ask the works, or use another rule.",
    "no-split": "A width of {size_mm} cannot be split into panels of at most {limit_mm}. Ask the works.",
    "out-of-square": _OFF,
    "taper-width": _OFF,
    "taper-height": _OFF,
    "no-room": "Free {side} the opening: {there_mm}; the rule needs {needed_mm}. Ask before ordering.",
    "short-of-opening": "The size ends {short_mm} short of the opening's {edge} edge (by the tape, what it lacks "
    "shared evenly {evenly}): so much stays open. If it must cover, ask the works, or order a larger size.",
    "doubtful-reading": "The {direction} hangs on a reading that the photo {doubt}: {reading}. Measure it again.",
    "no-size": "There is no {direction} by the rule: the reading that it needs is missing. Take it.",
    "rule-unusable": "The sizing rule '{rule}' cannot be used: {says}.",
}
# By the edge of the opening: its name, and between which edges the footprint shares what a size lacks.
_SHARED = {
    "above": ("upper", "above and below"),
    "below": ("lower", "above and below"),
    "left": ("left", "left and right"),
    "right": ("right", "left and right"),
}
# What is ordered or made, and what a rule makes it of: no other figure may stand for these.
_SIZES = frozenset({"ordered_mm", "by_rule_mm", "other_mm", "size_mm", "wanted_mm", "limit_mm"})
_BETWEEN = {"tight-between": ("narrower", "lower"), "wide-between": ("wider", "higher")}


def _remedy(code: str, facts: Mapping[str, float | str]) -> str:
    """Return which size is to be ordered in place of a wrong one: none by the rule while its reading is in doubt."""
    if "doubtful" in facts:
        return "That size hangs on a reading in doubt, so order neither before it is measured again."
    if "by_rule_mm" not in facts:
        return "Order a made size."
    return f"Order the size by the rule{', or say why not' if code == 'not-by-rule' else ''}."


def problem_says(code: str, facts: Mapping[str, float | str], unit: Unit) -> str:
    """Return one problem or remark of an order in one or two sentences, with what to do.

    Parameters
    ----------
    code : str
        As `sizing.orders.problems` gives it.
    facts : mapping
        Lengths in mm, directions, names of readings.
    unit : "in" or "mm"
        Of the job.

    Examples
    --------
    >>> problem_says("not-by-rule", {"direction": "width", "ordered_mm": 1397.0, "by_rule_mm": 1409.7}, "in")
    'The width ordered is 55 in; by the rule it is 55 1/2 in. Order the size by the rule, or say why not.'
    """
    if code in footprint.CODES:
        return footprint.problem_says(code, facts, unit)
    shown = {True: exact_length, False: format_length}
    said = {key: shown[key in _SIZES](value, unit) for key, value in facts.items() if isinstance(value, float)}
    said |= {key: one_line(value) for key, value in facts.items() if isinstance(value, str)}
    said |= {key: name_of(said[key]) for key in ("reading", "from", "should") if key in said}
    said["rule_size"] = f"; by the rule it is {said['by_rule_mm']}" if "by_rule_mm" in said else ""
    said["doubt"] = "can neither bear out nor refute" if facts.get("verdict") == "unproven" else "does not support"
    said["remedy"] = _remedy(code, facts)
    said["shape"] = _SHAPES.get(code, "")
    if "edge" in said:
        said["edge"], said["evenly"] = _SHARED[said["edge"]]
    if code in _BETWEEN:
        return _between(code, facts, unit)
    if code == "on-the-border":
        return _on_the_border(facts, said, unit)
    return _PROBLEMS[code].format_map(said)


def _between(code: str, facts: Mapping[str, float | str], unit: Unit) -> str:
    direction = str(facts["direction"])
    word = _BETWEEN[code][direction == "height"]
    more = about(float(facts["more_mm"]), float(facts["U95_mm"]), unit)
    return (
        f"Between the readings' places the photo sees the opening {word}: by {more}. Measure the {direction} there too."
    )


def _on_the_border(facts: Mapping[str, float | str], said: Mapping[str, str], unit: Unit) -> str:
    mine, other = float(facts["by_rule_p"]), float(facts["other_p"])
    sizes = [said[key] for key in sorted(("by_rule_mm", "other_mm"), key=lambda key: float(facts[key]))]
    read = typed_figure(str(facts.get("read_as", "")), float(facts["read_mm"]), unit)
    where = "exactly half-way" if "half-way" in facts else "near the border"
    compared = "likelier" if other > mine else "nearly as likely"
    return (
        f"{said['reading']} is {read}; the rule makes {said['wanted_mm']} of it, {where} between the made "
        f"sizes {' and '.join(sizes)}. By photo and tape together {said['other_mm']} is {compared} ({percent(other)}; "
        f"the rule's {said['by_rule_mm']}: {percent(mine)}). All readings agree within the tolerance, so the size by "
        f"the rule stands; to be sure, measure {said['reading']} again to a finer mark."
    )


def order_line(
    width_mm: Fraction | None, height_mm: Fraction | None, rule: str, probability: float | None, unit: Unit
) -> str:
    """Return the line of a size by the rule, with how sure photo and tape together are of it.

    Examples
    --------
    >>> order_line(Fraction(14097, 10), Fraction(16002, 10), "louvered-outside", 0.987, "in")
    'By the rule louvered-outside: 55 1/2 in wide, 63 in high (photo and tape together: 99 % sure of this size).'
    """
    sizes = [
        "no width yet" if width_mm is None else f"{exact_length(width_mm, unit)} wide",
        "no height yet" if height_mm is None else f"{exact_length(height_mm, unit)} high",
    ]
    sure = "" if probability is None else f" (photo and tape together: {percent(probability)} sure of this size)"
    return f"By the rule {one_line(rule)}: {', '.join(sizes)}{sure}."


def panels_line(panels_mm: Sequence[Fraction], unit: Unit) -> str:
    """Return the line of an order in several panels; nothing for one.

    Examples
    --------
    >>> panels_line((Fraction(700), Fraction(700)), "mm")
    'In 2 panels: 700 mm, 700 mm.'
    """
    if len(panels_mm) < 2:
        return ""
    return f"In {len(panels_mm)} panels: {', '.join(exact_length(w, unit) for w in panels_mm)}."


def problem(says: str) -> str:
    """Return the line of a problem of the order."""
    return f"Order: {says}"


def remark(says: str) -> str:
    """Return the line of a remark on the order, which stops nothing."""
    return f"Order, to note: {says}"


def not_held(name: str) -> str:
    """Return why a reading that the photo does not support stops nothing.

    Examples
    --------
    >>> not_held("width_top")
    'width, top: does not change the size to order (probability below 0.01), so it does not stop it.'
    """
    return f"{name_of(name)}: does not change the size to order (probability below 0.01), so it does not stop it."


def confirm_says(code: str) -> str:
    """Return what must be looked at on site."""
    return _CONFIRM[code]


def confirm_line(codes: Sequence[str]) -> str:
    """Return the line of what must be confirmed on site before an order; nothing where nothing must."""
    return f"Confirm on site: {'; '.join(_CONFIRM[code] for code in codes)}." if codes else ""


def cautions(codes: Sequence[str]) -> str:
    """Return the short cautions as one line for the end of a job; `codes` of what its rules ask to confirm.

    Examples
    --------
    >>> cautions(()).split(". ")[0]
    'Sizes only'
    """
    by_code = {"escape-opening": 1, "debris-region": 2, "bars-and-covers": 3, "ladder": 4}
    chosen = [0, *sorted(by_code[code] for code in codes if code in by_code)]
    return " ".join(CAUTIONS[i] for i in dict.fromkeys(chosen))


def share_line(width_mm: float | None, height_mm: float | None, probability: float, unit: Unit) -> str:
    """Return one line of the distribution over made sizes.

    Examples
    --------
    >>> share_line(1409.7, None, 0.98, "in")
    '  55 1/2 in wide, none high: 98 %'
    """
    wide, high = (("none" if v is None else format_length(v, unit)) for v in (width_mm, height_mm))
    return f"  {wide} wide, {high} high: {percent(probability)}"


def shares_heading(rule: str) -> str:
    """Return the heading of the distribution over made sizes."""
    return f"Sizes by the rule {one_line(rule)}. {NOT_FOR_ORDERING}"


def more_shares(count: int, most: float) -> str:
    """Return that some sizes are left out of the view; `most` is the probability of the likeliest of them.

    Examples
    --------
    >>> more_shares(5, 0.004), more_shares(2, 0.02)
    ('  and 5 less likely ones, under 1 % each', '  and 2 less likely ones')
    """
    ones = "one" if count == 1 else "ones"
    return f"  and {count} less likely {ones}" + (
        ", under 1 % each" if count > 1 and percent(most) == "under 1 %" else ""
    )


def order_not_checked() -> str:
    """Return the warning that an ordered size without a rule is compared with nothing."""
    return "A size is ordered but no sizing rule is named: compare the ordered size by hand, or name a rule."


def rule_listed(identity: str, title: str, file: Path, sha256: str) -> str:
    """Return one line of the list of rules."""
    return f"{one_line(identity)}  {one_line(title)}  ({one_line(str(file))}, SHA-256 {sha256[:12]})"


def no_rules(folders: Sequence[Path]) -> str:
    """Return that no rule was found, and how to come by one."""
    looked = ", ".join(str(folder) for folder in folders)
    return f"No sizing rules found in {looked}. Samples to start from: secondtape rules copy rules"


def rule_sound(file: Path, identity: str) -> str:
    """Return that a rule's file has no problem."""
    return f"{place(file)}: rule '{one_line(identity)}' can be used."


def samples_copied(files: Sequence[Path]) -> str:
    """Return what was copied, and that samples must be changed before use."""
    lines = [f"Written: {place(file)}" for file in files]
    return "\n".join([*lines, "Samples are invented: put in the figures of the works that you order from."])


def kept(file: Path) -> str:
    """Return that a file was there already and stays."""
    return f"{one_line(str(file))}: is there already and was left as it is; remove it first to get the sample anew."


def cannot_copy(file: Path, reason: str) -> str:
    """Return that a sample could not be written."""
    return f"{one_line(str(file))}: could not be written ({one_line(reason)}); name a folder that can be written to."
