"""Lengths as people write them. Oracle: contract, *Job file*, and facts.md; 1 in = 25.4 mm exactly."""

import string
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sizing.units import (
    DENOMINATORS,
    INCH_MM,
    LengthError,
    format_length,
    format_uncertainty,
    parse_length,
    parse_signed_length,
)

# The contract's own list: each says 54 3/8 in, 1381 mm or 1381.5 mm.
CONTRACT = [
    ("54 3/8", Fraction("1381.125")),
    ('54-3/8"', Fraction("1381.125")),
    ("54⅜", Fraction("1381.125")),
    ("4' 6 3/8\"", Fraction("1381.125")),
    ("4'-6 3/8\"", Fraction("1381.125")),
    ("54 6/16", Fraction("1381.125")),
    ("54.375 in", Fraction("1381.125")),
    ("1381 mm", Fraction(1381)),
    ("138.1 cm", Fraction(1381)),
    ("1381,5 mm", Fraction("1381.5")),
]
# The same in other hands: phones' quotes and primes, dashes, fraction slashes, spelled units.
OTHER_HANDS = [
    ("4′-6⅜″", Fraction("1381.125")),
    ("4’ - 6 3/8”", Fraction("1381.125")),
    ("4'-6-3/8\"", Fraction("1381.125")),
    ("4 ft 6 3/8 in", Fraction("1381.125")),
    ("4FT6 3/8IN.", Fraction("1381.125")),
    ("4' 6 3/8", Fraction("1381.125")),
    ("54 3/8''", Fraction("1381.125")),
    ("54 3 / 8 inches", Fraction("1381.125")),
    ("54 3⁄8", Fraction("1381.125")),
    ("54³⁄₈", Fraction("1381.125")),
    ("54-⅜", Fraction("1381.125")),
    ("54–3/8", Fraction("1381.125")),
    ("\u00a054\u202f3/8 ", Fraction("1381.125")),
    ("54,375 in", Fraction("1381.125")),
    ("1.381 m", Fraction(1381)),
    ("1,381 m", Fraction(1381)),
    ("0,381 m", Fraction(381)),
    ("0,125 in", Fraction("3.175")),
    ("1381,125 mm", Fraction("1381.125")),
    ("1381 MM", Fraction(1381)),
    ("1381 1/2 mm", Fraction("1381.5")),
    ("4.5 ft", Fraction("1371.6")),
    ("4 feet", Fraction("1219.2")),
    ("4'", Fraction("1219.2")),
    (".5", Fraction("12.7")),
    ("⅔", Fraction("25.4") * 2 / 3),
    ("3/8", Fraction("9.525")),
    ("54 25/64", Fraction("1381.521875")),
    ("0", Fraction(0)),
]


@pytest.mark.parametrize(("text", "exact_mm"), CONTRACT + OTHER_HANDS)
def test_every_way_of_writing_a_length_is_read_exactly(text, exact_mm):
    length = parse_length(text, "in")
    assert (length.exact, length.mm, length.as_written) == (exact_mm, float(exact_mm), " ".join(text.split()))
    assert length.strong == 0


@pytest.mark.parametrize(
    ("number", "unit", "mm"), [(60, "in", 1524.0), (54.375, "in", 1381.125), (1381.5, "mm", 1381.5)]
)
def test_a_number_is_in_the_jobs_unit(number, unit, mm):
    assert parse_length(number, unit).mm == mm


def test_a_bare_text_is_in_the_jobs_unit():
    assert (parse_length("1381.5", "mm").mm, parse_length("60", "in").mm) == (1381.5, 1524.0)


def test_a_unit_in_the_text_wins_over_the_jobs():
    assert (parse_length("60 in", "mm").mm, parse_length("4' 6", "mm").mm) == (1524.0, 1371.6)


