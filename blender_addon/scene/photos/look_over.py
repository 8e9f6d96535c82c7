"""`bozzetto photos FOLDER`: evaluates a folder of photographs and writes a page and a list beside it, never into it."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from pathlib import Path

from ...core.photos.folder_content import Other
from ...core.photos.photo_set import SetReport, judged
from ...core.photos.seen import Photo
from ...core.records import record
from ...job.errors import InputError, OutputError
from ...job.files.aside import aside
from ...job.files.names import cleaned
from ...job.files.whole_files import begin_folder, writable, write_text
from ...job.pages.photo_page import photo_list, photo_page
from ...job.step import Progress
from ..running.folder_lock import locked
from .reading import Source, folder_of, photos_of
from .thumbnails import as_jpeg

PAGE, LIST = "photos.html", "photos.txt"


@record
class LookedOver:
    """The report, the files that are no usable photos, and the paths of the page and the list."""

    report: SetReport
    others: tuple[Other, ...]
    page: Path
    words: Path


def look_over(folder: Path, out: Path | None = None, *, limit: int = 0) -> Generator[Progress, None, LookedOver]:
    """Evaluate the photos of a folder; page and list are written to `out`, by default a new folder beside the photos' own.

    limit: the most photos that may be kept, 0 for any number.

    Raises InputError for a folder without photos, OutputError where `out` can't be used.
    """
    folder = folder.resolve()
    target = (out or folder.with_name(f"{cleaned(folder.name) or 'photos'}_looked_over")).resolve()
    if target == folder or folder in target.parents:
        raise OutputError(f'"{target}" lies in the folder of the photos, which stays as it is: choose one outside with --out')
    found = folder_of(folder)
    with locked(writable(target)):
        begin_folder(target, names=(PAGE, LIST))
        photos, others = yield from _read(found.sources, photos_of(found))
        others = [*found.others, *others]
        if not photos:
            raise InputError(f'No photo of "{folder}" can be read. "{others[0].name}": {others[0].why}')
        report = yield from aside(lambda: judged(photos, limit=limit), Progress(0.8, "Comparing the photos"))
        yield Progress(0.95, "Writing the page")
        thumbs = {photo.name: as_jpeg(photo.thumb) for photo in photos}
        title = f"Photos in {folder.name}"
        write_text(target / PAGE, photo_page(title, report, thumbs, others))
        write_text(target / LIST, photo_list(title, report, others))
    return LookedOver(report, tuple(others), target / PAGE, target / LIST)


def _read(
    sources: Sequence[Source], read: Iterator[Photo | Other]
) -> Generator[Progress, None, tuple[list[Photo], list[Other]]]:
    photos: list[Photo] = []
    others: list[Other] = []
    for number, photo in enumerate(read):
        if isinstance(photo, Other):
            others.append(photo)
        else:
            photos.append(photo)
        yield Progress(0.8 * (number + 1) / len(sources), f"Photo {number + 1} of {len(sources)}")
    return photos, others
