"""Facts about what the log answers, on real SQLite files over job folders on disk. Oracle: contract.md, *Commands*."""

import csv
import io
import json
import os
from datetime import UTC, date, datetime

import pytest

from sizing.decided import Decision
from sizing.log.asked import Asked
from sizing.log.codes import coded, codes
from sizing.log.compared_readings import compared
from sizing.log.database import open_log
from sizing.log.export import COLUMNS, export_csv, export_document
from sizing.log.queries import details, find, find_run
from sizing.log.rebuilding import rebuild
from sizing.release.decisions import append_decision

SHA = "a" * 64


def reading(name="width_top", difference_mm=0.5, **more):
    found = {"name": name, "tape_mm": 1000.0, "photo_mm": 1000.0 - difference_mm, "difference_mm": difference_mm}
    return found | {"U95_mm": 2.0, "verdict": "agrees", "by": "Crew 2", "tape": "class-2"} | more


def opening(label="W1", verdict="send", inputs=SHA, readings=None, **more):
    found = {"label": label, "verdict": verdict, "why": "So.", "inputs_sha256": inputs}
    return found | {"readings": [reading()] if readings is None else readings} | more


def check(root, folder, *openings, run="0123456789ab", when=None, job=None, **more):
    """What a check leaves in the folder of a job; `when` is the time of the file."""
    path = root / folder / "secondtape" / run
    path.mkdir(parents=True)
    found = {"job": job or folder, "file": "job.toml", "verdict": "send", "measured_by": "Crew 2"}
    found |= {"measured_on": "2026-05-04", "openings": list(openings) or [opening()]} | more
    file = path / "result.json"
    file.write_text(json.dumps({"schema": "secondtape/1", "program": "secondtape 0.1.0", "jobs": [found]}))
    if when is not None:
        os.utime(file, (when, when))


@pytest.fixture
def log(tmp_path):
    """The log over the jobs in `tmp_path`, made when first asked for."""

    class Log:
        root = tmp_path

        def __enter__(self):
            rebuild([tmp_path], file=tmp_path / "data" / "log.sqlite")
            self.opened = open_log(tmp_path / "data" / "log.sqlite")
            return self.opened.__enter__()

        def __exit__(self, *error):
            self.opened.__exit__(*error)

    return Log()


def names(found):
    return [x.job for x in found]


@pytest.mark.parametrize(
    ("asked", "jobs"),
    [
        (Asked(), ["birch", "alder", "cedar"]),
        (Asked(job="ALD"), ["alder"]),
        (Asked(job="%"), []),
        (Asked(by="crew 5"), ["birch"]),
        (Asked(by="élodie"), ["cedar"]),
        (Asked(tape="class-1"), ["birch"]),
        (Asked(verdict="hold"), ["cedar"]),
        (Asked(since=date(2026, 5, 4)), ["birch", "alder"]),
        (Asked(until=date(2026, 5, 4)), ["alder", "cedar"]),
        (Asked(since=date(2026, 5, 4), until=date(2026, 5, 4)), ["alder"]),
        (Asked(limit=1), ["birch"]),
        (Asked(job="'; DROP TABLE runs; --"), []),
    ],
)
def test_checks_are_found_by_job_measurer_tape_verdict_and_day(log, asked, jobs):
    check(log.root, "alder")
    check(log.root, "birch", opening(readings=[reading(by="Crew 5", tape="class-1")]), measured_on="2026-05-05")
    check(log.root, "cedar", measured_by="ÉLODIE", measured_on="2026-05-03", verdict="hold")
    with log as connection:
        assert names(find(connection, asked)) == jobs


def test_a_check_without_a_day_of_measuring_stands_under_the_day_of_the_check(log):
    check(log.root, "alder", measured_on=None, when=datetime(2026, 6, 7, 12, tzinfo=UTC).timestamp())
    with log as connection:
        assert find(connection, Asked())[0].day == "2026-06-07"


def test_only_jobs_inside_a_folder_are_found_when_that_is_asked(log):
    check(log.root, "jobs/alder")
    check(log.root, "jobs2/birch")
    with log as connection:
        assert names(find(connection, Asked(under=log.root / "jobs"))) == ["jobs/alder"]
        assert len(find(connection, Asked(under=log.root / "jobs" / "alder"))) == 1


def test_a_run_is_found_by_its_beginning_and_a_job_by_its_latest_run(log):
    check(log.root, "alder", run="aaaa11112222", when=1_700_000_000)
    check(log.root, "alder", run="bbbb11112222", when=1_800_000_000)
    with log as connection:
        assert [x.run for x in find_run(connection, "AAAA1")] == ["aaaa11112222"]
        assert [x.run for x in find_run(connection, "alder")] == ["bbbb11112222"]
        assert find_run(connection, "bbb") == ()
        assert find_run(connection, "nul\0") == ()
        (one,) = find_run(connection, str(log.root / "alder" / "secondtape" / "aaaa11112222"))
        assert one.run == "aaaa11112222"


