"""Sound scans in forms that few programs write: each must come whole, or be refused in words. PLY with lists, other orders and
places corner by corner; coordinates far from zero; texture transforms; pictures of every mode and kind."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
from PIL import Image

from . import scans
from .cases import Case, Random, of_scan

PLY_FORMATS = ("ascii", "binary_little_endian", "binary_big_endian")
MODES = ("1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "YCbCr", "LAB", "HSV", "I;16", "F")
PICTURE_KINDS = (("PNG", ".png"), ("JPEG", ".jpg"), ("TIFF", ".tif"), ("WEBP", ".webp"), ("BMP", ".bmp"), ("TGA", ".tga"))
SIZES = ((1, 1), (16, 16), (333, 7), (2, 900), (64, 48))


def ply_form(number: int, random: Random) -> Case:
    """A PLY of a random choice of properties, in one of three encodings."""
    figure = scans.figure(number % 7)
    kind = PLY_FORMATS[number % 3]
    return of_scan("ply form", {"scan.ply": ply_of(figure, kind, random), scans.PICTURE: scans.png(16, 16)}, "scan.ply")


def ply_of(figure: scans.Figure, kind: str, random: Random) -> bytes:
    """The file: lists among the vertices, faces of one to twelve corners, colours and places in several types and under several
    names, by chance."""
    number = {"x": "double"} if random.random() < 0.3 else {"x": "float"}
    vertex: list[tuple[tuple[str, ...], Callable[[int], Any]]] = []
    if random.random() < 0.3:
        vertex.append((("uchar", "float", "views"), lambda row: [0.5] * (row % 3)))
    points = figure.points + (10.0 ** random.integers(4, 8) if random.random() < 0.3 else 0.0)
    for axis, name in enumerate("xyz"):
        vertex.append(((number["x"], name), lambda row, axis=axis: points[row, axis]))
    if random.random() < 0.5:
        depth, full = (("uchar", 255), ("ushort", 65535), ("float", 1.0))[random.integers(3)]
        for name in ("red", "green", "blue") if random.random() < 0.7 else ("diffuse_red", "diffuse_green", "diffuse_blue"):
            vertex.append(((depth, name), lambda row, full=full: type(full)(full * (row % 9) / 9)))
    if random.random() < 0.3:
        names = (("s", "t"), ("u", "v"), ("texture_u", "texture_v"))[random.integers(3)]
        for axis, name in enumerate(names):
            vertex.append((("float", name), lambda row, axis=axis: figure.uv[row, axis]))
    faces = [face.tolist() for face in figure.faces]
    faces += [[], [3], [4, 5], list(range(12))] if random.random() < 0.3 else []
    face: list[tuple[tuple[str, ...], Callable[[int], Any]]] = [
        ((str(random.choice(["uchar", "int", "ushort"])), str(random.choice(["int", "uint"])), "vertex_indices"),
         lambda row: faces[row])
    ]  # fmt: skip
    if random.random() < 0.5:
        face.append((("uchar", "float", "texcoord"), lambda row: figure.uv[faces[row]].ravel().tolist()))
        pictures = int(random.choice([1, 1, 3]))
        face.append((("int", "texnumber"), lambda row: row % pictures))
    head = [f"ply\nformat {kind} 1.0\ncomment TextureFile {scans.PICTURE}"]
    body = b""
    for name, count, properties in (("vertex", len(points), vertex), ("face", len(faces), face)):
        head.append(f"element {name} {count}")
        head += [f"property {'list ' if len(form) == 3 else ''}{' '.join(form)}" for form, _ in properties]
        body += b"".join(_row(kind, properties, row) for row in range(count))
    return ("\n".join([*head, "end_header"]) + "\n").encode() + body


def _row(kind: str, properties: list[tuple[tuple[str, ...], Callable[[int], Any]]], row: int) -> bytes:
    codes = {"uchar": "B", "ushort": "H", "int": "i", "uint": "I", "float": "f", "double": "d"}
    order = ">" if "big" in kind else "<"
    words, data = [], b""
    for form, value in properties:
        found = value(row)
        values = [len(found), *found] if len(form) == 3 else [found]
        kinds = [form[0], *[form[1]] * (len(values) - 1)]
        words += [f"{each:.9g}" for each in values]
        if kind != "ascii":
            data += struct.pack(order + "".join(codes[name] for name in kinds), *values)
    return (" ".join(words) + "\n").encode() if kind == "ascii" else data


def far_form(number: int, random: Random) -> Case:
    """A scan whose coordinates lie far from zero, as in a country's grid, in millimetres or metres."""
    figure = scans.figure(number % 7)
    scale = (1.0, 0.001)[number % 2]
    away = np.array([512345.6, 5400123.4, 311.2]) * float(random.choice([1.0, 0.01, 100.0]))
    format = ("obj", "ply_text", "stl_text", "stl_binary", "ply_binary", "glb")[number // 2 % 6]
    moved = scans.Figure(figure.points * scale + away, figure.faces, figure.uv)
    files = scans.scan(format, moved)
    if format in ("obj", "ply_text", "stl_text"):  # all digits
        near = scans.scan(format, scans.Figure(figure.points * scale, figure.faces, figure.uv))
        files[scans.MAIN[format]] = _with_digits(near[scans.MAIN[format]], away, format)
    return of_scan("far form", files, scans.MAIN[format])


def _with_digits(text: bytes, away: Any, format: str) -> bytes:
    word = {"obj": "v", "stl_text": "vertex", "ply_text": ""}[format]
    lines = []
    for line in text.decode().splitlines():
        parts = line.split()
        own = parts[0] == word if word and parts else format == "ply_text" and len(parts) == 3
        numbers = parts[1:] if word else parts
        try:
            values = [float(each) for each in numbers[:3]] if own and len(numbers) >= 3 else []
        except ValueError:
            values = []
        if values:
            line = " ".join([word, *(f"{value + far:.10g}" for value, far in zip(values, away, strict=True))]).strip()
        lines.append(line)
    return ("\n".join(lines) + "\n").encode()


def laid_form(number: int, random: Random) -> Case:
    """A GLB whose picture is moved, turned, scaled, or lies by the second UVs; sparse points; letters and lines of an OBJ or an
    STL that are less usual."""
    figure = scans.figure(number % 7)
    how = number % 4
    if how == 2:
        text = scans.scan("obj", figure)["scan.obj"].decode().replace("f ", "f \\\n ", 40)
        return of_scan(
            "laid form", {**scans.scan("obj", figure), "scan.obj": text.replace("\nv ", "\nv\t").encode()}, "scan.obj"
        )
    if how == 3:
        return of_scan("laid form", {"scan.stl": scans.scan("stl_text", figure)["scan.stl"].upper()}, "scan.stl")
    content, data = scans._gltf_parts(figure)
    image = scans.png(16, 16)
    content["bufferViews"].append({"buffer": 0, "byteOffset": len(data), "byteLength": len(image)})
    content["images"] = [{"bufferView": 3, "mimeType": "image/png"}]
    shown = content["materials"][0]["pbrMetallicRoughness"]["baseColorTexture"]
    if how == 0:
        turned = {
            "offset": random.normal(size=2).tolist(),
            "scale": random.normal(size=2).tolist(),
            "rotation": random.normal(),
        }
        shown["extensions"] = {"KHR_texture_transform": turned}
        content["extensionsUsed"] = ["KHR_texture_transform"]
    else:
        content["meshes"][0]["primitives"][0]["attributes"]["TEXCOORD_1"] = 2
        shown["texCoord"] = int(random.choice([0, 1, 2]))
    return of_scan("laid form", {"scan.glb": scans.glb(content, data + image)}, "scan.glb")


def picture_form(number: int, random: Random) -> Case:
    """A picture of any mode, format and shape, with an EXIF orientation, at times named as another format."""
    kind, suffix = PICTURE_KINDS[number % len(PICTURE_KINDS)]
    mode = MODES[number // len(PICTURE_KINDS) % len(MODES)]
    width, height = SIZES[int(random.integers(len(SIZES)))]
    if random.random() < 0.2:
        suffix = PICTURE_KINDS[int(random.integers(len(PICTURE_KINDS)))][1]
    format = ("obj", "gltf")[number % 2]
    files = scans.scan(format, picture=f"colour{suffix}")
    files[f"colour{suffix}"] = _picture(kind, mode, width, height, random)
    return of_scan("picture form", files, scans.MAIN[format])


def _picture(kind: str, mode: str, width: int, height: int, random: Random) -> bytes:
    pixels = random.integers(0, 256, (height, width, 3), np.uint8)
    image = Image.fromarray(pixels)
    if mode in ("I;16", "F"):
        grey = random.integers(0, 65535, (height, width))
        image = Image.fromarray(grey.astype(np.uint16 if mode == "I;16" else np.float32))
    elif mode == "LAB":
        image = Image.frombytes("LAB", (width, height), pixels.tobytes())
    else:
        image = image.convert(mode)
    exif = Image.Exif()
    exif[0x112] = int(random.integers(1, 9))
    out = io.BytesIO()
    try:
        image.save(out, kind, **({"exif": exif} if kind in ("JPEG", "WEBP", "TIFF") else {}))
    except (OSError, KeyError, ValueError):  # a mode that the kind does not hold
        out = io.BytesIO()
        Image.fromarray(pixels).save(out, kind)
    return out.getvalue()


FORMS: dict[Callable[[int, Random], Case], int] = {ply_form: 60, far_form: 24, laid_form: 24, picture_form: 72}
"""Class to number of cases."""
