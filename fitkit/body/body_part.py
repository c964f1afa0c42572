"""The parts of a body that a stand-in can be."""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

__all__ = ["BODY_PARTS", "BodyPart"]

BodyPart: TypeAlias = Literal[
    "whole body",
    "torso",
    "head",
    "left arm",
    "right arm",
    "left leg",
    "right leg",
    "left lower leg",
    "right lower leg",
]
BODY_PARTS: tuple[BodyPart, ...] = get_args(BodyPart)
