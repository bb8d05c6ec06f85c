"""Versions of the program and of the libraries that measure, and whether they will do."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version

_LIBRARIES = (
    "numpy",
    "scipy",
    "opencv-python-headless",
    "scikit-image",
    "pillow",
    "pillow-heif",
    "reportlab",
)
_OPENCV_AT_LEAST = 5


def program_version() -> str:
    """Return the version of this program."""
    return _version("secondtape") or "unknown"


def version_lines() -> list[str]:
    """Return the program's version and one line a library."""
    lines = [f"secondtape {program_version()}"]
    lines += [f"  {name} {_version(name) or 'not installed'}" for name in _LIBRARIES]
    heif = _libheif_version()
    return [*lines, f"  libheif {heif}"] if heif else lines


def library_problem() -> str | None:
    """Return what is wrong with the installed OpenCV, with the remedy, or None.

    OpenCV 4 returns arrays of other shapes and differs in its marker detection.
    """
    remedy = "install with `pip install 'opencv-python-headless>=5,<6'` and remove other opencv packages."
    try:
        import cv2
    except ImportError as error:
        return f"OpenCV cannot be loaded ({error}); {remedy}"
    found = str(cv2.__version__)
    if int(found.split(".", 1)[0]) < _OPENCV_AT_LEAST:
        return f"OpenCV {found} is too old, {_OPENCV_AT_LEAST} or later is needed; {remedy}"
    return None


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def _libheif_version() -> str | None:
    try:
        import pillow_heif
    except ImportError:
        return None
    return str(pillow_heif.libheif_version())
