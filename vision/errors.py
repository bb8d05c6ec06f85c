"""Exceptions of the package.

VisionError(Exception)
├── PhotoError(OSError)       the photo cannot be used; has a code
├── RequestError(ValueError)  what was asked makes no sense, e.g. corners outside the photo; has a code
└── ProfileError(ValueError)  a camera profile cannot be used (`vision.lens.profile`)
"""

from __future__ import annotations


class VisionError(Exception):
    """Root of what `vision` raises on purpose."""


class PhotoError(VisionError, OSError):
    """A photo that cannot be used, with the fact and the remedy in its message."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message

    def __str__(self) -> str:
        return self.message


class RequestError(VisionError, ValueError):
    """A request that cannot be carried out, with code, fact and remedy."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
