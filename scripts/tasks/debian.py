"""The system packages that Blender needs: installed on Debian as root, otherwise listed for the user."""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
from collections.abc import Sequence

from . import TaskError

BLENDER_LIBRARIES = (
    "libx11-6", "libxrender1", "libxfixes3", "libxi6", "libxxf86vm1", "libxkbcommon0", "libsm6", "libice6", "libgl1",
    "libegl1", "libgomp1",
)  # fmt: skip
"""Debian's packages with the libraries that a `bpy` wheel loads and does not carry."""

PEERS_LIBRARIES = {"libusb-1.0.so.0": "libusb-1.0-0"}
"""Libraries that the heavy peers of tests and benches load and do not carry (Open3D), and Debian's packages of them."""


def add_peers_libraries() -> None:
    """Install what the heavy peers lack; what can't be had is said, and the peer will say so itself when it is loaded."""
    for library, package in PEERS_LIBRARIES.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            try:
                install([package], why=f"{library}, which Open3D loads")
            except TaskError as error:
                print(error, flush=True)


def install(packages: Sequence[str], *, why: str) -> None:
    """Install by apt-get, or raise TaskError with the command to type."""
    command = f"apt-get install {' '.join(packages)}"
    if not shutil.which("apt-get") or not hasattr(os, "geteuid"):
        raise TaskError(f"This system lacks {why}; on Debian it comes by: {command}")
    if os.geteuid() != 0:
        raise TaskError(f"This system lacks {why}; install it by: sudo {command}")
    print(f"This system lacks {why}; installing {' '.join(packages)} ...", flush=True)
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    quiet = ["apt-get", "-qq", "-o", "Dpkg::Use-Pty=0"]
    subprocess.run([*quiet, "update"], env=environment, check=False, stdout=subprocess.DEVNULL)
    wanted = [*quiet, "install", "-y", "--no-install-recommends", *packages]
    done = subprocess.run(wanted, env=environment, check=False, stdout=subprocess.DEVNULL)
    if done.returncode:
        raise TaskError(f"apt-get could not install them; see above, and try: {command}")