# A quarter graduation (contract): 1/64 in of 1/16 in, 0.25 mm of 1 mm.
@pytest.mark.parametrize(
    ("text", "unit", "graduation", "shift", "strong"),
    [
        ("54 3/8 strong", "in", None, INCH_MM / 64, 1),
        ("54 3/8+", "in", None, INCH_MM / 64, 1),
        ('54 3/8 +"', "in", None, INCH_MM / 64, 1),
        ('54 3/8" scant', "in", None, -INCH_MM / 64, -1),
        ("54 3/8 -", "in", None, -INCH_MM / 64, -1),
        ("54 3/8-", "in", INCH_MM / 8, -INCH_MM / 32, -1),
        ("4' 6 3/8 strong", "mm", None, INCH_MM / 64, 1),
        ("1381.125 strong", "mm", None, Fraction(1, 4), 1),
        ("1381.125 mm strong", "in", None, Fraction(1, 4), 1),
        ("138.1125 cm scant", "in", 2.0, Fraction(-1, 2), -1),
        ("138.1125 cm +", "in", None, Fraction(1, 4), 1),
        ("1.381125 m -", "in", None, Fraction(-1, 4), -1),
        ("54 3/8 in -", "in", None, -INCH_MM / 64, -1),
    ],
)
def test_strong_and_scant_are_a_quarter_graduation_and_kept_on_record(text, unit, graduation, shift, strong):
    length = parse_length(text, unit, graduation_mm=graduation)
    assert (length.exact - Fraction("1381.125"), length.strong) == (shift, strong)


# The worth of the last digit, from which a check bar takes its uncertainty (contract, *Job file*).
@pytest.mark.parametrize(
    ("value", "step_mm"),
    [
        ("149.5 mm", 0.1),
        ("5 7/8", 3.175),
        ("5.875", 0.0254),
        ("15 cm", 10.0),
        ("14,955 m", 1.0),
        ("149,55 mm", 0.01),
        (150, 25.4),
        (5.9, 2.54),
        (1e4 / 3e3, 2.54e-15),
    ],
)
def test_the_last_digit_as_written_is_kept(value, step_mm):
    assert parse_length(value, "in").step_mm == pytest.approx(step_mm, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "one", "other"),
    [
        ("1,381", "1.381", "1381"),
        ("1,381 mm", "1.381", "1381"),
        ("1381,5", "1381.5", "1381 and 5"),
        ("1381,125", "as 1381.125 or", "as 1381 and 125:"),
        ("4' 6,5", "6.5", "6 and 5"),
        ("54 38", "54 3/8", "5438"),
        ("54 316", "54 3/16", "54316"),
        ("1 381 mm", "1 and 381", "1381"),
        ("5-4-3", "5' 4 3/8\"", "5' 4 3/16\""),
        ("5 4 3", "5' 4 3/8\"", "5' 4 3/16\""),
        ("4-6", "4 6/8", "4' 6\""),
        ("4 6 3/8", "4' 6 3/8\"", "46 3/8"),
        ("54 - 3/8", "as 54 3/8 or", "as 54 less 3/8:"),
        ("54 98", "54 and 98", "5498"),
        ("11/8", "1 3/8", "1 1/8"),
        ("543/8", "67 7/8", "54 3/8"),
        ("5410/16", "338 1/8", "54 10/16"),
        ("540/8", "67 1/2", "a slip"),
        ("548/8", "68 1/2", "a slip"),
        ("54 9/8", "55 1/8", "a slip"),
        ("8/8", "1", "a slip"),
        ("3' 11 16/16\"", "as 3' 12\" or", "a slip"),
        ("4' 6,5", "as 4' 6.5 or", "4' 6 and 5"),
        ("4' 6 3", "as 4' 6 3/8\" or", "4' 63\""),
        ("4' 6-3", "as 4' 6 3/8\" or", "4' 6 less 3\""),
        ("4' 6 - 3/8", "as 4' 6 3/8\" or", "4' 6 less 3/8\""),
        ("3' 116/16\"", "as 3' 7 1/4\" or", "as 3' 11 6/16\":"),
        ("4'-", "4 ft scant", "missing"),
        ("4' 14\"", "62 in", "less than 12 in"),
        ("4' 12\"", "60 in", "less than 12 in"),
        ("+3", "as 3 or", "as 3 strong:"),
    ],
)
def test_what_can_be_read_in_two_ways_is_refused_with_both_named(text, one, other):
    with pytest.raises(LengthError, match="can be read as") as refusal:
        parse_length(text, "in")
    assert text in str(refusal.value).replace("\\'", "'")
    assert one in str(refusal.value)
    assert other in str(refusal.value)


