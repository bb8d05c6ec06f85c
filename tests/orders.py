"""Jobs of one opening with an order, for tests, and what is read off their results."""

import numpy as np

from sizing.check import check_job
from sizing.orders.rulefile import sample_files
from sizing.result.document import job_document
from vision.request import PARTS, Estimate, NotMeasured, PhotoReport

INCH = 25.4
SQUARE = {"width": ("54 3/8",) * 3, "height": ("60 1/8",) * 3}
# By the sample: 54 3/8 + 1 = 55 3/8, half-way between quarters, the larger; 60 1/8 + 3 = 63 1/8, the chart's 63.
BY_RULE = {"width": "55 1/2", "height": "63"}


def inches(*values):
    return np.array(values) * INCH


def seen(widths=(54.375,) * 3, heights=(60.125,) * 3, u_mm=0.9, further=None, u_scale=0.0):
    """What a photo says, in inches, its measures independent but for a common scale of `u_scale`."""
    down = float(np.hypot(widths[1], heights[1]))
    values = np.concatenate([inches(*widths), inches(*heights), inches(down, down, 0.0)])

    def estimator(request, progress):
        report = PhotoReport(request.photos[0].path, "ab" * 32, (4032, 3024))
        nothing = np.zeros((9, len(PARTS)))
        cov = np.eye(9) * u_mm**2 + u_scale**2 * np.outer(values, values)
        return Estimate(values, cov, nothing, np.zeros(9), further or {}, (), (), (report,), (), "corners")

    return estimator


def unmeasured(request, progress):
    return NotMeasured(
        "no-reference", "no sheet was found; add one", (PhotoReport(request.photos[0].path, "", (0, 0)),)
    )


def checked_in(
    tmp_path,
    readings=SQUARE,
    ordered=BY_RULE,
    rule="louvered-outside",
    more="",
    estimator=None,
    head="",
    edit=None,
    sample="louvered-outside",
):
    """Return the result of a job of one opening, ordered by a rule that lies beside it."""
    (tmp_path / "w1.jpg").write_bytes(b"x" * 2000)
    (tmp_path / "rules").mkdir(exist_ok=True)
    text = sample_files()[f"{sample}.toml"].decode()
    for old, new in edit or ():
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "rules" / f"{sample}.toml").write_text(text)
    stations = {
        "width": ("top", "middle", "bottom"),
        "height": ("left", "middle", "right"),
        "diagonal": ("down", "up"),
    }
    lines = [
        f"[opening.{group}]\n" + "".join(f'{s} = "{v}"\n' for s, v in zip(stations[group], values, strict=True) if v)
        for group, values in readings.items()
    ]
    if ordered:
        lines.append("[opening.ordered]\n" + "".join(f'{k} = "{v}"\n' for k, v in ordered.items()))
    named = f'rule = "{rule}"\n' if rule else ""
    (tmp_path / "job.toml").write_text(
        f'[job]\nid = "j"\nunits = "in"\ntape = "class-2"\n{head}[[opening]]\nlabel = "W1"\nwall = "masonry"\n'
        f'photos = ["w1.jpg"]\n{named}{more}' + "".join(lines)
    )
    return check_job(tmp_path, estimator=estimator or seen())


def opening_of(result):
    assert result.error is None, result.error
    return job_document(result)["openings"][0]


def codes(result, key="problems"):
    return [p["code"] for p in opening_of(result)["order"][key]]


def reading(result, name):
    return next(r for r in opening_of(result)["readings"] if r["name"] == name)
