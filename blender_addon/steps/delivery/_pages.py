"""Gathers the content of the client's and the maker's page from the stage, the settings and the existing files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ...core.files.pictures.labels import Labels
from ...core.files.pictures.picture_headers import check_picture
from ...core.files.whole import damage
from ...job.files.names import check_name
from ...job.files.whole_files import whole_file
from ...job.pages.comparing import Compared
from ...job.pages.page import ClientPage, MakersPage, Shown, alt_text, as_title
from ...job.pages.turning import Turning
from ...job.settings import specs
from ...scene.delivery.copies.client_pictures import Wanted, write_copy
from ...scene.delivery.copies.jpeg import write_jpeg
from ...scene.delivery.copies.marked import is_marked
from ...scene.delivery.cutouts import FOLDER as CUTOUTS
from ...scene.meshes import MM
from ...scene.reference.files import files_of
from ...scene.reference.pictures import FULL_TONES, said_of
from ...scene.running.kept_decisions import questions
from ...scene.running.session import writes
from ...scene.shots.lens_drivers import NEVER
from ...scene.stage import Stage
from ._copies import ALONE, FOLDER, Still, cutout_to_hand_over, missing_mark, stills_of, words_of

if TYPE_CHECKING:
    import bpy

    from .declared.export import Settings

FRAMES = 72
"""The most frames of the page's turntable; of more, every second or third is used."""
TURN_QUALITY = 88
"""Of the frames' JPEGs, 1 to 100 (common practice)."""
SCREEN = 1800
"""Longer side of a still on the client's page, px: sharp also on a high-resolution screen."""
PROOF = "Proofs, to choose by: the final pictures are larger and cleaner"
FILMS = (("turntable.mp4", "a full turn as a film"), ("turntable.webm", "the same as WebM"))
BESIDE = (("contact_sheet.png", "all stills on one page"), ("sample_sheet.png", "the piece in every material"))


def client_content(stage: Stage, settings: Settings, files: list[tuple[str, str]], turning: Turning | None) -> ClientPage:
    """The content of the client's page.

    files: (file, description) of what is handed over.
    """
    assert stage.out is not None
    title = settings.title or as_title(stage.sheet.name)
    mark = stage.sheet["render"].mark
    stills = stills_of(stage)
    shown = [_on_page(stage, still, title) for still in stills]
    known = list(files)
    if settings.pictures == "none":
        cut = [(still, path) for still in stills if (path := cutout_to_hand_over(stage, still)) is not None]
        known += [(f"{path.parent.name}/{path.name}", f"{still.name}, {ALONE}") for still, path in cut]
    known += [(name, what) for name, what in (*BESIDE, *FILMS) if (stage.out / name).is_file() and _is_of_now(stage, name)]
    if mark:  # pictures without the watermark are not delivered with watermarked ones
        bearing = _bearing(stage, stills)
        _tell_of_unmarked(stage, stills, bearing, {name for name, _ in files})
        known = [(name, what) for name, what in known if name.startswith((f"{FOLDER}/", f"{CUTOUTS}/")) or name in bearing]
    film = FILMS[0][0] if any(name == FILMS[0][0] for name, _ in known) else ""
    proof = PROOF if stage.sheet["render"].quality == "proof" else ""
    lead = settings.maker or settings.credit
    return ClientPage(title, lead, shown, turning, film, _label(stage, settings), known, proof)


def _is_of_now(stage: Stage, name: str) -> bool:
    """Whether a sheet or film is one that the present settings render; a sample sheet is also made by itself."""
    asked = stage.sheet["render"]
    turned = bool(_turn_frames(stage)) and asked.video
    return {"contact_sheet.png": asked.contact_sheet, "turntable.mp4": turned, "turntable.webm": turned and asked.webm}.get(
        name, True
    )


def _bearing(stage: Stage, stills: Sequence[Still]) -> set[str]:
    """The sheets and films whose pictures all have a watermark."""
    assert stage.out is not None
    made_of = {
        "contact_sheet.png": [still.path for still in stills],
        "sample_sheet.png": sorted((stage.out / "samples").glob("*.png")),
        **{name: _turn_frames(stage) for name, _ in FILMS},
    }
    return {name for name, pictures in made_of.items() if pictures and all(is_marked(picture) for picture in pictures)}


