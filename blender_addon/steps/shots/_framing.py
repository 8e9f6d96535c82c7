"""Frames the requested shots: chooses where the close looks go, and solves the camera of every shot."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from ...core.mesh.triangles import TriangleMesh
from ...core.shots.close_looks.carried import CloseupPlace, at_closeups
from ...core.shots.close_looks.choosing import Proposal, close_looks, reordered
from ...core.shots.close_looks.detail_spots import CloseLook, detail_magnification
from ...core.shots.close_looks.head_view import Lens as MacroLens
from ...core.shots.hero_side import clearer_side
from ...core.shots.shot_plan import Shot, ShotAsk, solve
from ...core.shots.subject import Subject
from ...job.decisions import Decision
from ...job.errors import SubjectError
from ...scene.shots.close_look_question import OFFERED, close_look_decision
from ...scene.thumbnails import Looks

if TYPE_CHECKING:
    from .declared.camera import Settings, ShotRow


def wanting(asks: list[tuple[ShotAsk, ShotRow]]) -> list[ShotAsk]:
    """The details without a focus point of their own."""
    return [ask for ask, _ in asks if ask.kind == "detail" and ask.focus is None]


def proposals(
    piece: TriangleMesh,
    subject: Subject,
    asks: list[tuple[ShotAsk, ShotRow]],
    near: list[CloseupPlace],
    *,
    front_chance: float,
    other_side: bool,
) -> list[Proposal]:
    """Places for all details that need one, those of close-up photos first, and a few alternatives.

    front_chance: the chance (0 to 1) that the front is right. other_side: show a head from its other side.
    """
    details = wanting(asks)
    if not details:
        return []
    first = details[0]
    lens = MacroLens(first.frame_mm, first.focal, first.pupil_ratio)
    usual = detail_magnification(subject, lens.frame_mm)
    carried = at_closeups(near, lens.frame_mm, first.coc, usual)
    count = len(details) + OFFERED
    found = close_looks(subject, piece, lens, count, front_chance=front_chance, other_side=other_side)
    return [*carried, *(proposal.turned() if other_side else proposal for proposal in found)]


def spots_of(proposed: list[Proposal], asks: list[tuple[ShotAsk, ShotRow]], first: int | None) -> dict[str, CloseLook]:
    """A place for each detail without a focus point of its own, by the shot's name."""
    ordered = reordered(proposed, first)
    return {ask.name: proposal.look for ask, proposal in zip(wanting(asks), ordered, strict=False)}


def with_clear_face(
    asks: list[tuple[ShotAsk, ShotRow]], subject: Subject, proposed: list[Proposal], settings: Settings
) -> list[tuple[ShotAsk, ShotRow]]:
    """The shots with the hero taken from the side from which its face is not hidden, unless a setting says from where."""
    head = next((proposal.look for proposal in proposed if proposal.shows in ("head", "part")), None)
    if head is None or settings.azimuth is not None:
        return asks
    return [
        (replace(ask, azimuth_deg=clearer_side(subject, head.spot, ask.azimuth_deg, ask.tilt_deg)), row)
        if ask.kind == "hero" and row.azimuth is None
        else (ask, row)
        for ask, row in asks
    ]


def close_look_decisions(
    subject: Subject, asks: list[tuple[ShotAsk, ShotRow]], proposed: list[Proposal], settings: Settings, looks: Looks
) -> tuple[Decision, ...]:
    """The decision on where the first close look goes; empty where there is none."""
    entry = next((entry for entry in asks if entry[0].kind == "detail" and entry[0].focus is None), None)
    if entry is None or not proposed:
        return ()
    ask, row = entry
    first, other_side = settings.close_look, settings.other_side
    shot = partial(framed, ask, row, subject)
    return (close_look_decision(subject, proposed, first, shot, looks, other_side=other_side),)


def framed(ask: ShotAsk, row: ShotRow, subject: Subject, found: CloseLook | None) -> Shot:
    """The solved shot, at its close look `found` if there is one. Raises SubjectError where it can't be framed."""
    spot = None
    if found is not None:
        spot = found.spot
        own = row.azimuth is not None or row.tilt is not None or row.magnification is not None
        ask = replace(
            ask,
            azimuth_deg=found.azimuth_deg if row.azimuth is None else row.azimuth,
            tilt_deg=found.tilt_deg if row.tilt is None else row.tilt,
            magnification=row.magnification or found.grown * detail_magnification(subject, ask.frame_mm),
            shift=(0.0, 0.0) if own else found.shift,  # the shift is valid only for the proposed view
        )
    try:
        return solve(ask, subject, spot=spot)
    except ValueError as error:
        raise SubjectError(f"Shot {ask.name} can't be framed: {error}") from None
