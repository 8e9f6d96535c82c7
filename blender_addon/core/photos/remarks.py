"""A remark on one photograph: what is wrong, how bad it is, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence

from ..records import record

RETAKE, LEAVE_OUT, LOOK = "retake", "leave out", "look"
"""Take it again; leave it out; usable, but worth a look."""

ADVICE = {
    "soft": "Tap on the piece to focus, hold still, wait for the focus before each shot; more light or a tripod helps",
    "shaken": "Use a tripod or rest the elbows, release by timer or by the earphones' button, and give more light",
    "blown": "Lower the exposure (on most phones: hold on the piece, then slide down) and lock it; soften the lamp",
    "crushed": "Light the dark side with a white card or a second soft lamp, or raise the exposure and lock it",
    "exposure": "Lock the exposure for the whole set, and let no lamp, window or shadow of yours change on the way",
    "white": "Lock the white balance for the whole set, and use one kind of lamp alone",
    "apart": "Take two or three more photos between this one and its neighbour, 10 to 15 degrees apart",
    "alone": "Nothing on it is found in its neighbours: take it again from between them, or leave it out",
    "twice": "One of the two is enough",
    "small": "Go closer until the piece fills most of the frame; don't zoom by software",
    "cut": "Step back or turn the phone until the whole piece is in the frame, with a little room round it",
    "camera": "Use one camera, one lens and one zoom for the whole set",
    "copy": "Use the camera's own files: a screenshot or a copy from a messenger has lost detail and its labels",
    "flash": "Switch the flash off: its highlights move with the camera",
    "surplus": "The limit is kept without it; those round it see the same",
}
"""What to do, by the kind of remark. Steps of 10 to 15 degrees and the rest are common practice of photographing for a scan."""


@record
class Remark:
    """kind: a key of `ADVICE`. level: RETAKE, LEAVE_OUT or LOOK. words: what was found, with its figure."""

    kind: str
    level: str
    words: str


def verdict(remarks: Sequence[Remark]) -> str:
    """'keep', 'retake' or 'leave out' of a photo with these remarks. A repeated view need not be taken again."""
    levels = {remark.level for remark in remarks}
    if LEAVE_OUT in levels:
        return LEAVE_OUT
    return RETAKE if RETAKE in levels else "keep"
