"""Reshaping a body until its tape measures are the wearer's."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import TypeAlias

import numpy as np

from fitkit.body.adapt_findings import measure_findings, shape_findings, unknown_findings
from fitkit.body.adapted_body import AdaptedBody, AdaptedMeasure
from fitkit.body.body import Body
from fitkit.body.level_slopes import LevelSlopes
from fitkit.body.measure_gradient import measure_gradients
from fitkit.body.pulled_body import PulledBody
from fitkit.body.shape_handles import ShapeHandles
from fitkit.body.tape_measure import TapeMeasure, tape_measures
from fitkit.errors import InputError
from fitkit.geometry.arrays import Floats

__all__ = ["TapeReader", "adapt"]

_ROUNDS = 12
# Parts of a step that are tried until one makes things better.
_SHARES = (1.0, 0.5, 0.25, 0.1, 0.04)
_SETTLED, _ENOUGH = 1e-6, 0.05
_TAPE_MM = 0.8
_CLOSE_MM = 0.05
_SPREAD_MM = 0.02

TapeReader: TypeAlias = Callable[[Body], Sequence[TapeMeasure]]
"""Takes the measures of a body."""


def adapt(
    body: Body,
    wanted_mm: Mapping[str, float],
    *,
    hoped_mm: Mapping[str, tuple[float, float]] = MappingProxyType({}),
    read_tape: TapeReader = tape_measures,
    progress: Callable[[float, str], None] | None = None,
) -> AdaptedBody:
    """Reshape a body so that its tape measures are those of a list.

    Of all changes that give the wanted measures the gentlest is taken: the one whose profiles
    along trunk, neck and limbs are smallest and bend least. Parts that no measure of the list
    lies near keep their shape but for the blend. Where the list contradicts itself, the
    differences that remain have the least sum of squares.

    Parameters
    ----------
    body
        The stand-in's body.
    wanted_mm
        Length by name of the measure, in mm; ``"upper arm"`` stands for left and right.
    hoped_mm
        Further lengths by name that are only likely: the length, and how far off it costs as
        much as the change of shape itself. They give way to those wanted.
    read_tape
        Takes the measures; theirs are the names.

    Returns
    -------
    adapted
        Its body carries the findings of the one given and new ones: measures the body does not
        have, contradictions, large changes, parts that cross.

    Raises
    ------
    InputError
        When a length is not above zero.

    References
    ----------
    Gauss-Newton steps on a penalised least-squares problem: J. Nocedal, S. Wright, *Numerical
    Optimization*, 2nd ed., Springer 2006, sections 10.3 and 17.1.
    """
    for name, length in wanted_mm.items():
        if not (np.isfinite(length) and length > 0):
            raise InputError(
                f"The tape list says {length:g} mm for '{name}'.", "Give a length above zero."
            )
    tell = progress or (lambda _fraction, _words: None)
    tell(0.05, "taking the tape measures")
    before = {measure.name: measure for measure in read_tape(body)}
    targets, unknown = _targets(wanted_mm, before)
    if not targets:
        return AdaptedBody(
            replace(body, findings=(*body.findings, *unknown_findings(unknown, before))),
            (),
            np.zeros_like(body.mesh.vertices),
        )
    hopes, _ = _targets({name: length for name, (length, _) in hoped_mm.items()}, before)
    spread = {name: far for name, (_, far) in hoped_mm.items()}
    aims = {
        **{name: (length, _either(name, spread)) for name, length in hopes.items()},
        **{name: (length, _SPREAD_MM) for name, length in targets.items()},
    }
    tell(0.15, "finding the handles of the shape")
    pulled = PulledBody.of(body)
    levels = LevelSlopes.of(body, targets)
    names = list(aims)
    wanted = np.array([*(length for length, _ in aims.values()), *levels.wanted_mm])
    spreads = np.array([*(far for _, far in aims.values()), *levels.spreads_mm])
    hard = np.array([name in targets for name in names])

    def taken(candidate: Body) -> tuple[Floats, list[TapeMeasure]] | None:
        found = {measure.name: measure for measure in read_tape(candidate)}
        slopes = levels.taken_mm(candidate)
        if slopes is None or any(name not in found for name in names):
            return None  # so misshapen that a measure is lost
        measures = [found[name] for name in names]
        return np.array([*(measure.length_mm for measure in measures), *slopes]), measures

    numbers = np.zeros(pulled.handles.count)
    current = body
    measures = [before[name] for name in names]
    reading: Floats = np.array([*(measure.length_mm for measure in measures), *levels.wanted_mm])
    merit = _merit(pulled.handles, numbers, (wanted - reading) / spreads)
    for turn in range(_ROUNDS):
        off = wanted - reading
        far = float(np.abs(off[: len(names)][hard]).max())
        if far < _CLOSE_MM and (turn > 0 or len(targets) == len(aims)):
            break
        tell(0.2 + 0.75 * turn / _ROUNDS, f"reshaping, {far:.1f} mm off")
        gradients = measure_gradients(current.mesh, measures)
        gradients += levels.gradients(current)
        answers = np.stack([pulled.handles.answer(gradient) for gradient in gradients])
        aim = _least_energy(pulled.handles.energy, answers, off + answers @ numbers, spreads)
        merit_before = merit
        for share in _SHARES:
            trial = numbers + share * (aim - numbers)
            candidate = pulled.body(trial)
            found = None if _turned(body, candidate) else taken(candidate)
            if found is None:
                continue
            merit_there = _merit(pulled.handles, trial, (wanted - found[0]) / spreads)
            if merit_there < merit:
                numbers, current, merit = trial, candidate, merit_there
                reading, measures = found
                break
        # Once all are within what a tape can tell, what is still gained bit by bit is not worth it.
        still = float(np.abs((wanted - reading)[: len(names)][hard]).max())
        if merit_before - merit < (_ENOUGH if still < _TAPE_MM else _SETTLED) * merit_before:
            break
    after = dict(zip(names, reading[: len(names)].tolist(), strict=True))
    rows = tuple(
        AdaptedMeasure(name, length, before[name].length_mm, after[name])
        for name, length in targets.items()
    )
    shift = current.mesh.vertices - body.mesh.vertices
    findings = [
        *unknown_findings(unknown, before),
        *measure_findings(rows),
        *shape_findings(body, current, pulled.handles.notes),
    ]
    tell(1.0, "done")
    finished = replace(current, findings=(*body.findings, *findings))
    return AdaptedBody(finished, rows, shift)


def _targets(
    wanted_mm: Mapping[str, float], measures: Mapping[str, TapeMeasure]
) -> tuple[dict[str, float], list[str]]:
    """Return wanted lengths by the body's own names, and the names it does not have."""
    own = {name.strip().lower(): name for name in measures}
    targets: dict[str, float] = {}
    unknown = []
    for name, length in wanted_mm.items():
        key = " ".join(name.lower().split())
        found = [own[k] for k in (key, f"left {key}", f"right {key}") if k in own]
        if not found:
            unknown.append(name)
        for each in found[:1] if key in own else found:
            targets[each] = float(length)
    return targets, unknown


def _either(name: str, spread: Mapping[str, float]) -> float:
    """Return what is said of a measure, or of both sides of it."""
    return spread[name] if name in spread else spread[name.split(" ", 1)[1]]


def _merit(handles: ShapeHandles, numbers: Floats, off: Floats) -> float:
    return float(numbers @ handles.energy @ numbers + off @ off)


def _least_energy(energy: Floats, answers: Floats, wanted: Floats, spreads: Floats) -> Floats:
    """Return the numbers of least energy whose measures are as wanted, or nearest to it."""
    inverse = np.linalg.solve(energy, answers.T)
    system: Floats = answers @ inverse + np.diag(np.square(spreads))
    least: Floats = inverse @ np.linalg.solve(system, wanted)
    return least


def _turned(before: Body, after: Body) -> int:
    """Return how many triangles that had an area turned over."""
    was, now = before.mesh.face_normals_scaled(), after.mesh.face_normals_scaled()
    return int(((np.einsum("fi,fi->f", was, now) <= 0) & (was != 0).any(axis=1)).sum())
