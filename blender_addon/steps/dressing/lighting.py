"""Lights the set by a built-in set-up or by an HDRI, and sets the exposure by a grey card and by the piece itself."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator

import bpy
import numpy as np
from mathutils import Vector

from ...core import srgb
from ...core.arrays import Bools, Floats
from ...core.dressing import exposure as metering
from ...core.dressing.light_setups import SETUPS, flux, make_setup, total_light
from ...core.dressing.standing_out import beside_outline, table_level
from ...core.dressing.tabletops.horizon import HORIZON
from ...job.step import Progress, Result, Run
from ...scene.dressing import hdri, lights, meter, set_parts
from ...scene.dressing.shot_light import (
    CARD,
    CLOSE_OFFSET,
    CLOSER,
    EXPOSURE,
    FLUX,
    FOLLOWS,
    SHADE,
    close_card,
    is_close,
    turn_towards,
)
from ...scene.dressing.targets import make_targets
from ...scene.meshes import MM
from ...scene.nodes.finish import diffraction_share, put_finish
from ...scene.nodes.materials import exposed_as
from ...scene.running.start_scene import warn_of_own_lamps
from ...scene.stage import Stage
from .declared.lighting import HDRI, Settings

LOOKS = {"AgX": "AgX - Very High Contrast", "Standard": "None"}
DARK_PIECE = 0.17
"""Albedo (luminance) below which a piece gets strip lights that draw its edges, as metal does; walnut is 0.16."""


def run(stage: Stage, settings: Settings) -> Run:
    yield Progress(0.0, "Looking at the subject and the shots")
    subject = _Subject(stage)
    names = [settings.setup, *(name for name in _asked_by_shots(stage) if name != settings.setup)]
    figures: dict[str, object] = {"setup": settings.setup}
    exposures: dict[str, float] = {}
    for place, name in enumerate(names):
        yield Progress(0.1 + 0.8 * place / len(names), f"Setting up {_label(name)}")
        light = _Light(stage, settings, name, subject)
        yield Progress(0.1 + 0.8 * (place + 0.5) / len(names), "Metering a grey card at the subject", blocking=True)
        reading = light.metered(stage, subject)
        gains = light.balanced(reading, settings.white_balance / 100.0)
        light.offer(stage, hidden=place > 0)
        card = _stops(stage, _bright(reading.colour * gains), name)
        yield Progress(0.1 + 0.8 * (place + 0.7) / len(names), "Metering the piece in a test render", blocking=True)
        stops = light.exposed(stage, settings, card, _first_shot(stage, name, job=place == 0))
        if place == 0 and settings.series_offset is not None and settings.exposure is None and settings.offset is None:
            stops = metering.held_in_series(stops, card + settings.series_offset)
        world = bpy.data.worlds[light.world_name]
        world[EXPOSURE], world[CARD], world[SHADE] = stops, card, light.shade
        world[FLUX] = [float(value) for value in light.flux]
        if settings.exposure is None and not stage.first_look:
            world[CLOSER] = light.closer(stage, settings, gains, stops, job=place == 0)
        exposures[name] = stops
        if place == 0:
            light.hold_room(stage, settings, stops)
            light.set_table(stage, settings, stops)
            light.offer_grey_card(stage, subject)
            figures |= {
                "exposure_stops": round(stops, 3), "offset_stops": round(stops - card, 3),
                "card_luminance": float(f"{_bright(reading.colour):.5g}"),
                "white_balance": [round(float(gain), 4) for gain in gains],
                "card_error_percent": round(100 * reading.error, 2), "card_normal": [round(float(v), 4) for v in light.normal],
            }  # fmt: skip
    warn_of_own_lamps(stage)
    if settings.targets:
        _offer_targets(stage, subject)
    stage.at_swap(_pin(stage, settings, exposures[settings.setup]))
    figures["setups"] = len(names)
    return Result(f"{_label(settings.setup).capitalize()}, exposed at {exposures[settings.setup]:+.2f} stops", figures)


class _Subject:
    """The subject's place and size, mm, and the direction from it to the first shot's camera."""

    def __init__(self, stage: Stage):
        corners = [_corners(item) for role in ("piece", "stand") if (item := stage.find(role)) is not None]
        low, high = np.min([c[0] for c in corners], axis=0), np.max([c[1] for c in corners], axis=0)
        self.size = float(np.max(high - low))
        piece = _corners(stage.require("piece"))
        self.centre = 0.5 * (piece[0] + piece[1])
        shots = stage.find_all("shot")
        hero = shots.get("hero") or next(iter(shots.values()), None)
        way = np.array([0.0, -1.0, 0.25])
        if hero is not None:
            seen = MM * np.array(hero.matrix_basis.translation) - self.centre
            if np.linalg.norm(seen) > 1e-3:
                way = seen
        self.camera = way / np.linalg.norm(way)


def _corners(item: bpy.types.Object) -> tuple[Floats, Floats]:
    """Lowest and highest corner of an object in mm."""
    box = np.array([item.matrix_basis @ corner for corner in map(Vector, item.bound_box)])
    return MM * box.min(axis=0), MM * box.max(axis=0)


class _Light:
    """One set-up as new Blender data, referenced by name so that no data-block is held across a yield."""

    def __init__(self, stage: Stage, settings: Settings, name: str, subject: _Subject):
        self.name = name
        self.lamps: dict[str, str] = {}
        self.cards: dict[str, str] = {}
        self.seen: dict[tuple[str, str], Bools] = {}
        self.bright: dict[str, Floats] = {}
        toned = stage.find("table", ""), stage.find("backdrop", "room")
        self.toned = [item.name for item in toned if item is not None and item.get(set_parts.TONED)]
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

    def objects(self) -> list[bpy.types.Object]:
        return [bpy.data.objects[name] for name in (*self.lamps.values(), *self.cards.values())]

    def metered(self, stage: Stage, subject: _Subject) -> meter.Reading:
        return self.read(stage, subject.centre, self.normal, self.objects())

    def read(
        self, stage: Stage, centre_mm: Floats | Vector, normal: Floats | Vector, items: list[bpy.types.Object]
    ) -> meter.Reading:
        """Measure a grey card at a place (mm) among the objects that reflect light or cast shadows onto it."""
        around = [item for role in ("table", "backdrop", "prop") for item in stage.find_all(role).values()]
        with set_parts.in_own_tones(self.toned):
            return meter.read_card(
                centre_mm=centre_mm, normal=normal, lights=items, world=bpy.data.worlds[self.world_name],
                around=[item for item in around if not item.hide_render], seed=stage.seed,
            )  # fmt: skip

    def exposed(
        self, stage: Stage, settings: Settings, card: float, shot: bpy.types.Object | None, *, close: bool = False
    ) -> float:
        """The exposure of a shot in stops. card: the exposure that renders a grey card there as mid-grey.

        From the settings where they give it, else by the piece's highlights and shadows in a test render; without a test render
        by the card and the material, and so in the first look, which somebody waits for.
        """
        if settings.exposure is not None:
            return settings.exposure
        if settings.offset is not None:
            return card + settings.offset
        bright = None
        if shot is not None and stage.find("surface", "piece") is not None and not stage.first_look:
            bright = self.tried(stage, shot)
        if bright is None:
            return card + (CLOSE_OFFSET if close else 1.0) * self.usual_offset(stage)
        most = metering.most_over_card(**exposed_as(stage.find("surface", "piece")))
        return metering.stops_for_piece(bright, metering.TONES[settings.view], card=card, most=most)

    def tried(self, stage: Stage, shot: bpy.types.Object) -> Floats | None:
        """(n,) luminance of the piece's pixels in a small render of a shot in this light; None where too few are visible."""
        seen = self.shown_alone(stage, shot, stage.require("piece"))
        return self.brightness(stage, shot)[seen] if seen.sum() >= meter.FEWEST else None

    def shown_alone(self, stage: Stage, shot: bpy.types.Object, item: bpy.types.Object) -> Bools:
        """(h, w) pixels of a small render of a shot in which an object is seen, whatever stands before it; kept."""
        pair = shot.name, item.name
        if pair not in self.seen:
            self.seen[pair] = meter.shown_alone(item, shot, bpy.data.worlds[self.world_name], stage.seed)
        return self.seen[pair]

    def brightness(self, stage: Stage, shot: bpy.types.Object) -> Floats:
        """(h, w) luminance of a small render of a shot in this light, with all that stands there in its own tones; kept."""
        if shot.name not in self.bright:
            roles = ("stand", "table", "backdrop", "prop")
            around = [item for role in roles for item in stage.find_all(role).values() if not item.hide_render]
            with self.turned_to(shot) as items:
                everything = [stage.require("piece"), *items, *around]
                self.bright[shot.name] = meter.brightness(shot, everything, bpy.data.worlds[self.world_name], stage.seed)
        return self.bright[shot.name]

    def hold_room(self, stage: Stage, settings: Settings, stops: float) -> None:
        """Have the room that we made behind the hero lit to the tone that it has through a series; where the exposure is set by
        hand it stays as it is. A photograph shows as it was taken, whatever the exposure."""
        room, shot = stage.find("backdrop", "room"), stage.find("shot", "hero")
        if room is None or shot is None or not room.get(set_parts.TONED):
            return
        level = 1.0
        if room[set_parts.TONED] == set_parts.AS_TAKEN:
            level = round(2.0 ** (settings.behind - stops), 3)
        elif settings.exposure is None and settings.offset is None:
            with self.turned_to(shot) as items:
                bright = meter.read_room(
                    camera=shot, room=room, lights=items, world=bpy.data.worlds[self.world_name], horizon=HORIZON,
                    seed=stage.seed,
                )  # fmt: skip
            if bright is not None:
                level = metering.room_level(bright, stops=stops, wish=settings.behind)
        stage.edit(room, lambda item: setattr(item, "color", (level, level, level, 1.0)))

    def set_table(self, stage: Stage, settings: Settings, stops: float) -> None:
        """Have the table that we made lighter or darker, as little as can be, so that the outline stands off it in the hero."""
        table, shot, piece = stage.find("table", ""), stage.find("shot", "hero"), stage.find("piece")
        if table is None or shot is None or piece is None or not table.get(set_parts.TONED):
            return
        level = 1.0
        if not stage.first_look and settings.exposure is None and settings.offset is None:
            seen, below = (self.shown_alone(stage, shot, item) for item in (piece, table))
            found = beside_outline(seen, below, self.brightness(stage, shot))
            level = table_level(*found, metering.TONES[settings.view], stops=stops)
        stage.edit(table, lambda item: setattr(item, "color", (level, level, level, 1.0)))

    @contextlib.contextmanager
    def turned_to(self, shot: bpy.types.Object) -> Iterator[list[bpy.types.Object]]:
        """Inside the block, the lamps and cards at their places for a shot, and the set in its own tones."""
        turn, items = turn_towards(bpy.data.worlds[self.world_name], shot), self.objects()
        kept = [item.matrix_basis.copy() for item in items]
        try:
            for item in items:
                item.matrix_basis = turn @ item.matrix_basis
            with set_parts.in_own_tones(self.toned):
                yield items
        finally:
            for item, matrix in zip(items, kept, strict=True):
                item.matrix_basis = matrix

    def closer(self, stage: Stage, settings: Settings, gains: Floats, stops: float, *, job: bool) -> dict[str, float]:
        """Exposure corrections in stops of close looks in this light, by key. job: whether this is the job's own light."""
        found = {}
        bpy.context.view_layer.update()  # makes the matrices of new cameras valid
        for name, shot in stage.find_all("shot").items():
            held = close_card(shot)
            if held is None or (shot.get(lights.SETUP) or (self.name if job else "")) != self.name:
                continue
            with self.turned_to(shot) as items:
                reading = self.read(stage, *held, items)
            bright = _bright(reading.colour * gains)
            if bright > 1e-9:
                found[name] = self.exposed(stage, settings, metering.stops_for(bright), shot, close=True) - stops
        return found

    def usual_offset(self, stage: Stage) -> float:
        return metering.usual_offset(shade=self.shade, **exposed_as(stage.find("surface", "piece")))

    def balanced(self, reading: meter.Reading, share: float) -> Floats:
        """Remove a share of the HDRI's colour cast (built-in set-ups are neutral); returns the gains of the channels."""
        if self.name != HDRI[0] or _bright(reading.colour) <= 0.0:
            return np.ones(3)
        gains = metering.white_balance(reading.colour, share)
        lights.set_balance(bpy.data.worlds[self.world_name], gains)
        return gains

    def offer(self, stage: Stage, *, hidden: bool) -> None:
        for role, names in (("light", self.lamps), ("card", self.cards)):
            for key, name in names.items():
                item = bpy.data.objects[name]
                item.hide_render = item.hide_viewport = hidden
                stage.offer(role, item, key=f"{self.name} {key}", name=f"{_label(self.name).capitalize()}: {key}")
        stage.offer("world", bpy.data.worlds[self.world_name], key=self.name, name=_label(self.name).capitalize())

    def offer_grey_card(self, stage: Stage, subject: _Subject) -> None:
        """Offer the grey card, hidden at the place where it was metered, so that the user can check the exposure with it."""
        card = lights.flat_object(
            "Grey card", meter.CARD_MM, meter.CARD_MM, lights.matt_material("Grey card", (metering.GREY,) * 3)
        )
        card.matrix_world = meter.card_matrix(subject.centre, self.normal)
        card.hide_render = card.hide_viewport = True
        stage.offer("card", card, key="grey", name="Grey card")


