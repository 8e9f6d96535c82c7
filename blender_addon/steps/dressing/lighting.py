"""Lights the set by a built-in set-up or by a picture of surroundings, and exposes by a grey card."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from ...core import srgb
from ...core.dressing import exposure as metering
from ...core.dressing.light_setups import SETUPS, flux, make_setup, total_light
from ...job.settings import SHORT, angle, choice, number, switch, text
from ...job.step import Progress, Result, Run
from ...scene.dressing import hdri, lights, meter
from ...scene.dressing.shot_light import CLOSE_OFFSET, CLOSER, EXPOSURE, FLUX, FOLLOWS, SHADE, close_card, turn_towards
from ...scene.dressing.targets import make_targets
from ...scene.nodes.finish import diffraction_share, put_finish
from ...scene.nodes.materials import exposed_as

LABEL = "Lighting"
NEEDS = ("piece",)
USES = ("stand", "shot", "table", "backdrop", "prop", "surface")
MAKES = ("world", "light", "card")

HDRI = ("hdri", "Surroundings", "A picture of real surroundings, an HDRI")
VIEWS = (
    ("AgX", "AgX", "Bright parts roll off softly and lose colour as film does; the default"),
    ("Standard", "Standard", "Straight sRGB: exact values, hard clipping"),
)
LOOKS = {"AgX": "AgX - High Contrast", "Standard": "None"}


@dataclass(kw_only=True)
class Settings:
    ALIASES = {"lookdev": "targets", "bloom": "glare"}
    MARKS = {"setup": (SHORT,)}

    setup: str = choice("north_window", (*SETUPS, HDRI), help="The light", label="Set-up")
    surroundings: str = text("interior", help="For the set-up Surroundings: a name of Blender's own or an .exr or .hdr file")
    turn: float = angle(0.0, low=-360.0, high=360.0, help="Turns the light about the vertical, counter-clockwise from above")
    level: float = number(
        1.0,
        low=0.01,
        high=100.0,
        label="Light level",
        help="Strength of the surroundings; the grey card evens it out again",
        more=True,
    )
    exposure: float | None = number(
        None, low=-20.0, high=20.0, unit="stops", help="Exposure of the picture; auto: by a grey card beside the subject"
    )
    offset: float | None = number(
        None,
        low=-5.0,
        high=5.0,
        unit="stops",
        label="Exposure compensation",
        help="Lighter or darker than the grey card says; auto: by the material",
    )
    white_balance: float = number(
        80.0,
        low=0.0,
        high=100.0,
        unit="%",
        help="How far the colour of the surroundings is taken out; a little should stay",
        more=True,
    )
    cards: bool = switch(
        True,
        label="Reflectors and flags",
        help="White reflectors that open the shadows, black flags that deepen them, as the set-up has",
        more=True,
    )
    strips: bool | None = switch(
        None, label="Strip lights", help="Narrow lights that draw the edges; auto: for bronze", more=True
    )
    follow: bool = switch(
        True,
        label="Follow camera",
        help="Built-in set-ups turn with the shot's camera, as if the piece were turned on the table",
    )
    targets: bool = switch(
        False,
        label="Targets",
        help="Colour chart, grey ball and mirror ball beside the subject, to check a look by",
        more=True,
    )
    view: str = choice("AgX", VIEWS, help="How light becomes picture", more=True)
    finish: bool = switch(
        True, label="Camera finish", help="What a camera adds: fall-off, glare, diffraction, grain; switch it off to measure"
    )
    vignette: float = number(0.25, low=0.0, high=3.0, unit="stops", help="Fall-off of light in the corners", more=True)
    glare: float = number(
        2.5, low=0.0, high=50.0, unit="%", help="Share of the light that the lens spreads as glare", more=True
    )
    grain: float = number(
        1.0, low=0.0, high=20.0, unit="%", help="Noise of the sensor, of the light that falls on it", more=True
    )
    diffraction: bool = switch(True, help="The softness that the f-number brings", more=True)


def run(stage: Any, settings: Settings) -> Run:
    yield Progress(0.0, "Looking at the subject and the shots")
    subject = _Subject(stage)
    names = [settings.setup, *(name for name in _asked_by_shots(stage) if name != settings.setup)]
    figures: dict[str, Any] = {"setup": settings.setup}
    exposures: dict[str, float] = {}
    for place, name in enumerate(names):
        yield Progress(0.1 + 0.8 * place / len(names), f"Setting up {_label(name)}")
        light = _Light(stage, settings, name, subject)
        yield Progress(0.1 + 0.8 * (place + 0.5) / len(names), "Holding a grey card at the subject's place", blocking=True)
        reading = light.metered(stage, subject)
        gains = light.balanced(reading, settings.white_balance / 100.0)
        light.offer(stage, hidden=place > 0)
        offset = settings.offset if settings.offset is not None else light.usual_offset(stage)
        stops = (
            settings.exposure if settings.exposure is not None else _stops(stage, _bright(reading.colour * gains), name, offset)
        )
        world = bpy.data.worlds[light.world_name]
        world[EXPOSURE], world[SHADE] = stops, light.shade
        world[FLUX] = [float(value) for value in light.flux]
        if settings.exposure is None:
            world[CLOSER] = light.closer(stage, settings, gains, stops, job=place == 0)
        exposures[name] = stops
        if place == 0:
            light.offer_grey_card(stage, subject)
            figures |= {
                "exposure_stops": round(stops, 3), "offset_stops": round(offset, 3),
                "card_luminance": float(f"{_bright(reading.colour):.5g}"),
                "white_balance": [round(float(gain), 4) for gain in gains],
                "card_error_percent": round(100 * reading.error, 2), "card_normal": [round(float(v), 4) for v in light.normal],
            }  # fmt: skip
    if settings.targets:
        _offer_targets(stage, subject)
    stage.at_swap(_pin(stage, settings, exposures[settings.setup]))
    figures["setups"] = len(names)
    return Result(
        f"{_label(settings.setup).capitalize()}, exposed by the grey card at {exposures[settings.setup]:+.2f} stops", figures
    )


class _Subject:
    """Where the subject stands, mm, and from where the first shot looks at it."""

    def __init__(self, stage: Any):
        corners = [_corners(item) for role in ("piece", "stand") if (item := stage.find(role)) is not None]
        low, high = np.min([c[0] for c in corners], axis=0), np.max([c[1] for c in corners], axis=0)
        self.size = float(np.max(high - low))
        piece = _corners(stage.require("piece"))
        self.centre = 0.5 * (piece[0] + piece[1])
        shots = stage.find_all("shot")
        hero = shots.get("hero") or next(iter(shots.values()), None)
        way = np.array([0.0, -1.0, 0.25])
        if hero is not None:
            seen = 1000.0 * np.array(hero.matrix_basis.translation) - self.centre
            if np.linalg.norm(seen) > 1e-3:
                way = seen
        self.camera = way / np.linalg.norm(way)


def _corners(item: Any) -> tuple[Any, Any]:
    """Lowest and highest corner of an object in mm."""
    box = np.array([item.matrix_basis @ corner for corner in map(Vector, item.bound_box)])
    return 1000.0 * box.min(axis=0), 1000.0 * box.max(axis=0)


class _Light:
    """One set-up as new Blender data, known by names so that nothing is held across a yield."""

    def __init__(self, stage: Any, settings: Settings, name: str, subject: _Subject):
        self.name = name
        self.lamps: dict[str, str] = {}
        self.cards: dict[str, str] = {}
        if name == "hdri":
            image = hdri.load_surroundings(settings.surroundings, stage.sheet.path(settings.surroundings))
            world = lights.make_surroundings(image, turn=settings.turn, level=settings.level)
            bright = hdri.luminance_of(image)
            main, total = metering.environment_flux(bright, turn=settings.turn), metering.environment_total(bright)
        else:
            setup = make_setup(
                name, subject=subject.centre, size=subject.size, camera=subject.camera, turn=settings.turn,
                cards=settings.cards, strips=_strips(stage, settings),
            )  # fmt: skip
            lamps, cards, world = lights.make_light(name, setup)
            self.lamps = {key: item.name for key, item in lamps.items()}
            self.cards = {key: item.name for key, item in cards.items()}
            main, total = flux(setup, subject.centre), total_light(setup, subject.centre)
            if settings.follow:
                world[FOLLOWS] = math.atan2(subject.camera[1], subject.camera[0])
        self.world_name = world.name
        self.flux = main if np.linalg.norm(main) > 0 else subject.camera
        self.normal = metering.card_normal(subject.camera, self.flux)
        self.shade = metering.shade_share(self.flux, total, subject.camera)

    def objects(self) -> list[Any]:
        return [bpy.data.objects[name] for name in (*self.lamps.values(), *self.cards.values())]

    def metered(self, stage: Any, subject: _Subject) -> meter.Reading:
        return self.read(stage, subject.centre, self.normal, self.objects())

    def read(self, stage: Any, centre_mm: Any, normal: Any, items: list[Any]) -> meter.Reading:
        """A grey card held there, among what throws light or shadow on it."""
        around = [item for role in ("table", "backdrop", "prop") for item in stage.find_all(role).values()]
        return meter.read_card(
            centre_mm=centre_mm, normal=normal, lights=items, world=bpy.data.worlds[self.world_name],
            around=[item for item in around if not item.hide_render], seed=stage.seed,
        )  # fmt: skip

    def closer(self, stage: Any, settings: Settings, gains: Any, stops: float, *, job: bool) -> dict[str, float]:
        """By how many stops close looks in this light are exposed otherwise, by their keys; job: it is the job's own light."""
        world, found = bpy.data.worlds[self.world_name], {}
        bpy.context.view_layer.update()  # where the shots stand, also just after they were made
        items = [item for item in self.objects() if not item.get(lights.FILL)]
        for name, shot in stage.find_all("shot").items():
            held = close_card(shot)
            if held is None or (shot.get(lights.SETUP) or (self.name if job else "")) != self.name:
                continue
            turn = turn_towards(world, shot)
            kept = [item.matrix_basis.copy() for item in items]
            for item in items:
                item.matrix_basis = turn @ item.matrix_basis
            reading = self.read(stage, *held, items)
            for item, matrix in zip(items, kept, strict=True):
                item.matrix_basis = matrix
            bright = _bright(reading.colour * gains)
            offset = CLOSE_OFFSET * self.usual_offset(stage) if settings.offset is None else settings.offset
            if bright > 1e-9:
                found[name] = metering.stops_for(bright, offset=offset) - stops
        return found

    def usual_offset(self, stage: Any) -> float:
        return metering.usual_offset(shade=self.shade, **exposed_as(stage.find("surface", "piece")))

    def balanced(self, reading: meter.Reading, share: float) -> Any:
        """Take the colour of surroundings out as far as asked; built-in set-ups are balanced by their design. The gains."""
        if self.name != HDRI[0] or _bright(reading.colour) <= 0.0:
            return np.ones(3)
        gains = metering.white_balance(reading.colour, share)
        lights.set_balance(bpy.data.worlds[self.world_name], gains)
        return gains

    def offer(self, stage: Any, *, hidden: bool) -> None:
        for role, names in (("light", self.lamps), ("card", self.cards)):
            for key, name in names.items():
                item = bpy.data.objects[name]
                item.hide_render = item.hide_viewport = hidden
                stage.offer(role, item, key=f"{self.name} {key}", name=f"{_label(self.name).capitalize()}: {key}")
        stage.offer("world", bpy.data.worlds[self.world_name], key=self.name, name=_label(self.name).capitalize())

    def offer_grey_card(self, stage: Any, subject: _Subject) -> None:
        """The card stays in the scene, hidden, where it was metered: show it and render to check the exposure."""
        card = lights.flat_object(
            "Grey card", meter.CARD_MM, meter.CARD_MM, lights.matt_material("Grey card", (metering.GREY,) * 3)
        )
        card.matrix_world = meter.card_matrix(subject.centre, self.normal)
        card.hide_render = card.hide_viewport = True
        stage.offer("card", card, key="grey", name="Grey card")