def _tell_of_unmarked(stage: Stage, stills: Sequence[Still], bearing: set[str], copies: set[str]) -> None:
    """Warn of pictures of an earlier run that lack the watermark of the present proof."""
    assert stage.out is not None
    sheets = [name for name, _ in (*BESIDE, *FILMS) if name not in bearing and (stage.out / name).is_file()]
    bare = [f"pictures/{still.path.name}" for still in stills if not is_marked(still.path)]
    frames = sorted((stage.out / "turntable").glob("*.png"))
    bare += [f"turntable/{frame.name}" for frame in frames if not is_marked(frame)]
    old = [f"{FOLDER}/{path.name}" for path in sorted((stage.out / FOLDER).glob("*")) if f"{FOLDER}/{path.name}" not in copies]
    bare += sheets + [name for name in old if not name.rsplit("/", 1)[-1].startswith(".")]
    if bare:
        shown = ", ".join(bare[:4]) + (f" and {len(bare) - 4} more" if len(bare) > 4 else "")
        stage.warn(f"{shown}: of an earlier round, without the watermark; the client's page shows none of them so")


def _on_page(stage: Stage, still: Still, title: str) -> Shown:
    """A still for the client's page: a JPEG for screens, with a proof's watermark; a click opens the still itself."""
    assert stage.out is not None
    shown = _shown(still, title, with_optics=False)
    size = check_picture(still.path)
    wide = min(size.width, round(SCREEN * size.width / max(size.width, size.height)))
    labels = Labels(words=words_of(stage, stage.sheet["export"], still.name))
    wanted = Wanted(kind="jpeg", width=wide, watermark=missing_mark(stage, still.path), labels=labels)
    copy = write_copy(still.path, stage.out / "page" / still.name, wanted, field_width_mm=1.0)
    return replace(shown, path=f"page/{copy.path.name}", opens="" if wanted.watermark else shown.path)


def _versions(stage: Stage, title: str) -> list[list[Shown]]:
    """For each still with earlier versions: the versions, the oldest first, and then the still."""
    assert stage.out is not None
    found = []
    for still in stills_of(stage):
        number, earlier = 1, []
        while (path := still.path.with_name(f"{still.path.stem}.v{number}{still.path.suffix}")).is_file():
            words = f"{as_title(still.name)}, version {number}"
            earlier.append(Shown(f"pictures/{path.name}", words, f"{title}, {words}"))
            number += 1
        if earlier:
            found.append([*earlier, replace(_shown(still, title, with_optics=False), title=f"{as_title(still.name)}, now")])
    return found


def on_a_card(stage: Stage, settings: Settings) -> dict[str, str]:
    """What a series' page shows of this piece: title, a line with its size, first picture and its alternative text."""
    label = _label(stage, settings)
    first = stills_of(stage)[:1]
    shown = _shown(first[0], label["Title"], with_optics=False) if first else None
    if shown and stage.out and (stage.out / "page" / f"{first[0].name}.jpg").is_file():
        shown = replace(shown, path=f"page/{first[0].name}.jpg")
    line = ", ".join(filter(None, (settings.material, label.get("Size", "").split(" (")[0])))
    return {
        "title": label["Title"], "line": line, "cover": shown.path if shown else "", "alt": shown.alt if shown else "",
    }  # fmt: skip


def makers_content(stage: Stage, settings: Settings, files: list[tuple[str, str]]) -> MakersPage:
    """The content of the maker's page."""
    results = stage.results()
    ran = [name for name in stage.sheet.settings if name in results and name != "export"]
    check = [words for name in ran for words in results[name].get("warnings", ())]  # missing in older files
    check += [note.words for note in stage.notes.warnings() if note.step == "export"]
    title = settings.title or as_title(stage.sheet.name)
    shown = [_shown(still, title, with_optics=True) for still in stills_of(stage)]
    figures = {name.capitalize(): results[name].get("figures", {}) for name in ran}
    done = {name.capitalize(): results[name]["words"] for name in ran}
    return MakersPage(
        title, shown, done, list(dict.fromkeys(check)), figures, files, questions(results), _versions(stage, title),
        _compared(stage),
    )  # fmt: skip


def _compared(stage: Stage) -> list[Compared]:
    """Photos of the real piece beside their renders, as far as the last run compared them."""
    assert stage.out is not None
    figures = stage.results().get("comparison", {}).get("figures", {})
    found = []
    for name in figures.get("compared", ()):
        files = files_of(stage.out, check_name("The reference's name", name))
        if not all(path.is_file() for path in files):
            continue
        render, photo, colour, form = (f"{path.parent.name}/{path.name}" for path in files)
        words = said_of(figures, name)
        found.append(Compared(name, render, photo, colour, form, words, *FULL_TONES))
    return found