def test_a_reading_counts_once_however_often_it_was_checked_and_copied(log):
    check(log.root, "alder", opening(readings=[reading(difference_mm=9.0)]), run="aaaa11112222", when=1_700_000_000)
    check(log.root, "alder", run="bbbb11112222", when=1_800_000_000)
    check(log.root, "copy-of-alder", job="alder")
    check(log.root, "birch", opening(inputs="b" * 64))
    with log as connection:
        rows = compared(connection, Asked())
    assert sorted(r.difference_mm for r in rows) == [0.5, 0.5]
    assert len({r.opening for r in rows}) == 2


def test_a_photo_that_may_show_another_opening_says_nothing_of_a_reading(log):
    check(log.root, "alder", opening(warnings=[{"code": "another-opening"}]))
    check(log.root, "birch", opening(photos=[{"warnings": [{"code": "another-opening"}]}]))
    with log as connection:
        assert compared(connection, Asked()) == ()


def test_a_slip_that_a_later_visit_replaced_still_counts(log):
    earlier = {"name": "width_top", "tape_mm": 1025.4, "by": "Crew 2"}
    measured = {"width_top": {"value_mm": 1000.0, "U95_mm": 2.0}}
    check(log.root, "alder", opening(measures=measured, superseded=[earlier], readings=[reading(by="Crew 5")]))
    with log as connection:
        assert sorted((r.by, round(r.difference_mm, 1)) for r in compared(connection, Asked())) == [
            ("Crew 2", 25.4), ("Crew 5", 0.5)
        ]  # fmt: skip
        assert [r.by for r in compared(connection, Asked(by="5"))] == ["Crew 5"]


def test_one_name_in_two_spellings_is_one_person(log):
    check(log.root, "alder", opening(readings=[reading(by="Crew 2"), reading("height_left", by=" crew  2")]))
    with log as connection:
        assert len({r.by for r in compared(connection, Asked())}) == 1
        assert len(codes(connection)) == 1


def decided(root, folder, **how):
    facts = {"time": datetime(2026, 5, 5, tzinfo=UTC), "by": "office", "opening": "W1", "decision": "hold"}
    append_decision(root / folder, Decision(**facts | {"reason": "ask crew 2", "inputs_sha256": SHA} | how))


def test_a_decision_on_other_inputs_is_shown_as_stale(log):
    check(log.root, "alder")
    decided(log.root, "alder")
    decided(log.root, "alder", inputs_sha256="b" * 64)
    with log as connection:
        found = details(connection, find(connection, Asked())[0])
    assert [d.stale for d in found.decisions] == [False, True]
    assert found.logged.decisions == 2


def test_codes_stay_the_same_and_neither_names_nor_texts_nor_paths_come_through(log):
    check(log.root, "alder")
    decided(log.root, "alder")
    with log as connection:
        found = details(connection, find(connection, Asked())[0])
        first, again = codes(connection), codes(connection)
        hidden = export_document([coded(found, first)])
    assert first == again
    text = json.dumps(hidden).casefold()
    for secret in ("crew 2", "office", str(log.root).casefold()):
        assert secret not in text
    rebuild([log.root], file=log.root / "data" / "log.sqlite")
    with open_log(log.root / "data" / "log.sqlite") as connection:
        assert codes(connection) == first


def test_an_export_holds_no_formula_and_its_numbers_stay_numbers(log):
    check(log.root, "alder", opening("=1+1", readings=[reading(difference_mm=-1.5, by="@SUM(A1)")]), job="-2+3")
    with log as connection:
        text = export_csv([details(connection, find(connection, Asked())[0])])
    (row,) = csv.DictReader(io.StringIO(text))
    assert tuple(row) == COLUMNS
    assert (row["job"], row["opening"], row["by"]) == ("'-2+3", "'=1+1", "'@SUM(A1)")
    assert float(row["difference_mm"]) == -1.5


def test_a_thousand_jobs_are_listed_and_compared_in_a_second(log):
    import time

    for i in range(1000):
        check(log.root, f"job-{i:04}", opening(inputs=f"{i:064}", readings=[reading() for _ in range(8)]))
    with log as connection:
        start = time.process_time()
        assert len(find(connection, Asked(limit=50))) == 50
        assert len(compared(connection, Asked())) == 8000
        assert time.process_time() - start < 1.0


