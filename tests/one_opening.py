"""A job of one opening with readings, and a photo's measures of it made by hand, for tests of what is made of both."""

import numpy as np

from sizing.result.document import job_document
from vision.request import PARTS, Estimate, Measure, PhotoReport, Warning_

# An opening of 54 3/8 by 60 1/8 in, square.
VALUES = np.array([1381.125] * 3 + [1527.175] * 3 + [2058.98] * 2 + [0.0])
HEAD = '[job]\nid = "harbor-114"\nunits = "in"\ntape = "class-2"\n'
READINGS = """
width = {{ top = "54 3/8", middle = "{middle}", bottom = "54 3/8" }}
height = {{ left = "60 1/8", middle = "60 1/8", right = "60 1/8" }}
"""


def opening(label="W1", middle="54 3/8", photos='["w1.jpg"]', more=""):
    return f'[[opening]]\nlabel = "{label}"\nwall = "masonry"\nphotos = {photos}\n{more}' + READINGS.format(
        middle=middle
    )


def job_in(folder, *openings, head=HEAD):
    """Return a folder with its job and a file in place of the photo."""
    (folder / "w1.jpg").write_bytes(b"x" * 2000)
    (folder / "job.toml").write_text(head + "".join(openings), encoding="utf-8")
    return folder


def measured(u_mm=0.9, candidates=()):
    def estimator(request, progress):
        report = PhotoReport(
            request.photos[0].path,
            "ab" * 32,
            (4032, 3024),
            corners_px=np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]]),
            warnings=(Warning_("one-reference", "one sheet; add another"),),
        )
        budget = np.zeros((9, len(PARTS)))
        budget[:, PARTS.index("camera")] = u_mm
        further = {"lean": Measure(1.0, 0.5)}
        cov = np.eye(9) * u_mm**2
        return Estimate(VALUES, cov, budget, np.zeros(9), further, tuple(candidates), (), (report,), (), "corners")

    return estimator


def only_opening(result):
    return job_document(result)["openings"][0]