def _shown(still: Still, title: str, *, with_optics: bool) -> Shown:
    caption = str(still.shot.get("bozzetto_caption", "")) or as_title(still.name)
    alt = alt_text(title, str(still.shot.get("bozzetto_kind", "")), still.name)
    return Shown(f"pictures/{still.name}.png", caption, alt, optics(still.shot) if with_optics else {})


def write_turn(stage: Stage, mark: str) -> Turning | None:
    """Write the turntable's frames as JPEGs for the page, with the watermark `mark` if any; None without a complete turn."""
    assert stage.out is not None
    asked = stage.sheet["render"]
    frames = _turn_frames(stage)
    if len(frames) < 2 or not all(frame.is_file() and not damage(frame) for frame in frames):
        return None
    chosen = frames[:: -(-len(frames) // FRAMES)]
    for number, frame in enumerate(chosen, 1):
        path = stage.out / "page" / f"turn_{number:04d}.jpg"
        if mark and not is_marked(frame):
            write_copy(frame, path.with_suffix(""), Wanted(kind="jpeg", watermark=mark), field_width_mm=1.0)
            continue
        with whole_file(path) as draft, writes(path):
            write_jpeg(frame, draft, quality=TURN_QUALITY, labels=Labels())
    return Turning(len(chosen), clockwise=bool(asked.clockwise))


def _turn_frames(stage: Stage) -> list[Path]:
    """The paths of the present turn's frames; the folder may hold more, of a longer turn rendered earlier."""
    assert stage.out is not None
    asked = stage.sheet["render"]
    count = int(stage.results().get("render", {}).get("figures", {}).get("frames", asked.frame_count if asked.turntable else 0))
    return [stage.out / "turntable" / f"{number:04d}.png" for number in range(1, count + 1)]


def _label(stage: Stage, settings: Settings) -> dict[str, str]:
    """The rows of the piece's label; unknown ones are left out."""
    rows = {"Title": settings.title or as_title(stage.sheet.name), "Maker": settings.maker}
    results = stage.results()
    assumed = bool(results.get("orientation", {}).get("figures", {}).get("assumed"))
    for role, words in (("piece", "Size"), ("stand", "Stand")):
        item = stage.find(role)
        if item is not None:
            size = " x ".join(f"{side:.1f}" for side in sides(item))
            rows[words] = f"{size} mm (width, depth, height)"
            if assumed:
                rows[words] += "; assumed, since no length was known"
    rows["Material"] = settings.material
    if not settings.material:
        rows["Shown as"] = _material_shown(stage)
    rows |= {"Inventory number": settings.accession, "Credit": settings.credit, "Rights": settings.rights}
    rows |= {"Licence": settings.licence, "Pictures": "rendered from a scan"}
    return {label: value for label, value in rows.items() if value}


def _material_shown(stage: Stage) -> str:
    """The label of the material in the pictures, which need not be the piece's own."""
    chosen = stage.sheet["material"]
    spec = specs(chosen).get("piece")
    value = getattr(chosen, "piece", "")
    return next((label for key, label, _ in spec.choices if key == value), "") if spec is not None else ""


def sides(item: bpy.types.Object) -> tuple[float, float, float]:
    """Width, depth and height in mm; the height is measured from the ground, not from noise below it."""
    width, depth, height = (MM * side for side in item.dimensions)
    up = item.matrix_world[2]
    low = min(sum(part * place for part, place in zip(up, (*corner, 1.0), strict=True)) for corner in item.bound_box)
    return width, depth, height + min(MM * low, 0.0)


def _sharp(near: float, far: float) -> str:
    return f"from {near:.0f} mm to infinity" if far >= NEVER else f"{far - near:.1f} mm deep"


def optics(shot: bpy.types.Object) -> dict[str, str]:
    """A shot's optics as words; empty for a camera of the user's own."""
    try:
        return {
            "lens": f"{shot['bozzetto_focal_mm']:g} mm", "at": f"f/{shot['bozzetto_fnumber']:g}",
            "focus": f"{shot['bozzetto_focus_mm']:.0f} mm", "magnification": f"{shot['bozzetto_magnification']:.2f}",
            "sharp": _sharp(float(shot["bozzetto_near_mm"]), float(shot["bozzetto_far_mm"])),
        }  # fmt: skip
    except KeyError:
        return {}
