"""Facts about `secondtape rules`. Oracles: contract.md (Commands), hashlib."""

import hashlib
import json
import os
from pathlib import Path

import pytest

from sizing.cli import run
from sizing.exits import Exit
from sizing.orders.rulefile import sample_files


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path


def test_samples_are_copied_out_byte_by_byte_and_never_over_a_file(here, capsys):
    assert run(["rules", "copy", "rules"]) == Exit.DONE
    for name, data in sample_files().items():
        assert (here / "rules" / name).read_bytes() == data
    mine = here / "rules" / "panel-inside.toml"
    mine.write_text("mine")
    capsys.readouterr()
    assert run(["rules", "copy", "rules"]) == Exit.USAGE
    assert mine.read_text() == "mine"
    assert "left as it is" in capsys.readouterr().err


def test_samples_that_cannot_be_written_are_said_in_one_line(here, capsys):
    (here / "rules").write_text("a file")
    assert run(["rules", "copy", "rules/in"]) == Exit.USAGE
    assert all("could not be written" in line for line in capsys.readouterr().err.splitlines())


def test_the_list_has_title_file_and_hash(here, capsys):
    run(["rules", "copy", "rules"])
    capsys.readouterr()
    assert run(["rules", "list", "--json"]) == Exit.DONE
    listed = json.loads(capsys.readouterr().out)["rules"]
    assert {r["id"] for r in listed} == {"louvered-outside", "panel-inside", "shade-metric"}
    for rule in listed:
        assert hashlib.sha256(Path(rule["file"]).read_bytes()).hexdigest() == rule["sha256"]
    assert run(["rules"]) == Exit.DONE
    shown = capsys.readouterr().out
    assert "SAMPLE (invented)" in shown
    assert listed[0]["sha256"][:12] in shown


def test_without_rules_the_list_says_how_to_come_by_some(capsys):
    assert run(["rules"]) == Exit.DONE
    assert "secondtape rules copy" in capsys.readouterr().out


def test_two_of_one_id_and_a_broken_file_are_said_and_change_the_exit_status(here, capsys):
    run(["rules", "copy", "rules"])
    run(["rules", "copy", "config/secondtape/rules"])
    (here / "rules" / "broken.toml").write_text("[rule")
    other = here / "rules" / "panel-inside.toml"
    other.write_text(other.read_text().replace('widest = "48"', 'widest = "47"'))
    capsys.readouterr()
    assert run(["rules", "list"]) == Exit.UNREADABLE
    said = capsys.readouterr().err
    assert "'panel-inside' is the id of more than one rule" in said
    assert "rename one" in said
    assert "broken.toml: not TOML" in said


def test_checking_says_every_problem_and_what_is_sound(here, capsys):
    run(["rules", "copy", "rules"])
    bad = here / "bad.toml"
    bad.write_text('[rule]\nid = "x"\ntitle = "x"\nunits = "yd"\n[width]\nreadin = "largest"\n')
    capsys.readouterr()
    assert run(["rules", "check", "rules/panel-inside.toml"]) == Exit.DONE
    assert run(["rules", "check", "rules/panel-inside.toml", "bad.toml"]) == Exit.UNREADABLE
    out, err = capsys.readouterr()
    assert "can be used" in out
    named = {line.split(": ")[1] for line in err.splitlines()}
    assert named == {"rule.units", "width.reading", "width.readin", "height"}
    assert "did you mean 'reading'?" in err


def test_an_estimate_by_a_rule_that_is_not_there_is_bad_usage(capsys):
    assert run(["estimate", "x.jpg", "--rule", "none", "--wall", "ice"]) == Exit.USAGE
    err = capsys.readouterr().err
    assert "--rule: no rule 'none'; looked in rules/ in this folder and in your config folder" in err  # there is no job
    assert "--wall" in err


