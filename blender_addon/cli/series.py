"""Runs a folder of scans with one job sheet as their look: each piece in its own process, and one page for the series.

A piece that fails, or crashes its process, does not stop the others. Finished and unchanged pieces are not run again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from ..core.records import record
from ..job.errors import JobError
from ..job.files.made_files import FIGURES, LOG, MAKERS_PAGE, PAGE, SUMMARY, MadeFiles
from ..job.files.whole_files import begin_folder
from ..job.pages.page import as_title
from ..job.pages.series import Card, counted, makers_series_page, series_page
from ..job.series import Piece, pieces_in
from ..job.settings import plain
from ..job.sheet import JobSheet, input_files
from ..job.stopping import Stopped, Stopping
from ..scene.running.folder_lock import locked
from ..scene.running.session import writable, write_text
from ..steps import catalogue
from .itself import own_command, own_environment
from .running import Wish, sheet_for
from .terminal import Terminal, clock

PATIENCE = 0.25
"""Seconds between two checks for a signal."""
OFFSET = "lighting.series_offset"
SHARED = ".series.json"
"""In the series' folder: the exposure compensation that its pieces share, and the piece that set it."""
CHATTER = 40
"""The number of last lines of a piece's process that are kept, for a failure without an error message of Bozzetto's."""


@record
class Series:
    """A series: the sheet with its look, its pieces, its output folder, its title, maker and rights, and further options."""

    look: Path
    pieces: Sequence[Piece]
    out: Path
    title: str
    maker: str = ""
    rights: tuple[str, ...] = ()
    sets: tuple[str, ...] = ()
    afresh: bool = False
    more: tuple[str, ...] = ()
    """Arguments that are passed on to each run, such as the cluster to render on."""


def run_series(look: Path, scans: Path, out: Path, wish: Wish, stopping: Stopping, *, more: Sequence[str] = ()) -> int:
    """Run all pieces; returns the number of failures. Raises JobError for an error that stops all, Stopped on a signal."""
    pieces = pieces_in(scans, catalogue())
    title = wish.name or as_title(scans.resolve().name)
    sheet = sheet_for(look, Wish(sets=wish.sets))  # an invalid look fails once, not for each piece
    said = sheet["export"]
    rights = (said.credit, said.rights, said.licence)
    series = Series(look, pieces, out.resolve(), title, said.maker, rights, wish.sets, wish.afresh, tuple(more))
    writable(series.out)
    terminal = Terminal(sys.stdout, quiet=wish.quiet)
    started = time.perf_counter()
    with locked(series.out):
        begin_folder(series.out, inputs=[look, *(scan for piece in pieces for scan in piece.scans)])
        cards: list[Card] = []
        shared = {} if wish.afresh or _by_hand(sheet) else _read(series.out / SHARED)
        for piece in pieces:
            stopping.check()
            cards.append(_card_after_run(series, _with_shared_exposure(piece, shared), len(cards) + 1, terminal, stopping))
            shared = shared or _keep_exposure(series, piece, cards[-1])
            _write_pages(series, cards)  # after each piece, so that the page shows the progress
    for line in _summary(series, cards, time.perf_counter() - started):
        terminal.say(line)
    return sum(bool(card.failed) for card in cards)


def _with_shared_exposure(piece: Piece, shared: Mapping[str, object]) -> Piece:
    """A piece with the exposure that its series shares, unless it set that itself."""
    stops = shared.get("offset_stops")
    if not isinstance(stops, (int, float)) or shared.get("piece") == piece.name:
        return piece
    return Piece(piece.name, piece.scans, (f"{OFFSET}={stops}", *piece.sets), piece.problem)  # a piece's own settings win


def _by_hand(sheet: JobSheet) -> bool:
    """Whether a sheet sets the exposure."""
    lighting = sheet["lighting"]
    return any(stops is not None for stops in (lighting.exposure, lighting.offset, lighting.series_offset))


def _keep_exposure(series: Series, piece: Piece, card: Card) -> dict[str, object]:
    """Keep the exposure that the first finished piece was given, for those after it; {} where it was set by hand."""
    if card.failed:
        return {}
    sheet = sheet_for(series.look, Wish(sets=(*series.sets, *piece.sets)))
    lighting = _read(series.out / piece.name / FIGURES).get("lighting")
    stops = lighting.get("offset_stops") if isinstance(lighting, dict) else None
    if _by_hand(sheet) or not isinstance(stops, float):
        return {}
    shared: dict[str, object] = {"offset_stops": round(stops, 2), "piece": piece.name}
    write_text(series.out / SHARED, json.dumps(shared) + "\n")
    return shared


def _card_after_run(series: Series, piece: Piece, number: int, terminal: Terminal, stopping: Stopping) -> Card:
    """Run one piece, unless it is finished; returns its card for the series' page. number: its place in the series."""
    place = f"[{number}/{len(series.pieces)}] {piece.name}"
    folder = series.out / piece.name
    failed = piece.problem
    if not failed:
        try:
            sheet = sheet_for(series.look, Wish(name=piece.name, scans=piece.scans, sets=(*series.sets, *piece.sets)))
            if not series.afresh and _finished(folder, piece.name, sheet):
                if not terminal.quiet:
                    terminal.say(f"{place}: there already, and nothing has changed")
            else:
                failed = _run_piece(series, piece, number, terminal, stopping)
                if not failed:
                    _remember(folder, piece.name, sheet)
        except JobError as error:
            failed = str(error)
    if failed:
        terminal.say(f"{place}: FAILED: {failed}")
    return _card(folder, piece, failed)


