"""Facts about sizing rules. Oracles: common practice, no source; exact arithmetic by hand."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sizing.errors import InputError
from sizing.jobs.job import Tolerance
from sizing.orders.rulefile import find_rule, load_rule, rule_folders, rules_in, sample_files
from sizing.orders.rules import Made, Panels, SideRule, tolerance_in_force

INCH = Fraction(127, 5)
HEAD = '[rule]\nid = "own"\ntitle = "own rule"\nunits = "in"\n'
SIDES = '[width]\nreading = "largest"\n[height]\nreading = "smallest"\n'


def inches(*values):
    return [None if v is None else Fraction(v) * INCH for v in values]


@pytest.fixture
def sample(tmp_path):
    def write(name):
        file = tmp_path / f"{name}.toml"
        file.write_bytes(sample_files()[file.name])
        return load_rule(file)

    return write


@pytest.fixture
def written(tmp_path):
    def write(text, name="own.toml"):
        file = tmp_path / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
        return file

    return write


def problems_of(file):
    with pytest.raises(InputError) as caught:
        load_rule(file)
    return {p.where.split(": ", 1)[-1]: p.says for p in caught.value.problems}


def test_a_louvered_panel_is_ordered_an_inch_wider_than_the_largest_width(sample):
    # Common practice, no source: 1/2 in each side beyond the largest of the three.
    side = sample("louvered-outside").width
    assert side.wanted(inches("54.25", "54.5", "54.375")) == Fraction("55.5") * INCH
    assert side.made.chosen(Fraction("55.5") * INCH) == Fraction("55.5") * INCH


def test_a_louvered_panels_height_is_the_nearest_of_the_chart_with_three_inches_for_the_hardware(sample):
    # Common practice, no source: lock and hinge add about 3 in; heights exist only in steps, the closest is taken.
    side = sample("louvered-outside").height
    wanted = side.wanted(inches("60", "60.125", "60.125"))
    assert wanted == Fraction("63.125") * INCH
    assert side.made.chosen(wanted) == 63 * INCH


def test_room_above_takes_as_much_off_the_hardware_until_its_least_remains(sample):
    # Common practice, no source: less if the panel can move up.
    side = sample("louvered-outside").height
    heights = inches("60", "60", "60")
    assert side.wanted(heights, INCH) == 62 * INCH
    assert side.wanted(heights, 10 * INCH) == 61 * INCH


def test_an_inch_must_stay_free_below_for_the_lock(sample):
    # Common practice, no source.
    assert sample("louvered-outside").free == {"below": INCH}


def test_an_inside_mount_goes_by_the_smallest_reading_and_never_up(sample):
    side = sample("panel-inside").width
    wanted = side.wanted(inches("36", "35.875", "36.125"))
    assert wanted == Fraction("35.625") * INCH
    assert side.made.chosen(wanted) <= wanted


def test_a_millimetre_rule_reads_bare_numbers_as_millimetres(sample):
    rule = sample("shade-metric")
    assert rule.width.wanted([Fraction(1381), None, Fraction(1380)]) == 1381 + 2 * 60
    assert rule.width.made.chosen(Fraction(1501)) == 1510
    # The least of the hardware is all of it: room above changes nothing.
    assert rule.height.allowance(Fraction(500)) == 20 + 180


def test_the_samples_are_marked_as_invented():
    for name, data in sample_files().items():
        assert b"INVENTED" in data, name


def test_a_rule_by_the_middle_reading_needs_that_reading():
    side = SideRule("middle", Fraction(10))
    assert side.wanted([Fraction(1), Fraction(2), None]) == 12
    assert side.wanted([Fraction(1), None, Fraction(3)]) is None


def test_without_a_reading_there_is_no_size():
    assert SideRule("largest").wanted([None, None, None]) is None


@pytest.mark.parametrize(
    ("choice", "wanted", "made"),
    [
        ("nearest", 949, 900),
        ("nearest", 950, 1000),  # half-way: the larger, our own convention
        ("nearest", 1200, 1100),
        ("nearest", 100, 900),
        ("next-up", 901, 1000),
        ("next-up", 900, 900),
        ("next-up", 1101, None),
        ("next-down", 999, 900),
        ("next-down", 899, None),
        ("next-down", 2000, 1100),
    ],
)
def test_a_chart_gives_the_size_by_its_choice(choice, wanted, made):
    assert Made(None, (Fraction(900), Fraction(1000), Fraction(1100)), choice).chosen(Fraction(wanted)) == made


@pytest.mark.parametrize(("choice", "made"), [("nearest", 1000), ("next-up", 1010), ("next-down", 1000)])
def test_steps_give_the_size_by_their_choice(choice, made):
    assert Made(Fraction(10), (), choice).chosen(Fraction(1003)) == made


def test_where_any_size_is_made_the_size_stands():
    assert Made().chosen(Fraction(1003, 7)) == Fraction(1003, 7)
    assert Made().holds(Fraction(1003, 7), Fraction(0))


def test_a_size_of_the_chart_is_held_within_the_rounding_of_millimetres_and_none_else():
    made = Made(None, (Fraction(1524, 1),))
    assert made.holds(Fraction(15243, 10), Fraction(1, 2))
    assert not made.holds(Fraction(1525), Fraction(1, 2))
    assert Made(Fraction(10)).holds(Fraction(1000), Fraction(1, 2))


@given(st.fractions(100, 5000), st.fractions(1, 100), st.sampled_from(["nearest", "next-up", "next-down"]))
def test_a_made_size_is_made_and_stays_itself(size, step, choice):
    made = Made(step, (), choice)
    chosen = made.chosen(size)
    assert made.holds(chosen, Fraction(0))
    assert made.chosen(chosen) == chosen
    assert abs(chosen - size) < step


def test_a_wide_opening_is_split_by_the_first_split_that_fits():
    panels = Panels(Fraction(900), Fraction(200), Fraction(4), ((1,), (1, 1), (1, 2, 1), (1, 1, 1, 1)))
    assert panels.split(Fraction(800)) == (800,)
    assert panels.split(Fraction(1404)) == (700, 700)
    assert panels.split(Fraction(1808)) == (450, 900, 450)
    assert panels.split(Fraction(3612)) == (900, 900, 900, 900)
    assert panels.split(Fraction(3613)) is None


def test_no_panel_of_a_split_is_narrower_or_wider_than_is_made():
    panels = Panels(Fraction(900), Fraction(300), Fraction(0), ((1, 2, 1), (1, 1)))
    assert panels.split(Fraction(1000)) == (500, 500)  # 250 at the sides is too narrow
    assert panels.split(Fraction(1200)) == (300, 600, 300)
    assert panels.split(Fraction(1800)) == (450, 900, 450)
    assert panels.split(Fraction(1801)) is None  # 900 1/4 in the middle is too wide, and so is half of it all


def test_panels_fill_the_width_with_their_gaps():
    panels = Panels(Fraction(700), Fraction(0), Fraction(3), ((1, 2, 1),))
    assert sum(panels.split(Fraction(1206))) + 2 * 3 == 1206


def test_a_job_says_its_tolerance_first_then_the_rule_then_the_default(sample):
    rule = sample("panel-inside")
    given_ = {"width_over_mm": 5.0}
    mixed = tolerance_in_force(Tolerance(width_over_mm=5.0), given_, rule)
    assert (mixed.width_over_mm, mixed.height_over_mm) == (5.0, pytest.approx(25.4 * 3 / 16))
    assert mixed.diagonal_mm == pytest.approx(25.4 * 3 / 8)
    assert tolerance_in_force(Tolerance(), {}, None) == Tolerance()


def test_diagonals_keep_half_an_inch_unless_the_rule_uses_them(sample):
    # contract.md, Decision.
    assert tolerance_in_force(Tolerance(), {}, sample("louvered-outside")).diagonal_mm == 12.7


def test_every_problem_of_a_rule_is_said_at_once_with_the_nearest_known_key(written):
    found = problems_of(
        written(
            '[rule]\nid = "own"\ntitle = "t"\nunits = "in"\nconfirm = ["rom-above"]\n'
            '[width]\nreading = "bigest"\nad = "1/2"\nstep = "0"\nchoose = "nearest"\n'
            '[height]\nreading = "largest"\nsizes = ["33", "27"]\nchoose = "nearest"\n'
            '[limits]\nout_of_squar = "1"\n'
        )
    )
    assert set(found) == {
        "rule.confirm[0]",
        "width.reading",
        "width.ad",
        "width.step",
        "height",
        "limits.out_of_squar",
    }
    assert "'add'" in found["width.ad"]
    assert "'room-above'" in found["rule.confirm[0]"]
    assert "'out_of_square'" in found["limits.out_of_squar"]
    assert "small to large" in found["height"]


@pytest.mark.parametrize(
    ("width", "says"),
    [
        ('step = "1"\nsizes = ["27"]\nchoose = "nearest"', "not both"),
        ('step = "1"', "choose"),
        ('choose = "nearest"', "both or neither"),
        ('minimum = "30"\nmaximum = "20"', "swap"),
    ],
)
def test_what_contradicts_itself_is_refused(written, width, says):
    found = problems_of(written(f'{HEAD}[width]\nreading = "largest"\n{width}\n[height]\nreading = "largest"\n'))
    assert says in found["width"]


def test_hardware_that_remains_is_no_more_than_all_of_it(written):
    found = problems_of(written(f'{HEAD}{SIDES}hardware_least = "1"\n'))
    assert "hardware_least" in found["height"]


def test_a_length_that_can_be_read_two_ways_is_refused(written):
    found = problems_of(written(f'{HEAD}[width]\nreading = "largest"\nadd = "1,125"\n[height]\nreading = "largest"\n'))
    assert "can be read as" in found["width.add"]


def test_additions_may_differ_by_side(written):
    text = SIDES.replace("[height]", 'add = { left = "1/2", right = "3/4" }\n[height]')
    rule = load_rule(written(HEAD + text + 'add = { sill = "-1/4" }\n'))
    assert (rule.width.add, rule.height.add) == (Fraction("1.25") * INCH, Fraction("-0.25") * INCH)


def test_a_rule_may_split_into_panels_of_its_own_shares(written):
    rule = load_rule(written(HEAD + SIDES + '[panels]\nwidest = "36"\nnarrowest = "9"\nsplits = [[1], [1, 2]]\n'))
    assert rule.panels.splits == ((1,), (1, 2))
    assert rule.panels.narrowest == 9 * INCH
    assert rule.panels.gap == 0


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"[rule\n", "not TOML"),
        (b"\xff\xfe", "UTF-8"),
        (b"#" * 200_001, "200 kB"),
        (b"a = " + b"[" * 5000, "brackets too deep"),
    ],
)
def test_a_file_that_is_no_rule_is_refused_in_one_line(tmp_path, data, says):
    file = tmp_path / "x.toml"
    file.write_bytes(data)
    with pytest.raises(InputError, match=says) as caught:
        load_rule(file)
    assert "\n" not in str(caught.value)


def test_a_folder_or_nothing_is_no_rule(tmp_path):
    with pytest.raises(InputError, match="no regular file"):
        load_rule(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        load_rule(tmp_path / "none.toml")


def test_a_rule_is_found_by_id_in_its_parents_and_its_hash_is_that_of_the_file(tmp_path, written):
    import hashlib

    file = written(HEAD + SIDES, "rules/named otherwise.toml")
    job = tmp_path / "jobs" / "one"
    job.mkdir(parents=True)
    rule = find_rule("own", job, top=tmp_path)
    assert (rule.file, rule.sha256) == (file, hashlib.sha256(file.read_bytes()).hexdigest())


def test_a_rule_above_the_desks_folder_is_not_found(tmp_path, written):
    written(HEAD + SIDES, "rules/own.toml")
    job = tmp_path / "desk" / "one"
    job.mkdir(parents=True)
    with pytest.raises(InputError, match="no rule 'own'"):
        find_rule("own", job, top=tmp_path / "desk")


def test_the_users_config_folder_comes_last(tmp_path, monkeypatch, written):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    written(HEAD + SIDES, "config/secondtape/rules/own.toml")
    folders = rule_folders(tmp_path / "job")
    assert folders[-1] == tmp_path / "config" / "secondtape" / "rules"
    assert find_rule("own", tmp_path / "job").id == "own"


def test_below_the_folder_of_the_command_its_rules_are_looked_at_too(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert tmp_path / "rules" in rule_folders(tmp_path / "a" / "b" / "c")
    monkeypatch.chdir("/")
    assert tmp_path / "rules" in rule_folders(tmp_path / "a")


def test_two_rules_of_one_id_are_an_error_that_names_both(tmp_path, written):
    written(HEAD + SIDES, "rules/a.toml")
    written(HEAD + SIDES, "job/rules/b.toml")
    with pytest.raises(InputError) as caught:
        find_rule("own", tmp_path / "job", top=tmp_path)
    assert caught.value.code == "rule-twice"
    assert "a.toml" in str(caught.value)
    assert "b.toml" in str(caught.value)


def test_a_rule_that_is_not_there_is_said_with_the_nearest_and_with_files_that_cannot_be_read(tmp_path, written):
    written(HEAD + SIDES, "rules/own.toml")
    written("[rule", "rules/broken.toml")
    with pytest.raises(InputError, match="did you mean 'own'") as caught:
        find_rule("owm", tmp_path)
    assert "broken.toml" in str(caught.value)


def test_a_rule_of_that_id_with_problems_is_said_with_them(tmp_path, written):
    written(HEAD + SIDES.replace("largest", "widest"), "rules/own.toml")
    with pytest.raises(InputError, match=r"width\.reading"):
        find_rule("own", tmp_path)


def test_a_broken_file_named_like_the_id_is_the_one_that_was_meant(tmp_path, written):
    written("[rule", "rules/own.toml")
    with pytest.raises(InputError, match="not TOML"):
        find_rule("own", tmp_path)


def test_a_rule_named_by_file_stays_inside_the_job_unless_it_may_leave(tmp_path, written):
    file = written(HEAD + SIDES, "elsewhere.toml")
    job = tmp_path / "job"
    job.mkdir()
    assert find_rule("../elsewhere.toml", job).file == file.resolve()
    with pytest.raises(InputError, match="--allow-outside"):
        find_rule("../elsewhere.toml", job, allow_outside=False)
    with pytest.raises(InputError, match="does not exist"):
        find_rule("none.toml", job)


def test_files_that_say_no_id_are_listed_with_their_problem(tmp_path, written):
    written("rule = 1\n", "rules/odd.toml")
    [found] = rules_in(rule_folders(tmp_path)[:1])
    assert (found.id, found.rule) == (None, None)
    assert found.error is not None