def _offer_targets(stage: Stage, subject: _Subject) -> None:
    foot = np.array([subject.centre[0], subject.centre[1], 0.0])
    for key, item in make_targets(foot, subject.size, subject.camera).items():
        item[FOLLOWS] = math.atan2(subject.camera[1], subject.camera[0])
        stage.offer("card", item, key=f"target {key}", name=key.capitalize())


def _asked_by_shots(stage: Stage) -> list[str]:
    known = {key for key, *_ in (*SETUPS, HDRI)}
    asked = [str(shot.get(lights.SETUP, "")) for shot in stage.find_all("shot").values()]
    for name in asked:
        if name and name not in known:
            stage.warn(f'A shot names the light "{name}", which is none of {", ".join(sorted(known))}; it gets the job\'s own')
    return sorted({name for name in asked if name in known})


def _bright(colour: Floats) -> float:
    return float(srgb.luminance(colour))


def _stops(stage: Stage, bright: float, name: str) -> float:
    """The exposure in stops that renders the grey card as mid-grey."""
    if bright <= 1e-9:
        stage.warn(
            f"No light of {_label(name)} reaches the subject, so the exposure stays at 0; turn the light or move the set"
        )
        return 0.0
    return metering.stops_for(bright)


def _first_shot(stage: Stage, name: str, *, job: bool) -> bpy.types.Object | None:
    """The shot for a set-up's test render: the hero, or the first shot with that light; None where there is none."""
    shots = stage.find_all("shot")
    wanted = [shot for shot in shots.values() if shot.get(lights.SETUP, "") == ("" if job else name)]
    own = [shot for shot in wanted if not is_close(shot)] or wanted
    return shots["hero"] if job and shots.get("hero") in own else next(iter(own), None)