def _run_piece(series: Series, piece: Piece, number: int, terminal: Terminal, stopping: Stopping) -> str:
    """Run a piece in its own process; returns the error, '' on success."""
    place = f"[{number}/{len(series.pieces)}] {piece.name}"
    if terminal.plain and not terminal.quiet:
        terminal.say(f"{place}: begins")
    command = [*own_command(), "run", str(series.look.resolve()), "--out", str(series.out / piece.name), "--name", piece.name]
    command += ["--place", str(number)]
    command += [word for scan in piece.scans for word in ("--scan", str(scan.resolve()))]
    command += [word for assignment in (*series.sets, *piece.sets) for word in ("--set", assignment)]
    command += ["--afresh"] if series.afresh else []
    started = time.perf_counter()
    work = subprocess.Popen(
        [*command, *series.more], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        env=own_environment(), start_new_session=True,  # Ctrl-C reaches only this process, which stops the piece once
    )  # fmt: skip
    last: list[str] = []
    try:
        for line in _lines(work, stopping):
            if line is not None:
                last = [*last[1 - CHATTER :], line]
            if last:
                terminal.show(f"{place}  {last[-1].strip()}")
    except Stopped:
        work.terminate()
        work.wait()
        raise
    finally:
        if work.poll() is None:
            work.kill()
            work.wait()
        terminal.clear()
    if work.returncode == 0:
        if not terminal.quiet:
            terminal.say(f"{place}: made in {clock(time.perf_counter() - started)}")
        return ""
    return _what_went_wrong(work.returncode, last)


def _lines(work: subprocess.Popen[bytes], stopping: Stopping) -> Iterator[str | None]:
    """Yield the lines that a process prints until its end, and None while it prints nothing. Raises Stopped."""
    lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
    stream = work.stdout
    assert stream is not None

    def listen() -> None:
        for line in stream:
            lines.put(line.decode("utf-8", "replace").rstrip())
        lines.put(None)

    threading.Thread(target=listen, daemon=True, name="piece").start()
    while True:
        stopping.check()
        try:
            line = lines.get(timeout=PATIENCE)
        except queue.Empty:
            yield None
            continue
        if line is None:
            work.wait()
            return
        yield line


def _what_went_wrong(code: int, last: Sequence[str]) -> str:
    ours = [line for line in last if line.startswith("bozzetto: ")]
    if ours:
        return ours[-1].removeprefix("bozzetto: ")
    ended = f"was ended by signal {-code}" if code < 0 else f"ended with {code}"
    words = next((line for line in reversed(last) if line.strip()), "it said nothing")
    return f"its process {ended}; its last words: {words.strip()[:300]}"


# --- finished pieces ----------------------------------------------------------------------------------------------------


def _state(folder: Path, name: str, sheet: JobSheet) -> str:
    """A digest of everything that a finished piece depends on: settings, scans, and its .blend, which the user may change."""
    settings = {step: plain(values) for step, values in sheet.settings.items()}
    files = [path for path in input_files(sheet) if path != sheet.file]
    stats = [(str(path), path.stat().st_size, path.stat().st_mtime_ns) for path in (*files, folder / f"{name}.blend")]
    return hashlib.sha256(json.dumps([settings, stats], sort_keys=True, default=str).encode()).hexdigest()[:20]


def _finished(folder: Path, name: str, sheet: JobSheet) -> bool:
    """Whether a piece was made with these settings from these scans, and all its files still exist."""
    try:
        known = read_summary(folder)
        files = MadeFiles.read(folder)
        return (
            bool(known)
            and files is not None
            and known.get("state") == _state(folder, name, sheet)
            and all((folder / place).is_file() for place in files.files)
        )
    except OSError:
        return False


def _remember(folder: Path, name: str, sheet: JobSheet) -> None:
    with contextlib.suppress(OSError):
        known = read_summary(folder) | {"state": _state(folder, name, sheet)}
        write_text(folder / SUMMARY, json.dumps(known, indent=1, sort_keys=True) + "\n")


def read_summary(folder: Path) -> dict[str, object]:
    """The summary of the last run in a folder; empty where there is none."""
    return _read(folder / SUMMARY)


def _read(path: Path) -> dict[str, object]:
    try:
        known = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return known if isinstance(known, dict) else {}


# --- pages and words ----------------------------------------------------------------------------------------------------


def _card(folder: Path, piece: Piece, failed: str) -> Card:
    known = {} if failed else read_summary(folder)
    cover = str(known.get("cover", ""))
    there = bool(cover) and (folder / cover).is_file()
    check = [str(words) for words in known.get("check", ())]
    return Card(
        piece.name, str(known.get("title") or piece.name), str(known.get("line", "")),
        f"{piece.name}/{cover}" if there else "", str(known.get("alt", "")), check, failed,
    )  # fmt: skip


def _write_pages(series: Series, cards: Sequence[Card]) -> None:
    write_text(series.out / PAGE, series_page(series.title, series.maker, cards, series.rights))
    write_text(series.out / MAKERS_PAGE, makers_series_page(series.title, cards))
    table = {card.folder: {"failed": card.failed, "check": list(card.check)} for card in cards}
    write_text(series.out / SUMMARY, json.dumps(table, indent=1, sort_keys=True) + "\n")


def _summary(series: Series, cards: Sequence[Card], seconds: float) -> list[str]:
    lines = [f"Done in {clock(seconds)}: {counted(cards)}"]
    lines += [f"  FAILED {card.folder}: {card.failed}" for card in cards if card.failed]
    lines += [f"  to check {card.folder}: {len(card.check)}" for card in cards if card.check and not card.failed]
    lines += [f"For the client: {series.out / PAGE}", f"For you: {series.out / MAKERS_PAGE}"]
    return [*lines, f"What each run printed is in its folder, in {LOG}"] if any(card.failed for card in cards) else lines
