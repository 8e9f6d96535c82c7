"""Stills of every shot, the turntable as frames and video, sample sheet and contact sheet, resumed after a crash."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ....core.records import record
from ....job.settings import DEFAULT, SHORT, choice, integer, number, switch, text
from ....scene.delivery.output import Quality

LABEL = "Render"
NEEDS = ("shot", "piece", "surface")
USES = ("stand", "table", "backdrop", "prop", "debris", "world", "light", "card")
MAKES = ("pictures", "pivot")


@record
class Preset:
    """What a word for the quality stands for: the stills' longer side and the turn's shorter side in pixels, its frames for a
    full turn, and how many of them a second shows."""

    quality: Quality
    long_side: int
    turn_lines: int
    turn_frames: int
    turn_fps: int


PRESETS = {
    "proof": Preset(Quality(16, 0.1), 960, 320, 24, 12),
    "final": Preset(Quality(20, 0.1), 3000, 640, 96, 12),
    "print": Preset(Quality(256, 0.02), 3840, 1080, 200, 25),
}
"""A still in 'proof' takes half a minute on two cores, in 'final' some minutes; 'print' is for a graphics card or a night."""
FILM_SECONDS = 8.0
"""How long the turntable's film is at least, where its turns are not counted by hand."""

DEVICES = (
    ("auto", "Fastest here", "A graphics card where there is one, else the processor"),
    ("cpu", "Processor", "Always the processor"),
    ("optix", "OptiX", "Nvidia cards, by OptiX"),
    ("cuda", "CUDA", "Nvidia cards, by CUDA"),
    ("hip", "HIP", "AMD cards"),
    ("oneapi", "oneAPI", "Intel cards"),
    ("metal", "Metal", "Apple's and other cards on macOS"),
)


@dataclass(kw_only=True)
class Settings:
    """What is rendered, how large and how well."""

    MARKS = {"quality": (SHORT, DEFAULT), "device": (DEFAULT,)}

    quality: str = choice(
        "final",
        [
            ("proof", "Proof", "960 pixels, quick, to approve light and framing"),
            ("final", "Final", "3000 pixels, to hand over; how long that takes is said first"),
            ("print", "Print", "3840 pixels and turns of 1080 lines, clean; slow without a graphics card"),
        ],
        help="How large and how clean the pictures are",
    )
    size: int | None = integer(None, low=64, high=16384, unit="px", help="Longer side of the stills; auto: by the quality")
    stills: bool = switch(True, help="Render a still of every shot")
    only: str = text("", label="Only shots", help="Names of shots to render, with commas; empty: all", more=True)
    approved: str = text("", label="Locked shots", help="Names of approved shots, with commas: never rendered again", more=True)
    versions: bool = switch(False, help="Keep the earlier picture beside a new one", more=True)
    cutouts: bool = switch(
        False, help="Also render the subject of every still alone on nothing, with its shadow: PNG with transparency", more=True
    )
    turntable: bool = switch(True, help="Render a full turn of the subject")
    frames: int | None = integer(None, low=2, high=2000, help="Frames of a full turn; auto: by the quality")
    turntable_size: int | None = integer(
        None, low=64, high=8192, unit="px", help="Longer side of the turntable's frames; auto: by the quality"
    )
    eased: bool = switch(False, help="Let the turn start and stop gently instead of looping steadily", more=True)
    clockwise: bool = switch(False, help="Turn clockwise seen from above", more=True)
    fps: int | None = integer(None, low=1, high=120, help="Frames a second of the video; auto: by the quality", more=True)
    video: bool = switch(True, help="Also write the turntable as a video")
    webm: bool = switch(False, help="The video also as WebM (VP9), one turn long, to be played in a loop", more=True)
    loops: int | None = integer(None, low=1, high=50, help="Full turns in the video; auto: eight seconds of them", more=True)
    sample_sheet: bool = switch(False, help="Also render the piece in every material under one light")
    contact_sheet: bool = switch(True, help="Also lay out all stills on one page")
    samples: int | None = integer(None, low=1, high=65536, help="Most samples a pixel", more=True)
    noise: float | None = number(None, low=0.0, high=1.0, help="Noise at which a pixel is done; 0: all samples", more=True)
    denoise: bool = switch(True, help="Denoise, guided by albedo and normals so that relief stays", more=True)
    watermark: str = text("", help="Words across every picture while the quality is proof, such as PROOF", more=True)
    device: str = choice(
        "auto",
        DEVICES,
        help="What Cycles renders on; auto: a graphics card where one is set up or, without a window, found",
        more=True,
    )

    @property
    def mark(self) -> str:
        """The words that are laid over every picture: on proofs alone."""
        return self.watermark.strip() if self.quality == "proof" else ""

    @property
    def frame_count(self) -> int:
        """Frames of a full turn."""
        return self.frames or PRESETS[self.quality].turn_frames

    @property
    def frame_rate(self) -> int:
        """Frames a second of the video."""
        return self.fps or PRESETS[self.quality].turn_fps

    @property
    def turns(self) -> int:
        """Full turns in the video: as many as last `FILM_SECONDS`, where none are asked for."""
        return self.loops or max(1, math.ceil(FILM_SECONDS * self.frame_rate / self.frame_count))