@pytest.mark.skipif(os.name != "posix", reason="limits of the size of files as POSIX has them")
def test_a_full_disk_leaves_no_part_of_a_sample(here, capsys):
    """Found: empty files were left, which later runs kept as rules of somebody. A limit stands for the full disk."""
    import resource
    import signal

    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, old[1]))
    try:
        assert run(["rules", "copy", "rules"]) == Exit.USAGE
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)
        signal.signal(signal.SIGXFSZ, before)
    assert list((here / "rules").iterdir()) == []
    assert all("could not be written" in line for line in capsys.readouterr().err.splitlines())
    assert run(["rules", "copy", "rules"]) == Exit.DONE
    assert {p.name for p in (here / "rules").iterdir()} == set(sample_files())


def test_a_file_in_place_of_the_folder_for_samples_is_one_line(here, capsys):
    (here / "mine").write_text("mine")
    assert run(["rules", "copy", "mine"]) == Exit.USAGE
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("mine: could not be written (no folder)")


def test_samples_are_copied_to_a_disk_without_links_and_not_over_a_link_to_nothing(here, monkeypatch):
    def no_links(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(Path, "hardlink_to", no_links)
    (here / "rules").mkdir()
    (here / "rules" / "panel-inside.toml").symlink_to("gone.toml")
    assert run(["rules", "copy", "rules"]) == Exit.USAGE
    assert {p.name for p in (here / "rules").iterdir() if p.is_file()} == set(sample_files()) - {"panel-inside.toml"}


def test_a_file_that_comes_in_while_its_sample_is_written_stays(here, monkeypatch, capsys):
    """POSIX link(): fails with EEXIST where a file is, and so never replaces one."""
    really = Path.hardlink_to

    def after_another(file, target):
        file.write_text("mine")
        really(file, target)

    monkeypatch.setattr(Path, "hardlink_to", after_another)
    assert run(["rules", "copy", "rules"]) == Exit.USAGE
    assert {file.read_text() for file in (here / "rules").iterdir()} == {"mine"}
    assert capsys.readouterr().err.count("left as it is") == len(sample_files())


def test_two_equal_copies_of_a_rule_are_said_in_one_line_and_one_may_go(here, capsys):
    """Contract, Job file: two of one id are an error. That equal ones need no new name: common practice, no source."""
    run(["rules", "copy", "rules"])
    sample = here / "rules" / "panel-inside.toml"
    copy = here / "rules" / "panel-inside (2).toml"
    copy.write_text("# saved again\n" + sample.read_text())
    for command in (["rules", "list"], ["rules", "check", str(sample), str(copy)]):
        capsys.readouterr()
        assert run(command) == Exit.UNREADABLE
        (line,) = capsys.readouterr().err.splitlines()
        assert copy.name in line
        assert line.endswith("which say the same: keep one of them and delete the rest.")


def test_copies_in_folders_apart_may_both_be_checked(here, capsys):
    run(["rules", "copy", "old"])
    run(["rules", "copy", "new"])
    assert run(["rules", "check", "old/panel-inside.toml", "new/panel-inside.toml"]) == Exit.DONE


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("", "the same rule stands in it twice: delete the copy that begins in line 42"),
        (
            'widest = "47"',
            "a second [rule] begins in line 42: a file holds one rule, put that one into a file of its own",
        ),
        ("widest = ", "a second [rule] begins in line 42: a file holds one rule, put that one into a file of its own"),
    ],
)
def test_a_file_that_holds_a_rule_twice_says_so_with_the_line(here, capsys, change, says):
    """TOML 1.0 (toml.io, Table): a table may not be defined twice."""
    text = sample_files()["panel-inside.toml"].decode()
    again = text.replace('widest = "48"', change or 'widest = "48"')
    (here / "two.toml").write_text(text + again)
    assert text.splitlines()[1] == "[rule]"
    assert len(text.splitlines()) == 40
    assert run(["rules", "check", "two.toml"]) == Exit.UNREADABLE
    assert capsys.readouterr().err == f"two.toml: {says}\n"