def test_a_bare_fraction_in_a_metric_job_is_refused_with_both_units_named():
    with pytest.raises(LengthError, match="54 3/8 mm or as 54 3/8 in"):
        parse_length("54 3/8", "mm")


@pytest.mark.parametrize("value", ["-54 3/8", "−3 mm", "- 1", -3, -0.5, "0 scant", "1/128 scant"])
def test_a_negative_length_is_refused(value):
    with pytest.raises(LengthError, match="is negative"):
        parse_length(value, "in")


@pytest.mark.parametrize("value", ["101 m", "100.001 m", "4000", 3938, 1e300, "400 ft", 10**40])
def test_a_length_over_100_m_is_refused(value):
    with pytest.raises(LengthError, match="over 100 m"):
        parse_length(value, "in")


def test_100_m_is_still_a_length():
    assert parse_length("100 m", "mm").mm == 100_000.0


@pytest.mark.parametrize(
    "value",
    [
        "", "  ", "abc", "54 3/8 furlong", "54.", "1.5 3/8", "1e3", "1_000", "0x36", "nan", "inf", "٥٤",
        "54³", "3/8/2", "1,381.5", "1.381,5 mm", "54 3/8 + strong", "4.5' 6\"", "4' 6 mm", "4' 6'", "54 3/7",
        "1/0", "54\x00", "½½", "4\" 6'", "4' 6 3 3/8\"",
        float("nan"), float("inf"), -float("inf"), True, None, [54], {"a": 1}, b"54",
    ],
    ids=repr,
)  # fmt: skip
def test_what_is_no_length_is_refused(value):
    with pytest.raises(LengthError, match=r"is not a length|no tape is divided"):
        parse_length(value, "in")


@pytest.mark.parametrize("value", ["9" * 61, "9" * 5_000_000, " 1" * 5000, 10**5000, -(10**5000)], ids=range(5))
def test_a_huge_text_or_number_is_refused_in_few_words(value):
    with pytest.raises(LengthError) as refusal:
        parse_length(value, "in")
    assert len(str(refusal.value)) < 250


@pytest.mark.parametrize(
    ("value", "mm"),
    [
        ("-3/4", -19.05),
        ("− 3/4", -19.05),
        ("+19 mm", 19.0),
        ("3/4", 19.05),
        (-0.75, -19.05),
        (0, 0.0),
        ("-1 strong", -25.796875),
    ],
)
def test_an_edge_offset_may_be_negative(value, mm):
    assert parse_signed_length(value, "in").mm == mm