def _offer_targets(stage: Any, subject: _Subject) -> None:
    foot = np.array([subject.centre[0], subject.centre[1], 0.0])
    for key, item in make_targets(foot, subject.size, subject.camera).items():
        item[FOLLOWS] = math.atan2(subject.camera[1], subject.camera[0])
        stage.offer("card", item, key=f"target {key}", name=key.capitalize())


def _asked_by_shots(stage: Any) -> list[str]:
    known = {key for key, *_ in (*SETUPS, HDRI)}
    asked = [str(shot.get(lights.SETUP, "")) for shot in stage.find_all("shot").values()]
    for name in asked:
        if name and name not in known:
            stage.warn(
                f'A shot asks for the light "{name}", which is none of {", ".join(sorted(known))}; it gets the job\'s own'
            )
    return sorted({name for name in asked if name in known})


def _bright(colour: Any) -> float:
    return float(srgb.luminance(colour))


def _stops(stage: Any, bright: float, name: str, offset: float) -> float:
    if bright <= 1e-9:
        stage.warn(
            f"No light of {_label(name)} reaches the subject, so the exposure stays at 0; turn the light or move the set"
        )
        return 0.0
    return metering.stops_for(bright, offset=offset)


def _strips(stage: Any, settings: Settings) -> bool:
    return _piece_kind(stage) == "bronze" if settings.strips is None else settings.strips


