"""Words about camera profiles."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.one_line import about_file, file_name, one_line
from vision.lens.photos import LensFound, LensNotFound


def profile_made(found: LensFound, file: str) -> str:
    """Return what was found and how good it is, for people."""
    fit, profile = found.fit, found.profile
    u_log, u_cx, u_cy, u_k1, u_k2 = (float(v) ** 0.5 for v in fit.covariance.diagonal())
    key = profile.key
    camera = " ".join(one_line(t) for t in (key.make, key.model, key.lens) if t) or "a camera without a name"
    lines = [
        f"{one_line(file)}: profile of {camera}, pictures of {key.size_px[0]} x {key.size_px[1]} px, "
        f"from {len(fit.used)} photos.",
        f"  focal length   {fit.focal_px:.1f} px, U95 {2 * u_log * fit.focal_px:.1f} px ({200 * u_log:.2f} %)",
        f"  optical centre {fit.cx:.1f}, {fit.cy:.1f} px, U95 {2 * max(u_cx, u_cy):.1f} px",
        f"  distortion     k1 {fit.k1:+.4f}, U95 {2 * u_k1:.4f}; k2 {fit.k2:+.4f}, U95 {2 * u_k2:.4f}",
        f"  near the corners of a picture this places a line to {2 * found.u_corner_px:.1f} px (U95)",
        f"  the sheets fit to {profile.made['rms_px']} px and covered {100 * found.coverage:.0f} % of the picture",
    ]
    if found.weak:
        lines.append(
            "  Weak: few photos, or all much alike. Add photos with the sheets tilted 30 to 45 degrees to each side, "
            "up and down, some with the camera turned, and near every corner of the picture."
        )
    if not (key.make or key.model):
        lines.append(
            "  The photos do not name their camera: this profile applies only where it is named, to photos of the same "
            "size that name no camera either."
        )
    lines += left_out(fit.left_out)
    lines.append("  It applies to photos of this camera, lens and focal length that lie with it, or where it is named.")
    return "\n".join(lines)


def profile_refused(answer: LensNotFound) -> list[str]:
    """Return the complaints where there is no profile, one line each."""
    return [f"No camera profile: {answer.why}.", *(line.strip() for line in left_out(answer.left_out))]


def left_out(photos: Sequence[tuple[str, str]]) -> list[str]:
    """Return one line a photo that was not used."""
    said = [(file_name(name), about_file(why, name)) for name, why in photos]
    return [f"  left out: {why if why.startswith(f'{name}: ') else f'{name}: {why}'}" for name, why in said]