@pytest.mark.parametrize("value", ["--3", "+-3", "-", "-101 m", -4000, None, "", float("nan"), "-1,381"])
def test_an_edge_offset_is_refused_for_the_same_reasons(value):
    with pytest.raises(LengthError):
        parse_signed_length(value, "in")


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (1381.125, "in", "54 3/8 in"),
        (1524.0, "in", "60 in"),
        (9.525, "in", "3/8 in"),
        (0.0, "in", "0 in"),
        (-19.05, "in", "-3/4 in"),
        (Fraction(127, 160), "in", "1/32 in"),
        (25.3, "in", "1 in"),
        (1381.125, "mm", "1381.1 mm"),
        (-0.04, "mm", "0.0 mm"),
        (-19.05, "mm", "-19.0 mm"),
        (0.06, "mm", "0.1 mm"),
    ],
)
def test_a_length_is_written_to_1_32_in_or_a_tenth_of_a_mm(mm, unit, text):
    assert format_length(mm, unit) == text


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (1.5875, "in", "1/16 in"),
        (1.5876, "in", "1/8 in"),
        (0.01, "in", "1/16 in"),
        (25.4, "in", "1 in"),
        (1.81, "mm", "1.9 mm"),
        (1.8, "mm", "1.8 mm"),
        (0.1 + 0.2, "mm", "0.3 mm"),
        (0, "mm", "0.0 mm"),
    ],
)
def test_an_uncertainty_is_rounded_up(mm, unit, text):
    assert format_uncertainty(mm, unit) == text


def test_an_uncertainty_below_zero_is_a_mistake():
    with pytest.raises(LengthError, match="negative"):
        format_uncertainty(-0.1, "mm")


@pytest.mark.parametrize("write", [format_length, format_uncertainty])
def test_not_a_number_is_never_written_as_a_length(write):
    with pytest.raises(LengthError, match="nan is not a length"):
        write(float("nan"), "in")


@given(st.integers(0, 3900 * 32))
def test_thirty_seconds_of_an_inch_survive_writing_and_reading(count):
    exact = count * INCH_MM / 32
    assert parse_length(format_length(exact, "in"), "mm").exact == exact


@given(st.integers(0, 1_000_000))
def test_tenths_of_a_mm_survive_writing_and_reading(count):
    exact = Fraction(count, 10)
    assert parse_length(format_length(exact, "mm"), "in").exact == exact


@given(st.floats(0, 99_990), st.sampled_from(["in", "mm"]))
def test_writing_loses_at_most_half_of_the_last_place(mm, unit):
    read = parse_length(format_length(mm, unit), unit)
    assert abs(read.exact - Fraction(mm)) <= (INCH_MM / 64 if unit == "in" else Fraction(1, 20)) + Fraction(1, 10**9)


@given(
    st.integers(0, 300),
    st.integers(0, 11),
    st.sampled_from(sorted(DENOMINATORS)),
    st.integers(1, 127),
    st.sampled_from(["{f}' {i} {n}/{d}\"", "{f}'-{i}-{n}/{d}", "{f} ft {i} {n}/{d} in", "{f}′ {i} {n}⁄{d}″"]),
)
def test_feet_inches_and_fractions_add_up_exactly(feet, inches, under, over, pattern):
    over = over % under or 1
    length = parse_length(pattern.format(f=feet, i=inches, n=over, d=under), "mm")
    assert length.exact == (feet * 12 + inches + Fraction(over, under)) * INCH_MM


_TYPED = st.text(alphabet="0123456789 /-+.,'\"′″⅜⁄½³₈mcinft strongae\t\x00−%", max_size=14)


@settings(max_examples=600, deadline=None)
@given(
    st.one_of(_TYPED, st.text(max_size=30), st.text(alphabet=string.printable, max_size=80)),
    st.sampled_from(["in", "mm"]),
)
@example("4' " * 15, "in")
@example("1 " * 29 + "/", "mm")
def test_any_text_is_a_length_within_the_limits_or_refused(text, unit):
    for parse, low in ((parse_length, 0), (parse_signed_length, -100_000)):
        try:
            length = parse(text, unit)
        except LengthError as error:
            said = str(error)
        else:
            said = length.as_written or "number"
            assert low <= length.exact <= 100_000
        assert 0 < len(said) < 400
        assert "\n" not in said


@given(st.one_of(st.floats(), st.integers(), st.booleans(), st.none(), st.lists(st.integers()), st.binary()))
def test_any_value_is_a_length_within_the_limits_or_refused(value):
    try:
        length = parse_length(value, "mm")
    except LengthError:
        return
    assert length.exact == Fraction(repr(value))