def _piece_kind(stage: Any) -> str:
    material = stage.find("surface", "piece")
    return str(material.get("bozzetto_kind", "")) if material else ""


def _label(name: str) -> str:
    return next(label for key, label, _ in (*SETUPS, HDRI) if key == name).lower()


def _pin(stage: Any, settings: Settings, stops: float) -> Any:
    """View transform, look and exposure are the job's, so that the same sheet gives the same picture everywhere."""

    def pin() -> None:
        scene = stage.scene
        scene.world = stage.find("world", settings.setup) or scene.world
        view = scene.view_settings
        scene.display_settings.display_device = "sRGB"
        view.view_transform = settings.view
        view.look = LOOKS[settings.view]
        view.exposure, view.gamma = stops, 1.0
        view.use_curve_mapping = False
        if not put_finish(scene, _finish(settings)):
            stage.note("The scene has a compositor of your own, so the finish was left out")

    return pin


def _finish(settings: Settings) -> dict[str, float] | None:
    if not settings.finish:
        return None
    soft = diffraction_share(16.0, 36.0) if settings.diffraction else 0.0  # each shot sets its own when it is rendered
    return {
        "Grain": settings.grain / 100.0, "Vignette": settings.vignette, "Glare": settings.glare / 100.0, "Softness": soft,
    }  # fmt: skip