def test_checks_with_corners_placed_anew_are_one_entry_and_each_stays_on_record(log):
    for n, verdict in enumerate(("hold", "hold", "send")):
        check(log.root, "alder", opening(inputs=str(n) * 64), run=f"aaaa1111000{n}", when=1_700_000_000 + n,
              verdict=verdict, unpointed_sha256="c" * 64)  # fmt: skip
    check(log.root, "alder", run="bbbb11110000", when=1_700_000_009, unpointed_sha256="d" * 64)
    check(log.root, "birch", run="cccc11110000", when=1_700_000_003, unpointed_sha256="c" * 64)
    with log as connection:
        found = find(connection, Asked(job="alder"))
        assert [(x.run, x.verdict, x.checks) for x in found] == [
            ("bbbb11110000", "send", 1),
            ("aaaa11110002", "send", 3),
        ]
        assert find(connection, Asked(job="alder", verdict="hold")) == ()
        assert len(find(connection, Asked(job="alder", each=True))) == 4
        assert [x.run for x in find_run(connection, "aaaa11110000")] == ["aaaa11110000"]
        others = details(connection, found[1]).others
        assert [(run, verdict) for _, verdict, run in others] == [("aaaa11110000", "hold"), ("aaaa11110001", "hold")]


@pytest.mark.parametrize(
    "other",
    [
        {"order": {"rule": "louvered", "rule_sha256": "1" * 64}},
        {"documents": [{"file": "sheet.pdf", "sha256": "1" * 64}]},
        {"photos": [{"file": "w1.jpg", "sha256": "2" * 64, "lenses": [{"file": "l.toml", "sha256": "1" * 64}]}]},
    ],
    ids=["rule", "document", "lens"],
)
def test_checks_by_another_rule_paper_or_lens_are_not_taken_for_corners_anew(log, other):
    """Oracle: README, *The log*. Found: a rule put right was listed as 'corners anew' of the check that it had held."""
    alike = {"photos": [{"file": "w1.jpg", "sha256": "2" * 64}]}
    check(log.root, "alder", opening(**alike), run="aaaa11110000", unpointed_sha256="c" * 64)
    check(log.root, "alder", opening(**(alike | other)), run="aaaa11110001", unpointed_sha256="c" * 64)
    with log as connection:
        assert [x.checks for x in find(connection, Asked())] == [1, 1]


def test_a_check_that_somebody_decided_on_stays_an_entry_of_its_own(log):
    for n in range(3):
        check(log.root, "alder", opening(inputs=str(n) * 64), run=f"aaaa1111000{n}", when=1_700_000_000 + n,
              unpointed_sha256="c" * 64)  # fmt: skip
    decided(log.root, "alder", inputs_sha256="1" * 64)
    with log as connection:
        assert [x.run for x in find(connection, Asked())] == ["aaaa11110002", "aaaa11110001"]
        assert names(find(connection, Asked(decided_by="OFF"))) == ["alder", "alder"]
        assert find(connection, Asked(decided_by="crew 2")) == ()


def test_results_that_do_not_tell_what_was_typed_are_entries_each(log):
    check(log.root, "alder", run="aaaa11112222", when=1_700_000_000)
    check(log.root, "alder", run="bbbb11112222", when=1_800_000_000)
    with log as connection:
        assert len(find(connection, Asked())) == 2


def test_releases_are_listed_and_exported_with_what_they_rest_on(log):
    check(log.root, "alder", opening(), opening("W2"))
    check(log.root, "birch")
    line = {"opening": "W1", "quantity": 2, "width_mm": 900.0, "height_mm": 1200.0, "released_by": "decision"}
    line |= {"decided_by": "Dana", "inputs_sha256": SHA}
    found = {"schema": "secondtape/release/1", "release": "0123456789ab", "released_at": "2026-05-05T12:30:00+00:00"}
    folder = log.root / "alder" / "secondtape" / "release-0123456789ab"
    folder.mkdir()
    (folder / "release.json").write_text(json.dumps(found | {"released": [line, line | {"inputs_sha256": "b"}]}))
    spoilt = folder.with_name("release-spoilt")
    spoilt.mkdir()
    (spoilt / "release.json").write_text("[]")
    with log as connection:
        assert names(find(connection, Asked(released=True))) == ["alder"]
        (one,) = find(connection, Asked(job="alder"))
        assert one.releases == 1
        everything = details(connection, one)
        (released,) = everything.releases
        assert (released.opening, released.width_mm, released.stale) == ("W1", 900.0, False)
        rows = list(csv.DictReader(io.StringIO(export_csv([everything]))))
        assert {(r["opening"], r["release"], r["release_stale"]) for r in rows} == {
            ("W1", "0123456789ab", "no"),
            ("W2", "", ""),
        }
        hidden = coded(everything, codes(connection))
        assert "Dana" not in json.dumps(export_document([hidden]))
