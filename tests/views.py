"""Photos of one opening without pictures: what solving and tracing would give, drawn with known errors."""

import numpy as np

from vision.adjustment import adjust
from vision.camera import Camera, project
from vision.observations import PER_REFERENCE, PhotoState, point_block
from vision.one_photo import PhotoTraced
from vision.priors import camera_blocks, camera_prior, reference_blocks, size_block
from vision.request import SIDES, CheckBar, PhotoReport, Quantity, Reference
from vision.solving.solved import Solved
from vision.stations import ENDS, SideLine
from vision.wall.courses import course_block, whitening

FOCAL, SIZE = 2850.0, (4032, 3024)
HALF = np.array([108.0, 140.0])
GRID = np.stack(np.meshgrid(np.linspace(-90, 90, 7), np.linspace(-120, 120, 9)), -1).reshape(-1, 2)
CORNERS = np.array([[-600.0, -450], [600, -450], [600, 450], [-600, 450]])
SHEET = Reference("sheet")
BAR = CheckBar(Quantity(150.0, 0.05), Quantity(200.0, 0.05))

# courses of a wall: pieces every 150 mm along, a course every 75 mm; how true they lie and run
ALONG, LEVEL = np.arange(-1100.0, 1101, 150), np.arange(-750.0, 751, 75)
U_LAID_MM, U_SLOPE = 1.0, 1e-3


def camera_at(x, y, z, focal=FOCAL):
    """Return a camera that looks at the middle of the opening from (x, y), z in front of the wall."""
    centre = np.array([x, y, -z])
    forward = -centre / np.linalg.norm(centre)
    right = np.cross([0, 1.0, 0], forward)
    right = right / np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    return Camera(rotation, -rotation @ centre, focal, (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2)


def paper(rng):
    """Return how a sheet lies on the wall: depth mm, tilts rad, bulges mm (drawn from the priors of panels)."""
    return np.array([rng.normal(-0.5, np.hypot(1, 0.3)), *rng.normal(0, 0.003, 2), *rng.normal(0, 0.5, 2)])


def laid(rng):
    """Return how far each piece of each course lies too low, mm (courses, pieces)."""
    return U_SLOPE * np.outer(rng.normal(size=len(LEVEL)), ALONG) + rng.normal(0, U_LAID_MM, (len(LEVEL), len(ALONG)))


def course_lines(camera, state, off_mm):
    """Return the courses of a wall as a photo shows them, as observations."""
    x, y = (v.ravel() for v in np.meshgrid(ALONG, LEVEL))
    course = np.repeat(np.arange(len(LEVEL)), len(ALONG))
    pixel = project(camera, np.column_stack([x, y + off_mm.ravel(), np.zeros(len(x))]))
    whiten = whitening(course, x, np.full(len(x), U_LAID_MM), np.full(len(LEVEL), U_SLOPE))
    return course_block(state, pixel, np.zeros(len(x), bool), course, whiten)


FLAT = np.array([-0.5, 0, 0, 0, 0])


def photo_of(
    camera,
    sheets,
    rng,
    *,
    depth=0.0,
    key=("maker", "phone"),
    noise_px=0.1,
    u_side_mm=0.3,
    name="a.jpg",
    sides=SIDES,
    corners=CORNERS,
    papers=None,
    scale=0.0,
    reference=SHEET,
    bar=BAR,
    u_choice_mm=0.0,
    courses=None,
    prior=None,
):
    """Return a photo of references [(name, x, y, turn)] on the wall and of an opening whose edges lie at `depth`.

    `courses` are how the bricks were laid (`laid`), None: a plain wall. `prior` is what
    is known of the camera, None: what Exif says.
    """
    told = camera_prior(FOCAL * np.exp(rng.normal(0, 0.03)), 0.03, SIZE, known=True)
    x0, y0, turn0 = sheets[0][1:]
    c, s = np.cos(turn0), np.sin(turn0)
    own = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    start = Camera(
        camera.rotation @ own,
        camera.translation_mm + camera.rotation @ [x0, y0, 0],
        camera.focal_px,
        camera.cx,
        camera.cy,
    )
    blocks = [*camera_blocks(prior or told), size_block(reference, bar)]
    blocks += reference_blocks(len(sheets), "panel", sheets=True, stiff=False)
    references = np.zeros((len(sheets), PER_REFERENCE))
    for i, (_, x, y, turn) in enumerate(sheets):
        ct, st = np.cos(turn), np.sin(turn)
        z, tilt_x, tilt_y, bulge_x, bulge_y = FLAT if papers is None else papers[i]
        p, q = GRID * (1 + scale), GRID / HALF
        lift = z + p @ [tilt_x, tilt_y] - bulge_x * (1 - q[:, 0] ** 2) - bulge_y * (1 - q[:, 1] ** 2)
        wall = p @ np.array([[ct, st], [-st, ct]]) + [x, y]
        seen = project(camera, np.column_stack([wall, lift]))
        blocks.append(point_block(i, GRID, HALF, seen + rng.normal(0, noise_px, seen.shape), noise_px))
        references[i, :3] = [*(np.array([x - x0, y - y0]) @ own[:2, :2]), turn - turn0]
        references[i, 3] = -0.5
    state = PhotoState(start, np.zeros(2), references, np.array([-turn0, 0.0]))
    if courses is not None:
        blocks.append(course_lines(camera, state, courses))
    adjusted = adjust(blocks, state)
    lines = {}
    for side in sides:
        ends = corners[list(ENDS[side])]
        direction = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        outward = np.array([-direction[1], direction[0]]) if side in {"head", "sill"} else direction[::-1] * [1, -1]
        outward = outward * (-1 if side in {"head", "left"} else 1)
        moved = ends + rng.normal(0, u_side_mm) * outward
        pixels = project(camera, np.column_stack([moved, np.full(2, depth)]))
        none = np.zeros(0)
        cov = np.diag([u_side_mm**2, 1e-10])
        lines[side] = SideLine(side, pixels, 0.0, none, none, cov, 0.0, 0.0, u_choice_mm)
    shown = project(camera, np.column_stack([corners, np.full(4, depth)]))
    names = tuple(name for name, *_ in sheets)
    solved = Solved(adjusted, names, (), (), noise_px, tuple(blocks))
    report = PhotoReport(name, "", SIZE, corners_px=shown)
    return PhotoTraced(solved, lines, {}, {}, shown, None, "corners", report, key, reference=reference)