def _strips(stage: Stage, settings: Settings) -> bool:
    """Whether to use strip lights: by the setting, or else for metal and dark pieces, which lose their outline without."""
    if settings.strips is not None:
        return settings.strips
    shown = exposed_as(stage.find("surface", "piece"))
    return shown["kind"] in metering.METALS or (shown["albedo"] is not None and _bright(np.array(shown["albedo"])) < DARK_PIECE)


def _label(name: str) -> str:
    return next(label for key, label, _ in (*SETUPS, HDRI) if key == name).lower()


VIEW = "view_transform look exposure gamma use_curve_mapping use_white_balance white_balance_temperature"
PINNED = ("world", "display_settings.display_device", *(f"view_settings.{name}" for name in VIEW.split()))
"""The settings of the scene that the light sets."""


def _pin(stage: Stage, settings: Settings, stops: float) -> Callable[[], None]:
    """The action that sets view transform, look and exposure, so that a sheet gives the same picture everywhere."""

    def pin() -> None:
        scene = stage.scene
        scene.world = stage.find("world", settings.setup) or scene.world
        view = scene.view_settings
        scene.display_settings.display_device = "sRGB"
        view.view_transform = settings.view
        view.look = LOOKS[settings.view]
        view.exposure, view.gamma = stops, 1.0
        view.use_curve_mapping = False
        view.use_white_balance = settings.warmth != 0.0
        view.white_balance_temperature = metering.balanced_for(settings.warmth)

    def set_up() -> None:
        stage.set_up_scene(PINNED, pin)
        if not stage.set_compositor(lambda: put_finish(stage.scene, _finish(settings))):
            stage.note("The scene has a compositor of your own, so the finish was left out")

    return set_up


def _finish(settings: Settings) -> dict[str, float] | None:
    if not settings.finish:
        return None
    soft = diffraction_share(16.0, 36.0) if settings.diffraction else 0.0  # each shot sets its own value when it is rendered
    return {
        "Grain": settings.grain / 100.0, "Vignette": settings.vignette, "Glare": settings.glare / 100.0, "Softness": soft,
    }  # fmt: skip
