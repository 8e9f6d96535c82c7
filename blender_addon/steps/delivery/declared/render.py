"""Renders the stills, the turntable, the sample sheet and the contact sheet; a run after a crash continues where it stopped."""

from __future__ import annotations

import math

from ....core.records import record, values
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
    "final": Preset(Quality(32, 0.1), 3000, 640, 96, 12),
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


@values
class Settings:
    """Which pictures are rendered, how large and with how little noise."""

    MARKS = {"quality": (SHORT, DEFAULT), "device": (DEFAULT,)}

    quality: str = choice(
        "final",
        [
            ("proof", "Proof", "Stills of 960 px, quick, to approve light and framing"),
            ("final", "Final", "Stills of 3000 px, for delivery; the expected time is shown first"),
            (
                "print",
                "Print",
                "Stills of 3840 px and turntables of 1080 lines with little noise; slow without a graphics card",
            ),
        ],
        help="Size and noise of the pictures; use proof while you choose, and final at the end",
    )
    size: int | None = integer(None, low=64, high=16384, unit="px", help="Longer side of the stills; auto: by the quality")
    stills: bool = switch(True, help="Render a still picture of every shot")
    only: str = text(
        "", label="Only shots", help="Render only these shots, by name and separated by commas; empty: all", more=True
    )
    approved: str = text(
        "",
        label="Locked shots",
        help="Names of approved shots, separated by commas; their pictures are never rendered again",
        more=True,
    )
    versions: bool = switch(False, help="Keep the earlier picture under another name beside a new one", more=True)
    cutouts: bool = switch(
        False,
        help="Also render each still's subject alone with its shadow on a transparent background (PNG), for catalogues",
        more=True,
    )
    turntable: bool = switch(True, help="Render the turntable, one full turn of the subject")
    frames: int | None = integer(
        None,
        low=2,
        high=2000,
        help="Number of frames of a full turn; more turn more smoothly and take longer; auto: by the quality",
    )
    turntable_size: int | None = integer(
        None, low=64, high=8192, unit="px", help="Longer side of the turntable's frames; auto: by the quality"
    )
    eased: bool = switch(
        False, label="Ease in and out", help="Start and stop the turn gently; off: constant speed, for a loop", more=True
    )
    clockwise: bool = switch(False, help="Turn the subject clockwise as seen from above; off: counter-clockwise", more=True)
    fps: int | None = integer(
        None, low=1, high=120, help="Frames per second of the turntable's video; auto: by the quality", more=True
    )
    video: bool = switch(True, help="Write the turntable as a video (MP4) too")
    webm: bool = switch(
        False,
        label="WebM",
        help="Write the turntable also as WebM (VP9), one turn long, for web pages that play it in a loop",
        more=True,
    )
    loops: int | None = integer(
        None, low=1, high=50, help="Number of full turns in the video; auto: at least eight seconds", more=True
    )
    sample_sheet: bool = switch(False, help="Also render the piece in every material under the same light, to choose from")
    contact_sheet: bool = switch(True, help="Also lay out all stills on one sheet")
    samples: int | None = integer(
        None,
        low=1,
        high=65536,
        help="Most samples per pixel: more take longer and leave less noise; auto: by the quality",
        more=True,
    )
    noise: float | None = number(
        None,
        low=0.0,
        high=1.0,
        help="Noise at which a pixel is finished: lower is cleaner and slower, 0 takes all samples; auto: by the quality",
        more=True,
    )
    denoise: bool = switch(
        True,
        help="Remove the remaining noise, guided by albedo and normals so that relief stays; off shows the raw render",
        more=True,
    )
    watermark: str = text(
        "", help="Words drawn across every picture while the quality is proof, such as PROOF; empty: none", more=True
    )
    device: str = choice(
        "auto",
        DEVICES,
        help="Device on which Cycles renders; auto: the graphics card set up in the preferences or, without a window, found",
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
